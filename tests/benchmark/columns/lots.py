"""What a vessel's stretch of use is made of: lots, and how much room a part of one takes in a class of vessel.

Everything here is relaxed where the tables leave a doubt: no plan that the search may find is shut out, so what
is proven of the stretches holds for all plans.
"""

from collections.abc import Iterator
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from math import ceil

import numpy as np

from allocator.model.settled import home_parts, place_load
from allocator.needs import FULL, Bools, BroodNeeds, Ints, Needs, Phase, VesselClass, before

WHOLE = 840
"""A whole brood in the units in which presence is counted (derived: the least common multiple of 1 to 8 parts)."""


@dataclass(frozen=True)
class Lot:
    """One phase of one brood, or the part of it that is found in one vessel today.

    `entries` and `leaves` are the slots in which it may come and go; `home` the vessel that it is found in.
    """

    index: int
    brood: BroodNeeds
    number: int
    entries: tuple[int, ...]
    leaves: tuple[int, ...]
    home: str | None = None
    share: float = 1.0

    @property
    def alone(self) -> bool:
        """Tell whether nobody else may be in its vessel."""
        return self.brood.phases[self.number].alone


@dataclass(frozen=True)
class Item:
    """So many parts of a lot in a vessel of one class: when it may come and go, its load, where it may be there.

    `weight` is how much of the brood it houses, in parts of `WHOLE`. A lot in its last stage makes several items,
    since who comes later is sold later.
    """

    lot: Lot
    weight: int
    load: Ints
    there: Bools
    entries: frozenset[int]
    leaves: frozenset[int]


@dataclass
class SharingGroup:
    """Broods of lines that may share vessels, with their lots; those of different groups never do."""

    broods: list[BroodNeeds] = field(default_factory=list)
    lots: list[Lot] = field(default_factory=list)


def sharing_groups(needs: Needs) -> list[SharingGroup]:
    """Return the broods grouped so that those of different groups may never share, with their lots."""
    found: list[list[BroodNeeds]] = []
    by_line: dict[str, list[BroodNeeds]] = {}
    for brood in needs.broods:
        by_line.setdefault(brood.line, []).append(brood)
    for broods in by_line.values():
        mine = [g for g in found if any(needs.may_share(broods[0], other) for other in g)]
        found = [g for g in found if g not in mine] + [[b for g in mine for b in g] + broods]
    groups = []
    for broods in found:
        group = SharingGroup(sorted(broods, key=lambda b: b.index))
        for brood in group.broods:
            for number, entries, leaves, home, share in _stays(brood):
                group.lots.append(Lot(len(group.lots), brood, number, entries, leaves, home, share))
        groups.append(group)
    return groups


Stay = tuple[int, tuple[int, ...], tuple[int, ...], str | None, float]


def _stays(brood: BroodNeeds) -> Iterator[Stay]:
    """Yield phase, slots of entry, slots of leaving, home and share of each lot of a brood."""
    domains = [set(phase.entries) for phase in brood.phases] + [set(brood.sale_slots)]
    skips = [
        phase.optional or (n > 0 and brood.life.rules.stages[phase.stage].may_skip)
        for n, phase in enumerate(brood.phases)
    ]
    for n in reversed(range(len(brood.phases))):
        if skips[n]:  # left out, it begins with the next
            domains[n] |= domains[n + 1]
    for n, phase in enumerate(brood.phases):
        leaves = tuple(sorted(domains[n + 1]))
        entries = tuple(sorted(slot for slot in domains[n] if slot < leaves[-1]))
        if not phase.homes:
            yield n, entries, leaves, None, 1.0
        for name, share in phase.homes:
            yield n, (0,), leaves, name, share


