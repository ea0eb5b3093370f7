"""Which vessels are worth looking at for a phase of a brood, each with where it is free and what that costs."""

from collections.abc import Iterator
from datetime import timedelta

import numpy as np

from allocator.model.board import Board, Rank, Slotted
from allocator.model.option import HANDLING, NEW_VESSEL_DAY, PRICE, VESSEL_DAY, Option
from allocator.model.settled import home_parts
from allocator.needs import Bools, BroodNeeds
from allocator.room import CollectedBy


def settles_in_place(brood: BroodNeeds) -> bool:
    """Tell whether fry grow on in the tank in which their mop was hung (first fit always does this)."""
    return brood.phases[0].stage == 0 and brood.brood.by is CollectedBy.MOP and len(brood.phases) > 1


class Offers:
    """Finds vessels on a board. Most are ruled out, or alike, at a glance: only the rest are looked at one by one."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self.needs = board.needs
        self.slot_days = board.needs.slot_days.astype(float)
        longest = max(map(self.needs.clean_out_days, self.needs.broods), default=0)
        days = np.array([day.toordinal() for day in self.needs.days])
        self._gap_before = np.maximum(np.searchsorted(days, days - longest, side="right") - 1, 0)
        self._gap_after = np.searchsorted(days, days + longest)

    def within(self, brood: BroodNeeds, number: int, starts: list[int], ends: list[int]) -> Iterator[Option]:
        """Yield the vessels in which a phase may be spent from one of the starts to one of the ends.

        Vessels that nobody else is in or near through all that time are one choice; those with strangers when the
        brood would have to be there whatever the dates are none.
        """
        phase = brood.phases[number]
        if phase.homes:
            yield self.home(brood)
            return
        first, last = self._gap_before[starts[0]], self._gap_after[ends[-1]]
        for kind, rank in self.board.ranks.items():
            if not brood.allowed[phase.stage][kind][starts[0] : ends[-1]].any():
                continue
            alike: set[tuple[bool, bool]] = set()
            quiet = rank.empty(first, last)
            for vessel in self._possible(rank, brood, starts[-1], ends[0], alone=phase.alone):
                if quiet[vessel.row] and not (vessel.found and first == 0):
                    key = (vessel.new, bool(vessel.occupants))
                    if key in alike:
                        continue
                    alike.add(key)
                free = self._free(brood, number, 1, phase.portions, vessel)
                yield self._option(brood, vessel, free, phase.portions)

    def through(self, brood: BroodNeeds, number: int, start: int, end: int) -> Iterator[Slotted]:
        """Yield the vessels that may have room for parts of a brood from one slot to another."""
        phase = brood.phases[number]
        for kind, rank in self.board.ranks.items():
            if brood.allowed[phase.stage][kind][start:end].all():
                yield from self._possible(rank, brood, start, end, alone=phase.alone)

    def _possible(
        self, rank: Rank, brood: BroodNeeds, start: int, end: int, *, alone: bool
    ) -> Iterator[Slotted]:
        """Yield the vessels without strangers from one slot to another; fish that must be alone are strangers to all."""
        empty = rank.empty(start, end)
        if not alone:
            for line in self.needs.shares_with(brood.line):
                empty[list(rank.rows_of[line])] = True
        yield from (rank.vessels[row] for row in np.flatnonzero(empty))

    def _free(self, brood: BroodNeeds, number: int, parts: int, of: int, vessel: Slotted) -> Bools:
        """Return where a part may live, through the next phase too where that is spent in the same vessel."""
        free = self.board.free_for(brood, number, parts, of, vessel)
        if number == 0 and settles_in_place(brood):
            turn = brood.phases[1].entries[0]
            free[turn:] = self.board.free_for(brood, 1, parts, of, vessel)[turn:]
        return free

    def _option(self, brood: BroodNeeds, vessel: Slotted, free: Bools, of: int) -> Option:
        strain = self.board.extra_strain(brood, 1, of, vessel).astype(float) * of
        day_cost = NEW_VESSEL_DAY if vessel.new else VESSEL_DAY
        idle = (vessel.heads == 0) * self.slot_days * day_cost
        once = PRICE * vessel.kind.price if vessel.new and not vessel.occupants else 0.0
        return Option(
            vessel=vessel,
            blocked=np.concatenate(([0.0], np.cumsum(~free))),
            cost=np.concatenate(([0.0], np.cumsum(strain + idle))),
            once=once + HANDLING,
            slow=self.needs.slow(vessel.kind, brood),
        )

    def home(self, brood: BroodNeeds) -> Option:
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
        return Option(vessel, blocked, cost, 0.0, slow, at_once=self._may_leave_today(brood))

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
