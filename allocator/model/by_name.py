"""Is so much enough, with every vessel by its name: the question as small rooms answer it soonest.

Where cohorts (`cohorts`) have a stretch of use for each lot that could lead one, here a lot is in this tank or in that
one, and rows for each tank and slot say who may be in it. Rooms of some twenty vessels are answered in seconds, where
cohorts take minutes; a club room is too large for it (measured, see docs/explanation/formulations.md).

The keeper's moves a day are left out: a "no" holds all the same, a "yes" is looked at once more.
"""

from collections import Counter, defaultdict
from collections.abc import Callable
from functools import cached_property
from itertools import pairwise

import numpy as np
from ortools.sat.python import cp_model

from allocator.model.cohorts import Unit
from allocator.model.dates import Dates
from allocator.model.naming import Solution
from allocator.model.selling import Selling
from allocator.model.settled import Place, Settled, home_parts, place_load
from allocator.model.tank_rows import Bearing, Parts, Tank, TankRows
from allocator.model.terms import Expression, Literal, implies, is_one
from allocator.needs import FULL, BroodNeeds, Needs, VesselClass
from allocator.room import new_vessel_name

Value = Callable[[object], int]


class ByName:
    """The question whether all can be housed with so much spent on vessels, with every vessel by its name.

    Parameters
    ----------
    needs
        The integer tables. Not of rooms in which a vessel holds lines today that may not share: what is forgiven them is
        not told in full.
    cost
        What may be spent, in hundredths.
    bearing
        What each tank bears; all of it unless others are there, who are not asked about.
    """

    def __init__(self, needs: Needs, cost: int, bearing: Bearing | None = None) -> None:
        self.needs = needs
        self._bearing = bearing or Bearing()
        self.model = cp_model.CpModel()
        self.dates = Dates(self.model, needs, homeless=False)
        self._units = self._all_units()
        self._tanks = self._all_tanks(cost)
        self._homes: dict[int, list[Tank]] = {}
        self._parts: Parts = {}
        self.joins: dict[tuple[int, int], Literal] = {}
        for unit in self._units.values():
            self._live_somewhere(unit)
            self.dates.take_time(unit.brood, unit.number)
        Selling(self)
        TankRows(needs, self.dates, self._tanks, self._parts, self._only_counted, self._bearing)

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
        homes = Counter(name for brood in self.needs.broods for name, _ in brood.phases[0].homes)
        together = {self.needs.class_of[name].index for name, lots in homes.items() if lots > 1}
        found = set()
        for kind in self.needs.classes:
            if kind.index in together:
                continue
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
        loads = [
            place_load(unit.brood, tank.kind.index, n, unit.phase.portions) for n in {1, unit.phase.portions}
        ]
        fits = np.logical_or.reduce([(load <= FULL).all(axis=0) for load in loads])
        fits &= self._bearing.allowed(unit, tank)
        slots = self.dates.slots_of(unit.brood.index, unit.number)
        return any(fits[slot] for slot in slots if slot < self.needs.slots)

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
