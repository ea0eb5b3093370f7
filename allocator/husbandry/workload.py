"""The keeper's time, week by week: picking eggs, feeding, changing water, care and moves.

A vessel that is in use is counted once, however many broods are in it. Tasks of young fish come on top of its feeding.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum
from functools import cached_property

from allocator.husbandry.care import Care
from allocator.husbandry.peat import may_hold_water
from allocator.plan import Plan
from allocator.room import Room
from allocator.rules import RulePack, Upkeep

DAY = timedelta(days=1)
WEEK = timedelta(days=7)

MOVE_MINUTES = 10.0
"""Catching a lot, carrying it, and letting it get used to the other water; setting up eggs and bagging for a
sale are taken for the same (from memory, judged by one keeper's work; larger lots take longer)."""


class Work(StrEnum):
    """What the time goes into."""

    PICKING = "egg picking"
    FEEDING = "feeding"
    WATER = "water changes"
    CARE = "care of broods"
    MOVES = "moves, set-ups and sales"


@dataclass(frozen=True)
class WeekOfWork:
    """The minutes of one week, of which so many days are counted."""

    monday: date
    days: int
    minutes: dict[Work, float] = field(default_factory=dict)

    @property
    def total(self) -> float:
        """All minutes of the week."""
        return sum(self.minutes.values())


def work_by_week(
    room: Room, plan: Plan, frm: date | None = None, until: date | None = None
) -> list[WeekOfWork]:
    """Return the minutes of each week from one day (included) until another (excluded).

    Only days of that span are counted, so the first and the last week may be short. A week is one from Monday on.

    Parameters
    ----------
    frm
        Today if left out.
    until
        The day on which the last fish of the plan are sold, if left out.
    """
    frm = room.today if frm is None else frm
    end = max((stay.until for stay in plan.stays), default=frm + WEEK)
    until = max(end, frm + DAY) if until is None else until
    counted = _Counted(room, plan, frm, until)
    days = Counter(_monday(frm + timedelta(days=number)) for number in range((until - frm).days))
    totals = {monday: dict.fromkeys(Work, 0.0) for monday in days}
    for kind, day, minutes in counted.all():
        totals[_monday(day)][kind] += minutes
    return [WeekOfWork(monday, days[monday], minutes) for monday, minutes in totals.items()]


def busiest(weeks: Sequence[WeekOfWork]) -> WeekOfWork:
    """Return the week with the most work, the first of them if there are several."""
    return max(weeks, key=lambda week: (round(week.total, 6), -week.monday.toordinal()))


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


@dataclass(frozen=True)
class _Counted:
    room: Room
    plan: Plan
    frm: date
    until: date

    @cached_property
    def care(self) -> Care:
        return Care(self.room, self.plan)

    def all(self) -> Iterator[tuple[Work, date, float]]:
        """Yield (what, day, minutes) for everything on the days that are counted."""
        yield from self.picking()
        yield from self.upkeep()
        yield from self.tasks()
        for move in self.plan.moves:
            left_in_place = move.from_ is None and self.care.is_left_with_parents(move.brood)
            if self.frm <= move.on < self.until and not left_in_place:
                yield Work.MOVES, move.on, MOVE_MINUTES

    def picking(self) -> Iterator[tuple[Work, date, float]]:
        """Yield the picking of each group, once for each week in which it is picked at all."""
        seen = set()
        for picking in self.care.pickings:
            week = picking.who, _monday(picking.on)
            if self.frm <= picking.on < self.until and week not in seen:
                seen.add(week)
                rules = self.room.line_named[picking.line].rules
                yield Work.PICKING, picking.on, rules.upkeep.egg_picking_minutes_a_week.value

    def upkeep(self) -> Iterator[tuple[Work, date, float]]:
        """Yield feeding and water changes, a seventh of the week's water changes on each day."""
        fed: dict[tuple[str, date], float] = defaultdict(float)
        changed: dict[tuple[str, date], float] = defaultdict(float)
        for vessel, day, upkeep, eats in self.occupied():
            key = vessel, day
            if may_hold_water(self.room, vessel):
                changed[key] = max(changed[key], upkeep.water_change_minutes_a_week.value / 7)
            if eats:
                fed[key] = max(fed[key], upkeep.feeding_minutes_a_day.value)
        yield from ((Work.FEEDING, day, minutes) for (_, day), minutes in fed.items())
        yield from ((Work.WATER, day, minutes) for (_, day), minutes in changed.items())

    def occupied(self) -> Iterator[tuple[str, date, Upkeep, bool]]:
        """Yield each vessel on each day for each lot or group in it, and whether that eats: eggs do not."""
        for stay in self.plan.stays:
            life = self.care.lives.get(stay.brood)
            if life is not None:
                for day in self.days(stay.from_, stay.until):
                    yield stay.vessel, day, life.rules.upkeep, not life.is_egg(day)
        for group in self.room.groups:
            rules: RulePack = self.room.line_named[group.line].rules
            for day in self.days(group.lives_there.start, group.lives_there.end):
                yield group.vessel, day, rules.upkeep, True

    def days(self, start: date | None, end: date | None) -> Iterator[date]:
        """Yield the days from one until another that are counted."""
        first = self.frm if start is None else max(start, self.frm)
        last = self.until if end is None else min(end, self.until)
        return (first + timedelta(days=number) for number in range((last - first).days))

    def tasks(self) -> Iterator[tuple[Work, date, float]]:
        """Yield care, once for each vessel and day however many broods there need the same."""
        longest: dict[tuple[str, str, date], float] = defaultdict(float)
        for brood, task in self.care.tasks():
            for day in task.days():
                if self.frm <= day < self.until:
                    for vessel in self.care.vessels(brood.name, day):
                        key = task.task, vessel, day
                        longest[key] = max(longest[key], task.minutes)
        yield from ((Work.CARE, day, minutes) for (_, _, day), minutes in longest.items())
