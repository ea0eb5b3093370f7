"""Who might share a vessel in turn, where nearly every vessel must be used to the full: a suggestion, no rule.

If so many vessels are to be enough, each of them must serve nearly all the points that a vessel can (see
`through_time`). There are few stretches of use that do, and they are picked such that each lot is in one at least.
"""

from dataclasses import replace
from threading import Event

from ortools.sat.python import cp_model

from allocator.model.points import dive
from allocator.model.room_model import CohortModel
from allocator.model.search import Budget, search
from allocator.model.through_time import Stay, ThroughTime

MOST_STRETCHES = 100_000
"""Of more stretches none is picked (judgement)."""

PICK_WORK = 5.0
"""Where it is found at all, it is found soon (judgement)."""


def mates_in(look: ThroughTime, vessels: int, budget: Budget, stop: Event) -> list[list[Stay]] | None:
    """Return the stays that share a vessel, for so many vessels; None where no such sharing out was found."""
    points, most = look.points.points, look.points.most
    least = sum(points) - (vessels - 1) * most
    dived = dive(look.graph, vessels, go_on=lambda: not stop.is_set())
    if dived is not None:
        return [[look.stays[lot] for lot in stretch] for stretch in dived]
    stretches = look.graph.all_worth(points, least, MOST_STRETCHES)
    if not stretches:
        return None
    model = cp_model.CpModel()
    picks = [model.new_bool_var("") for _ in stretches]
    serving: dict[int, list[cp_model.IntVar]] = {lot: [] for lot in range(len(points))}
    for pick, stretch in zip(picks, stretches, strict=True):
        for lot in stretch:
            serving[lot].append(pick)
    for mine in serving.values():
        model.add_bool_or(mine)
    model.add(sum(picks) <= vessels)
    found = search(model, replace(budget, work=min(budget.work, PICK_WORK)), stop=stop)
    if found.value is None:
        return None
    left = set(range(len(points)))  # who is in two of those picked stays in the first
    groups = []
    for pick, stretch in zip(picks, stretches, strict=True):
        if found.value(pick) and left.intersection(stretch):
            groups.append([look.stays[lot] for lot in stretch if lot in left])
            left.difference_update(stretch)
    return groups


def let_share(asked: cp_model.CpModel, model: CohortModel, sharing: list[list[Stay]]) -> None:
    """Let the stays of each group share a vessel in a question, which may rule out what it asks for."""
    joins = model.cohorts.joins
    for group in sharing:
        units = [model.cohorts.unit(stay.brood, _phase_of(stay)) for stay in group]
        leader, *others = sorted(units, key=lambda unit: (unit.start, unit.index))
        for cohort in model.cohorts.of(leader):
            for unit in others:
                if cohort.leader is leader:
                    lead = joins[leader.index, cohort.index]
                    asked.add(joins.get((unit.index, cohort.index), 0) == lead)


def _phase_of(stay: Stay) -> int:
    return next(n for n, phase in enumerate(stay.brood.phases) if phase.stage == stay.stage)
