"""The room as a constraint model: cohorts of lots, led by the lot that enters first.

A cohort is one vessel's stretch of use. A *unit* is one phase of one brood; it leads a cohort of its own or joins
that of a unit that enters earlier, as a whole or in equal portions. No vessel appears in the model, only how
many cohorts of a class are open at once, so that equal vessels are never told apart in the search. Names are
given afterwards (`naming`). See docs/explanation/the-model.md.
"""

from bisect import bisect_right
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
from ortools.sat.python import cp_model

from allocator.model.board import unbroken_excess
from allocator.model.first_fit import home_until
from allocator.model.settled import home_parts, place_comfort, place_load
from allocator.needs import FULL, Bools, BroodNeeds, Ints, Needs, Phase, VesselClass, forgiven, unbroken

# A variable, its negation, a sum, or a plain number where the answer is settled before the search. The solver's
# own union of these defeats the type checker, so one alias stands for all of them.
Expression = Any
Literal = Any


def is_zero(literal: Literal) -> bool:
    """Tell whether a literal is settled as false."""
    return isinstance(literal, int) and literal == 0


def is_one(literal: Literal) -> bool:
    """Tell whether a literal is settled as true."""
    return isinstance(literal, int) and literal == 1


class BuildStoppedError(Exception):
    """The model was not finished because the time ran out or the keeper stopped the run."""


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


@dataclass(frozen=True)
class Keep:
    """The plan that the keeper already has: for each brood and slot the class it lives in, and what it weighs."""

    classes: tuple[dict[int, int], ...]
    weight: tuple[int, ...]


def _both(*wanted: tuple[Literal, bool]) -> list[Literal] | None:
    """Return the literals under which all of these hold; None where they cannot."""
    when: list[Literal] = []
    for literal, value in wanted:
        if isinstance(literal, int):
            if bool(literal) != value:
                return None
        else:
            when.append(literal if value else literal.negated())
    return when


