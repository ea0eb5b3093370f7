"""Counts of vessels as rows of whole numbers: for each class, some slots, and lines that may share.

Whatever the dates, those who are in vessels of a class in a slot need so many of them. No vessel and no company
appears, so that rooms of any size can be looked at; what is left out only makes the least cost smaller.
"""

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from allocator.model.count_stays import Stays, Stretch, homes_by_class
from allocator.model.settled import place_load
from allocator.needs import CAPS, DUST, FULL, Bools, BroodNeeds, Ints

WHOLE = 5_040
"""A vessel in rows that count lots: many numbers of parts divide it (derived: 7!)."""

MOST_SETS = 12
"""Sets of lots that may not share, for each class and slot (judgement)."""

MOST_PARTS = 4
"""Rows for lots of more than a half, a third, a quarter of a vessel (judgement)."""


@dataclass
class Row:
    """A row: factors of columns, which together are at most a number."""

    factors: dict[int, int]
    most: int
    what: tuple[str, int, int] = ("", 0, 0)


@dataclass
class Rows:
    """Columns of whole numbers with their ranges, and rows."""

    low: list[int] = field(default_factory=list)
    high: list[int] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)

    def column(self, low: int, high: int) -> int:
        """Make a column and return its number."""
        self.low.append(low)
        self.high.append(high)
        return len(self.low) - 1

    def at_most(self, total: "Sum", most: int, what: tuple[str, int, int] = ("", 0, 0)) -> None:
        """Require that a sum is at most a number."""
        factors = {column: factor for column, factor in total.factors.items() if factor}
        self.rows.append(Row(factors, most - total.number, what))


class Sum:
    """A sum of columns with whole factors, and a number."""

    __slots__ = ("factors", "number")

    def __init__(self, factors: dict[int, int] | None = None, number: int = 0) -> None:
        self.factors = factors or {}
        self.number = number

    def add(self, other: "Sum", times: int = 1) -> "Sum":
        """Add another sum so many times to this one, and return it."""
        for column, factor in other.factors.items():
            self.factors[column] = self.factors.get(column, 0) + times * factor
        self.number += times * other.number
        return self


@dataclass(frozen=True)
class Lot:
    """A brood in one of its stretches that may be in vessels of a class in a slot.

    Attributes
    ----------
    amount
        How many of its units are there.
    loads
        What a unit takes at least, by cap.
    part
        What a part takes at least of the vessel that it is in, by cap.
    vessels
        How many vessels a unit takes to itself at least, in parts of WHOLE, if nobody else may be there.
    parts
        Ways to share it out: units to a part, and what a part takes by cap.
    """

    stretch: Stretch
    amount: Sum
    loads: Ints
    part: Ints
    vessels: int
    parts: tuple[tuple[int, Ints], ...]


