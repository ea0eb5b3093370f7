"""Compare ways to tell level 1, the least cost of added vessels: `python tests/benchmark/formulations.py --help`.

For each room: what `allocator plan` reaches, then what is proven by single days, whole stays, counts, columns and
cohorts, each by itself, with its seconds by the clock. Where nothing needs to be added, nothing is there to be proven:
only cohorts are asked, whether they find such a plan from nothing. Where a proof has met the plan, columns stop.
"""

import argparse
import re
import sys
from collections.abc import Callable, Iterator
from math import inf
from pathlib import Path
from tempfile import TemporaryDirectory
from time import monotonic

from ortools.sat.python import cp_model

sys.path.insert(0, str(Path(__file__).parent.parent))

from allocator.model.bounds import class_sets, cost_bound
from allocator.model.counts import count_bound
from allocator.model.improving import WORK
from allocator.model.room_model import BuildStoppedError, CohortModel
from allocator.model.through_time import through_time
from allocator.needs import Needs, needs_of
from allocator.planner import plan_room
from allocator.reading import read_room
from allocator.result import NoPlanInTime
from allocator.room import Room
from benchmark.columns import column_bound
from benchmark.rooms import bench_room

SCENARIOS = Path(__file__).parents[2] / "scenarios"

SHIPPED = {
    "too-small": ("too-small.yaml", 0),
    "home-rack, one long fewer": ("home-rack.yaml", -1),
    "club-room, 12 longs": ("club-room.yaml", -2),
    "club-room, 11 longs": ("club-room.yaml", -3),
    "club-room, 10 longs": ("club-room.yaml", -4),
    "club-room, 9 longs": ("club-room.yaml", -5),
}
"""File, and how many long tanks more it is to have."""

MADE = {
    "home-tight-longs-1": ("tight-longs", "home", 1),
    "home-small-lines-1": ("small-lines", "home", 1),
    "home-tight-boxes-1": ("tight-boxes", "home", 1),
}
"""Character, size and seed of rooms of the benchmark."""

Told = tuple[float | None, float | None]
"""What a plan costs, and what every plan costs at least, in hundredths; None where nothing is known of it."""


def room_of(name: str) -> Room:
    """Return one of the rooms."""
    if name in MADE:
        return bench_room(*MADE[name])
    file, more = SHIPPED[name]
    text = (SCENARIOS / file).read_text(encoding="utf-8")
    if more:
        text, changed = re.subn(
            r"(name: long,?\s+copies: )(\d+)", lambda m: m[1] + str(int(m[2]) + more), text, count=1
        )
        assert changed == 1, f"{file} has no long tanks as they were"
    with TemporaryDirectory() as folder:
        path = Path(folder) / "room.yaml"
        path.write_text(text, encoding="utf-8")
        return read_room(path).room


def planned(room: Room, seconds: float) -> Told:
    """Return what the planner reaches, with all that it has; what it proves."""
    try:
        best = plan_room(room, seconds=seconds).best
    except NoPlanInTime:
        return None, None
    if best.plan.homeless:
        return None, None
    prices = {offer.like: offer.price for offer in room.could_add}
    cost = sum(prices[row.like] * row.copies for row in best.plan.added)
    first = [level.bound for level in best.levels if level.level == 1 and level.unit == "price"]
    return 100 * cost, 100 * first[0] if first else 0


def by_stays(needs: Needs, seconds: float) -> Told:
    """Return what whole stays prove, together with single days."""
    end = monotonic() + seconds
    looks = [through_time(needs, classes, go_on=lambda: monotonic() < end) for classes in class_sets(needs)]
    return None, cost_bound(needs, [look.bound for look in looks if look is not None])


def by_counts(needs: Needs, seconds: float) -> Told:
    """Return what class-time counts prove."""
    end = monotonic() + seconds
    found = count_bound(needs, budget=WORK["count"], go_on=lambda: monotonic() < end)
    return None, inf if found.impossible else found.cost


def by_columns(needs: Needs, seconds: float, goal: float | None) -> Told:
    """Return what groups as columns prove."""
    end = monotonic() + seconds
    found = column_bound(needs, goal=None if goal is None else round(goal), go_on=lambda: monotonic() < end)
    return None, inf if found.cost is None else found.cost


def by_cohorts(needs: Needs, seconds: float) -> Told:
    """Return what the constraint model reaches and proves, from nothing."""
    end = monotonic() + seconds
    try:
        model = CohortModel(needs, adding=True, homeless=False, go_on=lambda: monotonic() < end)
    except BuildStoppedError:
        return None, None
    model.model.minimize(model.objectives["cost"])
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.interleave_search = True
    solver.parameters.random_seed = 1
    solver.parameters.max_time_in_seconds = max(end - monotonic(), 1)
    found = solver.solve(model.model) in {cp_model.OPTIMAL, cp_model.FEASIBLE}
    return (solver.objective_value if found else None), max(solver.best_objective_bound, 0)


def timed(way: Callable[[], Told]) -> tuple[Told, str]:
    """Return what one way tells, and a cell of the table."""
    begun = monotonic()
    value, bound = way()
    seconds = f"{monotonic() - begun:.1f} s"
    parts = [] if value is None else [f"reached {value / 100:g}"]
    parts += [] if bound is None else [f"at least {bound / 100:g}"]
    return (value, bound), f"{', '.join(parts) or 'nothing'} in {seconds}"


def rows(names: list[str], seconds: float) -> Iterator[str]:
    """Yield the table, row by row."""
    yield "| room | broods | `allocator plan` | single days | whole stays | counts | columns | cohorts |"
    yield f"|---|---:|{'---|' * 6}"
    for name in names:
        yield _row(name, seconds)


def _row(name: str, seconds: float) -> str:
    room = room_of(name)
    needs = needs_of(room)
    (goal, _), plan = timed(lambda: planned(room, seconds))
    cells = [plan]
    if goal == 0:
        cells += ["-"] * 4
    else:
        ways: list[Callable[[], Told]] = [
            lambda: (None, cost_bound(needs)),
            lambda: by_stays(needs, seconds),
            lambda: by_counts(needs, seconds),
            lambda: by_columns(needs, seconds, goal),
        ]
        cells += [timed(way)[1] for way in ways]
    cells.append(timed(lambda: by_cohorts(needs, seconds))[1])
    return f"| {name} | {len(needs.broods)} | {' | '.join(cells)} |"


def main(given: list[str]) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    every = [*SHIPPED, *MADE]
    parser.add_argument("--room", action="append", choices=every, help="only this one; may be repeated")
    parser.add_argument("--seconds", type=float, default=60.0, help="by the clock, for each way (60)")
    asked = parser.parse_args(given)
    for row in rows(asked.room or every, asked.seconds):
        print(row, flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
