"""What strain a room would have if nobody looked at the plan in hand: told beside the plan that goes on from it."""

from dataclasses import replace

from allocator.answering import PlannerFault, answer_of
from allocator.model.improving import is_large
from allocator.model.quick import quick_plan
from allocator.model.run import Run
from allocator.result import Answer, NoPlanInTime

MUCH_LESS = 0.95
"""With more than this part of the strain it is not worth a word (judgement)."""

STRAIN = "strain"


def strain_afresh(run: Run, answer: Answer) -> float | None:
    """Return the strain of a checked plan that is begun anew, where that is clearly less.

    Only in rooms in which it takes about a second, and where all fits with what is there either way: a plan that houses
    more, or for less, is never passed over for the plan in hand. Nor where collections are taken if they fit: another
    plan might take others.
    """
    if any(brood.optional for brood in run.room.broods):
        return None
    if run.against is None or is_large(run) or run.over() or answer.plan.homeless or answer.plan.added:
        return None
    reached = _strain(answer)
    if not reached:
        return None
    anew = replace(run, against=None, keep=None, work=0.0, notes=[])
    try:
        found = quick_plan(anew, {}, "planned afresh")
        if found.score.homeless_fish_days or found.score.strain > MUCH_LESS * reached:
            return None
        other, _ = answer_of(anew, found, ())  # held against every rule before its figure is told
    except (NoPlanInTime, PlannerFault):
        return None
    return (
        float(found.score.strain)
        if found.score.strain <= MUCH_LESS * reached and not other.plan.homeless
        else None
    )


def _strain(answer: Answer) -> float:
    return next((level.value for level in answer.levels if level.name == STRAIN), 0.0)
