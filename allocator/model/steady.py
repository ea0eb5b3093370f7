"""How many broods a day a room can sustain at the very most: Little's law for every kind of vessel at once.

In the long run the vessels of a kind that are in use are broods a day times the vessel-days of each brood there
(Little 1961, Operations Research 9(3):383-387), and there are no more of them than there are. Where a brood may
live in several kinds, the best mixture is taken, day of age by day of age, and vessels are shared out in fractions:
a linear program. No plan can do better, since every plan is such a mixture; most rooms do worse.
"""

from collections import defaultdict
from collections.abc import Sequence
from math import inf
from typing import NamedTuple

from ortools.linear_solver import pywraplp

TOO_LITTLE = 1e-12
"""A pace below this is none (derived: a brood in three thousand million years)."""


class Way(NamedTuple):
    """Where a brood of a line may live at one age, and what it then takes of a vessel of that kind, cap by cap."""

    line: int
    age: int
    stage: int
    kind: int
    loads: tuple[float, ...]


class Steady(NamedTuple):
    """The most broods a day of all lines together, and what holds it there.

    `binding` has for each (line, stage, kind) how large a part it has in that; they add up to 1.
    """

    pace: float
    binding: dict[tuple[int, int, int], float]


def steady_pace(weights: Sequence[float], ways: Sequence[Way], copies: Sequence[int | None]) -> Steady:
    """Return the most broods a day for ever, in fractions of vessels.

    Parameters
    ----------
    weights
        The share of each line in all broods; they add up to 1.
    ways
        Every way to live of every line, at each age until it is sold. A line must live somewhere at each of the
        ages that are named.
    copies
        How many vessels there are of each kind; None where there are more than enough.

    Returns
    -------
    Steady
        The pace is infinite where no kind that somebody needs is limited.
    """
    if not any(copies[way.kind] is not None for way in ways):
        return Steady(inf, {})
    return _Program(weights, ways, copies).solved()


class _Program:
    """The linear program: a pace, a part of it for each way to live where there are several, a row for each cap."""

    def __init__(self, weights: Sequence[float], ways: Sequence[Way], copies: Sequence[int | None]) -> None:
        self.weights = weights
        self.solver = pywraplp.Solver.CreateSolver("GLOP")
        self.pace = self.solver.NumVar(0.0, self.solver.infinity(), "pace")
        self.room = {
            (kind, cap): self.solver.Constraint(-self.solver.infinity(), float(there))
            for kind, there in enumerate(copies)
            if there is not None
            for cap in range(len(ways[0].loads))
        }
        by_age: dict[tuple[int, int], list[Way]] = defaultdict(list)
        for way in ways:
            by_age[way.line, way.age].append(way)
        self.settled = [choices[0] for choices in by_age.values() if len(choices) == 1]
        self._add_settled()
        self.chosen = [
            pair for choices in by_age.values() if len(choices) > 1 for pair in self._add_choice(choices)
        ]

    def _add_settled(self) -> None:
        """Add what each brood takes on days on which it has no choice: as much of the pace as there are such days."""
        taken: dict[tuple[int, int], float] = defaultdict(float)
        for way in self.settled:
            for cap, load in enumerate(way.loads):
                taken[way.kind, cap] += self.weights[way.line] * load
        for key in taken.keys() & self.room.keys():
            self.room[key].SetCoefficient(self.pace, taken[key])

    def _add_choice(self, choices: list[Way]) -> list[tuple[Way, pywraplp.Variable]]:
        """Add an age at which a line may live in several ways: the parts of it add up to its share of the pace."""
        somewhere = self.solver.Constraint(0.0, 0.0)
        somewhere.SetCoefficient(self.pace, -self.weights[choices[0].line])
        parts = [(way, self.solver.NumVar(0.0, self.solver.infinity(), "")) for way in choices]
        for way, part in parts:
            somewhere.SetCoefficient(part, 1.0)
            for cap, load in enumerate(way.loads):
                if load and (way.kind, cap) in self.room:
                    self.room[way.kind, cap].SetCoefficient(part, load)
        return parts

    def solved(self) -> Steady:
        """Return the most; what each stage has of it is its load at the prices of the vessels (the dual values)."""
        self.solver.Maximize(self.pace)
        status = self.solver.Solve()
        if status in (pywraplp.Solver.UNBOUNDED, pywraplp.Solver.INFEASIBLE):
            return Steady(inf, {})  # a pace of nothing is always possible, so it is not the second
        if status != pywraplp.Solver.OPTIMAL:
            raise ArithmeticError(f"no bound on the pace (status {status})")
        most = self.pace.solution_value()
        if most <= TOO_LITTLE:
            return Steady(0.0, {})
        prices = {key: row.dual_value() for key, row in self.room.items()}
        lives = [(way, part.solution_value()) for way, part in self.chosen]
        lives += [(way, self.weights[way.line] * most) for way in self.settled]
        binding: dict[tuple[int, int, int], float] = defaultdict(float)
        for way, part in lives:
            worth = sum(prices.get((way.kind, cap), 0.0) * load for cap, load in enumerate(way.loads))
            if worth * part > 0:
                binding[way.line, way.stage, way.kind] += worth * part / most
        return Steady(most, dict(binding))
