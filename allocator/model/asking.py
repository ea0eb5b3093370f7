"""Is so much enough? A question for one cost, with what follows from it, is answered far sooner than "how much?".

Measured on published instances, see docs/explanation/published-instances.md.
"""

from collections.abc import Iterable

from ortools.sat.python import cp_model

from allocator.model.bounds import Bound, Slice, slices
from allocator.model.room_model import CohortModel
from allocator.needs import Needs

MOST_SETS = 12
"""Of so many sets of classes it is asked how many could be added, even where none is missing (judgement)."""


def question(model: CohortModel, sure: Needs, cost: int, bounds: Iterable[Bound]) -> cp_model.CpModel:
    """Return a copy of a model, without anything to minimise, that asks for a plan of at most a cost.

    Parameters
    ----------
    model
        With vessels that may be added, and nobody homeless. It stays as it is.
    sure
        The tables whose single days count: those in which company holds nobody back.
    cost
        In hundredths.
    bounds
        What is known of the vessels to add.
    """
    asked: cp_model.CpModel = model.model.clone()
    asked.clear_objective()  # type: ignore[no-untyped-call]
    asked.clear_hints()  # type: ignore[no-untyped-call]
    asked.add(model.objectives["cost"] <= cost)
    known = list(bounds)
    for bound in known:
        extra = [model.extra[index] for index in sorted(bound.classes)]
        if not all(isinstance(one, int) for one in extra):
            asked.add(sum(extra) >= bound.short)
    most: dict[frozenset[int], int] = {}
    for found in slices(sure, short_only=True):
        classes = frozenset(kind.index for kind in found.classes)
        if classes not in most:
            if not found.short and len(most) >= MOST_SETS:
                continue
            most[classes] = _most_added(sure, classes, cost, known)
        if found.needed >= found.there + most[classes]:
            _all_in_use(asked, model, found)
    return asked


def _most_added(needs: Needs, classes: frozenset[int], cost: int, bounds: list[Bound]) -> int:
    """Return how many vessels of some classes may be added at a cost, beside what must be added of others."""
    model = cp_model.CpModel()
    extra = {kind.index: model.new_int_var(0, kind.most, kind.like) for kind in needs.classes}
    for bound in bounds:
        model.add(sum(extra[index] for index in sorted(bound.classes)) >= bound.short)
    model.add(sum(kind.price * extra[kind.index] for kind in needs.classes) <= cost)
    model.maximize(sum(extra[index] for index in sorted(classes)))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.catch_sigint_signal = False
    solver.parameters.cp_model_presolve = False
    solver.parameters.max_deterministic_time = 0.1
    status = solver.solve(model)
    if status in {cp_model.OPTIMAL, cp_model.FEASIBLE}:
        return round(solver.best_objective_bound)
    return sum(needs.classes[index].most for index in classes)


def _all_in_use(asked: cp_model.CpModel, model: CohortModel, found: Slice) -> None:
    """Let every vessel of some classes be in use in a slot: for this cost there can be no more than are needed then."""
    is_open = model.filling.open
    for kind in found.classes:
        mine = [cohort.index for cohort in model.cohorts.cohorts if cohort.kind is kind]
        in_use = [is_open[index, found.slot] for index in mine if (index, found.slot) in is_open]
        extra = model.extra[kind.index]
        if not (isinstance(extra, int) and not in_use):
            asked.add(sum(in_use) >= kind.copies + extra)
