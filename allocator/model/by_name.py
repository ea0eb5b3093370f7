"""Is so much enough, with every vessel by its name: the question as small rooms answer it soonest.

Where cohorts (`cohorts`) have a stretch of use for each lot that could lead one, here a lot is in this tank or in that
one, and rows for each tank and slot say who may be in it. Rooms of some twenty vessels are answered in seconds, where
cohorts take minutes; a club room is too large for it (measured, see docs/explanation/formulations.md).

The keeper's moves a day are left out: a "no" holds all the same, a "yes" is looked at once more.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations, pairwise

import numpy as np
from ortools.sat.python import cp_model

from allocator.model.board import excess_before
from allocator.model.cohorts import Unit
from allocator.model.dates import Dates
from allocator.model.naming import Solution
from allocator.model.selling import Selling
from allocator.model.settled import Place, Settled, home_parts, place_load
from allocator.model.terms import Expression, Literal, implies, is_one, is_zero
from allocator.needs import CAPS, FULL, Bools, BroodNeeds, Ints, Needs, VesselClass, before, forgiven
from allocator.room import new_vessel_name

Value = Callable[[object], int]
There = list[tuple[Unit, list[Literal]]]
"""Who may be in a tank in a slot; for each number of parts from one up, whether so many of them are."""


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


class ByName:
    """The question whether all can be housed with so much spent on vessels, with every vessel by its name.

    Parameters
    ----------
    needs
        The integer tables. Not of rooms in which a vessel holds lines today that may not share: what is forgiven them is
        not told in full.
    cost
        What may be spent, in hundredths.
    """

    def __init__(self, needs: Needs, cost: int) -> None:
        self.needs = needs
        self.model = cp_model.CpModel()
        self.dates = Dates(self.model, needs, homeless=False)
        self._units = self._all_units()
        self._tanks = self._all_tanks(cost)
        self._homes: dict[int, list[Tank]] = {}
        self._parts: dict[tuple[int, int], list[Literal]] = {}
        self.joins: dict[tuple[int, int], Literal] = {}
        for unit in self._units.values():
            self._live_somewhere(unit)
        Selling(self)
        self._fill()

    def unit(self, brood: BroodNeeds, number: int) -> Unit:
        """Return a phase of a brood."""
        return self._units[brood.index, number]

    def of(self, unit: Unit) -> list[Tank]:
        """Return the tanks in which a unit could be."""
        return self._homes.get(unit.index, [])

    @property
    def spent(self) -> Expression:
        """What is spent on vessels, in hundredths."""
        return sum(tank.kind.price * tank.bought for tank in self._tanks if tank.new)

    # -- who could be where ------------------------------------------------------------------------------------

    def _all_units(self) -> dict[tuple[int, int], Unit]:
        found: dict[tuple[int, int], Unit] = {}
        for brood in self.needs.broods:
            for number in range(len(brood.phases)):
                start = self.dates.slots_of(brood.index, number)[0]
                until = self.dates.slots_of(brood.index, number + 1)[-1]
                found[brood.index, number] = Unit(len(found), brood, number, start, until)
        return found

    def _all_tanks(self, cost: int) -> list[Tank]:
        tanks: list[Tank] = []
        for kind in self.needs.classes:
            tanks += [Tank(len(tanks) + n, kind, name, 1) for n, name in enumerate(kind.names)]
            most = min(kind.most, cost // kind.price) if kind.price else kind.most
            new = [
                Tank(len(tanks) + n, kind, name, self.model.new_bool_var(f"buy {name}"))
                for n, name in enumerate(new_vessel_name(kind.like, n + 1) for n in range(most))
            ]
            for one, next_ in pairwise(new):
                self.model.add_implication(next_.bought, one.bought)
            tanks += new
        if any(tank.new for tank in tanks):
            self.model.add(sum(tank.kind.price * tank.bought for tank in tanks if tank.new) <= cost)
        return tanks

    @cached_property
    def _only_counted(self) -> frozenset[int]:
        """Classes whose vessels need no name: whoever is in one is alone, goes nowhere else, and may follow anybody."""
        if self.needs.strangers:
            return frozenset()
        found = set()
        for kind in self.needs.classes:
            units = [unit for unit in self._units.values() if self._may_be_in(unit, kind)]
            if units and all(self._takes_one(unit, kind) for unit in units):
                found.add(kind.index)
        return frozenset(found)

    def _may_be_in(self, unit: Unit, kind: VesselClass) -> bool:
        if unit.phase.homes:
            return any(self.needs.class_of[name] is kind for name, _ in unit.phase.homes)
        return bool(unit.brood.allowed[unit.phase.stage][kind.index].any())

    def _takes_one(self, unit: Unit, kind: VesselClass) -> bool:
        """Tell whether a unit takes just one vessel, of this class, to itself."""
        phase = unit.phase
        if not phase.alone or phase.portions > 1 or phase.optional or len(phase.homes) > 1:
            return False
        if not is_one(self.dates.used(unit.brood.index, unit.number)):
            return False
        return not any(self._may_be_in(unit, other) for other in self.needs.classes if other is not kind)

    def _live_somewhere(self, unit: Unit) -> None:
        """Put a unit into tanks, as a whole or in equal parts; fish that are found somewhere are there."""
        if unit.phase.homes:
            names = dict(unit.phase.homes)
            mine = [tank for tank in self._tanks if tank.name in names]
            for tank in mine:
                self._parts[unit.index, tank.index] = [1]
        else:
            mine = [tank for tank in self._tanks if self._fits_ever(unit, tank)]
            of = unit.phase.portions
            for tank in mine:
                parts = [self.model.new_bool_var(f"{unit.index} in {tank.name} {n}") for n in range(of)]
                self._parts[unit.index, tank.index] = parts
                for fewer, more in pairwise(parts):
                    self.model.add_implication(more, fewer)
                implies(self.model, parts[0], tank.bought)
            total = sum(sum(self._parts[unit.index, tank.index]) for tank in mine)
            self.model.add(total == of * self.dates.used(unit.brood.index, unit.number))
        for tank in mine:
            tank.units.append(unit)
            self.joins[unit.index, tank.index] = self._parts[unit.index, tank.index][0]
        self._homes[unit.index] = mine

    def _fits_ever(self, unit: Unit, tank: Tank) -> bool:
        """Tell whether a part of a unit, or all of it, may enter a tank in any of its slots."""
        kind = tank.kind.index
        loads = [place_load(unit.brood, kind, n, unit.phase.portions) for n in {1, unit.phase.portions}]
        fits = np.logical_or.reduce([(load <= FULL).all(axis=0) for load in loads])
        fits &= self._allowed(unit, tank)
        slots = self.dates.slots_of(unit.brood.index, unit.number)
        return any(fits[slot] for slot in slots if slot < self.needs.slots)

    def _allowed(self, unit: Unit, tank: Tank) -> Bools:
        """Return in which slots a unit may live in a tank, whoever else is in the model."""
        allowed = unit.brood.allowed[unit.phase.stage][tank.kind.index]
        return forgiven(allowed, unit.brood.helpless_until) if unit.phase.homes else allowed

    # -- what a tank bears -------------------------------------------------------------------------------------

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
        if not self._allowed(unit, tank)[slot]:
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
            room = self._room_in(tank, cap, slot)
            if sum(load for load, _ in terms if load > 0) > room:
                load = sum(load * part for load, part in terms if load)
                self.model.add(load <= room + self._excuse(tank, here, cap, slot))

    def _room_in(self, tank: Tank, cap: int, slot: int) -> int:  # noqa: ARG002 - for models beside others
        """Return how much of a cap of a tank there is in a slot."""
        return FULL

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
        lone = [parts[0] for unit, parts in here if unit.phase.alone]
        if len(lone) > 1:
            self._one_at_most(lone)
        for (one, parts), (other, others) in combinations(here, 2):
            if one.brood is other.brood or (one.phase.alone and other.phase.alone):
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
        copies = sum(tank.bought for tank in self._tanks if tank.kind.index == kind)
        units = [
            unit for unit in self._units.values() if self.of(unit) and self.of(unit)[0].kind.index == kind
        ]
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

    # -- the answer --------------------------------------------------------------------------------------------

    def read(self, value: Value) -> Solution:
        """Return what the solver settled. `value` returns the value of a literal."""
        entries = {
            brood.index: [
                next(
                    slot
                    for slot in self.dates.slots_of(brood.index, number)
                    if value(self.dates.by(brood.index, number, slot))
                )
                for number in range(len(brood.phases) + 1)
            ]
            for brood in self.needs.broods
        }
        places: dict[int, list[Place]] = defaultdict(list)
        unnamed: list[tuple[int, int, Unit]] = []
        for unit in self._units.values():
            start, end = entries[unit.brood.index][unit.number : unit.number + 2]
            mine = places[unit.brood.index]
            if unit.phase.homes:
                mine += [
                    Place(unit.number, name, start, end, *home_parts(share))
                    for name, share in unit.phase.homes
                ]
            elif start < end and self.of(unit)[0].kind.index in self._only_counted:
                unnamed.append((start, end, unit))
            elif start < end:
                for tank in self.of(unit):
                    if parts := sum(value(part) for part in self._parts[unit.index, tank.index]):
                        mine.append(Place(unit.number, tank.name, start, end, parts, unit.phase.portions))
        self._name(unnamed, places)
        settled = tuple(
            Settled(
                tuple(entries[brood.index][:-1]),
                entries[brood.index][-1],
                tuple(sorted(places[brood.index], key=lambda p: (p.phase, p.start, p.vessel))),
            )
            for brood in self.needs.broods
        )
        added: dict[int, int] = defaultdict(int)
        for tank in self._tanks:
            added[tank.kind.index] += int(tank.new and value(tank.bought))
        return Solution(settled, {kind: copies for kind, copies in added.items() if copies})

    def _name(self, unnamed: list[tuple[int, int, Unit]], places: dict[int, list[Place]]) -> None:
        """Give each lot that is alone the first vessel that is free then."""
        free = {tank.name: 0 for tank in self._tanks}
        for mine in places.values():
            for place in mine:
                if self.needs.class_of.get(place.vessel) is not None:
                    free[place.vessel] = max(free[place.vessel], place.end)
        for start, end, unit in sorted(unnamed, key=lambda one: (one[0], one[1], one[2].index)):
            name = next(tank.name for tank in self.of(unit) if free[tank.name] <= start)
            places[unit.brood.index].append(Place(unit.number, name, start, end))
            free[name] = end
