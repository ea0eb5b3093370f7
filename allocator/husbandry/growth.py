"""Length at age, weight at length, and how a short vessel slows growth."""

from bisect import bisect_left

from allocator.rules import GrowthPace, GrowthRoom, RulePack
from allocator.units import DUST


def interpolate(x: float, points: list[tuple[float, float]]) -> float:
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


def length_mm(age_days: float, rules: RulePack, pace: GrowthPace) -> float:
    """Return the total length in mm at an age after hatch, with room to grow.

    Straight lines between the pack's points; level after the last point, since nothing is known there.
    """
    return interpolate(age_days, curve(rules, pace))


def age_at_mm(mm: float, rules: RulePack, pace: GrowthPace) -> float:
    """Return the age in days after hatch at which a length is reached.

    Raises
    ------
    ValueError
        If the curve never gets there.
    """
    points = curve(rules, pace)
    if mm > points[-1][1]:
        raise ValueError(
            f"{rules.name}: the {pace.value} curve ends at {points[-1][1]:g} mm, before {mm:g} mm"
        )
    return interpolate(mm, [(y, x) for x, y in points])


def weight_g(mm: float, rules: RulePack) -> float:
    """Return wet weight in grams: W = a L^b with L in cm (the usual length-weight relation).

    Source
    ------
    Form: the allometric relation in general use in fisheries (common practice); a and b as in the pack.
    """
    return float(rules.weight_a.value * (mm / 10) ** rules.weight_b.value)


def growth_factor(mm: float, run_cm: float, room: GrowthRoom) -> float:
    """Return the share of its full pace at which a fish of this length grows in a vessel this long."""
    if mm > room.from_mm.value * (1 + DUST) and run_cm < room.run_cm.value:
        return room.slowed_to.value
    return 1.0
