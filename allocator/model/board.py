"""The rack as it fills up: what is in each named vessel in each slot, and what else would fit.

Used by first fit, by the search around it, and to score any settled room. Everything here works on the integer
tables of `needs`; the checker has its own, separate account.
"""

from collections.abc import Callable, Iterable
from functools import reduce
from operator import and_
from typing import NamedTuple

import numpy as np

from allocator.model.left_out import weights_of
from allocator.model.rank import Rank, Rows, Slotted
from allocator.model.settled import (
    Place,
    Score,
    Settled,
    handlings,
    home_parts,
    homeless_fish_days,
    is_left_out,
    moves_in,
    place_comfort,
    place_load,
)
from allocator.needs import COMFORT, FULL, Bools, BroodNeeds, Ints, Needs, before, forgiven
from allocator.needs.slots import Slots, array_of, slots_between, slots_where
from allocator.room import new_vessel_name

ChangeOf = Callable[[BroodNeeds, Settled], int]
"""How much a brood, settled like that, changes a plan in hand: see `in_hand.change_of`."""


class OwnScore(NamedTuple):
    """What one brood adds to the score whoever lives beside it, or what all broods add."""

    homeless_fish_days: int = 0
    left_out: int = 0
    strain: int = 0
    change: int = 0
    handlings: int = 0

    def plus(self, other: "OwnScore", times: int) -> "OwnScore":
        """Return this with another added (1) or taken away (-1)."""
        return OwnScore(*(mine + times * its for mine, its in zip(self, other, strict=True)))


class VesselScore(NamedTuple):
    """What one vessel adds to the score, or what all vessels add."""

    crowd: int = 0
    added_cost: int = 0
    vessel_days: int = 0

    def plus(self, other: "VesselScore", times: int) -> "VesselScore":
        """Return this with another added (1) or taken away (-1)."""
        return VesselScore(*(mine + times * its for mine, its in zip(self, other, strict=True)))


