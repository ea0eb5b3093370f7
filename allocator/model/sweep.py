"""The least strain of all who share the vessels of their last stage: slot after slot, every way to be shared out.

The young of a season wait where they grow up until there is room where they end up. So what strain a plan cannot do
without arises mostly among those who are in their last stage, and it hangs on who shares with whom. Here every way
is followed at once: a state tells who still waits, and who is together in a vessel; of all ways that lead to one
state only the cheapest is kept. What is left out only makes strain smaller: all else has a room to itself, vessels
need no cleaning, a keeper any number of hands, and fish are sold on the first day on which any way allows it.
"""

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import reduce
from operator import or_

import numpy as np

from allocator.model.alone import NEVER, Alone, Gauge, alone
from allocator.model.count_stays import usable
from allocator.needs import CAPS, COMFORT, FULL, BroodNeeds, Needs

MOST_STATES = 1_000
"""So many states are kept from one slot to the next; where there are more, a lot is forgotten (judgement)."""

MOST_PORTIONS = 2
"""A brood that may be shared out more is left out: there would be too many ways (judgement)."""

State = tuple[int, tuple[int, ...]]
"""Who waits, as a set with a bit for each lot, and for each vessel in use its class and who is in it."""


@dataclass(frozen=True)
class _Lot:
    """A brood in its last stage.

    Attributes
    ----------
    bits
        Its bits: one, or one for each of two portions.
    cost
        For each class, by slot of entry: all the strain that is its own, before and after.
    enters
        The slots of entry that are worth looking at.
    until
        The slot in which it is gone.
    """

    brood: BroodNeeds
    bits: tuple[int, ...]
    cost: dict[int, dict[int, int]]
    enters: tuple[int, ...]
    until: int

    @property
    def mask(self) -> int:
        """All its bits."""
        return sum(self.bits)


def least_strain(
    needs: Needs,
    added: dict[int, int],
    *,
    enough: int,
    most_states: int = MOST_STATES,
    go_on: Callable[[], bool] = lambda: True,
) -> int:
    """Return what strain a plan that houses all has at least.

    Parameters
    ----------
    needs
        The integer tables.
    added
        How many vessels of each class may be added.
    enough
        More than this need not be shown.
    most_states
        How much work may go into it.
    go_on
        Asked for each slot; False ends it with what is known by then.
    """
    gauge = Gauge(needs)
    found = {brood.index: alone(needs, brood, gauge) for brood in needs.broods}
    lots: list[_Lot] = []
    bits = 0
    for brood in needs.broods:
        lot = _lot(needs, brood, found[brood.index], bits)
        if lot is not None:
            lots.append(lot)
            bits += len(lot.bits)
    mine = {lot.brood.index for lot in lots}
    rest = sum(one.least for index, one in found.items() if index not in mine)
    if not lots:
        return min(rest, enough)
    return min(rest + _Sweep(needs, added, gauge, lots, enough - rest, most_states).least(go_on), enough)


def _lot(needs: Needs, brood: BroodNeeds, one: Alone, bits: int) -> _Lot | None:
    """Return a brood as a lot in its last stage; None where it may yet move within it, or is there today."""
    number = len(brood.phases) - 1
    phase = brood.phases[number]
    skips = brood.life.rules.stages[phase.stage].may_skip
    if brood.last_stage_phase != number or phase.portions > MOST_PORTIONS or phase.homes or skips:
        return None
    cost: dict[int, dict[int, int]] = {}
    gone = min(one.until.values(), default=0)
    for kind in needs.classes:
        load = brood.load[kind.index] // phase.portions
        fits = brood.allowed[phase.stage][kind.index] & (load <= FULL).all(axis=0)
        if not usable(kind) or not fits.any():
            continue
        sums = np.concatenate(([0], np.cumsum(np.where(fits, brood.strain[kind.index], NEVER))))
        by_slot = {
            slot: value + int(sums[max(gone, slot)] - sums[slot]) for slot, value in one.entering.items()
        }
        by_slot = {slot: value for slot, value in by_slot.items() if value < NEVER}
        if by_slot:
            cost[kind.index] = by_slot
    if not cost:
        return None
    places = tuple(1 << (bits + part) for part in range(phase.portions))
    return _Lot(brood, places, cost, _worth_it(cost), gone)


def _worth_it(cost: dict[int, dict[int, int]]) -> tuple[int, ...]:
    """Return the slots of entry than which no later one costs as little: who comes later crowds nobody."""
    slots = sorted({slot for by_slot in cost.values() for slot in by_slot}, reverse=True)
    least = dict.fromkeys(cost, NEVER)
    kept = []
    for slot in slots:
        better = [kind for kind, by_slot in cost.items() if by_slot.get(slot, NEVER) < least[kind]]
        if better:
            kept.append(slot)
        for kind in better:
            least[kind] = cost[kind][slot]
    return tuple(reversed(kept))


