"""Length at age, weight at length, and how a short vessel and company slow growth."""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, inf, log

import numpy as np
from numpy.typing import NDArray

from allocator.frozen import kept_in_it
from allocator.rules import GrowthPace, GrowthRoom, RulePack
from allocator.units import DUST


def interpolate(x: float, points: Sequence[tuple[float, float]]) -> float:
    """Return y at x on straight lines between points, level before the first and after the last.

    Parameters
    ----------
    x
        Any number.
    points
        (x, y) pairs with x strictly rising, at least one.
    """
    place = bisect_left(points, (x,))
    if place == 0:
        return points[0][1]
    if place == len(points):
        return points[-1][1]
    (x0, y0), (x1, y1) = points[place - 1], points[place]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


def curve(rules: RulePack, pace: GrowthPace) -> list[tuple[float, float]]:
    """Return (age in days, length in mm) points of one growth curve, from hatch to the last point."""
    return [(0.0, rules.hatch_mm.value)] + [(p.age_days.value, p.at(pace)) for p in rules.length]


@dataclass(frozen=True)
class GrowthCurve:
    """Length at age: straight lines between the pack's points, then on towards the adult length.

    Beyond the last point the curve is that of von Bertalanffy with the adult length as its limit; it leaves
    the last point as steeply as it came, so nothing is fitted to young fish alone. Fits to young fish have
    given adult lengths far too small.

    Source
    ------
    von Bertalanffy 1938, Human Biology 10:181-213 (from memory), the usual growth equation of fisheries.
    """

    points: tuple[tuple[float, float], ...]
    adult_mm: float

    @property
    def rate_per_day(self) -> float:
        """The share of what is left to the adult length that is grown in a day, beyond the last point."""
        (x0, y0), (x1, y1) = self.points[-2:]
        return (y1 - y0) / (x1 - x0) / (self.adult_mm - y1) if self.adult_mm > y1 else inf

    def mm(self, age_days: float) -> float:
        """Return the length at an age; that at hatch before it."""
        last_age, last_mm = self.points[-1]
        if age_days <= last_age or self.adult_mm <= last_mm:
            return interpolate(age_days, self.points)
        return self.adult_mm - (self.adult_mm - last_mm) * exp(-self.rate_per_day * (age_days - last_age))

    def mm_of(self, ages_days: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the lengths at many ages, in the same steps as `mm`."""
        ages, mms = (np.array(column) for column in zip(*self.points, strict=True))
        place = np.clip(np.searchsorted(ages, ages_days), 1, len(ages) - 1)
        (x0, x1), (y0, y1) = (ages[place - 1], ages[place]), (mms[place - 1], mms[place])
        found: NDArray[np.float64] = np.clip(y0 + (y1 - y0) * (ages_days - x0) / (x1 - x0), mms[0], mms[-1])
        beyond = ages_days > ages[-1]
        if self.adult_mm > mms[-1] and beyond.any():
            left = np.exp(-self.rate_per_day * (ages_days[beyond] - ages[-1]))
            found[beyond] = self.adult_mm - (self.adult_mm - mms[-1]) * left
        return found

    def age(self, mm: float) -> float | None:
        """Return the age at which a length is reached; None when it never is."""
        last_age, last_mm = self.points[-1]
        if mm <= last_mm:
            return interpolate(mm, [(y, x) for x, y in self.points])
        if mm >= self.adult_mm:
            return None
        return last_age + log((self.adult_mm - last_mm) / (self.adult_mm - mm)) / self.rate_per_day


@kept_in_it
def growth_curve(rules: RulePack, pace: GrowthPace) -> GrowthCurve:
    """Return one growth curve of a pack."""
    return GrowthCurve(tuple(curve(rules, pace)), rules.adult_mm.at(pace))


def length_mm(age_days: float, rules: RulePack, pace: GrowthPace) -> float:
    """Return the total length in mm at an age in days after hatch, with room to grow. See `GrowthCurve`."""
    return growth_curve(rules, pace).mm(age_days)


def age_at_mm(mm: float, rules: RulePack, pace: GrowthPace) -> float:
    """Return the age in days after hatch at which a length is reached.

    Raises
    ------
    ValueError
        If the fish never grow so long.
    """
    age = growth_curve(rules, pace).age(mm)
    if age is None:
        adult = rules.adult_mm.at(pace)
        raise ValueError(f"{rules.name}: the {pace.value} curve ends at {adult:g} mm, before {mm:g} mm")
    return age


def weights_g(mm: NDArray[np.float64], rules: RulePack) -> NDArray[np.float64]:
    """Return the wet weights of fish of many lengths: see `weight_g`."""
    grams: NDArray[np.float64] = rules.weight_a.value * (mm / 10) ** rules.weight_b.value
    return grams


def weight_g(mm: float, rules: RulePack) -> float:
    """Return wet weight in grams: W = a L^b with L in cm (the usual length-weight relation).

    Source
    ------
    Form: the allometric relation in general use in fisheries (common practice); a and b as in the pack.
    """
    return float(rules.weight_a.value * (mm / 10) ** rules.weight_b.value)


def growth_factor(mm: float, run_cm: float, room: GrowthRoom, crowding: float = 0.0) -> float:
    """Return the share of its full pace at which a fish grows, above 0 and up to 1.

    Parameters
    ----------
    mm
        Its length.
    run_cm
        Inside length of its vessel.
    crowding
        0 up to the comfort level, 1 at the limit: see `stocking.crowding`.
    """
    company = 1.0 - (1.0 - room.slowed_when_full.value) * crowding
    if mm > room.from_mm.value * (1 + DUST) and run_cm < room.run_cm.value:
        return room.slowed_to.value * company
    return company
