"""Backwards from a day: how to have so many fish of a line on it, where they live, and with what chance."""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property, partial
from math import floor
from typing import NamedTuple

from allocator.check import Checked
from allocator.husbandry.life import DAY, Dwelling
from allocator.plan import Plan
from allocator.questions.fit import steps_of
from allocator.questions.held import Held, TooShortError
from allocator.questions.target_chance import Hoped, grown_share, odds_of
from allocator.questions.target_days import Spawning, Want
from allocator.questions.target_there import already_there, life_of, ready_if_slow, sold_before
from allocator.replies.luck import Chance
from allocator.replies.refusal import Refusal, Snag
from allocator.replies.target import Aim, Already, Earliest, Home, Taken, TargetReply, Way
from allocator.room import Brood, CollectedBy, Room
from allocator.rules import Estimate, GrowthPace
from allocator.units import DUST

A_WEEK = timedelta(days=7)
A_YEAR = timedelta(days=366)
A_FORTNIGHT = timedelta(days=14)
MOST_TRIES = 16
"""Weeks by which collections are taken sooner in search of room (judgement)."""

MOST_FORTNIGHTS = 26
"""A year in which a later day with room is looked for (judgement)."""

LIKELY = 0.8
"""Four times in five: from which chance on it is called fairly sure (judgement)."""

NEARLY_ALL = 0.9
"""How often a brood is long enough in time, on the day from which it is called fairly sure: about the root of 0.8."""

FURTHEST_AHEAD = timedelta(days=3 * 366)
"""Nobody orders fish further ahead; a later day is a slip of the pen (judgement)."""


Paths = Mapping[str, tuple[Dwelling, ...]]
"""Where the fish of each collection live, by its name; none where that is not settled."""


class Placed(NamedTuple):
    """What comes of holding the plan still for some collections: homes for all of them, or refusals."""

    homes: tuple[Home, ...]
    refusals: tuple[Refusal, ...]
    sold_later: dict[str, int]
    paths: Paths


def target_of(
    room: Room, plan: Plan, line: str, fish: int, by: date, taken: CollectedBy | None = None
) -> TargetReply:
    """Return how to have so many fish of a line on a day, with nobody else moved.

    Parameters
    ----------
    room
        With the vessels that the plan adds.
    plan
        Checked.
    fish
        1 or more, those that are there anyway among them.
    by
        After today, and not further ahead than `FURTHEST_AHEAD`.
    taken
        How a brood is taken; as with the last of the line if None.

    Raises
    ------
    NotHeldError
        If the plan was edited by hand in ways that the search has no words for.
    """
    return _Target(Spawning(room, line, taken), Checked(room, plan), fish, by).reply()


