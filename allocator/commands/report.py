"""The command that writes the plan as one page for a browser and for paper."""

# ruff: noqa: PLC0415, D301 - `--help` must not pay for what only the command needs; \b keeps lines apart

from pathlib import Path
from typing import Annotated

import typer

from allocator.asked import (
    answered,
    day_of,
    exit_code,
    file_target,
    not_ours,
    older_text,
    same_file,
    seconds_of,
)
from allocator.commands.options import PlanFile, RoomFile, Seconds, Today
from allocator.console import UserError, say
from allocator.paper import Paper, printed_on

OUT = "--out"


def report(
    room: RoomFile,
    out: Annotated[
        str, typer.Option(OUT, metavar="FILE.html", help="The file to write.", show_default=False)
    ],
    on: Annotated[
        list[str] | None,
        typer.Option("--on", metavar="DATE", help="A day to draw the rack on; may be given several times."),
    ] = None,
    plan_file: PlanFile = None,
    time: Seconds = None,
    today: Today = None,
) -> int:
    """Write the plan as one page: moves, the rack, a chart over time, all in one file.

    The page asks for nothing from elsewhere, and can be printed.

    \b
    Example:
      allocator report my-room.yaml --plan plan.json --out page.html
    """
    from allocator.reports.answers import verdict_line
    from allocator.reports.page.gather import page_facts
    from allocator.reports.page.render import page_html
    from allocator.writing import write_atomically

    seconds = seconds_of(time)
    file = _page_target(out, room, plan_file)
    days = [day for text in on or () if (day := day_of(text, "--on")) is not None]
    answer = answered(room, plan_file, seconds, today)
    early = [day for day in days if day < answer.room.today]
    if early:
        raise UserError(
            f"--on {early[0]} is before the plan begins", f"give {answer.room.today} or a later day"
        )
    with printed_on(Paper()):
        facts = page_facts(
            answer.room,
            answer.plan,
            result=answer.result,
            as_it_is=answer.as_it_is,
            warnings=[str(problem) for problem in answer.reading.warnings],
            days=days,
            gallon=answer.reading.gallon,
        )
        html = page_html(facts)
    write_atomically(file, html)
    remarks = answer.result.remarks if answer.result is not None else ()
    say(f"{verdict_line(answer.room, answer.plan, remarks)}\nWrote {file}.")
    return exit_code(answer.plan)


def _page_target(out: str, room: Path, plan_file: Path | None) -> Path:
    """Return where the page goes; refuse what would destroy something else, before minutes of planning."""
    from allocator.reports.page.render import BEGINS

    file = file_target(OUT, out, room, "the page", "page.html")
    if plan_file is not None and same_file(file, plan_file):
        raise UserError(f"{OUT} {out}: this is the plan file itself", "give the page a file of its own")
    older = older_text(OUT, file, "a page made by this command")
    if older is not None and not older.startswith(BEGINS):
        raise not_ours(f"{OUT} {out}", "this file is there already and is not a page made by this command")
    return file
