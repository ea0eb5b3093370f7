"""The least strain of all who share the vessels of their last stage: slot after slot, every way to be shared out.

The young of a season wait where they grow up until there is room where they end up. So what strain a plan cannot do
without arises mostly among those who are in their last stage, and it hangs on who shares with whom. Here every way
is followed at once: a state tells who still waits, and who is together in a vessel; of all ways that lead to one
state only the cheapest is kept. What is left out only makes strain smaller: all else has a room to itself, vessels
need no cleaning, a keeper any number of hands, and fish are sold on the first day on which any way allows it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from allocator.model.alone import NEVER, Alone, Gauge, alone
from allocator.model.count_stays import usable
from allocator.needs import CAPS, COMFORT, FULL, BroodNeeds, Ints, Needs

MOST_WAYS = 40_000
"""So many ways are followed, all slots added up; then what is known is enough (judgement: about 0.1 s for 10,000)."""

State = tuple[int, tuple[int, ...]]
"""Who waits, as a set with a bit for each lot, and for each vessel in use its class and who is in it."""


@dataclass(frozen=True)
class _Lot:
    """A brood in its last stage.

    Attributes
    ----------
    place
        Its bit.
    cost
        For each class, by slot of entry: all the strain that is its own, before and after.
    enters
        The slots of entry that are worth looking at.
    until
        For each class, the slot in which it is gone.
    """

    brood: BroodNeeds
    place: int
    alone: Alone
    cost: dict[int, dict[int, int]]
    enters: tuple[int, ...]
    until: dict[int, int]
    from_slot: dict[int, int] = field(default_factory=dict)


def least_strain(
    needs: Needs, added: dict[int, int], *, enough: int, most_ways: int = MOST_WAYS
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
    most_ways
        How much work may go into it.
    """
    gauge = Gauge(needs)
    found = {brood.index: alone(needs, brood, gauge) for brood in needs.broods}
    lots: list[_Lot] = []
    for brood in needs.broods:
        lot = _lot(needs, brood, found[brood.index], gauge, len(lots))
        if lot is not None:
            lots.append(lot)
    mine = {lot.brood.index for lot in lots}
    rest = sum(one.least for index, one in found.items() if index not in mine)
    if not lots:
        return min(rest, enough)
    sweep = _Sweep(needs, added, gauge, lots, enough - rest, most_ways)
    return min(rest + sweep.least(), enough)