@dataclass(frozen=True)
class _Target:
    spawning: Spawning
    checked: Checked
    fish: int
    by: date

    @property
    def room(self) -> Room:
        return self.spawning.room

    @cached_property
    def there(self) -> tuple[list[Already], Plan]:
        return already_there(self.room, self.checked, self.spawning.line, self.by)

    @property
    def already(self) -> list[Already]:
        return [row for row in self.there[0] if row.counts]

    @cached_property
    def days(self) -> list[date]:
        """The days on which eggs can be taken."""
        return self.spawning.days(self.by)

    @cached_property
    def hoped(self) -> list[Hoped]:
        """The broods that are there anyway."""
        found = []
        for row in self.already:
            life = life_of(self.room, self.room.brood_named[row.brood])
            found.append(Hoped(life, self.room.today, self.checked.paths[row.brood]))
        return found

    def want(self, aim: Aim) -> Want:
        """Return what is missing at the pace and the survival of an aim."""
        worst = aim is Aim.WORST
        missing = self.fish - sum(row.fish_low if worst else row.fish for row in self.already)
        growth = GrowthPace.SLOW if worst else self.room.keeper.growth
        return Want(self.by, max(missing, 0), growth, Estimate.LOW if worst else Estimate.EXPECTED)

    def reply(self) -> TargetReply:
        spawning, odds = self.spawning, odds_of(self.hoped, self.by, self.fish)
        enough: set[Aim] = {aim for aim in (Aim.EXPECTED, Aim.WORST) if not self.want(aim).fish}
        if odds.share >= LIKELY:
            enough.add(Aim.LIKELY)
        found = {aim: self.way(aim) for aim in Aim if aim not in enough}
        ways = [way for way in found.values() if way is not None]
        late = [aim for aim, way in found.items() if way is None]
        earliest = [one for one in map(self.earliest, late) if one is not None]
        look_from = None
        if Aim.EXPECTED not in enough and not any(way.homes for way in ways):
            look_from = min(
                (one.day for one in earliest if one.aim is Aim.EXPECTED), default=self.by + A_FORTNIGHT
            )
        return TargetReply(
            room=self.room.name,
            line=spawning.line,
            fish=self.fish,
            by=self.by,
            mm=self.room.line_named[spawning.line].rules.sale_mm.value,
            leaves=self.room.next_move_day(self.by),
            taken=spawning.taken,
            born=spawning.born,
            already=tuple(self.there[0]),
            sold=tuple(sold_before(self.room, self.checked, spawning.line, self.by)),
            promised=tuple(name for name in self.room.order_of if self._is_of_line(name)),
            odds_already=odds,
            likely=LIKELY,
            usual=spawning.usual,
            apart_days=spawning.apart_days,
            ways=tuple(ways),
            earliest=tuple(earliest),
            next_room=self.next_room(look_from) if look_from is not None else None,
            groups=tuple(group.name for group in spawning.groups),
            added=tuple(f"{row.copies} more {row.like}" for row in self.checked.plan.added),
            homeless=tuple(dict.fromkeys(row.brood for row in self.checked.plan.homeless)),
        )

    def _is_of_line(self, name: str) -> bool:
        brood = self.room.brood_named.get(name)
        return brood is not None and brood.line == self.spawning.line

    def way(self, aim: Aim) -> Way | None:
        """Return how to have what is missing; None where it is too late."""
        at_best = self.likely() if aim is Aim.LIKELY else self.latest(self.want(aim))
        if at_best is None:
            return None
        latest, eggs = at_best[-1][0], sum(count for _, count in at_best)
        chosen = at_best
        at_first = placed = self.place(at_best, aim)
        for sooner in range(1, MOST_TRIES + 1):
            if placed.homes:
                break
            last = latest - sooner * A_WEEK
            other = (
                self.spawning.split(self.days, last, eggs)
                if aim is Aim.LIKELY
                else self.spawning.collections(self.days, last, self.want(aim))
            )
            if other is None:
                break
            found = self.place(other, aim)
            if found.homes:
                chosen, placed = other, found
        return Way(
            aim=aim,
            latest=latest,
            collections=tuple(
                Taken(brood=brood.name, on=brood.collected, eggs=brood.eggs, parents=brood.parents)
                for brood in self.broods(chosen)
            ),
            fish=self.expected(chosen),
            homes=placed.homes,
            refusals=self.told(at_best, at_first.refusals),
            sold_later=placed.sold_later,
            odds=self.odds(chosen, placed.paths),
        )

    def expected(self, collections: Sequence[tuple[date, int]]) -> int:
        """Return the whole fish that are expected on the day, with those that are there anyway."""
        want = self.want(Aim.EXPECTED)
        new = sum(eggs * self.spawning.share(day, want) for day, eggs in collections)
        return floor(new + sum(row.fish for row in self.already) + DUST)

    def latest(self, want: Want) -> list[tuple[date, int]] | None:
        """Return the last collections that are grown in time, with room to grow; None where it is too late."""
        last = self.spawning.last_day(self.days, self.by, want.growth)
        return None if last is None else self.spawning.collections(self.days, last, want)

    def likely(self) -> list[tuple[date, int]] | None:
        """Return the last collections, of the fewest eggs, with which it is fairly sure; None where it is too late.

        They are of the last day of which nearly every brood is long enough in time, or so many weeks sooner as it
        takes for as many eggs to do as are needed where few survive.
        """
        days = self.days
        place = bisect_left(days, True, key=lambda day: self.grown(day) < NEARLY_ALL)
        if not place:
            return None
        for sooner in range(MOST_TRIES + 1):
            last = days[place - 1] - sooner * A_WEEK
            want = Want(self.by, self.fish, self.room.keeper.growth, Estimate.LOW)
            most = self.spawning.collections(days, last, want)
            if most is None:
                return None
            eggs = range(1, sum(count for _, count in most) + 1)
            least = bisect_left(eggs, True, key=partial(self._is_likely, last))
            if least < len(eggs):
                return self.spawning.split(days, last, eggs[least])
        return None

    def _is_likely(self, last: date, eggs: int) -> bool:
        chosen = self.spawning.split(self.days, last, eggs)
        return chosen is not None and self.odds(chosen, {}).share >= LIKELY

    def grown(self, day: date) -> float:
        """Return the chance that eggs of a day are long enough in time, with room to grow."""
        return grown_share(self.new([(day, 1)], {})[0], self.by)

    def odds(self, collections: Sequence[tuple[date, int]], paths: Paths) -> Chance:
        return odds_of([*self.hoped, *self.new(collections, paths)], self.by, self.fish)

    def broods(self, collections: Sequence[tuple[date, int]]) -> list[Brood]:
        line, taken = self.spawning.line, self.room.brood_named
        found = []
        for day, eggs in collections:
            name = f"{line} {day.isoformat()}"
            while name in taken:
                name += "+"
            found.append(self.spawning.brood(name, day, eggs))
        return found

    def new(self, collections: Sequence[tuple[date, int]], paths: Paths) -> list[Hoped]:
        """Return the collections as broods with just so many eggs, as late as their homes make them."""
        found = []
        for brood in self.broods(collections):
            pace = self.room.keeper.growth
            life = self.spawning.life(brood.collected, pace, Estimate.EXPECTED, brood.eggs)
            counted = replace(life, brood=life.brood.model_copy(update={"planned": False}))
            found.append(Hoped(counted, brood.collected, paths.get(brood.name, ())))
        return found

    def place(self, collections: Sequence[tuple[date, int]], aim: Aim = Aim.EXPECTED) -> Placed:
        """Hold the plan still and look for homes for some collections until the day, in which they do for an aim."""
        coming = self.broods(collections)
        try:
            held = Held(self.room, self.there[1], coming, wanted=self.by)
        except TooShortError as error:
            return Placed((), _too_short(error.broods), {}, {})
        beside = held.settle(all_or_none=True)
        if beside.refused:
            return Placed((), beside.refused, {}, {})
        checked = Checked(beside.room, beside.plan)
        ready, paths = checked.ready, checked.paths
        at_worst = ready_if_slow(beside.room, beside.plan) if aim is Aim.WORST else ready
        late = [brood.name for brood in coming if max(ready[brood.name], at_worst[brood.name]) > self.by]
        if late:
            return Placed((), _too_short(late), {}, {})
        homes = tuple(
            Home(brood=brood.name, steps=tuple(steps_of(held, brood, beside.plan)), ready=ready[brood.name])
            for brood in held.coming
        )
        if aim is Aim.LIKELY and self.odds(collections, paths).share < LIKELY:
            return Placed((), _too_short([brood.name for brood in coming]), {}, {})
        return Placed(homes, (), beside.sold_later, paths)

    def told(
        self, collections: Sequence[tuple[date, int]], refusals: tuple[Refusal, ...]
    ) -> tuple[Refusal, ...]:
        """Return refusals with those put right that only look as if there were no room: there is, but growth is slow."""
        doubtful = {Snag.PARTS, Snag.SALE}
        if not any(refusal.snag in doubtful for refusal in refusals):
            return refusals
        beside = Held(self.room, self.there[1], self.broods(collections)).settle()
        ready = Checked(beside.room, beside.plan).ready
        late = {name for name in beside.taken if ready[name] > self.by}
        return tuple(
            Refusal(brood=refusal.brood, snag=Snag.LENGTH)
            if refusal.snag in doubtful and refusal.brood in late
            else refusal
            for refusal in refusals
        )

    def earliest(self, aim: Aim) -> Earliest | None:
        """Return the first later day on which so many fish can be there; None where that is not within a year's eggs."""
        if aim is Aim.LIKELY:
            return self.earliest_likely()
        growth = self.want(aim).growth
        until = self.room.today + A_YEAR
        grown = {self.spawning.ready(day, growth) for day in self.spawning.days(until)}
        named = self.room.brood_named
        grown |= {day for name, day in self.checked.ready.items() if named[name].line == self.spawning.line}
        if not self.can_ever_be(max(grown, default=self.by), aim):
            return None
        for day in sorted(day for day in grown if day > self.by):
            later = replace(self, by=day)
            want = later.want(aim)
            if not want.fish:
                return Earliest(aim=aim, day=day, first=None, eggs=0)
            chosen = later.latest(want)
            if chosen is not None:
                return Earliest(aim=aim, day=day, first=chosen[0][0], eggs=sum(eggs for _, eggs in chosen))
        return None

    def earliest_likely(self) -> Earliest | None:
        """Return a later day on which it is fairly sure, while a day sooner it is not; None as for `earliest`.

        With more time it is never less sure, but for a brood whose time to find buyers is over: so the days are halved.
        """
        last = self.room.today + A_YEAR
        until = max(
            (self.spawning.ready(day, GrowthPace.SLOW) for day in self.spawning.days(last)), default=self.by
        )
        days = [self.by + n * DAY for n in range(1, (until - self.by).days + 1)]
        place = bisect_left(days, True, key=lambda day: replace(self, by=day).fairly_sure() is not None)
        if place == len(days):
            return None
        chosen = replace(self, by=days[place]).fairly_sure()
        assert chosen is not None  # noqa: S101 - it was, a moment ago
        first = chosen[0][0] if chosen else None
        return Earliest(aim=Aim.LIKELY, day=days[place], first=first, eggs=sum(eggs for _, eggs in chosen))

    def fairly_sure(self) -> list[tuple[date, int]] | None:
        """Return what must be taken to be fairly sure: nothing if those that are there do; None if it is too late."""
        return [] if odds_of(self.hoped, self.by, self.fish).share >= LIKELY else self.likely()

    def can_ever_be(self, day: date, aim: Aim) -> bool:
        """Tell whether so many fish can be had by a day that is as late as may be, were every egg of today a fish."""
        there = sum(brood.eggs for brood in self.room.broods if brood.line == self.spawning.line)
        later = replace(self, by=day)
        want = later.want(aim)._replace(fish=max(self.fish - there, 0))
        return later.latest(want) is not None

    def next_room(self, day: date) -> date | None:
        """Return the first of some days, a fortnight apart, on which so many fish are expected and all have a home."""
        for step in range(MOST_FORTNIGHTS):
            later = replace(self, by=day + step * A_FORTNIGHT)
            want = later.want(Aim.EXPECTED)
            chosen = later.latest(want)
            if not want.fish or (chosen is not None and later.place(chosen).homes):
                return later.by
        return None


def _too_short(names: Sequence[str]) -> tuple[Refusal, ...]:
    return tuple(Refusal(brood=name, snag=Snag.LENGTH) for name in names)