class _Sweep:
    """All ways to share out the vessels of the last stages, from slot to slot."""

    def __init__(
        self, needs: Needs, added: dict[int, int], gauge: Gauge, lots: list[_Lot], enough: int, most: int
    ) -> None:
        self.needs = needs
        self.lots = lots
        self.enough = enough
        self.most = most
        self.bits = sum(len(lot.bits) for lot in lots)
        self.everyone = (1 << self.bits) - 1
        self.copies = {kind.index: kind.copies + added.get(kind.index, 0) for kind in needs.classes}
        self.lot_of = {bit: lot for lot in lots for bit in lot.bits}
        self.comfort: dict[tuple[int, int], list[int]] = {}
        self.load: dict[tuple[int, int], list[list[int]]] = {}
        for lot in lots:
            for kind in lot.cost:
                portions = len(lot.bits)
                part = lot.brood.portion_comfort(kind, portions)
                for bit in lot.bits:
                    self.comfort[bit, kind] = gauge.comfort(lot.brood, kind, part).tolist()
                    self.load[bit, kind] = (lot.brood.load[kind] // portions).T.tolist()
        self.begins: dict[int, list[_Lot]] = {}
        for lot in lots:
            for slot in lot.enters:
                self.begins.setdefault(slot, []).append(lot)
        self.least_from = {lot.mask: _least_from(lot) for lot in lots}
        self._clash: dict[tuple[int, int], list[bool]] = {}
        self._crowd: dict[tuple[int, int], int] = {}

    def least(self, go_on: Callable[[], bool]) -> int:
        """Return what all lots together cost at least, up to what is enough."""
        states: dict[State, int] = {(self.everyone, ()): 0}
        first = min(lot.enters[0] for lot in self.lots)
        last = max(lot.until for lot in self.lots)
        reached = first - 1
        for slot in range(first, max(last, *(lot.enters[-1] for lot in self.lots)) + 1):
            if not go_on():
                break
            states, reached = self._step(states, slot), slot
            if not states:
                return self.enough
        left = {waiting for waiting, _ in states}
        to_come = {waiting: self._all_to_come(waiting, reached) for waiting in left}
        return min(self.enough, *(cost + to_come[waiting] for (waiting, _), cost in states.items()))

    def _step(self, states: dict[State, int], slot: int) -> dict[State, int]:
        sold = sum(lot.mask for lot in self.lots if lot.until == slot)
        if sold:
            states = _cheapest(
                ((state[0], self._without(state[1], sold)), cost) for state, cost in states.items()
            )
        yet_to_enter = list(self.begins.get(slot, ()))
        while yet_to_enter:
            states = _cheapest(self._entering(states, yet_to_enter.pop(0), slot))
            states = self._few(states, slot, yet_to_enter)
        days = int(self.needs.slot_days[slot])
        to_come: dict[int, int] = {}
        after: dict[State, int] = {}
        for state, cost in states.items():
            waiting, vessels = state
            total = cost + sum(self._strain(vessel, slot) for vessel in vessels) * days
            if waiting not in to_come:
                to_come[waiting] = self._all_to_come(waiting, slot)
            if total + to_come[waiting] < self.enough:
                after[state] = total
        return after

    def _all_to_come(self, waiting: int, slot: int) -> int:
        """Return what those who wait cost at least if they enter after a slot."""
        return sum(self._to_come(lot, slot) for lot in self.lots if waiting & lot.mask)

    def _to_come(self, lot: _Lot, slot: int) -> int:
        """Return what it costs a lot at least to enter after a slot."""
        after = bisect_right(lot.enters, slot)
        return self.least_from[lot.mask][lot.enters[after]] if after < len(lot.enters) else NEVER

    def _few(self, states: dict[State, int], slot: int, yet_to_enter: list[_Lot]) -> dict[State, int]:
        """Forget lots until there are few enough states, the smallest first: only their own strain counts from now on.

        Those that are `yet_to_enter` may still do so in this slot.
        """
        while len(states) > self.most:
            there = 0
            for _, vessels in states:
                there |= reduce(or_, vessels, 0) & self.everyone
            lots = [lot for lot in self.lots if lot.mask & there]
            if not lots:
                break
            gone = min(lots, key=lambda lot: (self._peak(lot, slot), lot.mask))
            self.begins = {s: [lot for lot in mine if lot is not gone] for s, mine in self.begins.items()}
            since = slot - 1 if gone in yet_to_enter else slot
            forgotten = []
            for (waiting, vessels), cost in states.items():
                more = self._to_come(gone, since) if waiting & gone.mask else 0
                state = waiting & ~gone.mask, self._without(vessels, gone.mask)
                if cost + more < self.enough:
                    forgotten.append((state, cost + more))
            states = _cheapest(iter(forgotten))
        return states

    def _peak(self, lot: _Lot, slot: int) -> int:
        """Return how much a portion of a lot will take at most of the vessel that it fills least."""
        last = max(lot.until, slot + 1)
        return min(max(self.comfort[lot.bits[0], kind][slot:last], default=0) for kind in lot.cost)

    def _without(self, vessels: tuple[int, ...], lots: int) -> tuple[int, ...]:
        """Return the vessels without some lots; who is left in none is dropped."""
        left = [vessel & ~lots for vessel in vessels]
        return tuple(sorted(vessel for vessel in left if vessel & self.everyone))

    def _entering(self, states: dict[State, int], lot: _Lot, slot: int) -> Iterator[tuple[State, int]]:
        for (waiting, vessels), cost in states.items():
            if not waiting & lot.mask:
                yield (waiting, vessels), cost
                continue
            if slot < lot.enters[-1]:
                yield (waiting, vessels), cost
            left = waiting & ~lot.mask
            own = min(by_slot.get(slot, NEVER) for by_slot in lot.cost.values())
            if lot.until <= slot:
                yield (left, vessels), cost + own
                continue
            for kind, by_slot in lot.cost.items():
                if slot in by_slot and len(lot.bits) == 1:
                    for after in self._put(vessels, lot.mask, kind, slot):
                        yield (left, after), cost + by_slot[slot]
            if len(lot.bits) > 1:
                for after in self._share_out(vessels, lot, slot):
                    yield (left, after), cost + own

    def _put(self, vessels: tuple[int, ...], lots: int, kind: int, slot: int) -> Iterator[tuple[int, ...]]:
        """Yield the vessels after some have entered one of a class."""
        used = 0
        for number, vessel in enumerate(vessels):
            if vessel >> self.bits == kind:
                used += 1
                if self._strain(vessel | lots, slot) < NEVER:
                    yield tuple(sorted((*vessels[:number], vessel | lots, *vessels[number + 1 :])))
        if used < self.copies[kind] and self._strain(kind << self.bits | lots, slot) < NEVER:
            yield tuple(sorted((*vessels, kind << self.bits | lots)))

    def _share_out(self, vessels: tuple[int, ...], lot: _Lot, slot: int) -> Iterator[tuple[int, ...]]:
        """Yield the vessels after a lot of two portions has entered: both in one, or one in each of two."""
        kinds = [kind for kind, by_slot in lot.cost.items() if slot in by_slot]
        one, other = lot.bits
        for kind in kinds:
            yield from self._put(vessels, lot.mask, kind, slot)
            for first in self._put(vessels, one, kind, slot):
                for second in kinds:
                    for both in self._put(first, other, second, slot):
                        if not any(vessel & lot.mask == lot.mask for vessel in both):
                            yield both

    def _strain(self, vessel: int, slot: int) -> int:
        """Return by how much a vessel is above comfort on each day of a slot; NEVER where it must not be."""
        key = vessel, slot
        known = self._crowd.get(key)
        if known is None:
            known = self._crowd[key] = self._look(vessel, slot)
        return known

    def _look(self, vessel: int, slot: int) -> int:
        kind, inside = vessel >> self.bits, vessel & self.everyone
        bits = [bit for bit in self.lot_of if inside & bit]
        mates = [self.lot_of[bit] for bit in bits]
        for number, one in enumerate(mates):
            for other in mates[number + 1 :]:
                if one is not other and self._apart(one, other)[slot]:
                    return NEVER
        loads = [self.load[bit, kind][slot] for bit in bits]
        if any(sum(load[cap] for load in loads) > FULL for cap in range(CAPS)):
            return NEVER
        return max(sum(self.comfort[bit, kind][slot] for bit in bits) - COMFORT, 0)

    def _apart(self, one: _Lot, other: _Lot) -> list[bool]:
        key = one.mask, other.mask
        if key not in self._clash:
            alone = [lot.brood.phases[-1].alone for lot in (one, other)]
            self._clash[key] = self.needs.clash(one.brood, alone[0], other.brood, alone[1]).tolist()
        return self._clash[key]


def _least_from(lot: _Lot) -> dict[int, int]:
    """Return by slot of entry what it costs at least to enter in it or later."""
    least, found = NEVER, {}
    for slot in reversed(lot.enters):
        least = min(least, *(by_slot.get(slot, NEVER) for by_slot in lot.cost.values()))
        found[slot] = least
    return found


def _cheapest(ways: Iterable[tuple[State, int]]) -> dict[State, int]:
    """Return the least cost of each state."""
    found: dict[State, int] = {}
    for state, cost in ways:
        if cost < found.get(state, NEVER):
            found[state] = cost
    return found
