"""Which cautions are printed: those whose situation is there, in this room, this plan and on these days."""

from collections import Counter
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from datetime import date
from functools import cached_property

from allocator.husbandry.life import Life, lives
from allocator.husbandry.peat import may_hold_water
from allocator.plan import Move, Plan, Stay
from allocator.reports.caution_list import CAUTIONS, FRY_MM, SPECIES, Caution, Page, Situation
from allocator.reports.tables import paragraph
from allocator.reports.words import listed
from allocator.room import CollectedBy, Room, Vessel
from allocator.rules import FlowSetting


def cautions_for(
    page: Page,
    room: Room,
    plan: Plan,
    frm: date | None = None,
    until: date | None = None,
    *,
    also: Collection[Situation] = (),
) -> list[Caution]:
    """Return the cautions that a page prints, in the order of the list.

    Parameters
    ----------
    room
        With the vessels that the plan adds.
    frm, until
        The printed days: from one (included) until another (excluded). None leaves that end open.
    also
        Situations that the caller knows of and that room and plan do not show.
    """
    days = _Days(room, plan, frm, until)
    there: dict[Situation, bool] = dict.fromkeys(also, True)
    found = []
    for caution in CAUTIONS:
        situation = caution.situation
        if page not in caution.pages:
            continue
        if situation not in there:
            there[situation] = situation in HOLDS and HOLDS[situation](days)
        if there[situation]:
            found.append(caution)
    return found


def cautions_text(
    page: Page,
    room: Room,
    plan: Plan,
    frm: date | None = None,
    until: date | None = None,
    *,
    also: Collection[Situation] = (),
) -> str:
    """Return the cautions of a page under their heading, or nothing; see `cautions_for`."""
    found = cautions_for(page, room, plan, frm, until, also=also)
    points = [paragraph(words(caution, room), indent="  - ", hanging="    ") for caution in found]
    return "\n".join(["Cautions", *points]) if points else ""


def words(caution: Caution, room: Room) -> str:
    """Return a caution as it is printed, with the species of the room where it names them."""
    if SPECIES not in caution.text:
        return caution.text
    return caution.text.replace(SPECIES, listed(sorted({line.species for line in room.lines})))


@dataclass(frozen=True)
class _Days:
    """A room and a plan on the printed days."""

    room: Room
    plan: Plan
    frm: date | None
    until: date | None

    def hold(self, day: date) -> bool:
        """Tell whether a day is printed."""
        return (self.frm is None or self.frm <= day) and (self.until is None or day < self.until)

    @cached_property
    def lives(self) -> dict[str, Life]:
        return lives(self.room)

    @property
    def stays(self) -> Iterator[Stay]:
        """The stays of which at least one day is printed."""
        for stay in self.plan.stays:
            if (self.until is None or stay.from_ < self.until) and (
                self.frm is None or self.frm < stay.until
            ):
                yield stay

    @property
    def moves(self) -> Iterator[Move]:
        return (move for move in self.plan.moves if self.hold(move.on))

    def first_day(self, stay: Stay) -> date:
        """Return the first printed day of a stay."""
        return stay.from_ if self.frm is None else max(stay.from_, self.frm)

    def is_egg(self, brood: str, day: date) -> bool:
        life = self.lives.get(brood)
        return life is not None and life.is_egg(day)


def _fish(days: _Days) -> bool:
    def lives_there(start: date | None, end: date | None) -> bool:
        late = start is not None and days.until is not None and start >= days.until
        gone = end is not None and days.frm is not None and end <= days.frm
        return not (late or gone)

    groups = (group.lives_there for group in days.room.groups)
    return any(True for _ in days.stays) or any(lives_there(span.start, span.end) for span in groups)


def _moving(vessel: Vessel) -> bool:
    """Tell whether a pump of some kind is at work: a filter, or water that can be made to move."""
    return vessel.filtered or vessel.flow_highest > FlowSetting.STILL


def _mains(days: _Days) -> bool:
    return any(map(_moving, days.room.vessels))


def _air(days: _Days) -> bool:
    racks = Counter(vessel.rack for vessel in days.room.vessels if _moving(vessel))
    return any(vessels > 1 for vessels in racks.values())


def _eggs(days: _Days) -> bool:
    return any(
        days.is_egg(stay.brood, days.first_day(stay)) and may_hold_water(days.room, stay.vessel)
        for stay in days.stays
    )


def _picked(days: _Days) -> bool:
    set_up = (move for move in days.moves if move.from_ is None and may_hold_water(days.room, move.to))
    found = (days.lives.get(move.brood) for move in set_up)
    return any(
        life is not None and life.brood.by is CollectedBy.PICKING and life.nursery is None for life in found
    )


def _fry(days: _Days) -> bool:
    moved = ((days.lives.get(move.brood), move.on) for move in days.moves)
    return any(
        life is not None and not life.is_egg(day) and life.length_mm(day) < FRY_MM for life, day in moved
    )


def _lines(days: _Days) -> bool:
    broods = {move.brood for move in days.moves}
    return len({brood.line for brood in days.room.broods if brood.name in broods}) > 1


def _spawn(days: _Days) -> bool:
    left_out = {row.brood for row in days.plan.not_taken}
    return any(
        brood.planned and brood.name not in left_out and days.hold(brood.collected)
        for brood in days.room.broods
    )


def _homeless(days: _Days) -> bool:
    return bool(days.plan.homeless)


def _sold(days: _Days) -> bool:
    return any(move.to is None for move in days.moves)


def _lifting(days: _Days) -> bool:
    changes = [added.from_ for added in days.plan.added]
    for vessel in days.room.vessels:
        # What the planner adds is free from today on, and is counted above by the day it is needed.
        start = vessel.available.start
        changes += [start] if start is not None and start > days.room.today else []
        changes += [] if vessel.available.end is None else [vessel.available.end]
    return any(map(days.hold, changes))


def _shelves(days: _Days) -> bool:
    return any(vessel.rack or vessel.shelf for vessel in days.room.vessels)


def _vessels(days: _Days) -> bool:
    return bool(days.room.vessels)


HOLDS: dict[Situation, Callable[[_Days], bool]] = {
    Situation.FISH: _fish,
    Situation.MAINS: _mains,
    Situation.AIR: _air,
    Situation.EGGS: _eggs,
    Situation.PICKED: _picked,
    Situation.FRY: _fry,
    Situation.LINES: _lines,
    Situation.SPAWN: _spawn,
    Situation.HOMELESS: _homeless,
    Situation.SOLD: _sold,
    Situation.LIFTING: _lifting,
    Situation.SHELVES: _shelves,
    Situation.VESSELS: _vessels,
}
"""How each situation is recognised. One that is not listed holds only where the caller says so."""
