"""What is counted: vessels in use, handlings, moves a day, days with moves."""

from allocator.model.cohorts import Cohort, Cohorts, Unit
from allocator.model.filling import Filling
from allocator.model.terms import Expression, Literal, any_of, implies, is_one, is_zero
from allocator.needs import BroodNeeds

MOST_HOMES = 8
MOST_AT_ONCE = 40
"""More moves than one brood can need on a day: so many make a day busy many times over."""


class Counting:
    """Counts, and the rules on them: copies of each class, and the keeper's moves a day.

    Attributes
    ----------
    extra
        For each class: how many vessels are added.
    handlings
        Literals that are true where a lot is carried into another vessel.
    busy_days
        Literals that are true on days on which anything is moved or sold.
    """

    def __init__(self, cohorts: Cohorts, filling: Filling) -> None:
        self.model = cohorts.model
        self.needs = cohorts.needs
        self.dates = cohorts.dates
        self.cohorts = cohorts
        self.filling = filling
        self.extra: dict[int, Literal] = {}
        self.handlings: list[Literal] = []
        self.busy_days: list[Literal] = []
        self._count_open()
        self._count_moves()

    def _gap_slots(self, gap: int, slot: int) -> list[int]:
        """Return the earlier slots whose fish keep a vessel from a stranger in this slot (clean-out, in days)."""
        if not gap:
            return []
        begin = self.needs.days[slot].toordinal()
        return [
            s for s in range(max(0, slot - gap), slot) if self.needs.days[s + 1].toordinal() + gap > begin
        ]

    def _count_open(self) -> None:
        """No more cohorts of a class are open (or being cleaned) than there are vessels."""
        of_kind: dict[int, list[Cohort]] = {}
        for cohort in self.cohorts.cohorts:
            of_kind.setdefault(cohort.kind.index, []).append(cohort)
        for kind in self.needs.classes:
            mine = of_kind.get(kind.index, [])
            extra: Literal = 0
            if kind.most and self.cohorts.adding and mine:
                extra = self.model.new_int_var(0, kind.most, f"extra {kind.index}")
            self.extra[kind.index] = extra
            busy: dict[int, list[Literal]] = {}
            for cohort in mine:
                kept = self._kept_by_leavers(cohort) if cohort.home is not None else set()
                for slot in self._slots_of(cohort) if not kept else range(self.needs.slots):
                    if slot in kept:
                        busy.setdefault(slot, []).append(1)
                    elif literals := self._keeping(cohort, slot):
                        busy.setdefault(slot, []).append(any_of(self.model, literals, "busy"))
            for literals in busy.values():
                if len(literals) > kind.copies or not is_zero(extra):
                    self.model.add(sum(literals) <= kind.copies + extra)

    def _slots_of(self, cohort: Cohort) -> range:
        """Return the slots in which a cohort may be in use or be cleaned after (no more slots than days)."""
        last = max(unit.until + self.cohorts.clean_out(unit) for unit in cohort.members)
        return range(min(unit.start for unit in cohort.members), min(last, self.needs.slots))

    def _keeping(self, cohort: Cohort, slot: int) -> list[Literal]:
        """Return what keeps strangers out of a vessel in a slot: who is in it, and who it has to be cleaned of."""
        least = min(map(self.cohorts.clean_out, cohort.members))
        keys = [(cohort.index, s) for s in (slot, *self._gap_slots(least, slot))]
        literals = [self.filling.open[key] for key in keys if key in self.filling.open]
        for unit in cohort.members:
            longer = set(self._gap_slots(self.cohorts.clean_out(unit), slot))
            left = sorted(longer.difference(self._gap_slots(least, slot)))
            literals += [self.filling.here.get((unit.index, cohort.index, s), 0) for s in left]
        return [literal for literal in literals if not is_zero(literal)]

    def _kept_by_leavers(self, cohort: Cohort) -> set[int]:
        """Return the first slots in which a vessel that is left today is still to be cleaned for a stranger."""
        gap = max(self.cohorts.clean_out(unit) for unit in cohort.members if unit.phase.homes)
        ready = self.needs.days[0].toordinal() + gap
        return {slot for slot in range(self.needs.slots) if self.needs.days[slot].toordinal() < ready}

    def _carried(self, unit: Unit) -> list[Literal]:
        """Return for each cohort of a unit whether fish are carried into it, not there before."""
        b, number = unit.brood.index, unit.number
        earlier = [self.cohorts.units[b, n] for n in range(number)]
        result: list[Literal] = []
        for cohort in self.cohorts.of(unit):
            join = self.cohorts.joins[unit.index, cohort.index]
            was = [self.cohorts.joins.get((before.index, cohort.index), 0) for before in earlier]
            if all(is_zero(literal) for literal in was):
                result.append(join)
                continue
            carried = self.model.new_bool_var(f"carried {unit.index} {cohort.index}")
            implies(self.model, carried, join)
            skipped: Expression = 0  # in place if the last phase that was used was in this cohort
            for n in reversed(range(number)):
                used = self.dates.used(b, n)
                self.model.add(carried >= join - was[n] - (1 - used) - skipped)
                skipped += used
                if is_one(used):
                    break
            result.append(carried)
        return result

    def _count_moves(self) -> None:
        """Count handlings, moves a day and days on which anything is moved."""
        by_slot: dict[int, list[Expression]] = {}
        for brood in self.needs.broods:
            for number in range(1, len(brood.phases)):
                unit = self.cohorts.unit(brood, number)
                carried = self._carried(unit)
                self.handlings += carried
                moves = sum(carried) + self._leaving(brood, number)
                most = 3 * unit.phase.portions + MOST_HOMES
                for slot in self.dates.slots_of(brood.index, number):
                    by_slot.setdefault(slot, []).append(
                        self._on_that_day(unit.brood, number, slot, moves, most)
                    )
            for slot in self.dates.slots_of(brood.index, len(brood.phases)):
                by_slot.setdefault(slot, []).append(self._sales_at(brood, slot))
        most_moves = self.needs.room.keeper.most_moves_a_day
        for slot, counts in sorted(by_slot.items()):
            if most_moves is not None:
                self.model.add(sum(counts) <= most_moves)
            busy = self.model.new_bool_var(f"busy {slot}")
            for count in counts:
                self.model.add(count <= MOST_AT_ONCE * busy)
            self.busy_days.append(busy)

    def _leaving(self, brood: BroodNeeds, number: int) -> Expression:
        """Return how many vessels more than one a split brood leaves when a phase begins."""
        b = brood.index
        rows: list[tuple[list[Literal], Expression]] = []
        skipped: Expression = 0  # the last phase that was used is the one that is left
        for n in reversed(range(number)):
            unit = self.cohorts.unit(brood, n)
            if unit.phase.portions > 1 or len(unit.phase.homes) > 1:
                rows.append((self._joins_of(unit), skipped))
            used = self.dates.used(b, n)
            if is_one(used) or unit.phase.homes:
                break
            skipped += used
        if not rows:
            return 0
        most = max(len(joins) for joins, _ in rows)
        extra = self.model.new_int_var(0, max(most - 1, 0), f"leaving {b} {number}")
        for joins, later in rows:
            self.model.add(extra >= sum(joins) - 1 - most * later)
        return extra

    def _on_that_day(
        self, brood: BroodNeeds, number: int, slot: int, moves: Expression, most: int
    ) -> Expression:
        count = self.model.new_int_var(0, most, f"moves {brood.index} {number} {slot}")
        b, dates = brood.index, self.dates
        begins, used, gone = dates.at(b, number, slot), dates.used(b, number), dates.gone(b, number)
        self.model.add(count >= moves - most * (2 - begins - used + gone))
        return count

    def _sales_at(self, brood: BroodNeeds, slot: int) -> Expression:
        """Return how many lots of a brood are sold in a slot."""
        b, last = brood.index, len(brood.phases) - 1
        begins, gone = self.dates.at(b, last + 1, slot), self.dates.gone(b, last)
        if all(phase.portions == 1 and len(phase.homes) <= 1 for phase in brood.phases):
            count = self.model.new_int_var(0, 1, f"sales {b} {slot}")
            self.model.add(count >= begins - gone)
            return count
        final = [n for n, phase in enumerate(brood.phases) if phase.stage == brood.phases[-1].stage]
        lots = {n: self._joins_of(self.cohorts.unit(brood, n)) for n in final}
        most = max(1, *(len(joins) for joins in lots.values()))
        count = self.model.new_int_var(0, most, f"sales {b} {slot}")
        for n, joins in lots.items():
            later = sum(self.dates.used(b, m) for m in final if m > n)
            self.model.add(count >= sum(joins) - most * (1 - begins) - most * later - most * gone)
        return count

    def _joins_of(self, unit: Unit) -> list[Literal]:
        return [self.cohorts.joins[unit.index, cohort.index] for cohort in self.cohorts.of(unit)]
