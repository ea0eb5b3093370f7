"""The checker: walks a plan day by day, vessel by vessel and lot by lot from the rules themselves.

It shares no arithmetic with the search that finds plans: it never imports the tables, the model or the
planner, so a fault there cannot hide here.
"""

from datetime import date
from functools import cached_property

from allocator.check.agree import check_agree
from allocator.check.breach import Breach
from allocator.check.growing_up import GrowingUp, check_stage, check_window
from allocator.check.keeper import check_most_moves, check_move_day, check_ordered, check_pinned
from allocator.check.story import (
    check_fish,
    check_housed,
    check_one_place,
    check_ready,
    check_today,
    days_too_soon,
    ready_days,
    slowest_paths,
)
from allocator.check.vessels import (
    check_alone,
    check_clean,
    check_flow,
    check_fry,
    check_line,
    check_room,
    check_size,
    check_snail,
    check_vessel,
)
from allocator.check.walk import Walk
from allocator.husbandry.life import Dwelling
from allocator.plan import Plan
from allocator.room import Room

__all__ = ["Breach", "Checked", "check_plan", "room_for", "sold_too_soon"]


class Checked:
    """A plan that is walked once and can then be asked what is wrong with it.

    Parameters
    ----------
    room
        With the vessels that the plan adds: see `room_for`.
    plan
        Any plan, from the planner or edited by hand.
    """

    def __init__(self, room: Room, plan: Plan) -> None:
        self.plan = plan
        self._walk = Walk(room, plan)

    @cached_property
    def breaches(self) -> list[Breach]:
        """Every rule that the plan breaks, in order of time."""
        walk, growing_up = self._walk, GrowingUp(self._walk)
        found = [
            *check_housed(walk),
            *check_ready(walk),
            *check_one_place(walk),
            *check_fish(walk),
            *check_room(walk),
            *check_flow(walk),
            *check_stage(growing_up),
            *check_window(growing_up),
            *check_line(walk),
            *check_size(walk),
            *check_fry(walk),
            *check_snail(walk),
            *check_alone(walk, growing_up.alone_until),
            *check_vessel(walk),
            *check_clean(walk),
            *check_move_day(walk),
            *check_most_moves(walk),
            *check_pinned(walk),
            *check_ordered(walk),
            *check_today(walk),
            *check_agree(walk),
        ]
        return sorted(found, key=lambda b: (b.day, b.rule, b.vessel or "", b.brood or "", b.text))

    @cached_property
    def sold_too_soon(self) -> dict[str, int]:
        """The broods whose fish are sold before they are long enough, each with the days that they lack."""
        return days_too_soon(self._walk)

    @cached_property
    def ready(self) -> dict[str, date]:
        """The day on which the slowest fish of each brood that is sold are long enough, where they live."""
        return ready_days(self._walk)

    @cached_property
    def paths(self) -> dict[str, tuple[Dwelling, ...]]:
        """Where the slowest fish of each brood that is sold live, in order of time."""
        return slowest_paths(self._walk)


def check_plan(room: Room, plan: Plan) -> list[Breach]:
    """Return every rule that a plan breaks, in order of time: see `Checked`."""
    return Checked(room, plan).breaches


def sold_too_soon(room: Room, plan: Plan) -> dict[str, int]:
    """Return the broods whose fish are sold before they are long enough, each with the days that they lack."""
    return Checked(room, plan).sold_too_soon


def room_for(room: Room, plan: Plan) -> Room:
    """Return the room with the vessels that a plan adds; those like no vessel of the room are left out."""
    declared = {vessel.declared_as for vessel in room.vessels}
    added: dict[str, int] = {}
    for row in plan.added:
        if row.like in declared and row.copies > 0:
            added[row.like] = added.get(row.like, 0) + row.copies
    return room.with_added(added) if added else room
