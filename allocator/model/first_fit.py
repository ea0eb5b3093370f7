"""Settle broods one after another where they fit best, then take some out and settle them anew.

This is no proof of anything; it gives a checked plan quickly, and the solver a good place to start from.
"""

from collections.abc import Callable, Container, Iterable, Sequence
from random import Random

from allocator.model.left_out import in_turn
from allocator.model.option import EASY, EASY_PAID, FRUGAL, FRUGAL_PAID
from allocator.model.settled import Score, Settled
from allocator.model.settling import Settler
from allocator.needs import BroodNeeds, Needs

BADLY_OFF_FIRST = 0.7
"""How often a round begins with a brood that has no home, or a new vessel, if there is one (judgement)."""


FRUGAL_WHILE_BADLY_OFF = 0.7
"""How often a round is frugal while somebody has no home, or a vessel is added (judgement)."""


THRIFT = {
    (False, False): EASY,
    (True, False): FRUGAL,
    (False, True): EASY_PAID,
    (True, True): FRUGAL_PAID,
}
"""By whether to be frugal, and whether added vessels are paid for."""

BY_VESSEL = 0.6
"""How often those who are in its way are taken out with one that is badly off, not its neighbours (judgement)."""

MOST_AT_ONCE = 10
"""Broods taken out in one round at most (judgement)."""


class FirstFit(Settler):
    """Settles all broods of a room."""

    def carry_on(self, told: Callable[[BroodNeeds], Settled | None]) -> list[int]:
        """Settle every brood as told where that is still right, and the others where they fit best.

        Returns
        -------
        list
            Those others, by index.
        """
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
        for brood in sorted(left, key=lambda one: in_turn(one)[:2]):
            if brood.index in self.board.settled:
                self.board.take(brood.index)
            self.settle(brood)
        return [brood.index for brood in left]

    def go_on_from(self, solution: Iterable[Settled], anew: Container[str] = ()) -> None:
        """Settle everybody as told, then anew who has no home, or is named."""
        for index, settled in enumerate(solution):
            self.board.put(index, settled)
        for brood in self.needs.broods:
            if self.board.settled[brood.index].homeless is not None or brood.name in anew:
                self.board.take(brood.index)
                self.settle(brood)

    def with_tables(self, needs: Needs, added: dict[int, int] | None = None) -> "FirstFit":
        """Return the same with other tables of the same days, or with fewer vessels added than may be: those in use."""
        fit = FirstFit(
            needs, self.board.added if added is None else added, self.offers.thrift, self.board.change_of
        )
        for index, settled in self.board.settled.items():
            fit.board.put(index, settled)
        return fit

    def run(self, go_on: Callable[[], bool] = lambda: True, *, until_short: bool = False) -> bool:
        """Settle every brood: those in being first, then the planned ones as they come, last who need not be taken.

        Parameters
        ----------
        go_on
            Asked before each brood; False ends it.
        until_short
            Whether to give up as soon as somebody has no home.

        Returns
        -------
        bool
            False if it ended before every brood was settled; then there is no plan.
        """
        broods = self.needs.broods
        being = [b for b in broods if b.phases[0].homes]
        for brood in being:
            self.board.put(brood.index, self._provisional(brood))
        planned = [b for b in broods if not b.phases[0].homes]
        for group in (being, planned):
            for brood in sorted(group, key=in_turn):
                if not go_on():
                    return False
                if brood.index in self.board.settled:
                    self.board.take(brood.index)
                settled = self.settle(brood)
                if until_short and settled.homeless is not None and not brood.optional:
                    return False
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
        around: Sequence[int] = (),
        agrees: Callable[[], bool] | None = None,
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
        around
            While nobody is badly off a round begins with one of these and its neighbours; with anybody if it is empty.
        agrees
            Asked before anything is kept; it may settle others anew, and says whether all is well then.
        """
        random = Random(seed)  # noqa: S311 - a search, not a secret
        broods = self.needs.broods
        if not broods:
            return
        best = self.board.score()
        for _ in range(rounds):
            if not go_on(best):
                return
            chosen = self._pick(random, random.randint(*batch), around)
            short = best.homeless_fish_days > 0 or best.left_out > 0
            badly_off = short or (best.added_cost > 0 and not self.paid)
            frugal = badly_off and random.random() < FRUGAL_WHILE_BADLY_OFF
            self.offers.thrift = THRIFT[frugal, self.paid]
            everybody = dict(self.board.settled) if agrees is not None else {}
            before = {index: self.board.take(index) for index in chosen}
            order = chosen[:]
            random.shuffle(order)
            # who is there already goes first, who need not be taken last
            order.sort(key=lambda index: (not broods[index].phases[0].homes, broods[index].optional))
            for index in order:
                self.settle(broods[index])
            score = self.board.score()
            if score.key() <= best.key():
                if agrees is None:
                    best = score
                    continue
                if agrees() and (score := self.board.score()).key() <= best.key():
                    best = score
                    continue
                self.board.settle_as(everybody[index] for index in range(len(broods)))
                continue
            for index in chosen:
                self.board.take(index)
            for index in chosen:
                self.board.put(index, before[index])

    def _pick(self, random: Random, count: int, around: Sequence[int] = ()) -> list[int]:
        """Choose broods that have to do with each other: one that is badly off, and its neighbours."""
        board = self.board
        homeless = [i for i, s in board.settled.items() if s.homeless is not None]
        worst = [i for i in homeless if not self.needs.broods[i].optional]
        pool = worst or homeless or ([] if self.paid else board.in_new_vessels())
        if pool and random.random() < BADLY_OFF_FIRST:
            first = random.choice(pool)
            if random.random() < BY_VESSEL:
                return self._in_its_way(random, first)
            return [first, *self._near(random, first, count - 1)]
        first = random.choice(around) if around and not pool else random.randrange(len(self.needs.broods))
        return [first, *self._near(random, first, count - 1)]

    def _near(self, random: Random, first: int, count: int) -> list[int]:
        """Return broods that are near another in time, best of its line."""
        broods = self.needs.broods
        near = sorted(
            (i for i in range(len(broods)) if i != first),
            key=lambda i: (
                abs((broods[i].brood.collected - broods[first].brood.collected).days)
                - (30 if broods[i].line == broods[first].line else 0)
                + random.random() * 60,
                i,
            ),
        )
        return near[:count]

    def _in_its_way(self, random: Random, first: int) -> list[int]:
        """Return a brood without a home, or in an added vessel, and who is in vessels that would do for it.

        The vessels are emptied for the time in which it would be there. Of a brood in an added vessel, those who
        are with it come too, so that the vessel may be spared.
        """
        brood, settled = self.needs.broods[first], self.board.settled[first]
        found = {first: None}
        if settled.homeless is not None:
            number, since = settled.homeless, settled.entries[settled.homeless]
            until = settled.sale
        else:
            place = next(p for p in settled.places if self.board.vessels[p.vessel].new)
            number, since, until = place.phase, place.start, place.end
            found |= dict.fromkeys(other for other, *_ in self.board.vessels[place.vessel].occupants)
        stage = brood.phases[number].stage
        vessels = [
            vessel
            for kind, rank in self.board.ranks.items()
            if brood.allowed[stage][kind][since:until].any()
            for vessel in rank.vessels
            if vessel.occupants
        ]
        for vessel in random.sample(vessels, k=min(len(vessels), random.randint(1, 2))):
            found |= dict.fromkeys(o for o, p, _ in vessel.occupants if p.start < until and since < p.end)
        return list(found)[:MOST_AT_ONCE]
