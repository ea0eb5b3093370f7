"""The command `fit`: where a coming brood will live."""

# ruff: noqa: PLC0415, D301 - `--help` must not pay for what only a command needs; \b keeps lines apart

from typing import TYPE_CHECKING, Annotated

import typer

from allocator.asked import answered_for, day_of, room_told, seconds_of
from allocator.commands.coming import (
    By,
    Eggs,
    LineName,
    brood_told,
    eggs_told,
    held_still,
    line_told,
    must_suit,
    way_told,
)
from allocator.commands.options import AsJson, PlanFile, RoomFile, Seconds, Today
from allocator.console import Exit, UserError, say

if TYPE_CHECKING:
    from allocator.plan import Plan
    from allocator.room import Brood, Room


def fit(
    room: RoomFile,
    brood: Annotated[
        str | None,
        typer.Option("--brood", metavar="NAME", help="A brood of the room file that is still to come."),
    ] = None,
    line: LineName = None,
    eggs: Eggs = None,
    on: Annotated[
        str | None,
        typer.Option("--on", metavar="DATE", help="Day of collection; four weeks from today if left out."),
    ] = None,
    by: By = None,
    as_json: AsJson = False,  # noqa: FBT002 - the shape that typer reads
    plan_file: PlanFile = None,
    time: Seconds = None,
    today: Today = None,
) -> int:
    """Print where one more brood would live, with nobody else moved.

    \b
    Examples:
      allocator fit my-room.yaml --plan plan.json --line lake --eggs 30 --on 2027-06-12
      allocator fit my-room.yaml --plan plan.json --brood "L 2027-05-08"
    """
    from allocator.reports.fit import fit_text

    day, number, way = day_of(on, "--on"), eggs_told(eggs), way_told(by)
    if brood is not None and (line or eggs or on or by):
        raise UserError("give --brood for one that is planned, or what another one is like, not both")
    reading = room_told(room, today)
    if brood is None:
        name = line_told(reading.room, line)
        must_suit(reading.room, name, way)
        coming = brood_told(reading.room, name, day, number, way)
    answer = answered_for(reading, room, plan_file, seconds_of(time))
    there, plan = answer.room, answer.plan
    if brood is not None:
        there, plan, coming = _taken_out(there, plan, brood)
    from allocator.questions.fit import fit_of

    with held_still():
        reply = fit_of(there, plan, coming)
    say(reply.model_dump_json(indent=2, by_alias=True) if as_json else fit_text(reply))
    return Exit.FITS if reply.refusal is None else Exit.DOES_NOT_FIT


def _taken_out(room: "Room", plan: "Plan", name: str) -> "tuple[Room, Plan, Brood]":
    """Return the room and the plan without a brood that is still to come, and the brood."""
    from allocator.problems import nearest

    planned = {brood.name: brood for brood in room.broods if brood.planned}
    if name not in planned:
        what = "it is in the room already" if name in room.brood_named else "there is no such brood"
        raise UserError(f"--brood {name}: {what}", nearest(name, list(planned)))
    left = tuple(brood for brood in room.broods if brood.name != name)
    pins = tuple(pin for pin in room.pins if pin.brood != name)
    rest = {
        "stays": tuple(stay for stay in plan.stays if stay.brood != name),
        "moves": tuple(move for move in plan.moves if move.brood != name),
        "homeless": tuple(row for row in plan.homeless if row.brood != name),
    }
    there = room.model_copy(update={"broods": left, "pins": pins})
    return there, plan.model_copy(update=rest), planned[name]
