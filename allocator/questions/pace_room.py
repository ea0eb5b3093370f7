"""The room as it would be for ever: no fish in it, nobody away, and collections that come evenly."""

from collections import Counter
from collections.abc import Sequence
from datetime import timedelta
from statistics import median_low
from typing import NamedTuple

from allocator.husbandry.life import Life, lives
from allocator.room import BreedingGroup, Brood, CollectedBy, Line, Room, Span


class Collection(NamedTuple):
    """What one collection of a line is taken to be, and in a few words where that comes from."""

    line: str
    eggs: int
    by: CollectedBy
    laid_over_days: int
    parents: str | None
    why: str


def emptied(room: Room) -> Room:
    """Return the room without its broods, pins, days away and vessels to add; what comes or goes later has done so.

    Breeding groups keep their vessels for ever; a vessel that is taken away some day is not counted on.
    """
    vessels = tuple(
        vessel.model_copy(update={"available": Span()})
        for vessel in room.vessels
        if vessel.available.end is None
    )
    there = {vessel.name for vessel in vessels}
    groups = tuple(
        group.model_copy(update={"lives_there": Span()})
        for group in room.groups
        if group.vessel in there and (group.lives_there.end is None or group.lives_there.end > room.today)
    )
    return room.model_copy(
        update={
            "keeper": room.keeper.model_copy(update={"away": ()}),
            "vessels": vessels,
            "groups": groups,
            "broods": (),
            "could_add": (),
            "pins": (),
            "orders": (),
        }
    )


def with_one_more(room: Room, like: str) -> Room:
    """Return the room with one more vessel of a name, as if it had always been there."""
    more = room.with_added({like: 1})
    new = more.vessels[-1].model_copy(update={"name": f"one more {like}", "available": Span()})
    return room.model_copy(update={"vessels": (*room.vessels, new)})


def typical(room: Room, line: Line, eggs: int | None = None) -> Collection:
    """Return what one collection of a line is taken to be.

    As planned in the room file (the middle of what is planned), else like the broods that are there, else the eggs of one
    day after the pack.

    Parameters
    ----------
    eggs
        The keeper's own number, which comes before all of these.
    """
    mine = [brood for brood in room.broods if brood.line == line.name]
    like, why = [brood for brood in mine if brood.planned], "as planned"
    if not like:
        like, why = mine, "like the broods that are there"
    guards = line.rules.guards_young
    by = CollectedBy.PICKING if line.rules.incubation_days.high.value > 0 else CollectedBy.YOUNG
    count, laid_over = max(1, round(line.rules.eggs_a_day.expected.value)), 1
    if like:
        by = Counter(brood.by for brood in like).most_common(1)[0][0]
        count = median_low(brood.eggs for brood in like)
        laid_over = median_low(brood.laid_over_days for brood in like)
    else:
        why = "a day's eggs by the rule pack"
    if eggs is not None:
        count, why = eggs, "as you said"
    parents = next((group.name for group in room.groups if group.line == line.name), None) if guards else None
    return Collection(line.name, count, by, laid_over, parents, why)


def weights_of(room: Room) -> dict[str, float]:
    """Return the share of each line in what the room plans to collect; equal where it plans nothing."""
    planned = Counter(brood.line for brood in room.broods if brood.planned)
    total = planned.total()
    if not total:
        return {line.name: 1 / len(room.lines) for line in room.lines}
    return {line.name: planned[line.name] / total for line in room.lines if planned[line.name]}


def in_turn(weights: Sequence[float], count: int) -> list[int]:
    """Return whose turn it is so many times: at each step who is furthest behind its share, the first of equals."""
    turns: list[int] = []
    had = [0] * len(weights)
    for step in range(1, count + 1):
        place = max(range(len(weights)), key=lambda n: (round(weights[n] * step - had[n], 9), -n))
        had[place] += 1
        turns.append(place)
    return turns


def with_collections(
    room: Room, kinds: Sequence[Collection], weights: Sequence[float], count: int, period: int, days: int
) -> Room:
    """Return an empty room with so many collections in each period, evenly spread to the whole day.

    Parameters
    ----------
    room
        From `emptied`.
    kinds, weights
        What is collected, and its share.
    count, period
        So many broods in so many days.
    days
        For how long there are collections.
    """
    number = days * count // period
    broods = tuple(
        _brood(kinds[turn], f"{kinds[turn].line} {place + 1}", room, place * period // count)
        for place, turn in enumerate(in_turn(weights, number))
    )
    return room.model_copy(update={"broods": broods})


def _brood(kind: Collection, name: str, room: Room, day: int) -> Brood:
    return Brood(
        name=name,
        line=kind.line,
        collected=room.today + timedelta(days=day),
        by=kind.by,
        eggs=kind.eggs,
        planned=True,
        laid_over_days=kind.laid_over_days,
        parents=kind.parents,
    )


def life_of(room: Room, kind: Collection) -> Life:
    """Return the forecast of one brood, collected on the weekday that makes its life shortest.

    Which weekday that is matters only where eggs are wetted on a day on which fish are moved.
    """
    week = [_brood(kind, f"{kind.line} {day}", room, day) for day in range(7)]
    forecast = lives(room.model_copy(update={"broods": tuple(week)})).values()
    return min(forecast, key=lambda life: life.hatched - life.brood.collected)


def guarded_by(room: Room, kind: Collection) -> BreedingGroup | None:
    """Return the group in whose vessel the young of a collection begin; None for all others."""
    return room.group_named.get(kind.parents) if kind.parents is not None else None
