"""House those left over in a room that is too large for the solver: a few broods at a time settled anew by it.

First fit leaves some broods of a club room without a home. One of them, and those in its way, are asked about with every
vessel by its name, beside all others (`beside`). Of company the solver knows nothing; but little is changed of a plan
that company bears, so that the sales it wants put off can mostly be put off.
"""

from random import Random

from allocator.model.beside import Beside, overfull
from allocator.model.board import Board, board_with, score_of
from allocator.model.company import held_back_in
from allocator.model.holding_back import PutOff
from allocator.model.improving import budget, is_large
from allocator.model.naming import Solution, trimmed
from allocator.model.run import Found, Run
from allocator.model.search import search
from allocator.model.settled import Settled
from allocator.needs import with_held_back
from allocator.result import FoundBy

SEED = 5

# Measured on club rooms, see docs/explanation/formulations.md.
MOST_BROODS = 300
MOST_STEPS = 20
MOST_IN_VAIN = 6
MOST_STEPS_IN_ALL = 20
MOST_HOMELESS = 6
BROODS_AT_ONCE = 22
LEAST_AT_ONCE = 15
MOST_AT_ONCE = 60
MORE_AFTER_NO = 6
FEWER_AFTER_NONE = 4
MOST_TURNS = 2
"""So often a question is put, the second time with those whom company holds back staying for longer."""

SHARE_OF_ITS_FIRST_PHASE = 0.6
SHARE_OF_LATER_PHASES = 0.5
"""What part of those to be settled anew is in the way of a brood in the phase for which it has no home; and what part of
the others in each phase after it but the last (judgement)."""

FRIENDS_FIRST = 2
CHANCE = 4.0
"""A tank is emptied sooner where few are in it, where one of them may share with the brood, and by chance: how many
broods the other two are worth (judgement)."""


def may_settle_few_anew(run: Run, found: Found) -> bool:
    """Tell whether a room has the size for it, few are left over, and they are not surely so."""
    left = sum(settled.homeless is not None for settled in found.solution.settled)
    fits = is_large(run) and len(run.needs.broods) <= MOST_BROODS and run.effort <= 1
    fits = fits and run.few_settled < MOST_STEPS_IN_ALL
    return fits and 0 < left <= MOST_HOMELESS and not run.needs.mixed_today and not run.over()


def settle_few_anew(run: Run, found: Found, added: dict[int, int], stage: str) -> Found:
    """Return a plan with fewer broods without a home, as company leaves it; else the same.

    Parameters
    ----------
    run, found
        What is shared, and a plan by first fit.
    added
        How many vessels of each class may be added.
    stage
        What to call it in the live line.
    """
    if not may_settle_few_anew(run, found):
        return found
    board = board_with(run.needs, added, found.solution.settled)
    if not PutOff(board)():
        return found
    few = FewAnew(run, board, stage)
    few.go_on()
    solution = trimmed(run.needs, Solution(board.solution(), added))
    score = score_of(run.needs, solution.added, solution.settled)
    if score.key() >= found.score.key():
        return found
    return Found(run.needs, solution, score, FoundBy.SOLVER)


