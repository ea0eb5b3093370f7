"""Sell later what company has held back: the tables know where fish live, but not in what company."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

from allocator.model.board import Board
from allocator.model.company import Company
from allocator.model.first_fit import FirstFit
from allocator.model.naming import Solution
from allocator.model.settled import Settled
from allocator.needs import BroodNeeds, Needs
from allocator.room import PinKind

MOST_ROUNDS = 8
"""Fish that stay longer crowd those beside them, who then grow slower too; it settles in two or three rounds."""

MOST_TRIES = 4
"""Move days that are tried, should the first have no hand free (judgement)."""


def hold_back(
    needs: Needs,
    solution: Solution,
    lacking: Callable[[Solution], dict[str, int]],
    board: Board | None = None,
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
    board
        One with the same vessels, to try it on; whoever is settled otherwise on it is settled as told first.

    Returns
    -------
    Solution or None
        The same solution when nothing is sold too soon; None where a vessel is promised to others by then.
    """
    for _ in range(MOST_ROUNDS):
        late = lacking(solution)
        if not late:
            return solution
        if board is None:
            board = Board(needs, solution.added)
        board.settle_as(solution.settled)
        for brood in needs.broods:
            days = late.get(brood.brood.name)
            if days is not None and not _put_off(board, brood, days):
                return None
        solution = Solution(board.solution(), solution.added)
    return None


class PutOff:
    """Puts off, on a board, the sales of those whom company holds back; tells whether all of them can stay so long."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self._company = Company()
        self._spare = Board(board.needs, board.added)
        room = board.needs.room
        awaited = {*room.order_of, *(pin.brood for pin in room.pins if pin.kind is PinKind.MOVE_ON)}
        self._awaited = [brood for brood in board.needs.broods if brood.name in awaited]

    def __call__(self) -> bool:
        """Put them off; False, with the board as it was, where a vessel, or the fish, are promised to others by then."""
        board = self.board
        solution = Solution(board.solution(), board.added)
        done = hold_back(board.needs, solution, self._later_than, self._spare)
        if done is None or self._keeps_waiting(done):
            return False
        board.settle_as(done.settled)
        return True

    def _keeps_waiting(self, solution: Solution) -> bool:
        """Tell whether fish of an order, or of a pinned sale, would now leave after the days that their tables allow."""
        return any(
            settled.homeless is None and settled.sale > brood.sale_slots[-1]
            for brood, settled in ((brood, solution.settled[brood.index]) for brood in self._awaited)
        )

    def _later_than(self, solution: Solution) -> dict[str, int]:
        self._spare.settle_as(solution.settled)
        return self._company.held_back_on(self._spare)


def _put_off(board: Board, brood: BroodNeeds, days: int) -> bool:
    """Sell a brood on a move day so many days later, or soon after; False where it cannot stay so long."""
    settled = board.take(brood.index)
    if any(_stays(board, brood, settled, slot) for slot in _later_slots(board, settled, days)):
        return True
    board.put(brood.index, settled)
    return False


def _stays(board: Board, brood: BroodNeeds, settled: Settled, slot: int) -> bool:
    """Put a brood on the board as sold in another slot, if it may stay so long and the keeper has a hand free then."""
    if not _may_stay(board, brood, settled, slot):
        return False
    board.put(brood.index, _until(settled, slot))
    most = board.needs.room.keeper.most_moves_a_day
    if most is None or int(board.moves[slot]) <= most:
        return True
    board.take(brood.index)
    return False


def let_stay(fit: FirstFit, late: dict[str, int]) -> None:
    """Let broods stay where they are for so many days more, and settle anew who was to come after them.

    A brood that cannot stay even so is settled anew itself. The tables of `fit` know of the days already.
    """
    board, broods = fit.board, fit.needs.broods
    before = dict(board.settled)
    for brood in sorted((b for b in broods if b.name in late), key=lambda b: (before[b.index].sale, b.index)):
        settled = board.settled[brood.index]
        slots = _later_slots(board, settled, late[brood.name])
        if settled != before[brood.index] or not slots:
            continue  # it was settled anew meanwhile; the next round looks at it again
        board.take(brood.index)
        after = _who_comes_after(board, brood, settled, slots[0])
        for index in after:
            board.take(index)
        if not any(_stays(board, brood, settled, slot) for slot in slots):
            fit.settle(brood)
        for index in sorted(after, key=lambda index: broods[index].optional):  # who must be housed first
            fit.settle(broods[index])


def _later_slots(board: Board, settled: Settled, days: int) -> list[int]:
    """Return the move slots from so many days after a sale on."""
    needs = board.needs
    due = needs.days[settled.sale] + timedelta(days=days)
    return [slot for slot in needs.move_slots if needs.days[slot] >= due][:MOST_TRIES]


def _may_stay(board: Board, brood: BroodNeeds, settled: Settled, slot: int) -> bool:
    """Tell whether a brood that is not on the board may stay in its last vessels until another slot."""
    return all(
        board.free_for(brood, place.phase, place.parts, place.of, board.vessels[place.vessel])[
            settled.sale : slot
        ].all()
        for place in settled.places
        if place.end == settled.sale
    )


def _who_comes_after(board: Board, brood: BroodNeeds, settled: Settled, slot: int) -> list[int]:
    """Return who is to come into the vessels of a brood between its sale and another slot, and is not there today."""
    needs = board.needs
    clean = needs.days[slot] + timedelta(days=needs.clean_out_days(brood))
    vessels = {place.vessel for place in settled.places if place.end == settled.sale}
    return sorted(
        {
            index
            for name in vessels
            for index, place, _ in board.vessels[name].occupants
            if place.start >= settled.sale and needs.days[place.start] < clean
        }
    )


def _until(settled: Settled, slot: int) -> Settled:
    places = tuple(
        replace(place, end=slot) if place.end == settled.sale else place for place in settled.places
    )
    entries = tuple(slot if entry == settled.sale else entry for entry in settled.entries)
    return replace(settled, entries=entries, sale=slot, places=places)
