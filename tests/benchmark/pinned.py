"""Pins that can hold, each for a brood of its own: in a vessel, not in a vessel, moved on a day."""

from datetime import date, timedelta
from math import ceil
from random import Random

from allocator.husbandry.life import Life
from allocator.husbandry.stages import earliest_entry, latest_entry
from allocator.room import Brood, Pin, PinKind, Room, Span, Vessel
from benchmark.ages import DAYS_UNTIL_MOVED, TODAY, life_of, nominal_entry, share_of_one

WEEK = timedelta(weeks=1)
WEEKS_PINNED = 6
FULL_WHEN_PINNED = 0.95


def pins_for(random: Random, room: Room, many: int) -> tuple[Pin, ...]:
    """Return so many pins, or fewer where the room has too few broods that can be pinned."""
    pins: list[Pin] = []
    taken: set[str] = set()
    for brood in random.sample(room.broods, len(room.broods)):
        if len(pins) == many:
            break
        life = life_of(brood, room.line_named[brood.line].rules)
        make = (_in_a_vessel, _not_in, _moved_on)[len(pins) % 3]
        pin = make(random, room, brood, life, taken)
        if pin is not None:
            pins.append(pin)
    return tuple(pins)


def _in_a_vessel(random: Random, room: Room, brood: Brood, life: Life, taken: set[str]) -> Pin | None:
    """Ask for one long tank (for fish that end in tens, a ten) for some weeks: of a brood that fits it whole."""
    if not brood.planned:
        return None
    last = len(life.rules.stages) - 1
    start = _saturday(nominal_entry(life, last))
    end = start + WEEKS_PINNED * WEEK
    kind = life.rules.stages[last].kinds[0]
    free = [vessel for vessel in _not_lived_in(room) if kind in vessel.kinds and vessel.name not in taken]
    alike = {_size(vessel): vessel for vessel in free}
    large = {size for size, vessel in alike.items() if _fits(life, vessel, start, end)}
    fits = [vessel for vessel in free if _size(vessel) in large]
    if not fits:
        return None
    vessel = random.choice(fits)
    taken.add(vessel.name)
    return Pin(kind=PinKind.IN, brood=brood.name, vessel=vessel.name, span=Span(start=start, end=end))


def _size(vessel: Vessel) -> tuple[float, float, float]:
    return vessel.length_mm, vessel.width_mm, vessel.depth_mm


def _fits(life: Life, vessel: Vessel, start: date, end: date) -> bool:
    days = [start + timedelta(days=n) for n in range((end - start).days)]
    return all(
        ceil(life.heads(day)) * share_of_one(life.length_mm(day), vessel, life.rules) <= FULL_WHEN_PINNED
        for day in days
    )


def _not_in(random: Random, room: Room, brood: Brood, life: Life, taken: set[str]) -> Pin | None:
    """Forbid a tank in which the brood does not live today, for good."""
    last = life.rules.stages[-1].kinds[0]
    homes = {home.vessel for home in brood.homes}
    free = [vessel for vessel in room.vessels if last in vessel.kinds and vessel.name not in homes | taken]
    if not free:
        return None
    return Pin(kind=PinKind.NOT_IN, brood=brood.name, vessel=random.choice(free).name)


def _moved_on(random: Random, room: Room, brood: Brood, life: Life, taken: set[str]) -> Pin | None:
    """Ask for the move out of the box on a Saturday within its window."""
    del taken
    if not brood.planned:
        return None
    rule = life.rules.stages[1]
    first = earliest_entry(life, rule)
    last = min(
        latest_entry(life, rule), first + timedelta(days=DAYS_UNTIL_MOVED - 1)
    )  # it must fit its box so long
    day, days = _saturday(first), []
    while day <= last:
        days.append(day)
        day += WEEK
    days = [day for day in days if room.keeper.moves_fish_on(day)]
    if not days:
        return None
    day = random.choice(days)
    return Pin(kind=PinKind.MOVE_ON, brood=brood.name, span=Span(start=day, end=day + timedelta(days=1)))


def _saturday(day: date) -> date:
    return day + timedelta(days=(TODAY.weekday() - day.weekday()) % 7)


def _not_lived_in(room: Room) -> list[Vessel]:
    homes = {home.vessel for brood in room.broods for home in brood.homes}
    return [vessel for vessel in room.vessels if vessel.name not in homes]
