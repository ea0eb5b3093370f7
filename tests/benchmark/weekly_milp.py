"""The same room as a plain integer programme in HiGHS: a boolean for each brood, vessel and week.

For comparison only; the planner never uses it. It is built from the planner's own tables (`allocator.needs`), with every
vessel told apart and every date a choice. It is told less than the planner knows, so that its least cost is about
as low as any plan's or lower. Left out are:

- most moves a day, and strain, change and handlings;
- that short tanks and company put off the sale: fish may be sold as soon as they can be on any path;
- that the parts of a brood are equal, and that fish are whole: shares of a brood are real numbers;
- lines that may share: only one line is in a vessel at a time;
- cleaning out for longer than one week.

And it is told of fewer tanks: of each kind so many may be added as `most_extra` says, not all that the room offers.
"""

from collections import defaultdict
from dataclasses import dataclass, field
from itertools import combinations, pairwise
from math import inf
from time import monotonic
from typing import Any

import highspy
import numpy as np

from allocator.needs import CAPS, FULL, BroodNeeds, Needs, VesselClass, needs_of
from allocator.room import Room
from benchmark.frozen import digest_of, room_named
from benchmark.one_room import COST, Outcome, peak_mb

SECONDS = 120.0
"""Time for a room where none is given."""

MOST_COLUMNS = 3_000_000
"""Beyond this many columns the programme is not even built (judgement: it would fill the memory)."""


