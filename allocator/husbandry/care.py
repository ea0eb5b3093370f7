"""What has to happen to the fish, apart from moves: from the pack, and from the plan itself.

Dates are those of the plan. What hangs on a length is due when the planned length is there; measured fish come first.
"""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from math import ceil

from allocator.husbandry.life import Life, lives
from allocator.plan import Plan, Stay
from allocator.room import Brood, CollectedBy, Room
from allocator.rules import CareStep, Figure
from allocator.units import DUST

MOP_OUT_MINUTES = 5.0
"""Lifting a mop out and looking it over for fry that cling to it (from memory)."""

READY = "ready to sell"
"""The name of the task that follows from the plan: to see that fish are long enough before their planned sale."""

Days = tuple[date, date]
"""From a day (included) until another (excluded)."""


@dataclass(frozen=True)
class CareTask:
    """Something to do for one brood, once or every so many days.

    Attributes
    ----------
    name
        By which the pack knows it.
    task
        What to do, as it is printed.
    on
        The first day, or the only one.
    until
        The day on which it is no longer due; None for a task that is done once.
    every_days
        None: once.
    minutes
        Each time, for each vessel that the brood lives in.
    """

    name: str
    task: str
    on: date
    until: date | None = None
    every_days: int | None = None
    minutes: float = 0.0

    def days(self) -> Iterator[date]:
        """Yield each day on which it is due."""
        if self.every_days is None or self.until is None:
            yield self.on
            return
        for number in range(0, (self.until - self.on).days, self.every_days):
            yield self.on + timedelta(days=number)

    def under_way(self, day: date) -> bool:
        """Tell whether it has begun before a day and is due on it or later."""
        return self.until is not None and self.on < day and any(day <= due for due in self.days())


def days_in_room(brood: Brood, stays: Iterable[Stay]) -> list[Days]:
    """Return the days on which a plan has a brood in the room, in order and with nothing left between two that meet.

    A brood in being has been in the room since its collection: what is under way today began then.
    """
    spans: list[Days] = []
    for start, end in sorted((stay.from_, stay.until) for stay in stays if stay.from_ < stay.until):
        if spans and start <= spans[-1][1]:
            spans[-1] = spans[-1][0], max(spans[-1][1], end)
        else:
            spans.append((start, end))
    if spans and not brood.planned:
        spans[0] = min(brood.collected, spans[0][0]), spans[0][1]
    return spans


def care_tasks(
    life: Life,
    here: Sequence[Days],
    today: date,
    ready: date | None = None,
    with_parents: Sequence[Days] = (),
) -> list[CareTask]:
    """Return what a brood needs on the days on which it is in the room, in order of days.

    What was to be done once, before today, is past and left out; what recurs and is still due goes on from the day
    on which it began. The end "so many days after hatch" is never before the last straggler has hatched.

    Parameters
    ----------
    life
        The forecast of the brood.
    here
        As `days_in_room` returns them.
    today
        The first day of the plan.
    ready
        The day on which the fish are long enough to sell, if it is to be told.
    with_parents
        Those of the days that it spends with its parents: tasks of that time are due on no others.
    """
    if not here:
        return []
    gone = here[-1][1]
    told = ((_task_of(step, life, gone), step.with_parents) for step in life.rules.care)
    tasks = [(task, with_parents if guarded else here) for task, guarded in told if task is not None]
    if life.brood.by is CollectedBy.MOP:
        out = life.brood.collected + _days(life.rules.mop_out_days)
        tasks.append((CareTask("mop out", "take the mop out", out, minutes=MOP_OUT_MINUTES), here))
    if ready is not None:
        tasks.append((CareTask(READY, "long enough to sell", ready), here))
    cut = (part for task, spans in tasks for span in spans for part in _inside(task, span))
    due = [task for task in cut if (task.on if task.until is None else max(task.days())) >= today]
    return sorted(due, key=in_order)


def in_order(task: CareTask) -> tuple[date, bool]:
    """Order tasks by day; on a day what is done once comes first (peat is wetted before there is anything to feed).

    Those that are alike stay in the order of their pack.
    """
    return task.on, task.every_days is not None


def _task_of(step: CareStep, life: Life, gone: date) -> CareTask | None:
    """Return what a row of the pack means for a brood; None when the fish never get there."""
    begins, ends = [], [gone]
    if step.from_collection_days is not None:
        begins.append(life.brood.collected + _days(step.from_collection_days))
    if step.from_days is not None:
        # From the hatch on means from the first fry on, which may be days before most of them.
        first = life.hatched if step.from_days.value else life.hatch_from
        begins.append(first + _days(step.from_days))
    if step.from_mm is not None:
        begins.append(day_of_mm(life, step.from_mm.value, gone))
    if step.until_days is not None:
        ends.append(max(life.hatched + _days(step.until_days), life.hatch_until))
    if step.until_mm is not None:
        ends.append(day_of_mm(life, step.until_mm.value, gone))
    begin, end = max(begins, default=life.brood.collected), min(ends)
    if begin >= end:
        return None
    minutes = 0.0 if step.minutes is None else step.minutes.value
    if step.every_days is None:
        return CareTask(step.name, step.task, begin, minutes=minutes)
    every = max(ceil(step.every_days.value), 1)
    return CareTask(step.name, step.task, begin, end, every, minutes)