class FewAnew:
    """Settles broods without a home, and those in their way, anew on a board that company bears."""

    def __init__(self, run: Run, board: Board, stage: str) -> None:
        self.run = run
        self.board = board
        self.stage = stage
        self._agrees = PutOff(board)
        self._random = Random(SEED)  # noqa: S311 - a search, not a secret
        stuck = overfull(board)
        self._movable = {
            brood.index
            for brood in board.needs.broods
            if not any(name in stuck for name, _ in brood.phases[0].homes)
        }
        self._at_once: dict[int, int] = {}

    def go_on(self) -> None:
        """Go on until all have homes, so many steps are made, or so many in a row housed nobody."""
        in_vain = 0
        for number in range(MOST_STEPS):
            left = self._left_over()
            if not left or in_vain == MOST_IN_VAIN or self.run.over():
                return
            self._house(left[number % len(left)])
            self.run.few_settled += 1
            in_vain = in_vain + 1 if len(self._left_over()) == len(left) else 0

    def _left_over(self) -> list[int]:
        broods = self.board.needs.broods
        return [
            index
            for index, settled in sorted(self.board.settled.items())
            if settled.homeless is not None and not broods[index].optional and index in self._movable
        ]

    def _house(self, first: int) -> None:
        """House one brood, with those in its way settled anew, if company bears it; else leave all as it was."""
        at_once = self._at_once.setdefault(first, BROODS_AT_ONCE)
        anew = self._in_its_way(first, at_once)
        before = dict(self.board.settled)
        held: dict[str, int] = {}
        for _ in range(MOST_TURNS):
            answer = self._asked(anew, held)
            if not isinstance(answer, dict):
                change = -FEWER_AFTER_NONE if answer is None else MORE_AFTER_NO
                self._at_once[first] = min(max(at_once + change, LEAST_AT_ONCE), MOST_AT_ONCE)
                return
            self._settle(answer)
            if self._hands_enough() and self._agrees():
                return
            late = held_back_in(self.board.needs, Solution(self.board.solution(), self.board.added))
            self._settle(before)
            if not late or self.run.over():
                return
            held = {name: held.get(name, 0) + days for name, days in late.items()}
            more = [b.index for b in self.board.needs.broods if b.name in late and b.index in self._movable]
            anew = list(dict.fromkeys([*anew, *more]))[: at_once + MORE_AFTER_NO]

    def _settle(self, settled: dict[int, Settled]) -> None:
        self.board.settle_as([settled.get(index, now) for index, now in sorted(self.board.settled.items())])

    def _hands_enough(self) -> bool:
        most = self.board.needs.room.keeper.most_moves_a_day
        return most is None or int(self.board.moves.max(initial=0)) <= most

    def _asked(self, anew: list[int], held: dict[str, int]) -> dict[int, Settled] | bool | None:
        """Return how these could be settled; False where they cannot, None where that is not known."""
        run, board, broods = self.run, self.board, self.board.needs.broods
        before = {index: board.take(index) for index in anew}
        names = {broods[index].name: index for index in anew}
        needs = with_held_back(board.needs, held) if held else board.needs
        model = Beside(needs, board, names, {name: before[index] for name, index in names.items()})
        for index, settled in before.items():
            board.put(index, settled)
        result = search(model.model, budget(run, "few"), stop=run.stop, tell=run.tell(self.stage))
        run.work += result.work
        if result.value is None:
            return False if result.impossible else None
        answer = model.read(result.value).settled
        return {names[brood.name]: answer[brood.index] for brood in model.needs.broods}

    def _in_its_way(self, first: int, most: int) -> list[int]:
        """Return a brood without a home and those in tanks that would do for it, phase by phase."""
        brood = self.board.needs.broods[first]
        found = {first: None}
        begin = self.board.settled[first].homeless or 0
        last = len(brood.phases) - 1
        for number in range(begin, last + 1):
            share = SHARE_OF_ITS_FIRST_PHASE if number == begin else SHARE_OF_LATER_PHASES
            more = most - len(found)
            limit = most if number == last else len(found) + max(int(more * share), 1)
            for there in self._by_tank(first, number, set(found)):
                if len(found.keys() | there) <= limit:
                    found |= dict.fromkeys(there)
        return list(found)

    def _by_tank(self, first: int, number: int, known: set[int]) -> list[list[int]]:
        """Return who is in each tank that would do for a phase while it may last, the best to be emptied first."""
        needs = self.board.needs
        brood = needs.broods[first]
        friends = needs.shares_with(brood.line)
        stage, since = brood.phases[number].stage, brood.phases[number].entries[0]
        later = brood.phases[number + 1].entries if number + 1 < len(brood.phases) else brood.sale_slots
        found: list[tuple[float, str, list[int]]] = []
        for kind, rank in self.board.ranks.items():
            if not brood.allowed[stage][kind][since : later[-1]].any():
                continue
            for vessel in rank.vessels:
                there = [o for o, p, _ in vessel.occupants if p.start < later[-1] and since < p.end]
                if self._movable.issuperset(there):
                    ease = FRIENDS_FIRST * any(needs.broods[index].line in friends for index in there)
                    turn = len(set(there) - known) - ease + CHANCE * self._random.random()
                    found.append((turn, vessel.name, list(dict.fromkeys(there))))
        return [there for _, _, there in sorted(found)]
