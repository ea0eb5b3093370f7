"""From a room to a checked answer: level by level, proven where it is, and never without a plan.

room -> needs -> first fit -> levels -> unfold -> check -> Result
"""

from collections.abc import Callable
from contextlib import nullcontext
from threading import Event
from time import monotonic

from allocator.afresh import strain_afresh
from allocator.answering import (
    PlannerFault,
    answer_of,
    pin_remark,
    room_with,
    shortages_of,
    unkept_pins,
)
from allocator.finishing import finish
from allocator.interrupt import stop_on_interrupt
from allocator.level_one import as_it_is, cheapest
from allocator.model.in_hand import in_hand
from allocator.model.levels import homeless_outcome
from allocator.model.run import Run
from allocator.needs import Needs, needs_of, with_held_back
from allocator.plan import Plan
from allocator.result import Progress, Result
from allocator.room import Room
from allocator.taking import answer_taking

__all__ = ["PlannerFault", "plan_room"]


def plan_room(
    room: Room,
    *,
    seconds: float | None = None,
    against: Plan | None = None,
    progress: Callable[[Progress], None] | None = None,
    stop: Event | None = None,
) -> Result:
    """Plan a room and return both answers: with what is there, and with the cheapest addition.

    Parameters
    ----------
    room
        As read; see `allocator.reading`.
    seconds
        Wall time to stay within, roughly; without it the work is limited in a way that gives the same plan on
        every machine.
    against
        The plan that the keeper already has; the new one changes it as little as the levels above allow.
    progress
        Called often with how far the search is.
    stop
        Ends the search, once it is set, with the best plan so far; Ctrl-C is then left alone.

    Raises
    ------
    NoPlanInTime
        If the time ran out, or the keeper stopped the run, before there was a first plan.
    PlannerFault
        If the plan found breaks a rule: our bug. It never happens silently.
    """
    started = monotonic()
    remarks: list[str] = []
    show = progress or (lambda _: None)
    deadline = None if seconds is None else started + seconds
    with stop_on_interrupt() if stop is None else nullcontext(stop) as heard:
        show(Progress(stage="reading the room"))
        everyone = needs_of(room)
        needs = sure = _who_must_be_housed(room, everyone)
        work = 0.0
        while True:
            keep, prefer = in_hand(needs, against)
            run = Run(room, needs, sure, heard, deadline, started, show, keep, prefer, against, work)
            try:
                result = _plan_once(run, everyone)
            except PlannerFault as fault:
                pins = unkept_pins(room, fault)
                if fault.held_back:
                    needs = with_held_back(sure, fault.held_back)
                elif pins:
                    remarks += [pin_remark(pin) for pin in pins]
                    room = room.model_copy(
                        update={"pins": tuple(pin for pin in room.pins if pin not in pins)}
                    )
                    everyone = needs_of(room)
                    needs = sure = _who_must_be_housed(room, everyone)
                else:
                    raise
                work = run.work
                continue
            return result.model_copy(update={"remarks": (*result.remarks, *remarks)})


def _who_must_be_housed(room: Room, everyone: Needs) -> Needs:
    """Return the tables of all but the collections that need not be taken."""
    must = {brood.name for brood in room.broods if not brood.optional}
    return everyone if len(must) == len(room.broods) else everyone.only(must)


def _plan_once(run: Run, everyone: Needs) -> Result:
    """Return both answers for a room whose pins are taken to be possible.

    Whoever must be housed is planned first; then it is seen who else of `everyone` finds room beside them.
    """
    present = best = as_it_is(run)
    if present.score.homeless_fish_days > 0:
        added = cheapest(run, present)
        if added is not None and added.score.homeless_fish_days < present.score.homeless_fish_days:
            best = added
            if not added.score.homeless_fish_days and not any(added.solution.added.values()):
                present = added  # it turned out to fit after all
                present.levels[:] = [homeless_outcome(0)]
    shortages = shortages_of(run.sure, run.short_on)
    adding = best is not present
    if len(everyone.broods) > len(run.sure.broods):
        answer, best, found = answer_taking(run, everyone, best, shortages, adding=adding)
        other = answer
        if adding:
            other = answer_taking(run, everyone, present, shortages, adding=False, finished=False)[0]
    else:
        finish(run, best, adding=adding)
        answer, found = answer_of(run, best, shortages)
        other = answer_of(run, present, shortages)[0] if adding else answer
    return Result(
        room=room_with(run.room, best.needs, best.solution),
        best=answer,
        as_it_is=other,
        remarks=tuple(f"wrong today, until you can move fish: {breach.text}" for breach in found),
        strain_afresh=strain_afresh(run, answer),
        stopped=run.cut_short or run.hurried,
        seconds=monotonic() - run.started,
        work=run.work,
    )