def items_of(needs: Needs, lot: Lot, kind: VesselClass, sorts: int) -> Iterator[Item]:
    """Yield the parts in which a lot may be in a vessel of a class, each where it alone does not overfill it.

    Entries to the last stage are put into so many sorts, by when they lead to sale.
    """
    brood, phase = lot.brood, lot.brood.phases[lot.number]
    allowed = brood.allowed[phase.stage][kind.index]
    if lot.home is not None and lot.home not in kind.names:
        return
    for entries, leaves in _whiles(needs, lot, kind, sorts):
        if lot.home is not None:
            excused = before(needs.slots, brood.helpless_until)
            load = np.where(excused, 0, place_load(brood, kind.index, *home_parts(lot.share)))
            yield _item(lot, ceil(lot.share * WHOLE), load, allowed | excused, entries, leaves)
            continue
        for parts in range(1, phase.portions + 1):
            load = place_load(brood, kind.index, parts, phase.portions)
            yield _item(lot, WHOLE * parts // phase.portions, load, allowed, entries, leaves)


def _item(
    lot: Lot, weight: int, load: Ints, allowed: Bools, entries: frozenset[int], leaves: frozenset[int]
) -> Item:
    there = reachable(entries, leaves, allowed & (load <= FULL).all(axis=0))
    return Item(lot, weight, load, there, entries, leaves)


def _whiles(
    needs: Needs, lot: Lot, kind: VesselClass, sorts: int
) -> Iterator[tuple[frozenset[int], frozenset[int]]]:
    """Yield slots of entry with the slots of leaving that may follow: sale hangs on both, and on the vessel."""
    brood = lot.brood
    final = brood.phases[-1].stage
    if brood.phases[lot.number].stage != final:
        yield frozenset(lot.entries), frozenset(lot.leaves)
        return
    on = {slot for phase in brood.phases[lot.number + 1 :] for slot in phase.entries}
    later = {entry: tuple(slot for slot in brood.sale_slots if slot > entry) for entry in lot.entries}
    rows = [(entry, _sold(needs, lot, kind, entry) or later[entry]) for entry in lot.entries]
    rows = [(entry, slots) for entry, slots in rows if slots]
    if not rows:
        return
    firsts = sorted({slots[0] for _, slots in rows})
    cuts = [firsts[len(firsts) * part // sorts] for part in range(sorts)]
    for cut, end in zip(cuts, [*cuts[1:], None], strict=True):
        mine = [row for row in rows if cut <= row[1][0] and (end is None or row[1][0] < end)]
        if mine:
            sold = frozenset(slot for _, slots in mine for slot in slots)
            yield frozenset(entry for entry, _ in mine), sold | on


def _sold(needs: Needs, lot: Lot, kind: VesselClass, entry: int) -> tuple[int, ...]:
    """Return the slots in which a lot that comes to its last stage in a slot may be sold, on any path."""
    brood = lot.brood
    final = brood.phases[-1].stage
    last = [n for n, phase in enumerate(brood.phases) if phase.stage == final]
    whole = len(last) == 1 and brood.phases[lot.number].portions == 1
    here = needs.slow(kind, brood)
    after = {here} if whole and lot.home is None else {True} if here else {False, True}
    if brood.shift_sale:
        if lot.number == last[0]:
            tables = [brood.sale.get((False, slow, entry), ()) for slow in (False, True)]
        else:
            tables = [brood.shift_sale.get((slow, entry), ()) for slow in after]
    elif lot.number != last[0]:
        return ()  # spread within the last stage: when it came to it is told by another lot
    else:
        first = {slow for phase in brood.phases for slow in _paces(needs, brood, phase)}
        tables = [brood.sale.get((one, two, entry), ()) for one in first or {False} for two in after]
    return tuple(sorted({slot for slots in tables for slot in slots}))


def _paces(needs: Needs, brood: BroodNeeds, phase: Phase) -> set[bool]:
    """Return whether a phase before the last stage may have slowed the fish: yes, no, or both."""
    if phase.stage not in brood.slowing_stages:
        return set()
    paces = {
        needs.slow(kind, brood)
        for kind in needs.classes
        if (kind.copies or kind.most) and brood.allowed[phase.stage][kind.index].any()
    }
    paces |= {needs.slow(needs.class_of[name], brood) for name, _ in phase.homes}
    if brood.life.rules.stages[phase.stage].may_skip:
        paces.add(False)
    return paces


def reachable(entries: AbstractSet[int], leaves: AbstractSet[int], fits: Bools) -> Bools:
    """Return the slots in which a lot may be in a vessel that it has entered and will leave in one piece."""
    there = np.zeros_like(fits)
    if not entries or not leaves:
        return there
    until = min(max(leaves), len(fits))
    inside = False
    for slot in range(min(entries), until):
        inside = (inside or slot in entries) and bool(fits[slot])
        there[slot] = inside
    stays = False
    for slot in reversed(range(until)):
        stays = (stays or slot + 1 in leaves) and bool(there[slot])
        there[slot] = stays
    return there


def clean_at(needs: Needs, brood: BroodNeeds, slot: int) -> int:
    """Return the first slot in which strangers may have a vessel that a brood leaves in a slot."""
    ready = needs.clean_from(brood, slot)
    return next((s for s in range(slot, needs.slots) if needs.days[s] >= ready), needs.slots)


def clash(needs: Needs, one: Lot, other: Lot) -> Bools:
    """Return the slots in which two lots must not be in one vessel."""
    never = np.ones(needs.slots, dtype=np.bool_)
    if one.brood is other.brood:
        return never
    if one.home is not None and other.home is not None and one.home != other.home:
        return never
    apart = needs.clash(one.brood, one.alone, other.brood, other.alone)
    for lot in (one, other):
        if lot.home is not None:
            apart = apart & ~before(needs.slots, lot.brood.helpless_until)  # that is how it is today
    return apart
