"""How full the room is in a long run, once it has filled up, and whether Little's law holds there."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

import numpy as np

from allocator.husbandry.life import lives
from allocator.husbandry.stages import stage_today
from allocator.needs import Bools
from allocator.plan import Plan
from allocator.questions.pace_run import Stream
from allocator.replies.pace import LongRun, StageUse
from allocator.room import Room


@dataclass(frozen=True)
class Measured:
    """What a run comes to: vessels in use by name, and days in the first vessel by line."""

    run: LongRun
    mean_in_use: dict[str, float]
    most_in_use: dict[str, int]
    first_days: dict[str, float]


def measured(stream: Stream, count: int, plan: Plan, first_vessels: dict[str, frozenset[str]]) -> Measured:
    """Return what a run comes to, over whole periods after the room has filled up and before collections end.

    Parameters
    ----------
    stream, count, plan
        A checked plan for so many broods in each period.
    first_vessels
        For each line the names of the vessels in which its broods begin.
    """
    room = stream.with_broods(count)
    walk = _Walk(room, plan, stream.days)
    begin = stream.days - (stream.days - stream.life_days) // stream.period * stream.period
    counted = {brood.name for brood in room.broods if walk.number(brood.collected) >= begin}
    by_name: dict[str, list[Bools]] = defaultdict(list)
    for vessel in room.vessels:
        by_name[vessel.declared_as].append(walk.in_use[vessel.name][begin : stream.days])
    together = {name: np.sum(rows, axis=0) for name, rows in by_name.items()}
    everywhere = [walk.here[brood.name] for brood in room.broods]
    first: dict[str, list[int]] = defaultdict(list)
    for brood in room.broods:
        if brood.name in counted:
            first[brood.line].append(walk.first_days(brood.name, first_vessels[brood.line]))
    return Measured(
        run=LongRun(
            broods=len(room.broods),
            days=stream.days,
            measured_days=stream.days - begin,
            broods_mean=float(np.sum([row[begin : stream.days] for row in everywhere], axis=0).mean()),
            a_day=len(counted) / (stream.days - begin),
            days_each=float(np.mean([walk.here[name].sum() for name in counted])),
            stages=walk.stages(counted, begin),
        ),
        mean_in_use={name: float(row.mean()) for name, row in together.items()},
        most_in_use={name: int(row.max()) for name, row in together.items()},
        first_days={line: float(np.mean(days)) for line, days in first.items()},
    )


class _Walk:
    """A plan laid out day by day: which broods are there, in which stages, and which vessels are in use."""

    def __init__(self, room: Room, plan: Plan, days: int) -> None:
        self.room, self.plan, self.days = room, plan, days
        end = max((self.number(stay.until) for stay in plan.stays), default=days)
        forecast = lives(room)
        self.here = {brood.name: np.zeros(end, dtype=np.bool_) for brood in room.broods}
        self.in_use = {vessel.name: np.zeros(end, dtype=np.bool_) for vessel in room.vessels}
        self.in_stage: dict[tuple[str, str], dict[str, Bools]] = defaultdict(dict)
        for stay in plan.stays:
            life, vessel = forecast[stay.brood], room.vessel_named[stay.vessel]
            stage = life.rules.stages[stage_today(life, vessel, stay.from_)].name
            there = self.in_stage[stage, vessel.declared_as].setdefault(
                stay.brood, np.zeros(end, dtype=np.bool_)
            )
            for row in (self.here[stay.brood], self.in_use[stay.vessel], there):
                row[self.number(stay.from_) : self.number(stay.until)] = True

    def number(self, day: date) -> int:
        """Return a day counted from the first."""
        return (day - self.room.today).days

    def first_days(self, brood: str, vessels: frozenset[str]) -> int:
        """Return for how many days a brood is in one of the vessels in which it may begin."""
        last = max(
            self.number(stay.until)
            for stay in self.plan.stays
            if stay.brood == brood and stay.vessel in vessels
        )
        return last - self.number(self.room.brood_named[brood].collected)

    def stages(self, counted: set[str], begin: int) -> tuple[StageUse, ...]:
        """Return for each stage and kind of vessel how many broods are there, and for how long each."""
        order = list(dict.fromkeys(stage for stage, _ in self.in_stage))
        return tuple(
            StageUse(
                stage=stage,
                vessels=vessels,
                broods_mean=sum(float(row[begin : self.days].sum()) for row in rows.values())
                / (self.days - begin),
                days_each=sum(float(row.sum()) for name, row in rows.items() if name in counted)
                / len(counted),
            )
            for (stage, vessels), rows in sorted(
                self.in_stage.items(), key=lambda item: order.index(item[0][0])
            )
        )
