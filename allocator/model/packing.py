"""How many vessels the fish of one day need at least, if they may all share: bounds on packing, quick and sound.

The loads go through *dual feasible functions*: whatever fits one vessel still fits it afterwards, so the sum
afterwards is a bound too, and where many lots fill just over half a vessel a far better one. There are two
families, by Martello and Toth (1990) and by Fekete and Schepers (2001), as surveyed by Clautiaux, Alves, Valério
de Carvalho (2010), Annals of Operations Research 179:317-342 (from memory).
"""

from collections.abc import Sequence

import numpy as np

from allocator.model.settled import home_parts, place_load
from allocator.needs import CAPS, FULL, BroodNeeds, Floats, Ints

MOST_CUTS = 12
"""So many sizes below which lots are taken for nothing are tried (judgement)."""

STEPS = (2, 3, 4, 5, 6)
"""The steps to which loads are rounded by the second family (judgement)."""

Way = tuple[Ints, ...]
"""The parts in which a brood may live on a day: the load of each, by cap."""


def ways_to_live(
    brood: BroodNeeds, stage: int, slot: int, kinds: Sequence[int], class_of: dict[str, int]
) -> list[Way]:
    """Return every way in which a brood may be shared out in a slot of a stage, in the roomiest of some classes."""
    ways: list[Way] = []
    for phase in brood.phases:
        if phase.stage != stage or phase.entries[0] > slot:
            continue
        if phase.homes:
            parts = [(class_of[name], *home_parts(share)) for name, share in phase.homes]
            ways.append(tuple(place_load(brood, kind, part, of)[:, slot] for kind, part, of in parts))
        else:
            whole = np.min([brood.load[kind][:, slot] for kind in kinds], axis=0)
            part = [brood.portion_load(kind, phase.portions)[:, slot] for kind in kinds]
            ways.append((np.min(part, axis=0),) * phase.portions)
            if phase.portions > 1 and (whole <= FULL).all():
                ways.append((whole,))  # all parts together, with nothing rounded
    return ways


def _changed(loads: Ints) -> Floats:
    """Return the loads as they are and as each function makes them; shape (functions, *loads.shape), FULL is full."""
    small = np.unique(loads[(loads > 0) & (2 * loads <= FULL)])
    if len(small) > MOST_CUTS:
        small = small[np.linspace(0, len(small) - 1, MOST_CUTS).astype(int)]
    found = [loads.astype(float)]
    found += [
        np.where(loads > FULL - cut, float(FULL), np.where(loads >= cut, loads, 0.0))
        for cut in (*small, FULL // 2)
    ]
    for step in STEPS:
        whole, left = np.divmod((step + 1) * loads, FULL)
        found.append(np.where(left == 0, loads, whole * (FULL / step)))
    return np.array(found)


def least_vessels(broods: Sequence[Sequence[Way]]) -> int:
    """Return how many vessels broods that may share need at least, each in whichever of its ways takes least.

    A part that is too much for any vessel counts as a full one, no more.
    """
    if not broods:
        return 0
    parts: list[Ints] = []
    way_starts: list[int] = []
    brood_starts: list[int] = []
    for ways in broods:
        brood_starts.append(len(way_starts))
        for way in ways:
            way_starts.append(len(parts))
            parts += way
    loads = np.minimum(np.array(parts).reshape(-1, CAPS), FULL)
    by_way = np.add.reduceat(_changed(loads), way_starts, axis=1)
    by_brood = np.minimum.reduceat(by_way, brood_starts, axis=1)
    return max(1, int(np.ceil(by_brood.sum(axis=1).max() / FULL - 1e-9)))


def least_by_length(broods: Sequence[Sequence[Way]], mm: Floats, ratio: float) -> int:
    """Return how many vessels broods need at least, where those whose lengths differ by more than a ratio may not share.

    They are cut into groups by length, such that fish of different groups are too far apart, whoever may be between.
    """
    order = [int(i) for i in np.argsort(mm, kind="stable") if mm[i] > 0]
    if not order or mm[order[-1]] <= ratio * mm[order[0]]:
        return 0
    least = np.array(
        [np.min([np.minimum(np.array(way), FULL).sum(axis=0) for way in broods[i]], axis=0) for i in order]
    )
    sums = np.concatenate((np.zeros((1, CAPS)), np.cumsum(least, axis=0)))
    sizes = mm[order]
    before = np.searchsorted(sizes, sizes / ratio - 1e-6)  # so many are too short for each
    best = np.zeros(len(order) + 1, dtype=np.int64)
    for end in range(1, len(order) + 1):
        full = np.ceil((sums[end] - sums[:end]).max(axis=1) / FULL - 1e-9)
        best[end] = max(best[end - 1], int((np.maximum(full, 1) + best[before[:end]]).max()))
    return int(best[-1])
