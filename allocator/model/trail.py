"""Dynamic programming over the phases of one brood: the cheapest way to each slot, and the way back."""

from collections.abc import Iterable, Iterator

import numpy as np

from allocator.model.option import NEVER, Alike, Option
from allocator.needs import Floats

State = tuple[int, int]
"""Which of the slots of entry of a phase, and whether the brood has been slowed so far (0 or 1)."""


class Trail:
    """For each phase walked through so far, what it costs at least to enter it in each slot.

    Parameters
    ----------
    entries
        For each phase in turn, the slots in which it may begin.
    """

    def __init__(self, entries: list[list[int]]) -> None:
        self.entries = entries
        start = np.full((len(entries[0]), 2), NEVER)
        start[0, 0] = 0.0
        self._best: list[Floats] = [start]
        self._steps: list[dict[State, tuple[State, str | None]]] = [{}]

    @property
    def place(self) -> int:
        """The phase that has been reached."""
        return len(self._best) - 1

    def reached(self) -> Iterator[tuple[State, int, float]]:
        """Yield each way to enter the phase that has been reached: state, slot and cost."""
        for row, slot in enumerate(self.entries[self.place]):
            for slowed in (0, 1):
                cost = float(self._best[-1][row, slowed])
                if cost < NEVER:
                    yield (row, slowed), slot, cost

    def go_on(
        self,
        options: Iterable[Option | Alike],
        *,
        slows: bool,
        may_skip: bool,
        gate: Floats,
        strain: list[int],
    ) -> None:
        """Walk through one more phase.

        Parameters
        ----------
        options
            The vessels in which the phase may be spent.
        slows
            Whether a short vessel slows the fish in this phase.
        may_skip
            Whether the phase may be left out.
        gate
            For each slot of the next phase: 0, or NEVER where the keeper has no hand free.
        strain
            What it costs to begin the next phase in each of its slots.
        """
        starts, ends = self.entries[self.place], self.entries[self.place + 1]
        best, after = self._best[-1], np.full((len(ends), 2), NEVER)
        steps: dict[State, tuple[State, str | None]] = {}
        paces = [slowed for slowed in (0, 1) if (best[:, slowed] < NEVER).any()]
        columns = np.arange(len(ends))
        for option in options:
            cost, vessel = option.between(starts, ends)
            costs = cost + gate
            for slowed in paces:
                then = slowed or int(option.slow and slows)
                total = best[:, slowed][:, None] + costs
                each = total.min(axis=1)
                which = each.argmin(axis=0)
                values = each[which, columns]
                for column in (values < after[:, then]).nonzero()[0].tolist():
                    after[column, then] = values[column]
                    one = which[column]
                    row = int(total[one, :, column].argmin())
                    steps[column, then] = ((row, slowed), option.vessels[vessel[one, row, column]].name)
        for column, end in enumerate(ends if may_skip else ()):
            for slowed in (0, 1):
                now = starts.index(end) if end in starts else None
                if now is not None and best[now, slowed] < after[column, slowed]:
                    after[column, slowed] = best[now, slowed]
                    steps[column, slowed] = ((now, slowed), None)
        self._best.append(after + np.array(strain)[:, None])
        self._steps.append(steps)

    def back(self, state: State, place: int | None = None) -> tuple[list[int], list[str | None]]:
        """Return the slots of entry up to a phase (else the one reached), and the vessel of each phase before it."""
        place = self.place if place is None else place
        slots = [self.entries[place][state[0]]]
        vessels: list[str | None] = []
        for step in range(place, 0, -1):
            state, vessel = self._steps[step][state]
            vessels.append(vessel)
            slots.append(self.entries[step - 1][state[0]])
        return slots[::-1], vessels[::-1]
