"""The room as a constraint model, put together from its parts, with what is to be minimised.

    dates -> cohorts -> selling, filling -> counting -> objectives

See docs/explanation/the-model.md.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from ortools.sat.python import cp_model

from allocator.model.cohorts import Cohorts
from allocator.model.counting import Counting
from allocator.model.dates import Dates
from allocator.model.filling import Filling
from allocator.model.selling import Selling
from allocator.model.settled import home_until
from allocator.model.terms import Expression, is_one, is_zero
from allocator.needs import BroodNeeds, Needs


class BuildStoppedError(Exception):
    """The model was not finished because the time ran out or the keeper stopped the run."""


@dataclass(frozen=True)
class Keep:
    """The plan that the keeper already has: each brood's class in each slot, and what a slot weighs."""

    classes: tuple[dict[int, int], ...]
    weight: tuple[int, ...]


class CohortModel:
    """Variables, rules and objectives of one room.

    Parameters
    ----------
    needs
        The integer tables.
    adding
        Whether vessels may be added.
    homeless
        Whether a brood may be left without a home.
    leaving_out
        Whether collections may be left out, of those that need not be taken.
    keep
        The plan to stay close to, if there is one.
    go_on
        Asked now and then while the model is built; False gives up.

    Attributes
    ----------
    hinted
        The solution that its hints tell in full, if there is one.

    Raises
    ------
    BuildStoppedError
        If `go_on` said no.
    """

    def __init__(
        self,
        needs: Needs,
        *,
        adding: bool,
        homeless: bool,
        leaving_out: bool = False,
        keep: Keep | None = None,
        go_on: Callable[[], bool] = lambda: True,
    ) -> None:
        self.needs = needs
        self.keep = keep
        self.homeless = homeless
        self.model = cp_model.CpModel()
        self.dates = Dates(self.model, needs, homeless=homeless, leaving_out=leaving_out)
        self.cohorts = Cohorts(needs, self.dates, adding=adding)
        Selling(self.cohorts)
        for brood in needs.broods if not homeless else ():
            for number in range(len(brood.phases)):
                self.dates.take_time(brood, number)
        self.filling = Filling(self.cohorts, exact=keep is not None)
        for cohort in self.cohorts.cohorts:
            if not go_on():
                raise BuildStoppedError
            self.filling.fill(cohort)
        self._counting = Counting(self.cohorts, self.filling)
        self.extra = self._counting.extra
        self.objectives = self._objectives()
        self.hinted: object | None = None

    def _objectives(self) -> dict[str, Expression]:
        homeless: list[Expression] = []
        for brood in self.needs.broods if self.homeless else ():
            homeless += [] if brood.optional else self._homeless_cost(brood)
        strain = list(self.filling.strain)
        for brood in self.needs.broods:
            for number, by_slot in enumerate(brood.entry_strain):
                for slot, cost in by_slot.items():
                    if cost:
                        strain.append(cost * self._entered_for_real(brood, number, slot))
        price = [kind.price * self.extra[kind.index] for kind in self.needs.classes if kind.price]
        vessel_days = [
            int(self.needs.slot_days[slot]) * literal for (_, slot), literal in self.filling.open.items()
        ]
        return {
            "homeless": sum(homeless),
            "cost": sum(price),
            "strain": sum(strain),
            "change": self._change(),
            "handlings": sum(self._counting.handlings),
            "move_days": sum(self._counting.busy_days),
            "vessel_days": sum(vessel_days),
        }

    def _entered_for_real(self, brood: BroodNeeds, number: int, slot: int) -> Expression:
        """Return whether a phase begins in a slot and has a home (a brood without one is not strained)."""
        begins = self.dates.at(brood.index, number, slot)
        gone, used = self.dates.gone(brood.index, number), self.dates.used(brood.index, number)
        if is_zero(gone) and is_one(used):
            return begins
        real = self.model.new_bool_var(f"entered {brood.index} {number} {slot}")
        self.model.add(real >= begins - gone - (1 - used))
        return real

    def _homeless_cost(self, brood: BroodNeeds) -> Iterable[Expression]:
        b = brood.index
        leave = home_until(brood)
        for slot in range(brood.start, leave):
            sources = [
                (self.dates.gone(b, number), self.dates.by(b, number, slot))
                for number in range(len(brood.phases))
                if not is_zero(self.dates.gone(b, number))
            ]
            sources = [(gone, begun) for gone, begun in sources if not (is_zero(begun))]
            if not sources:
                continue
            out = self.model.new_bool_var(f"out {b} {slot}")
            for gone, begun in sources:
                self.model.add(out >= gone + begun - 1)
            yield int(brood.fish_days[slot]) * out
        for number in range(len(brood.phases)):  # who is turned out when it could be sold counts for one slot
            gone = self.dates.gone(b, number)
            before = self.dates.gone(b, number - 1) if number else 0
            for slot in self.dates.slots_of(b, number):
                if slot >= leave and not is_zero(gone):
                    out = self.model.new_bool_var(f"late {b} {number} {slot}")
                    self.model.add(out >= gone - before + self.dates.at(b, number, slot) - 1)
                    yield int(brood.fish_days[slot]) * out

    def _change(self) -> Expression:
        """Return what changes against the plan in hand: slots in which a brood is in another class, weighed."""
        if self.keep is None:
            return 0
        cost: list[Expression] = []
        for brood in self.needs.broods:
            units = [self.cohorts.unit(brood, number) for number in range(len(brood.phases))]
            for slot, kind in self.keep.classes[brood.index].items():
                same = [
                    self.filling.here.get((unit.index, cohort.index, slot), 0)
                    for unit in units
                    for cohort in self.cohorts.of(unit)
                    if cohort.kind.index == kind
                ]
                changed = self.model.new_bool_var(f"changed {brood.index} {slot}")
                self.model.add(changed + sum(same) >= 1)
                cost.append(self.keep.weight[slot] * changed)
        return sum(cost)
