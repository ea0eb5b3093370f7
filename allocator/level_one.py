"""Level 1: nobody without a home with what is there, or with the cheapest addition."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import partial
from time import monotonic

from allocator.model.asking import question
from allocator.model.board import score_of
from allocator.model.bounds import Bound, bounds_of, class_sets, cost_of
from allocator.model.counts import CountBound, count_bound
from allocator.model.improving import budget, is_large, minimise
from allocator.model.in_hand import cost_asked_before
from allocator.model.levels import COST, homeless_outcome, outcome
from allocator.model.mates import let_share, mates_in
from allocator.model.naming import Solution, read_solution
from allocator.model.quick import in_company_as, quick_plan
from allocator.model.room_model import CohortModel
from allocator.model.run import PASSES_TO_CHECK, Found, Run
from allocator.model.search import Begun, search
from allocator.model.search import Found as Searched
from allocator.model.settled import Score
from allocator.model.through_time import ThroughTime, through_time
from allocator.result import NoPlanInTime, Progress

MOST_TRIES_WITH_FEWER = 5
"""So often first fit begins anew with fewer vessels added (judgement)."""

PASSES_OF_A_TRY = 5.0
"""How long such a try takes, and the checks after it, in times that it takes to settle everybody once (judgement)."""

MOST_BROODS_TO_BEGIN_ANEW = 1000
"""In larger rooms that would take minutes."""

MOST_QUESTIONS = 4
"""So many costs are asked for one after another; then the search for the least takes over (judgement)."""

MOST_BROODS_FOR_FEWEST = 20
"""In larger rooms the search for the fewest fish without a home ends on its budget, and is left out where tanks can be
added, which is what the keeper wants to know (measured, see docs/explanation/formulations.md)."""

MOST_BROODS_FOR_LEAST = 20
"""In larger rooms the search for the least cost is left out where a question had no answer: it has none then either
(measured, see docs/explanation/formulations.md)."""


@dataclass
class _Early:
    """The question whether the least that is thinkable is enough, asked while first fit looks for what to add.

    The solver leaves Python alone meanwhile, so that on two cores the answer costs no time.
    """

    model: CohortModel
    cost: int
    begun: Begun

    def answer(self, run: Run) -> Searched:
        """Wait for the answer."""
        found = self.begun.found(run.stop, run.tell(f"is {self.cost / 100:g} enough?"))
        run.work += found.work
        return found


def as_it_is(run: Run) -> Found:
    """Return the best with nothing added: nobody homeless, or the fewest fish-days without a home."""
    found = quick_plan(run, {}, "with what is there")
    if found.score.homeless_fish_days == 0:
        found.levels.append(homeless_outcome(0))
        return found
    model = _model(run, adding=False, homeless=True) if _fewest_are_sought(run) else None
    if model is None:
        found.levels.append(homeless_outcome(found.score.homeless_fish_days))
        return found
    minimise(run, model, found, "homeless", take=partial(_take_borne, run))
    if (
        found.levels[-1].proven
        and found.score.homeless_fish_days > 0
        and not _confirmed(run, cost_below=None)
    ):
        found.levels[-1] = found.levels[-1].model_copy(update={"proven": False})
    return found


def _fewest_are_sought(run: Run) -> bool:
    """Tell whether the solver is asked for the fewest fish without a home with what is there."""
    can_add = any(kind.most for kind in run.needs.classes)
    return not can_add or len(run.needs.broods) <= MOST_BROODS_FOR_FEWEST or run.effort > 1


def cheapest(run: Run, begin: Found | None = None) -> Found | None:
    """Return the cheapest addition that houses all, or the least homeless where no addition does.

    Parameters
    ----------
    begin
        The best with nothing added, if it is known.
    """
    bounds = bounds_of(run.short_on)
    floor = _floor(run, bounds)
    early = _ask_early(run, bounds, floor)
    try:
        return _cheapest(run, begin, bounds, floor, early)
    except NoPlanInTime:
        return None  # the answer with what is there stands
    finally:
        if early is not None:
            early.begun.drop()


def _ask_early(run: Run, bounds: list[Bound], floor: int) -> _Early | None:
    """Begin to ask whether the least cost that is thinkable is enough; None in large rooms."""
    model = None if run.over() else _model(run, adding=True, homeless=False)
    if model is None:
        return None
    return _Early(model, floor, Begun(question(model, run.sure, floor, bounds), budget(run, "ask")))


def _cheapest(run: Run, begin: Found | None, bounds: list[Bound], floor: int, early: _Early | None) -> Found:
    most = {kind.index: kind.most for kind in run.needs.classes if kind.most}
    found = quick_plan(run, most, "with tanks added", begin)
    if found.score.homeless_fish_days == 0:
        found = _fewer(run, found, floor)
    if found.score.homeless_fish_days > 0:
        _house_all(run, found, bounds, early)
    if found.score.homeless_fish_days > 0:
        model = _model(run, adding=True, homeless=True)
        if model is not None:
            minimise(run, model, found, "homeless", take=partial(_take_borne, run))
        else:
            found.levels.append(homeless_outcome(found.score.homeless_fish_days))
        if found.score.homeless_fish_days > 0:
            return found
        found.levels.clear()
    _prove(run, found, bounds, floor, early)
    return found


def _model(run: Run, *, adding: bool, homeless: bool) -> CohortModel | None:
    """Return the constraint model; None in large rooms, where first fit makes more of the time.

    It is made of the tables to begin with, in which company mostly holds nobody back: what it rules out then, no plan
    can do.
    """
    if is_large(run) and run.effort <= 1:
        return None
    return run.model(run.needs, adding=adding, homeless=homeless)


def _fewer(run: Run, found: Found, floor: int) -> Found:
    """Begin anew with fewer vessels added, and return the cheapest plan that houses all.

    A vessel that is there from the start is put to better use than one that is opened for whoever is left over.
    """
    if len(run.needs.broods) > MOST_BROODS_TO_BEGIN_ANEW:
        return found
    prices = {kind.index: kind.price for kind in run.needs.classes}
    least = max(floor, cost_asked_before(run) or 0, 1)  # the plan in hand was looked for at less already
    tries = _Fewer(found.solution.added, prices)
    for _ in range(MOST_TRIES_WITH_FEWER):
        fewer = tries.next(least)
        if fewer is None or run.tight(PASSES_OF_A_TRY):
            break
        cost = sum(prices[index] * copies for index, copies in fewer.items())
        try:
            tried = quick_plan(run, fewer, f"is {cost / 100:g} enough?", paid=True)
        except NoPlanInTime:
            break
        if tried.score.homeless_fish_days == 0 and tried.score.added_cost < found.score.added_cost:
            found = tried
            tries.does(found.solution.added)
    return found


class _Fewer:
    """What to try next in place of the vessels that are added: half of what is in doubt, then one less of a class.

    The dearest class comes first.
    """

    def __init__(self, added: dict[int, int], prices: dict[int, int]) -> None:
        self._prices = prices
        self._tried: list[dict[int, int]] = []
        self.does(added)

    def does(self, added: dict[int, int]) -> None:
        """Note what is known to do."""
        self._added = {index: copies for index, copies in added.items() if copies}
        self._low = 0.0  # the share of it that is known not to do

    def next(self, least: int) -> dict[int, int] | None:
        """Return what to try, of such a cost at least; None where there is nothing left."""
        share = (self._low + 1) / 2
        if max(self._added.values(), default=0) * (1 - share) >= 1:
            self._low = share
            halved = {index: int(copies * share) for index, copies in self._added.items()}
            if self._is_new(halved, least):
                return halved
            return self.next(least)
        for index in sorted(self._added, key=lambda index: (-self._prices[index], index)):
            one_less = self._added | {index: self._added[index] - 1}
            if self._is_new(one_less, least):
                return one_less
        return None

    def _is_new(self, added: dict[int, int], least: int) -> bool:
        added = {index: copies for index, copies in added.items() if copies}
        cost = sum(self._prices[index] * copies for index, copies in added.items())
        if cost < least or added in self._tried:
            return False
        self._tried.append(added)
        return True


def _prove(run: Run, found: Found, bounds: list[Bound], floor: int, early: _Early | None) -> None:
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
    if floor < found.score.added_cost and early is not None:
        bound, answered = _ask(run, early, found, bounds, looks, floor)
        if bound < found.score.added_cost and (answered or _least_is_sought(run)):
            least = minimise(run, early.model, found, "cost", take=partial(_take_borne, run))
            bound = max(int(least), bound)
            found.levels.clear()
    cost = found.score.added_cost
    if bound > floor and not _confirmed(run, cost_below=min(bound, cost), bounds=bounds):
        bound = floor
    proven = bound >= cost
    if run.needs is run.sure:
        found.at_least["added_cost"] = min(bound, cost)
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


def _house_all(run: Run, found: Found, bounds: list[Bound], early: _Early | None) -> None:
    """Ask for a plan that houses all: for the least cost that is thinkable, then for whatever it costs."""
    classes = run.sure.classes
    if early is None or any(
        bound.short > sum(classes[index].most for index in bound.classes) for bound in bounds
    ):
        return
    if _take(run, early.model, found, early.answer(run)) or run.over():
        return
    asked = question(early.model, run.sure, sum(kind.price * kind.most for kind in classes), bounds)
    result = search(asked, budget(run, "ask"), stop=run.stop, tell=run.tell("can all be housed?"))
    run.work += result.work
    _take(run, early.model, found, result)


def _least_is_sought(run: Run) -> bool:
    """Tell whether the solver looks for the least cost even after a question that it had no answer to."""
    return len(run.needs.broods) <= MOST_BROODS_FOR_LEAST or run.effort > 1


def _take(run: Run, model: CohortModel, found: Found, result: Searched) -> bool:
    """Take what a search has found, if it is better; False where it found nothing."""
    if result.value is None:
        return False
    solution = read_solution(model, result.value, run.prefer)
    score = score_of(model.needs, solution.added, solution.settled)
    if score.key() < found.score.key():
        _take_borne(run, found, solution, score)
    return True


def _take_borne(run: Run, found: Found, solution: Solution, _score: Score) -> None:
    """Take a solution of the solver as company leaves it, if it is better even so."""
    borne = in_company_as(run, run.needs, solution, "with who is held back by company")
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
    run: Run, early: _Early, found: Found, bounds: list[Bound], looks: list[ThroughTime], floor: int
) -> tuple[int, bool]:
    """Ask for the least cost that is thinkable, then for the next, and so on; return what it costs at least.

    A "no" rules out all that is cheaper than the next cost; a plan ends it, and so does the end of the budget, or a next
    cost so near that it would take many of them. It is returned too whether the last question had an answer.
    """
    model, bound = early.model, floor
    dearest = max(kind.price for kind in run.needs.classes)
    for _ in range(MOST_QUESTIONS):
        if bound >= found.score.added_cost or run.over():
            break
        if looks and bound == floor and _suggest(run, model, found, bounds, looks, bound):
            break
        result = early.answer(run) if bound == early.cost else _asked(run, model, bound, bounds)
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


def _confirmed(run: Run, *, cost_below: int | None, bounds: Iterable[Bound] = ()) -> bool:
    """Ask again, another way, whether there really is no cheaper plan (or none at all with nothing added).

    The day-by-day bound is one way; a second solve without presolve is the other, since a solver's "no" has
    been wrong before (a reported fault of presolve).
    """
    if cost_below is None and run.short_on:
        return True
    model = _model(run, adding=cost_below is not None, homeless=False)
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
