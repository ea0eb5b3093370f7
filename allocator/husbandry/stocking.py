"""How much of a vessel some fish take up, cap by cap.

A share of 1 is a full vessel. Shares of several lots in one vessel add up, cap by cap, except for the
length of run, where the most demanding lot decides. The largest total binds.
"""

from collections.abc import Iterable, Mapping
from enum import StrEnum
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from allocator.husbandry.growth import weight_g, weights_g
from allocator.room import Vessel
from allocator.rules import FeedStep, FlowStep, Level, RoomStep, RulePack


class Cap(StrEnum):
    """What can run out in a vessel."""

    FISH = "fish per litre"
    WEIGHT = "weight per litre"
    SURFACE = "water surface"
    BOTTOM = "bottom"
    FEED = "feed for the filter"
    RUN = "length of run"


SUMMED_CAPS = (Cap.FISH, Cap.WEIGHT, Cap.SURFACE, Cap.BOTTOM, Cap.FEED)

ROW = {cap: row for row, cap in enumerate(Cap)}
"""The row of each cap in arrays by day."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


Step = TypeVar("Step", RoomStep, FlowStep, FeedStep)


def _step_at(mm: float, steps: tuple[Step, ...]) -> Step:
    found = steps[0]
    for step in steps:
        if step.from_mm.value <= mm:
            found = step
    return found


def room_step(mm: float, rules: RulePack) -> RoomStep:
    """Return the row of room caps that holds for a length (0 mm: eggs)."""
    return _step_at(mm, rules.room)


def flow_step(mm: float, rules: RulePack) -> FlowStep:
    """Return the row of flow settings that holds for a length (0 mm: eggs)."""
    return _step_at(mm, rules.flow)


def flow_limits_by_day(mm: Floats, rules: RulePack) -> Ints:
    """Return the strongest flow setting that fish bear as they grow: see `flow_step`."""
    steps = np.searchsorted([step.from_mm.value for step in rules.flow[1:]], mm, side="right")
    limits: Ints = np.array([int(step.limit.value) for step in rules.flow])[steps]
    return limits


def feed_g_per_day(mm: float, rules: RulePack) -> float:
    """Return dry feed for one fish, grams a day."""
    return weight_g(mm, rules) * _step_at(mm, rules.feed).percent_of_weight.value / 100


def shares_of_one(mm: float, vessel: Vessel, rules: RulePack) -> dict[Cap, tuple[float, float]]:
    """Return what one fish takes of a vessel, as (share of comfort, share of limit) by cap.

    Parameters
    ----------
    mm
        Length; 0 for an egg.
    vessel
        Where it lives: water volume, surface and run count, and whether there is a filter.

    Returns
    -------
    dict
        Only caps that apply at this length. The run entry is not a share to add up but the part of the
        vessel's run that the fish needs.
    """
    shares = _caps_of(room_step(mm, rules), vessel)
    if Cap.WEIGHT in shares:
        comfort, limit = shares[Cap.WEIGHT]
        grams = weight_g(mm, rules)
        shares[Cap.WEIGHT] = comfort * grams, limit * grams
    if vessel.feed_g_per_day is not None and mm > 0:
        share = feed_g_per_day(mm, rules) / vessel.feed_g_per_day
        shares[Cap.FEED] = (share, share)
    return shares


def shares_by_day(mm: Floats, vessel: Vessel, rules: RulePack) -> tuple[Floats, Floats]:
    """Return what one fish takes of a vessel as it grows: see `shares_of_one`.

    Parameters
    ----------
    mm
        Its length on each day.

    Returns
    -------
    tuple
        Shares of comfort and of the limit, shape (caps, days), in the order of `Cap`; 0 where a cap does not apply.
    """
    comfort, limit = np.zeros((2, len(Cap), len(mm)))
    grams = weights_g(mm, rules)
    steps = np.searchsorted([step.from_mm.value for step in rules.room[1:]], mm, side="right")
    for number in np.unique(steps):
        days = steps == number
        for cap, (of_comfort, of_limit) in _caps_of(rules.room[number], vessel).items():
            amount = grams[days] if cap is Cap.WEIGHT else 1.0
            comfort[ROW[cap], days], limit[ROW[cap], days] = of_comfort * amount, of_limit * amount
    if vessel.feed_g_per_day is not None:
        percent = np.array([step.percent_of_weight.value for step in rules.feed])[
            np.searchsorted([step.from_mm.value for step in rules.feed[1:]], mm, side="right")
        ]
        comfort[ROW[Cap.FEED]] = limit[ROW[Cap.FEED]] = np.where(
            mm > 0, grams * percent / 100 / vessel.feed_g_per_day, 0.0
        )
    return comfort, limit


def _caps_of(step: RoomStep, vessel: Vessel) -> dict[Cap, tuple[float, float]]:
    """Return what a fish takes of a vessel in one row of a pack, as (of comfort, of limit); weight by the gram."""
    shares: dict[Cap, tuple[float, float]] = {}

    def per_litre(level: Level) -> tuple[float, float]:
        return 1 / (level.comfort.value * vessel.litres), 1 / (level.limit.value * vessel.litres)

    if step.fish_per_litre is not None:
        shares[Cap.FISH] = per_litre(step.fish_per_litre)
    if step.grams_per_litre is not None:
        shares[Cap.WEIGHT] = per_litre(step.grams_per_litre)

    def per_cm2(level: Level, cm2: float) -> tuple[float, float]:
        return level.comfort.value / cm2, level.limit.value / cm2

    surfaces = [step.surface_cm2] if vessel.filtered else [step.surface_cm2, step.unfiltered_surface_cm2]
    needed = [level for level in surfaces if level is not None]
    if needed:
        by_level = [per_cm2(level, vessel.surface_cm2) for level in needed]
        shares[Cap.SURFACE] = max(c for c, _ in by_level), max(limit for _, limit in by_level)
    if step.bottom_cm2 is not None:
        shares[Cap.BOTTOM] = per_cm2(step.bottom_cm2, vessel.bottom_cm2)
    if step.run_cm is not None:
        shares[Cap.RUN] = (step.run_cm.comfort.value / vessel.run_cm, step.run_cm.limit.value / vessel.run_cm)
    return shares


def totals(
    taken: Iterable[tuple[float, Mapping[Cap, tuple[float, float]]]],
) -> dict[Cap, tuple[float, float]]:
    """Return what all fish of a vessel take of it, as (share of comfort, share of limit) by cap.

    Parameters
    ----------
    taken
        For each lot how many fish it has, and what one of them takes: see `shares_of_one`.

    Returns
    -------
    dict
        Lots add up, but the most demanding one sets the run. Only caps that apply to one of them.
    """
    found: dict[Cap, tuple[float, float]] = {}
    for fish, shares in taken:
        for cap, (comfort, limit) in shares.items():
            so_far, so_near = found.get(cap, (0.0, 0.0))
            if cap in SUMMED_CAPS:
                found[cap] = so_far + fish * comfort, so_near + fish * limit
            else:
                found[cap] = max(so_far, comfort), max(so_near, limit)
    return found


def crowding(taken: Mapping[Cap, tuple[float, float]]) -> float:
    """Return how far a vessel is on the way from the comfort level of its caps to their limit, 0 to 1.

    Parameters
    ----------
    taken
        Shares of all its fish, as (of comfort, of the limit) by cap. Run is left out: it crowds nobody.

    Returns
    -------
    float
        0 as long as every cap is within comfort, 1 where one is at its limit or beyond; the worst cap counts.
    """
    comfort, limit = np.array([taken.get(cap, (0.0, 0.0)) for cap in Cap]).T[:, :, None]
    return float(crowding_by_day(comfort, limit)[0])


def crowding_by_day(comfort: Floats, limit: Floats) -> Floats:
    """Return how far a vessel is on the way from comfort to its limit on each day, 0 to 1: see `crowding`.

    Parameters
    ----------
    comfort, limit
        What all its fish take of it, shape (caps, days), in the order of `Cap`.
    """
    rows = [ROW[cap] for cap in SUMMED_CAPS]
    of_comfort, of_limit = comfort[rows], np.where(limit[rows] > 0, limit[rows], 1.0)
    between = of_comfort / of_limit - 1  # from comfort to limit, in parts of comfort
    part = np.where(between > 0, (of_comfort - 1) / np.where(between > 0, between, 1.0), 1.0)
    far: Floats = np.where(of_comfort > 1, np.minimum(part, 1.0), 0.0).max(axis=0, initial=0.0)
    return far
