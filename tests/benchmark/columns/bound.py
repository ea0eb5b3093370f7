"""A lower bound on the cost of added vessels: columns are found until none is worth its rent.

Classes of which a part of a vessel would be added are looked at twice: as if no more than the whole part were
added, and as if one more were. At any time the bound is what the prices so far prove.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, floor, gcd

from allocator.needs import Needs
from benchmark.columns.master import Master, Prices
from benchmark.columns.parts import Parts, parts_of
from benchmark.columns.proof import SCALE, item_prices, proven
from benchmark.columns.stretches import Stretch

PROVE_EVERY = 5
"""Rounds between two looks at what is proven (judgement: a look costs about as much as a round)."""

SHARE_OF_LAST = 0.6
"""How much of the prices that columns were last sought for is mixed into the new ones, so that they swing less
(judgement, after a few tries)."""

COLUMNS_EACH = 3
WORTH_IT = 1e-6
FEW = 10
"""With fewer new columns than this in a round, broken rows are looked for too (judgement)."""

ALL_BUT_WHOLE = 1e-6
MOST_BRANCHES = 12
MOST_SUMS = 100_000


@dataclass(frozen=True)
class ColumnBound:
    """What the added vessels cost at least, in hundredths; None where no addition can house all.

    `value` is the cost in the last linear programme (no bound), `settled` tells whether the search ended before
    its budget did, `rounds` how many rounds it took.
    """

    cost: int | None
    value: float
    settled: bool
    rounds: int


@dataclass
class _Branch:
    """A part of all plans: so many vessels of each class are added at least, and at most."""

    at_least: dict[int, int]
    at_most: dict[int, int]
    best: int
    prices: Prices | None = None
    done: bool = False
    extra: dict[int, float] | None = None
    value: float = 0.0


def column_bound(
    needs: Needs,
    *,
    budget: int = 300,
    goal: int | None = None,
    go_on: Callable[[], bool] = lambda: True,
    tell: Callable[[str], None] = lambda _: None,
) -> ColumnBound:
    """Return what the added vessels cost at least.

    Parameters
    ----------
    needs
        The integer tables, with nobody held back.
    budget
        Rounds of column generation, in all: the same on every machine.
    goal
        The cost of a plan that is known: the search ends when the bound has reached it.
    go_on
        Asked before each round; False ends the search with what is proven so far.
    tell
        Called each round with how far it is, for whoever looks into it.
    """
    return Search(needs, goal, go_on, tell).run(budget)


class Search:
    """One search for a bound; see `column_bound`."""

    def __init__(
        self, needs: Needs, goal: int | None, go_on: Callable[[], bool], tell: Callable[[str], None]
    ) -> None:
        self.needs = needs
        self.goal = goal
        self.go_on = go_on
        self.tell = tell
        self.parts: Parts = parts_of(needs)
        self.members = {g: [b.index for b in group.broods] for g, group in enumerate(self.parts.groups)}
        self.price = {kind.index: kind.price for kind in needs.classes}
        self.most = {kind.index: kind.most for kind in needs.classes}
        self.offered = sum(kind.price * kind.most for kind in needs.classes)
        lost = sum(kind.price for kind in needs.classes if kind.most) or 1
        self.master = Master(self.parts, {k: float(p) for k, p in self.price.items()}, float(lost))
        self.sums = _sums(needs)
        self.rounds = 0

    def run(self, budget: int) -> ColumnBound:
        """Return the bound, by no more rounds than the budget."""
        root = _Branch(dict.fromkeys(self.parts.kinds, 0), dict(self.most), 0)
        leaves = [root]
        branches = 0
        while self.parts.vessels:
            open_leaves = [leaf for leaf in leaves if not leaf.done]
            worst = min(leaves, key=self._cost)
            if not open_leaves or worst.done or self._reached(leaves):
                break
            if not self._solve(worst, budget):
                break
            kind = self._part_of_vessel(worst)
            if kind is None or branches >= MOST_BRANCHES or self._reached(leaves):
                worst.done = True
                continue
            assert worst.extra is not None
            branches += 1
            below, above = dict(worst.at_most), dict(worst.at_least)
            below[kind] = floor(worst.extra[kind])
            above[kind] = below[kind] + 1
            leaves.remove(worst)
            leaves.append(_Branch(worst.at_least, below, worst.best, worst.prices))
            leaves.append(_Branch(above, worst.at_most, worst.best, worst.prices))
        cost = min(self._cost(leaf) for leaf in leaves)
        value = min((leaf.value for leaf in leaves), default=0.0)
        settled = all(leaf.done or self._cost(leaf) > cost for leaf in leaves)
        return ColumnBound(None if cost > self.offered else cost, value, settled, self.rounds)

    def _reached(self, leaves: list[_Branch]) -> bool:
        return self.goal is not None and min(self._cost(leaf) for leaf in leaves) >= self.goal

    def _cost(self, branch: _Branch) -> int:
        """Return the least sum of prices that is no less than what is proven of a branch."""
        least = -(-branch.best // SCALE)
        return next((one for one in self.sums if one >= least), self.offered + 1)

    def _part_of_vessel(self, branch: _Branch) -> int | None:
        """Return the class of which a part of a vessel is added that is furthest from whole, weighed by its price."""
        parts = {
            kind: self.price[kind] * min(value - floor(value), ceil(value) - value)
            for kind, value in (branch.extra or {}).items()
            if abs(value - round(value)) > ALL_BUT_WHOLE and self.price[kind]
        }
        return max(parts, key=lambda kind: (parts[kind], -kind)) if parts else None

    def _solve(self, branch: _Branch, budget: int) -> bool:
        """Find columns for a branch until none is worth it; False when the budget or the time is used up."""
        self.master.limit(branch.at_least, branch.at_most)
        if branch.prices is not None:
            self._prove(branch, branch.prices)
        since = 0
        sought: Prices | None = None
        while self.rounds < budget and self.go_on():
            self.rounds += 1
            since += 1
            branch.value = self.master.solve()
            prices = self.master.prices()
            branch.extra = self.master.extra()
            short, share = self.master.short(), self.master.share()
            sought = prices if sought is None else prices.mixed(sought, SHARE_OF_LAST)
            found = self._columns(sought)
            if not found:
                sought = prices
                found = self._columns(prices)
            rows = self.master.add_broken() if len(found) < FEW else 0
            dearer = False
            if not found and not rows and short > WORTH_IT and branch.value < self.offered:
                dearer = self.master.dearer()
            if since % PROVE_EVERY == 0 or not (found or rows):
                self._prove(branch, sought)
            for stretch in found:
                self.master.add(stretch)
            self.tell(
                f"{self.rounds} lp {branch.value / 100:.2f} proven {branch.best / SCALE / 100:.2f} share {share:.3f} "
                f"short {short:.2f} columns {len(self.master.columns)} (+{len(found)}) rows +{rows}"
            )
            if self.goal is not None and self._cost(branch) >= self.goal:
                return True
            if not (found or rows or dearer):
                return True
        self._prove(branch, self.master.last)
        return False

    def _columns(self, prices: Prices) -> list[Stretch]:
        found = []
        for (kind, _), vessel in self.parts.vessels.items():
            worth, fee = item_prices(vessel, prices)
            for got, stretch in vessel.best(worth, fee, prices.rent[kind], most=COLUMNS_EACH):
                if got > WORTH_IT and not self.master.knows(stretch):
                    found.append(stretch)
        return found

    def _prove(self, branch: _Branch, prices: Prices) -> None:
        got = proven(self.parts, self.members, prices, self.price, branch.at_least, branch.at_most)
        if got > branch.best:
            branch.best, branch.prices = got, prices


def _sums(needs: Needs) -> list[int]:
    """Return every sum that added vessels could cost, in order (more than those, where they are very many)."""
    prices = {kind.price: 0 for kind in needs.classes if kind.most and kind.price}
    for kind in needs.classes:
        if kind.price in prices:
            prices[kind.price] += kind.most
    sums = {0}
    for price, most in prices.items():
        sums = {one + count * price for one in sums for count in range(most + 1)}
        if len(sums) > MOST_SUMS:
            total = sum(price * most for price, most in prices.items())
            return list(range(0, total + 1, gcd(*prices)))
    return sorted(sums)
