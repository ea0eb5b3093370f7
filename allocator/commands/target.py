"""The command `target`: backwards from a date."""

# ruff: noqa: PLC0415, D301 - `--help` must not pay for what only a command needs; \b keeps lines apart

from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from allocator.asked import answered_for, day_of, room_told, seconds_of
from allocator.commands.coming import LineName, held_still, line_told, must_suit, number_told, way_told
from allocator.commands.options import AsJson, PlanFile, RoomFile, Seconds, Today
from allocator.console import Exit, UserError, say

if TYPE_CHECKING:
    from allocator.room import Room

MOST_FISH = 10_000
"""More fish for one day than this are a slip of the finger (judgement)."""


def target(
    room: RoomFile,
    fish: Annotated[
        str,
        typer.Option(
            "--fish", metavar="N", help="How many fish, those there anyway among them.", show_default=False
        ),
    ],
    by: Annotated[
        str, typer.Option("--by", metavar="DATE", help="The day they are wanted on.", show_default=False)
    ],
    line: LineName = None,
    taken: Annotated[
        str | None,
        typer.Option("--taken", metavar="HOW", help="How a brood is taken: picking, mop or young."),
    ] = None,
    as_json: AsJson = False,  # noqa: FBT002 - the shape that typer reads
    plan_file: PlanFile = None,
    time: Seconds = None,
    today: Today = None,
) -> int:
    """Print when to spawn, and how much, to have so many fish on a day.

    \b
    Example:
      allocator target my-room.yaml --plan plan.json --line lake --fish 12 --by 2027-12-04
    """
    from allocator.reports.target import target_text

    number, way = number_told(fish, "--fish", MOST_FISH), way_told(taken, "--taken")
    day = day_of(by, "--by")
    assert day is not None  # noqa: S101 - the option must be given
    reading = room_told(room, today)
    name = line_told(reading.room, line)
    must_suit(reading.room, name, way, "--taken")
    _far_enough(reading.room, day)
    _whose(reading.room, name)
    answer = answered_for(reading, room, plan_file, seconds_of(time))
    from allocator.questions.target import target_of

    with held_still():
        reply = target_of(answer.room, answer.plan, name, number, day, way)
    say(reply.model_dump_json(indent=2, by_alias=True) if as_json else target_text(reply))
    return Exit.FITS if reply.can_be else Exit.DOES_NOT_FIT


def _far_enough(room: "Room", day: date) -> None:
    from allocator.questions.target import FURTHEST_AHEAD

    if day <= room.today:
        raise UserError(f"--by {day} is not after today, {room.today}", "give a day that is to come")
    if day > room.today + FURTHEST_AHEAD:
        raise UserError(f"--by {day} is more than three years from today, {room.today}", "check the year")


def _whose(room: "Room", line: str) -> None:
    """Refuse young that begin with their parents where no parents are in the room."""
    if room.line_named[line].rules.guards_young and not any(group.line == line for group in room.groups):
        raise UserError(
            f"the young of {line} begin with their parents, and no breeding group of it is in the room file",
            "write one into the room file",
        )