def most_extra(kind: VesselClass) -> int:
    """Return how many vessels of a kind the programme may add: a third of them, four at least."""
    return min(kind.most, max(4, -(-kind.copies // 3)))


@dataclass(frozen=True)
class Pot:
    """One vessel: its class, and the column that says whether it is bought (None: it is there)."""

    name: str
    kind: VesselClass
    bought: int | None


@dataclass
class Rows:
    """Columns and rows of a programme, collected before they are handed over."""

    cost: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    starts: list[int] = field(default_factory=list)
    index: list[int] = field(default_factory=list)
    value: list[float] = field(default_factory=list)
    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)

    def column(self, *, cost: float = 0.0, whole: bool = True) -> int:
        """Return a new column between 0 and 1."""
        self.cost.append(cost)
        self.whole.append(whole)
        return len(self.cost) - 1

    def row(self, factors: dict[int, float], low: float, high: float) -> None:
        """Add a row: low <= sum of factors times columns <= high."""
        self.starts.append(len(self.index))
        self.index.extend(factors)
        self.value.extend(factors.values())
        self.lower.append(low)
        self.upper.append(high)

    def programme(self) -> Any:
        """Return it as HiGHS takes it."""
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = len(self.cost), len(self.lower)
        lp.col_cost_ = np.array(self.cost)
        lp.col_lower_ = np.zeros(len(self.cost))
        lp.col_upper_ = np.ones(len(self.cost))
        lp.row_lower_, lp.row_upper_ = np.array(self.lower), np.array(self.upper)
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.start_ = np.array([*self.starts, len(self.index)])
        lp.a_matrix_.index_, lp.a_matrix_.value_ = np.array(self.index), np.array(self.value)
        kinds = highspy.HighsVarType
        lp.integrality_ = [kinds.kInteger if whole else kinds.kContinuous for whole in self.whole]
        return lp


Begun = int | bool
"""The column that says whether a phase has begun, or what is certain."""


class TooLargeError(Exception):
    """The programme has too many columns to be built."""


class Weekly:
    """The rows of one room.

    A phase of a brood has begun by a slot or not (`by`); it is in some vessels, with a share in each; and in each slot
    of the phase it is there.
    """

    def __init__(self, needs: Needs) -> None:
        self.needs = needs
        self.rows = Rows()
        self.pots = self._pots()
        self.here: dict[tuple[str, int], list[tuple[BroodNeeds, bool, int, int]]] = defaultdict(list)
        self.by: dict[tuple[int, int], dict[int, int]] = {}
        for brood in needs.broods:
            self._dates(brood)
        for brood in needs.broods:
            for phase in range(len(brood.phases)):
                self._lives(brood, phase)
        for (name, slot), lots in self.here.items():
            self._together(self.pots[name], slot, lots)
        self._strangers()

    def _pots(self) -> dict[str, Pot]:
        pots = {}
        for kind in self.needs.classes:
            for name in kind.names:
                pots[name] = Pot(name, kind, None)
            before = None
            for number in range(most_extra(kind)):
                bought = self.rows.column(cost=kind.price / 100)
                if before is not None:
                    self.rows.row({before: 1, bought: -1}, 0, inf)
                before = bought
                name = f"new {kind.like} {number + 1}"
                pots[name] = Pot(name, kind, bought)
        return pots

    # -- dates -------------------------------------------------------------------------------------------

    def _dates(self, brood: BroodNeeds) -> None:
        windows = [set(phase.entries) for phase in brood.phases]
        windows.append(set(brood.sale_slots))  # on any path: where the fish have lived is left out
        for number, phase in enumerate(brood.phases):
            if phase.optional:  # left out: it begins with the next
                windows[number] |= windows[number + 1]
        for number, window in enumerate(windows):
            slots = sorted(window)
            columns = {slot: self.rows.column() for slot in slots[:-1]}
            for one, other in pairwise(slots[:-1]):
                self.rows.row({columns[one]: -1, columns[other]: 1}, 0, inf)
            self.by[brood.index, number] = columns | {slots[-1]: -1}
        for number in range(len(brood.phases)):
            first, last = min(windows[number]), max(windows[number + 1])
            for slot in range(first, last + 1):  # no phase begins before the one before it
                later, earlier = (self._begun(brood, p, slot) for p in (number + 1, number))
                self._no_more(later, earlier)

    def _begun(self, brood: BroodNeeds, phase: int, slot: int) -> Begun:
        """Return the column that says whether a phase has begun by a slot, or what is certain."""
        columns = self.by[brood.index, phase]
        before = [one for one in columns if one <= slot]
        if not before:
            return False
        column = columns[max(before)]
        return column if column >= 0 else True

    def _no_more(self, one: Begun, other: Begun) -> None:
        """Add the row one <= other."""
        factors: dict[int, float] = {}
        number = 0.0
        for part, sign in ((other, 1.0), (one, -1.0)):
            if isinstance(part, bool):
                number += sign * part
            else:
                factors[part] = factors.get(part, 0.0) + sign
        if factors:
            self.rows.row(factors, -number, inf)
        elif number < 0:
            self.rows.row({}, 1, inf)  # it cannot be: the programme has no answer

    # -- vessels -----------------------------------------------------------------------------------------

    def _lives(self, brood: BroodNeeds, number: int) -> None:
        phase, rows = brood.phases[number], self.rows
        first = min(self.by[brood.index, number])
        last = max(self.by[brood.index, number + 1])
        homes = dict(phase.homes)
        allowed = {
            kind.index: brood.allowed[phase.stage][kind.index][first:last].any()
            for kind in self.needs.classes
        }
        pots = [
            pot for name, pot in self.pots.items() if (name in homes if homes else allowed[pot.kind.index])
        ]
        lives = {pot.name: (rows.column(), rows.column(whole=False)) for pot in pots}
        for pot in pots:
            joins, share = lives[pot.name]
            rows.row({joins: 1, share: -1}, 0, inf)
            if pot.bought is not None:
                rows.row({joins: -1, pot.bought: 1}, 0, inf)
            if homes:
                rows.row({share: 1}, homes[pot.name], homes[pot.name])
        rows.row({joins: 1.0 for joins, _ in lives.values()}, 0, max(phase.portions, len(homes)))
        for slot in range(first, last):
            active, there = self._active(brood, number, slot)
            if active is None:
                continue
            rows.row(
                {**{share: 1.0 for _, share in lives.values()}, **{c: -f for c, f in active.items()}},
                there,
                inf,
            )
            for pot in pots:
                self._in_slot(brood, number, slot, pot, lives[pot.name], (active, there))

    def _active(self, brood: BroodNeeds, number: int, slot: int) -> tuple[dict[int, float] | None, float]:
        """Return whether a phase goes on in a slot, as a sum and a number; None where it cannot."""
        begun, over = (self._begun(brood, phase, slot) for phase in (number, number + 1))
        if begun is False or over is True:
            return None, 0.0
        factors: dict[int, float] = {}
        there = 0.0
        for part, sign in ((begun, 1.0), (over, -1.0)):
            if isinstance(part, bool):
                there += sign * part
            else:
                factors[part] = factors.get(part, 0.0) + sign
        return factors, there

    def _in_slot(
        self,
        brood: BroodNeeds,
        number: int,
        slot: int,
        pot: Pot,
        lives: tuple[int, int],
        when: tuple[dict[int, float], float],
    ) -> None:
        rows, (joins, share), (active, there) = self.rows, lives, when
        phase = brood.phases[number]
        forgiven = bool(phase.homes) and slot < brood.helpless_until
        if not brood.allowed[phase.stage][pot.kind.index][slot] and not forgiven:
            rows.row({joins: 1.0, **active}, -inf, 1 - there)
            return
        if len(rows.cost) > MOST_COLUMNS:
            raise TooLargeError
        is_here, amount = rows.column(), rows.column(whole=False)
        less = {column: -factor for column, factor in active.items()}
        rows.row({is_here: 1.0, joins: -1.0, **less}, there - 1, inf)
        rows.row({amount: 1.0, share: -1.0, **less}, there - 1, inf)
        self.here[pot.name, slot].append((brood, phase.alone, is_here, amount))

    def _together(self, pot: Pot, slot: int, lots: list[tuple[BroodNeeds, bool, int, int]]) -> None:
        for cap in range(CAPS):
            loads: dict[int, float] = {}
            for brood, _, _, amount in lots:
                if slot >= brood.helpless_until or not brood.phases[0].homes:
                    loads[amount] = float(brood.load[pot.kind.index][cap, slot])
            if sum(loads.values()) > FULL:
                self.rows.row(loads, -inf, FULL)
        for (one, alone, first, _), (other, other_alone, second, _) in combinations(lots, 2):
            if one.index == other.index or one.line != other.line:
                continue
            if alone or other_alone or self.needs.apart(one, other)[slot]:
                self.rows.row({first: 1, second: 1}, -inf, 1)

    def _strangers(self) -> None:
        """One line in a vessel at a time, and none where another was in the week before."""
        used: dict[tuple[str, int], dict[str, int]] = defaultdict(dict)
        for (name, slot), lots in self.here.items():
            for brood, _, is_here, _ in lots:
                line = used[name, slot].setdefault(brood.line, -1)
                if line < 0:
                    line = used[name, slot][brood.line] = self.rows.column(whole=False)
                self.rows.row({line: 1, is_here: -1}, 0, inf)
        clean = {brood.line: self.needs.clean_out_days(brood) for brood in self.needs.broods}
        for (name, slot), lines in used.items():
            if len(lines) > 1:
                self.rows.row(dict.fromkeys(lines.values(), 1.0), -inf, 1)
            for line, column in used.get((name, slot - 1), {}).items():
                others = {other: 1.0 for stranger, other in lines.items() if stranger != line}
                if others and clean[line] > 0:
                    self.rows.row({column: 1.0, **others}, -inf, 1)


def solve_one(name: str, seconds: float | None) -> Outcome:
    """Solve a room of the benchmark, and tell what came of it."""
    begun = monotonic()
    room = room_named(name)
    found = Outcome(name, digest_of(room), len(room.vessels), len(room.broods))
    found.aside = monotonic() - begun
    begun = monotonic()
    solve(room, SECONDS if seconds is None else seconds, found)
    found.planning, found.peak_mb = monotonic() - begun, peak_mb()
    return found


def solve(room: Room, seconds: float, found: Outcome) -> None:
    """Fill in what the programme says of a room: its least cost of added vessels, and how far that is proven."""
    begun = monotonic()
    try:
        weekly = Weekly(needs_of(room))
    except TooLargeError:
        found.status, found.error = "not built", f"more than {MOST_COLUMNS} columns"
        return
    rows = weekly.rows
    built = monotonic() - begun
    highspy.Highs.resetGlobalScheduler(True)  # else the threads of an earlier run in this process stay
    solver = highspy.Highs()
    solver.setOptionValue("output_flag", False)
    solver.setOptionValue("threads", 1)
    solver.setOptionValue("time_limit", max(1.0, seconds - built))
    solver.passModel(rows.programme())
    solver.run()
    status, info = solver.getModelStatus(), solver.getInfo()
    found.status = f"weekly model: {solver.modelStatusToString(status).lower()}"
    size = f"{len(rows.cost)} columns, {len(rows.lower)} rows, built in {built:.0f} s"
    if status == highspy.HighsModelStatus.kInfeasible:
        found.error = f"no plan with so few tanks to add; {size}"
        return
    feasible = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    found.error = size if feasible else f"no plan found; {size}"
    found.bound = max(0.0, float(info.mip_dual_bound)) if info.mip_dual_bound > -inf else 0.0
    if not feasible:
        return
    found.cost = float(info.objective_function_value)
    values = np.array(solver.getSolution().col_value)
    for pot in weekly.pots.values():
        if pot.bought is not None and values[pot.bought] > 1 / 2:
            found.added[pot.kind.like] = found.added.get(pot.kind.like, 0) + 1
    gap = (found.cost - found.bound) / found.cost if found.cost > 0 else 0.0
    proven = status == highspy.HighsModelStatus.kOptimal
    found.levels = [
        {"level": 1, "name": COST, "value": found.cost, "bound": found.bound, "proven": proven, "gap": gap}
    ]
