"""Can everybody in a room be housed with what is there? Yes with a checked plan, no with a proof, or not known.

The same search as that of the planner, but it ends with the first plan that houses all: for questions that ask it many
times over.
"""

from collections.abc import Callable, Iterator
from threading import Event
from time import monotonic

from allocator.answering import PlannerFault, answer_of
from allocator.asked_by_name import may_ask_by_name, plan_by_name
from allocator.frozen import Frozen
from allocator.model.board import score_of
from allocator.model.bounds import worst_slices
from allocator.model.improving import budget, is_large
from allocator.model.in_hand import in_hand
from allocator.model.naming import read_solution
from allocator.model.quick import brief_plan, quick_plan
from allocator.model.run import Found, Run
from allocator.model.search import search
from allocator.needs import Needs, needs_of, with_held_back
from allocator.plan import Plan
from allocator.result import FoundBy, NoPlanInTime, Progress
from allocator.room import PinKind, Room

MOST_ROUNDS = 20
"""So often the tables are made anew because company puts sales off; each time some are put off for longer."""


class Housing(Frozen):
    """Whether everybody can be housed: True with a checked plan, False where no plan can do it, None where not known.

    A "no" is proven among the plans that the planner considers, and confirmed in a second way.
    """

    housed: bool | None
    plan: Plan | None = None


def can_house(
    room: Room,
    *,
    against: Plan | None = None,
    seconds: float | None = None,
    stop: Event | None = None,
    progress: Callable[[Progress], None] | None = None,
    stage: str = "can all be housed?",
) -> Housing:
    """Tell whether everybody in a room, as it is, can be housed and every pin kept.

    Parameters
    ----------
    room
        What could be added is left out of account.
    against
        A plan to go on from, where there is one.
    seconds
        Wall time to stay within, roughly.
    stop
        Set from outside to end the search.
    progress
        Called often with how far the search is.
    stage
        What to call it in the live line.
    """
    room = room.model_copy(update={"could_add": ()})
    started = monotonic()
    needs = sure = needs_of(room)
    if _never_moved_then(needs):
        return Housing(housed=False)
    deadline = None if seconds is None else started + seconds
    for _ in range(MOST_ROUNDS):
        keep, prefer = in_hand(needs, against)
        told = progress or (lambda _: None)
        run = Run(room, needs, sure, stop or Event(), deadline, started, told, keep, prefer, against)
        if needs is sure and worst_slices(sure):
            return Housing(housed=False)  # on some day there are too few vessels, whatever the plan
        held_back: dict[str, int] = {}
        try:
            for found in _found(run, stage):
                if found is None:
                    return Housing(housed=False if needs is sure else None)
                try:
                    return Housing(housed=True, plan=answer_of(run, found, ())[0].plan)
                except PlannerFault as fault:
                    held_back = fault.held_back  # else it is a pin that no plan keeps: no proof that none can
        except NoPlanInTime:
            break
        if not held_back:
            break
        needs = with_held_back(sure, held_back)
    return Housing(housed=None)


def _never_moved_then(needs: Needs) -> bool:
    """Tell whether a brood is pinned to be moved on a day on which no plan moves or sells it."""
    broods = {brood.name: brood for brood in needs.broods}
    for pin in needs.room.pins:
        brood, day = broods.get(pin.brood), pin.span.start
        if pin.kind is not PinKind.MOVE_ON or brood is None or day is None:
            continue
        moves = {needs.days[slot] for phase in brood.phases[1:] for slot in phase.entries}
        if day not in moves | {needs.days[slot] for slot in brood.sale_slots}:
            return True
    return False


def _found(run: Run, stage: str) -> Iterator[Found | None]:
    """Yield plans that house all, what costs least first; None, and no more, where it is sure that there is none.

    A brief look finds most of what there is to find. Where it finds nothing the solver mostly says in a second why, and
    a long look comes last. Company may hold the fish of one plan back for too long, and not those of the next.

    Raises
    ------
    NoPlanInTime
        If the time ran out before everybody was settled once.
    """
    at_once = run.against is None and not is_large(run)
    if at_once:
        brief = brief_plan(run, stage)
        if brief is not None:
            yield brief
        else:
            solved, impossible = _solved(run, stage)
            if solved is not None or impossible:
                yield solved
            if impossible:
                return
    found = quick_plan(run, {}, stage)
    if not found.score.homeless_fish_days:
        yield found
    elif not at_once:
        solved, impossible = _solved(run, stage)
        if solved is not None or impossible:
            yield solved


def _solved(run: Run, stage: str) -> tuple[Found | None, bool]:
    """Return what the solver makes of it, and whether it says, both with and without presolve, that nothing will do."""
    if may_ask_by_name(run):
        return plan_by_name(run, 0)
    model = None if is_large(run) else run.model(run.needs, adding=False, homeless=False)
    if model is None:
        return None, False
    result = search(model.model, budget(run, "ask"), stop=run.stop, tell=run.tell(stage))
    if result.value is not None:
        solution = read_solution(model, result.value, run.prefer)
        score = score_of(run.needs, solution.added, solution.settled)
        return (
            None if score.homeless_fish_days else Found(run.needs, solution, score, FoundBy.SOLVER)
        ), False
    if not result.impossible or run.needs.half_told or run.over():
        return None, False
    again = search(model.model, budget(run, "confirm"), stop=run.stop, tell=run.tell(stage), presolve=False)
    return None, again.impossible
