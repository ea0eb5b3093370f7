"""Settle broods one after another where they fit best, then take some out and settle them anew.

This is no proof of anything; it gives a checked plan quickly, and the solver a good place to start from.
"""

from collections.abc import Callable
from random import Random

from allocator.model.settled import Score, Settled
from allocator.model.settling import Settler
from allocator.needs import BroodNeeds, Needs

BADLY_OFF_FIRST = 0.7
"""How often a round begins with a brood that has no home, or a new vessel, if there is one (judgement)."""


class FirstFit(Settler):
    """Settles all broods of a room."""

    def carry_on(self, told: Callable[[BroodNeeds], Settled | None]) -> None:
        """Settle every brood as told where that is still right, and the others where they fit best."""
        broods = self.needs.broods
        for brood in broods:
            if brood.phases[0].homes:
                self.board.put(brood.index, self._provisional(brood))
        left = []
        for brood in sorted(broods, key=lambda b: (not b.phases[0].homes, b.brood.collected, b.index)):
            before = self.board.take(brood.index) if brood.index in self.board.settled else None
            settled = told(brood)
            if settled is not None:
                self.board.put(brood.index, settled)
            else:
                left.append(brood)
                if before is not None:
                    self.board.put(brood.index, before)
        for brood in left:
            if brood.index in self.board.settled:
                self.board.take(brood.index)
            self.settle(brood)

    def with_tables(self, needs: Needs) -> "FirstFit":
        """Return the same with other tables of the same days."""
        fit = FirstFit(needs, self.board.added)
        for index, settled in self.board.settled.items():
            fit.board.put(index, settled)
        return fit

    def run(self, go_on: Callable[[], bool] = lambda: True) -> bool:
        """Settle every brood: those in being first, then the planned ones as they come.

        Returns
        -------
        bool
            False if `go_on` said no before every brood was settled; then there is no plan.
        """
        broods = self.needs.broods
        being = [b for b in broods if b.phases[0].homes]
        for brood in being:
            self.board.put(brood.index, self._provisional(brood))
        planned = [b for b in broods if not b.phases[0].homes]
        for group in (being, planned):
            for brood in sorted(group, key=lambda b: (b.brood.collected, b.index)):
                if not go_on():
                    return False
                if brood.index in self.board.settled:
                    self.board.take(brood.index)
                self.settle(brood)
        return True

    def _provisional(self, brood: BroodNeeds) -> Settled:
        end = brood.phases[1].entries[0] if len(brood.phases) > 1 else brood.sale_slots[0]
        places = self.places(brood, 0, None, 0, end)
        count = len(brood.phases)
        return Settled(
            (0, *([end] * (count - 1))), max(end, brood.sale_slots[0]), places, 1 if count > 1 else None
        )

    def improve(
        self,
        rounds: int,
        seed: int,
        *,
        go_on: Callable[[Score], bool] = lambda _: True,
        batch: tuple[int, int] = (2, 5),
    ) -> None:
        """Take a few broods out and settle them anew, keeping what is no worse, for a number of rounds.

        Parameters
        ----------
        rounds
            How many tries; the same number and seed give the same result.
        seed
            Of the random choice of which broods.
        go_on
            Asked before each round with the best score so far; False ends the search.
        """
        random = Random(seed)  # noqa: S311 - a search, not a secret
        broods = self.needs.broods
        if not broods:
            return
        best = self.board.score()
        for _ in range(rounds):
            if not go_on(best):
                return
            chosen = self._pick(random, random.randint(*batch))
            before = {index: self.board.take(index) for index in chosen}
            order = chosen[:]
            random.shuffle(order)
            order.sort(key=lambda index: not broods[index].phases[0].homes)  # who is there already goes first
            for index in order:
                self.settle(broods[index])
            score = self.board.score()
            if score.key() <= best.key():
                best = score
                continue
            for index in chosen:
                self.board.take(index)
            for index in chosen:
                self.board.put(index, before[index])

    def _pick(self, random: Random, count: int) -> list[int]:
        """Choose broods that have to do with each other: one that is badly off, and its neighbours in time."""
        broods = self.needs.broods
        settled = self.board.settled
        badly = [i for i, s in settled.items() if s.homeless is not None]
        new = [i for i, s in settled.items() if any(self.board.vessels[p.vessel].new for p in s.places)]
        pool = badly or new
        first = (
            random.choice(pool)
            if pool and random.random() < BADLY_OFF_FIRST
            else random.randrange(len(broods))
        )
        near = sorted(
            (i for i in range(len(broods)) if i != first),
            key=lambda i: (
                abs((broods[i].brood.collected - broods[first].brood.collected).days)
                - (30 if broods[i].line == broods[first].line else 0)
                + random.random() * 60,
                i,
            ),
        )
        return [first, *near[: count - 1]]
