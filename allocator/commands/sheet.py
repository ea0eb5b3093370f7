"""`allocator sheet`: the move sheet to print, or the card of one tank."""

# ruff: noqa: D301, PLC0415 - \b keeps the lines of the help apart; `--help` must not pay for what only this needs

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from allocator.asked import (
    answered_for,
    begin_of,
    day_of,
    exit_code,
    file_target,
    not_ours,
    older_text,
    room_told,
    seconds_of,
)
from allocator.commands.options import NoCare, PlanFile, RoomFile, Seconds, Today
from allocator.console import UserError, say
from allocator.paper import Paper, printed_on

if TYPE_CHECKING:
    from allocator.room import Room, Vessel

OUT = "--out"


def sheet(
    room: RoomFile,
    tank: Annotated[
        str | None, typer.Option("--tank", metavar="NAME", help="The card of this one tank instead.")
    ] = None,
    out: Annotated[
        str | None,
        typer.Option(OUT, metavar="FILE.html", help="Write a page to print instead of the text."),
    ] = None,
    start_day: Annotated[
        str | None, typer.Option("--from", metavar="DATE", help="First day to print; today if left out.")
    ] = None,
    until: Annotated[
        str | None,
        typer.Option(
            "--until", metavar="DATE", help="Print what comes before this day; for eight weeks if left out."
        ),
    ] = None,
    no_care: NoCare = False,  # noqa: FBT002 - the shape that typer reads
    plan_file: PlanFile = None,
    time: Seconds = None,
    today: Today = None,
) -> int:
    """Print the move sheet, with room to write down real counts.

    \b
    Examples:
      allocator sheet my-room.yaml --out sheet.html
      allocator sheet my-room.yaml --tank "ten 3"
    """
    from allocator.reports.sheet import sheet_of, sheet_text
    from allocator.reports.tank_card import card_of, card_text
    from allocator.reports.text import WEEKS_SHOWN
    from allocator.reports.words import WEEK

    first, last, seconds = day_of(start_day, "--from"), day_of(until, "--until"), seconds_of(time)
    file = None if out is None else _page_target(out, room)
    reading = room_told(room, today)
    begin = begin_of(first, last, reading.room.today)
    end = last or begin + WEEKS_SHOWN * WEEK
    if tank is not None:
        _refuse_unknown(tank, reading.room)
    answer = answered_for(reading, room, plan_file, seconds)
    if tank is None:
        given = answer.room, answer.plan, begin, end
        if file is None:
            say(sheet_text(*given, care=not no_care))
        else:
            from allocator.reports.sheet_html import sheet_html

            with printed_on(Paper()):
                text = sheet_html(sheet_of(*given, care=not no_care))
            _write(file, text)
    else:
        vessel, gallon = _vessel(tank, answer.room), reading.gallon
        if file is None:
            say(card_text(answer.room, answer.plan, vessel, begin, end, gallon, care=not no_care))
        else:
            from allocator.reports.sheet_html import card_html

            with printed_on(Paper()):
                card = card_of(answer.room, answer.plan, vessel, begin, end, gallon, care=not no_care)
                text = card_html(card)
            _write(file, text)
    return exit_code(answer.plan)


def _page_target(out: str, room: Path) -> Path:
    """Return where the page goes; refuse what would destroy something else, before minutes of planning."""
    from allocator.reports.sheet_html import is_sheet

    file = file_target(OUT, out, room, "the page", "sheet.html")
    before = older_text(OUT, file, "a page made by this command")
    if before is not None and not is_sheet(before):
        raise not_ours(f"{OUT} {file}", "this file is there already and is not a page made by this command")
    return file


def _write(file: Path, page: str) -> None:
    from allocator.writing import write_atomically

    write_atomically(file, page)
    say(f"Wrote {file}. Open it in a browser and print it, on A4 or Letter.")


def _refuse_unknown(tank: str, room: "Room") -> None:
    """Refuse a name that neither is in the room nor can be that of a tank to add, before minutes of planning."""
    from allocator.room import new_vessel_name

    could_be = (new_vessel_name(add.like, n) for add in room.could_add for n in range(1, add.most + 1))
    if tank not in room.vessel_named and tank not in could_be:
        _vessel(tank, room)


def _vessel(tank: str, room: "Room") -> "Vessel":
    from allocator.problems import nearest

    if tank not in room.vessel_named:
        raise UserError(f"--tank {tank}: there is no such vessel", nearest(tank, list(room.vessel_named)))
    return room.vessel_named[tank]
