"""From a room to a checked answer: level by level, proven where it is, and never without a plan.

room -> needs -> first fit -> levels -> unfold -> check -> Result
"""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from math import ceil
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
from allocator.model.board import score_of
from allocator.model.bounds import cost_bound, least_handlings, worst_slices
from allocator.model.company import held_back_in
from allocator.model.first_fit import FirstFit
from allocator.model.hints import start_from
from allocator.model.holding_back import hold_back, let_stay
from allocator.model.in_hand import change_by_name, in_hand, told_by
from allocator.model.levels import COUNTED, outcome
from allocator.model.naming import Solution, read_solution, renamed, trimmed
from allocator.model.room_model import CohortModel
from allocator.model.run import Found, Run
from allocator.model.search import Budget, search
from allocator.model.settled import Score
from allocator.needs import Needs, needs_of, with_held_back
from allocator.plan import Plan
from allocator.result import FoundBy, NoPlanInTime, Progress, Result
from allocator.room import Room

__all__ = ["PlannerFault", "plan_room"]

SEED = 7

# Deterministic work (the solver's own measure, about a second each on a slow core) that each level may take.
WORK = {"homeless": 12.0, "cost": 20.0, "confirm": 10.0, "strain": 0.4, "change": 0.4, "handling": 0.2}

ROUNDS_PER_BROOD = 3
MOST_ROUNDS = 240
ROUNDS_OF_LARGE_ROOMS = 60
ROUNDS_OF_COMPANY = 8
ROUNDS_TO_HOUSE = 40

MOST_BROODS_FOR_ALL_LEVELS = 60
"""Rooms with more broods than this are large: without a time limit the solver is asked only for the cheapest
addition, and only briefly; first fit does the rest (measured, see docs/explanation/speed.md)."""

BRIEF = {"strain", "change", "handling"}
"""Searches that are there to improve rather than to prove."""

LEVELS_ABOVE_CHANGE = 3
"""Homeless, cost and strain come before keeping to the plan in hand."""

WORK_OF_LARGE_ROOMS = {"cost": 1.5, "confirm": 1.5}

SHARE_OF_TIME = {"homeless": 0.4, "cost": 0.6, "confirm": 0.7, "strain": 0.6, "change": 0.5, "handling": 0.9}
"""What part of the time that is left each search may take, where the keeper gave a limit (judgement)."""


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
    as_it_is = best = _as_it_is(run)
    if as_it_is.score.homeless_fish_days > 0:
        cheapest = _cheapest(run)
        if cheapest is not None and cheapest.score.homeless_fish_days < as_it_is.score.homeless_fish_days:
            best = cheapest
    _finish(run, best, adding=best is not as_it_is)
    shortages = shortages_of(run.sure)
    answer, found = answer_of(run, best, shortages)
    other = answer if best is as_it_is else answer_of(run, as_it_is, shortages)[0]
    return Result(
        room=room_with(run.room, best.needs, best.solution),
        best=answer,
        as_it_is=other,
        remarks=tuple(f"wrong today, until you can move fish: {breach.text}" for breach in found),
        stopped=run.cut_short,
        seconds=monotonic() - run.started,
        work=run.work,
    )


# -- level 1 ---------------------------------------------------------------------------------------------


def _first_fit(run: Run, added: dict[int, int], stage: str) -> Found:
    fit = FirstFit(run.needs, added)
    run.progress(Progress(stage=stage, seconds=monotonic() - run.started))
    if not fit.run(lambda: not run.over()):
        raise NoPlanInTime
    rounds = min(MOST_ROUNDS, ROUNDS_PER_BROOD * len(run.needs.broods))
    if _is_large(run) and run.deadline is None:
        rounds = ROUNDS_OF_LARGE_ROOMS
    tell = run.tell(stage)

    def go_on(score: Score) -> bool:
        tell(float(score.homeless_fish_days or score.added_cost / 100), None)
        return not run.over()

    fit.improve(rounds, SEED, go_on=go_on)
    homeless = _is_large(run) and fit.board.score().homeless_fish_days > 0
    if homeless and (added or not worst_slices(run.sure)):  # else it is known that somebody stays out
        _house(run, fit, SEED + 1)
    if run.against is not None:
        carried = FirstFit(run.needs, added)
        carried.carry_on(told_by(carried, run.against))
        if carried.board.score().key()[:LEVELS_ABOVE_CHANGE] <= fit.board.score().key()[:LEVELS_ABOVE_CHANGE]:
            fit = carried
    fit = _in_company(run, fit)
    solution = trimmed(fit.needs, Solution(fit.board.solution(), added))
    return Found(
        fit.needs, solution, score_of(fit.needs, solution.added, solution.settled), FoundBy.FIRST_FIT
    )