class Board:
    """Vessels by name, filled slot by slot. `added` says how many new vessels of each class may be used.

    `change_of` tells how much a brood so settled changes a plan in hand; without it that is not counted.
    """

    def __init__(self, needs: Needs, added: dict[int, int], change_of: ChangeOf | None = None) -> None:
        self.needs = needs
        self.added = added
        self.change_of = change_of
        self.vessels: dict[str, Slotted] = {}
        self._clean_days = [needs.clean_out_days(brood) for brood in needs.broods]
        self.ranks: dict[int, Rank] = {}
        for kind in needs.classes:
            names = [(name, False) for name in kind.names]
            names += [(new_vessel_name(kind.like, n + 1), True) for n in range(added.get(kind.index, 0))]
            rank = self.ranks[kind.index] = Rank(kind, names, needs.slots)
            self.vessels |= {vessel.name: vessel for vessel in rank.vessels}
        starts = np.array([day.toordinal() for day in needs.days])
        self._begin, self._end = starts[:-1], starts[1:]
        self._reach = {gap: self._reach_of(gap) for gap in set(self._clean_days)}
        self._clean_from: dict[int, list[int]] = {
            gap: np.searchsorted(self._begin, starts + gap).tolist() for gap in self._reach
        }
        longest = max(self._clean_days, default=0)
        self._nearest = np.searchsorted(self._begin, self._begin - longest, side="right").tolist()
        self._furthest = np.searchsorted(self._begin, starts + longest).tolist()
        self._note_what_is_found()
        self.settled: dict[int, Settled] = {}
        self.moves = np.zeros(needs.slots + 1, dtype=np.int64)
        self._moves_of: dict[int, dict[int, int]] = {}
        self._weights = weights_of(needs.broods)
        self._own: dict[int, OwnScore] = {}
        self._by_vessel: dict[str, VesselScore] = {}
        self._touched: set[str] = set()
        self._sums = OwnScore()
        self._vessel_sums = VesselScore()

    def _note_what_is_found(self) -> None:
        for brood in self.needs.broods:
            for name, share in brood.phases[0].homes:
                vessel = self.vessels[name]
                vessel.found[brood.index] = place_load(brood, vessel.kind.index, *home_parts(share))
                rank = self.ranks[vessel.kind.index]
                clean = self._clean_by(brood, 0)  # even if they leave today
                rank.note(brood.line, vessel.row, (0, clean))
                rank.keep(vessel.row, 0, clean)

    def _reach_of(self, gap: int) -> tuple[list[int], list[int]]:
        """Return for each slot the first whose end is less than so many days before it, and the first clean by then.

        The second tells of a vessel that is left at the end of the slot.
        """
        since = np.searchsorted(self._end, self._begin - gap, side="right")
        clean = np.searchsorted(self._begin, self._end + gap)
        return since.tolist(), clean.tolist()

    def _clean_by(self, brood: BroodNeeds, end: int) -> int:
        """Return the first slot in which a vessel that a brood leaves in a slot is clean for strangers."""
        return self._clean_from[self._clean_days[brood.index]][end]

    def with_cleaning(self, start: int, end: int) -> tuple[int, int]:
        """Return two slots so far apart that who leaves before the one or comes after the other is in nobody's way."""
        return min(self._nearest[start], start), max(self._furthest[end], end)

    def _limit_for_found(self, vessel: Slotted, brood: int) -> Ints:
        """Return the limit of each cap for fish that are found in a vessel today.

        They may be too many until they can be moved: all who are found there, or one brood alone.
        """
        stays = {
            other: place.end
            for other, place, _ in vessel.occupants
            if other in vessel.found and self.needs.broods[other].phases[place.phase].homes
        }
        there = np.ones(self.needs.slots, dtype=np.bool_)
        for other in vessel.found.keys() - {brood}:
            there[stays.get(other, 0) :] = False
        helpless = {index: self.needs.broods[index].helpless_until for index in vessel.found}
        together = sum(vessel.found.values(), np.zeros_like(vessel.load))
        excess = excess_before(together, min(helpless.values())) * there
        alone = excess_before(vessel.found[brood], helpless[brood])
        limit: Ints = FULL + np.maximum(excess, alone)
        return limit

    def put(self, index: int, settled: Settled) -> None:
        """Settle a brood, without asking whether it fits."""
        brood = self.needs.broods[index]
        for place in settled.places:
            self._apply(brood, place, 1)
        moves = self._moves_of[index] = moves_in(brood, settled)
        for slot, count in moves.items():
            self.moves[slot] += count
        self.settled[index] = settled
        own = self._own[index] = OwnScore(
            homeless_fish_days(brood, settled),
            self._weights.get(index, 0) if is_left_out(brood, settled) else 0,
            self._own_strain(brood, settled),
            0 if self.change_of is None else self.change_of(brood, settled),
            handlings(brood, settled),
        )
        self._sums = self._sums.plus(own, 1)

    def settle_as(self, solution: Iterable[Settled]) -> None:
        """Settle everybody as told, and leave alone who is settled so already."""
        for index, settled in enumerate(solution):
            before = self.settled.get(index)
            if before is settled or before == settled:
                continue
            if before is not None:
                self.take(index)
            self.put(index, settled)

    def take(self, index: int) -> Settled:
        """Take a brood out again and return how it was settled."""
        brood = self.needs.broods[index]
        settled = self.settled.pop(index)
        for place in settled.places:
            self._apply(brood, place, -1)
        for slot, count in self._moves_of.pop(index).items():
            self.moves[slot] -= count
        self._sums = self._sums.plus(self._own.pop(index), -1)
        return settled

    def _apply(self, brood: BroodNeeds, place: Place, sign: int) -> None:
        vessel = self.vessels[place.vessel]
        span = slice(place.start, place.end)
        kind = vessel.kind.index
        vessel.load[:, span] += sign * place_load(brood, kind, place.parts, place.of)[:, span]
        vessel.comfort[:, span] += sign * place_comfort(brood, kind, place.parts, place.of)[:, span]
        rank = self.ranks[kind]
        tell, count = (rank.note, rank.come) if sign > 0 else (rank.forget, rank.leave)
        tell(brood.line, vessel.row, (place.start, place.end))
        count(vessel.row, place.start, place.end, self._clean_by(brood, place.end))
        self._touched.add(vessel.name)
        entry = (brood.index, place, brood.phases[place.phase].alone)
        if sign > 0:
            vessel.occupants.append(entry)
        else:
            vessel.occupants.remove(entry)

    def _own_strain(self, brood: BroodNeeds, settled: Settled) -> int:
        strain = 0
        for number, by_slot in enumerate(brood.entry_strain):
            if settled.used(number):
                strain += by_slot.get(settled.entries[number], 0)
        for place in settled.places:
            kind = self.vessels[place.vessel].kind.index
            strain += int(brood.strain[kind][place.start : place.end].sum())
        return strain

    def free_of_strangers(
        self, rank: Rank, rows: Rows, brood: BroodNeeds, start: int, end: int
    ) -> list[Rows]:
        """Return for each slot which of some vessels with strangers only a brood could have to itself.

        Parameters
        ----------
        rows
            The vessels of the class that are asked about.
        start, end
            The slots that are asked about (half-open).
        """
        seen = np.searchsorted(self._begin, self._end[start:end] + self._clean_days[brood.index])
        return [
            reduce(and_, rank.vacant[slot + 1 : until], rows & rank.open_to_all[slot])
            for slot, until in enumerate(seen.tolist(), start)
        ]

    def free_for(self, brood: BroodNeeds, phase: int, parts: int, of: int, vessel: Slotted) -> Bools:
        """Return in which slots a part of a brood may live in a vessel beside those who are there already.

        What is wrong today for fish that are found there is forgiven.
        """
        kind = vessel.kind.index
        found = bool(brood.phases[phase].homes)
        allowed = brood.allowed[brood.phases[phase].stage][kind]
        limit = self._limit_for_found(vessel, brood.index) if found else FULL
        within = vessel.load + place_load(brood, kind, parts, of) <= limit
        fits: Bools = (forgiven(allowed, brood.helpless_until) if found else allowed) & within.all(axis=0)
        taken = self._taken(brood, phase, vessel)
        if found:
            taken |= self._taken_by_found(brood, phase, vessel)
        fits &= ~array_of([taken], self.needs.slots)[0]
        return fits

    def free_in_each(self, brood: BroodNeeds, phase: int, of: int, rank: Rank, rows: list[int]) -> Bools:
        """Return the same of one part in each of some vessels of a class, shape (vessels, slots).

        Not for the phase in which a brood is found somewhere.
        """
        kind = rank.kind.index
        within = rank.load[rows] + place_load(brood, kind, 1, of) <= FULL
        taken = [self._taken(brood, phase, rank.vessels[row]) for row in rows]
        allowed = brood.allowed[brood.phases[phase].stage][kind]
        fits: Bools = within.all(axis=1) & allowed & ~array_of(taken, self.needs.slots)
        return fits

    def _taken(self, brood: BroodNeeds, phase: int, vessel: Slotted) -> Slots:
        """Return the slots in which a brood must not be in a vessel because of those who come to it.

        Who is found there today counts too, unless the brood itself is.
        """
        found, alone = bool(brood.phases[phase].homes), brood.phases[phase].alone
        needs, broods = self.needs, self.needs.broods
        friends = needs.shares_with(brood.line)
        since, _ = self._reach[self._clean_days[brood.index]]
        taken = 0
        for other in () if found else vessel.found:
            if other != brood.index and not needs.may_share(brood, broods[other]):
                taken |= self._until_clean_today(other)
        for other, place, other_alone in vessel.occupants:
            if other == brood.index:
                continue
            mate = broods[other]
            if found and mate.phases[place.phase].homes:
                continue
            if mate.line in friends:
                together = slots_between(place.start, place.end)
                taken |= together if alone or other_alone else together & needs.apart_in(brood, mate)
            elif place.start == place.end:
                taken |= self._until_clean_today(other)
            else:
                _, clean = self._reach[self._clean_days[other]]
                taken |= slots_between(since[place.start], clean[place.end - 1])
        return taken

    def _until_clean_today(self, leaving: int) -> Slots:
        """Return the slots in which a vessel is not clean for strangers, should a brood leave it today."""
        return slots_between(0, int(np.searchsorted(self._begin, self._begin[0] + self._clean_days[leaving])))

    def _taken_by_found(self, brood: BroodNeeds, phase: int, vessel: Slotted) -> Slots:
        """Return the slots in which fish found in one vessel must not be together: not before they can be moved."""
        alone, taken = brood.phases[phase].alone, 0
        for other, place, other_alone in vessel.occupants:
            mate = self.needs.broods[other]
            if other != brood.index and mate.phases[place.phase].homes:
                clash = slots_where(self.needs.clash(brood, alone, mate, other_alone))
                helpless = min(brood.helpless_until, mate.helpless_until)  # that is how it is today
                taken |= clash & slots_between(max(place.start, helpless), place.end)
        return taken

    def extra_strain(self, brood: BroodNeeds, parts: int, of: int, vessel: Slotted) -> Ints:
        """Return for each slot by how much a part of a brood would raise the strain in a vessel."""
        return self._extra_strain(
            brood, vessel.kind.index, place_comfort(brood, vessel.kind.index, parts, of), vessel.comfort
        )

    def extra_strain_in_each(self, brood: BroodNeeds, of: int, rank: Rank, rows: list[int]) -> Ints:
        """Return the same of one part in each of some vessels of a class, shape (vessels, slots)."""
        kind = rank.kind.index
        return self._extra_strain(brood, kind, place_comfort(brood, kind, 1, of), rank.comfort[rows])

    def _extra_strain(self, brood: BroodNeeds, kind: int, more: Ints, comfort: Ints) -> Ints:
        before = np.maximum(comfort.max(axis=-2) - COMFORT, 0)
        after = np.maximum((comfort + more).max(axis=-2) - COMFORT, 0)
        extra: Ints = (after - before) * self.needs.slot_days + brood.strain[kind]
        return extra

    def score(self) -> Score:
        """Return what the settled broods are judged by."""
        for name in self._touched:
            before, now = self._by_vessel.get(name, VesselScore()), self._score_of(self.vessels[name])
            self._by_vessel[name] = now
            self._vessel_sums = self._vessel_sums.plus(before, -1).plus(now, 1)
        self._touched.clear()
        own, used = self._sums, self._vessel_sums
        return Score(
            homeless_fish_days=own.homeless_fish_days,
            added_cost=used.added_cost,
            left_out=own.left_out,
            strain=used.crowd + own.strain,
            change=own.change,
            handlings=own.handlings,
            move_days=int((self.moves > 0).sum()),
            vessel_days=used.vessel_days,
        )

    def _score_of(self, vessel: Slotted) -> "VesselScore":
        used = vessel.heads > 0
        if not used.any():
            return VesselScore()
        over = np.maximum(vessel.comfort.max(axis=0) - COMFORT, 0)
        return VesselScore(
            crowd=int((over * self.needs.slot_days).sum()),
            added_cost=vessel.kind.price if vessel.new else 0,
            vessel_days=int(self.needs.slot_days[used].sum()),
        )

    def in_new_vessels(self) -> list[int]:
        """Return who is in a vessel that is added."""
        if not any(self.added.values()):
            return []
        new = {name for name, vessel in self.vessels.items() if vessel.new}
        return [i for i, s in self.settled.items() if any(place.vessel in new for place in s.places)]

    def changed(self) -> list[int]:
        """Return who is settled otherwise than in the plan in hand."""
        return sorted(index for index, own in self._own.items() if own.change)

    def solution(self) -> tuple[Settled, ...]:
        """Return how every brood is settled, in the order of the room."""
        return tuple(self.settled[index] for index in range(len(self.needs.broods)))


def excess_before(load: Ints, until: int) -> Ints:
    """Return by how much a load is above full in each slot before one of them."""
    excess: Ints = np.where(before(load.shape[-1], until), np.maximum(load - FULL, 0), 0)
    return excess


def board_with(needs: Needs, added: dict[int, int], solution: Iterable[Settled]) -> Board:
    """Return a board on which a whole solution is settled."""
    board = Board(needs, added)
    board.settle_as(solution)
    return board


def score_of(needs: Needs, added: dict[int, int], solution: Iterable[Settled]) -> Score:
    """Return the score of a whole solution."""
    return board_with(needs, added, solution).score()
