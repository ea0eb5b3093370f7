"""What one vessel could hold in turn: every mix of lots with fixed times, as a graph, and its most valuable path.

The times of the lots are fixed, so they come and go in one order. A *state* is who is in the vessel at a moment;
a path through the states is one vessel's stretch of use. Lots are given points, and the path with the most points
is found by going through the states once, from the last moment to the first.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from allocator.needs import FULL, Bools, Ints

Keys = NDArray[Any]
"""Sets of lots as whole numbers, a bit each; numbers of any length where 62 bits do not do."""

BITS = 62
IMPOSSIBLE = -(2**60)


@dataclass(frozen=True)
class Lot:
    """Fish that stay in one vessel through some slots, half-open; `load` has shape (caps, slots of the room)."""

    name: str
    start: int
    end: int
    load: Ints


class TooManyStatesError(Exception):
    """There are more states than are worth looking at."""


@dataclass(frozen=True)
class _Comes:
    """A lot may come: from which states it can, in the order in which the states with it are appended."""

    lot: int
    before: Ints


@dataclass(frozen=True)
class _Goes:
    """A lot goes, or loads grow: the state after it for each state before; -1 where there is none."""

    after: Ints


class Stretches:
    """All stretches of use that a vessel could have.

    Parameters
    ----------
    lots
        In any order.
    apart
        Pairs of places in `lots` that must not meet in one vessel.
    most_states
        More states than this, added up over all moments, and it is given up.
    go_on
        Asked now and then; False gives up.

    Raises
    ------
    TooManyStatesError
        If it was given up.
    """

    def __init__(
        self,
        lots: Sequence[Lot],
        apart: frozenset[tuple[int, int]] = frozenset(),
        *,
        most_states: int,
        go_on: Callable[[], bool] = lambda: True,
    ) -> None:
        self.lots = tuple(lots)
        self.most_states = most_states
        self.states = 0
        self._steps: list[_Comes | _Goes] = []
        self._bit = _bits_of(self.lots)
        self._apart: list[set[int]] = [set() for _ in self.lots]
        for one, other in apart:
            self._apart[one].add(other)
            self._apart[other].add(one)
        wide = max(self._bit, default=0) >= 1 << BITS
        self._keys: Keys = np.zeros(1, dtype=object if wide else np.int64)
        caps = self.lots[0].load.shape[0] if self.lots else 1
        self._loads: Ints = np.zeros((caps, 1), dtype=np.int64)
        self._alive: set[int] = set()
        self._now: dict[int, Ints] = {}
        for slot in sorted({lot.start for lot in self.lots} | _slots_of_change(self.lots)):
            for number in sorted(n for n in self._alive if self.lots[n].end <= slot):
                self._go(number)
            self._grow(slot)
            for number, lot in enumerate(self.lots):
                if lot.start == slot:
                    self._come(number, slot)
                    if self.states > most_states or not go_on():
                        raise TooManyStatesError

    def _has(self, number: int) -> Bools:
        return np.asarray((self._keys & self._bit[number]) != 0)

    def _go(self, number: int) -> None:
        has = self._has(number)
        left = np.flatnonzero(~has)
        self._loads -= np.where(has, self._now[number][:, None], 0)
        order = left[np.argsort(self._keys[left], kind="stable")]
        place = np.empty(len(self._keys), dtype=np.int64)
        place[left] = np.arange(len(left))
        without = self._keys[has] ^ self._bit[number]
        place[has] = place[order[np.searchsorted(self._keys[order], without)]]
        self._steps.append(_Goes(place))
        self._keys, self._loads = self._keys[left], self._loads[:, left]
        self._alive.remove(number)
        self.states += len(left)

    def _grow(self, slot: int) -> None:
        """Bring the loads of who is there up to date; some mixes may no longer fit."""
        for number in sorted(self._alive):
            load = self.lots[number].load[:, slot]
            change = load - self._now[number]
            if change.any():
                self._loads += np.where(self._has(number), change[:, None], 0)
                self._now[number] = load
        fits: Bools = np.asarray((self._loads <= FULL).all(axis=0))
        if not fits.all():
            after = np.full(len(fits), -1, dtype=np.int64)
            after[fits] = np.arange(int(fits.sum()))
            self._steps.append(_Goes(after))
            self._keys, self._loads = self._keys[fits], self._loads[:, fits]

    def _come(self, number: int, slot: int) -> None:
        load = self.lots[number].load[:, slot]
        self._now[number] = load
        grown = self._loads + load[:, None]
        fits = (grown <= FULL).all(axis=0)
        for other in sorted(self._apart[number] & self._alive):
            fits &= ~self._has(other)
        before = np.flatnonzero(fits)
        self._steps.append(_Comes(number, before))
        self._keys = np.concatenate((self._keys, self._keys[before] | self._bit[number]))
        self._loads = np.concatenate((self._loads, grown[:, before]), axis=1)
        self._alive.add(number)
        self.states += len(self._keys)

    def best(self, points: Sequence[int]) -> tuple[int, tuple[int, ...]]:
        """Return the most points that one vessel can serve, and the lots (places in `lots`) that bring them."""
        value: Ints = np.zeros(len(self._keys), dtype=np.int64)
        takes: list[Bools] = []
        for step in reversed(self._steps):
            value, better = _back(step, value, points)
            if better is not None:
                takes.append(better)
        return int(value[0]), self._walk(takes)

    def all_worth(self, points: Sequence[int], least: int, most: int) -> list[tuple[int, ...]] | None:
        """Return every stretch of at least so many points; None where there are more than `most` on the way."""
        to_come = self._to_come(points)
        state: Ints = np.zeros(1, dtype=np.int64)
        got: Ints = np.zeros(1, dtype=np.int64)
        served: list[tuple[int, ...]] = [()]
        for step, after in zip(self._steps, to_come[1:], strict=True):
            if isinstance(step, _Goes):
                state = step.after[state]
            else:
                count = len(after) - len(step.before)
                place = np.searchsorted(step.before, state)
                can = np.flatnonzero(np.isin(state, step.before))
                state = np.concatenate((state, count + place[can]))
                got = np.concatenate((got, got[can] + points[step.lot]))
                served += [(*served[row], step.lot) for row in can.tolist()]
            keep = np.flatnonzero((state >= 0) & (got + after[np.maximum(state, 0)] >= least))
            state, got = state[keep], got[keep]
            served = [served[row] for row in keep.tolist()]
            if len(served) > most:
                return None
        return served

    def _to_come(self, points: Sequence[int]) -> list[Ints]:
        """Return the most points that are still to come from each state, before each step and after the last."""
        value: Ints = np.zeros(len(self._keys), dtype=np.int64)
        found = [value]
        for step in reversed(self._steps):
            value, _ = _back(step, value, points)
            found.append(value)
        return found[::-1]

    def _walk(self, takes: list[Bools]) -> tuple[int, ...]:
        """Follow the best path from the empty vessel on."""
        state, served = 0, []
        count = 1
        for step in self._steps:
            if isinstance(step, _Goes):
                state = int(step.after[state])
                count = int(step.after.max()) + 1
                continue
            better = takes.pop()
            place = int(np.searchsorted(step.before, state))
            if place < len(step.before) and step.before[place] == state and better[place]:
                served.append(step.lot)
                state = count + place
            count += len(step.before)
        return tuple(served)


def _back(step: _Comes | _Goes, value: Ints, points: Sequence[int]) -> tuple[Ints, Bools | None]:
    """Return the most points to come from each state before a step, from those after it.

    Where a lot may come, also from which of the states in which it can it had better; None where one goes.
    """
    if isinstance(step, _Goes):
        return np.where(step.after >= 0, value[step.after], IMPOSSIBLE), None
    count = len(value) - len(step.before)
    with_it = value[count:] + points[step.lot]
    value = value[:count].copy()
    better: Bools = with_it > value[step.before]
    value[step.before] = np.maximum(value[step.before], with_it)
    return value, better


def _slots_of_change(lots: Sequence[Lot]) -> set[int]:
    """Return the slots in which any lot needs another room than in the slot before."""
    found: set[int] = set()
    for lot in lots:
        changes = np.flatnonzero(
            (lot.load[:, lot.start + 1 : lot.end] != lot.load[:, lot.start : lot.end - 1]).any(axis=0)
        )
        found.update((changes + lot.start + 1).tolist())
    return found


def _bits_of(lots: Sequence[Lot]) -> list[int]:
    """Give each lot a bit that nobody has who is there at the same time."""
    bits = [0] * len(lots)
    free: list[int] = []
    busy: list[tuple[int, int]] = []
    used = 0
    for number in sorted(range(len(lots)), key=lambda n: (lots[n].start, n)):
        gone = [row for row in busy if row[0] <= lots[number].start]
        busy = [row for row in busy if row[0] > lots[number].start]
        free = sorted(free + [bit for _, bit in gone])
        if not free:
            free, used = [used], used + 1
        bit = free.pop(0)
        busy.append((lots[number].end, bit))
        bits[number] = 1 << bit
    return bits
