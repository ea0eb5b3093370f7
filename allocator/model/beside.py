"""Can these few be housed beside all others, who stay where they are: every vessel by its name (`by_name`).

A room that is too large for that question as a whole can still be asked about some of its broods.
"""

from collections.abc import Container
from functools import cached_property

import numpy as np

from allocator.model.board import Board, excess_before
from allocator.model.by_name import ByName
from allocator.model.cohorts import Unit
from allocator.model.settled import Settled, home_parts
from allocator.model.tank_rows import Bearing, Tank
from allocator.model.terms import Literal, is_one, is_zero
from allocator.needs import FULL, Bools, BroodNeeds, Needs

OTHER_TANK = 2
SOLD_SOONER = 1
"""What it counts to live in another tank than so far, and to be sold sooner (judgement). Company, of which the model
knows nothing, has its say on a plan that it bears: the less is changed, the more of that is still right (measured, see
docs/explanation/formulations.md)."""


class Left(Bearing):
    """What the tanks of a board bear beside those who are settled on it."""

    def __init__(self, board: Board) -> None:
        self._board = board
        self._whole = {brood.name: brood for brood in board.needs.broods}
        self._free: dict[tuple[int, int], Bools] = {}

    def allowed(self, unit: Unit, tank: Tank) -> Bools:
        """Return in which slots a unit, or a part of it, may live in a tank."""
        key = unit.index, tank.index
        if key not in self._free:
            of = unit.phase.portions
            homes = dict(unit.phase.homes)
            ways = [home_parts(homes[tank.name])] if homes else [(parts, of) for parts in {1, of}]
            brood, vessel = self._whole[unit.brood.name], self._board.vessels[tank.name]
            self._free[key] = np.logical_or.reduce(
                [self._board.free_for(brood, unit.number, *way, vessel) for way in ways]
            )
        return self._free[key]

    def room_in(self, tank: Tank, cap: int, slot: int) -> int:
        """Return how much of a cap is left."""
        return max(FULL - int(self._board.vessels[tank.name].load[cap, slot]), 0)


class Beside(ByName):
    """The question whether some broods can be housed beside those who are on a board, as little changed as may be.

    Parameters
    ----------
    needs
        The integer tables of the whole room.
    board
        All others, settled, with the vessels that may be used. Must not change until the answer is read.
    names
        The broods that are asked about. None of them may be found in one of `overfull` vessels.
    before
        How they were settled so far, by name.
    """

    def __init__(self, needs: Needs, board: Board, names: Container[str], before: dict[str, Settled]) -> None:
        self._board = board
        super().__init__(needs.only(names), 0, Left(board))
        self._change_little(before)

    def _all_tanks(self, cost: int) -> list[Tank]:  # noqa: ARG002 - all that may be used is on the board
        return [Tank(n, vessel.kind, vessel.name, 1) for n, vessel in enumerate(self._board.vessels.values())]

    @cached_property
    def _only_counted(self) -> frozenset[int]:
        return frozenset()

    def _change_little(self, before: dict[str, Settled]) -> None:
        """Begin the search with what is, and count what is otherwise."""
        changes: list[Literal] = []
        for brood in self.needs.broods:
            settled = before[brood.name]
            if settled.homeless is None:
                changes += self._changes_of(brood, settled)
        self.model.minimize(sum(changes))

    def _changes_of(self, brood: BroodNeeds, settled: Settled) -> list[Literal]:
        changes: list[Literal] = []
        for number in range(len(brood.phases)):
            mine = {p.vessel for p in settled.places if p.phase == number and p.start < p.end}
            unit = self.unit(brood, number)
            for tank in self.of(unit):
                joins = self.joins[unit.index, tank.index]
                if isinstance(joins, int):
                    continue
                self.model.add_hint(joins, tank.name in mine)
                if tank.name not in mine:
                    changes.append(OTHER_TANK * joins)
        for number, entry in enumerate((*settled.entries, settled.sale)):
            for slot in self.dates.slots_of(brood.index, number):
                if not is_one(by := self.dates.by(brood.index, number, slot)):
                    self.model.add_hint(by, slot >= entry)
        sooner = self.dates.by(brood.index, len(brood.phases), settled.sale - 1)
        return changes if is_zero(sooner) else [*changes, SOLD_SOONER * sooner]


def overfull(board: Board) -> set[str]:
    """Return the vessels in which more is found today than they bear: what is forgiven there hangs on all of it."""
    broods = board.needs.broods
    return {
        vessel.name
        for vessel in board.vessels.values()
        if vessel.found
        and excess_before(
            sum(vessel.found.values(), np.zeros_like(vessel.load)),
            min(broods[index].helpless_until for index in vessel.found),
        ).any()
    }
