"""What a room can sustain at the very most, by Little's law: each brood's vessel-days, kind of vessel by kind.

Loads are those of the checker's rules on the very day, not rounded; fish grow as if they always had room, are moved on
the first day or the last as suits best, and sold on the first day on which they can be long enough. So no plan does
better.
"""

from collections.abc import Iterator, Sequence
from datetime import timedelta
from math import ceil
from typing import NamedTuple

import numpy as np

from allocator.husbandry.life import Dwelling, Life
from allocator.husbandry.stages import earliest_entry, fits_stage, is_alone, latest_entry
from allocator.husbandry.stocking import ROW, SUMMED_CAPS, Cap, flow_step, shares_by_day
from allocator.model.steady import Steady, Way, steady_pace
from allocator.questions.pace_room import Collection, life_of
from allocator.room import Room, Vessel

DUST = 1e-9
WEEK_DAYS = 7


class Kind(NamedTuple):
    """Vessels that are alike, and the line whose young are guarded there, if it is a nursery."""

    sample: Vessel
    copies: int
    young_of: str | None = None


class Bound(NamedTuple):
    """The most broods a day, what holds it there, and what is needed to tell it.

    `lacking` is the (line, stage) for which there is no vessel at all on some day, where that is why the pace is 0.
    """

    pace: float
    binding: dict[tuple[int, int, int], float]
    lacking: tuple[int, int] | None = None


def kinds_of(room: Room) -> list[Kind]:
    """Return the vessels of an emptied room by what the rules look at; those of breeding groups only as nurseries."""
    taken = {group.vessel for group in room.groups}
    alike: dict[Vessel, list[Vessel]] = {}
    for vessel in room.vessels:
        if vessel.name not in taken:
            unnamed = vessel.model_copy(
                update={"name": "", "rack": None, "shelf": None, "empty_kg": None, "filter_since": None}
            )
            alike.setdefault(unnamed, []).append(vessel)
    kinds = [Kind(vessels[0], len(vessels)) for vessels in alike.values()]
    return kinds + [
        Kind(room.vessel_named[group.vessel], 1, group.line)
        for group in room.groups
        if room.line_named[group.line].rules.guards_young
    ]


class Living:
    """Where the broods of some lines may live, day of age by day of age.

    Parameters
    ----------
    room
        From `emptied`.
    collections
        One for each line.
    """

    def __init__(self, room: Room, collections: Sequence[Collection]) -> None:
        self.kinds = kinds_of(room)
        self.lives = [life_of(room, kind) for kind in collections]
        self._slack = timedelta(days=_longest_wait(room.keeper.move_days))
        self.ways: list[Way] = []
        self.lacking: tuple[int, int] | None = None
        for line, life in enumerate(self.lives):
            ways = list(self._ways(line, life))
            ages = {way.age for way in ways}
            missing = next((age for age in range(self.days(life)) if age not in ages), None)
            if missing is not None and self.lacking is None:
                self.lacking = (line, self._stage_at(life, missing))
            self.ways += ways

    def days(self, life: Life) -> int:
        """Return the days from collection to the first day on which a brood can be sold."""
        start = life.brood.collected
        runs = [
            kind.sample.run_cm
            for kind in self.kinds
            if any(self._fits(kind, life, stage) for stage in range(len(life.rules.stages)))
        ]
        ready = life.ready_for_sale([Dwelling(max(runs, default=0.0), start, start + timedelta(days=1))])
        assert ready is not None  # noqa: S101 - the path is not empty
        return (ready - start).days

    def longest(self) -> int:
        """Return the longest of these lives in days, in vessels as short as may be and never crowded."""
        days = []
        for life in self.lives:
            start = life.brood.collected
            ready = life.ready_for_sale([Dwelling(0.0, start, start + timedelta(days=1))])
            assert ready is not None  # noqa: S101 - the path is not empty
            days.append((ready - start).days)
        return max(days)

    def bound(self, weights: Sequence[float], *, only: frozenset[int] | None = None) -> Bound:
        """Return the most broods a day of all lines together.

        Parameters
        ----------
        weights
            The share of each line.
        only
            Kinds of vessel that alone are limited, as if there were more than enough of the others.
        """
        if self.lacking is not None:
            return Bound(0.0, {}, self.lacking)
        copies = [
            kind.copies if only is None or place in only else None for place, kind in enumerate(self.kinds)
        ]
        steady: Steady = steady_pace(weights, self.ways, copies)
        return Bound(steady.pace, steady.binding)

    def first_homes(self, line: int) -> frozenset[int]:
        """Return the kinds of vessel in which the broods of a line may begin."""
        return frozenset(way.kind for way in self.ways if way.line == line and way.stage == 0)

    def later_homes(self) -> frozenset[int]:
        """Return the kinds of vessel in which any brood may live after its first stage."""
        return frozenset(way.kind for way in self.ways if way.stage > 0)

    def _stage_at(self, life: Life, age: int) -> int:
        day = life.brood.collected + timedelta(days=age)
        stages = life.rules.stages
        return max(number for number, stage in enumerate(stages) if earliest_entry(life, stage) <= day)

    @staticmethod
    def _fits(kind: Kind, life: Life, stage: int) -> bool:
        guarded = stage == 0 and life.rules.guards_young
        if guarded != (kind.young_of is not None):
            return False
        return kind.young_of == life.brood.line if guarded else fits_stage(life, stage, kind.sample)

    def _ways(self, line: int, life: Life) -> Iterator[Way]:
        days = self.days(life)
        start, rules = life.brood.collected, life.rules
        heads, mm = life.heads_by_day(start, days), life.lengths_by_day(start, days)
        borne = np.array([int(flow_step(float(length), rules).limit.value) for length in mm])
        rows = [ROW[cap] for cap in SUMMED_CAPS]
        for number, kind in enumerate(self.kinds):
            _, limit = shares_by_day(mm, kind.sample, rules)
            loads = limit[rows] * heads
            fits = (limit[ROW[Cap.RUN]] <= 1 + DUST) & (int(kind.sample.flow_lowest) <= borne)
            for stage in range(len(rules.stages)):
                if not self._fits(kind, life, stage):
                    continue
                first, end = self._span(life, stage, days)
                if stage == 0 and rules.eggs_need_snail_free and not kind.sample.snail_free:
                    first = max(first, (life.hatch_until - start).days)
                alone = is_alone(life, stage)
                for age in range(first, end):
                    if fits[age]:
                        mine = tuple(loads[:, age].tolist())
                        # One that shares with nobody takes whole vessels, whichever cap is looked at.
                        whole = (float(max(1, ceil(max(mine) - DUST))),) * len(mine)
                        yield Way(line, age, stage, number, whole if alone else mine)

    def _span(self, life: Life, stage: int, days: int) -> tuple[int, int]:
        """Return the ages between which a brood may be in a stage: from the first day until the last (excluded)."""
        start, stages = life.brood.collected, life.rules.stages
        first = (earliest_entry(life, stages[stage]) - start).days
        end = first if stage < len(stages) - 1 else days
        for after in range(stage + 1, len(stages)):
            end = max(end, (latest_entry(life, stages[after]) + self._slack - start).days)
            if not stages[after].may_skip:
                break
        else:
            end = days
        return min(first, days), min(end, days)


def _longest_wait(move_days: Sequence[int]) -> int:
    """Return the most days from any day to one on which the keeper moves fish."""
    days = sorted(set(move_days))
    return max(
        (after - before - 1) % WEEK_DAYS for before, after in zip(days, [*days[1:], days[0]], strict=True)
    )
