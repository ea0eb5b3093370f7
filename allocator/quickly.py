"""One checked plan that houses all, or none: a brief look, for questions that ask it of many rooms."""

from collections.abc import Callable
from threading import Event
from time import monotonic

from allocator.answering import PlannerFault, answer_of
from allocator.model.bounds import slices
from allocator.model.in_hand import in_hand
from allocator.model.quick import brief_plan
from allocator.model.run import Run
from allocator.needs import needs_of, with_held_back
from allocator.plan import Plan, Verdict
from allocator.result import Progress
from allocator.room import Room

MOST_PLANNED_ANEW = 3
"""So often company is given more room before the look ends (judgement)."""


def plan_quickly(
    room: Room,
    *,
    stop: Event,
    deadline: float | None = None,
    stage: str = "planning",
    progress: Callable[[Progress], None] | None = None,
) -> Plan | None:
    """Return a checked plan that houses every brood with what is there.

    Parameters
    ----------
    room
        Without pins.
    stop, deadline
        End the look: when the event is set, or at this time of the monotonic clock.
    stage
        What to call it in the live line.
    progress
        Called with how far the look is.

    Returns
    -------
    Plan or None
        None where no plan was found, which does not mean that there is none.

    Raises
    ------
    PlannerFault
        If the plan found breaks a rule: our bug.
    """
    needs = sure = needs_of(room)
    keep, prefer = in_hand(needs, None)
    for _ in range(MOST_PLANNED_ANEW):
        run = Run(room, needs, sure, stop, deadline, monotonic(), progress or (lambda _: None), keep, prefer)
        found = brief_plan(run, stage)
        if found is None:
            return None
        try:
            answer, _ = answer_of(run, found, ())
        except PlannerFault as fault:
            if not fault.held_back:
                raise
            needs = with_held_back(sure, fault.held_back)
            continue
        return answer.plan if answer.plan.verdict is Verdict.FITS else None
    return None


def surely_short(room: Room) -> bool:
    """Tell whether there is a day on which the broods that must be there then need more vessels than there are."""
    return any(found.short > 0 for found in slices(needs_of(room), short_only=True))
