"""The same tiny rooms as a plain integer programme: a boolean for each brood, stage, vessel and slot.

HiGHS solves it. It knows nothing of cohorts: vessels are told apart, and every rule is a row. Only for packs
in which growth does not hang on the vessel, so that the days of sale are fixed.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from itertools import combinations, pairwise
from math import ceil

import highspy
import numpy as np
from tiny_rooms import DAY, Facts

from allocator.husbandry.stages import fits_stage
from allocator.husbandry.stocking import SUMMED_CAPS
from allocator.room import Brood, Room


@dataclass
class Sum:
    """A sum of columns with their factors, and a number."""

    factors: dict[int, float] = field(default_factory=dict)
    number: float = 0.0

    def plus(self, other: "Sum", times: float = 1.0) -> "Sum":
        """Return this sum with another added, so many times."""
        factors = dict(self.factors)
        for column, factor in other.factors.items():
            factors[column] = factors.get(column, 0.0) + times * factor
        return Sum(factors, self.number + times * other.number)

    def minus(self, other: "Sum") -> "Sum":
        """Return this sum with another taken away."""
        return self.plus(other, -1.0)


def total(sums: Iterable[Sum]) -> Sum:
    """Return the sum of sums."""
    found = Sum()
    for one in sums:
        found = found.plus(one)
    return found


ZERO = Sum()


class _Programme:
    """Rows and columns of one room."""

    def __init__(self, facts: Facts, *, homeless: bool, step: float) -> None:
        self.facts, self.homeless, self.step = facts, homeless, step
        self.solver = highspy.Highs()
        self.solver.setOptionValue("output_flag", False)
        self.columns = 0
        self.broods = list(facts.room.broods)
        end = max(self._sale_days(brood)[-1] for brood in self.broods)
        self.grid = [*(day for day in facts.grid if day <= end), end + DAY]
        self.slots = list(enumerate(pairwise(self.grid)))
        self.enter: dict[tuple[str, int], dict[date, Sum]] = {}
        self.gone: dict[tuple[str, int], Sum] = {}
        self.lives: dict[tuple[str, int, str, int], Sum] = {}
        self.moves: dict[date, list[Sum]] = {}
        self.used = {name: self._boolean() for name in facts.price}
        self.cost = total(Sum().plus(self.used[name], price) for name, price in facts.price.items())
        for brood in self.broods:
            self._dates(brood)
            self._housed(brood)
            self._lost(brood)
        for vessel in facts.room.vessels:
            self._share(vessel.name)
        most = facts.room.keeper.most_moves_a_day
        for row in self.moves.values():
            if most is not None:
                self._at_most(total(row), most)

    def _boolean(self) -> Sum:
        self.solver.addVar(0.0, 1.0)
        self.solver.changeColIntegrality(self.columns, highspy.HighsVarType.kInteger)
        self.columns += 1
        return Sum({self.columns - 1: 1.0})

    def _row(self, left: Sum, low: float, high: float) -> None:
        factors = {column: factor for column, factor in left.factors.items() if factor}
        self.solver.addRow(
            low - left.number,
            high - left.number,
            len(factors),
            np.array(list(factors), dtype=np.int32),
            np.array(list(factors.values()), dtype=float),
        )

    def _at_most(self, left: Sum, limit: float) -> None:
        self._row(left, -highspy.kHighsInf, limit)

    def _at_least(self, left: Sum, limit: float) -> None:
        self._row(left, limit, highspy.kHighsInf)

    def _stages(self, brood: Brood) -> range:
        return range(len(self.facts.lives[brood.name].rules.stages))

    def _sale_days(self, brood: Brood) -> list[date]:
        start = self.facts.start(brood)
        name = self.facts.room.vessels[0].name
        return self.facts.sale_days(self.facts.lives[brood.name], [(name, start, start + DAY)])

    def _dates(self, brood: Brood) -> None:
        """Each stage is entered once, in order, and the brood is sold once; a lost brood is not moved."""
        facts, name = self.facts, brood.name
        stages = self._stages(brood)
        domains = [[facts.start(brood)], *(facts.entry_days(facts.lives[name], n) for n in stages[1:])]
        domains.append(self._sale_days(brood))
        for number in stages:
            self.gone[name, number] = ZERO
            if self.homeless and (number > 0 or not brood.homes):
                self.gone[name, number] = self._boolean()
                if number > 0:
                    self._at_least(self.gone[name, number].minus(self.gone[name, number - 1]), 0)
        for number, days in enumerate(domains):
            early: list[date] = []
            if number == 1 and brood.homes and self.homeless:
                early = [day for day in facts.move_days if day < days[0]]
            entered = self.enter[name, number] = {day: self._boolean() for day in [*early, *days]}
            self._row(total(entered.values()), 1, 1)
            for day in early:
                self._at_most(entered[day].minus(self.gone[name, 1]), 0)
            if number == 0:
                continue
            lost = self.gone[name, min(number, stages[-1])]
            for day, now in entered.items():
                moved = self._boolean()
                self._at_least(moved.minus(now).plus(lost), 0)
                self.moves.setdefault(day, []).append(moved)
            delay = (
                0 if number == 1 and brood.homes else 1
            )  # fish may leave today the vessel they are found in
            for place, _ in self.slots:
                ahead = self._begun(name, number, place).minus(self._begun(name, number - 1, place - delay))
                self._at_most(ahead, 0)

    def _begun(self, name: str, number: int, place: int) -> Sum:
        """Return whether a stage has begun by a slot."""
        if place < 0:
            return ZERO
        return total(x for day, x in self.enter[name, number].items() if day <= self.grid[place])

    def _housed(self, brood: Brood) -> None:
        """Give a brood one vessel in each slot of a stage, the same all through it, while it has a home."""
        facts, name = self.facts, brood.name
        life = facts.lives[name]
        for number in self._stages(brood):
            found = number == 0 and bool(brood.homes)
            suits = [
                v.name
                for v in facts.room.vessels
                if (v.name == brood.homes[0].vessel if found else fits_stage(life, number, v))
            ]
            for place, (begin, end) in self.slots:
                present = self._begun(name, number, place).minus(self._begun(name, number + 1, place))
                if not present.factors:
                    continue
                here = []
                for vessel in suits:
                    if not facts.fits(brood, vessel, begin, end):
                        continue
                    lives = self.lives[name, number, vessel, place] = self._boolean()
                    here.append(lives)
                    before = self.lives.get((name, number, vessel, place - 1), ZERO)
                    came = self.enter[name, number].get(begin, ZERO)
                    self._at_most(lives.minus(before).minus(came), 0)
                    if vessel in self.used:
                        self._at_most(lives.minus(self.used[vessel]), 0)
                self._at_least(total(here).minus(present).plus(self.gone[name, number]), 0)
                self._at_most(total(here).minus(present), 0)

    def _lost(self, brood: Brood) -> None:
        """Count the fish-days for which a brood has no home."""
        facts, name = self.facts, brood.name
        for place, (begin, end) in self.slots:
            if not self.homeless or not facts.start(brood) <= begin < facts.until(brood):
                continue
            out = self._boolean()
            for number in self._stages(brood):
                self._at_least(out.minus(self.gone[name, number]).minus(self._begun(name, number, place)), -1)
            self.cost = self.cost.plus(out, facts.fish_days(brood, begin, end))

    def _here(self, brood: Brood, vessel: str, place: int) -> Sum:
        keys = [(brood.name, number, vessel, place) for number in self._stages(brood)]
        return total(self.lives[key] for key in keys if key in self.lives)

    def _rounded(self, share: float) -> float:
        return ceil(share / self.step - 1e-9) * self.step if self.step else share

    def _share(self, vessel: str) -> None:  # noqa: C901, PLR0912 - one row after another
        """Room in each vessel on each day, who may be together, and the days to clean it out."""
        facts = self.facts
        tank = facts.room.vessel_named[vessel]
        gap = int(facts.room.lines[0].rules.clean_out_days.value)
        alone = facts.room.lines[0].rules.stages[0].alone
        here = {(b.name, place): self._here(b, vessel, place) for b in self.broods for place, _ in self.slots}
        for place, (begin, end) in self.slots:
            there = [(b, here[b.name, place]) for b in self.broods if here[b.name, place].factors]
            days = [begin + number * DAY for number in range((end - begin).days)]
            for day in days:
                for cap in SUMMED_CAPS:
                    shares = [self._rounded(facts.share(brood, tank, day, cap, 1)) for brood, _ in there]
                    if sum(shares) > 1 + 1e-6:
                        load = Sum()
                        for share, (_, lives) in zip(shares, there, strict=True):
                            load = load.plus(lives, share)
                        self._at_most(load, 1 + 1e-6)
            for (one, mine), (other, theirs) in combinations(there, 2):
                if not all(facts.go_together(one, other, day) for day in days):
                    self._at_most(mine.plus(theirs), 1)
                elif alone:
                    for brood, others in ((one, theirs), (other, mine)):
                        first = self.lives.get((brood.name, 0, vessel, place))
                        if first is not None:
                            self._at_most(first.plus(others), 1)
            for found in self.broods:
                left_today = found.homes and found.homes[0].vessel == vessel
                if left_today and (begin - facts.start(found)).days < gap:  # even if they leave at once
                    for other, theirs in there:
                        if facts.strangers(found, other):
                            self._at_most(theirs, 0)
            for brood, mine in there:
                for later, (start, _) in self.slots[place + 1 :]:
                    if (start - end).days >= gap:
                        break
                    for other in self.broods:
                        theirs = here[other.name, later]
                        if theirs.factors and other is not brood and facts.strangers(brood, other):
                            self._at_most(mine.plus(theirs), 1)


def least(room: Room, *, adding: bool, homeless: bool, step: float = 0.0) -> int | None:
    """Return the least fish-days without a home, or the least cost in hundredths where all must be housed.

    None where there is no plan. With `step`, the share of a vessel that a brood takes is rounded up to a multiple of it.
    """
    programme = _Programme(Facts(room, adding=adding), homeless=homeless, step=step)
    solver = programme.solver
    cost = programme.cost
    if homeless:  # cost counts only where all are housed
        cost = Sum({c: f for c, f in cost.factors.items() if c >= len(programme.used)})
    for column, factor in cost.factors.items():
        solver.changeColCost(column, factor)
    solver.setOptionValue("mip_rel_gap", 0.0)
    solver.setOptionValue("mip_abs_gap", 0.5)  # all values are whole numbers
    solver.run()
    status = solver.getModelStatus()
    if status == highspy.HighsModelStatus.kInfeasible:
        return None
    assert status == highspy.HighsModelStatus.kOptimal, status
    return round(solver.getInfo().objective_function_value)
