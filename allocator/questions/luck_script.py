"""A plan laid out to be replayed: who is to be where, from when until when, and what its fish must be like to move on."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property

import numpy as np

from allocator.check.story import slowest_path
from allocator.check.walk import Walk, Walked
from allocator.husbandry.life import Dwelling, Life
from allocator.husbandry.stages import fits_stage, may_follow, sale_day, stage_today
from allocator.plan import Plan
from allocator.questions.luck_draws import Ints
from allocator.room import Room, Vessel
from allocator.rules import GrowthPace, StageRule

DAY = timedelta(days=1)

LONGEST_WAIT_DAYS = 366
"""So long after the end of the plan fish that are not long enough by then are still followed (judgement)."""

DAYS_TO_SELL = 61
"""So long after they are long enough even fish that new plans keep for longer are sold (judgement)."""


@dataclass(frozen=True)
class Leg:
    """One stay of a plan. Days are counted from today, vessels by their place in the room.

    Attributes
    ----------
    part
        The part of its brood that it is.
    came_from
        The vessel in which its fish wait while they cannot be moved; None where they wait nowhere.
    entered
        The stage that its fish enter by this move; None where they stay in the one that they are in.
    sold
        Whether it ends with a sale.
    path
        Where its fish live until then and how crowded, as planned, if it ends with a sale.
    planned_mm
        How long its fish are to be on its first day.
    """

    brood: int
    vessel: int
    part: float
    start: int
    until: int
    came_from: int | None
    entered: StageRule | None
    sold: bool
    path: tuple[Dwelling, ...]
    planned_mm: float


class Script:
    """Everything that a replay needs to know of a room and its plan; can be sent to another process.

    Parameters
    ----------
    room
        With the vessels that the plan adds.
    days
        How many days are replayed; if left out, until the slowest fish of all are long enough to sell.
    """

    def __init__(self, room: Room, plan: Plan, days: int | None = None) -> None:
        self.room, self.plan = room, plan
        self.today = room.today
        walk = Walk(room, plan)
        self.lives: tuple[Life, ...] = tuple(walk.lives[brood.name] for brood in room.broods)
        self.legs = tuple(_legs(walk))
        self.until = tuple(self._until(brood) for brood in range(len(self.lives)))
        self.days = max((1, *self.until)) if days is None else days

    def __reduce__(self) -> tuple[type["Script"], tuple[Room, Plan, int]]:
        """Send the room and the plan only; the rest is laid out anew where it arrives."""
        return Script, (self.room, self.plan, self.days)

    def _until(self, brood: int) -> int:
        """Return how long a brood is followed: until its slowest fish can be sold, if that is not too long."""
        legs = [leg for leg in self.legs if leg.brood == brood]
        end = max((leg.until for leg in legs), default=1)
        slowest = max((_last_sale(leg, self.lives[brood], self.today) for leg in legs if leg.sold), default=0)
        return max(end, min(end + LONGEST_WAIT_DAYS, slowest))

    @cached_property
    def vessels(self) -> tuple[Vessel, ...]:
        """The vessels of the room."""
        return self.room.vessels

    @cached_property
    def kinds(self) -> tuple[str, ...]:
        """The names under which vessels are declared, in the order of the room."""
        return tuple(dict.fromkeys(vessel.declared_as for vessel in self.vessels))

    @cached_property
    def kind_of(self) -> tuple[int, ...]:
        """For each vessel the place of its kind."""
        return tuple(self.kinds.index(vessel.declared_as) for vessel in self.vessels)

    @cached_property
    def next_move(self) -> Ints:
        """For each day the first day from it on, on which the keeper moves fish."""
        found = np.full(self.days + 1, self.days, dtype=np.int64)
        for day in range(self.days - 1, -1, -1):
            moves = self.room.keeper.moves_fish_on(self.today + day * DAY)
            found[day] = day if moves else found[day + 1]
        return found

    @cached_property
    def free(self) -> np.ndarray[tuple[int, int], np.dtype[np.bool_]]:
        """Whether each vessel is there and has no breeding group on each day, shape (vessels, days)."""
        found = np.zeros((len(self.vessels), self.days), dtype=np.bool_)
        for place, vessel in enumerate(self.vessels):
            spans = [group.lives_there for group in self.room.groups if group.vessel == vessel.name]
            for day in range(self.days):
                on = self.today + day * DAY
                found[place, day] = vessel.available.holds(on) and not any(span.holds(on) for span in spans)
        return found

    @cached_property
    def refuges(self) -> tuple[int | None, ...]:
        """For each brood the smallest vessel in which its fish never lack a long swim; None where there is none."""
        return tuple(self._refuge(life) for life in self.lives)

    def _refuge(self, life: Life) -> int | None:
        steps = [step.run_cm for step in life.rules.room if step.from_mm.value <= life.rules.sale_mm.value]
        run = max((level.limit.value for level in steps if level is not None), default=0.0)
        stages = range(1, len(life.rules.stages))
        fitting = [
            place
            for place, vessel in enumerate(self.vessels)
            if vessel.run_cm >= run and any(fits_stage(life, number, vessel) for number in stages)
        ]
        return min(fitting, key=lambda place: (self.vessels[place].litres, place), default=None)

    @cached_property
    def months(self) -> list[date]:
        """The first days of the months that are replayed."""
        return list(dict.fromkeys((self.today + day * DAY).replace(day=1) for day in range(self.days)))

    @cached_property
    def month_starts(self) -> list[int]:
        """The day with which each month begins; today for the first."""
        return [max(0, (month - self.today).days) for month in self.months]

    @cached_property
    def mondays(self) -> list[date]:
        """The Mondays of the weeks that are replayed."""
        first = self.today - self.today.weekday() * DAY
        return [first + week * 7 * DAY for week in range((self.days + self.today.weekday() + 6) // 7)]

    @cached_property
    def week_starts(self) -> list[int]:
        """The day with which each week begins; today for the first."""
        return [max(0, (monday - self.today).days) for monday in self.mondays]


def _last_sale(leg: Leg, life: Life, today: date) -> int:
    """Return the day by which the slowest fish of a leg that ends with a sale are sold, if they ever can be."""
    rules = life.rules
    slow = next((p.age_days.value for p in rules.length if p.slow.value >= rules.sale_mm.value), None)
    days = LONGEST_WAIT_DAYS if slow is None else int(slow) + _slow_lag(leg, life) + DAYS_TO_SELL
    return (life.hatch_until - today).days + days


def _slow_lag(leg: Leg, life: Life) -> int:
    """Return the days by which its vessels and their company hold the slowest fish of a leg back."""
    slow = replace(life, keeper=life.keeper.model_copy(update={"growth": GrowthPace.SLOW}))
    ready = slow.ready_for_sale(leg.path)
    return max((ready - sale_day(slow)).days, 0) if ready is not None else 0


def _legs(walk: Walk) -> Iterator[Leg]:
    today = walk.room.today
    vessels = {vessel.name: place for place, vessel in enumerate(walk.room.vessels)}
    broods = {brood.name: place for place, brood in enumerate(walk.room.broods)}
    sold = {(move.brood, move.from_, move.on) for move in walk.plan.moves if move.to is None}
    stages: dict[Walked, int] = {}
    for walked in walk.walked:
        stay, life, vessel = walked.stay, walked.life, walked.vessel
        part = walk.part(walked)
        if vessel is None or stay.until <= stay.from_:
            continue
        entered, came_from = None, None
        if not walked.parents:
            planned = life.brood.planned
            stages[walked] = 0 if planned else stage_today(life, vessel, stay.from_)
        else:
            before = max(stages.get(parent, 0) for parent in walked.parents)
            stages[walked] = _stage_in(life, before, vessel)
            entered = life.rules.stages[stages[walked]] if stages[walked] > before else None
            came_from = vessels.get(walked.parents[0].stay.vessel)
        is_sold = (stay.brood, stay.vessel, stay.until) in sold
        yield Leg(
            brood=broods[stay.brood],
            vessel=vessels[vessel.name],
            part=part,
            start=(stay.from_ - today).days,
            until=(stay.until - today).days,
            came_from=came_from,
            entered=entered,
            sold=is_sold,
            path=tuple(slowest_path(walk, walked)) if is_sold else (),
            planned_mm=walk.mm(stay.brood, stay.from_),
        )


def _stage_in(life: Life, before: int, vessel: Vessel) -> int:
    """Return the stage of fish that come into a vessel: the one they are in, if it is for that, else the next one."""
    numbers = range(before + 1, len(life.rules.stages))
    if fits_stage(life, before, vessel):
        return before
    onward = (n for n in numbers if fits_stage(life, n, vessel) and may_follow(life.rules, before, n))
    return next(onward, before)