def _in_company(run: Run, fit: FirstFit) -> FirstFit:
    """Settle anew whom company holds back for so long that the vessel is promised to others by then.

    Fish that stay for longer hold back others in turn, so it takes some rounds; what is left after them is seen
    to at the end (see `answer_of`). The rounds are quick, and are made even when the time is up.
    """
    for number in range(ROUNDS_OF_COMPANY):
        solution = Solution(fit.board.solution(), fit.board.added)
        late = held_back_in(fit.needs, solution)
        if hold_back(fit.needs, solution, partial(held_back_in, fit.needs)) is not None:
            break
        held = dict(fit.needs.held_back)
        held |= {name: held.get(name, 0) + days for name, days in late.items()}
        fit = fit.with_tables(with_held_back(fit.needs, held))
        let_stay(fit, late)
        if fit.board.score().homeless_fish_days > 0 and not run.over():
            fit = _better(fit, FirstFit(fit.needs, fit.board.added), run)
            _house(run, fit, SEED + number)
    return fit


def _better(fit: FirstFit, anew: FirstFit, run: Run) -> FirstFit:
    """Return the better of what is settled and what comes of settling everybody anew."""
    done = anew.run(lambda: not run.over())
    return anew if done and anew.board.score().key() < fit.board.score().key() else fit


def _house(run: Run, fit: FirstFit, seed: int) -> None:
    """Go on settling anew until everybody has a home, for some rounds."""
    fit.improve(ROUNDS_TO_HOUSE, seed, go_on=lambda best: best.homeless_fish_days > 0 and not run.over())


def _as_it_is(run: Run) -> Found:
    """Return the best with nothing added: nobody homeless, or the fewest fish-days without a home."""
    found = _first_fit(run, {}, "with what is there")
    if found.score.homeless_fish_days == 0:
        found.levels.append(outcome(1, "fish without a home", "fish-days", 0, 0))
        return found
    ask = not _is_large(run) or run.deadline is not None
    model = run.model(found.needs, adding=False, homeless=True) if ask else None
    if model is None:
        found.levels.append(outcome(1, "fish without a home", "fish-days", found.score.homeless_fish_days, 0))
        return found
    _minimise(run, model, found, "homeless")
    if (
        found.levels[-1].proven
        and found.score.homeless_fish_days > 0
        and not _confirmed(run, found.needs, cost_below=None)
    ):
        found.levels[-1] = found.levels[-1].model_copy(update={"proven": False})
    return found


def _is_large(run: Run) -> bool:
    return len(run.needs.broods) > MOST_BROODS_FOR_ALL_LEVELS


def _budget(run: Run, key: str) -> Budget:
    work = WORK_OF_LARGE_ROOMS.get(key, WORK[key]) if _is_large(run) and run.deadline is None else WORK[key]
    return run.budget(work, SHARE_OF_TIME[key], brief=key in BRIEF)


