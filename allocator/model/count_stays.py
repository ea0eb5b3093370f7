"""A brood as the counts of vessels see it: one stretch after another, each with what it asks of each class.

A stretch is a stage, or what is left of one for fish that are found somewhere today. Within a stretch a brood may
change vessels and be shared out anew at will: that is more than it may do, so what is needed even so is needed.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby
from math import lcm

import numpy as np

from allocator.model.settled import home_parts, place_load
from allocator.needs import FULL, Bools, BroodNeeds, Ints, Needs, Phase, VesselClass


@dataclass(frozen=True)
class Stretch:
    """A part of a brood's life that is looked at as one.

    Attributes
    ----------
    brood
        Whose life it is.
    number
        Which of its stretches this is.
    phases
        Those that it is made of.
    entries
        The slots in which it may begin, in order; with the next where it may be left out.
    """

    brood: BroodNeeds
    number: int
    phases: tuple[Phase, ...]
    entries: tuple[int, ...]

    @property
    def stage(self) -> int:
        """The stage."""
        return self.phases[0].stage

    @property
    def alone(self) -> bool:
        """Whether nobody else may be in the vessel, all the time."""
        return all(phase.alone for phase in self.phases)

    @property
    def at_home(self) -> bool:
        """Whether it is spent where the fish are found today."""
        return bool(self.phases[0].homes)

    @cached_property
    def portions(self) -> tuple[int, ...]:
        """Into how many portions the brood may be shared out."""
        return tuple(sorted({phase.portions for phase in self.phases}))

    @cached_property
    def units(self) -> int:
        """How many units a brood is counted in, so that portions are whole numbers of them."""
        return 1 if self.at_home else lcm(*self.portions)

    def part_load(self, kind: int) -> Ints:
        """Return the least that one part takes, or all of them together, in a class of vessel, by cap and slot."""
        loads = [place_load(self.brood, kind, part, of) for of in self.portions for part in {1, of}]
        least: Ints = np.minimum.reduce(loads)
        return least


def stretches_of(brood: BroodNeeds) -> list[Stretch]:
    """Return the stretches of a brood's life, in order."""
    parts = [
        tuple(phases)
        for _, phases in groupby(brood.phases, key=lambda phase: (bool(phase.homes), phase.stage))
    ]
    found: list[Stretch] = []
    following: tuple[int, ...] = tuple(brood.sale_slots)
    for number in reversed(range(len(parts))):
        first = parts[number][0]
        entries = first.entries
        may_skip = brood.life.rules.stages[first.stage].may_skip and number > 0
        if number > 0 and (first.optional or may_skip):
            entries = tuple(sorted({*entries, *following}))
        following = entries
        found.append(Stretch(brood, number, parts[number], entries))
    found.reverse()
    return found


@dataclass(frozen=True)
class Sale:
    """When a brood may be sold: the slots, and the first of them by the slot of entry into its last stage.

    Company may put a sale off. That only keeps a vessel for longer, so it need not be looked at.
    """

    slots: tuple[int, ...]
    by_entry: dict[int, int]

    def latest_entry(self, slot: int) -> int | None:
        """Return the last slot of entry from which the brood may be sold by a slot; None where that is not known."""
        return max((entry for entry, ready in self.by_entry.items() if ready <= slot), default=None)


def sale_of(needs: Needs, brood: BroodNeeds) -> Sale:
    """Return when a brood may be sold at the earliest."""
    if brood.shift_sale or brood.phases[-1].homes or len(brood.sale) == 0:
        return Sale(brood.sale_slots, {})
    last = brood.phases[-1].stage
    after = _paces(needs, brood, {last})
    before = _paces(needs, brood, set(brood.slowing_stages)) | {False}
    kept = {key: slots for key, slots in brood.sale.items() if key[0] in before and key[1] in after}
    by_entry: dict[int, int] = {}
    for (_, _, entry), slots in kept.items():
        if slots:
            by_entry[entry] = min(slots[0], by_entry.get(entry, slots[0]))
    return Sale(tuple(sorted({slot for slots in kept.values() for slot in slots})), by_entry)


def _paces(needs: Needs, brood: BroodNeeds, stages: Iterable[int]) -> set[bool]:
    """Return whether vessels that a brood may be in during some stages slow it: never, always or some of them."""
    homes = {needs.class_of[name].index for name, _ in brood.phases[0].homes}
    return {
        needs.slow(kind, brood)
        for stage in stages
        for kind in needs.classes
        if kind.index in homes or (usable(kind) and brood.allowed[stage][kind.index].any())
    }


def usable(kind: VesselClass) -> bool:
    """Tell whether there are vessels of a class, or could be."""
    return bool(kind.copies or kind.most)


def homes_by_class(needs: Needs, stretch: Stretch) -> dict[int, list[tuple[int, int]]]:
    """Return for each class the parts of a brood that are found in vessels of it today, as `home_parts`."""
    found: dict[int, list[tuple[int, int]]] = {}
    for name, share in stretch.phases[0].homes:
        found.setdefault(needs.class_of[name].index, []).append(home_parts(share))
    return found


def classes_for(needs: Needs, stretch: Stretch) -> dict[int, Bools]:
    """Return the classes that a brood may be in, each with the slots in which it may."""
    found = {}
    for kind in needs.classes:
        if usable(kind) and (fits := stretch.brood.allowed[stretch.stage][kind.index]).any():
            ways = [(part, of) for of in stretch.portions for part in {1, of}]
            loads = [place_load(stretch.brood, kind.index, *way) for way in ways]
            fits = fits & np.logical_or.reduce([(load <= FULL).all(axis=0) for load in loads])
            if fits.any():
                found[kind.index] = fits
    return found


def sharing_groups(needs: Needs) -> dict[str, int]:
    """Return for each line its group: lines of different groups are never in one vessel at a time."""
    lines = list(dict.fromkeys(brood.line for brood in needs.broods))
    group = {line: number for number, line in enumerate(lines)}

    def join(one: str, other: str) -> None:
        old, new = group[other], group[one]
        for line in lines:
            if group[line] == old:
                group[line] = new

    for line in lines:
        for other in needs.shares_with(line):
            join(line, other)
    found: dict[str, str] = {}
    for brood in needs.broods:  # they may have been put together in a vessel all the same
        for name, _ in brood.phases[0].homes:
            join(found.setdefault(name, brood.line), brood.line)
    return group


@dataclass(frozen=True)
class Stays:
    """Who may be where and when in a room, worked out once.

    Attributes
    ----------
    needs
        The integer tables.
    stretches, sales
        Of each brood, by its index.
    fits
        For a brood and the number of one of its stretches: see `classes_for`.
    group
        For each line: see `sharing_groups`.
    """

    needs: Needs
    stretches: dict[int, list[Stretch]]
    sales: dict[int, Sale]
    fits: dict[tuple[int, int], dict[int, Bools]]
    group: dict[str, int]


def stays_of(needs: Needs) -> Stays:
    """Return who may be where and when in a room."""
    stretches = {brood.index: stretches_of(brood) for brood in needs.broods}
    fits = {
        (index, stretch.number): classes_for(needs, stretch)
        for index, mine in stretches.items()
        for stretch in mine
        if not stretch.at_home
    }
    sales = {brood.index: sale_of(needs, brood) for brood in needs.broods}
    return Stays(needs, stretches, sales, fits, sharing_groups(needs))
