"""The linear programme over the stretches known so far: least cost of added vessels that houses every brood.

    minimise sum price * extra, and a little the share (0 to 1) of what is there that is used
    alive    for a brood and a slot: the stretches that house it add up to the whole brood
    once     for a lot: the stretches that hold it add up to no more than all of it
    room     for a class and a slot: the stretches that are open are no more than copies * share and extra

Rows on broods are added when they are broken, columns when they are worth it; it is only there to find good prices.
"""

from dataclasses import dataclass

import numpy as np
from ortools.linear_solver import pywraplp

from allocator.needs import Floats
from benchmark.columns.lots import WHOLE
from benchmark.columns.parts import Parts
from benchmark.columns.stretches import Stretch

FIRST_ROWS = 12
"""Slots of each brood that are looked at from the beginning (judgement, after a few tries)."""

ENOUGH = 1e-7
BROKEN = 1e-4
"""How much of a column counts as used, and by how much a row must be broken to be added (judgement)."""

SHARE_PRICE = 0.5
"""What all that is there costs together, as a share of the cheapest addition (judgement): so that rents show where
the room is nearly full, even where nothing need be added."""

DEARER, MOST_DEARER = 4.0, 1000.0
"""By how much leaving a brood out becomes dearer, and where that ends (judgement)."""


@dataclass
class Prices:
    """Dual prices: worth of each brood being housed in a slot, a fee for each lot, a rent for each class and slot."""

    worth: Floats
    fees: dict[tuple[int, int], float]
    rent: Floats

    def mixed(self, other: "Prices", share: float) -> "Prices":
        """Return these prices with a share of others."""
        keys = self.fees.keys() | other.fees.keys()
        return Prices(
            (1 - share) * self.worth + share * other.worth,
            {k: (1 - share) * self.fees.get(k, 0.0) + share * other.fees.get(k, 0.0) for k in keys},
            (1 - share) * self.rent + share * other.rent,
        )


