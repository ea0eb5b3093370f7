"""Which vessels are worth looking at for a phase of a brood, each with where it is free and what that costs."""

from collections.abc import Iterator
from datetime import timedelta

import numpy as np

from allocator.model.board import Board
from allocator.model.option import EASY, HANDLING, Option, Thrift
from allocator.model.rank import Rank, Slotted
from allocator.model.settled import home_parts, place_comfort, place_load
from allocator.needs import COMFORT, FULL, Bools, BroodNeeds, Ints
from allocator.room import CollectedBy


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

    def within(self, brood: BroodNeeds, number: int, starts: list[int], ends: list[int]) -> Iterator[Option]:
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
            for row in mine:
                vessel = rank.vessels[row]
                free = self.free_in(brood, number, 1, phase.portions, vessel)
                yield self._option(brood, vessel, free, phase.portions)
            if len(strange):
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
            free = self.board.free_of_strangers(rank, strange, brood, start, end).all(axis=1)
            for alike in self._alike(rank, strange[free]):
                yield from (rank.vessels[row] for row in alike[: phase.portions])

    def _possible(
        self, rank: Rank, brood: BroodNeeds, number: int, ever: tuple[int, int], surely: tuple[int, int]
    ) -> tuple[list[int], Ints]:
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
        strange = empty.copy()
        strange[mine] = False
        if brood.phases[number].alone:
            return [row for row in mine if empty[row]], np.flatnonzero(strange)
        kind, there = rank.kind.index, slice(surely[0], max(surely))
        left = FULL - place_load(brood, kind, 1, brood.phases[number].portions)[:, there]
        room = [row for row in mine if (rank.vessels[row].load[:, there] <= left).all()]
        return room, np.flatnonzero(strange)

    def _alike(self, rank: Rank, rows: Ints) -> Iterator[Ints]:
        """Yield vessels with strangers only, sorted by what it costs to live there."""
        used = rank.lots[rows] > 0
        yield rows[used & ~rank.new[rows]]
        yield rows[~used & ~rank.new[rows]]
        yield rows[used & rank.new[rows]]
        yield rows[~used & rank.new[rows]]

    def _to_itself(
        self, brood: BroodNeeds, number: int, rank: Rank, rows: Ints, start: int, end: int
    ) -> Iterator[Option]:
        """Yield the vessels that a brood could have to itself."""
        phase, sample = brood.phases[number], rank.vessels[int(rows[0])]
        kind, of = sample.kind.index, phase.portions
        fits = self._fits_alone(brood, number, kind, of)[start:end]
        strain = place_comfort(brood, kind, 1, of)[:, start:end].max(axis=0)
        days = self.slot_days[start:end]
        crowd = (np.maximum(strain - COMFORT, 0) * days + brood.strain[kind][start:end]) * of
        for alike in self._alike(rank, rows):
            if not len(alike):
                continue
            free = self.board.free_of_strangers(rank, alike, brood, start, end) & fits
            blocked = np.zeros((len(alike), end - start + 1), dtype=np.int64)
            np.cumsum(~free, axis=1, out=blocked[:, 1:])
            first = rank.vessels[int(alike[0])]
            day_cost, once = self._price(first)
            yield Option(
                vessels=tuple(rank.vessels[row] for row in alike),
                first=start,
                blocked=blocked,
                cost=np.concatenate(([0.0], np.cumsum(crowd + days * day_cost))),
                once=once,
                slow=self.needs.slow(first.kind, brood),
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

    def _option(self, brood: BroodNeeds, vessel: Slotted, free: Bools, of: int) -> Option:
        strain = self.board.extra_strain(brood, 1, of, vessel).astype(float) * of
        day_cost, once = self._price(vessel)
        idle = (vessel.heads == 0) * self.slot_days * day_cost
        return Option(
            vessels=(vessel,),
            first=0,
            blocked=np.concatenate(([0], np.cumsum(~free)))[None, :],
            cost=np.concatenate(([0.0], np.cumsum(strain + idle))),
            once=once,
            slow=self.needs.slow(vessel.kind, brood),
        )

    def _price(self, vessel: Slotted) -> tuple[float, float]:
        """Return what a day costs on which a vessel would stand empty, and what it costs to go there."""
        day_cost = self.thrift.new_vessel_day if vessel.new else self.thrift.vessel_day
        once = self.thrift.price * vessel.kind.price if vessel.new and not vessel.occupants else 0.0
        return day_cost, once + HANDLING

    def home(self, brood: BroodNeeds) -> Option:
        """Return the homes of a brood in being as one choice; what is wrong there today is nobody's fault now."""
        blocked = np.zeros(self.needs.slots + 1, dtype=np.int64)
        cost = np.zeros(self.needs.slots + 1)
        slow = False
        for name, share in brood.phases[0].homes:
            vessel = self.board.vessels[name]
            parts, of = home_parts(share)
            free = self.free_in(brood, 0, parts, of, vessel)
            blocked[1:] += np.cumsum(~free)
            cost[1:] += np.cumsum(self.board.extra_strain(brood, parts, of, vessel))
            slow = slow or self.needs.slow(vessel.kind, brood)
        vessel = self.board.vessels[brood.phases[0].homes[0][0]]
        return Option((vessel,), 0, blocked[None, :], cost, 0.0, slow, at_once=self._may_leave_today(brood))

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
