"""What must be so whatever the plan: on some day, these broods alone need so many vessels.

Each bound looks at one day and one kind of vessel only, so it can be read out and checked by hand.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from allocator.needs import FULL, BroodNeeds, Needs, VesselClass


@dataclass(frozen=True)
class Slice:
    """In one slot, the broods that must be in vessels of some classes need so many of them."""

    slot: int
    stage: int
    classes: tuple[VesselClass, ...]
    broods: tuple[BroodNeeds, ...]
    needed: int
    there: int

    @property
    def short(self) -> int:
        """How many vessels are missing."""
        return max(0, self.needed - self.there)


def _surely(brood: BroodNeeds, slot: int) -> int | None:
    """Return the stage in which a brood must be in a slot whatever its dates; None where it may vary."""
    possible: set[int] = set()
    begins: dict[int, tuple[int, int]] = {}
    for phase in brood.phases:
        if not phase.optional and phase.stage not in begins:
            begins[phase.stage] = (phase.entries[0], phase.entries[-1])
    stages = sorted(begins)
    for place, stage in enumerate(stages):
        first, _ = begins[stage]
        last = begins[stages[place + 1]][1] if place + 1 < len(stages) else brood.sale_slots[-1]
        if first <= slot < last:
            possible.add(stage)
    surely_begun = slot >= brood.start
    surely_there = slot < brood.sale_slots[0]
    if len(possible) == 1 and surely_begun and surely_there:
        return possible.pop()
    return None


def slices(needs: Needs) -> Iterator[Slice]:
    """Yield for each slot and kind of vessel how many vessels the broods that must be there need at least.

    Lines that may not share are counted apart. Within a line the needs are added up cap by cap against the
    roomiest class, so the count is never too high.
    """
    for slot in range(needs.slots):
        groups: dict[tuple[int, tuple[int, ...]], list[BroodNeeds]] = {}
        for brood in needs.broods:
            stage = _surely(brood, slot)
            if stage is None:
                continue
            classes = tuple(k.index for k in needs.classes if brood.allowed[stage][k.index][slot])
            # Fish that are found somewhere today may be too many there, or in the wrong place, for a while.
            if classes and not (brood.phases[0].homes and slot < brood.helpless_until):
                groups.setdefault((stage, classes), []).append(brood)
        for (stage, classes), broods in groups.items():
            kinds = tuple(needs.classes[index] for index in classes)
            needed = _vessels_needed(needs, slot, stage, kinds, broods)
            yield Slice(slot, stage, kinds, tuple(broods), needed, sum(kind.copies for kind in kinds))


def _vessels_needed(
    needs: Needs, slot: int, stage: int, kinds: tuple[VesselClass, ...], broods: list[BroodNeeds]
) -> int:
    needed = 0
    for group in _sharing(needs, broods):
        alone = [b for b in group if any(p.alone and p.stage == stage for p in b.phases)]
        together = [b for b in group if b not in alone]
        needed += len(alone)
        if together:
            loads = np.array([np.min([b.load[k.index][:, slot] for k in kinds], axis=0) for b in together])
            needed += max(1, int(np.ceil(loads.sum(axis=0).max() / FULL - 1e-12)))
    return needed


def _sharing(needs: Needs, broods: list[BroodNeeds]) -> list[list[BroodNeeds]]:
    """Group broods so that those of different groups may never share."""
    groups: list[list[BroodNeeds]] = []
    for brood in broods:
        mine = [g for g in groups if any(needs.may_share(brood, other) for other in g)]
        merged = [brood] + [other for g in mine for other in g]
        groups = [g for g in groups if g not in mine] + [merged]
    return groups


def worst_slices(needs: Needs) -> tuple[Slice, ...]:
    """Return for each kind of vessel that is short the day on which most are missing (the first such day)."""
    worst: dict[tuple[int, ...], Slice] = {}
    for found in slices(needs):
        key = tuple(kind.index for kind in found.classes)
        if found.short > 0 and (key not in worst or found.short > worst[key].short):
            worst[key] = found
    return tuple(sorted(worst.values(), key=lambda s: (s.slot, s.stage)))


def cost_bound(needs: Needs) -> int:
    """Return what must be spent on vessels at least, in hundredths, by the slices alone.

    Kinds of vessel that serve different stages add up; where they overlap only the dearest slice counts.
    """
    total = 0
    taken: set[int] = set()
    costs: list[tuple[int, Slice]] = []
    for found in worst_slices(needs):
        prices = [kind.price for kind in found.classes if kind.most]
        costs.append((found.short * min(prices, default=0), found))
    for cost, found in sorted(costs, key=lambda row: (-row[0], row[1].slot)):
        indexes = {kind.index for kind in found.classes}
        if not indexes & taken:
            taken |= indexes
            total += cost
    return total


def least_handlings(needs: Needs) -> int:
    """Return how many handlings no plan that houses all can do without.

    Each stage after the first that a brood must go through costs one, unless a vessel that serves both stages
    lets it stay where it is.
    """
    count = 0
    for brood in needs.broods:
        for before, phase in pairwise([p for p in brood.phases if not p.optional]):
            in_place = any(
                brood.allowed[before.stage][kind.index].any() and brood.allowed[phase.stage][kind.index].any()
                for kind in needs.classes
            )
            may_skip = brood.life.rules.stages[phase.stage].may_skip
            count += not in_place and not may_skip
    return count
