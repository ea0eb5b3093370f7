"""Show that no addition is cheaper than the one that is found, or find one that is."""

from collections.abc import Iterable
from functools import partial
from time import monotonic

from allocator.model.asking import question
from allocator.model.board import score_of
from allocator.model.bounds import Bound, class_sets, cost_of
from allocator.model.counts import CountBound, count_bound
from allocator.model.improving import budget, is_large, minimise
from allocator.model.levels import COST, outcome
from allocator.model.mates import let_share, mates_in
from allocator.model.naming import Solution, read_solution
from allocator.model.quick import in_company_as
from allocator.model.room_model import CohortModel
from allocator.model.run import PASSES_TO_CHECK, Found, Run
from allocator.model.search import Found as Searched
from allocator.model.search import search
from allocator.model.settled import Score
from allocator.model.through_time import ThroughTime, through_time
from allocator.result import Progress

MOST_QUESTIONS = 4
"""So many costs are asked for one after another; then the search for the least takes over (judgement)."""

MOST_BROODS_FOR_LEAST = 20
"""In larger rooms the search for the least cost is left out where a question had no answer: it has none then either
(measured, see docs/explanation/formulations.md)."""


def model_of(run: Run, *, adding: bool, homeless: bool) -> CohortModel | None:
    """Return the constraint model; None in large rooms, where first fit makes more of the time.

    It is made of the tables to begin with, in which company mostly holds nobody back: what it rules out then, no plan
    can do.
    """
    if is_large(run) and run.effort <= 1:
        return None
    return run.model(run.needs, adding=adding, homeless=homeless)


def floor_of(run: Run, bounds: list[Bound]) -> int:
    """Return what must be spent at least by what is known, in hundredths."""
    return cost_of(run.sure, bounds) or 0


def house_all(run: Run, found: Found, bounds: list[Bound], floor: int) -> None:
    """Ask for a plan that houses all: for the least cost that is thinkable, then for whatever it costs."""
    classes = run.sure.classes
    if any(bound.short > sum(classes[index].most for index in bound.classes) for bound in bounds):
        return
    model = model_of(run, adding=True, homeless=False)
    for cost in (floor, sum(kind.price * kind.most for kind in classes)):
        if model is None or run.over() or _take(run, model, found, _asked(run, model, cost, bounds)):
            return


def prove(run: Run, found: Found, bounds: list[Bound], floor: int) -> None:
    """Show that no addition is cheaper, or find one that is; note what is known as the outcome of level 1."""
    looks: list[ThroughTime] = []
    if floor < found.score.added_cost:
        looks = _longer_looks(run, bounds, found)
        bounds += [look.bound for look in looks]
        floor = max(floor, floor_of(run, bounds))
        found.reasons += [look.reason(run.sure) for look in looks if look.bound.short]
    if floor < found.score.added_cost and not run.tight(PASSES_TO_CHECK):
        counted = _counted(run)
        reason = counted.reason(run.sure)
        if counted.cost > floor and reason is not None:
            floor = counted.cost
            found.reasons.append(reason)
    bound = floor
    model = model_of(run, adding=True, homeless=False) if floor < found.score.added_cost else None
    if model is not None:
        bound, answered = _ask(run, model, found, bounds, looks, floor)
        if bound < found.score.added_cost and (answered or least_is_sought(run)):
            bound = max(int(minimise(run, model, found, "cost", take=partial(take_borne, run))), bound)
            found.levels.clear()
    cost = found.score.added_cost
    if bound > floor and not confirmed(run, cost_below=min(bound, cost), bounds=bounds):
        bound = floor
    note_cost(run, found, bound)


def note_cost(run: Run, found: Found, bound: int) -> None:
    """Note the outcome of level 1 where all are housed: what it costs, and what it costs at least, in hundredths."""
    cost = found.score.added_cost
    if run.needs is run.sure:
        found.at_least["added_cost"] = min(bound, cost)
    found.levels.append(outcome(1, COST, "price", cost / 100, bound / 100))


def _counted(run: Run) -> CountBound:
    """Return what must be spent at least by counting how many vessels are in use, whatever the dates."""
    spend = budget(run, "count")
    end = None if spend.seconds is None else monotonic() + spend.seconds
    run.progress(Progress(stage="how many tanks at least?", seconds=monotonic() - run.started))
    counted = count_bound(
        run.sure,
        budget=spend.work,
        go_on=lambda: not run.tight(PASSES_TO_CHECK) and (end is None or monotonic() < end),
    )
    run.work += counted.work
    return counted