class CountRows:
    """Rows for some slots of a room.

    Parameters
    ----------
    stays
        Who may be where, of the whole room.
    slots
        The slots that are looked at; the others are left out.
    go_on
        Asked now and then; False ends it with the slots so far.
    """

    def __init__(self, stays: Stays, slots: Sequence[int], go_on: Callable[[], bool] = lambda: True) -> None:
        self.needs = stays.needs
        self.stays = stays
        self.rows = Rows()
        self.extra = {kind.index: self.rows.column(0, kind.most) for kind in self.needs.classes if kind.most}
        self._by: dict[tuple[int, int], dict[int, int]] = {}
        for slot in slots:
            if not go_on():
                break
            self._slot(slot)
        self._in_order()

    # -- dates -------------------------------------------------------------------------------------------

    def _domain(self, brood: int, number: int) -> tuple[int, ...]:
        stretches = self.stays.stretches[brood]
        return stretches[number].entries if number < len(stretches) else self.stays.sales[brood].slots

    def by(self, brood: int, number: int, slot: int) -> Sum:
        """Return whether a stretch of a brood (or its sale, after the last) has begun by a slot."""
        domain = self._domain(brood, number)
        place = bisect_right(domain, slot)
        if place == 0:
            return Sum()
        if place == len(domain):
            return Sum(number=1)
        columns = self._by.setdefault((brood, number), {})
        if place not in columns:
            columns[place] = self.rows.column(0, 1)
        return Sum({columns[place]: 1})

    def _slot(self, slot: int) -> None:
        lots: dict[tuple[int, int], list[Lot]] = {}
        for brood in self.needs.broods:
            for stretch in self.stays.stretches[brood.index]:
                within = self.by(brood.index, stretch.number, slot)
                after = self.by(brood.index, stretch.number + 1, slot)
                if after.factors or after.number:
                    self.rows.at_most(Sum().add(after).add(within, -1), 0)
                if after.number == 1 or not (within.factors or within.number):
                    continue
                there = Sum().add(within).add(after, -1)
                for kind, lot in self._lots(stretch, slot, there):
                    lots.setdefault((self.stays.group[brood.line], kind), []).append(lot)
            self._sold_late_enough(brood, slot)
        by_class: dict[int, Sum] = {}
        for (_, kind), mine in lots.items():
            vessels = self.needs.classes[kind].copies + self.needs.classes[kind].most
            count = Sum({self.rows.column(0, vessels): 1})
            by_class.setdefault(kind, Sum()).add(count)
            for total, whole in self._counted(mine, slot):
                self.rows.at_most(Sum().add(total).add(count, -whole), 0)
        for kind, total in by_class.items():
            if kind in self.extra:
                total.add(Sum({self.extra[kind]: -1}))
            self.rows.at_most(total, self.needs.classes[kind].copies, ("copies", slot, kind))

    def _sold_late_enough(self, brood: BroodNeeds, slot: int) -> None:
        sale, last = self.stays.sales[brood.index], len(self.stays.stretches[brood.index]) - 1
        sold = self.by(brood.index, last + 1, slot)
        if sold.factors and (entry := sale.latest_entry(slot)) is not None:
            self.rows.at_most(sold.add(self.by(brood.index, last, entry), -1), 0)

    def _in_order(self) -> None:
        for columns in self._by.values():
            for (_, one), (_, other) in pairwise(sorted(columns.items())):
                self.rows.at_most(Sum({one: 1, other: -1}), 0)

    # -- who is where ------------------------------------------------------------------------------------

    def _lots(self, stretch: Stretch, slot: int, there: Sum) -> Iterator[tuple[int, Lot]]:
        brood = stretch.brood
        if stretch.at_home:
            yield from self._lots_at_home(stretch, slot, there)
            return
        kinds = [k for k, fits in self.stays.fits[brood.index, stretch.number].items() if fits[slot]]
        whole = Sum().add(there, stretch.units)
        if not kinds:
            self.rows.at_most(whole, 0)
            return
        amounts = [whole]
        if len(kinds) > 1:
            amounts = [Sum({self.rows.column(0, stretch.units): 1}) for _ in kinds]
            short = whole
            for amount in amounts:
                short.add(amount, -1)
            self.rows.at_most(short, 0)
        for kind, amount in zip(kinds, amounts, strict=True):
            yield kind, _lot(stretch, kind, slot, amount)

    def _lots_at_home(self, stretch: Stretch, slot: int, there: Sum) -> Iterator[tuple[int, Lot]]:
        brood = stretch.brood
        if slot < brood.helpless_until:
            return  # they may be too many there, or in the wrong place
        for kind, homes in homes_by_class(self.needs, stretch).items():
            if not brood.allowed[stretch.stage][kind][slot]:
                self.rows.at_most(Sum().add(there), 0)
                return
            loads = np.array([place_load(brood, kind, *part)[:, slot] for part in homes])
            yield (
                kind,
                Lot(
                    stretch,
                    there,
                    loads.sum(axis=0),
                    loads.min(axis=0),
                    WHOLE * len(homes),
                    ((1, loads.min(axis=0)),) if len(homes) == 1 else (),
                ),
            )

    # -- what they need ----------------------------------------------------------------------------------

    def _counted(self, lots: list[Lot], slot: int) -> Iterator[tuple[Sum, int]]:
        """Yield sums that are at most so many times the vessels that the lots take."""
        yield from self._by_load(lots)
        yield from self._by_company(lots, slot)

    def _by_load(self, lots: list[Lot]) -> Iterator[tuple[Sum, int]]:
        tops = {int(lot.loads.argmax()) for lot in lots}
        for cap in range(CAPS):
            if cap not in tops:
                continue
            plain = [int(lot.loads[cap]) for lot in lots]
            yield _sum_of(lots, plain), FULL
            for most in range(1, MOST_PARTS):
                sized = [_in_steps(lot, cap, most) for lot in lots]
                if any(worth * FULL > load * most * WHOLE for worth, load in zip(sized, plain, strict=True)):
                    yield _sum_of(lots, sized, most * WHOLE), most * WHOLE

    def _by_company(self, lots: list[Lot], slot: int) -> Iterator[tuple[Sum, int]]:
        """Yield sets of lots no two of which may be in one vessel."""
        clash = self._clash(lots, slot)
        order = sorted(range(len(lots)), key=lambda place: (-int(lots[place].part.max()), place))
        left = dict.fromkeys(order)
        for _ in range(MOST_SETS):
            if not left:
                break
            together: list[int] = []
            free = np.ones(len(lots), dtype=np.bool_)
            for place in (*left, *(place for place in order if place not in left)):
                if free[place]:
                    together.append(place)
                    free &= clash[place]
            for place in together:
                left.pop(place, None)
            yield (
                _sum_of([lots[i] for i in together], [lots[i].vessels for i in together], WHOLE),
                WHOLE,
            )

    def _clash(self, lots: list[Lot], slot: int) -> Bools:
        """Return for each two lots whether they must be in different vessels."""
        parts = np.array([lot.part for lot in lots])
        clash: Bools = np.zeros((len(lots), len(lots)), dtype=np.bool_)
        for cap in range(CAPS):
            clash |= parts[:, None, cap] + parts[None, :, cap] > FULL
        alone = np.array([lot.stretch.alone for lot in lots])
        clash |= alone[:, None] | alone[None, :]
        broods = [lot.stretch.brood for lot in lots]
        first = int(self.needs.first_days[slot])
        for day in range(first, first + int(self.needs.slot_days[slot])):
            mm = np.array([brood.daily_mm[day] for brood in broods])
            longest, shortest = np.maximum(mm[:, None], mm), np.minimum(mm[:, None], mm)
            limits = np.array([brood.life.rules.length_ratio_limit.value for brood in broods])
            limit = np.minimum(limits[:, None], limits)
            clash |= (shortest > 0) & (longest > limit * shortest + DUST)
        if len({brood.line for brood in broods}) > 1:
            strangers = [[not self.needs.may_share(one, other) for other in broods] for one in broods]
            clash |= np.array(strangers)
        index = np.array([brood.index for brood in broods])
        clash &= index[:, None] != index
        return clash


