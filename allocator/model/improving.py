"""How much each search may spend, and one search that improves on the best so far."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from math import ceil
from types import MappingProxyType

from allocator.model.board import score_of
from allocator.model.hints import start_from
from allocator.model.levels import COUNTED, outcome
from allocator.model.naming import Solution, read_solution
from allocator.model.room_model import CohortModel
from allocator.model.run import Found, Run
from allocator.model.search import Budget, search
from allocator.model.settled import Score
from allocator.model.terms import Expression
from allocator.result import FoundBy

# Deterministic work (the solver's own measure, about a second each on a slow core) that each level may take.
WORK = {
    "homeless": 3.0,
    "count": 1.0,
    "ask": 1.5,
    "by name": 1.6,
    "few": 1.5,
    "cost": 3.0,
    "confirm": 2.5,
    "collections": 3.0,
    "strain": 0.4,
    "change": 0.4,
    "handling": 0.2,
}

MOST_BROODS_FOR_ALL_LEVELS = 60
"""Rooms with more broods than this are large: first fit makes more of the time than the solver, which is not asked
(measured, see docs/explanation/speed.md)."""

BRIEF = {"homeless", "ask", "by name", "few", "cost", "collections", "strain", "change", "handling"}
"""Searches for which the solver prepares in one pass only, unless more effort is wanted; a second opinion is
prepared in another way anyhow."""

WORTH_A_SEARCH = {"strain": 0.95}
"""Where it is known that a search could gain less than a twentieth, it is left out (judgement): it takes as long as
all that came before it. Other searches are left out only where there is nothing to gain."""

Take = Callable[[Found, Solution, Score], None]
"""What becomes of a solution that is better than the best so far."""

NOTHING_KNOWN: Mapping[str, int] = MappingProxyType({})

SHARE_OF_TIME = {
    "homeless": 0.4,
    "count": 0.3,
    "ask": 0.5,
    "by name": 0.5,
    "few": 0.2,
    "cost": 0.6,
    "confirm": 0.7,
    "collections": 0.5,
    "strain": 0.6,
    "change": 0.5,
    "handling": 0.9,
}
"""What part of the time that is left each search may take, where the keeper gave a limit (judgement)."""


def is_large(run: Run) -> bool:
    """Tell whether a room has too many broods for every search without a time limit."""
    return len(run.needs.broods) > MOST_BROODS_FOR_ALL_LEVELS


def budget(run: Run, key: str) -> Budget:
    """Return what a search may spend."""
    return run.budget(run.effort * WORK[key], SHARE_OF_TIME[key], brief=key in BRIEF and run.effort <= 1)


def as_it_stands(found: Found, solution: Solution, score: Score) -> None:
    """Let a better solution of the solver take the place of the best so far."""
    found.give_way(solution, score, FoundBy.SOLVER)


def minimise(
    run: Run,
    model: CohortModel | None,
    found: Found,
    key: str,
    at_least: Mapping[str, int] = NOTHING_KNOWN,
    take: Take = as_it_stands,
) -> float:
    """Minimise what one search counts, keep what is better, cap it for the next and return the bound.

    Parameters
    ----------
    run, found
        What is shared, and the best so far.
    model
        None where there is none: then what is known otherwise is told.
    key
        Of `COUNTED`.
    at_least
        What is known already of each value that is counted: no plan goes below.
    take
        Called with what is better than the best so far.
    """
    bound = 0 if model is None else _searched(run, model, found, key, take)
    _tell(found, key, bound, at_least)
    return float(max(bound, _total(at_least, key)))


def may_gain(found: Found, key: str, at_least: Mapping[str, int]) -> bool:
    """Tell whether a search could still gain something worth its time."""
    return bool(_total(at_least, key) < _reached(found, key) * WORTH_A_SEARCH.get(key, 1))


def _reached(found: Found, key: str) -> int:
    return sum(weight * getattr(found.score, value) for _, _, _, value, weight in COUNTED[key])


def _total(values: Mapping[str, int], key: str) -> int:
    return sum(weight * values.get(value, 0) for _, _, _, value, weight in COUNTED[key])


def cap(model: CohortModel, found: Found, key: str) -> None:
    """Keep what is counted from growing above what is reached."""
    objective = _objective(model, key)
    if not isinstance(objective, int):
        model.model.add(objective <= _reached(found, key))


def _objective(model: CohortModel, key: str) -> Expression:
    terms = {"homeless_fish_days": "homeless", "added_cost": "cost"}
    return sum(weight * model.objectives[terms.get(value, value)] for _, _, _, value, weight in COUNTED[key])


def _searched(run: Run, model: CohortModel, found: Found, key: str, take: Take) -> int:
    """Let the solver minimise, keep what is better, cap it for the next and return the bound."""
    rows = COUNTED[key]
    objective = _objective(model, key)
    if isinstance(objective, int):
        return 0  # nothing that could be counted
    allowed = start_from(model, found.solution)
    if not allowed:
        run.note(f"{key}: the model does not allow the plan in hand")
    model.model.minimize(objective)
    result = search(model.model, budget(run, key), stop=run.stop, tell=run.tell(rows[0][1]))
    run.work += result.work
    bound = max(ceil(result.bound - 1e-6), 0)  # every count is whole; the solver's bound carries float dust
    if model.needs.half_told or (key == "handling" and not allowed):
        bound = 0  # a plan that is not in the model may be better: a sale put off can fall on a day with other moves
    if result.value is not None:
        solution = read_solution(model, result.value, run.prefer)
        score = score_of(model.needs, solution.added, solution.settled)
        score = replace(score, change=result.value(model.objectives["change"]))
        if score.key() <= found.score.key():
            take(found, solution, score)
        # What the model counts may lie above what the plan takes (see `moves_in`), never below.
        model.model.add(objective <= max(_reached(found, key), round(result.objective)))
    return bound


def _tell(found: Found, key: str, bound: int, at_least: Mapping[str, int]) -> None:
    """Note the outcome of each thing that was counted."""
    left = bound
    for level, name, unit, value, weight in COUNTED[key]:
        scale = 100 if value == "added_cost" else 1
        searched, left = divmod(left, weight) if weight > 1 else (left, 0)
        least = max(searched, at_least.get(value, 0))
        reached = getattr(found.score, value)
        met = least >= reached
        found.levels.append(
            outcome(level, name, unit, reached / scale, min(least, reached) / scale, proven=met)
        )
        if not met or searched < reached:
            left = 0  # nothing is known of a lower count while the search leaves it open whether a higher one may fall