def _suggest(
    run: Run, model: CohortModel, found: Found, bounds: list[Bound], looks: list[ThroughTime], cost: int
) -> bool:
    """Ask with a suggestion who might share a vessel with whom; tell whether that found a plan."""
    asked = question(model, run.sure, cost, bounds)
    sharing = [mates_in(look, look.there + look.bound.short, budget(run, "ask"), run.stop) for look in looks]
    if not any(sharing):
        return False
    for groups in sharing:
        let_share(asked, model, groups or [])
    result = search(asked, budget(run, "ask"), stop=run.stop, tell=run.tell(f"is {cost / 100:g} enough?"))
    run.work += result.work
    return _take(run, model, found, result)


def least_is_sought(run: Run) -> bool:
    """Tell whether the solver looks for the least cost even after a question that it had no answer to."""
    return len(run.needs.broods) <= MOST_BROODS_FOR_LEAST or run.effort > 1


def _take(run: Run, model: CohortModel, found: Found, result: Searched) -> bool:
    """Take what a search has found, if it is better; False where it found nothing."""
    if result.value is None:
        return False
    solution = read_solution(model, result.value, run.prefer)
    score = score_of(model.needs, solution.added, solution.settled)
    if score.key() < found.score.key():
        take_borne(run, found, solution, score)
    return True


def take_borne(run: Run, found: Found, solution: Solution, _score: Score) -> None:
    """Take a solution of the solver as company leaves it, if it is better even so."""
    _, borne = in_company_as(run, run.needs, solution, "in what company")
    if borne.score.key() < found.score.key():
        found.give_way(borne.solution, borne.score, borne.by, borne.needs)


def _longer_looks(run: Run, bounds: list[Bound], found: Found) -> list[ThroughTime]:
    """Return what whole stays say of the vessels to add, where single days say less than what is found."""
    more = []
    for classes in class_sets(run.sure):
        copies = sum(run.sure.classes[index].copies for index in classes)
        added = sum(found.solution.added.get(index, 0) for index in classes)
        known = max((bound.short for bound in bounds if bound.classes <= classes), default=0)
        if known < added:
            longer = through_time(
                run.sure, classes, enough=copies + added, go_on=lambda: not run.tight(PASSES_TO_CHECK)
            )
            if longer is not None and longer.bound.short >= max(known, 1):
                more.append(longer)
    return more


def _ask(
    run: Run, model: CohortModel, found: Found, bounds: list[Bound], looks: list[ThroughTime], floor: int
) -> tuple[int, bool]:
    """Ask for the least cost that is thinkable, then for the next, and so on; return what it costs at least.

    A "no" rules out all that is cheaper than the next cost; a plan ends it, and so does the end of the budget, or a next
    cost so near that it would take many of them. It is returned too whether the last question had an answer.
    """
    bound = floor
    dearest = max(kind.price for kind in run.needs.classes)
    for _ in range(MOST_QUESTIONS):
        if bound >= found.score.added_cost or run.over():
            break
        if looks and bound == floor and _suggest(run, model, found, bounds, looks, bound):
            break
        result = _asked(run, model, bound, bounds)
        if _take(run, model, found, result):
            break
        if not result.impossible or run.needs.half_told:
            return bound, False
        before, after = bound, cost_of(run.sure, bounds, above=bound)
        bound = found.score.added_cost if after is None else min(after, found.score.added_cost)
        if bound - before < dearest:
            break
    return bound, True


def _asked(run: Run, model: CohortModel, cost: int, bounds: list[Bound]) -> Searched:
    """Ask whether so much is enough."""
    result = search(
        question(model, run.sure, cost, bounds),
        budget(run, "ask"),
        stop=run.stop,
        tell=run.tell(f"is {cost / 100:g} enough?"),
    )
    run.work += result.work
    return result


def confirmed(run: Run, *, cost_below: int | None, bounds: Iterable[Bound] = ()) -> bool:
    """Ask again, another way, whether there really is no cheaper plan (or none at all with nothing added).

    The day-by-day bound is one way; a second solve without presolve is the other, since a solver's "no" has
    been wrong before (a reported fault of presolve).
    """
    if cost_below is None and run.short_on:
        return True
    model = model_of(run, adding=cost_below is not None, homeless=False)
    if model is None:
        return False
    asked = model.model if cost_below is None else question(model, run.sure, cost_below - 1, bounds)
    again = search(
        asked,
        budget(run, "confirm"),
        stop=run.stop,
        tell=run.tell("making sure that no cheaper plan exists"),
        presolve=False,
    )
    run.work += again.work
    return again.impossible
