"""Which collections to take, of those that need not be taken: what there is room for beside all who must be housed.

The vessels are those of the plan that houses who must be. The quick search comes first, then the solver, one priority
after another. What is taken is housed until it is sold.
"""

from collections.abc import Iterable
from dataclasses import replace
from functools import partial
from math import ceil

from allocator.model.board import score_of
from allocator.model.company import held_back_in
from allocator.model.first_fit import FirstFit
from allocator.model.hints import start_from
from allocator.model.holding_back import hold_back
from allocator.model.improving import budget, is_large
from allocator.model.in_hand import in_hand, told_by
from allocator.model.left_out import Group, groups_of, in_turn
from allocator.model.levels import not_taken_outcome
from allocator.model.naming import Solution, read_solution, trimmed
from allocator.model.option import EASY_PAID, FRUGAL_PAID, Thrift
from allocator.model.quick import SEED, in_company
from allocator.model.room_model import CohortModel
from allocator.model.run import Found, Run
from allocator.model.search import search
from allocator.model.settled import Score
from allocator.needs import BroodNeeds, Needs
from allocator.result import FoundBy, LevelOutcome

# Rounds in which some broods are taken out and settled anew (judgement).
ROUNDS_PER_BROOD = 6
MOST_ROUNDS = 400
ROUNDS_TIMES_BROODS = 100_000

STAGE = "which collections to take"


def choose(run: Run, everyone: Needs, begin: Found, *, solver: bool = True) -> Found:
    """Return a plan that houses who must be as well as one in hand does, and takes what collections it can.

    Parameters
    ----------
    run
        Whose tables are those of the broods that must be housed.
    everyone
        The tables of all broods.
    begin
        The plan of those that must be housed; it stays as it is.
    solver
        Whether the solver is asked too.

    Returns
    -------
    Found
        With the tables of the broods that are housed, the levels of `begin`, and one for the collections.
    """
    own = replace(run, needs=everyone, keep=None, prefer=in_hand(everyone, run.against)[1])
    best = _quick(own, everyone, begin)
    groups = groups_of(everyone.broods)
    bounds = [0] * len(groups)
    earlier = [*begin.earlier, Found(begin.needs, begin.solution, begin.score, begin.by)]
    if solver and best.score.left_out and not is_large(own):
        first = best
        best, bounds = _solve(own, first, groups)
        if best is not first:
            earlier.append(_taken(first))
    run.work, run.cut_short = own.work, own.cut_short
    found = _taken(best)
    found.levels = [*begin.levels, _outcome(groups, best, bounds)]
    found.earlier = earlier
    found.reasons = [*begin.reasons]
    return found


def _outcome(groups: Iterable[Group], best: Found, bounds: Iterable[int]) -> LevelOutcome:
    """Return how many are not taken, and how many cannot be; of those after an open priority nothing is known."""
    number = at_least = 0
    settled_so_far = True
    for group, bound in zip(groups, bounds, strict=True):
        left_out, least = group.left_out(best.solution.settled) // group.each, bound // group.each
        number += left_out
        at_least += min(least, left_out) if settled_so_far else 0
        settled_so_far = settled_so_far and least >= left_out
    return not_taken_outcome(number, at_least)


def _taken(found: Found) -> Found:
    """Return the same plan with the tables of those alone that are housed at some time or must be."""
    housed = {
        brood.name: settled
        for brood, settled in zip(found.needs.broods, found.solution.settled, strict=True)
        if settled.homeless is None or not brood.optional
    }
    needs = found.needs.only(housed)
    solution = trimmed(needs, Solution(tuple(housed.values()), found.solution.added))
    score = score_of(needs, solution.added, solution.settled)
    return Found(needs, solution, score, found.by)


def _worth(score: Score) -> tuple[int, int, int]:
    """Return what counts here, smaller is better: first who must be housed and the cost, then what is left out."""
    return score.homeless_fish_days, score.added_cost, score.left_out


def _found(fit: FirstFit) -> Found:
    return Found(
        fit.needs, Solution(fit.board.solution(), fit.board.added), fit.board.score(), FoundBy.FIRST_FIT
    )


