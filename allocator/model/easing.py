"""Make a large room more comfortable: where it is crowded, a few broods at a time are settled anew by the solver."""

from random import Random

import numpy as np

from allocator.model.board import Board, board_with
from allocator.model.naming import Solution, trimmed
from allocator.model.resettling import Resettling
from allocator.model.run import Found, Run
from allocator.needs import COMFORT, Needs
from allocator.result import FoundBy

SEED = 11

# Chosen by trying on club rooms, see docs/explanation/speed.md.
ROUNDS = 8
STEPS_A_ROUND = 10
LEAST_GAIN = 0.01
BROODS_A_STEP = 8
WORK_OF_A_STEP = 0.2
SLOTS_AROUND = 6
MOST_OTHER_VESSELS = 2
WHERE_IT_IS_CROWDED = 0.8
WEEKS_ASTRAY = 9
SAME_LINE_WEEKS = 4

MOST_BROODS = 1000
"""In a larger room a step takes too long and changes too little (judgement)."""


def ease(run: Run, found: Found, passes: float) -> None:
    """Lessen the strain of a plan, step by step, as long as that helps and there is time.

    Parameters
    ----------
    found
        The plan; a better one takes its place.
    passes
        What comes after: see `Run.tight`.
    """
    needs = found.needs
    if len(needs.broods) > MOST_BROODS:
        return
    board = board_with(needs, found.solution.added, found.solution.settled)
    resettling = Resettling(board)
    tell = run.tell("strain")
    random = Random(SEED)  # noqa: S311 - a search, not a secret
    if not resettling.keeps_company():
        return
    begun = board.score()
    for _ in range(ROUNDS):
        before = board.score().strain
        for _ in range(STEPS_A_ROUND):
            tell(float(board.score().strain), None)
            if run.tight(passes):
                break
            chosen = _crowded(board, random) if random.random() < WHERE_IT_IS_CROWDED else []
            chosen = _and_neighbours(needs, random, chosen)
            resettling.step(chosen, run.budget(WORK_OF_A_STEP, 1.0, brief=True), run.stop)
        if before - board.score().strain < max(LEAST_GAIN * before, 1):
            break
    run.work += resettling.work
    if board.score().key() < begun.key():
        found.earlier.append(Found(found.needs, found.solution, found.score, found.by))
        found.solution = trimmed(needs, Solution(board.solution(), board.added))
        found.score = board.score()
        found.by = FoundBy.SOLVER


def _crowded(board: Board, random: Random) -> list[int]:
    """Return who is in a crowded vessel at its worst, and who is in one or two others then, best of its own lines."""
    needs = board.needs
    vessels = [vessel for vessel in board.vessels.values() if vessel.occupants]
    above = [np.maximum(v.comfort.max(axis=0) - COMFORT, 0) * needs.slot_days for v in vessels]
    weights = [int(strain.sum()) for strain in above]
    if not any(weights):
        return []
    [worst] = random.choices(range(len(vessels)), weights)
    [slot] = random.choices(range(needs.slots), above[worst].tolist())

    def near(number: int) -> list[int]:
        stays = vessels[number].occupants
        return [b for b, p, _ in stays if p.start <= slot + SLOTS_AROUND and p.end >= slot - SLOTS_AROUND]

    chosen = dict.fromkeys(near(worst))
    lines = {needs.broods[index].line for index in chosen}
    others = [number for number in range(len(vessels)) if number != worst]
    random.shuffle(others)
    others.sort(key=lambda number: all(needs.broods[index].line not in lines for index in near(number)))
    for number in others[: random.randint(0, MOST_OTHER_VESSELS)]:
        chosen |= dict.fromkeys(near(number))
    return list(chosen)[:BROODS_A_STEP]


def _and_neighbours(needs: Needs, random: Random, chosen: list[int]) -> list[int]:
    """Return some broods, or any one, with as many of those near to it in time as make a step."""
    first = chosen[0] if chosen else random.randrange(len(needs.broods))
    line, day = needs.broods[first].line, needs.broods[first].brood.collected

    def far(index: int) -> tuple[float, int]:
        brood = needs.broods[index]
        weeks = abs((brood.brood.collected - day).days) / 7
        weeks += random.random() * WEEKS_ASTRAY - (SAME_LINE_WEEKS if brood.line == line else 0)
        return weeks, index

    others = sorted((index for index in range(len(needs.broods)) if index not in {first, *chosen}), key=far)
    return [*dict.fromkeys([first, *chosen]), *others][: max(BROODS_A_STEP, len(chosen))]
