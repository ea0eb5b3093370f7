"""What a tank bears, slot by slot, where every vessel is called by its name: rows for who may be in it."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations, pairwise

import numpy as np
from ortools.sat.python import cp_model

from allocator.model.board import excess_before
from allocator.model.cohorts import Unit
from allocator.model.dates import Dates
from allocator.model.settled import home_parts, place_load
from allocator.model.terms import Expression, Literal, implies, is_one, is_zero
from allocator.needs import CAPS, FULL, Bools, BroodNeeds, Ints, Needs, VesselClass, before, forgiven

There = list[tuple[Unit, list[Literal]]]
"""Who may be in a tank in a slot; for each number of parts from one up, whether so many of them are."""

Parts = dict[tuple[int, int], list[Literal]]
"""For a unit and a tank, by both their numbers: for each number of parts from one up, whether so many are in it."""


@dataclass
class Tank:
    """A vessel by its name, and the units that could be in it. `bought` is 1 for one that is there."""

    index: int
    kind: VesselClass
    name: str
    bought: Literal
    units: list[Unit] = field(default_factory=list)

    @property
    def new(self) -> bool:
        """Whether it could be added."""
        return not is_one(self.bought)


class Bearing:
    """What a tank bears of those who are asked about: all that it bears, where nobody else is in it."""

    def allowed(self, unit: Unit, tank: Tank) -> Bools:
        """Return in which slots a unit may live in a tank, whoever else is asked about."""
        allowed = unit.brood.allowed[unit.phase.stage][tank.kind.index]
        return forgiven(allowed, unit.brood.helpless_until) if unit.phase.homes else allowed

    def room_in(self, tank: Tank, cap: int, slot: int) -> int:  # noqa: ARG002 - the same for all, unless others are there
        """Return how much of a cap there is."""
        return FULL


class TankRows:
    """Writes the rows of all tanks.

    Parameters
    ----------
    needs, dates
        The integer tables, and when the units begin.
    tanks
        Each with the units that could be in it.
    parts
        See `Parts`.
    only_counted
        Classes whose vessels need no name.
    bearing
        What each tank bears.
    """

    def __init__(
        self,
        needs: Needs,
        dates: Dates,
        tanks: list[Tank],
        parts: Parts,
        only_counted: frozenset[int],
        bearing: Bearing,
    ) -> None:
        self.needs = needs
        self.dates = dates
        self.model: cp_model.CpModel = dates.model
        self._tanks = tanks
        self._parts = parts
        self._only_counted = only_counted
        self._bearing = bearing
        self._fill()

    def _fill(self) -> None:
        for tank in self._tanks:
            if tank.kind.index in self._only_counted:
                continue
            there: dict[int, There] = defaultdict(list)
            for unit in tank.units:
                for slot in range(unit.start, unit.until):
                    if parts := self._present(unit, tank, slot):
                        there[slot].append((unit, parts))
            steps = {unit.index: self._steps(unit, tank) for unit in tank.units}
            for slot, here in sorted(there.items()):
                self._room_for(tank, slot, here, steps)
                self._apart(slot, here)
            if self.needs.strangers:
                self._no_strangers(tank, there)
        for kind in sorted(self._only_counted):
            self._count(kind)

    def _present(self, unit: Unit, tank: Tank, slot: int) -> list[Literal]:
        """Return for each number of parts whether so many are in a tank in a slot; nothing where none can be.

        They must be true where it is so, and may be true elsewhere: that only costs room.
        """
        brood, number = unit.brood.index, unit.number
        begun, ended = self.dates.by(brood, number, slot), self.dates.by(brood, number + 1, slot)
        if is_zero(begun) or is_one(ended):
            return []
        parts = self._parts[unit.index, tank.index]
        if not self._bearing.allowed(unit, tank)[slot]:
            self.model.add(parts[0] + self.dates.within(brood, number, slot) <= 1)
            return []
        if isinstance(begun, int) and isinstance(ended, int):
            return parts
        if unit.phase.homes:
            return [ended.negated()]
        found = []
        for part in parts:
            here = self.model.new_bool_var("")
            otherwise = [literal for literal in (ended,) if not isinstance(literal, int)]
            otherwise += [literal.negated() for literal in (begun,) if not isinstance(literal, int)]
            self.model.add_bool_or([part.negated(), *otherwise, here])
            found.append(here)
        return found

    def _steps(self, unit: Unit, tank: Tank) -> list[Ints]:
        """Return what each part adds to the load, by cap and slot."""
        brood, kind, of = unit.brood, tank.kind.index, unit.phase.portions
        if unit.phase.homes:
            return [place_load(brood, kind, *home_parts(dict(unit.phase.homes)[tank.name]))]
        loads = [place_load(brood, kind, parts, of) for parts in range(1, of + 1)]
        return [loads[0], *(more - fewer for fewer, more in pairwise(loads))]

    def _room_for(self, tank: Tank, slot: int, here: There, steps: dict[int, list[Ints]]) -> None:
        """Keep each cap."""
        for cap in range(CAPS):
            terms = [
                (int(step[cap, slot]), part)
                for unit, parts in here
                for step, part in zip(steps[unit.index], parts, strict=True)
            ]
            room = self._bearing.room_in(tank, cap, slot)
            if sum(load for load, _ in terms if load > 0) > room:
                load = sum(load * part for load, part in terms if load)
                self.model.add(load <= room + self._excuse(tank, here, cap, slot))

    def _excuse(self, tank: Tank, here: There, cap: int, slot: int) -> Expression:
        """Return by how much fish that are found in a tank may be too many until they can be moved."""
        at_home = [unit for unit in tank.units if unit.phase.homes]
        if not at_home:
            return 0
        loads = [self._steps(unit, tank)[0] for unit in at_home]
        until = [unit.brood.helpless_until for unit in at_home]
        together = int(excess_before(sum(loads, np.zeros_like(loads[0])), min(until))[cap, slot])
        alone = [int(excess_before(load, own)[cap, slot]) for load, own in zip(loads, until, strict=True)]
        if not together and not any(alone):
            return 0
        present = {unit.index: parts[0] for unit, parts in here}
        are_here = [present.get(unit.index, 0) for unit in at_home]
        everybody: Literal = are_here[0]
        if len(are_here) > 1:
            everybody = self.model.new_bool_var("")
            for one in are_here:
                implies(self.model, everybody, one)
        excuses = sum(own * one for own, one in zip(alone, are_here, strict=True))
        return max(together - sum(alone), 0) * everybody + excuses

    def _apart(self, slot: int, here: There) -> None:
        """Keep those apart that may not be in one tank, though their lines may share."""
        lone = [(unit, parts[0]) for unit, parts in here if unit.phase.alone]
        in_one_row = all(self._clash(one, other)[slot] for (one, _), (other, _) in combinations(lone, 2))
        if in_one_row and len(lone) > 1:
            self._one_at_most([literal for _, literal in lone])
        for (one, parts), (other, others) in combinations(here, 2):
            if one.brood is other.brood or (in_one_row and one.phase.alone and other.phase.alone):
                continue
            if self.needs.may_share(one.brood, other.brood) and self._clash(one, other)[slot]:
                self._one_at_most([parts[0], others[0]])

    def _clash(self, one: Unit, other: Unit) -> Bools:
        clash = self.needs.clash(one.brood, one.phase.alone, other.brood, other.phase.alone)
        if one.phase.homes and other.phase.homes:  # that is how it is today
            helpless = min(one.brood.helpless_until, other.brood.helpless_until)
            clash = clash & ~before(self.needs.slots, helpless)
        return clash

    def _one_at_most(self, literals: list[Literal]) -> None:
        if any(isinstance(literal, int) for literal in literals):
            self.model.add(sum(literals) <= 1)
        else:
            self.model.add_at_most_one(literals)

    @cached_property
    def _strangers(self) -> list[tuple[BroodNeeds, ...]]:
        """Sets of lines no two of which may share, by a brood of each: all of them at once, else two by two."""
        lines = list({brood.line: brood for brood in self.needs.broods}.values())
        pairs = [pair for pair in combinations(lines, 2) if not self.needs.may_share(*pair)]
        return [tuple(lines)] if len(pairs) == len(lines) * (len(lines) - 1) // 2 else list(pairs)

    def _no_strangers(self, tank: Tank, there: dict[int, There]) -> None:
        """Keep lines that may not share out of a tank at once, and until it is cleaned out after one of them."""
        held = {
            (line, slot): self._any([parts[0] for unit, parts in here if unit.brood.line == line])
            for slot, here in there.items()
            for line in dict.fromkeys(unit.brood.line for unit, _ in here)
        }
        for lines in self._strangers:
            for slot in there:
                mine = [held[brood.line, slot] for brood in lines if (brood.line, slot) in held]
                if len(mine) > 1:
                    self._one_at_most(mine)
                for brood in lines:
                    if (brood.line, slot) in held:
                        self._clean_after(brood, slot, lines, held)
        self._clean_after_today(tank, held)

    def _clean_after(
        self,
        brood: BroodNeeds,
        slot: int,
        lines: tuple[BroodNeeds, ...],
        held: dict[tuple[str, int], Literal],
    ) -> None:
        """Let no stranger come while a tank is cleaned out, should a line leave it after a slot."""
        for later in self._while_cleaned(brood, slot):
            others = [
                held[other.line, later]
                for other in lines
                if other is not brood and (other.line, later) in held
            ]
            if others:
                self.model.add(held[brood.line, slot] + sum(others) <= 1)

    def _clean_after_today(self, tank: Tank, held: dict[tuple[str, int], Literal]) -> None:
        """Let no stranger come before a tank could be clean of the fish found in it, even if they leave today."""
        lines = {brood.line: brood for brood in self.needs.broods}
        days = self.needs.days
        for unit in (unit for unit in tank.units if unit.phase.homes):
            gap = self.needs.clean_out_days(unit.brood)
            for (line, slot), literal in held.items():
                if (days[slot] - days[0]).days < gap and not self.needs.may_share(lines[line], unit.brood):
                    self.model.add(literal == 0)

    def _while_cleaned(self, brood: BroodNeeds, slot: int) -> Iterator[int]:
        """Yield the slots after one in which a tank is not yet clean for strangers, should a brood leave then."""
        days, gap = self.needs.days, self.needs.clean_out_days(brood)
        later = slot + 1
        while later < self.needs.slots and (days[later] - days[slot + 1]).days < gap:
            yield later
            later += 1

    def _any(self, literals: list[Literal]) -> Literal:
        """Return a literal that is true where any of these is (and may be true elsewhere)."""
        if any(is_one(literal) for literal in literals):
            return 1
        if len(literals) == 1:
            return literals[0]
        found = self.model.new_bool_var("")
        for literal in literals:
            self.model.add_implication(literal, found)
        return found

    def _count(self, kind: int) -> None:
        """Let no more vessels of a class be in use than there are, where who is in which does not matter."""
        mine = [tank for tank in self._tanks if tank.kind.index == kind]
        copies = sum(tank.bought for tank in mine)
        units = list({unit.index: unit for tank in mine for unit in tank.units}.values())
        for slot in range(self.needs.slots):
            within = []
            for unit in units:
                if not unit.start <= slot < unit.until:
                    continue
                inside = self.dates.within(unit.brood.index, unit.number, slot)
                fits = unit.brood.allowed[unit.phase.stage][kind]
                fits = fits & (place_load(unit.brood, kind, 1, 1) <= FULL).all(axis=0)
                if not forgiven(fits, unit.brood.helpless_until if unit.phase.homes else 0)[slot]:
                    self.model.add(inside <= 0)
                within.append(inside)
            if within:
                self.model.add(sum(within) <= copies)