def _quick(run: Run, everyone: Needs, begin: Found) -> Found:
    """Return what the quick search takes."""
    tries = [_beside(run, everyone, begin, thrift) for thrift in (EASY_PAID, FRUGAL_PAID)]
    anew = FirstFit(everyone, begin.solution.added, FRUGAL_PAID)
    if tries[-1].board.score().left_out and anew.run(lambda: not run.over()):
        tries.append(anew)
    fit = min(tries, key=lambda one: one.board.score().key())
    broods = len(everyone.broods)
    rounds = min(MOST_ROUNDS, ROUNDS_PER_BROOD * broods, ROUNDS_TIMES_BROODS // broods)
    tell = run.tell(STAGE)

    def go_on(score: Score) -> bool:
        tell(None, None)
        return score.left_out > 0 and not run.over()

    fit.improve(rounds, SEED, go_on=go_on)
    best = _found(_refilled(run, in_company(run, fit)))
    if _spoils(best, begin):
        best = _found(_fewer(run, everyone, begin) if is_large(run) else _one_by_one(run, everyone, begin))
    carried = _carried(run, everyone, begin)
    return carried if carried is not None and _worth(carried.score) <= _worth(best.score) else best


def _spoils(found: Found, begin: Found) -> bool:
    """Tell whether those who must be housed fare worse than before."""
    return _worth(found.score)[:2] > _worth(begin.score)[:2]


def _refilled(run: Run, fit: FirstFit) -> FirstFit:
    """Return a better room with those that company has put out settled once more; else the same."""
    more = fit.with_tables(fit.needs)
    for brood in sorted(fit.needs.broods, key=in_turn):
        if more.board.settled[brood.index].homeless is not None and not run.over():
            more.board.take(brood.index)
            more.settle(brood)
    more = in_company(run, more)
    return more if _worth(more.board.score()) < _worth(fit.board.score()) else fit


def _fewer(run: Run, everyone: Needs, begin: Found) -> FirstFit:
    """Return who must be housed as in a plan, and beside them in turn who fits of a half; else of a quarter."""
    fit, others = _with_begin(everyone, begin, FRUGAL_PAID)
    many = len(others)
    while True:
        many //= 2
        for place, brood in enumerate(others):
            if place < many and not run.over():
                fit.settle(brood)
            else:
                fit.leave_out(brood)
        fit = in_company(run, fit) if many else fit
        if not many or not _spoils(_found(fit), begin):
            return fit
        fit, _ = _with_begin(everyone, begin, FRUGAL_PAID)


def _carried(run: Run, everyone: Needs, begin: Found) -> Found | None:
    """Return everybody as a plan in hand has them, and in turn who else fits; that is worth more than comfort."""
    if run.against is None:
        return None
    fit = FirstFit(everyone, begin.solution.added)
    fit.carry_on(told_by(fit, run.against))
    return _found(in_company(run, fit))


def _with_begin(everyone: Needs, begin: Found, thrift: Thrift) -> tuple[FirstFit, list[BroodNeeds]]:
    """Return those who must be housed as in a plan, and the others in turn."""
    fit = FirstFit(everyone, begin.solution.added, thrift)
    known = dict(zip((brood.name for brood in begin.needs.broods), begin.solution.settled, strict=True))
    for brood in everyone.broods:
        if brood.name in known:
            fit.board.put(brood.index, known[brood.name])
    return fit, sorted((brood for brood in everyone.broods if brood.name not in known), key=in_turn)


def _beside(run: Run, everyone: Needs, begin: Found, thrift: Thrift) -> FirstFit:
    """Return who must be housed as in a plan, and beside them in turn who fits."""
    fit, others = _with_begin(everyone, begin, thrift)
    for brood in others:
        if run.over():
            fit.leave_out(brood)
        else:
            fit.settle(brood)
    return fit


def _one_by_one(run: Run, everyone: Needs, begin: Found) -> FirstFit:
    """Return who must be housed as in a plan, and beside them in turn who does not hold anybody back for too long."""
    fit, others = _with_begin(everyone, begin, FRUGAL_PAID)
    for brood in others:
        fit.leave_out(brood)
    for brood in [] if is_large(run) else others:
        if run.over():
            break
        fit.board.take(brood.index)
        if fit.settle(brood).homeless is None and not _may_sell_in_time(fit):
            fit.board.take(brood.index)
            fit.leave_out(brood)
    return fit


def _may_sell_in_time(fit: FirstFit) -> bool:
    """Tell whether all fish may stay where they are until they are long enough."""
    solution = Solution(fit.board.solution(), fit.board.added)
    return hold_back(fit.needs, solution, partial(held_back_in, fit.needs)) is not None


def _model(run: Run, begin: Found) -> CohortModel | None:
    """Return the constraint model in which collections may be left out, and nothing that counts more is worse."""
    added, homeless = begin.solution.added, begin.score.homeless_fish_days
    model = run.model(begin.needs, adding=any(added.values()), homeless=homeless > 0, leaving_out=True)
    if model is not None:
        for index, extra in model.extra.items():
            if not isinstance(extra, int):
                model.model.add(extra <= added.get(index, 0))
        if homeless:
            model.model.add(model.objectives["homeless"] <= homeless)
    return model


def _solve(run: Run, begin: Found, groups: tuple[Group, ...]) -> tuple[Found, list[int]]:
    """Ask the solver for fewer that are left out, one priority after another; return also what cannot be less."""
    bounds = [0] * len(groups)
    model = _model(run, begin)
    if model is None:
        return begin, bounds
    best = begin
    spend = budget(run, "collections")
    spend = replace(spend, work=spend.work / len(groups))
    for place, group in enumerate(groups):
        objective = sum(weight * model.dates.gone(index, 0) for index, weight in group.weights.items())
        if group.left_out(best.solution.settled) and not run.over():
            if not start_from(model, best.solution):
                run.note("collections: the model does not allow the plan in hand")
            model.model.minimize(objective)
            result = search(model.model, spend, stop=run.stop, tell=run.tell(STAGE))
            run.work += result.work
            if not (begin.needs.held_back or begin.needs.half_told):
                bounds[place] = max(ceil(result.bound - 1e-6), 0)
            if result.value is not None:
                solution = read_solution(model, result.value, run.prefer)
                score = score_of(begin.needs, solution.added, solution.settled)
                if _worth(score) < _worth(best.score):
                    best = Found(begin.needs, solution, score, FoundBy.SOLVER)
        model.model.add(objective <= group.left_out(best.solution.settled))
    return best, bounds
