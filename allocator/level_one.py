"""Level 1: nobody without a home with what is there, or with the cheapest addition."""

from functools import partial

from allocator.asked_by_name import ask_by_name, least_by_name, least_for_those_here, may_ask_by_name
from allocator.least_cost import (
    confirmed,
    floor_of,
    house_all,
    least_is_sought,
    model_of,
    note_cost,
    prove,
    take_borne,
)
from allocator.model.bounds import bounds_of, cost_of
from allocator.model.few_anew import settle_few_anew
from allocator.model.fewer import Fewer
from allocator.model.improving import minimise
from allocator.model.in_hand import cost_asked_before
from allocator.model.levels import homeless_outcome
from allocator.model.quick import quick_plan
from allocator.model.run import Found, Run
from allocator.result import NoPlanInTime

MOST_TRIES_WITH_FEWER = 5
"""So often first fit begins anew with fewer vessels added (judgement)."""

PASSES_OF_A_TRY = 5.0
"""How long such a try takes, and the checks after it, in times that it takes to settle everybody once (judgement)."""

MOST_BROODS_TO_BEGIN_ANEW = 1000
"""In larger rooms that would take minutes."""

MOST_BROODS_FOR_FEWEST = 20
"""In larger rooms the search for the fewest fish without a home ends on its budget, and is left out where tanks can be
added, which is what the keeper wants to know (measured, see docs/explanation/formulations.md)."""


def as_it_is(run: Run) -> Found:
    """Return the best with nothing added: nobody homeless, or the fewest fish-days without a home."""
    found = quick_plan(run, {}, "with what is there")
    if not run.short_on:
        found = settle_few_anew(run, found, {}, "with what is there")
    if found.score.homeless_fish_days == 0:
        found.levels.append(homeless_outcome(0))
        return found
    if may_ask_by_name(run) and not run.short_on:
        enough = ask_by_name(run, found, 0)
        if enough:
            found.levels.append(homeless_outcome(0))
            return found
        run.too_little = -1 if enough is None else 0
    model = model_of(run, adding=False, homeless=True) if _fewest_are_sought(run) else None
    if model is None:
        found.levels.append(homeless_outcome(found.score.homeless_fish_days))
        return found
    minimise(run, model, found, "homeless", take=partial(take_borne, run))
    if found.levels[-1].proven and found.score.homeless_fish_days > 0 and not confirmed(run, cost_below=None):
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
    floor = max(floor_of(run, bounds), cost_of(run.sure, bounds, above=run.too_little) or 0)
    most = {kind.index: kind.most for kind in run.needs.classes if kind.most}
    by_name = may_ask_by_name(run)
    try:
        found = quick_plan(run, most, "with tanks added", begin, brief=by_name)
    except NoPlanInTime:
        return None  # the answer with what is there stands
    if not by_name and floor < found.score.added_cost:
        floor = least_for_those_here(run, bounds, floor)
    if not by_name and found.score.homeless_fish_days == 0:
        found = _fewer(run, found, floor)
    if by_name and found.score.homeless_fish_days > 0:
        ask_by_name(run, found, sum(kind.price * kind.most for kind in run.sure.classes))
    elif found.score.homeless_fish_days > 0:
        house_all(run, found, bounds, floor)
    if found.score.homeless_fish_days > 0:
        found = _fewest(run, found)
        if found.score.homeless_fish_days > 0:
            return found
        found.levels.clear()
    if by_name:
        floor = least_by_name(run, found, bounds, floor)
    if by_name and floor < found.score.added_cost and not least_is_sought(run):
        found = _fewer(run, found, floor)
        note_cost(run, found, floor)
    else:
        prove(run, found, bounds, floor)
    return found


def _fewest(run: Run, found: Found) -> Found:
    """Return the least homeless with all that may be added, where not even that houses all."""
    model = model_of(run, adding=True, homeless=True)
    if model is not None:
        minimise(run, model, found, "homeless", take=partial(take_borne, run))
    else:
        found.levels.append(homeless_outcome(found.score.homeless_fish_days))
    return found


def _fewer(run: Run, found: Found, floor: int) -> Found:
    """Begin anew with fewer vessels added, and return the cheapest plan that houses all.

    A vessel that is there from the start is put to better use than one that is opened for whoever is left over.
    """
    if len(run.needs.broods) > MOST_BROODS_TO_BEGIN_ANEW:
        return found
    prices = {kind.index: kind.price for kind in run.needs.classes}
    least = max(floor, cost_asked_before(run) or 0, 1)  # the plan in hand was looked for at less already
    tries = Fewer(found.solution.added, prices)
    for _ in range(MOST_TRIES_WITH_FEWER):
        fewer = tries.next(least)
        if fewer is None or run.tight(PASSES_OF_A_TRY):
            break
        cost = sum(prices[index] * copies for index, copies in fewer.items())
        try:
            tried = quick_plan(run, fewer, stage := f"is {cost / 100:g} enough?", paid=True)
            tried = settle_few_anew(run, tried, fewer, stage)
        except NoPlanInTime:
            break
        if tried.score.homeless_fish_days == 0 and tried.score.added_cost < found.score.added_cost:
            found = tried
            tries.does(found.solution.added)
    return found