class Master:
    """The linear programme, with rows and columns added as they are found.

    Parameters
    ----------
    parts
        The tables of all vessels.
    price
        For each class, what one more vessel costs in the sum that is minimised.
    lost
        What it costs in that sum to leave a brood out, to begin with; see `dearer`.
    """

    def __init__(self, parts: Parts, price: dict[int, float], lost: float) -> None:
        self.parts = parts
        self.vessels = parts.vessels
        self.columns: list[Stretch] = []
        self._known: set[Stretch] = set()
        self._lost = lost
        needs = parts.needs
        self._shape = len(needs.broods), len(needs.classes), needs.slots
        self._solver = pywraplp.Solver.CreateSolver("GLOP")
        self._solver.SetSolverSpecificParametersAsString("use_preprocessing: false")
        self._endless = self._solver.infinity()
        self._variables: list[pywraplp.Variable] = []
        self._alive: dict[tuple[int, int], pywraplp.Constraint] = {}
        self._once: dict[tuple[int, int], pywraplp.Constraint] = {}
        self._room: dict[tuple[int, int], pywraplp.Constraint] = {}
        self._extra: dict[int, pywraplp.Variable] = {}
        self._short: dict[int, pywraplp.Variable] = {}
        self.last = Prices(np.zeros(self._shape[::2]), {}, np.zeros(self._shape[1:]))
        objective = self._solver.Objective()
        self._share = self._solver.NumVar(0, 1, "")
        cheapest = min((p for p in price.values() if p > 0), default=1.0)
        objective.SetCoefficient(self._share, cheapest * SHARE_PRICE)
        for kind in parts.kinds:
            of = needs.classes[kind]
            self._extra[kind] = self._solver.NumVar(0, of.most, "")
            objective.SetCoefficient(self._extra[kind], price.get(kind, 0.0))
            for slot in range(needs.slots):
                row = self._solver.Constraint(-self._endless, 0, "")
                row.SetCoefficient(self._extra[kind], -1)
                row.SetCoefficient(self._share, -of.copies)
                self._room[kind, slot] = row
        for brood, slots in parts.required.items():
            for slot in _first_rows(slots):
                self.add_alive(brood, slot)
        lots = {(g, item.lot.index) for (_, g), vessel in parts.vessels.items() for item in vessel.items}
        for group, lot in sorted(lots):
            self.add_once(group, lot)

    def limit(self, at_least: dict[int, int], at_most: dict[int, int]) -> None:
        """Keep the number of added vessels of each class within bounds."""
        for kind, variable in self._extra.items():
            variable.SetBounds(at_least.get(kind, 0), at_most[kind])

    def knows(self, column: Stretch) -> bool:
        """Tell whether a stretch is there already."""
        return column in self._known

    def dearer(self) -> bool:
        """Make it cost more to leave out the broods that the last solution leaves out; False if it cannot help."""
        left = [v for v in self._short.values() if v.solution_value() > ENOUGH]
        objective = self._solver.Objective()
        for variable in left:
            cost = objective.GetCoefficient(variable)
            if cost > self._lost * MOST_DEARER:
                return False
            objective.SetCoefficient(variable, cost * DEARER)
        return bool(left)

    def add_alive(self, brood: int, slot: int) -> None:
        """Require that a brood is housed in a slot, or pay for it that it is not."""
        row = self._solver.Constraint(1, self._endless, "")
        if brood not in self._short:
            self._short[brood] = self._solver.NumVar(0, 1, "")
            self._solver.Objective().SetCoefficient(self._short[brood], self._lost)
        row.SetCoefficient(self._short[brood], 1)
        self._alive[brood, slot] = row
        for variable, column in zip(self._variables, self.columns, strict=True):
            weight = self._weight(column, brood, slot)
            if weight:
                row.SetCoefficient(variable, weight)

    def _weight(self, column: Stretch, brood: int, slot: int) -> float:
        items = self.vessels[column.kind, column.group].items
        return sum(
            items[i].weight / WHOLE
            for i, begin, end in column.stays
            if items[i].lot.brood.index == brood and begin <= slot < end
        )

    def add_once(self, group: int, lot: int) -> None:
        """Require that a lot is in no more stretches than there is of it."""
        row = self._solver.Constraint(-self._endless, 1, "")
        self._once[group, lot] = row

    def add(self, column: Stretch) -> bool:
        """Add a stretch; False if it is there already."""
        if column in self._known:
            return False
        self._known.add(column)
        self.columns.append(column)
        variable = self._solver.NumVar(0, self._endless, "")
        self._variables.append(variable)
        for slot in range(column.begin, column.end):
            self._room[column.kind, slot].SetCoefficient(variable, 1)
        items = self.vessels[column.kind, column.group].items
        weights: dict[tuple[int, int], float] = {}
        for i, begin, end in column.stays:
            lot = items[i].lot
            share = items[i].weight / WHOLE
            for slot in range(begin, end):
                if (lot.brood.index, slot) in self._alive:
                    weights[lot.brood.index, slot] = weights.get((lot.brood.index, slot), 0.0) + share
            if (column.group, lot.index) in self._once:
                self._once[column.group, lot.index].SetCoefficient(variable, share)
        for key, weight in weights.items():
            self._alive[key].SetCoefficient(variable, weight)
        return True

    def solve(self) -> float:
        """Solve it and return its value: the least cost over the stretches known so far."""
        self._solver.Solve()
        return float(self._solver.Objective().Value())

    def prices(self) -> Prices:
        """Return the dual prices of the last solution."""
        broods, kinds, slots = self._shape
        worth, rent = np.zeros((broods, slots)), np.zeros((kinds, slots))
        for (brood, slot), row in self._alive.items():
            worth[brood, slot] = max(row.dual_value(), 0.0)
        for (kind, slot), row in self._room.items():
            rent[kind, slot] = max(-row.dual_value(), 0.0)
        fees = {key: max(-row.dual_value(), 0.0) for key, row in self._once.items()}
        fees = {key: fee for key, fee in fees.items() if fee > 0}
        self.last = Prices(np.nan_to_num(worth), fees, np.nan_to_num(rent))
        return self.last

    def used(self) -> list[tuple[Stretch, float]]:
        """Return the stretches of the last solution with how much of each is used."""
        values = [variable.solution_value() for variable in self._variables]
        return [(c, v) for c, v in zip(self.columns, values, strict=True) if v > ENOUGH]

    def extra(self) -> dict[int, float]:
        """Return how many vessels of each class are added in the last solution."""
        return {kind: variable.solution_value() for kind, variable in self._extra.items()}

    def add_broken(self, most_each: int = 2) -> int:
        """Add the rows that the last solution breaks most, and return how many."""
        housed = np.zeros(self._shape[::2])
        for brood, short in self._short.items():
            housed[brood] = short.solution_value()
        used = self.used()
        for column, value in used:
            items = self.vessels[column.kind, column.group].items
            for i, begin, end in column.stays:
                item = items[i]
                housed[item.lot.brood.index, begin:end] += value * item.weight / WHOLE
        alive = []
        for brood, slots in self.parts.required.items():
            broken = sorted((housed[brood, s], s) for s in slots if (brood, s) not in self._alive)
            alive += [(brood, slot) for value, slot in broken[:most_each] if value < 1 - BROKEN]
        for key in alive:
            self.add_alive(*key)
        return len(alive)

    def share(self) -> float:
        """Return what share of what is there is used, at the fullest time, in the last solution."""
        return float(self._share.solution_value())

    def short(self) -> float:
        """Return how many broods are left out in the last solution."""
        return sum(float(v.solution_value()) for v in self._short.values())


def _first_rows(slots: tuple[int, ...]) -> list[int]:
    """Return a few slots out of many, evenly spread: the rows to begin with."""
    few = min(FIRST_ROWS, len(slots))
    return sorted({slots[round(i * (len(slots) - 1) / max(few - 1, 1))] for i in range(few)})
