"""How many vessels of each kind some broods need, roughly: what is alive in each week, packed line by line.

It is a guess to build rooms around, neither a bound nor a plan: nobody keeps a tank for the whole of its use here.
"""

from collections import Counter, defaultdict
from collections.abc import Sequence
from datetime import date
from math import ceil
from typing import NamedTuple

from allocator.rules import VesselKind
from benchmark.ages import DAYS_AFTER_READY, TODAY, Ages

WEEK = 7


class Batch(NamedTuple):
    """A brood before it has a name: its line, day of collection and eggs before they are scaled, and the most of them."""

    line: int
    collected: date
    eggs: float
    most_eggs: int


def eggs_of(batch: Batch, scale: float) -> int:
    """Return the eggs of a brood, if broods are so many times larger."""
    return min(batch.most_eggs, max(6, round(batch.eggs * scale)))


class _Lodger(NamedTuple):
    number: int
    mm: float
    share: float


def vessels_needed(batches: Sequence[Batch], ages: Sequence[Ages], ratios: Sequence[float]) -> "Counting":
    """Return a counting of some batches. `ages` and `ratios` (the most that lengths may differ) are by line."""
    groups: dict[tuple[int, VesselKind, int, bool], list[_Lodger]] = defaultdict(list)
    order = sorted(range(len(batches)), key=lambda number: batches[number].collected)
    for number in order:
        line, collected = batches[number][:2]
        fish = ages[line]
        last = fish.sale_days + DAYS_AFTER_READY
        begun = (collected - TODAY).days
        for week in range(max(0, -(-begun // WEEK)), (begun + last) // WEEK + 1):
            days = week * WEEK - begun
            stage = fish.stage_on(days)
            kind = fish.kinds[stage]
            key = (week, kind, line, stage == 0)
            groups[key].append(_Lodger(number, fish.mm[days], fish.share[kind][days]))
    return Counting(batches, ratios, groups)


class Counting:
    """Counts vessels again and again, for broods of more or fewer eggs."""

    def __init__(
        self,
        batches: Sequence[Batch],
        ratios: Sequence[float],
        groups: dict[tuple[int, VesselKind, int, bool], list[_Lodger]],
    ) -> None:
        self.batches, self.ratios, self.groups = batches, ratios, groups

    def peaks(self, scale: float) -> Counter[VesselKind]:
        """Return the most vessels of each kind that are in use in any week, if broods are so many times larger."""
        by_week: Counter[tuple[int, VesselKind]] = Counter()
        for (week, kind, line, alone), lodgers in self.groups.items():
            by_week[week, kind] += self._packed(lodgers, self.ratios[line], scale, alone=alone)
        peaks: Counter[VesselKind] = Counter()
        for (_, kind), vessels in by_week.items():
            peaks[kind] = max(peaks[kind], vessels)
        return peaks

    def _packed(self, lodgers: list[_Lodger], ratio: float, scale: float, *, alone: bool) -> int:
        vessels, room, longest = 0, 0.0, 0.0
        for lodger in lodgers:  # the oldest first
            load = eggs_of(self.batches[lodger.number], scale) * lodger.share
            parts = max(1, ceil(load))
            for _ in range(parts):
                if alone or load / parts > room or longest > ratio * lodger.mm:
                    vessels, room, longest = vessels + 1, 1.0, lodger.mm
                room -= load / parts
        return vessels
