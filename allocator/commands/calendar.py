"""`allocator calendar`: the plan for a calendar program."""

# ruff: noqa: D301, PLC0415 - \b keeps the lines of the help apart; `--help` must not pay for what only this needs

from typing import Annotated

import typer

from allocator.asked import answered_for, exit_code, file_target, not_ours, older_text, room_told, seconds_of
from allocator.commands.options import NoCare, PlanFile, RoomFile, Seconds, Today
from allocator.console import say
from allocator.paper import Paper, printed_on

OUT = "--out"


def calendar(
    room: RoomFile,
    out: Annotated[
        str,
        typer.Option(
            OUT, metavar="FILE.ics", help="The file to write, or to bring up to date.", show_default=False
        ),
    ],
    no_care: NoCare = False,  # noqa: FBT002 - the shape that typer reads
    plan_file: PlanFile = None,
    time: Seconds = None,
    today: Today = None,
) -> int:
    """Write the plan for a calendar program, entry by entry.

    Over the older file of the same room it changes only what has changed.

    \b
    Example:
      allocator calendar my-room.yaml --out my-room.ics
    """
    from allocator.reports.calendar_file import NotOursError, calendar_file, events_before
    from allocator.reports.calendar_words import calendar_text
    from allocator.writing import write_atomically

    file, seconds = file_target(OUT, out, room, "the calendar", "my-room.ics"), seconds_of(time)
    before = older_text(OUT, file, "a calendar")
    reading = room_told(room, today)
    try:
        if before is not None:
            with printed_on(Paper()):
                events_before(reading.room, before)
    except NotOursError as error:
        raise not_ours(f"{OUT} {file}", str(error)) from None
    answer = answered_for(reading, room, plan_file, seconds)
    with printed_on(Paper()):
        made = calendar_file(answer.room, answer.plan, before, care=not no_care)
    write_atomically(file, made.text)
    say(calendar_text(answer.room, answer.plan, made, str(file)))
    return exit_code(answer.plan)
