"""Levels 2 to 4: a level 1 answer made more comfortable, like the plan in hand, and less work."""

from dataclasses import replace

from allocator.model.bounds import least_handlings
from allocator.model.improving import is_large, minimise
from allocator.model.in_hand import change_by_name
from allocator.model.levels import COUNTED
from allocator.model.naming import renamed
from allocator.model.room_model import CohortModel
from allocator.model.run import Found, Run
from allocator.model.sweep import least_strain
from allocator.needs import with_held_back


def finish(run: Run, found: Found, *, adding: bool) -> None:
    """Improve a level 1 answer by strain, change and handling, one after another."""
    keys = ["strain", *(["change"] if run.keep is not None else []), "handling"]
    model: CohortModel | None = None
    if not is_large(run):
        homeless = found.score.homeless_fish_days > 0
        model = run.model(found.needs, adding=adding, homeless=homeless)
        if model is not None and homeless:
            model.model.add(model.objectives["homeless"] <= found.score.homeless_fish_days)
        if model is not None and adding:
            model.model.add(model.objectives["cost"] <= found.score.added_cost)
    at_least = _at_least(run, found, adding=adding)
    found.strain_at_least = at_least.get("strain", 0)
    for key in keys:
        minimise(run, None if run.over() else model, found, key, at_least)
    if run.keep is not None:
        _keep_names(run, found)


def _at_least(run: Run, found: Found, *, adding: bool) -> dict[str, int]:
    """Return what no plan that houses all can do without, of each value that is counted; nothing where some have no home.

    Company holds nobody back in the tables it is read from: those whom it does are only there for longer.
    """
    if found.score.homeless_fish_days or is_large(run):
        return {}
    needs = with_held_back(found.needs, {})
    known = {"handlings": least_handlings(needs)}
    if not needs.half_told:  # else some plans are not thought of
        extra = {kind.index: kind.most if adding else 0 for kind in needs.classes}
        known["strain"] = least_strain(needs, extra, enough=found.score.strain, go_on=lambda: not run.over())
    return known


def _keep_names(run: Run, found: Found) -> None:
    """Call equal vessels what the plan in hand calls them, and count what is changed by name."""
    assert run.keep is not None  # noqa: S101 - asked only with a plan in hand
    found.solution = renamed(found.needs, found.solution, run.prefer)
    change = change_by_name(found.needs, found.solution.settled, run.keep, run.prefer)
    found.score = replace(found.score, change=change)
    name = COUNTED["change"][0][1]
    found.levels = [
        level.model_copy(update={"value": change, "bound": min(level.bound, change), "proven": change == 0})
        if level.name == name
        else level
        for level in found.levels
    ]
