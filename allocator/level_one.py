"""Level 1: nobody without a home with what is there, or with the cheapest addition."""

from collections.abc import Iterable
from time import monotonic

from allocator.model.asking import question
from allocator.model.board import score_of
from allocator.model.bounds import Bound, bounds_of, class_sets, cost_of
from allocator.model.counts import CountBound, count_bound
from allocator.model.improving import budget, is_large, minimise
from allocator.model.in_hand import cost_asked_before
from allocator.model.levels import COST, homeless_outcome, outcome
from allocator.model.mates import let_share, mates_in
from allocator.model.naming import read_solution
from allocator.model.quick import quick_plan
from allocator.model.room_model import CohortModel
from allocator.model.run import PASSES_TO_CHECK, Found, Run
from allocator.model.search import Found as Searched
from allocator.model.search import search
from allocator.model.through_time import ThroughTime, through_time
from allocator.needs import Needs
from allocator.result import FoundBy, NoPlanInTime, Progress

MOST_TRIES_WITH_FEWER = 5
"""So often first fit begins anew with fewer vessels added (judgement)."""

PASSES_OF_A_TRY = 5.0
"""How long such a try takes, and the checks after it, in times that it takes to settle everybody once (judgement)."""

MOST_BROODS_TO_BEGIN_ANEW = 1000
"""In larger rooms that would take minutes."""

MOST_QUESTIONS = 4
"""So many costs are asked for one after another; then the search for the least takes over (judgement)."""


def as_it_is(run: Run) -> Found:
    """Return the best with nothing added: nobody homeless, or the fewest fish-days without a home."""
    found = quick_plan(run, {}, "with what is there")
    if found.score.homeless_fish_days == 0:
        found.levels.append(homeless_outcome(0))
        return found
    model = _model(run, found.needs, adding=False, homeless=True)
    if model is None:
        found.levels.append(homeless_outcome(found.score.homeless_fish_days))
        return found
    minimise(run, model, found, "homeless")
    if (
        found.levels[-1].proven
        and found.score.homeless_fish_days > 0
        and not _confirmed(run, found.needs, cost_below=None)
    ):
        found.levels[-1] = found.levels[-1].model_copy(update={"proven": False})
    return found


def cheapest(run: Run, begin: Found | None = None) -> Found | None:
    """Return the cheapest addition that houses all, or the least homeless where no addition does.

    Parameters
    ----------
    begin
        The best with nothing added, if it is known.
    """
    most = {kind.index: kind.most for kind in run.needs.classes if kind.most}
    try:
        found = quick_plan(run, most, "with tanks added", begin)
    except NoPlanInTime:
        return None  # the answer with what is there stands
    bounds = bounds_of(run.short_on)
    floor = _floor(run, bounds)
    if found.score.homeless_fish_days == 0:
        found = _fewer(run, found, floor)
    if found.score.homeless_fish_days > 0:
        _house_all(run, found, bounds, floor)
    if found.score.homeless_fish_days > 0:
        model = _model(run, found.needs, adding=True, homeless=True)
        if model is not None:
            minimise(run, model, found, "homeless")
        else:
            found.levels.append(homeless_outcome(found.score.homeless_fish_days))
        if found.score.homeless_fish_days > 0:
            return found
        found.levels.clear()
    _prove(run, found, bounds, floor)
    return found


def _model(run: Run, needs: Needs, *, adding: bool, homeless: bool) -> CohortModel | None:
    """Return the constraint model; None in large rooms, where first fit makes more of the time."""
    if is_large(run) and run.effort <= 1:
        return None
    return run.model(needs, adding=adding, homeless=homeless)


def _fewer(run: Run, found: Found, floor: int) -> Found:
    """Begin anew with fewer vessels added, halving what is in doubt, and return the cheapest plan that houses all.

    A vessel that is there from the start is put to better use than one that is opened for whoever is left over.
    """
    if len(run.needs.broods) > MOST_BROODS_TO_BEGIN_ANEW:
        return found
    prices = {kind.index: kind.price for kind in run.needs.classes}
    low = 0.0  # the share of what is added now that is known not to do
    high = 1.0
    asked_before = cost_asked_before(run) or 0
    tried_already = [found.solution.added]
    for _ in range(MOST_TRIES_WITH_FEWER):
        share = (low + high) / 2
        fewer = {index: int(copies * share) for index, copies in found.solution.added.items()}
        cost = sum(prices[index] * copies for index, copies in fewer.items())
        if 0 < cost < asked_before:  # the plan in hand was looked for at that cost already
            low = share
            continue
        if run.tight(PASSES_OF_A_TRY) or cost < max(floor, 1) or fewer in tried_already:
            break
        tried_already.append(fewer)
        try:
            tried = quick_plan(run, fewer, f"is {cost / 100:g} enough?", paid=True)
        except NoPlanInTime:
            break
        if tried.score.homeless_fish_days == 0 and tried.score.added_cost < found.score.added_cost:
            found, low, high = tried, 0.0, 1.0
        else:
            low = share
    return found


