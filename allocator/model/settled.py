"""How a brood is settled: the slots in which its phases begin, and where its parts live."""

from collections.abc import Mapping
from dataclasses import dataclass

from allocator.needs import BroodNeeds, Ints, Needs, VesselClass

MILLIONTHS = 1_000_000


@dataclass(frozen=True)
class Place:
    """A part of a brood in a vessel through some slots (half-open): `parts` of `of` equal portions.

    Where a brood is found in several vessels today, its parts are uneven and are counted in millionths.
    """

    phase: int
    vessel: str
    start: int
    end: int
    parts: int = 1
    of: int = 1


@dataclass(frozen=True)
class Settled:
    """One brood through its whole life in the room.

    `entries` has the slot in which each phase begins; an optional phase that is left out begins with the next.
    `homeless` is the first phase for which there is no home; `sale` the slot in which the brood leaves. A collection
    that may be left out, and is, has no home from its first phase on.
    """

    entries: tuple[int, ...]
    sale: int
    places: tuple[Place, ...]
    homeless: int | None = None

    def end_of(self, phase: int) -> int:
        """Return the slot in which a phase ends."""
        return self.entries[phase + 1] if phase + 1 < len(self.entries) else self.sale

    def used(self, phase: int) -> bool:
        """Tell whether a phase takes up any time and has a home."""
        housed = self.homeless is None or phase < self.homeless
        return housed and self.entries[phase] < self.end_of(phase)


@dataclass(frozen=True)
class Score:
    """What a plan is judged by, level by level; smaller is better at each. `left_out` is weighed: see `left_out`."""

    homeless_fish_days: int
    added_cost: int
    left_out: int
    strain: int
    change: int
    handlings: int
    move_days: int
    vessel_days: int

    def key(self) -> tuple[int, ...]:
        """Return the values in the order in which they count."""
        return (
            self.homeless_fish_days,
            self.added_cost,
            self.left_out,
            self.strain,
            self.change,
            self.handlings,
            self.move_days,
            self.vessel_days,
        )


def home_parts(share: float) -> tuple[int, int]:
    """Return the part of a brood in one of its homes as whole numbers."""
    return (1, 1) if share >= 1 else (round(share * MILLIONTHS), MILLIONTHS)


def place_load(brood: BroodNeeds, kind: int, parts: int, of: int) -> Ints:
    """Return the load of a part of a brood in a class of vessel, rounded up; shape (caps, slots)."""
    if parts == of:
        return brood.load[kind]
    if of == MILLIONTHS:
        return -(-brood.load[kind] * parts // of) + brood.one_fish[kind]  # whole fish here too
    return brood.portion_load(kind, of) * parts + brood.one_fish[kind]  # fish are whole: it may have one more


def place_comfort(brood: BroodNeeds, kind: int, parts: int, of: int) -> Ints:
    """Return what a part of a brood takes of a class of vessel, in percent of comfort, rounded up."""
    if of == MILLIONTHS:
        return -(-brood.comfort[kind] * parts // of)
    return brood.portion_comfort(kind, of) * parts


def home_until(brood: BroodNeeds) -> int:
    """Return the slot until which a brood without a home is counted."""
    return brood.sale_slots[0]


def lost_until(brood: BroodNeeds, slot: int) -> int:
    """Return the slot until which a brood that loses its home in a slot is counted: for one slot at least."""
    return max(home_until(brood), slot + 1)


def never_housed(brood: BroodNeeds) -> Settled:
    """Return a brood that is to come as one that has no home from its first day on, or is not taken."""
    return Settled((brood.start,) * len(brood.phases), lost_until(brood, brood.start), (), 0)


def is_left_out(brood: BroodNeeds, settled: Settled) -> bool:
    """Tell whether a brood is a collection that is not taken, as it need not be."""
    return brood.optional and settled.homeless == 0


def homeless_fish_days(brood: BroodNeeds, settled: Settled) -> int:
    """Return the fish-days for which a brood has no home; none for a collection that may be left out."""
    if settled.homeless is None or is_left_out(brood, settled):
        return 0
    return int(brood.fish_days[settled.entries[settled.homeless] : settled.sale].sum())


def moves_in(brood: BroodNeeds, settled: Settled) -> dict[int, int]:
    """Return how many moves (and sales) a brood needs in each slot, as many as sharing out can take.

    Each move empties the vessel it leaves or fills the one it enters, and the last does both; a part that
    stays in place does so without a move. A brood that is not split takes one move, or none if it stays.
    """
    moves: dict[int, int] = {}
    before: dict[str, int] | None = None
    for phase in range(len(brood.phases)):
        if not (settled.used(phase) or brood.phases[phase].homes):
            continue
        here = {place.vessel: place.parts for place in settled.places if place.phase == phase}
        if before is not None:
            in_place = len(before.keys() & here.keys())
            count = len(before) + len(here) - in_place - 1
            if count:
                slot = settled.entries[phase]
                moves[slot] = moves.get(slot, 0) + count
        before = here
    if settled.homeless is None and before is not None:
        moves[settled.sale] = moves.get(settled.sale, 0) + len(before)
    return moves


def handlings(brood: BroodNeeds, settled: Settled) -> int:
    """Return how many times a lot of this brood is put into another vessel."""
    count = 0
    before: set[str] | None = None
    for phase in range(len(brood.phases)):
        if not (settled.used(phase) or brood.phases[phase].homes):
            continue
        here = {place.vessel for place in settled.places if place.phase == phase}
        if before is not None:
            count += len(here - before)
        before = here
    return count


def sales_of(
    needs: Needs, kinds: Mapping[str, VesselClass], brood: BroodNeeds, settled: Settled
) -> tuple[int, ...]:
    """Return when a brood may be sold, given where its phases are spent; `kinds` has the class of each vessel."""
    slow = {place.phase for place in settled.places if needs.slow(kinds[place.vessel], brood)}
    used = [number for number in range(len(brood.phases)) if settled.used(number) or number == 0]
    first = brood.last_stage_phase
    last = [number for number in used if number >= first]
    if brood.shift_sale and len(last) > 1:
        return brood.shift_sale[last[-1] in slow, settled.entries[last[-1]]]
    slowed = any(brood.phases[number].stage in brood.slowing_stages for number in slow if number < first)
    return brood.sale.get((slowed, not slow.isdisjoint(last), settled.entries[first]), ())
