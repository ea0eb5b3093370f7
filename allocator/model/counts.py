"""The least cost of added vessels by counting: whatever the dates, so many vessels of each class are in use at a time.

Counts know no vessel and no company, only how many vessels the broods of each line that are in a class at a moment
take together. Dates are free within the tables, and the same for all moments, so that moving one brood later on one
day is paid for on another. Lines that may not share meet only in the sum of the counts.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import product
from math import ceil, prod
from threading import Event

import numpy as np
from ortools.sat.python import cp_model

from allocator.model.bounds import worst_slices
from allocator.model.count_rows import CountRows
from allocator.model.count_stays import Stays, stays_of
from allocator.model.search import Budget, Found, search
from allocator.needs import Ints, Needs
from allocator.result import LongShortage

STEPS: tuple[tuple[int | None, int], ...] = ((12, 60_000), (32, 25_000), (None, 5_000))
"""How many slots are looked at together (None: all), as long as broods times slots are no more than so many.

Judgement: writing the rows takes about a second for each 2,000 (measured on a loaded machine of two slow cores).
"""

MOST_SUMS = 100_000
"""Sums of prices that are listed at most; beyond, any whole number may be a cost."""

SHARE_OF_ASKING = 0.4
"""What part of the work may go into finding which moments it hangs on, and into the second opinion (judgement)."""


@dataclass(frozen=True)
class CountBound:
    """What the counts show.

    Attributes
    ----------
    cost
        So much must be spent on vessels at least, in hundredths, to house everybody.
    impossible
        Whether not even all that may be added is enough.
    slots
        The moments that it hangs on: these few alone show it. None where nothing is shown.
    classes
        Classes of which vessels are added in the cheapest way to get through these moments.
    work
        What it took, in the solver's measure.
    """

    cost: int = 0
    impossible: bool = False
    slots: tuple[int, ...] = ()
    classes: tuple[int, ...] = ()
    work: float = 0.0

    def reason(self, needs: Needs) -> LongShortage | None:
        """Return when there are too few vessels, to be read out; None where nothing is shown."""
        if not self.slots:
            return None
        kinds = sorted({needs.classes[index].sample.declared_as for index in self.classes})
        return LongShortage(
            since=needs.days[self.slots[0]],
            until=needs.days[self.slots[-1] + 1],
            kind=" or ".join(kinds),
            at_least=self.cost / 100,
        )


@dataclass
class _Asking:
    """What one call spends."""

    needs: Needs
    stays: Stays
    left: float
    go_on: Callable[[], bool]
    stop: Event = field(default_factory=Event)
    work: float = 0.0

    def over(self) -> bool:
        if not self.go_on():
            self.stop.set()
        return self.stop.is_set() or self.left <= 0

    def _listen(self, _best: float | None, _bound: float | None) -> None:
        self.over()

    def rows(self, slots: Sequence[int]) -> CountRows:
        """Return the rows of some slots."""
        return CountRows(self.stays, slots, go_on=lambda: not self.over())

    def solve(self, model: cp_model.CpModel, work: float, *, presolve: bool = True) -> Found:
        """Search for so much work at most."""
        found = search(
            model,
            Budget(min(work, self.left), brief=True),
            stop=self.stop,
            tell=self._listen,
            presolve=presolve,
        )
        self.left -= found.work
        self.work += found.work
        return found


def count_bound(needs: Needs, *, budget: float = 0.5, go_on: Callable[[], bool] = lambda: True) -> CountBound:
    """Return what must be spent on vessels at least, by counts.

    Parameters
    ----------
    needs
        The integer tables, with nobody held back: company only keeps vessels in use for longer.
    budget
        Deterministic work, see `search.Budget`.
    go_on
        Asked now and then; False ends it with what is known by then.
    """
    asking = _Asking(needs, stays_of(needs), budget, go_on)
    best = CountBound()
    weight = pressure(needs)
    worst = {found.slot for found in worst_slices(needs)}
    looked_at: tuple[int, ...] = ()
    for many, most_lots in STEPS:
        slots = tuple(sorted({*tight_slots(weight, many or needs.slots), *worst}))
        if asking.over() or slots == looked_at or len(slots) * len(needs.broods) > most_lots:
            break
        looked_at = slots
        found = _least(asking, slots, best.cost)
        if found.impossible or found.cost > best.cost:
            best = _confirmed(asking, found, best)
        if best.impossible:
            break
    return CountBound(best.cost, best.impossible, best.slots, best.classes, asking.work)


def _least(asking: _Asking, slots: tuple[int, ...], known: int) -> CountBound:
    """Return what some slots show, by one search; so much is known of the cost before."""
    rows = asking.rows(slots)
    if asking.over():
        return CountBound()
    model, cost = _model(rows)
    if not rows.extra:
        found = asking.solve(model, asking.left)
        return CountBound(impossible=found.impossible, slots=slots)
    model.add(cost >= known)
    model.minimize(cost)
    found = asking.solve(model, asking.left * (1 - SHARE_OF_ASKING))
    if found.impossible:
        return CountBound(impossible=True, slots=slots)
    shown = next_cost(asking.needs, ceil(found.bound - 1e-6))
    return CountBound(cost=shown, slots=slots if shown else ())


def _confirmed(asking: _Asking, found: CountBound, before: CountBound) -> CountBound:
    """Look for the few slots that show it, and ask again without presolve: what is sure of it by then."""
    slots = _few_that_do(asking, found)
    rows = asking.rows(slots)
    model, cost = _model(rows)
    if not found.impossible:
        model.add(cost <= found.cost - 1)
    if asking.over() or not asking.solve(model, asking.left, presolve=False).impossible:
        return before
    if found.impossible:
        return CountBound(impossible=True, slots=slots)
    return CountBound(found.cost, slots=slots, classes=_added(asking, rows))


def _added(asking: _Asking, rows: CountRows) -> tuple[int, ...]:
    model, cost = _model(rows)
    model.minimize(cost)
    found = asking.solve(model, max(asking.left, 0.01))
    if found.value is None:
        return ()
    return tuple(
        index
        for index, column in rows.extra.items()
        if found.value(model.get_int_var_from_proto_index(column))
    )


def _few_that_do(asking: _Asking, found: CountBound) -> tuple[int, ...]:
    """Leave out slots, half of them at a time and then fewer, as long as the others show the same."""
    slots = list(found.slots)
    part = ceil(len(slots) / 2)
    spare = asking.left * SHARE_OF_ASKING
    while part and len(slots) > 1:
        place = 0
        while place < len(slots) and len(slots) > 1:
            rest = slots[:place] + slots[place + part :]
            if rest and asking.left > spare and not asking.over() and _show(asking, rest, found):
                slots = rest
            else:
                place += part
        part = 0 if part == 1 else ceil(part / 2)
    return tuple(slots)


def _show(asking: _Asking, slots: list[int], found: CountBound) -> bool:
    """Tell whether some slots alone show what is known."""
    rows = asking.rows(slots)
    model, cost = _model(rows)
    if not found.impossible:
        model.add(cost <= found.cost - 1)
    return not asking.over() and asking.solve(model, asking.left / 10).impossible


def _model(rows: CountRows) -> tuple[cp_model.CpModel, cp_model.LinearExprT]:
    """Return the rows as a model, and the cost of what is added."""
    model = cp_model.CpModel()
    table = rows.rows
    columns = [model.new_int_var(low, high, "") for low, high in zip(table.low, table.high, strict=True)]
    for row in table.rows:
        total = cp_model.LinearExpr.weighted_sum(
            [columns[column] for column in row.factors], list(row.factors.values())
        )
        model.add(total <= row.most)
    classes = rows.needs.classes
    prices = [classes[index].price for index in rows.extra]
    return model, cp_model.LinearExpr.weighted_sum([columns[c] for c in rows.extra.values()], prices)


def next_cost(needs: Needs, least: int) -> int:
    """Return the least sum of prices that is no smaller than a number."""
    kinds = [kind for kind in needs.classes if kind.most and kind.price]
    if prod(kind.most + 1 for kind in kinds) > MOST_SUMS:
        return max(least, 0)
    sums = (sum(each) for each in product(*([n * k.price for n in range(k.most + 1)] for k in kinds)))
    return min((total for total in sums if total >= least), default=max(least, 0))


def pressure(needs: Needs) -> Ints:
    """Return for each slot how full the room is at about the middle of all windows, in parts of a vessel's load.

    By the class that is fullest against its copies. It only tells where to look first.
    """
    full = np.zeros((len(needs.classes), needs.slots))
    for brood in needs.broods:
        begins = [phase.entries[len(phase.entries) // 2] for phase in brood.phases if not phase.optional]
        stages = [phase.stage for phase in brood.phases if not phase.optional]
        for stage, begin, end in zip(stages, begins, [*begins[1:], brood.sale_slots[0]], strict=True):
            kinds = [k.index for k in needs.classes if k.copies and brood.allowed[stage][k.index].any()]
            for kind in kinds:
                full[kind, begin:end] += brood.load[kind][:, begin:end].max(axis=0) / len(kinds)
    copies = np.array([max(kind.copies, 1) for kind in needs.classes])
    parts: Ints = (full / copies[:, None]).astype(np.int64)
    return parts


def tight_slots(weight: Ints, many: int) -> tuple[int, ...]:
    """Return so many slots: the fullest for each class in turn, none beside another as long as that can be."""
    classes, slots = weight.shape
    if many >= slots:
        return tuple(range(slots))
    chosen: set[int] = set()
    for apart in (max(1, slots // many), 1):
        ranked = [sorted(range(slots), key=lambda s: (-int(weight[k, s]), s)) for k in range(classes)]
        for place in range(slots):
            for row in ranked:
                slot = row[place]
                if len(chosen) < many and all(abs(slot - other) >= apart for other in chosen):
                    chosen.add(slot)
    return tuple(sorted(chosen))
