"""Compare formulations of level 1, the least cost of added vessels: `python tests/benchmark/formulations.py`.

For each room: what first fit and the constraint model of cohorts reach and prove, what groups as columns prove, and
what class-time counts prove, each with its seconds. Rooms are shipped scenarios with some tanks fewer.
"""

import argparse
import importlib
import re
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from time import monotonic
from typing import Any

from ortools.sat.python import cp_model

from allocator.model.bounds import cost_bound
from allocator.model.columns import column_bound
from allocator.model.first_fit import FirstFit
from allocator.model.room_model import CohortModel
from allocator.needs import Needs, needs_of
from allocator.reading import read_room

SCENARIOS = Path(__file__).parents[2] / "scenarios"

ROOMS = {
    "too-small": ("too-small.yaml", None),
    "home-rack": ("home-rack.yaml", None),
    "home-rack, one long fewer": ("home-rack.yaml", -1),
    "club-room, 12 longs": ("club-room.yaml", -2),
    "club-room, 11 longs": ("club-room.yaml", -3),
    "club-room, 9 longs": ("club-room.yaml", -5),
}
"""File, and how many long tanks more it is to have."""

WORK = 20.0
ROUNDS_OF_FIRST_FIT = 60


def needs_for(name: str) -> Needs:
    """Return the tables of one of the rooms."""
    file, more = ROOMS[name]
    text = (SCENARIOS / file).read_text(encoding="utf-8")
    if more is not None:
        text = re.sub(
            r"(name: long,?\s+copies: )(\d+)", lambda m: m[1] + str(int(m[2]) + more), text, count=1
        )
    with TemporaryDirectory() as folder:
        path = Path(folder) / "room.yaml"
        path.write_text(text, encoding="utf-8")
        return needs_of(read_room(path).room)


def by_first_fit(needs: Needs) -> tuple[float | None, float]:
    """Return what first fit adds, in hundredths: nothing where all have a home without."""
    for added in ({}, {kind.index: kind.most for kind in needs.classes if kind.most}):
        fit = FirstFit(needs, added)
        fit.run()
        fit.improve(ROUNDS_OF_FIRST_FIT, 7)
        score = fit.board.score()
        if score.homeless_fish_days == 0:
            return score.added_cost, 0
    return None, 0


def by_cohorts(needs: Needs) -> tuple[float | None, float]:
    """Return what the constraint model reaches and proves, from nothing."""
    model = CohortModel(needs, adding=True, homeless=False)
    model.model.minimize(model.objectives["cost"])
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.interleave_search = True
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = WORK
    found = solver.solve(model.model) in {cp_model.OPTIMAL, cp_model.FEASIBLE}
    return (solver.objective_value if found else None), max(solver.best_objective_bound, 0)


def by_columns(needs: Needs, seconds: float) -> tuple[float | None, float]:
    """Return what groups as columns prove."""
    end = monotonic() + seconds
    bound = column_bound(needs, go_on=lambda: monotonic() < end)
    return None, float("inf") if bound.cost is None else bound.cost


def by_counts(needs: Needs) -> tuple[float | None, float]:
    """Return what class-time counts prove."""
    counts: Any = importlib.import_module("allocator.model.counts")
    bound = counts.count_bound(needs)
    return None, float("inf") if bound.impossible else bound.cost


def told(way: Callable[[], tuple[float | None, float]]) -> str:
    """Return value, bound and seconds of one way, for the table."""
    begun = monotonic()
    try:
        value, bound = way()
    except ImportError:
        return "- |"
    seconds = f"{monotonic() - begun:.1f} s"
    reached = "" if value is None else f"{value / 100:g}, "
    return f"{reached}at least {bound / 100:g} | {seconds}"


def rows(names: list[str], seconds: float) -> Iterator[str]:
    """Yield the table, row by row."""
    yield "| room | broods | single days | first fit | | cohorts | | columns | | counts | |"
    yield "|---|---:|---:|---|---:|---|---:|---|---:|---|---:|"
    for name in names:
        needs = needs_for(name)
        ways = (
            told(lambda: by_first_fit(needs)),  # noqa: B023 - called at once
            told(lambda: by_cohorts(needs)),  # noqa: B023
            told(lambda: by_columns(needs, seconds)),  # noqa: B023
            told(lambda: by_counts(needs)),  # noqa: B023
        )
        yield f"| {name} | {len(needs.broods)} | {cost_bound(needs) / 100:g} | {' | '.join(ways)} |"


def main(given: list[str]) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--room", action="append", choices=list(ROOMS), help="only this one")
    parser.add_argument("--seconds", type=float, default=60.0, help="for the columns of one room")
    asked = parser.parse_args(given)
    for row in rows(asked.room or list(ROOMS), asked.seconds):
        print(row, flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
