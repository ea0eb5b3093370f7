"""From a solution to a checked answer; nothing leaves the planner unchecked."""

from collections.abc import Iterator
from dataclasses import replace

from allocator.check import Breach, Checked
from allocator.codes import Rule
from allocator.model.board import score_of
from allocator.model.bounds import Slice, bounds_of, cost_of
from allocator.model.first_fit import FirstFit
from allocator.model.holding_back import hold_back
from allocator.model.levels import NOT_TAKEN, as_counted, without_bounds
from allocator.model.naming import Solution
from allocator.model.run import Found, Run
from allocator.model.unfold import unfold
from allocator.needs import Needs, most_held_back, with_held_back
from allocator.result import Answer, FoundBy, Shortage
from allocator.room import Pin, PinKind, Room


class PlannerFault(Exception):  # noqa: N818 - a fault of ours, told apart from bad input
    """A plan that was about to leave breaks a rule: our bug, and the plan is not given out.

    `held_back` has the days to plan again with, where only sales were too soon; then it is no bug yet.
    """

    def __init__(self, breaches: list[Breach], held_back: dict[str, int] | None = None) -> None:
        super().__init__("; ".join(f"{b.rule.value}: {b.text}" for b in breaches[:5]))
        self.breaches = breaches
        self.held_back = held_back or {}


def unkept_pins(room: Room, fault: PlannerFault) -> list[Pin]:
    """Return the pins that no plan keeps, if nothing else is wrong with the best one."""
    if any(breach.rule is not Rule.PINNED for breach in fault.breaches):
        return []
    broods = {breach.brood for breach in fault.breaches}
    return [pin for pin in room.pins if pin.brood in broods]


def held_back_by(needs: Needs, breaches: list[Breach], lacking: dict[str, int]) -> dict[str, int]:
    """Return how long company holds broods back, so that the next tables keep room for them.

    Parameters
    ----------
    needs
        The tables that were begun with.
    breaches
        What is wrong with the plan.
    lacking
        The broods that it sells too soon, each with the days that they lack.

    Returns
    -------
    dict
        Days by brood, more than those of the tables given; empty when anything else is wrong with the plan.
        A brood that lacked days before gets as many as it can lack at the very most, and if even that does not
        do, all broods get theirs: then no plan sells too soon.
    """
    if not lacking or any(breach.rule is not Rule.READY for breach in breaches):
        return {}
    most = _most_held_back(needs)
    held = dict(needs.held_back)
    for name, days in lacking.items():
        held[name] = most[name] if name in held else days
    return next((more for more in (held, most) if more != needs.held_back), {})


def _most_held_back(needs: Needs) -> dict[str, int]:
    """Return the days by which company can hold back each brood at the very most."""
    return {brood.name: most_held_back(brood.life, needs.days[brood.start]) for brood in needs.broods}


def pin_remark(pin: Pin) -> str:
    """Return what to tell of a pin that cannot be kept."""
    where = f" {pin.vessel}" if pin.vessel else ""
    start = f" from {pin.span.start}" if pin.kind is not PinKind.MOVE_ON and pin.span.start else ""
    day = f" {pin.span.start}" if pin.kind is PinKind.MOVE_ON else start
    return (
        f"the pin of {pin.brood} ({pin.kind.value}{where}{day}) cannot be kept together with the rules for "
        f"its size, its stage and its tanks; planned without it"
    )


def room_with(room: Room, needs: Needs, solution: Solution) -> Room:
    """Return the room with the vessels that a solution adds."""
    added = {needs.classes[index].like: copies for index, copies in solution.added.items() if copies}
    return room.with_added(added) if added else room


def answer_of(run: Run, found: Found, shortages: tuple[Shortage, ...]) -> tuple[Answer, tuple[Breach, ...]]:
    """Unfold and check a solution; nothing leaves the planner unchecked.

    Fish that company has held back are sold later where they are. Should the best break a rule after all, an
    earlier one that keeps them all is given instead, with nothing called proven. What is wrong today and cannot be
    helped yet is returned beside the answer.

    Raises
    ------
    PlannerFault
        If only sales are too soon and there is time to plan again with room for longer stays; or if every choice
        breaks a rule.
    """
    faults: list[Breach] = []
    for choice in _choices(found):
        checked = _Checker(run.room, choice.needs)
        solution = hold_back(choice.needs, choice.solution, checked.lacking)
        score = choice.score
        if solution is None:
            solution = choice.solution
        elif solution is not choice.solution:
            score = replace(score_of(choice.needs, solution.added, solution.settled), change=score.change)
        not_taken = len(checked.of(solution).plan.not_taken)
        levels = as_counted(found.levels, score, not_taken, proven=choice is found)
        if choice.needs.held_back:
            least_cost = (cost_of(run.sure, bounds_of(run.short_on)) or 0) / 100
            levels = without_bounds(levels, least_cost, found.at_least)
        first = [level.proven for level in levels if level.level == 1 and level.name != NOT_TAKEN]
        proven = bool(first) and all(first)
        breaches = checked.of(solution).breaches
        broken = [breach for breach in breaches if not breach.as_found]
        if not broken:
            found.needs, found.solution, found.score = choice.needs, solution, score
            answer = Answer(
                plan=checked.of(solution).plan.model_copy(update={"proven": proven}),
                found_by=choice.by,
                levels=tuple(levels),
                shortages=shortages if score.homeless_fish_days or score.added_cost else (),
                long_shortages=tuple(found.reasons) if score.added_cost else (),
            )
            return answer, tuple(breaches)
        faults = faults or broken
        if not run.over():
            held_back = held_back_by(run.needs, broken, checked.lacking(solution))
            if held_back:
                raise PlannerFault(broken, held_back)
    raise PlannerFault(faults)


def _choices(found: Found) -> Iterator[Found]:
    """Yield what could be given out, best first; last what no company can hold back, made only when asked for."""
    yield found
    yield from reversed(found.earlier)
    needs = with_held_back(found.needs, _most_held_back(found.needs))
    fit = FirstFit(needs, found.solution.added)
    fit.run()
    solution = Solution(fit.board.solution(), found.solution.added)
    yield Found(needs, solution, score_of(needs, solution.added, solution.settled), FoundBy.FIRST_FIT)


class _Checker:
    """Unfolds solutions and lets the checker walk them: each once, however often it is asked about the last."""

    def __init__(self, room: Room, needs: Needs) -> None:
        self.room, self.needs = room, needs
        self._last: tuple[Solution, Checked] | None = None

    def of(self, solution: Solution) -> Checked:
        """Return what the checker knows of a solution."""
        if self._last is None or self._last[0] is not solution:
            plan = unfold(self.needs, solution, proven=False)
            self._last = solution, Checked(room_with(self.room, self.needs, solution), plan)
        return self._last[1]

    def lacking(self, solution: Solution) -> dict[str, int]:
        """Return the broods that a solution sells too soon, each with the days that they lack."""
        return self.of(solution).sold_too_soon


def shortages_of(needs: Needs, short_on: tuple[Slice, ...]) -> tuple[Shortage, ...]:
    """Return the days on which vessels of some kind are surely short, to be read out."""
    return tuple(
        Shortage(
            on=needs.days[found.slot],
            kind=" or ".join(sorted({kind.sample.declared_as for kind in found.classes})),
            needed=found.needed,
            there=found.there,
            broods=tuple(sorted(brood.name for brood in found.broods)),
        )
        for found in short_on
    )
