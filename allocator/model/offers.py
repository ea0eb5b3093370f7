"""Which vessels are worth looking at for a phase of a brood, each with where it is free and what that costs."""

from collections.abc import Iterator
from datetime import timedelta
from functools import reduce
from itertools import islice
from operator import and_, or_

import numpy as np

from allocator.model.board import Board
from allocator.model.option import EASY, HANDLING, Alike, Option, Thrift
from allocator.model.rank import Rank, Rows, Slotted, each, lowest, rows_of
from allocator.model.settled import home_parts, place_comfort, place_load
from allocator.needs import COMFORT, FULL, Bools, BroodNeeds, Floats, Ints
from allocator.room import CollectedBy

MOST_OF_OWN = 120
"""Of more vessels of one class with a brood's own line only the likely ones are looked at (judgement: rooms of a
club have fewer; where a thousand vessels hold one line, to look at all takes ten minutes)."""

MOST_NEAR_IN_AGE = 100
"""So many broods before and after one are looked at for company of its age (judgement)."""


def settles_in_place(brood: BroodNeeds) -> bool:
    """Tell whether fry grow on in the tank in which their mop was hung (first fit always does this)."""
    return brood.phases[0].stage == 0 and brood.brood.by is CollectedBy.MOP and len(brood.phases) > 1


