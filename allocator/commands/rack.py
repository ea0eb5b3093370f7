"""`allocator rack`: the rack as it hangs on one day."""

# ruff: noqa: D301, PLC0415 - \b keeps the lines of the help apart; `--help` must not pay for what only this needs

from typing import Annotated

import typer

from allocator.asked import answered, day_of, exit_code, seconds_of
from allocator.commands.options import PlanFile, RoomFile, Seconds, Today
from allocator.console import UserError, say


def rack(
    room: RoomFile,
    on: Annotated[
        str | None, typer.Option("--on", metavar="DATE", help="The day to look at; today if left out.")
    ] = None,
    plan_file: PlanFile = None,
    time: Seconds = None,
    today: Today = None,
) -> int:
    """Draw the rack as it hangs on one day, shelf by shelf.

    With `allocator --plain rack`, and where the terminal cannot draw, it is a line for each vessel.

    \b
    Example:
      allocator rack my-room.yaml --on 2027-05-08
    """
    from allocator.reports.rack import rack_text

    asked_for, seconds = day_of(on, "--on"), seconds_of(time)
    answer = answered(room, plan_file, seconds, today)
    day = asked_for or answer.room.today
    if day < answer.room.today:
        raise UserError(f"--on {day} is before the plan begins", f"give {answer.room.today} or a later day")
    say(rack_text(answer.room, answer.plan, day))
    return exit_code(answer.plan)
