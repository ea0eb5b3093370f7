"""How many vessels lots with fixed times need at least: each gets points of which no vessel can serve more than so many.

Points are found by linear programming: stretches of use are its columns (Gilmore, Gomory (1961), Operations Research
9(6):849-859, for cutting stock; the same idea), and its prices are the points. The bound does not rest
on that program's arithmetic: points are rounded to whole numbers, and the most that one vessel can serve is found
exactly (Farley (1990), Operations Research 38(5):922-923).
"""

from collections.abc import Callable, Sequence
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
    stretches: tuple[tuple[int, ...], ...]
    fractional: float

    @property
    def needed(self) -> int:
        """How many vessels at least."""
        return -(-sum(self.points) // self.most) if self.most else 0


def point_bound(
    graph: Stretches,
    begin_with: Sequence[Sequence[int]] = (),
    *,
    enough: int | None = None,
    go_on: Callable[[], bool] = lambda: True,
) -> PointBound:
    """Return the best points found.

    Parameters
    ----------
    graph
        What a vessel can hold in turn.
    begin_with
        Stretches that are known to be possible: those of a plan, say.
    enough
        The search ends once the bound is this high.
    go_on
        Asked after each round; False ends the search.
    """
    count = len(graph.lots)
    program = pywraplp.Solver.CreateSolver("GLOP")
    program.Objective().SetMinimization()
    rows = [program.Constraint(1, program.infinity()) for _ in range(count)]
    columns: dict[tuple[int, ...], pywraplp.Variable] = {}

    def add(stretch: Sequence[int]) -> bool:
        key = tuple(sorted(stretch))
        if key in columns or not key:
            return False
        columns[key] = column = program.NumVar(0, program.infinity(), "")
        program.Objective().SetCoefficient(column, 1)
        for lot in key:
            rows[lot].SetCoefficient(column, 1)
        return True

    for lot in range(count):
        add((lot,))
    for stretch in begin_with:
        add(stretch)
    best = PointBound((1,) * count, max(count, 1), (), float(count))
    for _ in range(MOST_ROUNDS):
        if program.Solve() != pywraplp.Solver.OPTIMAL:
            break
        prices = [max(0, int(row.dual_value() * SCALE)) for row in rows]
        most, stretch = graph.best(prices)
        if sum(prices) * best.most > sum(best.points) * most:
            best = PointBound(tuple(prices), most, (), 0.0)
        new = add(stretch)
        if not new or most <= SCALE * (1 + DUST) or (enough is not None and best.needed >= enough) or not go_on():
            break
        left = list(prices)
        for _ in range(COLUMNS_A_ROUND):  # stretches that go together: those served already count little
            for lot in stretch:
                left[lot] = 0
            value, stretch = graph.best(left)
            if not value:
                break
            add(stretch)
    used = tuple(key for key, column in columns.items())
    return PointBound(best.points, best.most, used, program.Objective().Value())
