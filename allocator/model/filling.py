"""What is in each cohort in each slot: within its caps, in comfort or not, and fit to be together."""

import numpy as np

from allocator.model.board import excess_before
from allocator.model.cohorts import Cohort, Cohorts, Unit
from allocator.model.settled import home_parts, place_comfort, place_load
from allocator.model.terms import Expression, Literal, any_of, implies, is_one, is_zero
from allocator.needs import CAPS, COMFORT, FULL, Bools, Ints, before, forgiven


class Filling:
    """Who is in which cohort in which slot, and the rules on what may be in a vessel at once.

    Attributes
    ----------
    here
        For unit, cohort and slot: whether the unit is there. True where it must be; only exact (false where
        it is not) if `exact` is asked for.
    open
        For cohort and slot: whether any unit is there.
    strain
        The terms of the strain that arise in vessels.
    """

    def __init__(self, cohorts: Cohorts, *, exact: bool) -> None:
        self.model = cohorts.model
        self.needs = cohorts.needs
        self.dates = cohorts.dates
        self.cohorts = cohorts
        self.exact = exact
        self.here: dict[tuple[int, int, int], Literal] = {}
        self.open: dict[tuple[int, int], Literal] = {}
        self.strain: list[Expression] = []
        self._clashes: dict[tuple[int, int], Bools] = {}
        self._portion: dict[tuple[int, int], tuple[list[list[int]], ...]] = {}
        self._spare: dict[tuple[int, int], list[list[int]]] = {}
        self._peaks: dict[tuple[int, int], tuple[list[int], list[int]]] = {}

    def fill(self, cohort: Cohort) -> None:
        """Add all there is to say about one cohort."""
        kind = cohort.kind.index
        cover: dict[int, list[Unit]] = {}
        for unit in cohort.members:
            for slot in range(unit.start, unit.until):
                if self._be_there(unit, cohort, slot):
                    cover.setdefault(slot, []).append(unit)
        for slot, units in cover.items():
            present = [self.here[u.index, cohort.index, slot] for u in units]
            self.open[cohort.index, slot] = any_of(self.model, present, f"open {cohort.index} {slot}")
            amounts = [self._amount(unit, cohort, slot) for unit in units]
            self._caps(cohort, slot, units, amounts)
            self._comfort(cohort, slot, units, amounts)
            for unit, literal in zip(units, present, strict=True):
                cost = int(unit.brood.strain[kind][slot])
                if cost:
                    self.strain.append(cost * literal)
            self._apart(cohort, slot, units)

    def _be_there(self, unit: Unit, cohort: Cohort, slot: int) -> bool:
        """Make the literal "this unit is in this cohort in this slot"; False where it cannot be."""
        b, number, kind = unit.brood.index, unit.number, cohort.kind.index
        begun, ended = self.dates.by(b, number, slot), self.dates.by(b, number + 1, slot)
        if is_zero(begun) or is_one(ended):
            return False
        join = self.cohorts.joins[unit.index, cohort.index]
        allowed = unit.brood.allowed[unit.phase.stage][kind]
        if unit.phase.homes:
            allowed = forgiven(allowed, unit.brood.helpless_until)
        if not allowed[slot]:
            self.model.add(join + self.dates.within(unit.brood.index, unit.number, slot) <= 1)
            return False
        if isinstance(begun, int) and isinstance(ended, int):
            self.here[unit.index, cohort.index, slot] = join
            return True
        if isinstance(join, int) and isinstance(begun, int):
            # in a home of today until it moves on
            self.here[unit.index, cohort.index, slot] = ended.negated()
            return True
        literal = self.model.new_bool_var(f"here {unit.index} {cohort.index} {slot}")
        self.model.add(literal >= join + self.dates.within(unit.brood.index, unit.number, slot) - 1)
        if self.exact:
            implies(self.model, literal, join)
            self.model.add(literal <= self.dates.within(unit.brood.index, unit.number, slot))
        self.here[unit.index, cohort.index, slot] = literal
        return True

    def _amount(self, unit: Unit, cohort: Cohort, slot: int) -> Expression:
        """Return how many portions of a unit are in a cohort in a slot."""
        portions = _portions(unit)
        if portions == 1:
            return self.here[unit.index, cohort.index, slot]
        count = self.model.new_int_var(0, portions, f"amount {unit.index} {cohort.index} {slot}")
        parts = self.cohorts.parts[unit.index, cohort.index]
        absent = 1 - self.dates.within(unit.brood.index, unit.number, slot)
        self.model.add(count >= parts - portions * absent)
        return count

    def _loads(self, unit: Unit, cohort: Cohort, slot: int) -> tuple[list[int], list[int], list[int]]:
        """Return load and comfort of one portion, and what a part has on top because fish are whole."""
        key = unit.index, cohort.index
        if key not in self._portion:
            brood, kind = unit.brood, cohort.kind.index
            if unit.phase.homes:
                share = next(share for name, share in unit.phase.homes if name == cohort.home)
                load = place_load(brood, kind, *home_parts(share))
                comfort = place_comfort(brood, kind, *home_parts(share))
            else:
                load = brood.portion_load(kind, unit.phase.portions)
                comfort = brood.portion_comfort(kind, unit.phase.portions)
            odd = brood.one_fish[kind] if _portions(unit) > 1 else np.zeros_like(load)
            self._portion[key] = load.T.tolist(), comfort.T.tolist(), odd.T.tolist()
            all_of_it = load * _portions(unit) + odd, comfort * _portions(unit)
            self._spare[key] = (all_of_it[0] - brood.load[kind] if _portions(unit) > 1 else odd).T.tolist()
            self._peaks[key] = all_of_it[0].max(axis=0).tolist(), all_of_it[1].max(axis=0).tolist()
        loads, comforts, odds = self._portion[key]
        return loads[slot], comforts[slot], odds[slot]

    def _caps(self, cohort: Cohort, slot: int, units: list[Unit], amounts: list[Expression]) -> None:
        """Keep the sum of what is in a vessel within each cap; fish found in too little room stay excused."""
        loads = [self._loads(unit, cohort, slot) for unit in units]
        if sum(self._peaks[unit.index, cohort.index][0][slot] for unit in units) <= FULL:
            return  # whatever the cap
        here = [self.here[unit.index, cohort.index, slot] for unit in units]
        whole: list[Expression] | None = None
        for cap in range(CAPS):
            most = sum(
                load[cap] * _portions(unit) + odd[cap]
                for unit, (load, _, odd) in zip(units, loads, strict=True)
            )
            if most > FULL:
                whole = whole or [
                    self._whole(unit, cohort, slot, amount)
                    for unit, amount in zip(units, amounts, strict=True)
                ]
                spare = [self._spare[unit.index, cohort.index][slot][cap] for unit in units]
                total = sum(
                    load[cap] * amount + odd[cap] * there - less * together
                    for (load, _, odd), amount, there, less, together in zip(
                        loads, amounts, here, spare, whole, strict=True
                    )
                )
                is_open = self.open[cohort.index, slot]
                self.model.add(total <= FULL * is_open + self._excuse(cohort, slot, cap))

    def _whole(self, unit: Unit, cohort: Cohort, slot: int, amount: Expression) -> Expression:
        """Return whether all portions of a unit are in a cohort in a slot: then nothing is rounded, no part has more."""
        portions = _portions(unit)
        if portions == 1:
            return 0
        literal = self.model.new_bool_var(f"whole {unit.index} {cohort.index} {slot}")
        self.model.add(portions * literal <= amount)
        implies(self.model, literal, self.here[unit.index, cohort.index, slot])
        return literal

    def _excuse(self, cohort: Cohort, slot: int, cap: int) -> Expression:
        """Return how much above full a vessel may be because the fish found in it cannot be moved yet.

        That goes for all who are found there together, and for one that is too much alone.
        """
        at_home = [u for u in cohort.members if u.phase.homes]
        if not at_home:
            return 0
        loads = [self._home_load(u, cohort) for u in at_home]
        until = [u.brood.helpless_until for u in at_home]
        together = int(excess_before(sum(loads, np.zeros_like(loads[0])), min(until))[cap, slot])
        alone = [int(excess_before(load, own)[cap, slot]) for load, own in zip(loads, until, strict=True)]
        if not together and not any(alone):
            return 0
        here = [self.here.get((u.index, cohort.index, slot), 0) for u in at_home]
        all_here: Literal = here[0]
        if len(here) > 1:
            all_here = self.model.new_bool_var(f"all {cohort.index} {slot}")
            for literal in here:
                implies(self.model, all_here, literal)
        rest = max(together - sum(alone), 0)
        return rest * all_here + sum(one * literal for one, literal in zip(alone, here, strict=True))

    def _home_load(self, unit: Unit, cohort: Cohort) -> Ints:
        share = next(share for name, share in unit.phase.homes if name == cohort.home)
        return place_load(unit.brood, cohort.kind.index, *home_parts(share))

    def _comfort(self, cohort: Cohort, slot: int, units: list[Unit], amounts: list[Expression]) -> None:
        """Count the percent above comfort in this slot, by the cap that is worst."""
        comforts = [self._loads(unit, cohort, slot)[1] for unit in units]
        if sum(self._peaks[unit.index, cohort.index][1][slot] for unit in units) <= COMFORT:
            return
        rows: list[tuple[int, Expression]] = []
        for cap in range(CAPS):
            most = sum(comfort[cap] * _portions(unit) for unit, comfort in zip(units, comforts, strict=True))
            if most > COMFORT:
                row = sum(comfort[cap] * amount for comfort, amount in zip(comforts, amounts, strict=True))
                rows.append((most, row))
        if rows:
            top = max(most for most, _ in rows) - COMFORT
            over = self.model.new_int_var(0, top, f"over {cohort.index} {slot}")
            for _, row in rows:
                self.model.add(over >= row - COMFORT * self.open[cohort.index, slot])
            self.strain.append(int(self.needs.slot_days[slot]) * over)

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
                until = min(one.brood.helpless_until, other.brood.helpless_until)
                clash &= ~before(self.needs.slots, until)  # that is how it is today
            self._clashes[key] = clash
        return self._clashes[key]


def _portions(unit: Unit) -> int:
    return 1 if unit.phase.homes else unit.phase.portions
