"""From a solution to a checked answer; nothing leaves the planner unchecked."""

from allocator.check import Breach, check_plan
from allocator.codes import Rule
from allocator.model.bounds import worst_slices
from allocator.model.levels import COUNTED
from allocator.model.naming import Solution
from allocator.model.run import Found, Run
from allocator.model.settled import Score
from allocator.model.unfold import unfold
from allocator.needs import Needs
from allocator.result import Answer, LevelOutcome, Shortage
from allocator.room import Pin, PinKind, Room


class PlannerFault(Exception):  # noqa: N818 - a fault of ours, told apart from bad input
    """A plan that was about to leave breaks a rule: our bug, and the plan is not given out."""

    def __init__(self, breaches: list[Breach]) -> None:
        super().__init__("; ".join(f"{b.rule.value}: {b.text}" for b in breaches[:5]))
        self.breaches = breaches


def unkept_pins(room: Room, fault: PlannerFault) -> list[Pin]:
    """Return the pins that no plan keeps, if nothing else is wrong with the best one."""
    if any(breach.rule is not Rule.PINNED for breach in fault.breaches):
        return []
    broods = {breach.brood for breach in fault.breaches}
    return [pin for pin in room.pins if pin.brood in broods]


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

    Should the best break a rule after all, an earlier one that keeps them all is given instead, with nothing
    called proven. What is wrong today and cannot be helped yet is returned beside the answer.
    """
    faults: list[Breach] = []
    for choice in (found, *reversed(found.earlier)):
        levels = found.levels if choice is found else _as_counted(found.levels, choice.score)
        proven = bool(levels) and all(level.proven for level in levels if level.level == 1)
        plan = unfold(run.needs, choice.solution, proven=proven)
        room = room_with(run.room, run.needs, choice.solution)
        breaches = check_plan(room, plan)
        broken = [breach for breach in breaches if not breach.as_found]
        if not broken:
            found.solution, found.score = choice.solution, choice.score
            answer = Answer(
                plan=plan,
                found_by=choice.by,
                levels=tuple(levels),
                shortages=shortages if choice.score.homeless_fish_days or choice.score.added_cost else (),
            )
            return answer, tuple(breaches)
        faults = faults or broken
    raise PlannerFault(faults)


def _as_counted(levels: list[LevelOutcome], score: Score) -> list[LevelOutcome]:
    """Return the levels with the values of another solution, none of them proven."""
    fields = {name: value for rows in COUNTED.values() for _, name, _, value, _ in rows}
    return [
        level.model_copy(
            update={
                "value": getattr(score, fields[level.name])
                / (100 if level.name == "cost of added tanks" else 1),
                "proven": False,
            }
        )
        for level in levels
    ]


def shortages_of(needs: Needs) -> tuple[Shortage, ...]:
    """Return the days on which vessels of some kind are surely short, to be read out."""
    return tuple(
        Shortage(
            on=needs.days[found.slot],
            kind=" or ".join(sorted({kind.sample.declared_as for kind in found.classes})),
            needed=found.needed,
            there=found.there,
            broods=tuple(sorted(brood.name for brood in found.broods)),
        )
        for found in worst_slices(needs)
    )
