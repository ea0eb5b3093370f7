"""Small random rooms, answered by the planner and in other ways that share nothing with it.

`python tests/agreement.py --rooms 2000 --seed 0` prints what was compared, how often, and every disagreement.
For each room level 1 is compared: fish-days without a home with what is there, then the cost of added vessels (or
who is left without a home even so). The others are: trying everything (`brute_force`, `parted_rooms`) and HiGHS
(`plain_milp`). The checker looks at every plan again; every room is planned twice; the bounds are held against it.

A brood's share of a vessel is rounded up to a hundredth of a percent by the planner, so that it never fills a vessel to
the very last with several broods. Where HiGHS does better it is asked again with shares rounded up the same way.

Where a brood may change vessel within a stage, the others know fewer plans: there the planner must be no worse.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import inf
from time import monotonic
from typing import TextIO

from brute_force import best_of
from parted_rooms import least_parted, parted_room
from plain_milp import least
from tiny_rooms import tiny_room

from allocator.check import check_plan
from allocator.model.bounds import cost_bound
from allocator.model.counts import CountBound, count_bound
from allocator.needs import needs_of
from allocator.planner import PlannerFault, plan_room
from allocator.result import Answer, Result
from allocator.room import Room

Least = Callable[[bool, bool], float]
"""Least at level 1, by whether vessels may be added and whether somebody may be without a home."""

HIGHS = "HiGHS"
STEP = 1e-4
NO_HOME = "fish without a home"
WORK_OF_COUNTS = 2.0


@dataclass(frozen=True)
class Case:
    """A room, and who else answers for it."""

    name: str
    room: Room
    others: tuple[tuple[str, Least], ...]
    rounded: Least | None = None


def case_of(seed: int) -> Case:
    """Return one room: of four kinds in turn."""
    kind = seed % 4
    if kind == 0:
        room = tiny_room(seed, slow=False)
        others = (("trying everything", _tried(room)), (HIGHS, _rows(room)))
        return Case(f"tiny {seed}", room, others, _rows(room, STEP))
    if kind == 1:
        room = tiny_room(seed, slow=False, most=5)
        return Case(f"up to five broods {seed}", room, ((HIGHS, _rows(room)),), _rows(room, STEP))
    if kind == 2:
        room = tiny_room(seed)
        return Case(f"tiny and slow {seed}", room, (("trying everything", _tried(room)),))
    room = parted_room(seed)
    return Case(f"parted {seed}", room, (("trying everything in parts", _parted(room)),))


def _tried(room: Room) -> Least:
    def ask(adding: bool, homeless: bool) -> float:  # noqa: FBT001
        found = best_of(room, adding=adding, homeless=homeless)
        return inf if found is None else found["homeless" if homeless else "cost"]

    return ask


def _rows(room: Room, step: float = 0.0) -> Least:
    def ask(adding: bool, homeless: bool) -> float:  # noqa: FBT001
        found = least(room, adding=adding, homeless=homeless, step=step)
        return inf if found is None else found

    return ask


def _parted(room: Room) -> Least:
    return lambda adding, homeless: least_parted(room, adding=adding, homeless=homeless)


def may_shift(room: Room) -> bool:
    """Tell whether a brood may change vessel within a stage, other than those shared out in `parted_rooms`."""
    return any(phase.optional for brood in needs_of(room).broods for phase in brood.phases)


def compared(case: Case, tally: Counter[str]) -> Iterator[str]:
    """Yield what disagrees in one room, and count what was compared."""
    try:
        result, again = plan_room(case.room), plan_room(case.room)
    except PlannerFault as fault:
        yield f"the checker does not agree: {fault}"
        return
    for answer in (result.best, result.as_it_is):
        tally["plans checked"] += 1
        if check_plan(result.room, answer.plan):
            yield "the checker does not agree"
    tally["planned twice"] += 1
    if (result.best.plan, result.as_it_is.plan) != (again.best.plan, again.as_it_is.plan):
        yield "another plan the second time"
    yield from _bounds(case.room, result, tally)
    one_sided = case.name.startswith(("tiny", "up to")) and may_shift(case.room)
    for name, ask in case.others:
        found = list(_level_one(name, ask, result, tally, one_sided=one_sided))
        if found and name == HIGHS and case.rounded is not None:
            tally["HiGHS: asked again with shares rounded up"] += 1
            found = list(_level_one(name, case.rounded, result, tally, one_sided=one_sided))
        yield from found


def _bounds(room: Room, result: Result, tally: Counter[str]) -> Iterator[str]:
    """Yield bounds that are above what a plan costs."""
    needs = needs_of(room)
    counts, days = count_bound(needs, budget=WORK_OF_COUNTS), cost_bound(needs)
    first = result.best.levels[0]
    if first.name == NO_HOME and first.value > 0:
        tally["bounds: nothing to compare, somebody has no home"] += 1
        return
    cost = 0 if first.name == NO_HOME else round(first.value * 100)
    for name, bound in (("counts", counts), ("single days", CountBound(days))):
        tally[f"bounds: {name} no higher than the cost"] += 1
        tally[f"bounds: {name} show the whole cost (not 0)"] += int(bound.cost == cost > 0)
        if bound.impossible or bound.cost > cost:
            yield f"{name} show {bound.cost} ({bound.impossible=}), a plan costs {cost}"
    tally["bounds: counts above single days"] += counts.cost > days


def _level_one(
    name: str, ask: Least, result: Result, tally: Counter[str], *, one_sided: bool
) -> Iterator[str]:
    """Yield where level 1 is not what another finds."""
    homeless = ask(False, True)
    yield from _same(f"{name}, with what is there", result.as_it_is, homeless, tally, one_sided=one_sided)
    if one_sided or homeless == 0:
        return
    cost = ask(True, False)
    if cost < inf:
        if result.best.levels[0].name == NO_HOME:
            yield f"{name} houses all for {cost}, the planner does not"
            return
        yield from _same(f"{name}, cost", result.best, cost / 100, tally, one_sided=False)
    else:
        yield from _same(f"{name}, with all added", result.best, ask(True, True), tally, one_sided=False)


def _same(what: str, answer: Answer, exact: float, tally: Counter[str], *, one_sided: bool) -> Iterator[str]:
    found = answer.levels[0]
    if one_sided:
        tally[f"{what}: no worse (one-sided)"] += 1
        agree = found.value <= exact
    elif found.proven:
        tally[f"{what}: equal"] += 1
        agree = found.value == exact
    else:
        tally[f"{what}: not proven, between bound and value (one-sided)"] += 1
        agree = found.bound <= exact <= found.value
    if not agree:
        yield f"{what}: {exact}, planner {found.value} (best possible {found.bound}, proven {found.proven})"


def run(
    rooms: int, seed: int, seconds: float = inf, tell: Callable[[str], None] = lambda _: None
) -> tuple[int, Counter[str], list[str]]:
    """Compare so many rooms from a seed on; return how many were done, what was compared, and what disagrees."""
    tally: Counter[str] = Counter()
    disagree: list[str] = []
    started, done = monotonic(), 0
    for number in range(seed, seed + rooms):
        if monotonic() - started > seconds:
            break
        case = case_of(number)
        for text in compared(case, tally):
            disagree.append(f"{case.name}: {text}")
            tell(disagree[-1])
        done += 1
        if done % 100 == 0:
            tell(f"{done} rooms, {monotonic() - started:.0f} s")
    return done, tally, disagree


def say(text: str, where: TextIO = sys.stdout) -> None:
    """Print a line at once."""
    where.write(text + "\n")
    where.flush()


def main() -> int:
    """Compare rooms and print what came of it; the exit code is 1 where anything disagrees."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rooms", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument(
        "--seconds", type=float, default=inf, help="end after the room in which these are over"
    )
    asked = parser.parse_args()
    started = monotonic()
    done, tally, disagree = run(asked.rooms, asked.seed, asked.seconds, lambda text: say(text, sys.stderr))
    say(f"{done} rooms in {monotonic() - started:.0f} s, {len(disagree)} disagreements")
    for what, count in sorted(tally.items()):
        say(f"{count:7d}  {what}")
    return 1 if disagree else 0


if __name__ == "__main__":
    raise SystemExit(main())
