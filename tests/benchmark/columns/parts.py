"""What the bound is put together from: who may be in what, and in which slots each brood must be housed."""

from dataclasses import dataclass

import numpy as np

from allocator.needs import BroodNeeds, Ints, Needs, VesselClass
from benchmark.columns.lots import SharingGroup, sharing_groups
from benchmark.columns.stretches import TooManyStatesError, Vessel

SORTS = (2, 1)
"""Into how many sorts entries to the last stage are put: fewer where that makes too many states (judgement)."""


@dataclass(frozen=True)
class Parts:
    """The tables of all vessels, by (class, group), and the slots in which each brood must be in one of them."""

    needs: Needs
    groups: tuple[SharingGroup, ...]
    vessels: dict[tuple[int, int], Vessel]
    required: dict[int, tuple[int, ...]]

    @property
    def kinds(self) -> list[int]:
        """The classes that count, by index."""
        return sorted({kind for kind, _ in self.vessels})


def parts_of(needs: Needs) -> Parts:
    """Return the parts of the bound of a room.

    A class with copies enough for every lot by itself never falls short and is left out, with the slots in which a
    brood may be in it; so is a group whose vessels could be filled in too many ways.
    """
    groups = tuple(sharing_groups(needs))
    free = _free_today(groups)
    until = {lot.brood.index: lot.leaves[-1] for group in groups for lot in group.lots if lot.home in free}
    for group in groups:
        group.lots[:] = [lot for lot in group.lots if lot.home not in free]
    tables: dict[tuple[int, int], Vessel] = {}
    left_out: set[tuple[int, int]] = set()
    for kind in needs.classes:
        for number, group in enumerate(groups):
            if not (kind.copies or kind.most):
                continue
            vessel = _vessel(needs, group, number, kind)
            if vessel is None:
                left_out.add((kind.index, number))
            elif vessel.items:
                tables[kind.index, number] = vessel
    ample = {kind.index for kind in needs.classes if _ample(kind, tables, left_out, needs.slots)}
    required: dict[int, tuple[int, ...]] = {}
    for number, group in enumerate(groups):
        closed = any(g == number for _, g in left_out)
        elsewhere = [tables[k, number] for k in sorted(ample) if (k, number) in tables]
        for brood in group.broods:
            begin = until.get(brood.index, brood.start)
            required[brood.index] = () if closed else _required(needs, brood, begin, elsewhere)
    vessels = {key: vessel for key, vessel in tables.items() if key[0] not in ample}
    return Parts(needs, groups, vessels, required)


def _required(needs: Needs, brood: BroodNeeds, begin: int, elsewhere: list[Vessel]) -> tuple[int, ...]:
    """Return the slots in which a brood must be in a vessel that counts, whatever its dates."""
    must = np.zeros(needs.slots, dtype=np.bool_)
    must[begin : brood.sale_slots[0]] = True
    for vessel in elsewhere:
        for item in vessel.items:
            if item.lot.brood is brood:
                must &= ~item.there
    return tuple(int(slot) for slot in np.flatnonzero(must))


def _free_today(groups: tuple[SharingGroup, ...]) -> set[str]:
    """Return the vessels that hold lots of several groups today: who is found there is left out while there."""
    holding: dict[str, set[int]] = {}
    for number, group in enumerate(groups):
        for lot in group.lots:
            if lot.home is not None:
                holding.setdefault(lot.home, set()).add(number)
    return {name for name, found in holding.items() if len(found) > 1}


def _vessel(needs: Needs, group: SharingGroup, number: int, kind: VesselClass) -> Vessel | None:
    for sorts in SORTS:
        try:
            return Vessel(needs, group, number, kind, sorts)
        except TooManyStatesError:
            continue
    return None


def _ample(
    kind: VesselClass, tables: dict[tuple[int, int], Vessel], left_out: set[tuple[int, int]], slots: int
) -> bool:
    """Tell whether there are copies enough of a class for every part of every lot by itself, cleaning and all."""
    if any(index == kind.index for index, _ in left_out):
        return False
    crowd: Ints = np.zeros(slots, dtype=np.int64)
    for (index, _), vessel in tables.items():
        if index == kind.index:
            lots: dict[int, Ints] = {}
            for item in vessel.items:
                parts = item.lot.brood.phases[item.lot.number].portions
                before = lots.get(item.lot.index, np.zeros(slots, dtype=np.int64))
                lots[item.lot.index] = np.maximum(before, parts * item.there)
            crowd += sum(lots.values())
    return bool((crowd <= kind.copies).all())
