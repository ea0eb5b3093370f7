"""How many vessels are needed at least by those who stay in one vessel for a time that is settled, whatever the plan.

A single day does not tell it all: who fits with whom on one day may not on the next. Here whole stays are looked at.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from allocator.model.bounds import Bound, cost_of, sure_stages
from allocator.model.points import PointBound, point_bound
from allocator.model.stretches import Lot, Stretches, TooManyStatesError
from allocator.needs import BroodNeeds, Needs
from allocator.result import LongShortage

MOST_LOTS = 400
MOST_STATES = 4_000_000
"""Of more lots or states the bound is not looked for: it would take too long (measured: see the speed page)."""


@dataclass(frozen=True)
class Stay:
    """A brood that is in one vessel from a slot until another, whatever the plan."""

    brood: BroodNeeds
    stage: int
    start: int
    end: int
    alone: bool


@dataclass(frozen=True)
class ThroughTime:
    """These stays alone need so many vessels of some classes.

    Each stay has points, and no vessel can serve more than `points.most` of them, one stay after another.
    """

    classes: frozenset[int]
    stays: tuple[Stay, ...]
    points: PointBound
    there: int
    graph: Stretches

    @property
    def bound(self) -> Bound:
        """What it says of the vessels to add."""
        return Bound(self.classes, max(0, self.points.needed - self.there))

    def reason(self, needs: Needs) -> LongShortage:
        """Return why so many are needed, to be read out: whose stays, and from when until when."""
        counted = [stay for stay, points in zip(self.stays, self.points.points, strict=True) if points]
        return LongShortage(
            since=needs.days[min(stay.start for stay in counted)],
            until=needs.days[max(stay.end for stay in counted)],
            kind=" or ".join(sorted({needs.classes[index].sample.declared_as for index in self.classes})),
            at_least=(cost_of(needs, [self.bound]) or 0) / 100,
            needed=self.points.needed,
            there=self.there,
            broods=tuple(dict.fromkeys(stay.brood.name for stay in counted)),
        )


def stays_within(needs: Needs, classes: frozenset[int]) -> list[Stay]:
    """Return the stays that must be in vessels of some classes, and in one each."""
    found = []
    for brood in needs.broods:
        stages = sure_stages(needs, brood)
        if brood.phases[0].homes:
            stages[: brood.helpless_until] = -1
        for stage in sorted(set(stages[stages >= 0].tolist())):
            phases = [phase for phase in brood.phases if phase.stage == stage]
            if len(phases) > 1 or phases[0].portions > 1 or len(phases[0].homes) > 1:
                continue  # it may be shared out, or moved
            fits = np.array([brood.allowed[stage][kind.index] for kind in needs.classes])
            outside = [index for index in range(len(fits)) if index not in classes]
            within = (stages == stage) & fits.any(axis=0) & ~fits[outside].any(axis=0)
            edges = np.flatnonzero(np.diff(np.concatenate(([0], within.astype(np.int8), [0]))))
            spans = edges.reshape(-1, 2).tolist()
            found += [Stay(brood, stage, start, end, phases[0].alone) for start, end in spans]
    return found


def _lot(stay: Stay, classes: frozenset[int]) -> Lot:
    fitting = [k for k in sorted(classes) if stay.brood.allowed[stay.stage][k][stay.start : stay.end].any()]
    load = np.min([stay.brood.load[kind] for kind in fitting], axis=0)
    return Lot(stay.brood.name, stay.start, stay.end, load)


def _apart(needs: Needs, stays: list[Stay]) -> frozenset[tuple[int, int]]:
    """Return the pairs that meet in time and must not meet in a vessel."""
    found = set()
    for place, one in enumerate(stays):
        for after, other in enumerate(stays[place + 1 :], place + 1):
            start, end = max(one.start, other.start), min(one.end, other.end)
            if start < end and one.brood is not other.brood:
                clash = needs.clash(one.brood, one.alone, other.brood, other.alone)
                if clash[start:end].any():
                    found.add((place, after))
    return frozenset(found)


def through_time(
    needs: Needs,
    classes: frozenset[int],
    *,
    enough: int | None = None,
    go_on: Callable[[], bool] = lambda: True,
) -> ThroughTime | None:
    """Return how many vessels of some classes the stays that must be in them need; None where that is too much work.

    Parameters
    ----------
    needs
        The integer tables.
    classes
        Places of the classes in the tables.
    enough
        So many vessels are known to do: the search ends there.
    go_on
        Asked now and then; False ends the search.
    """
    stays = stays_within(needs, classes)
    if not stays or len(stays) > MOST_LOTS or all(stay.alone for stay in stays):
        return None  # where nobody shares, single days tell it all
    lots = [_lot(stay, classes) for stay in stays]
    try:
        graph = Stretches(lots, _apart(needs, stays), most_states=MOST_STATES, go_on=go_on)
    except TooManyStatesError:
        return None
    points = point_bound(graph, enough=enough, go_on=go_on)
    there = sum(needs.classes[index].copies for index in classes)
    return ThroughTime(classes, tuple(stays), points, there, graph)
