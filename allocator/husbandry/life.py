"""The life of one brood in numbers: how many fish and how long they are on each day.

Lengths here are those of fish with room to grow; a crowded or short vessel only ever makes them smaller, so
room planned on these lengths is never too little. Only the day of sale depends on where, and in what company, the
fish have lived.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from math import ceil, floor, inf
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from allocator.husbandry.growth import GrowthCurve, age_at_mm, growth_curve
from allocator.husbandry.peat import holds_water
from allocator.husbandry.survival import surviving_by_day
from allocator.room import Brood, Keeper, Room
from allocator.rules import Estimate, GrowthPace, RulePack, VesselKind
from allocator.units import DUST

Floats = NDArray[np.float64]

DAY = timedelta(days=1)

NOBODY: Mapping[date, float] = MappingProxyType({})


def whole_days(days: float) -> int:
    """Return a number of days rounded to whole ones, halves up."""
    return floor(days + 0.5)


class Dwelling(NamedTuple):
    """Where fish have lived from a day until another (excluded).

    `crowding` has the days on which the vessel was above comfort, 0 to 1 as in `stocking.crowding`. The last
    day that it names holds on after the end of the stay.
    """

    run_cm: float
    start: date
    until: date
    crowding: Mapping[date, float] = NOBODY


@dataclass(frozen=True)
class Life:
    """Forecast of one brood under the rules of its line.

    `wetted` is the day on which eggs that wait in peat are put into water; None for all others. `nursery` is the
    vessel of the parents, for young that begin with them.
    """

    brood: Brood
    rules: RulePack
    keeper: Keeper
    wetted: date | None = None
    nursery: str | None = None

    @property
    def pace(self) -> GrowthPace:
        """The growth curve that the keeper plans on."""
        return self.keeper.growth

    @property
    def estimate(self) -> Estimate:
        """The end of the survival band that the keeper plans on."""
        return self.keeper.survival

    @cached_property
    def hatch_from(self) -> date:
        """First day on which eggs may hatch: those that were laid first."""
        if self.wetted is not None:
            return self.wetted
        days = int(self.rules.incubation_days.low.value) - (self.brood.laid_over_days - 1)
        return self.brood.collected + timedelta(days=max(days, 0))

    @cached_property
    def hatched(self) -> date:
        """The day from which age is counted: the expected day of hatch, of the eggs laid half-way to collection."""
        if self.wetted is not None:
            return self.wetted
        laid_before = (self.brood.laid_over_days - 1) // 2
        days = whole_days(self.rules.incubation_days.expected.value) - laid_before
        return self.brood.collected + timedelta(days=max(days, 0))

    @cached_property
    def hatch_until(self) -> date:
        """The day by which the last stragglers have hatched."""
        if self.wetted is not None:
            return self.wetted
        return self.brood.collected + timedelta(days=ceil(self.rules.incubation_days.high.value))

    @cached_property
    def curve(self) -> GrowthCurve:
        """The growth curve that the keeper plans on, laid out once: it is asked for on every day."""
        return growth_curve(self.rules, self.pace)

    @cached_property
    def _age_shift(self) -> float:
        """Days by which a measured length puts the brood ahead of (or behind) its curve."""
        measured = [count for count in self.brood.counts if count.mm is not None]
        if not measured:
            return 0.0
        last = max(measured, key=lambda count: count.on)
        assert last.mm is not None  # noqa: S101 - filtered above
        # Beyond the length at sale nothing is planned, and fish may be longer than the curve ever gets.
        reached = age_at_mm(min(last.mm, self.rules.sale_mm.value), self.rules, self.pace)
        return reached - (last.on - self.hatched).days

    def growth_age(self, day: date) -> float:
        """Return the age in days on the growth curve; below 0 before hatch."""
        return (day - self.hatched).days + (self._age_shift if day >= self.hatched else 0.0)

    def is_egg(self, day: date) -> bool:
        """Tell whether the brood is still planned as eggs on a day."""
        return day < self.hatched

    def length_mm(self, day: date) -> float:
        """Return the planned length in mm on a day: 0 for eggs, never more than the length at sale."""
        if self.is_egg(day):
            return 0.0
        full = self.curve.mm(max(self.growth_age(day), 0.0))
        return min(full, self.rules.sale_mm.value)

    def heads(self, day: date) -> float:
        """Return the expected number of eggs or fish on a day, as a real number."""
        return float(self.heads_by_day(day, 1)[0])

    def heads_by_day(self, first: date, days: int) -> Floats:
        """Return the expected number of eggs or fish on each of so many days."""
        eggs, fish, then = self._reckoned_from
        ages = np.arange(days) + (first - self.hatched).days
        return np.where(ages < 0, eggs, fish * (self._alive(ages) / then))

    def lengths_by_day(self, first: date, days: int) -> Floats:
        """Return the planned length in mm on each of so many days: see `length_mm`."""
        ages = np.arange(days) + (first - self.hatched).days
        full = self.curve.mm_of(np.maximum(ages + self._age_shift, 0.0))
        return np.where(ages < 0, 0.0, np.minimum(full, self.rules.sale_mm.value))

    @cached_property
    def _reckoned_from(self) -> tuple[float, float, float]:
        """The number of eggs; and a number of fish with the share of the hatched that were alive then."""
        anchor = max(self.brood.counts, key=lambda count: count.on, default=None)
        if anchor is not None and not self.is_egg(anchor.on):
            age = np.array([(anchor.on - self.hatched).days])
            return float(self.brood.eggs), float(anchor.fish), float(self._alive(age)[0])
        eggs = float(self.brood.eggs if anchor is None else anchor.fish)
        return eggs, eggs * self.rules.hatch_share.at(self.estimate), 1.0

    def _alive(self, ages_days: NDArray[np.int64]) -> Floats:
        """Return the share of hatched fish alive at whole ages; that at hatch before it."""
        shares = surviving_by_day(self.rules, self.estimate)
        if len(ages_days) and int(ages_days.max()) >= len(shares):
            shares = surviving_by_day(self.rules, self.estimate, 2 * int(ages_days.max()))
        return shares[np.maximum(ages_days, 0)]

    def ready_for_sale(self, path: Iterable[Dwelling | tuple[float, date, date]]) -> date | None:
        """Return the first day on which the fish are long enough to sell, given where they have lived.

        Parameters
        ----------
        path
            In order of time and without gaps. The last stay is taken to go on for as long as it takes.

        Returns
        -------
        date or None
            None when the path is empty.
        """
        stays = [Dwelling(*stay) for stay in path]
        if not stays:
            return None
        day, grown = stays[0].start, self.growth_age(stays[0].start)
        for place, stay in enumerate(stays):
            day, grown = self._grow(stay, day, grown, last=place == len(stays) - 1)
            if grown >= self.goal - DUST:  # a sum of many days is exact to some parts in 1e13 only
                break
        return day

    def _grow(self, stay: Dwelling, day: date, grown: float, *, last: bool) -> tuple[date, float]:
        """Return the day and the age on the curve at which a stay ends, or at which the fish are long enough."""
        end = date.max if last else stay.until
        lately = 0.0
        if day < self.hatched:  # eggs do not grow; age is counted anew from the hatch
            day = min(self.hatched, end)
            grown = self.growth_age(day)
            since = min(day, stay.until) - DAY
            lately = stay.crowding.get(
                max((d for d in stay.crowding if since <= d < day), default=date.min), 0.0
            )
        goal, slowed_from = self.goal - DUST, self.slowed_from
        slowed_to, slowing = self._in_a_run_of(stay.run_cm)
        for other in (*sorted(other for other in stay.crowding if day <= other < end), end):
            if day < other:
                if day < (alone := min(other, stay.until)):
                    day, grown = self._grow_in(stay.run_cm, 0.0, day, alone, grown)
                    lately = 0.0
                day, grown = self._grow_in(stay.run_cm, lately, day, other, grown)
            if grown >= goal:
                break
            if day < end:  # one day in company, as `_grow_in` reckons it: there may be hundreds
                lately = stay.crowding[other]
                factor = self._company(lately)
                grown += factor * slowed_to if slowing and grown > slowed_from else factor
                day += DAY
        return day, grown

    def _company(self, crowding: float) -> float:
        """Return the share of their pace at which fish grow in company."""
        return 1.0 - (1.0 - self.rules.growth_room.slowed_when_full.value) * crowding

    def _in_a_run_of(self, run_cm: float) -> tuple[float, bool]:
        """Return the share of their pace at which long fish grow in a short vessel, and whether a run is so short."""
        room = self.rules.growth_room
        return room.slowed_to.value, run_cm < room.run_cm.value

    def _grow_in(
        self, run_cm: float, crowding: float, day: date, end: date, grown: float
    ) -> tuple[date, float]:
        """Return day and age after growing at one crowding until a day, or until the fish are long enough."""
        goal, left = self.goal - DUST, (end - day).days
        company = self._company(crowding)
        slowed_to, slowing = self._in_a_run_of(run_cm)
        while left > 0 and grown < goal:
            factor, until = company, goal
            if slowing and grown > self.slowed_from:
                factor *= slowed_to
            elif slowing:
                until = min(goal, self.slowed_from)
            days = 1 if left == 1 else min(left, max(1, ceil((until - grown) / factor)))
            grown += days * factor
            day += days * DAY
            left -= days
        return day, grown

    @cached_property
    def goal(self) -> float:
        """The age on the growth curve at which the fish are long enough to sell."""
        return age_at_mm(self.rules.sale_mm.value, self.rules, self.pace)

    @cached_property
    def slowed_from(self) -> float:
        """The age on the growth curve beyond which a short vessel slows the fish: see `growth_factor`."""
        turn_mm = self.rules.growth_room.from_mm.value * (1 + DUST)
        return inf if turn_mm > self.rules.sale_mm.value else age_at_mm(turn_mm, self.rules, self.pace)


def lives(room: Room) -> dict[str, Life]:
    """Return the forecast of every brood of a room, by name."""
    forecast = {}
    for brood in room.broods:
        rules = room.line_named[brood.line].rules
        wetted, nursery = wetting_day(brood, rules, room), nursery_of(brood, rules, room)
        forecast[brood.name] = Life(brood, rules, room.keeper, wetted, nursery)
    return forecast


def nursery_of(brood: Brood, rules: RulePack, room: Room) -> str | None:
    """Return the vessel of the parents of a brood whose young begin with them; None for all others.

    Where the keeper did not say who they are, they are the group of the line in whose vessel the young are found.
    """
    if not rules.guards_young:
        return None
    if brood.parents in room.group_named:
        return room.group_named[brood.parents].vessel
    homes = {home.vessel for home in brood.homes}
    found = (group.vessel for group in room.groups if group.line == brood.line and group.vessel in homes)
    return next(found, None)


def wetting_day(brood: Brood, rules: RulePack, room: Room) -> date | None:
    """Return the day on which eggs that wait in peat are wetted; None where no eggs wait (any more).

    That is the first day on which the keeper moves fish once they have waited for as long as expected. Eggs that are
    in peat today are wetted after today, however long they have been there: they do not hatch by themselves. Those
    that are in water were wetted on the day since when they are there.
    """
    if rules.stages[0].kinds != (VesselKind.EGG_STORE,):
        return None
    due = brood.collected + timedelta(days=whole_days(rules.incubation_days.expected.value))
    if brood.planned:
        return room.next_move_day(due)
    if all(holds_water(room.vessel_named[home.vessel]) for home in brood.homes):
        return brood.in_home_since  # wetted when they came there, if the keeper says when
    return room.next_move_day(max(due, room.today + timedelta(days=1)))
