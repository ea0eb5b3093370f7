"""Levels 2 to 4: a level 1 answer made more comfortable, like the plan in hand, and less work."""

from collections.abc import Mapping
from dataclasses import replace

from allocator.model.easing import ease
from allocator.model.improving import cap, is_large, may_gain, minimise
from allocator.model.in_hand import change_by_name
from allocator.model.least_work import least_handlings, least_move_days, least_vessel_days
from allocator.model.levels import COUNTED
from allocator.model.naming import renamed
from allocator.model.room_model import CohortModel
from allocator.model.run import Found, Run
from allocator.model.sweep import MOST_STATES, least_strain
from allocator.needs import with_held_back

MOST_BROODS = {"strain": 20, "handling": 15}
"""In rooms with more broods the budget of these searches is used up before they begin: they found nothing in any room of
more that was looked at (see docs/explanation/formulations.md). There first fit goes on instead: see `ease`."""

MOST_BROODS_TO_COUNT = 1000
"""In larger rooms it takes too long to tell what no plan can do without."""

MOST_BROODS_TO_EASE = 1000
"""In a larger room a round changes too little: 2,000 of them took 330 s on one of 5,000 broods, for 101 points of
6,128,245 (measured)."""

STATES_OF_LARGE_ROOMS = 100
"""More show no more there (measured on three club rooms)."""


def finish(run: Run, found: Found, *, adding: bool) -> None:
    """Improve a level 1 answer by strain, change and handling, one after another."""
    keys = ["strain", *(["change"] if run.keep is not None else []), "handling"]
    at_least = found.at_least = {**found.at_least, **_at_least(run, found, adding=adding)}
    small_enough = len(found.needs.broods) <= MOST_BROODS_TO_EASE
    if run.keep is None and small_enough and may_gain(found, "strain", at_least):
        ease(run, found)
    searched = [key for key in keys if _worth_it(run, found, key, at_least)]
    model = _model(run, found, adding=adding) if searched else None
    for key in keys:
        minimise(run, model if key in searched and not run.over() else None, found, key, at_least)
        if model is not None and key not in searched:
            cap(model, found, key)
    if run.keep is not None:
        _keep_names(run, found)
    elif not searched and not is_large(run):
        found.solution = renamed(found.needs, found.solution, run.prefer)  # as a search would call them


def _worth_it(run: Run, found: Found, key: str, at_least: Mapping[str, int]) -> bool:
    """Tell whether the solver is asked at all."""
    if is_large(run):
        return False
    broods = len(found.needs.broods)
    if broods > MOST_BROODS.get(key, broods) and run.effort <= 1:
        return False
    return may_gain(found, key, at_least)


def _model(run: Run, found: Found, *, adding: bool) -> CohortModel | None:
    """Return the constraint model, in which level 1 gets no worse."""
    homeless = found.score.homeless_fish_days > 0
    model = run.model(found.needs, adding=adding, homeless=homeless)
    if model is not None and homeless:
        model.model.add(model.objectives["homeless"] <= found.score.homeless_fish_days)
    if model is not None and adding:
        model.model.add(model.objectives["cost"] <= found.score.added_cost)
    return model


def _at_least(run: Run, found: Found, *, adding: bool) -> dict[str, int]:
    """Return what no plan that houses all can do without, of each value that is counted; nothing where some have no home.

    Company holds nobody back in the tables it is read from: those whom it does are only there for longer.
    """
    if found.score.homeless_fish_days or len(found.needs.broods) > MOST_BROODS_TO_COUNT:
        return {}
    if is_large(run) and run.over():
        return {}  # it takes nearly as long as to settle everybody once
    needs = with_held_back(found.needs, {})
    known = {
        "handlings": least_handlings(needs),
        "move_days": least_move_days(needs),
        "vessel_days": least_vessel_days(needs),
    }
    if not needs.half_told:  # else some plans are not thought of
        extra = {kind.index: kind.most if adding else 0 for kind in needs.classes}
        known["strain"] = least_strain(
            needs,
            extra,
            enough=found.score.strain,
            most_states=STATES_OF_LARGE_ROOMS if is_large(run) else MOST_STATES,
            go_on=lambda: not run.over(),
        )
    return known


def _keep_names(run: Run, found: Found) -> None:
    """Call equal vessels what the plan in hand calls them, and count what is changed by name."""
    assert run.keep is not None  # noqa: S101 - asked only with a plan in hand
    change = change_by_name(found.needs, found.solution.settled, run.keep, run.prefer)
    called = renamed(found.needs, found.solution, run.prefer)
    less = change_by_name(found.needs, called.settled, run.keep, run.prefer)
    if less < change:
        found.solution, change = called, less
    found.score = replace(found.score, change=change)
    name = COUNTED["change"][0][1]
    found.levels = [
        level.model_copy(update={"value": change, "bound": min(level.bound, change), "proven": change == 0})
        if level.name == name
        else level
        for level in found.levels
    ]
