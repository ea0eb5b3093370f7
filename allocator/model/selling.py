"""When each brood is sold: as soon as it is long enough, which hangs on where it has lived."""

from allocator.model.cohorts import Cohorts
from allocator.model.terms import Literal, all_of, enforce, implies, is_one, is_zero
from allocator.needs import BroodNeeds


class Selling:
    """Ties the sale of each brood to its entry into the last stage and to the pace at which it grows."""

    def __init__(self, cohorts: Cohorts) -> None:
        self.model = cohorts.model
        self.needs = cohorts.needs
        self.dates = cohorts.dates
        self.cohorts = cohorts
        for brood in self.needs.broods:
            self._sale(brood)

    def _any_slow(self, brood: BroodNeeds, numbers: list[int]) -> Literal:
        """Return whether any part of a brood is in a vessel that slows it in any of these phases."""
        slow: list[Literal] = []
        fast: list[Literal] = []
        for number in numbers:
            unit = self.cohorts.unit(brood, number)
            for cohort in self.cohorts.of(unit):
                join = self.cohorts.joins[unit.index, cohort.index]
                (slow if self.needs.slow(cohort.kind, brood) else fast).append(join)
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
            for (slow_before, slow_after, slot), slots in brood.sale.items():
                when = all_of((before, slow_before), (after, slow_after))
                if when is not None:
                    self._sell_between(brood, entry, slot, slots, housed + when)
            return
        shifted = self.dates.used(b, 1)
        at_home, after = self._any_slow(brood, [0]), self._any_slow(brood, [1])
        for (_, slow_home, slot), slots in brood.sale.items():
            when = all_of((at_home, slow_home), (shifted, False))
            if when is not None:
                self._sell_between(brood, 0, slot, slots, housed + when)
        for (slow_after, slot), slots in brood.shift_sale.items():
            when = all_of((after, slow_after), (shifted, True))
            if when is not None:
                self._sell_between(brood, 1, slot, slots, housed + when)

    def _sell_between(
        self, brood: BroodNeeds, entry: int, slot: int, slots: tuple[int, ...], when: list[Literal]
    ) -> None:
        """Tie the sale to one slot of entry.

        Coming later never makes a brood ready sooner, so "not yet there before this slot" rules out every sale
        before the first that an entry in this slot allows, and "there by this slot" all after the last.
        """
        b, sale = brood.index, len(brood.phases)
        too_soon = self.dates.by(b, sale, slots[0] - 1)
        in_time = self.dates.by(b, sale, slots[-1])
        if not is_zero(too_soon):
            enforce(self.model, too_soon <= self.dates.by(b, entry, slot - 1), when)
        if not is_one(in_time):
            enforce(self.model, self.dates.by(b, entry, slot) <= in_time, when)
