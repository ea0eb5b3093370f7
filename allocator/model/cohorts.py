"""Who may live with whom: cohorts of lots, led by the lot that enters first.

A cohort is one vessel's stretch of use. A *unit* is one phase of one brood; it leads cohorts of its own, one for
each vessel that it is shared out over, or joins those of units that enter earlier, as a whole or in equal portions.
No vessel appears, only how many cohorts of a class are open at once, so that equal vessels are never told apart in
the search. Names are given afterwards (`naming`).
"""

from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

import numpy as np
from ortools.sat.python import cp_model

from allocator.model.dates import Dates
from allocator.model.settled import place_load
from allocator.model.terms import Expression, Literal, implies, is_one, is_zero
from allocator.needs import FULL, BroodNeeds, Needs, Phase, VesselClass


@dataclass(frozen=True)
class Unit:
    """One phase of one brood. `until` is the first slot by which it is surely over."""

    index: int
    brood: BroodNeeds
    number: int
    start: int
    until: int

    @property
    def phase(self) -> Phase:
        """The phase."""
        return self.brood.phases[self.number]


@dataclass
class Cohort:
    """A stretch of use of one vessel of a class: led by a unit, or by whoever is in a vessel today."""

    index: int
    kind: VesselClass
    leader: Unit | None
    home: str | None = None
    members: list[Unit] = field(default_factory=list)


