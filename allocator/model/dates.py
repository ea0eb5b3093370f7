"""When each phase of each brood begins, and whether it has a home from there on."""

from bisect import bisect_right
from itertools import pairwise

from ortools.sat.python import cp_model

from allocator.model.terms import Expression, Literal, implies, is_one, is_zero
from allocator.needs import BroodNeeds, Needs


class Dates:
    """The dates of all broods, in order encoding: `by` is true from the slot of entry on.

    The phase after the last of a brood is its sale.

    Parameters
    ----------
    model
        The solver's model, to which variables and rules are added.
    needs
        The integer tables.
    homeless
        Whether a brood may be left without a home from some phase on.
    leaving_out
        Whether a collection that may be left out is; else it is housed like those that must be.
    """

    def __init__(
        self, model: cp_model.CpModel, needs: Needs, *, homeless: bool, leaving_out: bool = False
    ) -> None:
        self.model = model
        self.homeless = homeless
        self.leaving_out = leaving_out
        self._by: dict[tuple[int, int], list[Literal]] = {}
        self._entries: dict[tuple[int, int], list[int]] = {}
        self._gone: dict[tuple[int, int], Literal] = {}
        self._used: dict[tuple[int, int], Literal] = {}
        for brood in needs.broods:
            early = self._early(needs, brood)
            self._begin_once(brood, early)
            self._lose_home_once(brood)
            self._in_order(brood)
            for slot in early:
                implies(model, self.by(brood.index, 1, slot), self._gone[brood.index, 1])

    def by(self, brood: int, number: int, slot: int) -> Literal:
        """Return whether a phase of a brood has begun by a slot."""
        place = bisect_right(self._entries[brood, number], slot)
        return self._by[brood, number][place - 1] if place else 0

    def at(self, brood: int, number: int, slot: int) -> Expression:
        """Return whether a phase of a brood begins in just this slot."""
        return self.by(brood, number, slot) - self.by(brood, number, slot - 1)

    def within(self, brood: int, number: int, slot: int) -> Expression:
        """Return whether a brood is in a phase in this slot."""
        return self.by(brood, number, slot) - self.by(brood, number + 1, slot)

    def slots_of(self, brood: int, number: int) -> list[int]:
        """Return the slots in which a phase may begin."""
        return self._entries[brood, number]

    def gone(self, brood: int, number: int) -> Literal:
        """Return whether a brood has no home from a phase on."""
        return self._gone[brood, number]

    def used(self, brood: int, number: int) -> Literal:
        """Return whether a phase that may be left out takes any time."""
        return self._used[brood, number]

    def take_time(self, brood: BroodNeeds, number: int) -> None:
        """Let a phase that may be left out begin in a slot of its own, and before the next, where it is used.

        The sale hangs on the slot in which it begins: in any other there would be nothing that ties it. For where
        nobody is without a home.
        """
        b = brood.index
        if is_one(used := self.used(b, number)):
            return
        for slot in self.slots_of(b, number + 1):
            self.model.add(self.by(b, number + 1, slot) + used - 1 <= self.by(b, number, slot - 1))
        for slot in sorted({*self.slots_of(b, number)} - {*brood.phases[number].entries}):
            self.model.add(self.at(b, number, slot) + used <= 1)

    def _early(self, needs: Needs, brood: BroodNeeds) -> set[int]:
        """Return the slots in which fish found here may leave only because there is no home for them."""
        if not (self.homeless and brood.phases[0].homes and len(brood.phases) > 1):
            return set()
        return {slot for slot in needs.move_slots if slot < brood.phases[1].entries[0]}

    def _begin_once(self, brood: BroodNeeds, early: set[int]) -> None:
        domains = [list(phase.entries) for phase in brood.phases] + [list(brood.sale_slots)]
        if early:
            domains[1] = sorted({*domains[1], *early})
        for number in reversed(range(len(brood.phases))):
            if brood.phases[number].optional:  # left out, it begins with the next
                domains[number] = sorted({*domains[number], *domains[number + 1]})
        for number, slots in enumerate(domains):
            key = brood.index, number
            self._entries[key] = slots
            by: list[Literal] = [self.model.new_bool_var(f"by {key} {slot}") for slot in slots[:-1]]
            for before, after in pairwise(by):
                self.model.add_implication(before, after)
            by.append(1)
            self._by[key] = by

    def _lose_home_once(self, brood: BroodNeeds) -> None:
        gone: Literal = 0
        for number, phase in enumerate(brood.phases):
            key = brood.index, number
            loses = (self.leaving_out and number == 0) if brood.optional else self.homeless
            if loses and not phase.homes:
                now = self.model.new_bool_var(f"gone {key}")
                if not is_zero(gone):
                    self.model.add_implication(gone, now)
                gone = now
            self._gone[key] = gone
            may_skip = brood.life.rules.stages[phase.stage].may_skip and not phase.homes and number > 0
            skips = phase.optional or may_skip
            self._used[key] = self.model.new_bool_var(f"used {key}") if skips else 1

    def _in_order(self, brood: BroodNeeds) -> None:
        b = brood.index
        for number, phase in enumerate(brood.phases):
            skips = not is_one(self._used[b, number])
            at_once = skips or bool(phase.homes)  # fish may leave today the vessel they are found in
            for slot in self._entries[b, number + 1]:
                begun = self.by(b, number, slot if at_once else slot - 1)
                implies(self.model, self.by(b, number + 1, slot), begun)
            if skips:
                for slot in sorted({*self._entries[b, number], *self._entries[b, number + 1]}):
                    self.model.add(self.within(b, number, slot) <= self._used[b, number])