def day_of_mm(life: Life, mm: float, gone: date) -> date:
    """Return the first day on which fish are planned to be so long; the day on which they leave if they never are."""
    days = range(max((gone - life.hatched).days, 0))
    number = bisect_left(days, mm - DUST, key=lambda n: life.length_mm(life.hatched + timedelta(days=n)))
    return life.hatched + timedelta(days=number) if number < len(days) else max(gone, life.hatched)


def _days(figure: Figure) -> timedelta:
    return timedelta(days=ceil(figure.value))


def _inside(task: CareTask, span: Days) -> Iterator[CareTask]:
    """Yield what is left of a task on the days from one until another: in step with its first day, or nothing."""
    start, end = span
    if task.until is None or task.every_days is None:
        if start <= task.on < end:
            yield task
        return
    missed = max((start - task.on).days, 0)
    on = task.on + timedelta(days=ceil(missed / task.every_days) * task.every_days)
    until = min(task.until, end)
    if on < until:
        yield CareTask(task.name, task.task, on, until, task.every_days, task.minutes)


@dataclass(frozen=True)
class Picking:
    """Eggs picked from a breeding group on a day. `who` is its line where it is not known which group it is."""

    who: str
    vessel: str | None
    line: str
    on: date


@dataclass(frozen=True)
class Care:
    """All that has to be done for the fish of a room under a plan."""

    room: Room
    plan: Plan

    @cached_property
    def lives(self) -> dict[str, Life]:
        """The forecast of each brood."""
        return lives(self.room)

    @cached_property
    def stays(self) -> dict[str, list[Stay]]:
        """The stays of each brood."""
        stays: dict[str, list[Stay]] = defaultdict(list)
        for stay in self.plan.stays:
            stays[stay.brood].append(stay)
        return stays

    def tasks(self, ready: dict[str, date] | None = None) -> list[tuple[Brood, CareTask]]:
        """Return the tasks of all broods, in order of days.

        Parameters
        ----------
        ready
            For each brood the day on which its fish are long enough to sell, where that is to be told.
        """
        found = [
            (brood, task)
            for brood in self.room.broods
            for task in care_tasks(
                self.lives[brood.name],
                days_in_room(brood, self.stays.get(brood.name, ())),
                self.room.today,
                (ready or {}).get(brood.name),
                self.days_with_parents(brood),
            )
        ]
        return sorted(found, key=lambda pair: in_order(pair[1]))

    def days_with_parents(self, brood: Brood) -> list[Days]:
        """Return the days that a brood spends in the vessel of the parents that guard it; none for all others."""
        nursery = self.lives[brood.name].nursery
        return days_in_room(brood, (s for s in self.stays.get(brood.name, ()) if s.vessel == nursery))

    def is_left_with_parents(self, brood: str) -> bool:
        """Tell whether nobody takes the eggs or young of a brood away at first: their parents guard them."""
        return brood in self.lives and self.lives[brood].nursery is not None

    def vessels_in_turn(self, brood: str, start: date, end: date) -> list[list[str]]:
        """Return the vessels that a brood lives in on a day, and those after each move until another (excluded).

        Where it only leaves some of its vessels, nothing new is told.
        """
        changes = {stay.from_ for stay in self.stays.get(brood, ()) if start < stay.from_ < end}
        turns: list[list[str]] = []
        for day in (start, *sorted(changes)):
            here = self.vessels(brood, day)
            if here and (not turns or set(here) - set(turns[-1])):
                turns.append(here)
        return turns

    def vessels(self, brood: str, day: date) -> list[str]:
        """Return the vessels that a brood lives in on a day, in the order of the room."""
        here = {stay.vessel for stay in self.stays.get(brood, ()) if stay.from_ <= day < stay.until}
        known = [vessel.name for vessel in self.room.vessels if vessel.name in here]
        return [*known, *sorted(here.difference(known))]

    @cached_property
    def pickings(self) -> list[Picking]:
        """The days on which eggs are picked, from each breeding group with planned collections of that kind.

        Eggs that are left with parents who guard them are not picked.
        """
        housed = [b for b in self.room.broods if b.planned and self.stays.get(b.name)]
        picked = [b for b in housed if b.by is CollectedBy.PICKING and not self.is_left_with_parents(b.name)]
        found = {(p.who, p.on): p for p in map(self._picking, picked) if p.on >= self.room.today}
        return sorted(found.values(), key=lambda p: (p.on, p.who))

    def _picking(self, brood: Brood) -> Picking:
        group = self.room.group_named.get(brood.parents or "")
        if group is None:
            line = [
                g for g in self.room.groups if g.line == brood.line and g.lives_there.holds(brood.collected)
            ]
            group = line[0] if len(line) == 1 else None
        if group is None:
            return Picking(brood.line, None, brood.line, brood.collected)
        return Picking(group.name, group.vessel, brood.line, brood.collected)