class Cohorts:
    """All units and all cohorts that they could be in, with the choices between them.

    Parameters
    ----------
    needs
        The integer tables.
    dates
        When the units begin.
    adding
        Whether vessels may be added.
    """

    def __init__(self, needs: Needs, dates: Dates, *, adding: bool) -> None:
        self.model: cp_model.CpModel = dates.model
        self.needs = needs
        self.dates = dates
        self.adding = adding
        self.units: dict[tuple[int, int], Unit] = {}
        self.cohorts: list[Cohort] = []
        self.parts: dict[tuple[int, int], Expression] = {}
        self.joins: dict[tuple[int, int], Literal] = {}
        self.of_unit: dict[int, list[Cohort]] = {}
        self._make_units()
        self._make_cohorts()
        self._joins_and_parts()
        self._fullest_first()
        self._live_somewhere()
        self._follow_leaders()

    def of(self, unit: Unit) -> list[Cohort]:
        """Return the cohorts that a unit could be in."""
        return self.of_unit.get(unit.index, [])

    def unit(self, brood: BroodNeeds, number: int) -> Unit:
        """Return one phase of a brood."""
        return self.units[brood.index, number]

    def clean_out(self, unit: Unit) -> int:
        """Return the days for which a unit's vessel is kept from strangers after it; 0 if there are none."""
        return self.needs.clean_out_days(unit.brood) if self.needs.strangers else 0

    @cached_property
    def _cleaned(self) -> bool:
        """Whether any vessel is ever kept from strangers."""
        return any(map(self.clean_out, self.units.values()))

    def _make_units(self) -> None:
        for brood in self.needs.broods:
            for number in range(len(brood.phases)):
                start = self.dates.slots_of(brood.index, number)[0]
                until = self.dates.slots_of(brood.index, number + 1)[-1]
                self.units[brood.index, number] = Unit(len(self.units), brood, number, start, until)

    def _classes_for(self, unit: Unit) -> list[VesselClass]:
        allowed = unit.brood.allowed[unit.phase.stage]
        portion = unit.phase.portions
        found = []
        for kind in self.needs.classes:
            if not (kind.copies or (kind.most and self.adding)):
                continue
            loads = [place_load(unit.brood, kind.index, part, portion) for part in (1, portion)]
            fits = allowed[kind.index] & np.logical_or.reduce([(load <= FULL).all(axis=0) for load in loads])
            if any(
                fits[slot] for slot in self.dates.slots_of(unit.brood.index, unit.number) if slot < len(fits)
            ):
                found.append(kind)
        return found

    def _make_cohorts(self) -> None:
        homes: dict[str, Cohort] = {}
        for unit in self.units.values():
            for name, _ in unit.phase.homes:
                if name not in homes:
                    homes[name] = Cohort(len(self.cohorts), self.needs.class_of[name], None, name)
                    self.cohorts.append(homes[name])
                homes[name].members.append(unit)
        suited: dict[int, list[Unit]] = {}
        for unit in self.units.values():
            for kind in [] if unit.phase.homes else self._classes_for(unit):
                self._lead(unit, kind)
                suited.setdefault(kind.index, []).append(unit)
        for cohort in self.cohorts:
            inside = {unit.index for unit in cohort.members}
            for unit in suited.get(cohort.kind.index, ()):
                if unit.index not in inside and self._may_join(unit, cohort):
                    cohort.members.append(unit)

    def _lead(self, unit: Unit, kind: VesselClass) -> None:
        """Give a unit as many cohorts to lead in a class as it could be shared out over."""
        vessels = kind.copies + (kind.most if self.adding else 0)
        for _ in range(min(unit.phase.portions, vessels)):
            self.cohorts.append(Cohort(len(self.cohorts), kind, unit, None, [unit]))

    def _may_join(self, unit: Unit, cohort: Cohort) -> bool:
        """Tell whether a unit may enter a cohort after its leader (the rest is left to the rules)."""
        leaders = [cohort.leader] if cohort.leader else [m for m in cohort.members if m.phase.homes]
        own = any(leader.brood is unit.brood for leader in leaders)
        if unit.phase.alone and not self._cleaned:
            return False  # one after the other is as well told by two cohorts
        if not all(self.needs.may_share(unit.brood, leader.brood) for leader in leaders):
            return False
        if own:
            return all(leader.number < unit.number for leader in leaders if leader.brood is unit.brood)
        latest = self.dates.slots_of(unit.brood.index, unit.number)[-1]
        return all(leader.start <= latest for leader in leaders)

    def _joins_and_parts(self) -> None:
        """Make the choices: which cohort each unit is in, and with how many of its portions."""
        for cohort in self.cohorts:
            for unit in cohort.members:
                key = unit.index, cohort.index
                self.of_unit.setdefault(unit.index, []).append(cohort)
                if unit.phase.homes:
                    self.joins[key] = self.parts[key] = 1
                    continue
                join = self.joins[key] = self.model.new_bool_var(f"join {key}")
                self.parts[key] = join
                if unit.phase.portions > 1:
                    count = self.parts[key] = self.model.new_int_var(0, unit.phase.portions, f"parts {key}")
                    self.model.add(count >= join)
                    self.model.add(count <= unit.phase.portions * join)

    def _fullest_first(self) -> None:
        """Of the cohorts that a unit leads in one class, which are alike, let the first have the most portions."""
        for one, other in pairwise(self.cohorts):
            unit = one.leader
            if unit is not None and unit is other.leader and one.kind is other.kind:
                self.model.add(self.parts[unit.index, one.index] >= self.parts[unit.index, other.index])

    def _live_somewhere(self) -> None:
        """Give every used phase a home for all its portions, unless the brood has none from there on."""
        for unit in self.units.values():
            if not unit.phase.homes:
                total = sum(self.parts[unit.index, cohort.index] for cohort in self.of(unit))
                self.model.add(total == unit.phase.portions * self._settled(unit))

    def _settled(self, unit: Unit) -> Expression:
        used = self.dates.used(unit.brood.index, unit.number)
        gone = self.dates.gone(unit.brood.index, unit.number)
        if is_zero(gone):
            return used
        if is_one(used):
            return 1 - gone
        settled = self.model.new_bool_var(f"settled {unit.index}")
        self.model.add_bool_and([used, gone.negated()]).only_enforce_if(settled)
        self.model.add_bool_or([used.negated(), gone]).only_enforce_if(settled.negated())
        return settled

    def _follow_leaders(self) -> None:
        """Let units join only a cohort that its leader leads, and only after it."""
        for cohort in self.cohorts:
            leader = cohort.leader
            for unit in cohort.members:
                if leader is not None and unit is not leader:
                    join = self.joins[unit.index, cohort.index]
                    implies(self.model, join, self.joins[leader.index, cohort.index])
                    self._enter_after(unit, leader, join)

    def _enter_after(self, unit: Unit, leader: Unit, join: Literal) -> None:
        """Let who joins enter no earlier than the leader; of two in one slot the first in order leads."""
        later = 0 if leader.index < unit.index else 1
        for slot in self.dates.slots_of(unit.brood.index, unit.number):
            has_led = self.dates.by(leader.brood.index, leader.number, slot - later)
            if is_one(has_led):
                break
            self.model.add(self.dates.by(unit.brood.index, unit.number, slot) + join - 1 <= has_led)
