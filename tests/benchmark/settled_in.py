"""Where the fish live that are there today: in vessels that they fit in, with room for the next weeks."""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property, partial
from math import ceil
from random import Random

from allocator.husbandry.life import Life
from allocator.husbandry.stages import is_alone, stage_today
from allocator.husbandry.stocking import room_step
from allocator.room import Brood, Count, Home, Vessel
from allocator.rules import RulePack
from allocator.rules import VesselKind as Kind
from benchmark.ages import TODAY, life_of, nominal_entry, share_of_one
from benchmark.vessels import MOST_COPIES, Sort, copies_of, vessel_number

LOOK_AHEAD = tuple(TODAY + timedelta(days=days) for days in (0, 7, 14))
FULL_TODAY = 0.85
"""Vessels are filled so far in the next fortnight at most (judgement): fish fit where they are found."""

NEARLY = 0.97
"""How close to the limit the lengths of fish in one vessel may come (judgement)."""

LATEST_COUNT_DAYS = 6


@dataclass(frozen=True)
class _Guest:
    """A brood that needs a home, and the stage that it is in."""

    life: Life
    stage: int

    @cached_property
    def days(self) -> tuple[date, ...]:
        """The days on which its home must do: today, and next weeks unless it is to move on before."""
        stages = self.life.rules.stages
        last = self.stage == len(stages) - 1
        until = LOOK_AHEAD[-1] if last else nominal_entry(self.life, self.stage + 1)
        return tuple(day for day in LOOK_AHEAD if day == TODAY or day <= until)

    def shares(self, vessel: Vessel, of: int) -> list[float]:
        """Return what one of so many equal parts takes of a vessel, on each day looked at; 0 once it is gone."""
        return [
            ceil(ceil(self.life.heads(day)) / of)
            * share_of_one(self.life.length_mm(day), vessel, self.life.rules)
            * (day in self.days)
            for day in LOOK_AHEAD
        ]

    def can_swim_in(self, vessel: Vessel) -> bool:
        """Tell whether a vessel is long enough."""
        steps = [room_step(self.life.length_mm(day), self.life.rules).run_cm for day in self.days]
        return all(step is None or step.limit.value <= vessel.run_cm for step in steps)


class _Tank:
    """A vessel in use, and who is in it."""

    def __init__(self, vessel: Vessel) -> None:
        self.vessel = vessel
        self.guests: list[_Guest] = []
        self.used = [0.0 for _ in LOOK_AHEAD]

    def takes(self, guest: _Guest) -> bool:
        """Tell whether a brood can come in as a whole."""
        shares = guest.shares(self.vessel, 1)
        if not guest.can_swim_in(self.vessel):
            return False
        if any(used + share > FULL_TODAY for used, share in zip(self.used, shares, strict=True)):
            return False
        limit = NEARLY * guest.life.rules.length_ratio_limit.value
        for other in self.guests:
            for day in LOOK_AHEAD:
                short, long = sorted((guest.life.length_mm(day), other.life.length_mm(day)))
                if long > limit * short:
                    return False
        return True

    def add(self, guest: _Guest, of: int) -> None:
        """Put a brood in, or one of so many parts of it."""
        shares = guest.shares(self.vessel, of)
        self.guests.append(guest)
        self.used = [used + share for used, share in zip(self.used, shares, strict=True)]


def settle_in(
    random: Random,
    broods: Sequence[Brood],
    rules: Mapping[str, RulePack],
    sorts: Sequence[Sort],
    copies: Mapping[Kind, int],
) -> tuple[list[Brood], dict[str, int]]:
    """Return the broods, those in being counted and housed, and how many vessels of each sort they use."""
    settled: list[Brood] = []
    open_tanks: dict[tuple[str, Kind], list[_Tank]] = {}
    in_use: Counter[str] = Counter()
    for brood in broods:
        if brood.planned:
            settled.append(brood)
            continue
        counted = _counted(random, brood, rules[brood.line])
        life = life_of(counted, rules[brood.line])
        stages = range(len(life.rules.stages))
        stage = max(number for number in stages if number == 0 or nominal_entry(life, number) <= TODAY)
        kind = life.rules.stages[stage].kinds[0]
        tanks = open_tanks.setdefault((brood.line, kind), [])
        guest = _Guest(life, stage)
        fit = [sort for sort in sorts if sort.kind is kind and guest.can_swim_in(sort.vessel("any", "any"))]
        homes = _house(guest, tanks, partial(_next_vessel, fit, sorts, copies, in_use))
        settled.append(counted.model_copy(update={"homes": tuple(Home(vessel=name) for name in homes)}))
    return settled, dict(in_use)


def _counted(random: Random, brood: Brood, rules: RulePack) -> Brood:
    """Return a brood with a count and a length of some days ago, once it has hatched for good."""
    on = TODAY - timedelta(days=random.randint(1, LATEST_COUNT_DAYS))
    life = life_of(brood, rules)
    if on < life.hatch_until + timedelta(days=3):
        return brood
    fish = min(brood.eggs, max(3, round(life.heads(on) * random.uniform(0.9, 1.1))))
    mm = round(min(life.length_mm(on) * random.uniform(0.95, 1.05), 0.95 * rules.sale_mm.value), 1)
    return brood.model_copy(update={"counts": (Count(on=on, fish=fish, mm=mm),)})


def _house(guest: _Guest, tanks: list[_Tank], another: Callable[[], Vessel]) -> list[str]:
    """Return the vessels of one brood: one that has room, else as many new ones as it takes."""
    for tank in () if is_alone(guest.life, guest.stage) else tanks:
        if tank.takes(guest):
            tank.add(guest, 1)
            return [tank.vessel.name]
    new = [_Tank(another())]
    while max(guest.shares(_smallest(new), len(new))) > FULL_TODAY:
        new.append(_Tank(another()))
    for tank in new:
        assert stage_today(guest.life, tank.vessel, TODAY) == guest.stage
        tank.add(guest, len(new))
    tanks += new
    return [tank.vessel.name for tank in new]


def _smallest(tanks: list[_Tank]) -> Vessel:
    return min((tank.vessel for tank in tanks), key=lambda vessel: vessel.litres)


def _next_vessel(
    fit: Sequence[Sort], sorts: Sequence[Sort], copies: Mapping[Kind, int], in_use: Counter[str]
) -> Vessel:
    """Return a vessel in which nobody lives: of the sort, out of those that fit, that is in use the least."""
    sort = min(fit, key=lambda sort: in_use[sort.name] / max(1, copies_of(sorts, sort, copies[sort.kind])))
    in_use[sort.name] += 1
    return vessel_number(sort, in_use[sort.name], of=MOST_COPIES)