def _lot(needs: Needs, brood: BroodNeeds, one: Alone, gauge: Gauge, place: int) -> _Lot | None:
    """Return a brood as a lot in its last stage; None where it may be split or moved within it, or is there today."""
    number = len(brood.phases) - 1
    phase = brood.phases[number]
    skips = brood.life.rules.stages[phase.stage].may_skip
    if brood.last_stage_phase != number or phase.portions > 1 or phase.homes or phase.optional or skips:
        return None
    cost: dict[int, dict[int, int]] = {}
    until: dict[int, int] = {}
    gone = min(one.until.values(), default=0)
    for kind in needs.classes:
        fits = brood.allowed[phase.stage][kind.index] & (brood.load[kind.index] <= FULL).all(axis=0)
        if not usable(kind) or not fits.any():
            continue
        own = np.where(fits, brood.strain[kind.index], NEVER)
        sums = np.concatenate(([0], np.cumsum(own)))
        by_slot = {
            slot: value + int(sums[gone] - sums[slot]) if slot < gone else value
            for slot, value in one.entering.items()
        }
        by_slot = {slot: value for slot, value in by_slot.items() if value < NEVER}
        if by_slot:
            cost[kind.index], until[kind.index] = by_slot, gone
    if not cost:
        return None
    enters = _worth_it(cost)
    from_slot: dict[int, int] = {}
    return _Lot(brood, place, one, cost, enters, until, from_slot)


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
        self.left = most
        self.bits = len(lots)
        self.everyone = (1 << self.bits) - 1
        self.copies = {kind.index: kind.copies + added.get(kind.index, 0) for kind in needs.classes}
        self.comfort = {
            (lot.place, kind): gauge.comfort(lot.brood, kind, lot.brood.comfort[kind]).tolist()
            for lot in lots
            for kind in lot.cost
        }
        self.load = {
            (lot.place, kind): lot.brood.load[kind].T.tolist() for lot in lots for kind in lot.cost
        }
        self.begins: dict[int, list[_Lot]] = {}
        for lot in lots:
            for slot in lot.enters:
                self.begins.setdefault(slot, []).append(lot)
        self.first = [lot.enters[0] for lot in lots]
        self.last = [lot.enters[-1] for lot in lots]
        self.least_from = [self._least_from(lot) for lot in lots]
        self._clash: dict[tuple[int, int], list[bool]] = {}
        self._crowd: dict[tuple[int, int], int] = {}

    def _least_from(self, lot: _Lot) -> dict[int, int]:
        """Return by slot of entry what it costs at least to enter in it or later."""
        least, found = NEVER, {}
        for slot in reversed(lot.enters):
            least = min(least, *(by_slot.get(slot, NEVER) for by_slot in lot.cost.values()))
            found[slot] = least
        return found

    def _to_come(self, lot: _Lot, slot: int) -> int:
        """Return what it costs at least to enter after a slot."""
        return next((self.least_from[lot.place][s] for s in lot.enters if s > slot), NEVER)

    def least(self) -> int:
        """Return what all lots together cost at least, up to what is enough."""
        shown = 0  # by lots that were looked at and are gone, where it was too much to follow all at once
        states: dict[State, int] = {(self.everyone, ()): 0}
        looked = self.everyone
        for slot in range(min(self.first), self.needs.slots):
            states = self._step(states, slot, shown, looked)
            if not states:
                return self.enough
            if self.left <= 0:
                break
        return min(
            shown + min(cost + self._rest(state[0], self.needs.slots if self.left > 0 else slot) for state, cost in states.items()),
            self.enough,
        )

    def _rest(self, waiting: int, slot: int) -> int:
        """Return what those who wait cost at least if they enter after a slot."""
        return sum(self._to_come(lot, slot) for lot in self.lots if waiting >> lot.place & 1)

    def _step(self, states: dict[State, int], slot: int, shown: int, looked: int) -> dict[State, int]:
        if any(slot == until for lot in self.lots for until in lot.until.values()):
            states = _cheapest((self._sold(state, slot), cost) for state, cost in states.items())
        for lot in self.begins.get(slot, ()):
            states = _cheapest(self._entering(states, lot, slot))
        self.left -= len(states)
        days = int(self.needs.slot_days[slot])
        to_come: dict[int, int] = {}
        after: dict[State, int] = {}
        for state, cost in states.items():
            waiting, vessels = state
            total = cost + sum(self._strain(vessel, slot) for vessel in vessels) * days
            if waiting not in to_come:
                to_come[waiting] = self._rest(waiting, slot)
            if shown + total + to_come[waiting] < self.enough:
                after[state] = total
        return after

    def _sold(self, state: State, slot: int) -> State:
        waiting, vessels = state
        kept = []
        for vessel in vessels:
            kind, inside = vessel >> self.bits, vessel & self.everyone
            for lot in self.lots:
                if inside >> lot.place & 1 and lot.until[kind] <= slot:
                    inside ^= 1 << lot.place
            if inside:
                kept.append(kind << self.bits | inside)
        return waiting, tuple(sorted(kept))

    def _entering(self, states: dict[State, int], lot: _Lot, slot: int) -> Iterator[tuple[State, int]]:
        bit = 1 << lot.place
        for state, cost in states.items():
            waiting, vessels = state
            if not waiting & bit:
                yield state, cost
                continue
            if slot < self.last[lot.place]:
                yield state, cost
            for kind, by_slot in lot.cost.items():
                if slot not in by_slot:
                    continue
                now = cost + by_slot[slot]
                if lot.until[kind] <= slot:
                    yield (waiting ^ bit, vessels), now
                    continue
                used = 0
                for number, vessel in enumerate(vessels):
                    if vessel >> self.bits != kind:
                        continue
                    used += 1
                    if self._strain(vessel | bit, slot) < NEVER:
                        joined = tuple(sorted((*vessels[:number], vessel | bit, *vessels[number + 1 :])))
                        yield (waiting ^ bit, joined), now
                if used < self.copies[kind]:
                    yield (waiting ^ bit, tuple(sorted((*vessels, kind << self.bits | bit)))), now

    def _strain(self, vessel: int, slot: int) -> int:
        """Return by how much a vessel is above comfort on each day of a slot; NEVER where it must not be."""
        key = vessel, slot
        known = self._crowd.get(key)
        if known is None:
            known = self._crowd[key] = self._look(vessel, slot)
        return known

    def _look(self, vessel: int, slot: int) -> int:
        kind, inside = vessel >> self.bits, vessel & self.everyone
        mates = [lot for lot in self.lots if inside >> lot.place & 1]
        for number, one in enumerate(mates):
            for other in mates[number + 1 :]:
                if self._apart(one, other)[slot]:
                    return NEVER
        loads = [self.load[lot.place, kind][slot] for lot in mates]
        if any(sum(load[cap] for load in loads) > FULL for cap in range(CAPS)):
            return NEVER
        return max(sum(self.comfort[lot.place, kind][slot] for lot in mates) - COMFORT, 0)

    def _apart(self, one: _Lot, other: _Lot) -> list[bool]:
        key = one.place, other.place
        if key not in self._clash:
            alone = [lot.brood.phases[-1].alone for lot in (one, other)]
            self._clash[key] = self.needs.clash(one.brood, alone[0], other.brood, alone[1]).tolist()
        return self._clash[key]


def _cheapest(ways: Iterator[tuple[State, int]] | Ints) -> dict[State, int]:
    """Return the least cost of each state."""
    found: dict[State, int] = {}
    for state, cost in ways:
        if cost < found.get(state, NEVER):
            found[state] = cost
    return found
