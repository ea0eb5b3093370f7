"""What the bound is put together from: who may be in what, and in which slots each brood must be housed."""

from dataclasses import dataclass

import numpy as np

from allocator.model.columns.lots import SharingGroup, sharing_groups
from allocator.model.columns.stretches import TooManyStatesError, Vessel
from allocator.needs import Ints, Needs, VesselClass

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
    required = {}
    for number, group in enumerate(groups):
        closed = any(g == number for _, g in left_out)
        for brood in group.broods:
            must = np.zeros(needs.slots, dtype=np.bool_)
            must[brood.start : brood.sale_slots[0]] = not closed
            for kind_index in ample:
                vessel = tables.get((kind_index, number))
                for item in vessel.items if vessel else ():
                    if item.lot.brood is brood:
                        must &= ~item.there
            required[brood.index] = tuple(int(slot) for slot in np.flatnonzero(must))
    vessels = {key: vessel for key, vessel in tables.items() if key[0] not in ample}
    return Parts(needs, groups, vessels, required)


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
