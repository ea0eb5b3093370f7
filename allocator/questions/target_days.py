"""Backwards from a day: when eggs must be taken, and how many, for so many fish of the length at sale."""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from math import ceil, floor, inf
from typing import NamedTuple

from allocator.husbandry.life import DAY, Life, lives
from allocator.questions.coming import typical, usual_way
from allocator.room import BreedingGroup, Brood, CollectedBy, Room
from allocator.rules import Estimate, GrowthPace
from allocator.units import DUST

A_WEEK = 7
"""Days between two collections where nothing says how fast the fish lay (judgement)."""

MOST_COLLECTIONS = 26
"""More than half a year of weekly collections is no answer to "by when" (judgement)."""

MOST_EGGS = 100_000
"""Of one collection, where nothing says how many one gives (judgement)."""


class Want(NamedTuple):
    """So many fish on a day, reckoned on one pace of growth and one end of the survival bands."""

    day: date
    fish: int
    growth: GrowthPace
    survival: Estimate


@dataclass(frozen=True)
class Spawning:
    """When and how much a line can be spawned.

    `way` is how a brood is taken; as with the last of the line if None.
    """

    room: Room
    line: str
    way: CollectedBy | None = None

    @cached_property
    def like(self) -> Brood | None:
        """The brood of the line that was or will be collected last."""
        return typical(self.room, self.line)

    @cached_property
    def groups(self) -> tuple[BreedingGroup, ...]:
        """The breeding groups of the line."""
        return tuple(group for group in self.room.groups if group.line == self.line)

    @cached_property
    def taken(self) -> CollectedBy:
        """How a brood is taken."""
        usual = self.like.by if self.like is not None else usual_way(self.room, self.line)
        return self.way or usual

    @cached_property
    def born(self) -> bool:
        """Whether the young are born: there are no days to hatch."""
        return self.room.line_named[self.line].rules.incubation_days.high.value == 0

    @cached_property
    def _females(self) -> int:
        return sum(max(group.females, 1) for group in self.groups)

    @cached_property
    def usual(self) -> int | None:
        """Eggs of one collection: as of the last brood, else what the groups lay in a week; None without both."""
        if self.like is not None:
            return self.like.eggs
        if not self.groups:
            return None
        rules = self.room.line_named[self.line].rules
        return max(floor(A_WEEK * self._females * rules.eggs_a_day.expected.value), 1)

    @cached_property
    def apart_days(self) -> int:
        """Days from one collection to the next: so long the females take to lay so many, where they lay little."""
        low = self.room.line_named[self.line].rules.eggs_a_day.low.value * self._females
        return max(ceil(self.usual / low - DUST), 1) if self.usual is not None and low > 0 else A_WEEK

    def days(self, until: date) -> list[date]:
        """Return the days, from today until one (included), on which eggs can be taken.

        Not while the keeper is away, nor where no group of the line is there (if the room has any), nor so near to a
        planned collection of the line that the females would have to lay for both.
        """
        planned = [brood.collected for brood in self.room.broods if brood.line == self.line and brood.planned]
        return [
            day
            for day in (self.room.today + n * DAY for n in range((until - self.room.today).days + 1))
            if not any(span.holds(day) for span in self.room.keeper.away)
            and (not self.groups or any(group.lives_there.holds(day) for group in self.groups))
            and all(abs((day - other).days) >= self.apart_days for other in planned)
        ]

    def brood(self, name: str, day: date, eggs: int) -> Brood:
        """Return a collection that is to come."""
        there = [group.name for group in self.groups if group.lives_there.holds(day)]
        before = self.like.parents if self.like is not None else None
        parents = before if before in there else next(iter(there), before)
        return Brood(
            name=name,
            line=self.line,
            collected=day,
            by=self.taken,
            eggs=eggs,
            planned=True,
            parents=parents,
        )

    def life(self, day: date, growth: GrowthPace, survival: Estimate, eggs: int = 1000) -> Life:
        """Return the forecast of a collection on a day."""
        keeper = self.room.keeper.model_copy(update={"growth": growth, "survival": survival})
        brood = self.brood("", day, eggs)
        return lives(self.room.model_copy(update={"keeper": keeper, "broods": (brood,)}))[""]

    def ready(self, day: date, growth: GrowthPace) -> date:
        """Return the day on which the fish of a collection are long enough, with room to grow."""
        return ready_alone(self.life(day, growth, Estimate.EXPECTED))

    def last_day(self, days: Sequence[date], by: date, growth: GrowthPace) -> date | None:
        """Return the last of some days (in order) on which a collection is long enough by a day; None without any."""
        place = bisect_right(days, by, key=lambda day: self.ready(day, growth))
        return days[place - 1] if place else None

    def collections(self, days: Sequence[date], last: date, want: Want) -> list[tuple[date, int]] | None:
        """Return the collections that give so many fish, the last of them on a day; None where they are too late.

        Parameters
        ----------
        days
            On which eggs can be taken, in order.

        Returns
        -------
        list or None
            Day and eggs, in order of time. Each gives the usual number but the first, which gives the rest.
        """
        missing = float(want.fish)

        def eggs_of(day: date) -> int:
            nonlocal missing
            share = self.share(day, want)
            eggs = min(ceil(missing / share - DUST), self.usual or MOST_EGGS) if share > 0 else MOST_EGGS
            missing -= eggs * share
            return eggs

        found = []
        for day in self._backwards(days, last):
            found.append((day, eggs_of(day)))
            if missing <= DUST:
                return found[::-1]
        return None

    def split(self, days: Sequence[date], last: date, eggs: int) -> list[tuple[date, int]] | None:
        """Return the collections that give so many eggs, the last of them on a day; None where they are too many."""
        found = []
        for day in self._backwards(days, last):
            found.append((day, min(eggs, self.usual or eggs)))
            eggs -= found[-1][1]
            if not eggs:
                return found[::-1]
        return None

    def _backwards(self, days: Sequence[date], last: date) -> Iterator[date]:
        """Yield days on which eggs can be taken, one collection after another, from one back."""
        for _ in range(MOST_COLLECTIONS):
            place = bisect_right(days, last)
            if not place:
                return
            yield days[place - 1]
            last = days[place - 1] - timedelta(days=self.apart_days)

    def share(self, day: date, want: Want) -> float:
        """Return the share of the eggs of a day that are fish on the wanted day."""
        life = self.life(day, want.growth, want.survival)
        return life.heads(want.day) / life.brood.eggs


def ready_alone(life: Life) -> date:
    """Return the day on which fish are long enough to sell that have room to grow, and nobody beside them."""
    start = life.brood.collected
    counts = [count.on for count in life.brood.counts]
    start = max([start, *counts])
    found = life.ready_for_sale([(inf, start, start + DAY)])
    assert found is not None  # noqa: S101 - the path is not empty
    return found
