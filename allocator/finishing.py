"""Levels 2 to 4: a level 1 answer made more comfortable, like the plan in hand, and less work."""

from dataclasses import replace

from allocator.model.improving import is_large, minimise
from allocator.model.in_hand import change_by_name
from allocator.model.levels import COUNTED, outcome
from allocator.model.naming import renamed
from allocator.model.room_model import CohortModel
from allocator.model.run import Found, Run


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
    for key in keys:
        if model is None or run.over():
            found.levels += [
                outcome(level, name, unit, float(getattr(found.score, value)), 0)
                for level, name, unit, value, _ in COUNTED[key]
            ]
        else:
            minimise(run, model, found, key)
    if run.keep is not None:
        _keep_names(run, found)


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
