"""What strain a brood has at least, whatever its company: the cheapest dates in an otherwise empty room.

Company only ever adds to that. A vessel's strain is by how much the sum of what its fish take is above comfort, by
the worst cap. Of all caps one is looked at for each class, slot and sharing group (`Gauge`), the same for all lots:
then what is above comfort together is never less than what each lot is above comfort by itself.
"""

from dataclasses import dataclass

import numpy as np

from allocator.model.count_stays import sale_of, sharing_groups, usable
from allocator.model.settled import home_parts, place_comfort
from allocator.needs import CAPS, COMFORT, Bools, BroodNeeds, Ints, Needs, forgiven

NEVER = 10**12
"""More than any plan has: what is not allowed (derived: points above comfort are 300 a vessel and day at most)."""


class Gauge:
    """By which cap crowding is told, for each class, slot and group of lines that share.

    Parameters
    ----------
    needs
        The integer tables.
    """

    def __init__(self, needs: Needs) -> None:
        self.needs = needs
        group = sharing_groups(needs)
        self._group = {brood.index: group[brood.line] for brood in needs.broods}
        self._cap: dict[tuple[int, int], Ints] = {}
        slots = np.arange(needs.slots)
        for number in sorted(set(group.values())):
            mates = [brood for brood in needs.broods if self._group[brood.index] == number]
            for kind in needs.classes:
                total = np.zeros((CAPS, needs.slots), dtype=np.int64)
                for brood in mates:
                    total += brood.comfort[kind.index] * _may_be_in(needs, brood, kind.index)
                self._cap[number, kind.index] = total.argmax(axis=0)
        self._slots = slots

    def comfort(self, brood: BroodNeeds, kind: int, table: Ints) -> Ints:
        """Return of a table of a brood, shape (caps, slots), the cap that is looked at in each slot."""
        found: Ints = table[self._cap[self._group[brood.index], kind], self._slots]
        return found

    def worst(self, table: Ints) -> Ints:
        """Return the strain of each slot in which a vessel holds just what a table tells, and nobody may join."""
        over: Ints = np.maximum(table.max(axis=0) - COMFORT, 0) * self.needs.slot_days
        return over

    def above(self, brood: BroodNeeds, kind: int, table: Ints) -> Ints:
        """Return the strain of each slot in which a vessel holds just what a table tells."""
        over: Ints = np.maximum(self.comfort(brood, kind, table) - COMFORT, 0) * self.needs.slot_days
        return over


def _may_be_in(needs: Needs, brood: BroodNeeds, kind: int) -> Bools:
    """Return the slots in which a brood may be in vessels of a class on some dates."""
    found = np.zeros(needs.slots, dtype=np.bool_)
    for number, phase in enumerate(brood.phases):
        last = number == len(brood.phases) - 1
        until = (brood.sale_slots if last else brood.phases[number + 1].entries)[-1]
        span = slice(phase.entries[0], until)
        found[span] |= brood.allowed[phase.stage][kind][span]
    return found


@dataclass(frozen=True)
class Alone:
    """The least strain of one brood in an otherwise empty room.

    Attributes
    ----------
    least
        All its life.
    entering
        By slot of entry into its last stage: until then, and for entering in that slot.
    until
        By slot of entry into its last stage: the slot in which it can be sold at the earliest.
    """

    least: int
    entering: dict[int, int]
    until: dict[int, int]


NOWHERE = Alone(0, {}, {})
"""Of a brood for which there is no home whatever the plan: nothing is known of it."""


def alone(needs: Needs, brood: BroodNeeds, gauge: Gauge) -> Alone:
    """Return the least strain of a brood that must be housed."""
    phases, last = brood.phases, brood.last_stage_phase
    reach = {brood.start: 0}  # what it costs to begin the phase that is looked at, by slot
    for number in range(last):
        phase, after = phases[number], phases[number + 1]
        skips = (
            number > 0
            and not phase.homes
            and (phase.optional or brood.life.rules.stages[phase.stage].may_skip)
        )
        ends = sorted({*after.entries, *(reach if skips else ())})
        if after.optional:
            ends = sorted({*ends, *phases[number + 2].entries})
        starts = sorted(reach)
        entered = np.array([reach[slot] + brood.entry_strain[number].get(slot, 0) for slot in starts])
        spans = _between(needs, brood, number, gauge, starts, ends)
        shortest = 0 if phase.homes else 1
        later = np.array(ends)[None, :] - np.array(starts)[:, None] >= shortest
        cost = np.where(later, spans + entered[:, None], NEVER).min(axis=0)
        then = dict(zip(ends, cost.tolist(), strict=True))
        if skips:
            then |= {slot: min(then[slot], reach[slot]) for slot in reach}
        reach = {slot: value for slot, value in then.items() if value < NEVER}
        if not reach:
            return NOWHERE
    entering = {slot: value + brood.entry_strain[last].get(slot, 0) for slot, value in reach.items()}
    sale = sale_of(needs, brood)
    if not sale.slots:
        return NOWHERE
    soonest = sale.slots[0]
    until = {slot: sale.by_entry.get(slot, soonest) for slot in entering}
    final = np.minimum.reduce([_by_slot(needs, brood, number, gauge) for number in range(last, len(phases))])
    sums = np.concatenate(([0], np.cumsum(final.min(axis=0))))
    least = min(
        (value + int(sums[max(until[slot], slot)] - sums[slot]) for slot, value in entering.items()),
        default=NEVER,
    )
    return Alone(least if least < NEVER else 0, entering, until)


def _by_slot(needs: Needs, brood: BroodNeeds, number: int, gauge: Gauge) -> Ints:
    """Return the least strain of each slot of a phase, by class (NEVER where it may not be), shape (classes, slots)."""
    phase = brood.phases[number]
    rows = np.full((len(needs.classes), needs.slots), NEVER, dtype=np.int64)
    if phase.homes:
        found = np.zeros(needs.slots, dtype=np.int64)
        for name, share in phase.homes:
            kind = needs.class_of[name].index
            table = place_comfort(brood, kind, *home_parts(share))
            found += gauge.above(brood, kind, table) + brood.strain[kind]
            allowed = forgiven(brood.allowed[phase.stage][kind], brood.helpless_until)
            found = np.where(allowed, found, NEVER)
        rows[needs.class_of[phase.homes[0][0]].index] = found
        return rows
    for vessels in needs.classes:
        if usable(vessels):
            kind = vessels.index
            part = brood.portion_comfort(kind, phase.portions)
            crowd = gauge.worst(part) if phase.alone else gauge.above(brood, kind, part)
            cost = crowd + brood.strain[kind]
            rows[kind] = np.where(brood.allowed[phase.stage][kind], cost, NEVER)
    return rows


def _between(
    needs: Needs, brood: BroodNeeds, number: int, gauge: Gauge, starts: list[int], ends: list[int]
) -> Ints:
    """Return the least strain of a phase from each start to each end: in vessels of one class all the time."""
    rows = _by_slot(needs, brood, number, gauge)
    if brood.phases[number].portions > 1:  # its parts may be in vessels of several classes
        rows = rows.min(axis=0)[None, :]
    sums = np.concatenate((np.zeros((len(rows), 1), dtype=np.int64), np.cumsum(rows, axis=1)), axis=1)
    spans: Ints = (sums[:, ends][:, None, :] - sums[:, starts][:, :, None]).min(axis=0)
    return spans