def _prove(run: Run, found: Found, bounds: list[Bound], floor: int) -> None:
    """Show that no addition is cheaper, or find one that is; note what is known as the outcome of level 1."""
    looks: list[ThroughTime] = []
    if floor < found.score.added_cost:
        looks = _longer_looks(run, bounds, found)
        bounds += [look.bound for look in looks]
        floor = _floor(run, bounds)
        found.reasons += [look.reason(run.sure) for look in looks if look.bound.short]
    if floor < found.score.added_cost and not run.tight(PASSES_TO_CHECK):
        counted = _counted(run)
        reason = counted.reason(run.sure)
        if counted.cost > floor and reason is not None:
            floor = counted.cost
            found.reasons.append(reason)
    bound = floor
    if floor < found.score.added_cost:
        model = _model(run, found.needs, adding=True, homeless=False)
        if model is not None:
            bound = _ask(run, model, found, bounds, looks, floor)
            if bound < found.score.added_cost:
                bound = max(int(minimise(run, model, found, "cost")), bound)
                found.levels.clear()
    cost = found.score.added_cost
    proven = bound >= cost and (floor >= cost or _confirmed(run, found.needs, cost_below=cost, bounds=bounds))
    found.levels.append(outcome(1, COST, "price", cost / 100, bound / 100, proven=proven))


def _floor(run: Run, bounds: list[Bound]) -> int:
    return cost_of(run.sure, bounds) or 0


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


def _house_all(run: Run, found: Found, bounds: list[Bound], floor: int) -> None:
    """Ask for a plan that houses all: for the least cost that is thinkable, then for whatever it costs."""
    classes = run.sure.classes
    if any(bound.short > sum(classes[index].most for index in bound.classes) for bound in bounds):
        return
    model = _model(run, found.needs, adding=True, homeless=False)
    for cost in (floor, sum(kind.price * kind.most for kind in classes)):
        if model is None or run.over():
            return
        asked = question(model, run.sure, cost, bounds)
        result = search(asked, budget(run, "ask"), stop=run.stop, tell=run.tell("can all be housed?"))
        run.work += result.work
        if _take(run, model, found, result):
            return


def _take(run: Run, model: CohortModel, found: Found, result: Searched) -> bool:
    """Take what a search has found, if it is better; False where it found nothing."""
    if result.value is None:
        return False
    solution = read_solution(model, result.value, run.prefer)
    score = score_of(found.needs, solution.added, solution.settled)
    if score.key() < found.score.key():
        found.give_way(solution, score, FoundBy.SOLVER)
    return True


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
) -> int:
    """Ask for the least cost that is thinkable, then for the next, and so on; return what it costs at least.

    A "no" rules out all that is cheaper than the next cost; a plan ends it, and so does the end of the budget.
    """
    bound = floor
    for _ in range(MOST_QUESTIONS):
        if bound >= found.score.added_cost or run.over():
            break
        if looks and bound == floor and _suggest(run, model, found, bounds, looks, bound):
            break
        asked = question(model, run.sure, bound, bounds)
        result = search(
            asked, budget(run, "ask"), stop=run.stop, tell=run.tell(f"is {bound / 100:g} enough?")
        )
        run.work += result.work
        if _take(run, model, found, result):
            break
        if not result.impossible or found.needs.half_told:
            break
        after = cost_of(run.sure, bounds, above=bound)
        bound = found.score.added_cost if after is None else min(after, found.score.added_cost)
    return bound


def _confirmed(run: Run, needs: Needs, *, cost_below: int | None, bounds: Iterable[Bound] = ()) -> bool:
    """Ask again, another way, whether there really is no cheaper plan (or none at all with nothing added).

    The day-by-day bound is one way; a second solve without presolve is the other, since a solver's "no" has
    been wrong before (a reported fault of presolve).
    """
    if cost_below is None and run.short_on:
        return True
    model = _model(run, needs, adding=cost_below is not None, homeless=False)
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
