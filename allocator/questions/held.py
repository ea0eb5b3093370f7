"""A plan held still: which of the broods that are to come find room beside it, with nobody else moved."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from allocator.check import Checked
from allocator.model.company import Company, held_back_in
from allocator.model.first_fit import FirstFit
from allocator.model.holding_back import hold_back
from allocator.model.naming import Solution
from allocator.model.option import EASY, Thrift
from allocator.model.retold import retold
from allocator.model.unfold import unfold
from allocator.needs import BroodNeeds, needs_of, wanted_on
from allocator.plan import Plan
from allocator.questions.refusal import refusal
from allocator.replies.refusal import Refusal, Snag
from allocator.room import Brood, Room


class NotHeldError(Exception):
    """The plan tells of a brood in a way that cannot be read back: it was edited by hand."""

    def __init__(self, broods: Sequence[str]) -> None:
        super().__init__(", ".join(broods))
        self.broods = tuple(broods)


class TooShortError(Exception):
    """Broods that are wanted on a day and would not be long enough on it, wherever they lived."""

    def __init__(self, broods: Sequence[str]) -> None:
        super().__init__(", ".join(broods))
        self.broods = tuple(broods)


def strain_of(room: Room, plan: Plan) -> int:
    """Return the points of strain of a plan, as in its levels; who is homeless or not taken adds none.

    Parameters
    ----------
    room
        With the vessels that the plan adds.
    plan
        Checked.
    """
    needs = needs_of(room)
    board = FirstFit(needs, {}).board
    for index, settled in retold(needs, plan).items():
        board.put(index, settled)
    return board.score().strain


@dataclass(frozen=True)
class Beside:
    """What comes of the question.

    Attributes
    ----------
    room, plan
        With those that find room; the checker has passed them.
    taken
        The names of those that find room, in order.
    refused
        The others, each with what is in its way.
    sold_later
        The days by which company puts off the sale of those who were there before.
    """

    room: Room
    plan: Plan
    taken: tuple[str, ...]
    refused: tuple[Refusal, ...]
    sold_later: dict[str, int]


class Held:
    """A plan held still.

    Parameters
    ----------
    room
        With the vessels that the plan adds.
    plan
        Checked. It says where everybody in the room lives but those who are to come.
    coming
        Broods that are not in the room yet. They are settled in this order.
    thrift
        Whether they are spread out in comfort, or put together so that more find room.
    wanted
        The day for which those who are to come are wanted, if there is one: they are kept until then, and find no room
        where they would not be long enough.

    Raises
    ------
    NotHeldError
        If the plan was edited by hand in ways that the search has no words for.
    TooShortError
        If there is a day on which they are wanted, and some would not be long enough wherever they lived.
    """

    def __init__(
        self,
        room: Room,
        plan: Plan,
        coming: Sequence[Brood],
        thrift: Thrift = EASY,
        *,
        wanted: date | None = None,
    ) -> None:
        self.plan = plan
        self.room = room.model_copy(update={"broods": (*room.broods, *coming)})
        self.needs = needs_of(self.room, until=wanted)
        if wanted is not None:
            self.needs = wanted_on(self.needs, {brood.name for brood in coming}, wanted)
        self.coming = [self._needs_of(brood.name) for brood in coming]
        too_short = [brood.name for brood in self.coming if not brood.sale_slots]
        if too_short:
            raise TooShortError(too_short)
        self.fit = FirstFit(self.needs, {}, thrift)
        told = retold(self.needs, plan)
        unread = [b.name for b in self.needs.broods if b not in self.coming and b.index not in told]
        if unread:
            raise NotHeldError(unread)
        for index, settled in told.items():
            self.fit.board.put(index, settled)
        for brood in self.coming:
            self.fit.board.put(brood.index, self.fit.without_home(brood))
        self._company = Company()
        self._reckoned_late = self._company.held_back_on(self.fit.board)
        self._before = dict(told)

    def _needs_of(self, name: str) -> BroodNeeds:
        return next(brood for brood in self.needs.broods if brood.name == name)

    def settle(self, *, all_or_none: bool = False) -> Beside:
        """Settle those who are to come, one after another, and let the checker look at it.

        Parameters
        ----------
        all_or_none
            Stop at the first that finds no room: whoever comes after it is in none of the two lists.
        """
        refused: dict[int, Refusal] = {}
        for brood in self.coming:
            why = self._settle(brood)
            if why is not None:
                refused[brood.index] = why
                if all_or_none:
                    break
        while True:
            taken = [b for b in self.coming if self.fit.board.settled[b.index].homeless is None]
            found = self._checked({brood.name for brood in self.coming if brood not in taken})
            if found is not None or not taken:
                break
            last = taken[-1]
            self._take_off(last)
            refused[last.index] = Refusal(brood=last.name, snag=Snag.COMPANY)
        assert found is not None  # noqa: S101 - with nobody new it is the plan that was given
        room, plan = found
        later = {
            brood.name: (self.needs.days[now] - self.needs.days[before]).days
            for brood in self.needs.broods
            if brood.index in self._before
            and (now := self.fit.board.settled[brood.index].sale) > (before := self._before[brood.index].sale)
        }
        return Beside(
            room, plan, tuple(b.name for b in taken), tuple(refused[i] for i in sorted(refused)), later
        )

    def _settle(self, brood: BroodNeeds) -> Refusal | None:
        """Settle one brood; return what is in its way if it finds no room."""
        board = self.fit.board
        before = dict(board.settled)
        board.take(brood.index)
        if self.fit.settle(brood).homeless is not None:
            self._take_off(brood)
            return refusal(self.fit, brood)
        if self._held_back(self._company.held_back_on(board)):
            put_off = hold_back(
                self.needs,
                Solution(board.solution(), {}),
                lambda solution: self._held_back(held_back_in(self.needs, solution)),
            )
            if put_off is None:
                for index, settled in before.items():
                    board.take(index)
                    board.put(index, settled)
                return Refusal(brood=brood.name, snag=Snag.COMPANY)
            self._adopt(put_off)
        return None

    def _held_back(self, reckoned: dict[str, int]) -> dict[str, int]:
        """Return who is held back by those who came: the quick reckoning is late even for the plan as it was given."""
        late = {name: days - self._reckoned_late.get(name, 0) for name, days in reckoned.items()}
        return {name: days for name, days in late.items() if days > 0}

    def _adopt(self, solution: Solution) -> None:
        board = self.fit.board
        for index, settled in enumerate(solution.settled):
            if settled != board.settled[index]:
                board.take(index)
                board.put(index, settled)

    def _take_off(self, brood: BroodNeeds) -> None:
        self.fit.board.take(brood.index)
        self.fit.board.put(brood.index, self.fit.without_home(brood))

    def _checked(self, names: set[str]) -> tuple[Room, Plan] | None:
        """Return the room and the plan without those named; None where the checker finds fault with it.

        Fish that are sold too soon after all are kept for longer where that can be.
        """
        room = self.room.model_copy(
            update={"broods": tuple(b for b in self.room.broods if b.name not in names)}
        )

        def checked(solution: Solution) -> Checked:
            whole = unfold(self.needs, solution, proven=False)
            kept = {
                "verdict": self.plan.verdict,
                "added": self.plan.added,
                "homeless": tuple(row for row in whole.homeless if row.brood not in names),
                "not_taken": tuple(row for row in whole.not_taken if row.brood not in names),
            }
            return Checked(room, whole.model_copy(update=kept))

        reckoned = self.fit.board.solution()
        as_planned = tuple(self._before.get(index, settled) for index, settled in enumerate(reckoned))
        for start in dict.fromkeys((as_planned, reckoned)):  # the quick reckoning puts off more than need be
            solution = hold_back(self.needs, Solution(start, {}), lambda s: checked(s).sold_too_soon)
            if solution is None:
                continue
            found = checked(solution)
            if all(breach.as_found for breach in found.breaches):
                self._adopt(solution)
                return room, found.plan
        return None