class Offers:
    """Finds vessels on a board. Those with strangers only differ in when they are free, and are looked at together."""

    def __init__(self, board: Board, thrift: Thrift = EASY) -> None:
        self.board = board
        self.thrift = thrift
        self.needs = board.needs
        self.slot_days = board.needs.slot_days.astype(float)
        self._mates: dict[str, list[int]] = {}

    def within(
        self, brood: BroodNeeds, number: int, starts: list[int], ends: list[int]
    ) -> Iterator[Option | Alike]:
        """Yield the vessels in which a phase may be spent from one of the starts to one of the ends."""
        phase = brood.phases[number]
        if phase.homes:
            yield self.home(brood)
            return
        until = ends[0]
        if number == 0 and settles_in_place(brood):
            until = min(until, brood.phases[1].entries[0])  # then the mop is out, and others may come
        for kind, rank in self.board.ranks.items():
            if not brood.allowed[phase.stage][kind][starts[0] : ends[-1]].any():
                continue
            mine, strange = self._possible(rank, brood, number, (starts[0], ends[-1]), (starts[-1], until))
            if mine:
                yield self._beside_others(brood, number, rank, mine)
            if strange:
                yield from self._to_itself(brood, number, rank, strange, starts[0], ends[-1])

    def through(self, brood: BroodNeeds, number: int, start: int, end: int) -> Iterator[Slotted]:
        """Yield the vessels that may have room for parts of a brood from one slot to another.

        Of those that are alike, as many as there are parts.
        """
        phase = brood.phases[number]
        for kind, rank in self.board.ranks.items():
            if not brood.allowed[phase.stage][kind][start:end].all():
                continue
            mine, strange = self._possible(rank, brood, number, (start, end), (start, end))
            yield from (rank.vessels[row] for row in mine)
            free = reduce(and_, self.board.free_of_strangers(rank, strange, brood, start, end), strange)
            for alike in self._alike(rank, free):
                yield from (rank.vessels[row] for row in islice(each(alike), phase.portions))

    def _possible(
        self, rank: Rank, brood: BroodNeeds, number: int, ever: tuple[int, int], surely: tuple[int, int]
    ) -> tuple[list[int], Rows]:
        """Return the vessels that a brood could be in, by row.

        First those that hold fish it may share with, and have room beside them; then those with strangers only, at
        other times.

        Parameters
        ----------
        ever, surely
            From which slot until which the brood may be there, and surely is there.
        """
        empty = rank.empty(*surely)
        mine = rank.with_lines(self.needs.shares_with(brood.line), *self.board.with_cleaning(*ever))
        if len(mine) > MOST_OF_OWN:
            mine, others = self._likely(rank, mine, brood, ever, empty), mine
            empty &= ~rows_of(others) | rows_of(mine)
        strange = empty & ~rows_of(mine)
        if brood.phases[number].alone:
            return [row for row in mine if empty >> row & 1], strange
        kind, there = rank.kind.index, slice(surely[0], max(surely))
        left = FULL - place_load(brood, kind, 1, brood.phases[number].portions)[:, there]
        room = np.all(rank.load[mine, :, there] <= left, axis=(1, 2))
        return [row for row, enough in zip(mine, room.tolist(), strict=True) if enough], strange

    def _likely(
        self, rank: Rank, rows: list[int], brood: BroodNeeds, ever: tuple[int, int], empty: Rows
    ) -> list[int]:
        """Return of many vessels of its own line those in which a brood is likely to find room.

        Half of them hold fish near to it in age; then come those that stand empty all the time, or long enough.
        """
        board, found, known = self.board, dict[int, None](), set(rows)
        for other in self._by_age(brood):
            if len(found) >= MOST_OF_OWN // 2:
                break
            settled = board.settled.get(other)
            for place in settled.places if settled is not None else ():
                vessel = board.vessels[place.vessel]
                if vessel.kind is rank.kind and place.start < ever[1] and ever[0] < place.end:
                    found[vessel.row] = None
        for vacant in (rank.empty(*ever), empty):
            mine = (row for row in each(vacant) if row in known and row not in found)
            found |= dict.fromkeys(islice(mine, MOST_OF_OWN // 4))
        return sorted(known.intersection(found))

    def _by_age(self, brood: BroodNeeds) -> Iterator[int]:
        """Yield the broods that may share with one, nearest in age first, before and after it in turn."""
        if brood.line not in self._mates:
            lines, broods = self.needs.shares_with(brood.line), self.needs.broods
            by_age = sorted((b.brood.collected, b.index) for b in broods if b.line in lines)
            self._mates[brood.line] = [index for _, index in by_age]
        mates = self._mates[brood.line]
        place = mates.index(brood.index)
        for away in range(1, MOST_NEAR_IN_AGE):
            yield from mates[place + away : place + away + 1]
            yield from mates[max(place - away, 0) : max(place - away + 1, 0)]

    def _alike(self, rank: Rank, rows: Rows) -> Iterator[Rows]:
        """Yield vessels with strangers only, sorted by what it costs to live there."""
        there, added = rows & ~rank.new, rows & rank.new
        yield there & rank.used
        yield there & ~rank.used
        yield added & rank.used
        yield added & ~rank.used

    def _to_itself(
        self, brood: BroodNeeds, number: int, rank: Rank, rows: Rows, start: int, end: int
    ) -> Iterator[Alike]:
        """Yield the vessels that a brood could have to itself."""
        kind, of = rank.kind.index, brood.phases[number].portions
        fits = self._fits_alone(brood, number, kind, of)[start:end].tolist()
        strain = place_comfort(brood, kind, 1, of)[:, start:end].max(axis=0)
        days = self.slot_days[start:end]
        crowd = (np.maximum(strain - COMFORT, 0) * days + brood.strain[kind][start:end]) * of
        free = [
            free if fit else 0
            for free, fit in zip(
                self.board.free_of_strangers(rank, rows, brood, start, end), fits, strict=True
            )
        ]
        ever = reduce(or_, free, 0)
        for alike in self._alike(rank, ever):
            if not alike:
                continue
            day_cost, once = self._price(rank.vessels[lowest(alike)])
            yield Alike(
                vessels=rank.vessels,
                first=start,
                free=[alike & now for now in free],
                cost=np.concatenate(([0.0], np.cumsum(crowd + days * day_cost))),
                once=once,
                slow=self.needs.slow(rank.kind, brood),
            )

    def _fits_alone(self, brood: BroodNeeds, number: int, kind: int, of: int) -> Bools:
        """Return in which slots a part of a brood may live in a vessel of a class that it has to itself."""
        room = (place_load(brood, kind, 1, of) <= FULL).all(axis=0)
        fits: Bools = brood.allowed[brood.phases[number].stage][kind] & room
        if number == 0 and settles_in_place(brood):
            turn = brood.phases[1].entries[0]
            fits[turn:] = (brood.allowed[brood.phases[1].stage][kind] & room)[turn:]
        return fits

    def free_in(self, brood: BroodNeeds, number: int, parts: int, of: int, vessel: Slotted) -> Bools:
        """Return where a part may live, through the next phase too where that is spent in the same vessel."""
        free = self.board.free_for(brood, number, parts, of, vessel)
        if number == 0 and settles_in_place(brood):
            turn = brood.phases[1].entries[0]
            free[turn:] = self.board.free_for(brood, 1, parts, of, vessel)[turn:]
        return free

    def _beside_others(self, brood: BroodNeeds, number: int, rank: Rank, rows: list[int]) -> Option:
        """Return vessels in which a brood would be beside others, or between them."""
        of = brood.phases[number].portions
        blocked, cost = self._nothing(len(rows))
        np.cumsum(~self._free_in_each(brood, number, of, rank, rows), axis=1, out=blocked[:, 1:])
        vessels = tuple(rank.vessels[row] for row in rows)
        day_cost, once = np.array([self._price(vessel) for vessel in vessels]).T
        strain = self.board.extra_strain_in_each(brood, of, rank, rows).astype(float) * of
        idle = (rank.heads[rows] == 0) * self.slot_days * day_cost[:, None]
        np.cumsum(strain + idle, axis=1, out=cost[:, 1:])
        return Option(vessels, blocked, cost, once, self.needs.slow(rank.kind, brood))

    def _nothing(self, vessels: int) -> tuple[Ints, Floats]:
        shape = vessels, self.needs.slots + 1
        return np.zeros(shape, dtype=np.int64), np.zeros(shape)

    def _free_in_each(self, brood: BroodNeeds, number: int, of: int, rank: Rank, rows: list[int]) -> Bools:
        free = self.board.free_in_each(brood, number, of, rank, rows)
        if number == 0 and settles_in_place(brood):
            turn = brood.phases[1].entries[0]
            free[:, turn:] = self.board.free_in_each(brood, 1, of, rank, rows)[:, turn:]
        return free

    def _price(self, vessel: Slotted) -> tuple[float, float]:
        """Return what a day costs on which a vessel would stand empty, and what it costs to go there."""
        day_cost = self.thrift.new_vessel_day if vessel.new else self.thrift.vessel_day
        once = self.thrift.price * vessel.kind.price if vessel.new and not vessel.occupants else 0.0
        return day_cost, once + HANDLING

    def home(self, brood: BroodNeeds) -> Option:
        """Return the homes of a brood in being as one choice; what is wrong there today is nobody's fault now."""
        blocked, cost = self._nothing(1)
        slow = False
        for name, share in brood.phases[0].homes:
            vessel = self.board.vessels[name]
            parts, of = home_parts(share)
            free = self.free_in(brood, 0, parts, of, vessel)
            blocked[0, 1:] += np.cumsum(~free)
            cost[0, 1:] += np.cumsum(self.board.extra_strain(brood, parts, of, vessel))
            slow = slow or self.needs.slow(vessel.kind, brood)
        vessel = self.board.vessels[brood.phases[0].homes[0][0]]
        return Option((vessel,), blocked, cost, np.zeros(1), slow, at_once=self._may_leave_today(brood))

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
