"""Sell later what company has held back: the tables know where fish live, but not in what company."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

from allocator.model.board import Board
from allocator.model.naming import Solution
from allocator.model.settled import Settled
from allocator.needs import BroodNeeds, Needs

MOST_ROUNDS = 8
"""Fish that stay longer crowd those beside them, who then grow slower too; it settles in two or three rounds."""

MOST_TRIES = 4
"""Move days that are tried, should the first have no hand free (judgement)."""


def hold_back(
    needs: Needs, solution: Solution, lacking: Callable[[Solution], dict[str, int]]
) -> Solution | None:
    """Put off sales until all fish are long enough, each in the vessel it is in.

    Parameters
    ----------
    needs
        The tables of the room.
    solution
        How all broods are settled.
    lacking
        Tells of a solution which broods are sold too soon, each with the days that they lack.

    Returns
    -------
    Solution or None
        The same solution when nothing is sold too soon; None where a vessel is promised to others by then.
    """
    for _ in range(MOST_ROUNDS):
        late = lacking(solution)
        if not late:
            return solution
        board = Board(needs, solution.added)
        for index, settled in enumerate(solution.settled):
            board.put(index, settled)
        for brood in needs.broods:
            days = late.get(brood.brood.name)
            if days is not None and not _put_off(board, brood, days):
                return None
        solution = Solution(board.solution(), solution.added)
    return None


def _put_off(board: Board, brood: BroodNeeds, days: int) -> bool:
    """Sell a brood on a move day so many days later, or soon after; False where it cannot stay so long."""
    needs = board.needs
    settled = board.take(brood.index)
    due = needs.days[settled.sale] + timedelta(days=days)
    for slot in [slot for slot in needs.move_slots if needs.days[slot] >= due][:MOST_TRIES]:
        if all(
            board.free_for(brood, place.phase, place.parts, place.of, board.vessels[place.vessel])[
                settled.sale : slot
            ].all()
            for place in settled.places
            if place.end == settled.sale
        ):
            board.put(brood.index, _until(settled, slot))
            most = needs.room.keeper.most_moves_a_day
            if most is None or int(board.moves[slot]) <= most:
                return True
            board.take(brood.index)
    board.put(brood.index, settled)
    return False


def _until(settled: Settled, slot: int) -> Settled:
    places = tuple(
        replace(place, end=slot) if place.end == settled.sale else place for place in settled.places
    )
    entries = tuple(slot if entry == settled.sale else entry for entry in settled.entries)
    return replace(settled, entries=entries, sale=slot, places=places)
