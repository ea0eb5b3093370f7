"""What must be so whatever the plan: on some day, these broods alone need so many vessels.

Each bound looks at one day and some kinds of vessel only, so it can be read out and checked by hand.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from ortools.sat.python import cp_model

from allocator.model.packing import least_by_length, least_vessels, ways_to_live
from allocator.needs import BroodNeeds, Ints, Needs, VesselClass

MOST_JOINED = 8
"""So many sets of classes are joined two by two in a slot; of more, only those that hang together (judgement)."""

MOST_LOOKED_AT = 12
"""Of more different sets of classes only those that hang together get a longer look (judgement)."""


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


@dataclass(frozen=True)
class Bound:
    """Of some classes together so many vessels must be added, for a reason that can be read out."""

    classes: frozenset[int]
    short: int


@dataclass(frozen=True)
class _Must:
    """A brood that must be in a stage in a slot whatever its dates, and the classes that do for it then."""

    brood: BroodNeeds
    stage: int
    classes: tuple[int, ...]


def sure_stages(needs: Needs, brood: BroodNeeds) -> Ints:
    """Return for each slot the stage in which a brood must be whatever its dates; -1 where it may vary."""
    begins: dict[int, tuple[int, int]] = {}
    for phase in brood.phases:
        if not phase.optional and phase.stage not in begins:
            begins[phase.stage] = (phase.entries[0], phase.entries[-1])
    stages = sorted(begins)
    count = np.zeros(needs.slots, dtype=np.int64)
    which = np.zeros(needs.slots, dtype=np.int64)
    for place, stage in enumerate(stages):
        last = begins[stages[place + 1]][1] if place + 1 < len(stages) else brood.sale_slots[-1]
        count[begins[stage][0] : last] += 1
        which[begins[stage][0] : last] = stage
    slots = np.arange(needs.slots)
    return np.where((count == 1) & (slots >= brood.start) & (slots < brood.sale_slots[0]), which, -1)


def _musts(needs: Needs) -> Iterator[list[_Must]]:
    """Yield for each slot who must be where."""
    by_slot: list[list[_Must]] = [[] for _ in range(needs.slots)]
    for brood in needs.broods:
        stages = sure_stages(needs, brood)
        for stage in sorted(set(stages[stages >= 0].tolist())):
            fits = np.array([brood.allowed[stage][kind.index] for kind in needs.classes])
            slots = np.flatnonzero((stages == stage) & fits.any(axis=0))
            for slot in slots.tolist():
                # Fish that are found somewhere today may be too many there, or in the wrong place, for a while.
                if not (brood.phases[0].homes and slot < brood.helpless_until):
                    classes = tuple(np.flatnonzero(fits[:, slot]).tolist())
                    by_slot[slot].append(_Must(brood, stage, classes))
    yield from by_slot


def _sets_of_classes(musts: list[_Must]) -> list[frozenset[int]]:
    """Return the sets of classes that are looked at: those of some brood, and those that overlap, joined."""
    own = sorted({frozenset(must.classes) for must in musts}, key=sorted)
    found = dict.fromkeys(own)
    if len(own) <= MOST_JOINED:
        found |= {one | other: None for one, other in combinations(own, 2) if one & other}
    return list(found | dict.fromkeys(_joined(own)))


def class_sets(needs: Needs) -> list[frozenset[int]]:
    """Return the sets of classes worth a longer look: those that some brood is bound to, and those that hang together."""
    own: dict[frozenset[int], None] = {}
    for brood in needs.broods:
        stages = sure_stages(needs, brood)
        for stage in sorted(set(stages[stages >= 0].tolist())):
            fits = np.array([brood.allowed[stage][kind.index] for kind in needs.classes])[:, stages == stage]
            own |= dict.fromkeys(
                frozenset(np.flatnonzero(column).tolist()) for column in np.unique(fits, axis=1).T
            )
    own.pop(frozenset(), None)
    return list((own if len(own) <= MOST_LOOKED_AT else {}) | dict.fromkeys(_joined(own)))


def _joined(own: Iterable[frozenset[int]]) -> list[frozenset[int]]:
    """Return sets of classes joined until none overlaps another."""
    together: list[frozenset[int]] = []
    for classes in sorted(own, key=sorted):
        mine = [group for group in together if group & classes]
        together = [group for group in together if not group & classes] + [classes.union(*mine)]
    return together


def slices(needs: Needs, *, short_only: bool = False) -> Iterator[Slice]:
    """Yield for each slot and set of classes how many vessels the broods that must be there need at least.

    Lines that may not share are counted apart. Each brood counts as what it takes of the roomiest class, so the
    count is never too high. With `short_only`, what is surely enough is left out.
    """
    for slot, musts in enumerate(_musts(needs)):
        for classes in _sets_of_classes(musts) if musts else ():
            inside = [must for must in musts if classes.issuperset(must.classes)]
            kinds = tuple(needs.classes[index] for index in sorted(classes))
            there = sum(kind.copies for kind in kinds)
            if short_only and sum(_most_vessels(must) for must in inside) <= there:
                continue
            needed = _vessels_needed(needs, slot, inside)
            broods = tuple(must.brood for must in inside)
            yield Slice(slot, min(must.stage for must in inside), kinds, broods, needed, there)


def _most_vessels(must: _Must) -> int:
    """Return how many vessels a brood could take at most, a part in each."""
    return max(len(p.homes) if p.homes else p.portions for p in must.brood.phases if p.stage == must.stage)


def _vessels_needed(needs: Needs, slot: int, musts: list[_Must]) -> int:
    class_of = {name: kind.index for name, kind in needs.class_of.items()}
    ways = {
        must.brood.index: ways_to_live(must.brood, must.stage, slot, must.classes, class_of) for must in musts
    }
    alone = {
        must.brood.index
        for must in musts
        if any(phase.alone and phase.stage == must.stage for phase in must.brood.phases)
    }
    whole = {index for index in alone if any(len(way) == 1 for way in ways[index])}
    needed = len(whole) + sum(least_vessels([ways[index]]) for index in sorted(alone - whole))
    together = [must.brood for must in musts if must.brood.index not in alone]
    for group in _sharing(needs, together):
        mine = [ways[brood.index] for brood in group]
        mm = np.array([brood.daily_mm[needs.first_days[slot]] for brood in group])
        ratio = max(brood.life.rules.length_ratio_limit.value for brood in group)
        needed += max(least_vessels(mine), least_by_length(mine, mm, ratio))
    return needed


def _sharing(needs: Needs, broods: Iterable[BroodNeeds]) -> list[list[BroodNeeds]]:
    """Group broods so that those of different groups may never share."""
    of_line: dict[str, list[BroodNeeds]] = {}
    for brood in broods:
        of_line.setdefault(brood.line, []).append(brood)
    groups: list[list[BroodNeeds]] = []
    for mates in of_line.values():
        mine = [g for g in groups if any(needs.may_share(mates[0], other) for other in g)]
        merged = mates + [other for g in mine for other in g]
        groups = [g for g in groups if g not in mine] + [merged]
    return groups


def worst_slices(needs: Needs) -> tuple[Slice, ...]:
    """Return for each set of classes that is short the day on which most are missing (the first such day).

    A set is left out where another within it is short of as many: that one says more.
    """
    worst: dict[frozenset[int], Slice] = {}
    for found in slices(needs, short_only=True):
        key = frozenset(kind.index for kind in found.classes)
        if found.short > 0 and (key not in worst or found.short > worst[key].short):
            worst[key] = found
    plain = [
        found
        for key, found in worst.items()
        if not any(other < key and worst[other].short >= found.short for other in worst)
    ]
    return tuple(sorted(plain, key=lambda s: (s.slot, s.stage)))


def bounds_of(slices: Iterable[Slice]) -> list[Bound]:
    """Return what single days say of the vessels to add."""
    return [Bound(frozenset(kind.index for kind in found.classes), found.short) for found in slices]


def cost_of(needs: Needs, bounds: Iterable[Bound], *, above: int = -1) -> int | None:
    """Return the least cost of vessels that meets all bounds, in hundredths, and is more than `above`.

    None where no choice of vessels costs more than that. What could not be added is not asked for.
    """
    model = cp_model.CpModel()
    extra = {kind.index: model.new_int_var(0, kind.most, kind.like) for kind in needs.classes if kind.most}
    for bound in bounds:
        mine = [index for index in sorted(bound.classes) if index in extra]
        most = sum(needs.classes[index].most for index in mine)
        if mine:
            model.add(sum(extra[index] for index in mine) >= min(bound.short, most))
    cost = sum(needs.classes[index].price * copies for index, copies in extra.items())
    if isinstance(cost, int):
        return 0 if above < 0 else None
    model.add(cost > above)
    model.minimize(cost)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.catch_sigint_signal = False
    solver.parameters.cp_model_presolve = False  # it has said a wrong "no", and there is little to prepare
    solver.parameters.max_deterministic_time = 1.0
    status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        return None
    return max(int(np.ceil(solver.best_objective_bound - 1e-6)), above + 1)


def cost_bound(needs: Needs, more: Iterable[Bound] = ()) -> int:
    """Return what must be spent on vessels at least, in hundredths, by single days and by what else is known."""
    found = bounds_of(worst_slices(needs))
    return (cost_of(needs, [*found, *more]) or 0) if found or more else 0