def _sum_of(lots: list[Lot], factors: list[int], whole: int = FULL) -> Sum:
    total = Sum()
    for lot, factor in zip(lots, factors, strict=True):
        own = whole * lot.vessels // WHOLE if lot.stretch.alone else 0
        if most := max(factor, own):
            total.add(lot.amount, most)
    return total


def _in_steps(lot: Lot, cap: int, most: int) -> int:
    """Return what a unit is worth where a part of more than 1 / (most + 1) of a vessel counts as 1 / most of it.

    In parts of most * WHOLE. A dual feasible function: Fekete and Schepers, Mathematical Programming 91 (2001).
    """
    worth = []
    for units, load in lot.parts:
        x = int(load[cap]) * (most + 1)
        value = load[cap] * most * WHOLE // FULL if x % FULL == 0 else x // FULL * WHOLE
        worth.append(int(value) // units)
    return min(worth, default=0)


def _lot(stretch: Stretch, kind: int, slot: int, amount: Sum) -> Lot:
    brood, units = stretch.brood, stretch.units
    one, whole = brood.one_fish[kind][:, slot], brood.load[kind][:, slot]
    loads, parts, vessels = [], [], []
    for of in stretch.portions:
        if (whole <= FULL).all():
            loads.append(whole // units)
            parts.append((units, whole))
            vessels.append(WHOLE // units)
        part = brood.portion_load(kind, of)[:, slot]
        odd = one if of > 1 else np.zeros_like(one)
        fit = min([of, *(int(f) for f in (FULL - odd[part > 0]) // part[part > 0])])
        if fit < 1:
            continue  # not so: a part is too much
        loads.append((part * fit + odd) * of // (units * fit))
        parts.append((units // of, part))
        vessels.append(WHOLE * of // (units * fit))
    return Lot(
        stretch,
        amount,
        np.minimum.reduce(loads),
        stretch.part_load(kind)[:, slot],
        min(vessels),
        tuple(parts),
    )