class CohortModel:
    """Variables and rules of one room.

    Parameters
    ----------
    needs
        The integer tables.
    adding
        Whether vessels may be added.
    homeless
        Whether a brood may be left without a home.
    keep
        The plan to stay close to, if there is one.
    go_on
        Asked now and then while the model is built; False gives up.

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
        keep: Keep | None = None,
        go_on: Callable[[], bool] = lambda: True,
    ) -> None:
        self.needs = needs
        self.model = cp_model.CpModel()
        self.adding = adding
        self.homeless = homeless
        self.keep = keep
        self._by: dict[tuple[int, int], list[Literal]] = {}
        self._entries: dict[tuple[int, int], list[int]] = {}
        self._gone: dict[tuple[int, int], Literal] = {}
        self._used: dict[tuple[int, int], Literal] = {}
        self.units: dict[tuple[int, int], Unit] = {}
        self.cohorts: list[Cohort] = []
        self.parts: dict[tuple[int, int], Expression] = {}
        self.joins: dict[tuple[int, int], Literal] = {}
        self.here: dict[tuple[int, int, int], Literal] = {}
        self.open: dict[tuple[int, int], Literal] = {}
        self.extra: dict[int, Literal] = {}
        self._strain: list[Expression] = []
        self._clashes: dict[tuple[int, int], Bools] = {}
        self._portion: dict[tuple[int, int], tuple[list[list[int]], list[list[int]]]] = {}
        self._moved: dict[tuple[int, int, int], Literal] = {}

        for brood in needs.broods:
            self._dates(brood)
        self._make_units()
        self._make_cohorts()
        self._live_somewhere()
        for brood in needs.broods:
            self._sale(brood)
        for cohort in self.cohorts:
            if not go_on():
                raise BuildStoppedError
            self._fill(cohort)
        self._count_open()
        self._count_moves()
        self.objectives = self._objectives()

    # -- dates -------------------------------------------------------------------------------------------

    def _literal(self, name: str) -> cp_model.IntVar:
        return self.model.new_bool_var(name)

    def _dates(self, brood: BroodNeeds) -> None:
        """Each phase begins once: `by` is true from its slot of entry on (order encoding)."""
        b = brood.index
        last = len(brood.phases)
        domains = [list(phase.entries) for phase in brood.phases] + [list(brood.sale_slots)]
        early: set[int] = set()
        if self.homeless and brood.phases[0].homes:
            early = {s for s in self.needs.move_slots if s < domains[1][0]}
            domains[1] = sorted({*domains[1], *early})
        for number in reversed(range(last)):
            if brood.phases[number].optional:
                domains[number] = sorted({*domains[number], *domains[number + 1]})
        for number, slots in enumerate(domains):
            self._entries[b, number] = slots
            by: list[Literal] = [self._literal(f"by {b} {number} {slot}") for slot in slots[:-1]]
            for before, after in pairwise(by):
                self.model.add_implication(before, after)
            by.append(1)
            self._by[b, number] = by
        gone: Literal = 0
        for number, phase in enumerate(brood.phases):
            if self.homeless and not phase.homes:
                now = self._literal(f"gone {b} {number}")
                if not is_zero(gone):
                    self.model.add_implication(gone, now)
                gone = now
            self._gone[b, number] = gone
            skips = phase.optional or (
                brood.life.rules.stages[phase.stage].may_skip and not phase.homes and number > 0
            )
            self._used[b, number] = self._literal(f"used {b} {number}") if skips else 1
        for number in range(last):
            skips = not is_one(self._used[b, number])
            today = bool(brood.phases[number].homes)  # fish may leave today the vessel they are found in
            for slot in self._entries[b, number + 1]:
                after = self.by(b, number + 1, slot)
                self._leq(after, self.by(b, number, slot if skips or today else slot - 1))
            if skips:
                for slot in {*self._entries[b, number], *self._entries[b, number + 1]}:
                    self.model.add(
                        self.by(b, number, slot) - self.by(b, number + 1, slot) <= self._used[b, number]
                    )
        if early:
            for slot in early:
                self._leq(self.by(b, 1, slot), self._gone[b, 1] if last > 1 else 0)

    def _leq(self, left: Literal, right: Literal) -> None:
        if is_zero(left) or is_one(right):
            return
        self.model.add(left <= right)

    def by(self, brood: int, number: int, slot: int) -> Literal:
        """Return whether a phase of a brood has begun by a slot (the phase after the last is the sale)."""
        place = bisect_right(self._entries[brood, number], slot)
        return self._by[brood, number][place - 1] if place else 0

    def slots_of(self, brood: int, number: int) -> list[int]:
        """Return the slots in which a phase may begin."""
        return self._entries[brood, number]

    def gone(self, brood: int, number: int) -> Literal:
        """Return whether a brood has no home from a phase on."""
        return self._gone[brood, number]

    def at(self, brood: int, number: int, slot: int) -> Expression:
        """Return whether a phase of a brood begins in just this slot."""
        return self.by(brood, number, slot) - self.by(brood, number, slot - 1)

    def _present(self, unit: Unit, slot: int) -> Expression:
        b, number = unit.brood.index, unit.number
        return self.by(b, number, slot) - self.by(b, number + 1, slot)

    # -- units and cohorts -------------------------------------------------------------------------------

    def _make_units(self) -> None:
        for brood in self.needs.broods:
            for number in range(len(brood.phases)):
                start = self._entries[brood.index, number][0]
                until = self._entries[brood.index, number + 1][-1]
                self.units[brood.index, number] = Unit(len(self.units), brood, number, start, until)

    def _classes_for(self, unit: Unit) -> list[VesselClass]:
        allowed = unit.brood.allowed[unit.phase.stage]
        portion = unit.phase.portions
        found = []
        for kind in self.needs.classes:
            if not (kind.copies or (kind.most and self.adding)):
                continue
            fits = allowed[kind.index] & ((unit.brood.portion_load(kind.index, portion) <= FULL).all(axis=0))
            if any(fits[slot] for slot in self._entries[unit.brood.index, unit.number] if slot < len(fits)):
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
        kinds = {unit.index: self._classes_for(unit) for unit in self.units.values() if not unit.phase.homes}
        for unit in self.units.values():
            for kind in kinds.get(unit.index, []):
                cohort = Cohort(len(self.cohorts), kind, unit, None, [unit])
                self.cohorts.append(cohort)
        for cohort in self.cohorts:
            for unit in self.units.values():
                if unit in cohort.members or unit.phase.homes or cohort.kind not in kinds[unit.index]:
                    continue
                if self._may_join(unit, cohort):
                    cohort.members.append(unit)

    def _may_join(self, unit: Unit, cohort: Cohort) -> bool:
        """Tell whether a unit may enter a cohort after its leader (the rest is left to the rules)."""
        leaders = [cohort.leader] if cohort.leader else [m for m in cohort.members if m.phase.homes]
        own = any(leader.brood is unit.brood for leader in leaders)
        if unit.phase.alone and not self.gap(cohort):
            return False  # one after the other is as well told by two cohorts
        if not all(self.needs.may_share(unit.brood, leader.brood) for leader in leaders):
            return False
        if own:
            return all(leader.number < unit.number for leader in leaders if leader.brood is unit.brood)
        latest = self._entries[unit.brood.index, unit.number][-1]
        return all(leader.start <= latest for leader in leaders)

    def _live_somewhere(self) -> None:
        """Every used phase has a home for all its portions, unless the brood has none from there on."""
        model = self.model
        for cohort in self.cohorts:
            for unit in cohort.members:
                key = unit.index, cohort.index
                if unit.phase.homes:
                    self.joins[key] = 1
                    self.parts[key] = 1
                    continue
                join = self._literal(f"join {unit.index} {cohort.index}")
                self.joins[key] = join
                if unit.phase.portions == 1:
                    self.parts[key] = join
                else:
                    count = model.new_int_var(0, unit.phase.portions, f"parts {unit.index} {cohort.index}")
                    model.add(count >= join)
                    model.add(count <= unit.phase.portions * join)
                    self.parts[key] = count
        for unit in self.units.values():
            if unit.phase.homes:
                continue
            mine = [c for c in self.cohorts if (unit.index, c.index) in self.joins]
            total = sum(self.parts[unit.index, c.index] for c in mine)
            used = self._used[unit.brood.index, unit.number]
            gone = self._gone[unit.brood.index, unit.number]
            settled: Expression
            if is_zero(gone):
                settled = used
            elif is_one(used):
                settled = 1 - gone
            else:
                here = self._literal(f"settled {unit.index}")
                model.add_bool_and([used, gone.negated()]).only_enforce_if(here)
                model.add_bool_or([used.negated(), gone]).only_enforce_if(here.negated())
                settled = here
            model.add(total == unit.phase.portions * settled)
        for cohort in self.cohorts:
            if cohort.leader is None:
                continue
            leads = self.joins[cohort.leader.index, cohort.index]
            for unit in cohort.members:
                if unit is not cohort.leader:
                    self._leq(self.joins[unit.index, cohort.index], leads)
                    self._enter_after(unit, cohort.leader, self.joins[unit.index, cohort.index])

    def _enter_after(self, unit: Unit, leader: Unit, join: Literal) -> None:
        """A unit that joins enters no earlier than its leader; of two in one slot the first in order leads."""
        later = 0 if leader.index < unit.index else 1
        for slot in self._entries[unit.brood.index, unit.number]:
            has_led = self.by(leader.brood.index, leader.number, slot - later)
            if is_one(has_led):
                break
            self.model.add(self.by(unit.brood.index, unit.number, slot) + join - 1 <= has_led)

    # -- sale --------------------------------------------------------------------------------------------

    def _any_slow(self, brood: BroodNeeds, numbers: list[int]) -> Literal:
        """Return whether any part of a brood is in a vessel that slows it in any of these phases."""
        slow: list[Literal] = []
        fast: list[Literal] = []
        for number in numbers:
            unit = self.units[brood.index, number]
            for cohort in self.cohorts:
                join = self.joins.get((unit.index, cohort.index))
                if join is not None:
                    (slow if self.needs.slow(cohort.kind, brood) else fast).append(join)
        if not slow:
            return 0
        if not fast or any(is_one(literal) for literal in slow):
            return 1
        flag = self._literal(f"slow {brood.index} {numbers}")
        for literal in slow:
            self._leq(literal, flag)
        self.model.add(flag <= sum(slow))
        return flag

    def _sale(self, brood: BroodNeeds) -> None:
        """Sell a brood when it is ready: that hangs on when it came to its last stage, and on its pace."""
        b = brood.index
        final = brood.phases[-1].stage
        in_last = [n for n, phase in enumerate(brood.phases) if phase.stage == final]
        between = [n for n, phase in enumerate(brood.phases) if phase.stage in brood.slowing_stages]
        entry = brood.last_stage_phase
        housed = (
            []
            if is_zero(self._gone[b, len(brood.phases) - 1])
            else [self._gone[b, len(brood.phases) - 1].negated()]
        )
        if not brood.shift_sale:
            before, after = self._any_slow(brood, between), self._any_slow(brood, in_last)
            for (slow_before, slow_after, slot), slots in brood.sale.items():
                when = _both((before, slow_before), (after, slow_after))
                if when is not None:
                    self._sell_between(brood, entry, slot, slots, housed + when)
            return
        shifted = self._used[b, 1]
        at_home, after = self._any_slow(brood, [0]), self._any_slow(brood, [1])
        for (_, slow_home, slot), slots in brood.sale.items():
            when = _both((at_home, slow_home), (shifted, False))
            if when is not None:
                self._sell_between(brood, 0, slot, slots, housed + when)
        for (slow_after, slot), slots in brood.shift_sale.items():
            when = _both((after, slow_after), (shifted, True))
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
        too_soon = self.by(b, sale, slots[0] - 1)
        in_time = self.by(b, sale, slots[-1])
        if not is_zero(too_soon):
            self._enforce(too_soon <= self.by(b, entry, slot - 1), when)
        if not is_one(in_time):
            self._enforce(self.by(b, entry, slot) <= in_time, when)

    def _enforce(self, constraint: Any, when: list[Literal]) -> None:  # noqa: ANN401 - may be a plain bool
        if constraint is True:
            return
        if constraint is False:
            self.model.add_bool_or([literal.negated() for literal in when])
            return
        rule = self.model.add(constraint)
        if when:
            rule.only_enforce_if(when)

    # -- what is in a cohort -----------------------------------------------------------------------------

    def _fill(self, cohort: Cohort) -> None:
        kind = cohort.kind.index
        cover: dict[int, list[Unit]] = {}
        for unit in cohort.members:
            for slot in range(unit.start, unit.until):
                if self._be_there(unit, cohort, slot):
                    cover.setdefault(slot, []).append(unit)
        for slot, units in cover.items():
            present = [self.here[u.index, cohort.index, slot] for u in units]
            if any(is_one(literal) for literal in present):
                self.open[cohort.index, slot] = 1
            elif len(present) == 1:
                self.open[cohort.index, slot] = present[0]
            else:
                is_open = self._literal(f"open {cohort.index} {slot}")
                for literal in present:
                    self.model.add_implication(literal, is_open)
                self.open[cohort.index, slot] = is_open
            self._caps(cohort, slot, units)
            self._comfort(cohort, slot, units)
            for unit, literal in zip(units, present, strict=True):
                cost = int(unit.brood.strain[kind][slot])
                if cost:
                    self._strain.append(cost * literal)
            self._apart(cohort, slot, units)

    def _be_there(self, unit: Unit, cohort: Cohort, slot: int) -> bool:
        """Make the literal "this unit is in this cohort in this slot"; False where it cannot be."""
        b, number, kind = unit.brood.index, unit.number, cohort.kind.index
        begun, ended = self.by(b, number, slot), self.by(b, number + 1, slot)
        if (is_zero(begun)) or (is_one(ended)):
            return False
        join = self.joins[unit.index, cohort.index]
        allowed = unit.brood.allowed[unit.phase.stage][kind]
        if unit.phase.homes:
            allowed = forgiven(allowed)
        if not allowed[slot]:
            self.model.add(join + self._present(unit, slot) <= 1)
            return False
        if isinstance(begun, int) and isinstance(ended, int):
            self.here[unit.index, cohort.index, slot] = join
            return True
        if isinstance(join, int) and isinstance(begun, int):
            # in a home of today until it moves on
            self.here[unit.index, cohort.index, slot] = ended.negated()
            return True
        literal = self._literal(f"here {unit.index} {cohort.index} {slot}")
        self.model.add(literal >= join + self._present(unit, slot) - 1)
        if self.keep is not None:
            self._leq(literal, join)
            self.model.add(literal <= self._present(unit, slot))
        self.here[unit.index, cohort.index, slot] = literal
        return True

    def _amount(self, unit: Unit, cohort: Cohort, slot: int) -> tuple[Expression, int]:
        """Return how many portions of a unit are in a cohort in a slot, and of how many."""
        here = self.here[unit.index, cohort.index, slot]
        if unit.phase.homes or unit.phase.portions == 1:
            return here, 1
        name = f"amount {unit.index} {cohort.index} {slot}"
        count = self.model.new_int_var(0, unit.phase.portions, name)
        parts = self.parts[unit.index, cohort.index]
        self.model.add(count >= parts - unit.phase.portions * (1 - self._present(unit, slot)))
        return count, unit.phase.portions

    def _loads(self, unit: Unit, cohort: Cohort, slot: int) -> tuple[list[int], list[int]]:
        """Return load and comfort of one portion, cap by cap."""
        key = unit.index, cohort.index
        if key not in self._portion:
            brood, kind = unit.brood, cohort.kind.index
            parts, of = 1, unit.phase.portions
            if unit.phase.homes:
                share = next(share for name, share in unit.phase.homes if name == cohort.home)
                parts, of = home_parts(share)
            load = place_load(brood, kind, parts, of).T.tolist()
            comfort = place_comfort(brood, kind, parts, of).T.tolist()
            self._portion[key] = load, comfort
        loads, comforts = self._portion[key]
        return loads[slot], comforts[slot]

    def _caps(self, cohort: Cohort, slot: int, units: list[Unit]) -> None:
        """Keep the sum of what is in a vessel within each cap; fish found in too little room stay excused."""
        amounts = [self._amount(u, cohort, slot) for u in units]
        loads = [self._loads(u, cohort, slot)[0] for u in units]
        self._amounts = {
            (u.index, cohort.index, slot): amount for u, (amount, _) in zip(units, amounts, strict=True)
        }
        for cap in range(4):
            rows = [(amount, load[cap], of) for (amount, of), load in zip(amounts, loads, strict=True)]
            if sum(load * of for _, load, of in rows) <= FULL:
                continue
            is_open = self.open[cohort.index, slot]
            total = sum(load * amount for amount, load, _ in rows)
            self.model.add(total <= FULL * is_open + self._excuse(cohort, slot, cap))

    def _excuse(self, cohort: Cohort, slot: int, cap: int) -> Expression:
        """Return how much above full a vessel may be because the fish found in it are too many already today.

        That holds without a break from today on: with all who are found there, or where one is too much alone.
        """
        at_home = [u for u in cohort.members if u.phase.homes]
        if not at_home:
            return 0
        loads = [self._home_load(u, cohort) for u in at_home]
        together = int(unbroken_excess(sum(loads, np.zeros_like(loads[0])))[cap, slot])
        alone = [int(unbroken_excess(load)[cap, slot]) for load in loads]
        if not together and not any(alone):
            return 0
        here = [self.here.get((u.index, cohort.index, slot), 0) for u in at_home]
        all_here: Literal = here[0]
        if len(here) > 1:
            all_here = self._literal(f"all {cohort.index} {slot}")
            for literal in here:
                self._leq(all_here, literal)
        rest = max(together - sum(alone), 0)
        return rest * all_here + sum(one * literal for one, literal in zip(alone, here, strict=True))

    def _home_load(self, unit: Unit, cohort: Cohort) -> Ints:
        share = next(share for name, share in unit.phase.homes if name == cohort.home)
        return place_load(unit.brood, cohort.kind.index, *home_parts(share))

    def _comfort(self, cohort: Cohort, slot: int, units: list[Unit]) -> None:
        """Count the percent above comfort in this slot."""
        rows = []
        most = 0
        for cap in range(4):
            row = [
                (self._amounts[u.index, cohort.index, slot], self._loads(u, cohort, slot)[1][cap])
                for u in units
            ]
            top = sum(
                c * (u.phase.portions if not u.phase.homes else 1)
                for (_, c), u in zip(row, units, strict=True)
            )
            if top > 100:  # noqa: PLR2004 - percent
                rows.append(row)
                most = max(most, top - 100)
        if not rows:
            return
        over = self.model.new_int_var(0, most, f"over {cohort.index} {slot}")
        is_open = self.open[cohort.index, slot]
        for row in rows:
            self.model.add(over >= sum(c * amount for amount, c in row) - 100 * is_open)
        self._strain.append(int(self.needs.slot_days[slot]) * over)

    def _apart(self, cohort: Cohort, slot: int, units: list[Unit]) -> None:
        """Keep apart who must be: too long for each other, or one that must be alone."""
        for place, one in enumerate(units):
            for other in units[place + 1 :]:
                if one.brood is not other.brood and self._clash(one, other)[slot]:
                    pair = [self.here[u.index, cohort.index, slot] for u in (one, other)]
                    self.model.add(pair[0] + pair[1] <= 1)

    def _clash(self, one: Unit, other: Unit) -> Bools:
        key = one.index, other.index
        if key not in self._clashes:
            clash = self.needs.clash(one.brood, one.phase.alone, other.brood, other.phase.alone)
            if one.phase.homes and other.phase.homes:
                clash &= ~unbroken(clash)  # that is how it is today
            self._clashes[key] = clash
        return self._clashes[key]

    # -- counting ----------------------------------------------------------------------------------------

    def _gap_slots(self, cohort: Cohort, slot: int) -> list[int]:
        """Return the earlier slots whose fish keep a vessel from a stranger in this slot (clean-out)."""
        gap = self.gap(cohort)
        begin = self.needs.days[slot].toordinal()
        return [
            s for s in range(max(0, slot - gap), slot) if self.needs.days[s + 1].toordinal() + gap > begin
        ]

    def gap(self, cohort: Cohort) -> int:
        """Return the days that a cohort's vessel may have to stand empty for a stranger; 0 if there is none."""
        if len({brood.line for brood in self.needs.broods}) == 1:
            return 0
        return max(self.needs.clean_out_days(unit.brood) for unit in cohort.members)

    def _count_open(self) -> None:
        """No more cohorts of a class are open (or being cleaned) than there are vessels."""
        for kind in self.needs.classes:
            mine = [c for c in self.cohorts if c.kind is kind]
            extra: Literal = 0
            if kind.most and self.adding and mine:
                extra = self.model.new_int_var(0, kind.most, f"extra {kind.index}")
            self.extra[kind.index] = extra
            busy: dict[int, list[Literal]] = {}
            for cohort in mine:
                slots = {slot for slot in range(self.needs.slots) if (cohort.index, slot) in self.open}
                if cohort.home is not None:  # left today, it is still to be cleaned
                    slots |= self._kept_by_leavers(cohort)
                for slot in range(self.needs.slots):
                    sources = [s for s in (slot, *self._gap_slots(cohort, slot)) if s in slots]
                    if sources:
                        busy.setdefault(slot, []).append(
                            self._any([self.open[cohort.index, s] for s in sources])
                        )
            for slot, literals in busy.items():
                if len(literals) > kind.copies or not is_zero(extra):
                    self.model.add(sum(literals) <= kind.copies + extra)

    def _kept_by_leavers(self, cohort: Cohort) -> set[int]:
        """Mark the first slots in which a vessel left today cannot be given to a stranger; return them."""
        gap = self.gap(cohort)
        today = self.needs.days[0].toordinal()
        kept = {s for s in range(self.needs.slots) if self.needs.days[s].toordinal() < today + gap}
        for slot in kept:
            self.open[cohort.index, slot] = 1
        return kept

    def _any(self, literals: list[Literal]) -> Literal:
        if len(literals) == 1:
            return literals[0]
        if any(is_one(literal) for literal in literals):
            return 1
        found = self._literal("busy")
        for literal in literals:
            self.model.add_implication(literal, found)
        return found

    def _handled(self, unit: Unit) -> list[tuple[Cohort, Literal]]:
        """Return for each cohort of a unit whether fish are carried into it (not when they were there before)."""
        b, number = unit.brood.index, unit.number
        result: list[tuple[Cohort, Literal]] = []
        for cohort in self.cohorts:
            join = self.joins.get((unit.index, cohort.index))
            if join is None:
                continue
            before = [
                (n, self.joins[self.units[b, n].index, cohort.index])
                for n in range(number)
                if (self.units[b, n].index, cohort.index) in self.joins
            ]
            if not before:
                result.append((cohort, join))
                continue
            carried = self._literal(f"carried {unit.index} {cohort.index}")
            self._leq(carried, join)
            # In place if the last phase that was used was in this cohort.
            later_used: list[Literal] = []
            for n in reversed(range(number)):
                used = self._used[b, n]
                was = next((j for m, j in before if m == n), 0)
                skipped = sum(later_used)
                self.model.add(carried >= join - was - (1 - used) - skipped)
                later_used.append(used)
                if is_one(used):
                    break
            result.append((cohort, carried))
        return result

    def _count_moves(self) -> None:
        """Count handlings, moves a day and days on which anything is moved."""
        self.handlings: list[Literal] = []
        by_slot: dict[int, list[Expression]] = {}
        some: dict[int, list[Literal]] = {}
        for brood in self.needs.broods:
            b = brood.index
            for number in range(1, len(brood.phases)):
                unit = self.units[b, number]
                carried = self._handled(unit)
                self.handlings += [literal for _, literal in carried]
                plain = unit.phase.portions == 1 and brood.phases[number - 1].portions == 1
                leaving = (
                    0 if plain and len(brood.phases[number - 1].homes) <= 1 else self._leaving(brood, number)
                )
                for slot in self._entries[b, number]:
                    count = self._moves_at(unit, slot, sum(literal for _, literal in carried), leaving)
                    by_slot.setdefault(slot, []).append(count)
                    some.setdefault(slot, []).append(count)
            for slot in self._entries[b, len(brood.phases)]:
                count = self._sales_at(brood, slot)
                by_slot.setdefault(slot, []).append(count)
                some.setdefault(slot, []).append(count)
        most = self.needs.room.keeper.most_moves_a_day
        self.busy_days: list[Literal] = []
        for slot, counts in by_slot.items():
            if most is not None:
                self.model.add(sum(counts) <= most)
            busy = self._literal(f"busy {slot}")
            for count in some[slot]:
                self.model.add(count <= 20 * busy)
            self.busy_days.append(busy)

    def _leaving(self, brood: BroodNeeds, number: int) -> Expression:
        """Return how many vessels more than one a split brood leaves when a phase begins."""
        last = number - 1
        numbers = [last] if is_one(self._used[brood.index, last]) else [last, max(last - 1, 0)]
        before = {self.units[brood.index, n].index: self.units[brood.index, n] for n in numbers}.values()
        left = [
            self.joins[unit.index, cohort.index]
            for unit in before
            for cohort in self.cohorts
            if (unit.index, cohort.index) in self.joins
        ]
        most = max(len(left) - 1, 0)
        extra = self.model.new_int_var(0, most, f"leaving {brood.index} {number}")
        self.model.add(extra >= sum(left) - 1)
        return extra

    def _moves_at(self, unit: Unit, slot: int, carried: Expression, leaving: Expression) -> Expression:
        b = unit.brood.index
        most = 3 * unit.phase.portions + 8
        count = self.model.new_int_var(0, most, f"moves {unit.index} {slot}")
        begins = self.at(b, unit.number, slot)
        self.model.add(count >= carried + leaving - most * (1 - begins))
        return count

    def _sales_at(self, brood: BroodNeeds, slot: int) -> Expression:
        b, last = brood.index, len(brood.phases) - 1
        begins = self.at(b, last + 1, slot)
        gone = self._gone[b, last]
        lots = [
            self.joins[self.units[b, n].index, cohort.index]
            for n in range(len(brood.phases))
            for cohort in self.cohorts
            if (self.units[b, n].index, cohort.index) in self.joins
            and brood.phases[n].stage == brood.phases[-1].stage
        ]
        single = all(p.portions == 1 and len(p.homes) <= 1 for p in brood.phases)
        most = 1 if single else max(len(lots), 1)
        count = self.model.new_int_var(0, most, f"sales {b} {slot}")
        if single:
            self.model.add(count >= begins - gone)
            return count
        final = [n for n in range(len(brood.phases)) if brood.phases[n].stage == brood.phases[-1].stage]
        for n in final:
            mine = [
                self.joins[self.units[b, n].index, c.index]
                for c in self.cohorts
                if (self.units[b, n].index, c.index) in self.joins
            ]
            later = sum(self._used[b, m] for m in final if m > n)
            self.model.add(count >= sum(mine) - most * (1 - begins) - most * later - most * gone)
        return count

    def _objectives(self) -> dict[str, Expression]:
        homeless: list[Expression] = []
        for brood in self.needs.broods if self.homeless else ():
            homeless += self._homeless_cost(brood)
        strain = list(self._strain)
        for brood in self.needs.broods:
            for number, by_slot in enumerate(brood.entry_strain):
                for slot, cost in by_slot.items():
                    if cost:
                        strain.append(cost * self._entered_for_real(brood, number, slot))
        price = [kind.price * self.extra[kind.index] for kind in self.needs.classes if kind.price]
        vessel_days = [int(self.needs.slot_days[slot]) * literal for (_, slot), literal in self.open.items()]
        return {
            "homeless": sum(homeless),
            "cost": sum(price),
            "strain": sum(strain),
            "change": self._change(),
            "handlings": sum(self.handlings),
            "move_days": sum(self.busy_days),
            "vessel_days": sum(vessel_days),
        }

    def _entered_for_real(self, brood: BroodNeeds, number: int, slot: int) -> Expression:
        """Return whether a phase begins in a slot and has a home (a brood without one is not strained)."""
        begins = self.at(brood.index, number, slot)
        gone, used = self._gone[brood.index, number], self._used[brood.index, number]
        if is_zero(gone) and is_one(used):
            return begins
        real = self._literal(f"entered {brood.index} {number} {slot}")
        self.model.add(real >= begins - gone - (1 - used))
        return real

    def _homeless_cost(self, brood: BroodNeeds) -> Iterable[Expression]:
        b = brood.index
        leave = home_until(brood)
        for slot in range(brood.start, leave):
            sources = [
                (self._gone[b, number], self.by(b, number, slot))
                for number in range(len(brood.phases))
                if not is_zero(self._gone[b, number])
            ]
            sources = [(gone, begun) for gone, begun in sources if not (is_zero(begun))]
            if not sources:
                continue
            out = self._literal(f"out {b} {slot}")
            for gone, begun in sources:
                self.model.add(out >= gone + begun - 1)
            yield int(brood.fish_days[slot]) * out

    def _change(self) -> Expression:
        if self.keep is None:
            return 0
        cost: list[Expression] = []
        for brood in self.needs.broods:
            for slot, kind in self.keep.classes[brood.index].items():
                same = [
                    literal
                    for number in range(len(brood.phases))
                    for cohort in self.cohorts
                    if cohort.kind.index == kind
                    and (
                        literal := self.here.get((self.units[brood.index, number].index, cohort.index, slot))
                    )
                    is not None
                ]
                changed = self._literal(f"changed {brood.index} {slot}")
                self.model.add(changed + sum(same) >= 1)
                cost.append(self.keep.weight[slot] * changed)
        return sum(cost)
