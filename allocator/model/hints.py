"""Give the solver a settled room, or its own last answer, to start from."""

from collections.abc import Iterator

from ortools.sat.python import cp_model

from allocator.model.board import Board
from allocator.model.cohorts import Cohort, Unit
from allocator.model.naming import Solution
from allocator.model.room_model import CohortModel
from allocator.model.search import prepare_briefly
from allocator.model.settled import Settled
from allocator.model.terms import Literal

FILL_WORK = 2.0


def hint_solution(model: CohortModel, solution: Solution) -> None:
    """Hint dates, joins and portions of a settled room; the solver works out the rest."""
    model.model.clear_hints()  # type: ignore[no-untyped-call]
    board = Board(model.needs, solution.added)
    hints: dict[int, tuple[Literal, int]] = {}

    def hint(literal: Literal, value: int) -> None:
        if not isinstance(literal, int):
            hints[literal.index] = (literal, value)

    for brood, settled in zip(model.needs.broods, solution.settled, strict=True):
        board.put(brood.index, settled)
        for literal, value in _dates(model, brood.index, settled):
            hint(literal, value)
    taken = _cohorts(model, board)
    for (unit_index, cohort_index), literal in model.cohorts.joins.items():
        parts = taken.get((unit_index, cohort_index), 0)
        hint(literal, int(parts > 0))
        count = model.cohorts.parts[unit_index, cohort_index]
        if count is not literal:
            hint(count, parts)
    for index, extra in model.extra.items():
        hint(extra, solution.added.get(index, 0))
    for literal, value in hints.values():
        model.model.add_hint(literal, value)


def _dates(model: CohortModel, brood: int, settled: Settled) -> Iterator[tuple[Literal, int]]:
    """Yield what the dates of a brood, and the loss of its home, say of the literals of the model."""
    for number, entry in enumerate(_possible_entries(model, brood, settled)):
        for slot in model.dates.slots_of(brood, number):
            yield model.dates.by(brood, number, slot), int(slot >= entry)
    for number in range(len(settled.entries)):
        lost = settled.homeless is not None and number >= settled.homeless
        yield model.dates.gone(brood, number), int(lost)


def _possible_entries(model: CohortModel, brood: int, settled: Settled) -> list[int]:
    """Return the slots in which the phases begin; after the loss of a home, the first that the model allows."""
    begun = [*settled.entries, settled.sale]
    if settled.homeless is None:
        return begun
    for number in range(settled.homeless, len(begun)):
        after = begun[number - 1] if number else -1
        wanted = begun[number] if number == settled.homeless else after + 1
        slots = model.dates.slots_of(brood, number)
        begun[number] = next((slot for slot in slots if slot >= wanted), slots[-1])
    return begun


Led = tuple[int, str | int]
"""Who leads a cohort and in which class; -1 and the vessel for those who are there today."""


def _cohorts(model: CohortModel, board: Board) -> dict[tuple[int, int], int]:
    """Return the portions of each unit in each cohort: a vessel's stretch of use is led by its first lot."""
    known: dict[Led, list[Cohort]] = {}
    for cohort in model.cohorts.cohorts:
        known.setdefault(_led(cohort), []).append(cohort)
    stretches: dict[Led, list[list[tuple[Unit, int]]]] = {}
    for vessel in board.vessels.values():
        inside: list[tuple[int, Unit, int, int]] = []
        for b, place, _ in vessel.occupants:
            unit = model.cohorts.units[b, place.phase]
            inside.append((place.start, unit, place.end, place.parts))
        inside.sort(key=lambda row: (not row[1].phase.homes, row[0], row[1].index))
        led: Led = (-1, "")
        reach, clean = -1, model.needs.days[0]
        for start, unit, end, parts in inside:
            # before it is clean only its own line may follow, and is told as the same stretch
            over = start > reach and model.needs.days[start] >= clean
            if over or unit not in _members(known, led):
                led = (-1, vessel.name) if unit.phase.homes else (unit.index, vessel.kind.index)
                stretches.setdefault(led, []).append([])
            reach = max(reach, end)
            clean = max(clean, model.needs.clean_from(unit.brood, end))
            if unit in _members(known, led):
                stretches[led][-1].append((unit, 1 if unit.phase.homes else parts))
    taken: dict[tuple[int, int], int] = {}
    for led, found in stretches.items():
        found.sort(key=lambda stretch: -stretch[0][1] if stretch else 0)  # the model's order: fullest first
        for cohort, stretch in zip(known.get(led, ()), found, strict=False):
            taken |= {(unit.index, cohort.index): parts for unit, parts in stretch}
    return taken


def _led(cohort: Cohort) -> Led:
    return (-1, cohort.home or "") if cohort.leader is None else (cohort.leader.index, cohort.kind.index)


def _members(known: dict[Led, list[Cohort]], led: Led) -> list[Unit]:
    return known[led][0].members if led in known else []


def start_from(model: CohortModel, solution: Solution) -> bool:
    """Hint a settled room down to the last counting variable; False where the model does not allow it.

    Dates, joins and portions say all there is to say, but a search that starts from a hint with gaps may lose
    it. So the gaps are filled first, with everything that is settled held fast and every count pushed down.
    """
    if model.hinted is solution:
        return True
    model.hinted = None
    hint_solution(model, solution)
    counts = [value for value in model.objectives.values() if not isinstance(value, int)]
    model.model.minimize(sum(counts))
    # Held fast by their domains in a copy, and not by the parameter that fixes variables to their hints: that one
    # has aborted the whole process in OR-Tools 9.15.
    held = model.model.clone()
    hint = model.model.proto.solution_hint
    for index, value in zip(list(hint.vars), list(hint.values), strict=True):
        domain = held.proto.variables[index].domain
        domain.clear()
        domain.extend([value, value])
    held.clear_hints()  # type: ignore[no-untyped-call]
    filler = cp_model.CpSolver()
    filler.parameters.num_workers = 1
    filler.parameters.max_deterministic_time = FILL_WORK
    prepare_briefly(filler.parameters)
    filler.parameters.catch_sigint_signal = False
    if filler.solve(held) not in {cp_model.OPTIMAL, cp_model.FEASIBLE}:
        return False
    model.model.clear_hints()  # type: ignore[no-untyped-call]
    values = list(filler.response_proto.solution)
    whole = model.model.proto.solution_hint
    whole.vars.extend(range(len(values)))
    whole.values.extend(values)
    model.hinted = solution
    return True
