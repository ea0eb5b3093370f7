"""How much of a vessel some fish take up, cap by cap.

A share of 1 is a full vessel. Shares of several lots in one vessel add up, cap by cap, except for the
length of run, where the most demanding lot decides. The largest total binds.
"""

from collections.abc import Iterable, Mapping
from enum import StrEnum
from typing import TypeVar

from allocator.husbandry.growth import weight_g
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
    step = room_step(mm, rules)
    shares: dict[Cap, tuple[float, float]] = {}

    def per_litre(level: Level, amount: float) -> tuple[float, float]:
        return (
            amount / (level.comfort.value * vessel.litres),
            amount / (level.limit.value * vessel.litres),
        )

    if step.fish_per_litre is not None:
        shares[Cap.FISH] = per_litre(step.fish_per_litre, 1.0)
    if step.grams_per_litre is not None:
        shares[Cap.WEIGHT] = per_litre(step.grams_per_litre, weight_g(mm, rules))

    def per_cm2(level: Level, cm2: float) -> tuple[float, float]:
        return level.comfort.value / cm2, level.limit.value / cm2

    surfaces = [step.surface_cm2] if vessel.filtered else [step.surface_cm2, step.unfiltered_surface_cm2]
    needed = [level for level in surfaces if level is not None]
    if needed:
        by_level = [per_cm2(level, vessel.surface_cm2) for level in needed]
        shares[Cap.SURFACE] = max(c for c, _ in by_level), max(limit for _, limit in by_level)
    if step.bottom_cm2 is not None:
        shares[Cap.BOTTOM] = per_cm2(step.bottom_cm2, vessel.bottom_cm2)
    if vessel.feed_g_per_day is not None and mm > 0:
        share = feed_g_per_day(mm, rules) / vessel.feed_g_per_day
        shares[Cap.FEED] = (share, share)
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
    worst = 0.0
    for cap in SUMMED_CAPS:
        of_comfort, of_limit = taken.get(cap, (0.0, 0.0))
        if of_comfort > 1:
            between = of_comfort / of_limit - 1  # from comfort to limit, in parts of comfort
            worst = max(worst, min((of_comfort - 1) / between, 1.0) if between > 0 else 1.0)
    return worst
