"""When each brood is sold: as soon as it is long enough, which hangs on where it has lived."""

from collections.abc import Mapping, Sequence
from itertools import pairwise, product
from typing import Protocol

from ortools.sat.python import cp_model

from allocator.model.cohorts import Unit
from allocator.model.dates import Dates
from allocator.model.terms import Literal, all_of, enforce, implies, is_one, is_zero
from allocator.needs import BroodNeeds, Needs, VesselClass


class Home(Protocol):
    """Where a unit could live."""

    @property
    def index(self) -> int:
        """Its number."""

    @property
    def kind(self) -> VesselClass:
        """Its class of vessels."""


class Homes(Protocol):
    """Who could live where, in one way of telling it or another."""

    @property
    def model(self) -> cp_model.CpModel:
        """The solver's model."""

    @property
    def needs(self) -> Needs:
        """The integer tables."""

    @property
    def dates(self) -> Dates:
        """When the units begin."""

    @property
    def joins(self) -> Mapping[tuple[int, int], Literal]:
        """Whether a unit lives in a home, by both their numbers."""

    def unit(self, brood: BroodNeeds, number: int) -> Unit:
        """Return a phase of a brood."""

    def of(self, unit: Unit) -> Sequence[Home]:
        """Return the homes that a unit could have."""


class Selling:
    """Ties the sale of each brood to its entry into the last stage and to the pace at which it grows."""

    def __init__(self, homes: Homes) -> None:
        self.model = homes.model
        self.needs = homes.needs
        self.dates = homes.dates
        self.homes = homes
        for brood in self.needs.broods:
            self._sale(brood)

    def _any_slow(self, brood: BroodNeeds, numbers: list[int]) -> Literal:
        """Return whether any part of a brood is in a vessel that slows it in any of these phases."""
        slow: list[Literal] = []
        fast: list[Literal] = []
        for number in numbers:
            unit = self.homes.unit(brood, number)
            for home in self.homes.of(unit):
                join = self.homes.joins[unit.index, home.index]
                (slow if self.needs.slow(home.kind, brood) else fast).append(join)
        if not slow:
            return 0
        if not fast or any(is_one(literal) for literal in slow):
            return 1
        flag = self.model.new_bool_var(f"slow {brood.index} {numbers}")
        for literal in slow:
            implies(self.model, literal, flag)
        self.model.add(flag <= sum(slow))
        return flag

    def _sale(self, brood: BroodNeeds) -> None:
        """Sell a brood when it is ready: that hangs on when it came to its last stage, and on its pace."""
        b = brood.index
        final = brood.phases[-1].stage
        in_last = [n for n, phase in enumerate(brood.phases) if phase.stage == final]
        between = [n for n, phase in enumerate(brood.phases) if phase.stage in brood.slowing_stages]
        entry = brood.last_stage_phase
        gone = self.dates.gone(b, len(brood.phases) - 1)
        housed = [] if is_zero(gone) else [gone.negated()]
        if not brood.shift_sale:
            before, after = self._any_slow(brood, between), self._any_slow(brood, in_last)
            for slow_before, slow_after in product((False, True), repeat=2):
                table = {
                    s: slots for (b, a, s), slots in brood.sale.items() if (b, a) == (slow_before, slow_after)
                }
                self._sell(brood, entry, table, housed, (before, slow_before), (after, slow_after))
            return
        shifted = self.dates.used(b, 1)
        at_home, after = self._any_slow(brood, [0]), self._any_slow(brood, [1])
        for slow in (False, True):
            stayed = {s: slots for (b, a, s), slots in brood.sale.items() if (b, a) == (False, slow)}
            self._sell(brood, 0, stayed, housed, (at_home, slow), (shifted, False))
            moved = {s: slots for (a, s), slots in brood.shift_sale.items() if a == slow}
            self._sell(brood, 1, moved, housed, (after, slow), (shifted, True))

    def _sell(
        self,
        brood: BroodNeeds,
        entry: int,
        table: dict[int, tuple[int, ...]],
        housed: list[Literal],
        *flags: tuple[Literal, bool],
    ) -> None:
        """Tie the sale to the slot of entry, where all flags are as told.

        Where coming later never makes a brood ready sooner, "not yet there before this slot" rules out every sale
        before the first that an entry in this slot allows, and "there by this slot" all after the last. That
        is not so where the last vessels slow the fish and those before did not; then each slot is told by itself.
        """
        when = all_of(*flags)
        if when is None:
            return
        entered_in = {
            slot: (self.dates.by(brood.index, entry, slot - 1), self.dates.by(brood.index, entry, slot))
            for slot in table
        }
        for slot in (slot for slot, slots in table.items() if not slots):  # too late for what it is kept for
            earlier, there = entered_in[slot]
            enforce(self.model, there <= earlier, housed + when)
        rows = sorted((slot, slots) for slot, slots in table.items() if slots)
        in_order = all(one[0] <= next_[0] and one[-1] <= next_[-1] for (_, one), (_, next_) in pairwise(rows))
        sale = len(brood.phases)
        for slot, slots in rows:
            earlier, there = entered_in[slot]
            too_soon = self.dates.by(brood.index, sale, slots[0] - 1)
            in_time = self.dates.by(brood.index, sale, slots[-1])
            if in_order:
                if not is_zero(too_soon):
                    enforce(self.model, too_soon <= earlier, housed + when)
                if not is_one(in_time):
                    enforce(self.model, there <= in_time, housed + when)
            elif (exactly := all_of((there, True), (earlier, False))) is not None:
                if not is_zero(too_soon):
                    enforce(self.model, too_soon <= 0, housed + when + exactly)
                if not is_one(in_time):
                    enforce(self.model, in_time >= 1, housed + when + exactly)
