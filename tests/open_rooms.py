"""Tiny rooms in which some collections are taken only if they fit, and which of them can be, by trying every choice."""

from collections.abc import Iterator
from itertools import combinations
from random import Random

from brute_force import best_of
from tiny_rooms import tiny_room

from allocator.room import Brood, Room


def open_room(seed: int, *, most: int = 4) -> Room:
    """Return a tiny room with some of its planned broods made optional, at one or two priorities."""
    room = tiny_room(seed, most=most)
    random = Random(seed + 1)  # noqa: S311 - made-up rooms, no secrets
    highest = random.choice((0, 1))

    def opened(brood: Brood) -> Brood:
        if not brood.planned or random.random() < 0.3:
            return brood
        return brood.model_copy(update={"optional": True, "priority": random.randint(0, highest)})

    return room.model_copy(update={"broods": tuple(opened(brood) for brood in room.broods)})


def optional_of(room: Room) -> list[Brood]:
    """Return the broods that may be left out."""
    return [brood for brood in room.broods if brood.optional]


def with_only(room: Room, names: set[str]) -> Room:
    """Return the room in which of the optional broods just some are to be raised, and must be."""
    kept = tuple(
        brood.model_copy(update={"optional": False})
        for brood in room.broods
        if not brood.optional or brood.name in names
    )
    known = {brood.name for brood in kept}
    return room.model_copy(
        update={"broods": kept, "pins": tuple(pin for pin in room.pins if pin.brood in known)}
    )


def value_of(room: Room, names: set[str]) -> tuple[tuple[int, int], ...]:
    """Return what a choice is worth, more is better: for each priority how many, and of as many the earlier ones."""
    values = []
    for priority in sorted({brood.priority for brood in optional_of(room)}, reverse=True):
        mine = sorted((b for b in optional_of(room) if b.priority == priority), key=lambda b: b.collected)
        places = [place for place, brood in enumerate(mine) if brood.name in names]
        values.append((len(places), -sum(places)))
    return tuple(values)


def choices(room: Room) -> Iterator[set[str]]:
    """Yield every choice of optional broods."""
    names = [brood.name for brood in optional_of(room)]
    for size in range(len(names) + 1):
        yield from (set(some) for some in combinations(names, size))


def best_choice(room: Room) -> tuple[tuple[int, int], ...] | None:
    """Return the worth of the best choice that can be housed with the vessels there are; None where none can."""
    worth = [
        value_of(room, names)
        for names in choices(room)
        if best_of(with_only(room, names), adding=False, homeless=False) is not None
    ]
    return max(worth, default=None)
