"""What one brood asks of any vessel, day by day, and how much of a class of vessel that is."""

from dataclasses import dataclass

import numpy as np

from allocator.husbandry.growth import weights_g
from allocator.needs.frame import Frame
from allocator.needs.tables import DUST, Floats, Ints, VesselClass
from allocator.rules import RulePack


@dataclass(frozen=True)
class Demand:
    """What one brood asks of any vessel, day by day (limit and comfort), before it is cut into slots."""

    litres_fish: Floats
    litres_weight: Floats
    surface: Floats
    surface_unfiltered: Floats
    bottom: Floats
    feed: Floats
    run: Floats


def demand_of(heads: Floats, mm: Floats, rules: RulePack, which: str) -> Demand:
    """Return litres, surface, feed and run needed on each day at one level (``limit`` or ``comfort``)."""
    steps = rules.room
    row = np.searchsorted([step.from_mm.value for step in steps[1:]], mm, side="right")

    def per_step(cap: str, missing: float) -> Floats:
        levels = [getattr(step, cap) for step in steps]
        values = [missing if level is None else getattr(level, which).value for level in levels]
        return np.array(values, dtype=float)[row]

    grams = heads * weights_g(mm, rules)
    percent = np.array([step.percent_of_weight.value for step in rules.feed])[
        np.searchsorted([step.from_mm.value for step in rules.feed[1:]], mm, side="right")
    ]
    surface = heads * per_step("surface_cm2", 0.0)
    return Demand(
        litres_fish=heads / per_step("fish_per_litre", np.inf),
        litres_weight=grams / per_step("grams_per_litre", np.inf),
        surface=surface,
        surface_unfiltered=np.maximum(surface, heads * per_step("unfiltered_surface_cm2", 0.0)),
        bottom=heads * per_step("bottom_cm2", 0.0),
        feed=grams * percent / 100,
        run=np.where(heads > 0, per_step("run_cm", 0.0), 0.0),
    )


def shares_of(frame: Frame, demand: Demand, kind: VesselClass, full: int) -> Ints:
    """Return needs in parts of a vessel, rounded up, on the fullest day of each slot; shape (caps, slots)."""
    vessel = kind.sample
    surface = demand.surface if vessel.filtered else demand.surface_unfiltered
    feed = demand.feed / vessel.feed_g_per_day if vessel.feed_g_per_day else np.zeros_like(demand.feed)
    rows = [
        demand.litres_fish / vessel.litres,
        demand.litres_weight / vessel.litres,
        surface / vessel.surface_cm2,
        demand.bottom / vessel.bottom_cm2,
        feed,
    ]
    peaks = np.array([np.maximum.reduceat(row, frame.starts) for row in rows])
    rounded: Ints = np.ceil(peaks * full - DUST).astype(np.int64)
    return rounded


def shares_by_class(frame: Frame, demand: Demand, full: int) -> tuple[Ints, ...]:
    """Return the same for each class; those of one size share one table: pins alone can make a hundred of them."""
    known: dict[tuple[object, ...], Ints] = {}
    found = []
    for kind in frame.classes:
        vessel = kind.sample
        size = vessel.litres, vessel.surface_cm2, vessel.bottom_cm2, vessel.filtered, vessel.feed_g_per_day
        if size not in known:
            known[size] = shares_of(frame, demand, kind, full)
        found.append(known[size])
    return tuple(found)


def flow_borne(frame: Frame, mm: Floats, rules: RulePack) -> tuple[Ints, Ints]:
    """Return the strongest setting borne, and borne in comfort, through each slot."""
    row = np.searchsorted([step.from_mm.value for step in rules.flow[1:]], mm, side="right")
    limit = np.array([int(step.limit.value) for step in rules.flow])[row]
    comfort = np.array([int(step.comfort.value) for step in rules.flow])[row]
    return np.minimum.reduceat(limit, frame.starts), np.minimum.reduceat(comfort, frame.starts)
