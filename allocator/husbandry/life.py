"""The life of one brood in numbers: how many fish and how long they are on each day.

Lengths here are those of fish with room to grow; a crowded or short vessel only ever makes them smaller, so
room planned on these lengths is never too little. Only the day of sale depends on where the fish have lived.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from math import ceil

from allocator.husbandry.growth import age_at_mm, curve, growth_factor, interpolate, length_mm
from allocator.husbandry.survival import surviving_share
from allocator.room import Brood, Keeper, Room
from allocator.rules import Estimate, GrowthPace, RulePack
from allocator.units import DUST


@dataclass(frozen=True)
class Life:
    """Forecast of one brood under the rules of its line."""

    brood: Brood
    rules: RulePack
    keeper: Keeper

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
        """First day on which eggs may hatch."""
        return self.brood.collected + timedelta(days=int(self.rules.incubation_days.low.value))

    @cached_property
    def hatched(self) -> date:
        """The day from which age is counted: the expected day of hatch."""
        return self.brood.collected + timedelta(days=round(self.rules.incubation_days.expected.value))

    @cached_property
    def hatch_until(self) -> date:
        """The day by which the last stragglers have hatched."""
        return self.brood.collected + timedelta(days=ceil(self.rules.incubation_days.high.value))

    @cached_property
    def _curve(self) -> list[tuple[float, float]]:
        """The growth curve that the keeper plans on, laid out once: it is asked for on every day."""
        return curve(self.rules, self.pace)

    @cached_property
    def _age_shift(self) -> float:
        """Days by which a measured length puts the brood ahead of (or behind) its curve."""
        measured = [count for count in self.brood.counts if count.mm is not None]
        if not measured:
            return 0.0
        last = max(measured, key=lambda count: count.on)
        assert last.mm is not None  # noqa: S101 - filtered above
        longest = length_mm(1e9, self.rules, self.pace)
        reached = age_at_mm(min(last.mm, longest), self.rules, self.pace)
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
        full = interpolate(max(self.growth_age(day), 0.0), self._curve)
        return min(full, self.rules.sale_mm.value)

    def heads(self, day: date) -> float:
        """Return the expected number of eggs or fish on a day, as a real number."""
        anchor = max(self.brood.counts, key=lambda count: count.on, default=None)
        if self.is_egg(day):
            early = anchor is not None and self.is_egg(anchor.on)
            return float(anchor.fish if early and anchor is not None else self.brood.eggs)
        alive = surviving_share((day - self.hatched).days, self.rules, self.estimate)
        if anchor is None or self.is_egg(anchor.on):
            eggs = self.brood.eggs if anchor is None else anchor.fish
            return eggs * self.rules.hatch_share.at(self.estimate) * alive
        then = surviving_share((anchor.on - self.hatched).days, self.rules, self.estimate)
        return anchor.fish * (alive / then)

    def ready_for_sale(self, path: Iterable[tuple[float, date, date]]) -> date | None:
        """Return the first day on which the fish are long enough to sell, given where they have lived.

        Parameters
        ----------
        path
            (run of the vessel in cm, from, until) in order of time and without gaps, half-open. The last
            stay is taken to go on for as long as it takes.

        Returns
        -------
        date or None
            None when the path is empty.
        """
        goal = age_at_mm(self.rules.sale_mm.value, self.rules, self.pace)
        stays = list(path)
        if not stays:
            return None
        day = stays[0][1]
        grown = self.growth_age(day)
        for place, (run_cm, _, until) in enumerate(stays):
            last = place == len(stays) - 1
            while last or day < until:
                if grown >= goal - DUST:  # a sum of many days is exact to some parts in 1e13 only
                    return day
                mm = interpolate(max(grown, 0.0), self._curve)
                before, day = day, day + timedelta(days=1)
                if before < self.hatched <= day:
                    grown = self.growth_age(day)
                else:
                    grown += growth_factor(mm, run_cm, self.rules.growth_room)
        return day


def lives(room: Room) -> dict[str, Life]:
    """Return the forecast of every brood of a room, by name."""
    return {brood.name: Life(brood, room.line_named[brood.line].rules, room.keeper) for brood in room.broods}
