"""How full each vessel is on each day, and how many and how long its fish are, as arrays by day."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

import numpy as np

from allocator.husbandry.life import Life
from allocator.husbandry.stocking import (
    ROW,
    SUMMED_CAPS,
    Cap,
    Floats,
    Ints,
    crowding_by_day,
    flow_limits_by_day,
    shares_by_day,
)
from allocator.room import Vessel


class Forecast:
    """Numbers and lengths of one brood from a day until another (included)."""

    def __init__(self, life: Life, first: date, last: date) -> None:
        self.life, self.first = life, first
        days = (last - first).days + 1
        self.heads = life.heads_by_day(first, days)
        self.mm = life.lengths_by_day(first, days)
        self._shares: dict[tuple[float, ...], tuple[Floats, Floats]] = {}

    def heads_on(self, day: date) -> float:
        """Return the expected head count on a day."""
        place = (day - self.first).days
        return float(self.heads[place]) if 0 <= place < len(self.heads) else self.life.heads(day)

    def mm_on(self, day: date) -> float:
        """Return the planned length on a day."""
        place = (day - self.first).days
        return float(self.mm[place]) if 0 <= place < len(self.mm) else self.life.length_mm(day)

    def lengths(self, first: date, days: int) -> Floats:
        """Return the planned length on each of so many days, of those that are laid out."""
        return self.mm[(first - self.first).days :][:days]

    def flow_limits(self, first: date, days: int) -> Ints:
        """Return the strongest flow setting that is borne on each of so many days, of those that are laid out."""
        return self._flow_limits[(first - self.first).days :][:days]

    @cached_property
    def _flow_limits(self) -> Ints:
        return flow_limits_by_day(self.mm, self.life.rules)

    def shares(self, vessel: Vessel) -> tuple[Floats, Floats]:
        """Return what one fish takes of a vessel on each day: see `shares_by_day`."""
        shape = (
            vessel.length_mm,
            vessel.width_mm,
            vessel.depth_mm,
            vessel.filtered,
            vessel.feed_g_per_day or 0.0,
        )
        if shape not in self._shares:
            self._shares[shape] = shares_by_day(self.mm, vessel, self.life.rules)
        return self._shares[shape]


@dataclass(frozen=True)
class Filled:
    """What is taken of one vessel on each day from its first on, shape (caps, days), in the order of `Cap`."""

    first: date
    comfort: Floats
    limit: Floats

    def crowded(self) -> dict[date, float]:
        """Return the days on which it is above comfort, each with how far (0 to 1)."""
        far = crowding_by_day(self.comfort, self.limit)
        return {self.first + timedelta(days=int(n)): float(far[n]) for n in np.flatnonzero(far)}

    def over(self, share: float) -> dict[Cap, dict[date, float]]:
        """Return for each cap the days on which more than a share of its limit is taken, each with how much."""
        return {
            cap: {
                self.first + timedelta(days=int(n)): float(self.limit[row, n])
                for n in np.flatnonzero(self.limit[row] > share)
            }
            for cap, row in ROW.items()
        }


def filled(vessel: Vessel, lots: Iterable[tuple[Forecast, float, date, date]]) -> Filled:
    """Return what lots take of a vessel: for each its brood, its part of it, and from when until when it is there."""
    there = list(lots)
    first = min(start for _, _, start, _ in there)
    days = max((until - first).days for *_, until in there)
    comfort, limit = np.zeros((2, len(Cap), days))
    summed = [ROW[cap] for cap in SUMMED_CAPS]
    for forecast, part, start, until in there:
        here = slice((start - first).days, (until - first).days)
        its = slice((start - forecast.first).days, (until - forecast.first).days)
        fish = part * forecast.heads[its]
        for taken, shares in zip((comfort, limit), forecast.shares(vessel), strict=True):
            taken[summed, here] += fish * shares[summed, its]
            taken[ROW[Cap.RUN], here] = np.maximum(taken[ROW[Cap.RUN], here], shares[ROW[Cap.RUN], its])
    return Filled(first, comfort, limit)
