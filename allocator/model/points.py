"""How many vessels lots with fixed times need at least: each gets points of which no vessel can serve more than so many.

Points are found by linear programming: stretches of use are its columns (Gilmore, Gomory (1961), Operations Research
9(6):849-859, for cutting stock; the same idea), and its prices are the points. The bound does not rest
on that program's arithmetic: points are rounded to whole numbers, and the most that one vessel can serve is found
exactly (Farley (1990), Operations Research 38(5):922-923).
"""

from collections.abc import Callable
from dataclasses import dataclass

from ortools.linear_solver import pywraplp

from allocator.model.stretches import Stretches

SCALE = 10**6
"""Points of a whole vessel, before they are rounded down (judgement)."""

COLUMNS_A_ROUND = 8
"""New stretches that are looked for with the same prices (judgement)."""

MOST_ROUNDS = 400

DUST = 1e-6


@dataclass(frozen=True)
class PointBound:
    """Each lot has points; no vessel can serve more than `most` of them, so this many vessels are needed."""

    points: tuple[int, ...]
    most: int

    @property
    def needed(self) -> int:
        """How many vessels at least."""
        return -(-sum(self.points) // self.most) if self.most else 0

    def better(self, other: "PointBound") -> "PointBound":
        """Return whichever says more."""
        return other if sum(other.points) * self.most > sum(self.points) * other.most else self


class _Program:
    """The linear program: a row for each lot, a column for each stretch that has been looked at."""

    def __init__(self, count: int) -> None:
        self._solver = pywraplp.Solver.CreateSolver("GLOP")
        self._solver.Objective().SetMinimization()
        self._rows = [self._solver.Constraint(1, self._solver.infinity()) for _ in range(count)]
        self._columns: dict[tuple[int, ...], pywraplp.Variable] = {}
        for lot in range(count):
            self.add((lot,))

    def add(self, stretch: tuple[int, ...]) -> bool:
        """Add a stretch; False if it is known."""
        if stretch in self._columns:
            return False
        self._columns[stretch] = column = self._solver.NumVar(0, self._solver.infinity(), "")
        self._solver.Objective().SetCoefficient(column, 1)
        for lot in stretch:
            self._rows[lot].SetCoefficient(column, 1)
        return True

    def let_go(self, lots: tuple[int, ...]) -> None:
        """Lots that are served already need not be served again."""
        for lot in lots:
            self._rows[lot].SetLb(0)

    def most_used(self, left: set[int]) -> tuple[int, ...]:
        """Return the stretch that the last answer uses most; of equals the one with most who are left."""
        self._solver.Solve()
        return max(
            self._columns,
            key=lambda s: (
                (round(self._columns[s].solution_value(), 6), len(left.intersection(s)), s)
                if left.intersection(s)
                else (-1.0, 0, s)
            ),
        )

    def prices(self) -> list[int] | None:
        """Return what each lot is worth, in whole points; None where the program ends without an answer."""
        if self._solver.Solve() != pywraplp.Solver.OPTIMAL:
            return None
        return [max(0, int(row.dual_value() * SCALE)) for row in self._rows]


def point_bound(
    graph: Stretches,
    *,
    enough: int | None = None,
    go_on: Callable[[], bool] = lambda: True,
) -> PointBound:
    """Return the best points found.

    Parameters
    ----------
    graph
        What a vessel can hold in turn.
    enough
        The search ends once the bound is this high.
    go_on
        Asked after each round; False ends the search.
    """
    count = len(graph.lots)
    program = _Program(count)
    best = PointBound((1,) * count, max(count, 1))
    for _ in range(MOST_ROUNDS):
        prices = program.prices()
        if prices is None:
            break
        most, stretch = graph.best(prices)
        best = best.better(PointBound(tuple(prices), most))
        met = most <= SCALE * (1 + DUST) or (enough is not None and best.needed >= enough)
        if met or not program.add(stretch) or not go_on():
            break
        _add_more(program, graph, prices, stretch)
    return best


def dive(
    graph: Stretches, vessels: int, *, go_on: Callable[[], bool] = lambda: True
) -> list[tuple[int, ...]] | None:
    """Return a sharing out of all lots over so many vessels; None where this quick try finds none.

    The stretch that the linear program uses most is taken, the program is solved anew for those who are left, and so on.
    """
    program = _Program(len(graph.lots))
    left = set(range(len(graph.lots)))
    taken: list[tuple[int, ...]] = []
    while left and len(taken) < vessels and go_on():
        _refine(program, graph)
        stretch = tuple(lot for lot in program.most_used(left) if lot in left)
        taken.append(stretch)
        left.difference_update(stretch)
        program.let_go(stretch)
    return None if left else taken


def _refine(program: _Program, graph: Stretches) -> None:
    """Add stretches to a program until none of them makes it better."""
    for _ in range(MOST_ROUNDS):
        prices = program.prices()
        if prices is None:
            return
        most, stretch = graph.best(prices)
        if most <= SCALE * (1 + DUST) or not program.add(stretch):
            return
        _add_more(program, graph, prices, stretch)


def _add_more(program: _Program, graph: Stretches, prices: list[int], stretch: tuple[int, ...]) -> None:
    """Add stretches that go together with one: those served already count nothing."""
    for _ in range(COLUMNS_A_ROUND):
        for lot in stretch:
            prices[lot] = 0
        value, stretch = graph.best(prices)
        if not value:
            break
        program.add(stretch)