def _cheapest(run: Run) -> Found | None:
    """Return the cheapest addition that houses all, or the least homeless where no addition does."""
    most = {kind.index: kind.most for kind in run.needs.classes if kind.most}
    try:
        found = _first_fit(run, most, "with tanks added")
    except NoPlanInTime:
        return None  # the answer with what is there stands
    floor = cost_bound(run.sure)
    if found.score.homeless_fish_days > 0:
        model = run.model(found.needs, adding=True, homeless=True)
        if model is not None:
            _minimise(run, model, found, "homeless")
        else:
            homeless = found.score.homeless_fish_days
            found.levels.append(outcome(1, "fish without a home", "fish-days", homeless, 0))
        if found.score.homeless_fish_days > 0:
            return found
        found.levels.clear()
    model = run.model(found.needs, adding=True, homeless=False)
    cost = found.score.added_cost
    if model is None:
        found.levels.append(outcome(1, "cost of added tanks", "price", cost / 100, floor / 100))
        return found
    bound = max(_minimise(run, model, found, "cost"), floor)
    cost = found.score.added_cost
    proven = bound >= cost and (floor >= cost or _confirmed(run, found.needs, cost_below=cost))
    found.levels[-1] = outcome(1, "cost of added tanks", "price", cost / 100, bound / 100, proven=proven)
    return found


def _confirmed(run: Run, needs: Needs, *, cost_below: int | None) -> bool:
    """Ask again, another way, whether there really is no cheaper plan (or none at all with nothing added).

    The day-by-day bound is one way; a second solve without presolve is the other, since a solver's "no" has
    been wrong before (a reported fault of presolve).
    """
    if cost_below is None and worst_slices(run.sure):
        return True
    model = run.model(needs, adding=cost_below is not None, homeless=False)
    if model is None:
        return False
    if cost_below is not None:
        model.model.add(model.objectives["cost"] <= cost_below - 1)
    again = search(
        model.model,
        _budget(run, "confirm"),
        stop=run.stop,
        tell=run.tell("making sure that no cheaper plan exists"),
        presolve=False,
    )
    run.work += again.work
    return again.impossible


# -- levels 2 to 4 ---------------------------------------------------------------------------------------


def _finish(run: Run, found: Found, *, adding: bool) -> None:
    """Improve a level 1 answer by strain, change and handling, one after another."""
    keys = ["strain", *(["change"] if run.keep is not None else []), "handling"]
    model: CohortModel | None = None
    if not _is_large(run):
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
            _minimise(run, model, found, key)
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


def _minimise(run: Run, model: CohortModel, found: Found, key: str) -> float:
    """Minimise what one search counts, keep what is better, cap it for the next and return the bound."""
    rows = COUNTED[key]
    terms = {"homeless_fish_days": "homeless", "added_cost": "cost"}
    objective = sum(weight * model.objectives[terms.get(value, value)] for _, _, _, value, weight in rows)
    if isinstance(objective, int):
        found.levels += [outcome(level, name, unit, 0, 0) for level, name, unit, _, _ in rows]
        return 0.0
    if not start_from(model, found.solution):
        run.note(f"{key}: the model does not allow the plan in hand")
    model.model.minimize(objective)
    result = search(model.model, _budget(run, key), stop=run.stop, tell=run.tell(rows[0][1]))
    run.work += result.work
    bound = max(ceil(result.bound - 1e-6), 0)  # every count is whole; the solver's bound carries float dust
    if found.needs.half_told:
        bound = 0  # a plan that is not in the model may be better
    if result.value is not None:
        solution = read_solution(model, result.value, run.prefer)
        score = score_of(found.needs, solution.added, solution.settled)
        score = replace(score, change=result.value(model.objectives["change"]))
        if score.key() <= found.score.key():
            found.earlier.append(Found(found.needs, found.solution, found.score, found.by))
            found.solution, found.score, found.by = solution, score, FoundBy.SOLVER
        # What the model counts may lie above what the plan takes (see `moves_in`), never below.
        reached = sum(weight * getattr(found.score, value) for _, _, _, value, weight in rows)
        model.model.add(objective <= max(reached, round(result.objective)))
    if key == "handling" and found.score.homeless_fish_days == 0:
        bound = max(bound, least_handlings(found.needs) * rows[0][4])
    left = bound
    for level, name, unit, value, weight in rows:
        scale = 100 if value == "added_cost" else 1
        at_least, left = divmod(left, weight) if weight > 1 else (left, 0)
        reached = getattr(found.score, value)
        met = at_least >= reached
        found.levels.append(
            outcome(level, name, unit, reached / scale, min(at_least, reached) / scale, proven=met)
        )
        if not met:
            left = 0  # nothing is known of a lower count while a higher one may still fall
    return float(bound)
