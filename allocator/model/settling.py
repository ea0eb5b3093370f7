"""Settle one brood beside those that are settled: dates by dynamic programming, vessels by what they cost."""

from collections.abc import Callable, Iterator

import numpy as np

from allocator.model.board import Board, ChangeOf
from allocator.model.offers import Offers, settles_in_place
from allocator.model.option import (
    EASY,
    HANDLING,
    HOMELESS,
    NEVER,
    TRIES_TO_SPLIT,
    Alike,
    Option,
    Thrift,
)
from allocator.model.settled import Place, Settled, home_parts, lost_until, moves_in, never_housed, sales_of
from allocator.model.trail import State, Trail
from allocator.needs import BroodNeeds, Floats, Ints, Needs


class Settler:
    """Settles broods on a board, one at a time."""

    def __init__(
        self, needs: Needs, added: dict[int, int], thrift: Thrift = EASY, change_of: ChangeOf | None = None
    ) -> None:
        self.needs = needs
        self.board = Board(needs, added, change_of)
        self.offers = Offers(self.board, thrift)
        self.paid = not thrift.price
        self.most_moves = needs.room.keeper.most_moves_a_day
        self.slot_days = needs.slot_days.astype(float)

    def settle(self, brood: BroodNeeds) -> Settled:
        """Return the cheapest way found to settle a brood beside those on the board, and put it there.

        A collection that may be left out is housed until it is sold, or not taken.
        """
        closed: set[tuple[int, ...]] = set()
        for _ in range(TRIES_TO_SPLIT):
            settled = self._cheapest_dates(brood, closed)
            whole = all(brood.phases[p].portions == 1 for p in range(len(brood.phases)) if settled.used(p))
            spread = settled if whole or settled.homeless == 0 else self._spread(brood, settled)
            if spread is not None and self._hands_enough(brood, spread):
                settled = spread
                break
            closed.add(settled.entries)
        else:
            settled = self.without_home(brood)
        if brood.optional and settled.homeless is not None:
            settled = self.without_home(brood)
        self.board.put(brood.index, settled)
        return settled

    def leave_out(self, brood: BroodNeeds) -> None:
        """Put a collection on the board as one that is not taken."""
        self.board.put(brood.index, self.without_home(brood))

    def _hands_enough(self, brood: BroodNeeds, settled: Settled) -> bool:
        """Tell whether the keeper can make all the moves that this takes beside those already planned."""
        if self.most_moves is None:
            return True
        needed = moves_in(brood, settled)
        return all(self.board.moves[slot] + count <= self.most_moves for slot, count in needed.items())

    def heads(self, brood: BroodNeeds, *, shifted: bool = False) -> list[int]:
        """Return the phases that begin with a move here: neither left out nor spent where the mop was.

        `shifted` keeps the optional phase that follows the vessel a brood is found in.
        """
        skip = 1 if settles_in_place(brood) else None
        return [
            n
            for n, phase in enumerate(brood.phases)
            if (not phase.optional or (shifted and n == 1)) and n != skip
        ]

    def _can_shift(self, brood: BroodNeeds) -> bool:
        """Tell whether a brood may leave the vessel it is found in for another of the same stage."""
        return bool(brood.phases[0].homes) and len(brood.phases) > 1 and brood.phases[1].optional

    def _cheapest_dates(self, brood: BroodNeeds, closed: set[tuple[int, ...]]) -> Settled:
        """Choose dates and vessels, for fish found somewhere today with and without a shift first."""
        choices = [self._dates(brood, self.heads(brood), closed)]
        if self._can_shift(brood):
            choices.append(self._dates(brood, self.heads(brood, shifted=True), closed))
        return min(choices, key=lambda choice: choice[0])[1]

    def dates(self, brood: BroodNeeds) -> Settled:
        """Return the cheapest dates and vessels for a brood were there room for one of its parts."""
        return self._cheapest_dates(brood, set())

    def may_be(self, brood: BroodNeeds, settled: Settled) -> bool:
        """Tell whether a brood that is not on the board may be settled like that beside those who are."""
        if settled.homeless is not None:
            return False
        used = [n for n in range(len(brood.phases)) if settled.used(n) or n == 0]
        if any(settled.entries[n] not in brood.phases[n].entries for n in used):
            return False
        kinds = {place.vessel: self.board.vessels[place.vessel].kind for place in settled.places}
        if settled.sale not in sales_of(self.needs, kinds, brood, settled):
            return False
        for place in settled.places:
            vessel = self.board.vessels[place.vessel]
            free = self.board.free_for(brood, place.phase, place.parts, place.of, vessel)
            if not free[place.start : place.end].all():
                return False
        return self._hands_enough(brood, settled)

    def may_not_be(self) -> Iterator[str]:
        """Yield who on the board may not be settled as it is beside the others."""
        for brood in self.needs.broods:
            settled = self.board.take(brood.index)
            allowed = self.may_be(brood, settled)
            self.board.put(brood.index, settled)
            if not allowed:
                yield brood.name

    def _open(self, slots: list[int] | Ints, count: int = 1) -> Floats:
        """Return 0 for slots in which the keeper can still make so many moves, NEVER for the others."""
        if self.most_moves is None:
            return np.zeros(len(slots))
        return np.where(self.board.moves[slots] + count <= self.most_moves, 0.0, NEVER)

    def _dates(
        self, brood: BroodNeeds, needed: list[int], closed: set[tuple[int, ...]]
    ) -> tuple[float, Settled]:
        """Choose the dates and one vessel for each phase, or the cheapest moment to be without a home."""
        trail = Trail([list(brood.phases[number].entries) for number in needed])
        losses = [self._without_home_from(brood, needed, trail)]
        for place, number in enumerate(needed[:-1]):
            phase = brood.phases[number]
            starts, slots = trail.entries[place : place + 2]
            strain = brood.entry_strain[needed[place + 1]]
            trail.go_on(
                self.offers.within(brood, number, starts, slots),
                slows=self.slows(brood, number),
                may_skip=brood.life.rules.stages[phase.stage].may_skip and not phase.homes,
                gate=self._open(slots),
                strain=[strain.get(slot, 0) for slot in slots],
            )
            losses.append(self._without_home_from(brood, needed, trail))
        cost, make = min(losses, key=lambda loss: loss[0])
        found = self._sell(brood, needed, trail, closed)
        return found if found is not None and found[0] <= cost else (cost, make())

    def slows(self, brood: BroodNeeds, number: int) -> bool:
        """Tell whether a short vessel slows the fish in a phase (the last stage is counted with the sale)."""
        lived_through = {number, 1} if number == 0 and settles_in_place(brood) else {number}
        stages = {brood.phases[n].stage for n in lived_through} - {brood.phases[-1].stage}
        return bool(stages & brood.slowing_stages)

    def _sell(
        self, brood: BroodNeeds, needed: list[int], trail: Trail, closed: set[tuple[int, ...]]
    ) -> tuple[float, Settled] | None:
        """Choose the vessel of the last stage and the day of sale."""
        number = needed[-1]
        ways = list(trail.reached())
        if not ways:
            return None
        sales = {slow: self._ways_to_sell(brood, number, ways, slow=slow) for slow in (False, True)}
        found: list[tuple[Floats, Ints, Ints, Ints, Option | Alike]] = []
        for option in self.offers.within(brood, number, trail.entries[trail.place], list(brood.sale_slots)):
            way, begin, sale, so_far = sales[option.slow]
            if len(way):
                cost, vessel = option.from_to(begin, sale)
                found.append((so_far + cost, vessel, way, sale, option))
        while found:
            least = min((float(total.min(initial=NEVER)) for total, *_ in found), default=NEVER)
            if least == NEVER:
                return None
            _, state, sale_slot, name, place, one, column = min(
                (
                    least,
                    ways[way[j]][0],
                    int(sale[j]),
                    option.vessels[vessel[i, j]].name,
                    place,
                    int(i),
                    int(j),
                )
                for place, (total, vessel, way, sale, option) in enumerate(found)
                for i, j in zip(*np.nonzero(total == least), strict=True)
            )
            slots, vessels = trail.back(state)
            settled = self._make(brood, needed, slots, [*vessels, name], sale_slot, None)
            if settled.entries not in closed:
                return least, settled
            total, _, way, _, _ = found[place]
            total[one, way == way[column]] = NEVER  # only the best day of each way is looked at
        return None

    def _ways_to_sell(
        self, brood: BroodNeeds, number: int, ways: list[tuple[State, int, float]], *, slow: bool
    ) -> tuple[Ints, Ints, Ints, Floats]:
        """Return every way to come to the last stage with every slot of sale after it, in vessels of one pace.

        As arrays: which way, the slot of entry, the slot of sale, and the cost up to there.
        """
        rows = [
            (way, slot, sale, so_far)
            for way, (state, slot, so_far) in enumerate(ways)
            for sale in self.sales_after(brood, slot, number, slow=slow, slowed=bool(state[1]))
            if sale > slot
        ]
        if not rows:
            nothing = np.zeros(0, dtype=np.int64)
            return nothing, nothing, nothing, np.zeros(0)
        way, begin, sale, so_far = map(np.array, zip(*rows, strict=True))
        return way, begin, sale, so_far + self._open(sale)

    def sales_after(
        self, brood: BroodNeeds, slot: int, number: int, *, slow: bool, slowed: bool
    ) -> tuple[int, ...]:
        """Return when a brood may be sold, given when it came to the vessel it is sold from."""
        if number == 0 and settles_in_place(brood) and brood.last_stage_phase == 1:
            return brood.sale[slowed, slow, brood.phases[1].entries[0]]  # the last stage begins in place
        if number == brood.last_stage_phase:
            return brood.sale[slowed, slow, slot]
        return brood.shift_sale[slow, slot]

    def _without_home_from(
        self, brood: BroodNeeds, needed: list[int], trail: Trail
    ) -> tuple[float, Callable[[], Settled]]:
        """Return what it costs at least to have no home from the phase reached on, and what makes such a brood."""
        place = trail.place
        if place == 0 and brood.phases[0].homes:
            return NEVER, lambda: Settled((), 0, ())
        lost = brood.fish_days_before
        if place == 0:
            settled = self.without_home(brood)
            return HOMELESS * (lost[settled.sale] - lost[brood.start]), lambda: settled
        number = needed[place - 1] + 1  # an optional phase left out before it has no home either
        number += 1 if number == 1 and settles_in_place(brood) else 0
        choices = [
            (so_far + HOMELESS * (lost[lost_until(brood, slot)] - lost[slot]), state, slot)
            for state, slot, so_far in trail.reached()
        ]
        if not choices:
            if place == 1 and brood.phases[0].homes:
                cost, turned_out = self._turned_out(brood, needed)
                return cost, lambda: turned_out
            return NEVER, lambda: Settled((), 0, ())
        cost, state, slot = min(choices, key=lambda choice: choice[0])

        def make() -> Settled:
            begun, vessels = trail.back(state, place)
            begun += [slot] * (len(needed) - len(begun))
            return self._make(brood, needed, begun, vessels, lost_until(brood, slot), number)

        return cost, make

    def _turned_out(self, brood: BroodNeeds, needed: list[int]) -> tuple[float, Settled]:
        """Return the last resort for fish that can neither stay where they are nor go on."""
        option = self.offers.home(brood)
        moves = list(self.needs.move_slots)
        stay = [s for s in moves if option.blocked[0, s] == 0]
        slot = stay[-1] if stay else moves[0]
        slot = min(slot, brood.phases[needed[1]].entries[-1])
        leave = lost_until(brood, slot)
        vessels: list[str | None] = [None]
        settled = self._make(brood, needed, [0, *([slot] * (len(needed) - 1))], vessels, leave, 1)
        return HOMELESS * int(brood.fish_days[slot:leave].sum()), settled

    def without_home(self, brood: BroodNeeds) -> Settled:
        """Return a collection that is not taken, or fish in being that leave as soon as they may."""
        if brood.phases[0].homes:
            return self._turned_out(brood, self.heads(brood, shifted=self._can_shift(brood)))[1]
        return never_housed(brood)

    def places(
        self, brood: BroodNeeds, number: int, vessel: str | None, start: int, end: int
    ) -> tuple[Place, ...]:
        """Return the places of a phase from one slot to another, and those of a mop's fry after it."""
        if number == 0 and settles_in_place(brood) and end > (turn := brood.phases[1].entries[0]):
            before = self.places(brood, 0, vessel, start, turn)
            of = brood.phases[1].portions
            after = [
                Place(
                    1,
                    place.vessel,
                    turn,
                    end,
                    *((of, of) if place.of == 1 or of > 1 else (place.parts, place.of)),
                )
                for place in before
            ]
            return (*before, *after)
        phase = brood.phases[number]
        if phase.homes:
            return tuple(Place(number, name, start, end, *home_parts(share)) for name, share in phase.homes)
        if vessel is None:
            return ()
        return (Place(number, vessel, start, end, phase.portions, phase.portions),)

    def _make(
        self,
        brood: BroodNeeds,
        needed: list[int],
        slots: list[int],
        vessels: list[str | None],
        sale: int,
        homeless: int | None,
    ) -> Settled:
        """Return a settled brood from the dates and vessels of the phases that cannot be left out."""
        begun = dict(zip(needed, slots, strict=True))
        if settles_in_place(brood):
            following = slots[1] if len(slots) > 1 else sale
            begun[1] = min(brood.phases[1].entries[0], following)
        entries: list[int] = []
        following = sale
        for number in reversed(range(len(brood.phases))):
            following = begun.get(number, following)
            entries.append(following)
        entries.reverse()
        places: list[Place] = []
        for number, vessel in zip(needed, vessels, strict=False):
            if homeless is not None and number >= homeless:
                break
            end = next((begun[n] for n in needed if n > number), sale)
            if end > begun[number] or brood.phases[number].homes:
                places += self.places(brood, number, vessel, begun[number], end)
        return Settled(tuple(entries), sale, tuple(places), homeless)

    def _spread(self, brood: BroodNeeds, settled: Settled) -> Settled | None:
        """Share the portions of each phase out over vessels on the dates chosen; None where they do not fit."""
        places: list[Place] = []
        for number, phase in enumerate(brood.phases):
            mine = [place for place in settled.places if place.phase == number]
            if not mine:
                continue
            if phase.portions == 1 or phase.homes:
                places += mine
                continue
            shared = self._share_out(brood, number, settled.entries[number], mine[0].end, mine[0].vessel)
            if shared is None:
                return None
            places += [
                Place(number, name, mine[0].start, mine[0].end, parts, phase.portions)
                for name, parts in shared.items()
            ]
        return Settled(settled.entries, settled.sale, tuple(places), settled.homeless)

    def _share_out(
        self, brood: BroodNeeds, number: int, start: int, end: int, first: str
    ) -> dict[str, int] | None:
        phase = brood.phases[number]
        shared: dict[str, int] = {}
        slow = self.needs.slow(self.board.vessels[first].kind, brood)
        for _ in range(phase.portions):
            choices: list[tuple[float, str]] = []
            for vessel in self.offers.through(brood, number, start, end):
                if self.needs.slow(vessel.kind, brood) != slow:
                    continue  # the day of sale was chosen for this pace
                name = vessel.name
                parts = shared.get(name, 0) + 1
                free = self.board.free_for(brood, number, parts, phase.portions, vessel)
                if not free[start:end].all():
                    continue
                strain = self.board.extra_strain(brood, parts, phase.portions, vessel)[start:end].sum()
                if parts > 1:
                    strain -= self.board.extra_strain(brood, parts - 1, phase.portions, vessel)[
                        start:end
                    ].sum()
                cost = float(strain) + (0.0 if parts > 1 else HANDLING)
                if not vessel.occupants and parts == 1:
                    cost += (
                        self.offers.thrift.price * vessel.kind.price
                        if vessel.new
                        else self.offers.thrift.vessel_day * float(self.slot_days[start:end].sum())
                    )
                choices.append((cost, name))
            if not choices:
                return None
            name = min(choices)[1]
            shared[name] = shared.get(name, 0) + 1
        return shared
