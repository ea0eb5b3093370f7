"""One batch of replays of a plan: what each vessel holds on each day, what is too much, and who must wait.

The plan is kept to: every lot goes where the plan says, on the day on which it says so. Only fish that are not ready wait
where they are, for the first move day on which they are: for a move until all have hatched and are as old and as long as
the stage asks; for a sale until they are long enough, held back by their vessels and their company as planned.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from allocator.husbandry.stocking import ROW, SUMMED_CAPS, Cap, shares_by_day
from allocator.questions.growing import pace_of, ready_days
from allocator.questions.luck_draws import Fate, Floats, Ints, fate_of
from allocator.questions.luck_script import Leg, Script

EPSILON = 1e-6
"""A share over 1 by less than this is rounding of the arithmetic, not fish."""

LONGER = 1.001
"""Fish are longer than allowed from a thousandth beyond it on: less is the rounding of days."""

SUMMED = [ROW[cap] for cap in SUMMED_CAPS]
Bools = NDArray[np.bool_]


@dataclass
class Played:
    """What some replays came to. Counts are of replays; arrays by replay keep their order.

    Attributes
    ----------
    by_month, by_week
        In how many replays each vessel is overfull in each month and week, shape (vessels, months or weeks).
    any_by_month, any_by_week
        The same for the room as a whole.
    caps
        On how many days, over all replays, each cap is the one that is short most, shape (vessels, caps).
    overfull, too_short
        Whether some vessel is overfull on some day, and whether fish outgrow every vessel, shape (replays,).
    without_home
        Fish above the limits on the worst day, shape (replays,).
    spares
        Vessels of each kind that lack on the worst day, shape (kinds, replays).
    too_small, too_long, late_days
        Of each brood: whether some of it must wait for a move or is too long for it, and days by which it is sold late,
        shape (broods, replays).
    """

    replays: int
    by_month: Ints
    by_week: Ints
    any_by_month: Ints
    any_by_week: Ints
    caps: Ints
    overfull: Bools
    too_short: Bools
    without_home: Ints
    spares: Ints
    too_small: Bools
    too_long: Bools
    late_days: Ints


def play(script: Script, seed: np.random.SeedSequence, replays: int) -> Played:
    """Return what a batch of replays comes to: the same for the same arguments, wherever it is worked out."""
    return Batch(script, fates_of(script, seed, replays), replays).played()


def fates_of(script: Script, seed: np.random.SeedSequence, replays: int) -> list[Fate]:
    """Return what becomes of each brood, each from a seed of its own."""
    # A child by its place, not by `spawn`, which counts its calls: the same batch could then not be drawn twice.
    seeds = (
        np.random.SeedSequence(seed.entropy, spawn_key=(*seed.spawn_key, place))
        for place in range(len(script.lives))
    )
    return [
        fate_of(life, script.today, until, replays, own)
        for life, until, own in zip(script.lives, script.until, seeds, strict=True)
    ]


@dataclass
class Held:
    """What a vessel holds from a day on, each of shape (replays, days); loads have a row for each summed cap.

    `outgrown` are fish for which it is too short; they are not among the loads.
    """

    first: int
    loads: Floats
    fish: Floats
    outgrown: Floats

    @property
    def share(self) -> Floats:
        """The share of the limit that is taken of what is short most."""
        most: Floats = self.loads.max(axis=0)
        return most

    @property
    def overfull(self) -> Bools:
        """Whether there is more than a limit allows."""
        over: Bools = (self.share > 1 + EPSILON) | (self.outgrown > EPSILON)
        return over

    @property
    def too_many(self) -> Ints:
        """Fish that must leave so that the others may stay, taken evenly from all lots, in whole fish."""
        share = self.share
        above = np.where(share > 1 + EPSILON, self.fish * (1 - 1 / np.maximum(share, 1.0)), 0.0)
        return np.ceil(above + self.outgrown - EPSILON).astype(np.int64)


@dataclass(frozen=True)
class Segment:
    """Fish of a leg in a vessel, in each replay from one day until another (excluded)."""

    leg: Leg
    start: Ints
    until: Ints


@dataclass
class Batch:
    """Some replays of one plan: which fish are in which vessel when, by the place of the vessel in `segments`.

    `fates` has what becomes of each brood of the room, in order, for so many replays.
    """

    script: Script
    fates: list[Fate]
    replays: int
    segments: dict[int, list[Segment]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        script = self.script
        shape = (len(script.lives), self.replays)
        self.too_small, self.too_long = np.zeros(shape, np.bool_), np.zeros(shape, np.bool_)
        self.late = np.zeros(shape, np.int64)
        for leg in script.legs:
            self._lay_out(leg)

    def _lay_out(self, leg: Leg) -> None:
        fate = self.fates[leg.brood]
        planned = np.full(self.replays, leg.start)
        start = planned
        if leg.entered is not None:
            start = self._entry(leg, fate)
            some = self._some(fate, leg.start)
            self.too_small[leg.brood] |= some & (start > leg.start)
            if leg.entered.until_mm is not None:
                limit = max(leg.entered.until_mm.value, leg.planned_mm) * LONGER
                at = np.clip(start - fate.first, 0, fate.mm.shape[1] - 1)
                self.too_long[leg.brood] |= some & (fate.mm[np.arange(self.replays), at] > limit)
        until = np.full(self.replays, leg.until)
        if leg.sold:
            life = self.script.lives[leg.brood]
            pace = pace_of(leg.path, life.rules, self.script.today, fate.until)
            ready = ready_days(fate, life.rules, pace)
            until = np.where(ready > leg.until, self._move_day(ready), leg.until)
            late = np.where(self._some(fate, leg.until), until - leg.until, 0)
            self.late[leg.brood] = np.maximum(self.late[leg.brood], late)
        until = np.maximum(until, start)
        self.segments.setdefault(leg.vessel, []).append(Segment(leg, start, until))
        if leg.came_from is not None and (start > planned).any():
            # beyond the end of a leg its fish are those of the next one, and wait as such
            waits = start if leg.sold else np.minimum(start, leg.until)
            self.segments.setdefault(leg.came_from, []).append(Segment(leg, planned, waits))

    def _entry(self, leg: Leg, fate: Fate) -> Ints:
        """Return the day on which fish enter a stage: that of the plan, or the first move day that they are ready for."""
        stage = leg.entered
        assert stage is not None  # noqa: S101 - asked only for legs that enter one
        ready = fate.hatched
        if stage.from_days is not None:
            ready = np.maximum(ready, fate.hatched + int(np.ceil(stage.from_days.value)))
        if stage.from_mm is not None:
            # the plan's own day holds for fish that are what they are planned to be, whatever day-counting rounds off
            ready = np.maximum(ready, fate.first_day_at(min(stage.from_mm.value, leg.planned_mm)))
        return np.where(ready > leg.start, self._move_day(ready), leg.start)

    def _move_day(self, days: Ints) -> Ints:
        found: Ints = self.script.next_move[np.clip(days, 0, self.script.days)]
        return found

    def _some(self, fate: Fate, day: int) -> Bools:
        """Tell where some of a brood is alive on a day."""
        place = min(max(day - fate.first, 0), fate.heads.shape[1] - 1)
        alive: Bools = fate.heads[:, place] > 0
        return alive

    def held(self, vessel: int, need: Ints | None = None, stuck: Bools | None = None) -> Held:
        """Return what a vessel holds, by replay and day.

        Parameters
        ----------
        need
            By kind, replay and day: here fish that outgrow the vessel ask for others, in whole ones.
        stuck
            By replay: set where fish outgrow the vessel and there is none that is long enough.
        """
        script = self.script
        segments = self.segments[vessel]
        first = min(int(segment.start.min()) for segment in segments)
        last = min(max(int(segment.until.max()) for segment in segments), script.days)
        shape = (self.replays, max(last - first, 1))
        held = Held(first, np.zeros((len(SUMMED), *shape)), np.zeros(shape), np.zeros(shape))
        for segment in segments:
            self._add(held, vessel, segment, need, stuck)
        return held

    def _add(self, held: Held, vessel: int, segment: Segment, need: Ints | None, stuck: Bools | None) -> None:
        script, leg = self.script, segment.leg
        fate, rules = self.fates[leg.brood], script.lives[leg.brood].rules
        begin, end = int(segment.start.min()), min(int(segment.until.max()), script.days, fate.until)
        if begin >= end:
            return
        days = np.arange(begin, end)
        there = (days >= segment.start[:, None]) & (days < segment.until[:, None])
        its, here = slice(begin - fate.first, end - fate.first), slice(begin - held.first, end - held.first)
        fish = leg.part * fate.heads[:, its] * there
        mm = fate.mm[:, its]
        _, limit = shares_by_day(mm.ravel(), script.vessels[vessel], rules)
        limit = limit.reshape(-1, *mm.shape)
        outgrown = np.where(limit[ROW[Cap.RUN]] > 1 + EPSILON, fish, 0.0)
        held.fish[:, here] += fish - outgrown
        held.outgrown[:, here] += outgrown
        held.loads[:, :, here] += (fish - outgrown) * limit[SUMMED]
        if outgrown.any() and need is not None and stuck is not None:
            refuge = script.refuges[leg.brood]
            if refuge is None or refuge == vessel:
                stuck |= (outgrown > 0).any(axis=1)
            else:
                _, there_limit = shares_by_day(mm.ravel(), script.vessels[refuge], rules)
                share = (outgrown * there_limit.reshape(-1, *mm.shape)[SUMMED]).max(axis=0)
                need[script.kind_of[refuge], :, begin:end] += np.ceil(share - EPSILON).astype(np.int64)

    def played(self) -> Played:
        """Return what the batch comes to."""
        script, n = self.script, self.replays
        days, kinds = script.days, len(script.kinds)
        any_over, too_many = np.zeros((n, days), np.bool_), np.zeros((n, days), np.int64)
        need, stuck = np.zeros((kinds, n, days), np.int64), np.zeros(n, np.bool_)
        empty = np.zeros((kinds, n, days), np.int64)
        by_month = np.zeros((len(script.vessels), len(script.months)), np.int64)
        by_week = np.zeros((len(script.vessels), len(script.mondays)), np.int64)
        caps = np.zeros((len(script.vessels), len(Cap)), np.int64)
        for vessel, kind in enumerate(script.kind_of):
            used = np.zeros((n, days), np.bool_)
            if vessel in self.segments:
                held = self.held(vessel, need, stuck)
                here = slice(held.first, held.first + held.fish.shape[1])
                over = np.zeros((n, days), np.bool_)
                over[:, here] = held.overfull
                any_over |= over
                too_many[:, here] += held.too_many
                need[kind, :, here] += np.maximum(np.ceil(held.share - 1 - EPSILON), 0).astype(np.int64)
                used[:, here] = held.fish + held.outgrown > EPSILON
                by_month[vessel] = np.logical_or.reduceat(over, script.month_starts, axis=1).sum(axis=0)
                by_week[vessel] = np.logical_or.reduceat(over, script.week_starts, axis=1).sum(axis=0)
                caps[vessel] = _short_of(held)
            empty[kind] += script.free[vessel] & ~used
        return Played(
            replays=n,
            by_month=by_month,
            by_week=by_week,
            any_by_month=np.logical_or.reduceat(any_over, script.month_starts, axis=1).sum(axis=0),
            any_by_week=np.logical_or.reduceat(any_over, script.week_starts, axis=1).sum(axis=0),
            caps=caps,
            overfull=too_many.max(axis=1) > 0,
            too_short=stuck,
            without_home=too_many.max(axis=1),
            spares=np.maximum(need - empty, 0).max(axis=2),
            too_small=self.too_small,
            too_long=self.too_long,
            late_days=self.late,
        )


def _short_of(held: Held) -> Ints:
    """Return on how many days, over all replays, each cap is the one that is short most."""
    found = np.zeros(len(Cap), np.int64)
    outgrown = held.outgrown > EPSILON
    found[ROW[Cap.RUN]] = outgrown.sum()
    over = (held.share > 1 + EPSILON) & ~outgrown
    worst = held.loads.argmax(axis=0)[over]
    found[SUMMED] += np.bincount(worst, minlength=len(SUMMED))
    return found
