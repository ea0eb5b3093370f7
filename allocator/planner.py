"""From a room to a checked answer: level by level, proven where it is, and never without a plan.

room -> needs -> first fit -> levels -> unfold -> check -> Result
"""

from collections.abc import Callable
from dataclasses import replace
from time import monotonic

from allocator.answering import (
    PlannerFault,
    answer_of,
    pin_remark,
    room_with,
    shortages_of,
    unkept_pins,
)
from allocator.interrupt import stop_on_interrupt
from allocator.level_one import as_it_is, cheapest
from allocator.model.improving import is_large, minimise
from allocator.model.in_hand import change_by_name, in_hand
from allocator.model.levels import COUNTED, homeless_outcome, outcome
from allocator.model.naming import renamed
from allocator.model.room_model import CohortModel
from allocator.model.run import Found, Run
from allocator.needs import needs_of, with_held_back
from allocator.plan import Plan
from allocator.result import Progress, Result
from allocator.room import Room

__all__ = ["PlannerFault", "plan_room"]


def plan_room(
    room: Room,
    *,
    seconds: float | None = None,
    against: Plan | None = None,
    progress: Callable[[Progress], None] | None = None,
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
    with stop_on_interrupt() as stop:
        show(Progress(stage="reading the room"))
        needs = sure = needs_of(room)
        work = 0.0
        while True:
            keep, prefer = in_hand(needs, against)
            run = Run(room, needs, sure, stop, deadline, started, show, keep, prefer, against, work)
            try:
                result = _plan_once(run)
            except PlannerFault as fault:
                pins = unkept_pins(room, fault)
                if fault.held_back:
                    needs = with_held_back(sure, fault.held_back)
                elif pins:
                    remarks += [pin_remark(pin) for pin in pins]
                    room = room.model_copy(
                        update={"pins": tuple(pin for pin in room.pins if pin not in pins)}
                    )
                    needs = sure = needs_of(room)
                else:
                    raise
                work = run.work
                continue
            return result.model_copy(update={"remarks": (*result.remarks, *remarks)})


def _plan_once(run: Run) -> Result:
    """Return both answers for a room whose pins are taken to be possible."""
    present = best = as_it_is(run)
    if present.score.homeless_fish_days > 0:
        added = cheapest(run, present)
        if added is not None and added.score.homeless_fish_days < present.score.homeless_fish_days:
            best = added
            if not added.score.homeless_fish_days and not any(added.solution.added.values()):
                present = added  # it turned out to fit after all
                present.levels[:] = [homeless_outcome(0)]
    _finish(run, best, adding=best is not present)
    shortages = shortages_of(run.sure, run.short_on)
    answer, found = answer_of(run, best, shortages)
    other = answer if best is present else answer_of(run, present, shortages)[0]
    return Result(
        room=room_with(run.room, best.needs, best.solution),
        best=answer,
        as_it_is=other,
        remarks=tuple(f"wrong today, until you can move fish: {breach.text}" for breach in found),
        stopped=run.cut_short or run.hurried,
        seconds=monotonic() - run.started,
        work=run.work,
    )


# -- levels 2 to 4 ---------------------------------------------------------------------------------------


def _finish(run: Run, found: Found, *, adding: bool) -> None:
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
