"""Settle broods one after another where they fit best, then take some out and settle them anew.

This is no proof of anything; it gives a checked plan quickly, and the solver a good place to start from.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from random import Random

import numpy as np

from allocator.model.board import Board, Slotted
from allocator.model.settled import Place, Score, Settled, home_parts, moves_in
from allocator.needs import Bools, BroodNeeds, Floats, Needs
from allocator.room import CollectedBy

# Weights of the search for a good place, far enough apart that a higher level wins in nearly every case. They
# steer the search only; plans are compared level by level with `Score.key`.
HOMELESS = 1e9
PRICE = 1e5
HANDLING = 60.0
VESSEL_DAY = 0.3
NEW_VESSEL_DAY = 0.01

NEVER = np.inf
TRIES_TO_SPLIT = 12


@dataclass(frozen=True)
class _Option:
    """One vessel for one phase: furthest end from each slot, and running sums of what each slot costs."""

    vessel: Slotted
    blocked: Floats
    cost: Floats
    once: float
    slow: bool
    at_once: bool = False

    def between(self, starts: list[int], ends: list[int]) -> Floats:
        """Return the cost of living here from each start to each end; NEVER where it does not fit."""
        rows, columns = np.array(starts)[:, None], np.array(ends)[None, :]
        cost = self.cost[columns] - self.cost[rows] + self.once
        shortest = 0 if self.at_once else 1  # fish may leave today the vessel they are found in
        fits = (self.blocked[columns] - self.blocked[rows] == 0) & (columns >= rows + shortest)
        return np.where(fits, cost, NEVER)


class FirstFit:
    """Settles broods on a board."""

    def __init__(self, needs: Needs, added: dict[int, int]) -> None:
        self.needs = needs
        self.board = Board(needs, added)
        self.most_moves = needs.room.keeper.most_moves_a_day
        self.slot_days = needs.slot_days.astype(float)

    # -- one brood ---------------------------------------------------------------------------------------

    def settle(self, brood: BroodNeeds) -> Settled:
        """Return the cheapest way found to settle a brood beside those on the board, and put it there."""
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
            settled = self._without_home(brood)
        self.board.put(brood.index, settled)
        return settled

    def _hands_enough(self, brood: BroodNeeds, settled: Settled) -> bool:
        """Tell whether the keeper can make all the moves that this takes beside those already planned."""
        if self.most_moves is None:
            return True
        needed = moves_in(brood, settled)
        return all(self.board.moves[slot] + count <= self.most_moves for slot, count in needed.items())

    def _heads(self, brood: BroodNeeds, *, shifted: bool = False) -> list[int]:
        """Return the phases that begin with a move here: neither left out nor spent where the mop was.

        `shifted` keeps the optional phase that follows the vessel a brood is found in.
        """
        skip = 1 if self._settles_in_place(brood) else None
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
        choices = [self._dates(brood, self._heads(brood), closed)]
        if self._can_shift(brood):
            choices.append(self._dates(brood, self._heads(brood, shifted=True), closed))
        return min(choices, key=lambda choice: choice[0])[1]

    def _settles_in_place(self, brood: BroodNeeds) -> bool:
        """Tell whether fry grow on in the tank in which their mop was hung (first fit always does this)."""
        first = brood.phases[0]
        return first.stage == 0 and brood.brood.by is CollectedBy.MOP and len(brood.phases) > 1

    def _options(self, brood: BroodNeeds, number: int) -> list[_Option]:
        phase = brood.phases[number]
        if phase.homes:
            return []
        options = []
        seen_empty: set[tuple[int, bool]] = set()
        for vessel in self.board.vessels.values():
            kind = vessel.kind.index
            if not brood.allowed[phase.stage][kind].any():
                continue
            empty = not vessel.occupants
            if empty and (kind, vessel.new) in seen_empty:
                continue  # equal empty vessels are one choice
            if empty:
                seen_empty.add((kind, vessel.new))
            free = self._free(brood, number, 1, phase.portions, vessel)
            options.append(self._option(brood, vessel, free, phase.portions))
        return options

    def _free(self, brood: BroodNeeds, number: int, parts: int, of: int, vessel: Slotted) -> Bools:
        """Return where a part may live, through the next phase too where that is spent in the same vessel."""
        free = self.board.free_for(brood, number, parts, of, vessel)
        if number == 0 and self._settles_in_place(brood):
            turn = brood.phases[1].entries[0]
            free[turn:] = self.board.free_for(brood, 1, parts, of, vessel)[turn:]
        return free

    def _option(self, brood: BroodNeeds, vessel: Slotted, free: Bools, of: int) -> _Option:
        strain = self.board.extra_strain(brood, 1, of, vessel).astype(float) * of
        day_cost = NEW_VESSEL_DAY if vessel.new else VESSEL_DAY
        idle = (vessel.heads == 0) * self.slot_days * day_cost
        once = PRICE * vessel.kind.price if vessel.new and not vessel.occupants else 0.0
        return _Option(
            vessel=vessel,
            blocked=np.concatenate(([0.0], np.cumsum(~free))),
            cost=np.concatenate(([0.0], np.cumsum(strain + idle))),
            once=once + HANDLING,
            slow=self.needs.slow(vessel.kind, brood),
        )

    def _home_option(self, brood: BroodNeeds) -> _Option:
        """Return the homes of a brood in being as one choice; what is wrong there today is nobody's fault now."""
        blocked = np.zeros(self.needs.slots + 1)
        cost = np.zeros(self.needs.slots + 1)
        slow = False
        for name, share in brood.phases[0].homes:
            vessel = self.board.vessels[name]
            parts, of = home_parts(share)
            free = self._free(brood, 0, parts, of, vessel)
            blocked[1:] += np.cumsum(~free)
            cost[1:] += np.cumsum(self.board.extra_strain(brood, parts, of, vessel))
            slow = slow or self.needs.slow(vessel.kind, brood)
        vessel = self.board.vessels[brood.phases[0].homes[0][0]]
        return _Option(vessel, blocked, cost, 0.0, slow, at_once=self._may_leave_today(brood))

    def _may_leave_today(self, brood: BroodNeeds) -> bool:
        """Tell whether no stranger is to come into a home of today before it could be cleaned."""
        days = self.needs.days
        clean = days[0] + timedelta(days=self.needs.clean_out_days(brood))
        return not any(
            days[place.start] < clean
            and not self.needs.broods[other].phases[place.phase].homes
            and not self.needs.may_share(brood, self.needs.broods[other])
            for name, _ in brood.phases[0].homes
            for other, place, _ in self.board.vessels[name].occupants
        )

    def _open(self, slots: list[int], count: int = 1) -> Floats:
        """Return 0 for slots in which the keeper can still make so many moves, NEVER for the others."""
        if self.most_moves is None:
            return np.zeros(len(slots))
        return np.where(self.board.moves[slots] + count <= self.most_moves, 0.0, NEVER)

    def _dates(
        self, brood: BroodNeeds, needed: list[int], closed: set[tuple[int, ...]]
    ) -> tuple[float, Settled]:
        """Choose the dates and one vessel for each phase by dynamic programming over (phase, slot, slow)."""
        in_place = {1} if self._settles_in_place(brood) else set()
        entries = [list(brood.phases[number].entries) for number in needed]
        best = np.full((len(entries[0]), 2), NEVER)
        best[0, 0] = 0.0
        trail: list[dict[tuple[int, int], tuple[int, int, str | None]]] = [{}]
        homeless: tuple[float, Settled] = self._homeless_choice(brood, needed, 0, entries[0], best, trail)
        for place, number in enumerate(needed[:-1]):
            phase = brood.phases[number]
            last_stage = phase.stage == brood.phases[-1].stage
            lived_through = {number, *(in_place if number == 0 else ())}
            counts = any(brood.phases[n].stage in brood.slowing_stages for n in lived_through)
            if phase.homes:
                options = [self._home_option(brood)]
            else:
                options = self._options(brood, number)
            starts, ends = entries[place], entries[place + 1]
            nxt = np.full((len(ends), 2), NEVER)
            steps: dict[tuple[int, int], tuple[int, int, str | None]] = {}
            gate = self._open(ends)
            for option in options:
                matrix = option.between(starts, ends) + gate[None, :]
                for flag in (0, 1):
                    slow = flag or int(option.slow and counts and not last_stage)
                    total = best[:, flag][:, None] + matrix
                    rows = total.argmin(axis=0)
                    values = total[rows, np.arange(len(ends))]
                    for column in np.flatnonzero(values < nxt[:, slow]).tolist():
                        nxt[column, slow] = values[column]
                        steps[column, slow] = (int(rows[column]), flag, option.vessel.name)
            if brood.life.rules.stages[phase.stage].may_skip and not phase.homes:
                for column, end in enumerate(ends):
                    if end in starts:
                        row = starts.index(end)
                        for flag in (0, 1):
                            if best[row, flag] < nxt[column, flag]:
                                nxt[column, flag] = best[row, flag]
                                steps[column, flag] = (row, flag, None)
            strain = brood.entry_strain[needed[place + 1]]
            nxt += np.array([strain.get(slot, 0) for slot in ends])[:, None]
            best = nxt
            trail.append(steps)
            choice = self._homeless_choice(brood, needed, place + 1, ends, best, trail)
            if choice[0] < homeless[0]:
                homeless = choice
        found = self._sell(brood, needed, entries, best, trail, closed)
        return found if found is not None and found[0] <= homeless[0] else homeless

    def _walk_back(
        self,
        entries: list[list[int]],
        trail: list[dict[tuple[int, int], tuple[int, int, str | None]]],
        place: int,
        state: tuple[int, int],
    ) -> tuple[list[int], list[str | None]]:
        slots = [entries[place][state[0]]]
        vessels: list[str | None] = []
        for step in range(place, 0, -1):
            row, flag, vessel = trail[step][state]
            vessels.append(vessel)
            state = (row, flag)
            slots.append(entries[step - 1][row])
        return slots[::-1], vessels[::-1]

    def _sell(
        self,
        brood: BroodNeeds,
        needed: list[int],
        entries: list[list[int]],
        best: Floats,
        trail: list[dict[tuple[int, int], tuple[int, int, str | None]]],
        closed: set[tuple[int, ...]],
    ) -> tuple[float, Settled] | None:
        """Choose the vessel of the last stage and the day of sale."""
        number = needed[-1]
        phase = brood.phases[number]
        options = [self._home_option(brood)] if phase.homes else self._options(brood, number)
        ranked: list[tuple[float, int, int, int, str]] = []
        for option in options:
            for flag in (0, 1):
                for row, slot in enumerate(entries[-1]):
                    if best[row, flag] == NEVER:
                        continue
                    sales = [s for s in self._sales(brood, bool(flag), option, slot, number) if s > slot]
                    if not sales:
                        continue
                    cost = option.between([slot], sales)[0] + self._open(sales)
                    column = int(cost.argmin())
                    if cost[column] < NEVER:
                        total = float(best[row, flag] + cost[column])
                        ranked.append((total, row, flag, sales[column], option.vessel.name))
        for total, row, flag, sale, vessel in sorted(ranked):
            slots, vessels = self._walk_back(entries, trail, len(needed) - 1, (row, flag))
            settled = self._make(brood, needed, slots, [*vessels, vessel], sale, None)
            if settled.entries not in closed:
                return total, settled
        return None

    def _sales(self, brood: BroodNeeds, before: bool, option: _Option, slot: int, number: int) -> list[int]:
        """Return when a brood may be sold, given when it came to the vessel it is sold from."""
        if number == brood.last_stage_phase:
            return list(brood.sale[before, option.slow, slot])
        return list(brood.shift_sale[option.slow, slot])

    def _homeless_choice(
        self,
        brood: BroodNeeds,
        needed: list[int],
        place: int,
        slots: list[int],
        best: Floats,
        trail: list[dict[tuple[int, int], tuple[int, int, str | None]]],
    ) -> tuple[float, Settled]:
        """Return the cheapest way to have no home from this phase on."""
        number = needed[place]
        if place:  # an optional phase left out before it has no home either
            number = needed[place - 1] + 1
            number += 1 if number == 1 and self._settles_in_place(brood) else 0
        leave = home_until(brood)
        choices: list[tuple[float, Settled]] = []
        if place == 0:
            if not brood.phases[0].homes:
                settled = self._without_home(brood)
                choices.append((HOMELESS * int(brood.fish_days[brood.start : settled.sale].sum()), settled))
        else:
            entries = [list(brood.phases[n].entries) for n in needed]
            for row, slot in enumerate(slots):
                for flag in (0, 1):
                    if best[row, flag] < NEVER:
                        cost = HOMELESS * int(brood.fish_days[slot : max(leave, slot)].sum())
                        begun, vessels = self._walk_back(entries, trail, place, (row, flag))
                        slots_full = begun + [slot] * (len(needed) - len(begun))
                        settled = self._make(brood, needed, slots_full, vessels, max(leave, slot), number)
                        choices.append((float(best[row, flag]) + cost, settled))
            if place == 1 and brood.phases[0].homes and not choices:
                choices.append(self._turned_out(brood, needed))
        if not choices:
            return NEVER, Settled((), 0, ())
        return min(choices, key=lambda choice: choice[0])

    def _turned_out(self, brood: BroodNeeds, needed: list[int]) -> tuple[float, Settled]:
        """Return the last resort for fish that can neither stay where they are nor go on."""
        option = self._home_option(brood)
        moves = list(self.needs.move_slots)
        stay = [s for s in moves if option.blocked[s] == 0]
        slot = stay[-1] if stay else moves[0]
        slot = min(slot, brood.phases[needed[1]].entries[-1])
        leave = max(home_until(brood), slot)
        vessels: list[str | None] = [None]
        settled = self._make(brood, needed, [0, *([slot] * (len(needed) - 1))], vessels, leave, needed[1])
        return HOMELESS * int(brood.fish_days[slot:leave].sum()), settled

    def _without_home(self, brood: BroodNeeds) -> Settled:
        """Return a collection that is not taken, or fish in being that leave as soon as they may."""
        if brood.phases[0].homes:
            return self._turned_out(brood, self._heads(brood, shifted=self._can_shift(brood)))[1]
        sale = max(home_until(brood), brood.start + 1)
        return Settled((brood.start,) * len(brood.phases), sale, (), 0)

    def _places(
        self, brood: BroodNeeds, number: int, vessel: str | None, start: int, end: int
    ) -> tuple[Place, ...]:
        if number == 0 and self._settles_in_place(brood) and end > (turn := brood.phases[1].entries[0]):
            before = self._places(brood, 0, vessel, start, turn)
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
        if self._settles_in_place(brood):
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
                places += self._places(brood, number, vessel, begun[number], end)
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
            for name, vessel in self.board.vessels.items():
                if self.needs.slow(vessel.kind, brood) != slow:
                    continue  # the day of sale was chosen for this pace
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
                        PRICE * vessel.kind.price
                        if vessel.new
                        else VESSEL_DAY * float(self.slot_days[start:end].sum())
                    )
                choices.append((cost, name))
            if not choices:
                return None
            name = min(choices)[1]
            shared[name] = shared.get(name, 0) + 1
        return shared

    # -- the whole room ----------------------------------------------------------------------------------

    def run(self) -> None:
        """Settle every brood: those in being first, then the planned ones as they come."""
        broods = self.needs.broods
        being = [b for b in broods if b.phases[0].homes]
        for brood in being:
            self.board.put(brood.index, self._provisional(brood))
        for brood in sorted(being, key=lambda b: (b.brood.collected, b.index)):
            self.board.take(brood.index)
            self.settle(brood)
        for brood in sorted(
            (b for b in broods if not b.phases[0].homes), key=lambda b: (b.brood.collected, b.index)
        ):
            self.settle(brood)

    def _provisional(self, brood: BroodNeeds) -> Settled:
        end = brood.phases[1].entries[0] if len(brood.phases) > 1 else brood.sale_slots[0]
        places = self._places(brood, 0, None, 0, end)
        count = len(brood.phases)
        return Settled(
            (0, *([end] * (count - 1))), max(end, brood.sale_slots[0]), places, 1 if count > 1 else None
        )

    def improve(
        self,
        rounds: int,
        seed: int,
        *,
        go_on: Callable[[Score], bool] = lambda _: True,
        batch: tuple[int, int] = (2, 5),
    ) -> None:
        """Take a few broods out and settle them anew, keeping what is no worse, for a number of rounds.

        Parameters
        ----------
        rounds
            How many tries; the same number and seed give the same result.
        seed
            Of the random choice of which broods.
        go_on
            Asked before each round with the best score so far; False ends the search.
        """
        random = Random(seed)
        broods = self.needs.broods
        if not broods:
            return
        best = self.board.score()
        for _ in range(rounds):
            if not go_on(best):
                return
            chosen = self._pick(random, random.randint(*batch))
            before = {index: self.board.take(index) for index in chosen}
            order = chosen[:]
            random.shuffle(order)
            order.sort(key=lambda index: not broods[index].phases[0].homes)  # who is there already goes first
            for index in order:
                self.settle(broods[index])
            score = self.board.score()
            if score.key() <= best.key():
                best = score
                continue
            for index in chosen:
                self.board.take(index)
            for index in chosen:
                self.board.put(index, before[index])

    def _pick(self, random: Random, count: int) -> list[int]:
        """Choose broods that have to do with each other: one that is badly off, and its neighbours in time."""
        broods = self.needs.broods
        settled = self.board.settled
        badly = [i for i, s in settled.items() if s.homeless is not None]
        new = [i for i, s in settled.items() if any(self.board.vessels[p.vessel].new for p in s.places)]
        pool = badly or new
        first = random.choice(pool) if pool and random.random() < 0.7 else random.randrange(len(broods))
        near = sorted(
            (i for i in range(len(broods)) if i != first),
            key=lambda i: (
                abs((broods[i].brood.collected - broods[first].brood.collected).days)
                - (30 if broods[i].line == broods[first].line else 0)
                + random.random() * 60,
                i,
            ),
        )
        return [first, *near[: count - 1]]


def home_until(brood: BroodNeeds) -> int:
    """Return the slot until which a brood without a home is counted."""
    return brood.sale_slots[0]
