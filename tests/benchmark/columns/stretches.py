"""The best stretch of use of one vessel, given what it is worth to house each lot in each slot.

A state is who is in the vessel; time goes from slot to slot, lots leave first and then come. All states that keep
the caps and clashes are listed once for each slot, so that the best stretch for any prices is found by looking up.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from allocator.needs import FULL, Ints, Needs, VesselClass
from benchmark.columns.lots import Item, SharingGroup, clash, clean_at, items_of

Numbers = NDArray[np.int64] | NDArray[np.float64]
Places = NDArray[np.intp]
Keys = NDArray[np.uint64]

MOST_STATES = 30_000
"""States in one slot; where there are more, the group is left out of the bound (judgement)."""


class TooManyStatesError(Exception):
    """There are too many ways to fill a vessel to list them."""


@dataclass(frozen=True)
class Stretch:
    """A vessel's stretch of use: which items, each from a slot to a slot (half-open).

    `begin` is its first slot and `end` the one in which strangers may follow, after cleaning out.
    """

    kind: int
    group: int
    stays: tuple[tuple[int, int, int], ...]
    begin: int
    end: int


@dataclass(frozen=True)
class _Step:
    """One item that may come in, or leave, at the beginning of a slot: from which states to which, in order of these.

    `first` is where it comes into the empty vessel; `until` the slot in which strangers may come when it has left.
    """

    item: int
    source: Places
    target: Places
    first: int = -1
    until: int = 0


@dataclass(frozen=True)
class _Turn:
    """From the states of one slot to those of the next: who leaves, who of the states goes on, who comes."""

    leaving: list[_Step]
    old: Places | None
    new: Places | None
    states: int
    coming: list[_Step]


class Vessel:
    """All stretches of use that one vessel of a class could have with the lots of one group.

    Raises
    ------
    TooManyStatesError
        If there are too many to list.
    """

    def __init__(
        self, needs: Needs, group: SharingGroup, number: int, kind: VesselClass, sorts: int = 1
    ) -> None:
        self.needs = needs
        self.kind = kind
        self.number = number
        self.items: list[Item] = [
            i for lot in group.lots for i in items_of(needs, lot, kind, sorts) if i.there.any()
        ]
        rng = np.random.default_rng(1)
        self._names: Keys = rng.integers(1, 2**63, size=len(self.items), dtype=np.uint64)
        self._turns = list(self._list_turns())
        self.states = max((turn.states for turn in self._turns), default=0)

    # -- all states, once --------------------------------------------------------------------------------

    def _list_turns(self) -> Iterator[_Turn]:
        if not self.items:
            return
        there = np.array([item.there for item in self.items])
        clashes = self._clashes(there)
        loads = np.array([item.load for item in self.items])
        keys: Keys = np.zeros(1, dtype=np.uint64)
        members = np.zeros((1, 0), dtype=np.bool_)
        active: list[int] = []
        before: tuple[tuple[int, ...], bytes, bytes] | None = None
        for slot in range(self.needs.slots + 1):
            now = [int(i) for i in np.flatnonzero(there[:, slot])] if slot < self.needs.slots else []
            leaving = [self._leave(slot, i, keys, members[:, a]) for a, i in enumerate(active)]
            asked, apart = self._asked(now, slot, loads), self._pairs(clashes, now, slot)
            shape = (tuple(now), asked.tobytes(), apart.tobytes())
            if shape == before:
                fresh, who = keys, members
            else:
                fresh, who = self._list_states(now, asked, apart)
            before = shape
            old, new = _common(keys, fresh)
            coming = [self._come(slot, i, fresh, who[:, a]) for a, i in enumerate(now)]
            keys, members, active = fresh, who, now
            yield _Turn(
                [step for step in leaving if step is not None],
                old,
                new,
                len(fresh),
                [step for step in coming if step is not None],
            )

    def _clashes(self, there: NDArray[np.bool_]) -> dict[tuple[int, int], NDArray[np.bool_]]:
        found = {}
        for b, other in enumerate(self.items):
            for a in range(b):
                if (there[a] & there[b]).any():
                    found[a, b] = clash(self.needs, self.items[a].lot, other.lot)
        return found

    def _pairs(
        self, clashes: dict[tuple[int, int], NDArray[np.bool_]], now: list[int], slot: int
    ) -> NDArray[np.bool_]:
        """Return which items of a slot may not be together."""
        apart = np.zeros((len(now), len(now)), dtype=np.bool_)
        for y, b in enumerate(now):
            for x, a in enumerate(now[:y]):
                apart[x, y] = apart[y, x] = clashes[a, b][slot]
        return apart

    def _asked(self, now: list[int], slot: int, loads: Ints) -> Ints:
        """Return what each item asks of the vessel in this slot, and in later ones until which it cannot leave.

        Who is together now is together until somebody may leave: the sums just before that must fit too.
        """
        if not now:
            return np.zeros((0, 0), dtype=np.int64)
        leave = [min(end for end in self.items[i].leaves if end > slot) for i in now]
        columns = [loads[now, :, slot]]
        for late in sorted({end - 1 for end in leave if slot < end - 1 < self.needs.slots}):
            bound = np.array([end > late for end in leave])
            columns.append(loads[now, :, late] * bound[:, None])
        asked = np.concatenate(columns, axis=1)
        return asked[:, asked.sum(axis=0) > FULL]

    def _list_states(
        self, now: list[int], asked: Ints, apart: NDArray[np.bool_]
    ) -> tuple[Keys, NDArray[np.bool_]]:
        """Return the states of a slot in order of their keys, with who is in each."""
        members = np.zeros((1, len(now)), dtype=np.bool_)
        total = np.zeros((1, asked.shape[1]), dtype=np.int64)
        for y in range(len(now)):
            more = total + asked[y]
            fits = (more <= FULL).all(axis=1)
            fits &= ~members[:, apart[y, :]].any(axis=1)
            extra = members[fits].copy()
            extra[:, y] = True
            members = np.concatenate((members, extra))
            total = np.concatenate((total, more[fits]))
            if len(members) > MOST_STATES:
                raise TooManyStatesError
        names = self._names[now] if now else np.zeros(0, dtype=np.uint64)
        keys: Keys = (members * names[None, :]).sum(axis=1, dtype=np.uint64)
        order = np.argsort(keys)
        keys = keys[order]
        if (keys[1:] == keys[:-1]).any():
            raise TooManyStatesError  # two states with one key: practically never
        return keys, members[order]

    def _leave(self, slot: int, item: int, keys: Keys, inside: NDArray[np.bool_]) -> _Step | None:
        if slot not in self.items[item].leaves:
            return None
        source = np.flatnonzero(inside)
        target = np.searchsorted(keys, keys[source] - self._names[item])
        order = np.argsort(target)
        until = clean_at(self.needs, self.items[item].lot.brood, slot)
        return _Step(item, source[order], target[order], until=until)

    def _come(self, slot: int, item: int, keys: Keys, inside: NDArray[np.bool_]) -> _Step | None:
        if slot not in self.items[item].entries:
            return None
        target = np.flatnonzero(inside)
        source = np.searchsorted(keys, keys[target] - self._names[item])
        first = int(np.flatnonzero(source == 0)[0])
        return _Step(item, source, target, first)

    # -- the best, for given prices ----------------------------------------------------------------------

    def best(  # noqa: C901 - one pass over time, who leaves and who comes
        self, worth: Numbers, fee: Numbers, rent: Numbers, *, most: int = 1
    ) -> list[tuple[float, Stretch]]:
        """Return the stretches that are worth most, best first, those that end in different slots.

        Parameters
        ----------
        worth
            For each item and slot: what it is worth to have it there.
        fee
            For each item: what it costs to take it in.
        rent
            For each slot: what it costs that the vessel is in use.
        most
            How many to return at most; only such as are worth more than nothing.

        Notes
        -----
        All sums are of the kind of number given: whole numbers give exact answers.
        """
        if not self.items:
            return []
        zero = worth.dtype.type(0)
        never = zero - worth.dtype.type(2**60)
        so_far = np.concatenate((np.zeros((len(self.items), 1), worth.dtype), worth.cumsum(axis=1)), axis=1)
        owed = np.concatenate((np.zeros(1, rent.dtype), rent.cumsum()))
        value = np.zeros(1, dtype=worth.dtype)
        trail: list[_Trail] = []
        ends: list[_End] = []
        dirty, last = never, _End(0.0, 0, 0, 0, 0)
        for slot, turn in enumerate(self._turns):
            here = _Trail(turn, [], [], {})
            for number, step in enumerate(turn.leaving):
                found = value[step.source] + so_far[step.item, slot]
                if step.target[0] == 0:  # the last one out
                    got = found[0] - owed[step.until]
                    if got > 0:
                        ends.append(_End(got, slot, number, int(step.source[0]), step.until))
                    if found[0] > dirty:
                        dirty, last = found[0], _End(got, slot, number, int(step.source[0]), step.until)
                    found[0] = never
                better = found > value[step.target]
                value[step.target[better]] = found[better]
                here.left.append(better)
            if turn.old is not None and turn.new is not None:
                fresh = np.full(turn.states, never, dtype=worth.dtype)
                fresh[turn.new] = value[turn.old]
                value = fresh
            for number, step in enumerate(turn.coming):
                found = value[step.source]
                if (
                    step.first >= 0
                ):  # into an empty vessel, or one that their own have left and that is not clean
                    found[step.first] += owed[slot]
                    if dirty > found[step.first]:
                        found[step.first] = dirty
                        here.again[number] = last
                found -= so_far[step.item, slot] + fee[step.item]
                better = found > value[step.target]
                value[step.target[better]] = found[better]
                here.came.append(better)
            trail.append(here)
        ends.sort(key=lambda end: (-end.got, end.slot, end.number))
        chosen: list[tuple[float, Stretch]] = []
        slots: set[int] = set()
        for end in ends:
            if end.slot not in slots and len(chosen) < most:
                slots.add(end.slot)
                chosen.append((end.got, self._trace(trail, end)))
        return chosen

    def _trace(self, trail: list["_Trail"], end: "_End") -> Stretch:
        """Return the stretch that ends so: the way back to the empty vessel."""
        stays: list[tuple[int, int, int]] = []
        until: dict[int, int] = {}
        back: _End | None = end
        slot = end.slot
        while back is not None:
            slot, number, state = back.slot, back.number, back.state
            until[trail[slot].turn.leaving[number].item] = slot
            back = None
            while state:
                here = trail[slot]
                for at in reversed(range(number)):
                    source = _before(here.turn.leaving[at], here.left[at], state)
                    if source is not None:
                        state = source
                        until[here.turn.leaving[at].item] = slot
                slot -= 1
                here = trail[slot]
                for at in reversed(range(len(here.turn.coming))):
                    source = _before(here.turn.coming[at], here.came[at], state)
                    if source is not None:
                        state = source
                        item = here.turn.coming[at].item
                        stays.append((item, slot, until.pop(item)))
                        if state == 0:
                            back = here.again.get(at)
                            break
                if state and here.turn.old is not None and here.turn.new is not None:
                    state = int(here.turn.old[np.searchsorted(here.turn.new, state)])
                number = len(here.turn.leaving)
        return Stretch(self.kind.index, self.number, tuple(sorted(stays)), slot, end.until)


@dataclass(frozen=True)
class _End:
    """Where a stretch may end: what it is worth then, the slot and step in which the last one leaves, who that is."""

    got: float
    slot: int
    number: int
    state: int
    until: int


@dataclass(frozen=True)
class _Trail:
    """What was chosen at the beginning of a slot: for each step, which states are best reached by it.

    `again` says for a step into the empty vessel that it was not clean, and who had left it.
    """

    turn: _Turn
    left: list[NDArray[np.bool_]]
    came: list[NDArray[np.bool_]]
    again: dict[int, _End]


def _before(step: _Step, better: NDArray[np.bool_], state: int) -> int | None:
    """Return the state from which a step led to a state; None where it was not by this step."""
    place = int(np.searchsorted(step.target, state))
    if place < len(step.target) and step.target[place] == state and better[place]:
        return int(step.source[place])
    return None


def _common(keys: Keys, fresh: Keys) -> tuple[Places | None, Places | None]:
    """Return where the states that are in both lists are in each, in order of the second; None if they are the same."""
    if keys is fresh:
        return None, None
    at = np.minimum(np.searchsorted(keys, fresh), len(keys) - 1)
    new = np.flatnonzero(keys[at] == fresh)
    return at[new], new
