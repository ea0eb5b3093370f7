"""A room with one thing changed, for questions that begin with "what if": pure functions, Room to Room.

The room that is given stays as it is. What would leave a room at odds with itself is refused with
`UnchangeableError`, in plain words.
"""

from collections.abc import Iterable
from datetime import date, timedelta

from allocator.problems import nearest
from allocator.room import BreedingGroup, Brood, Count, Home, Line, Pin, Room, Span, Vessel, new_vessel_name
from allocator.rules import Evidence, Figure, RulePack

DAY = timedelta(days=1)
WHAT_IF = "asked what if"
"""The source of a figure that a question changes; its evidence is the keeper's own."""


class UnchangeableError(ValueError):
    """A change that would leave the room at odds with itself: what is in the way, and what would help."""

    def __init__(self, what: str, hint: str | None = None) -> None:
        super().__init__(what)
        self.what = what
        self.hint = hint


# -- vessels ---------------------------------------------------------------------------------------------


def with_more(room: Room, like: str, copies: int) -> Room:
    """Return the room with so many more vessels like those declared under a name, in it from today on.

    They are called as the next copies would be: `ten 6` after `ten 5`. Their filters are new, and they stand in no
    rack yet.

    Raises
    ------
    UnchangeableError
        If no vessel is declared under the name.
    """
    declared = list(dict.fromkeys(vessel.declared_as for vessel in room.vessels))
    if like not in declared:
        raise UnchangeableError(f"there are no vessels called {like!r}", nearest(like, declared))
    names = iter(names_of_more(room, like, copies))
    called = {new_vessel_name(like, number): next(names) for number in range(1, copies + 1)}
    there = len(room.vessels)
    vessels = room.with_added({like: copies}).vessels
    new = tuple(v.model_copy(update={"name": called[v.name]}) for v in vessels[there:])
    return room.model_copy(update={"vessels": vessels[:there] + new})


def names_of_more(room: Room, like: str, copies: int) -> tuple[str, ...]:
    """Return what so many more vessels of a kind are called: the next numbers that are free."""
    taken = set(room.vessel_named)
    there = sum(vessel.declared_as == like for vessel in room.vessels)
    found: list[str] = []
    number = there
    while len(found) < copies:
        number += 1
        if (name := f"{like} {number}") not in taken:
            found.append(name)
    return tuple(found)


def without_vessel(room: Room, name: str) -> Room:
    """Return the room with a vessel gone from today on, and without the pins that name it.

    If fish live there today it goes on the first day on which they can be moved.

    Raises
    ------
    UnchangeableError
        If there is no such vessel, or a breeding group lives in it.
    """
    known_vessel(room, name)
    gone = Span(start=lived_in_until(room, name) or room.today)
    for group in room.groups:
        if group.vessel == name and group.lives_there.meets(gone):
            raise UnchangeableError(f"{group.name} lives in {name}", f"leave out {group.name!r} first")
    there = Span(end=gone.start)
    vessels = tuple(
        vessel.model_copy(update={"available": there}) if vessel.name == name else vessel
        for vessel in room.vessels
    )
    pins = tuple(pin for pin in room.pins if pin.vessel != name)
    return room.model_copy(update={"vessels": vessels, "pins": pins})


def lived_in_until(room: Room, vessel: str) -> date | None:
    """Return the first day on which fish that are in a vessel today can be moved; None if there are none in it."""
    if not any(home.vessel == vessel for brood in room.broods for home in brood.homes):
        return None
    return room.next_move_day(room.today + DAY)


def with_only_those_there(room: Room) -> Room:
    """Return the room with nothing that could be added."""
    return room.model_copy(update={"could_add": ()})


# -- broods and breeding groups --------------------------------------------------------------------------


def with_broods(room: Room, broods: Iterable[Brood]) -> Room:
    """Return the room with more broods.

    Raises
    ------
    UnchangeableError
        If a name is taken, or a line is not in the room.
    """
    more = tuple(broods)
    names = [brood.name for brood in (*room.broods, *more)]
    for brood in more:
        if names.count(brood.name) > 1:
            raise UnchangeableError(f"two broods would be named {brood.name!r}", "give another name")
        known_line(room, brood.line)
    return room.model_copy(update={"broods": room.broods + more})


def with_group(room: Room, group: BreedingGroup) -> Room:
    """Return the room with one more breeding group. Its planned collections are broods: see `with_broods`.

    Raises
    ------
    UnchangeableError
        If its name is taken, its line or vessel is not in the room, or another group lives in the vessel then.
    """
    if group.name in room.group_named:
        raise UnchangeableError(f"there is a breeding group {group.name!r} already", "give another name")
    known_line(room, group.line)
    known_vessel(room, group.vessel)
    for other in room.groups:
        if other.vessel == group.vessel and other.lives_there.meets(group.lives_there):
            raise UnchangeableError(
                f"{other.name} lives in {group.vessel}", "give each group a vessel of its own"
            )
    return room.model_copy(update={"groups": (*room.groups, group)})


def without_brood(room: Room, name: str) -> Room:
    """Return the room without a brood (or a planned collection) and its pins.

    Raises
    ------
    UnchangeableError
        If there is no such brood.
    """
    known_brood(room, name)
    return only_broods(room, [brood.name for brood in room.broods if brood.name != name])


def only_broods(room: Room, names: Iterable[str]) -> Room:
    """Return the room with these broods only, in the order of the room, and their pins."""
    kept = set(names)
    return room.model_copy(
        update={
            "broods": tuple(brood for brood in room.broods if brood.name in kept),
            "pins": tuple(pin for pin in room.pins if pin.brood in kept),
            "orders": tuple(
                order.model_copy(update={"broods": left})
                for order in room.orders
                if (left := tuple(brood for brood in order.broods if brood in kept))
            ),
        }
    )


def with_all_taken(room: Room) -> Room:
    """Return the room with every collection taken, also those that are taken only if they fit."""
    broods = tuple(brood.model_copy(update={"optional": False}) for brood in room.broods)
    return room.model_copy(update={"broods": broods})


def without_group(room: Room, name: str) -> Room:
    """Return the room without a breeding group and its planned collections. Its vessel stays.

    Raises
    ------
    UnchangeableError
        If there is no such group, or young of today are still with it in its vessel.
    """
    if name not in room.group_named:
        raise UnchangeableError(f"there is no breeding group {name!r}", nearest(name, list(room.group_named)))
    group = room.group_named[name]
    guarded = [
        brood.name
        for brood in room.broods
        if brood.line == group.line
        and room.line_named[brood.line].rules.guards_young
        and any(home.vessel == group.vessel for home in brood.homes)
    ]
    if guarded:
        raise UnchangeableError(
            f"{guarded[0]} is with {name} in {group.vessel}", f"leave out {guarded[0]!r} first"
        )
    gone = {brood.name for brood in room.broods if brood.planned and brood.parents == name}
    smaller = only_broods(room, [brood.name for brood in room.broods if brood.name not in gone])
    return smaller.model_copy(update={"groups": tuple(g for g in room.groups if g.name != name)})


def with_fish_kept(room: Room, name: str, fish: int) -> Room:
    """Return the room with so many eggs or fish kept of a brood, from today or from its collection on.

    Homes of a brood in being keep their shares of it, as whole fish.

    Raises
    ------
    UnchangeableError
        If there is no such brood, or no fish would be kept.
    """
    brood = known_brood(room, name)
    if fish < 1:
        raise UnchangeableError(f"no fish of {name} would be kept", "leave the brood out instead")
    if brood.planned:
        return _with_brood(room, brood.model_copy(update={"eggs": fish}))
    told = [home.fish for home in brood.homes if home.fish is not None]
    homes = tuple(
        Home(
            vessel=home.vessel,
            fish=None if home.fish is None else round(home.fish * fish / max(sum(told), 1)),
        )
        if len(told) == len(brood.homes)
        else Home(vessel=home.vessel)
        for home in brood.homes
    )
    latest = max((c.mm for c in brood.counts if c.on == room.today and c.mm is not None), default=None)
    counts = (*(c for c in brood.counts if c.on != room.today), Count(on=room.today, fish=fish, mm=latest))
    return _with_brood(room, brood.model_copy(update={"homes": homes, "counts": counts}))


def with_collected_later(room: Room, name: str, days: int) -> Room:
    """Return the room with a planned collection so many days later; its name stays.

    Raises
    ------
    UnchangeableError
        If there is no such brood, or it is in being already.
    """
    brood = known_brood(room, name)
    if not brood.planned:
        raise UnchangeableError(
            f"{name} has been collected already", "only planned collections can be put off"
        )
    return _with_brood(room, brood.model_copy(update={"collected": brood.collected + timedelta(days=days)}))


# -- rules and the keeper --------------------------------------------------------------------------------


def sold_at(room: Room, mm: float, line: str | None = None) -> Room:
    """Return the room with fish sold at a length: those of one line, or of all lines that are sold longer now.

    Raises
    ------
    UnchangeableError
        If there is no such line, or none that is sold longer; or if its fish never reach the length, or a stage they
        must go through begins later.
    """
    if line is not None:
        known_line(room, line)
        sooner = [line]
    else:
        sooner = [one.name for one in room.lines if one.rules.sale_mm.value > mm]
    if not sooner:
        longest = max(one.rules.sale_mm.value for one in room.lines)
        raise UnchangeableError(
            f"no fish are sold longer than {mm:g} mm", f"give less than {longest:g} mm, or name a line"
        )
    lines = tuple(_sold_at(one, mm, room) if one.name in sooner else one for one in room.lines)
    return room.model_copy(update={"lines": lines})


def _sold_at(line: Line, mm: float, room: Room) -> Line:
    rules = line.rules
    adult = rules.adult_mm.at(room.keeper.growth)
    if mm >= adult:
        raise UnchangeableError(
            f"fish of {line.name} never reach {mm:g} mm on the {room.keeper.growth.value} curve",
            f"give less than {adult:g} mm",
        )
    least, stage = _least_length(rules)
    if mm <= least:
        raise UnchangeableError(
            f"fish of {line.name} would be sold at {mm:g} mm, and go into their {stage} stage at {least:g} mm",
            f"give more than {least:g} mm",
        )
    figure = Figure(value=mm, unit="mm", evidence=Evidence.KEEPER, source=WHAT_IF, origin=WHAT_IF)
    return line.model_copy(update={"rules": rules.model_copy(update={"sale_mm": figure})})


def _least_length(rules: RulePack) -> tuple[float, str]:
    """Return the length that fish must pass to have been in every stage, and the stage that asks for it."""
    asked = [(rules.hatch_mm.value, rules.stages[0].name)]
    asked += [(s.from_mm.value, s.name) for s in rules.stages if s.from_mm is not None and not s.may_skip]
    return max(asked)


def with_move_days(room: Room, weekdays: Iterable[int]) -> Room:
    """Return the room with fish moved on these weekdays (Monday is 0).

    Raises
    ------
    UnchangeableError
        If there is none.
    """
    days = tuple(sorted(set(weekdays)))
    if not days:
        raise UnchangeableError("there would be no day on which fish are moved", "give at least one weekday")
    return room.model_copy(update={"keeper": room.keeper.model_copy(update={"move_days": days})})


def with_most_moves(room: Room, most: int | None) -> Room:
    """Return the room with so many moves a day at most; None for any number."""
    return room.model_copy(update={"keeper": room.keeper.model_copy(update={"most_moves_a_day": most})})


def with_away(room: Room, away: Iterable[Span]) -> Room:
    """Return the room with the keeper away on these days, and on no others."""
    return room.model_copy(update={"keeper": room.keeper.model_copy(update={"away": tuple(away)})})


def with_pins(room: Room, pins: Iterable[Pin]) -> Room:
    """Return the room with these pins, and no others."""
    return room.model_copy(update={"pins": tuple(pins)})


# -- names -----------------------------------------------------------------------------------------------


def _with_brood(room: Room, changed: Brood) -> Room:
    broods = tuple(changed if brood.name == changed.name else brood for brood in room.broods)
    return room.model_copy(update={"broods": broods})


def known_brood(room: Room, name: str) -> Brood:
    """Return a brood by name, or refuse a name that is not in the room."""
    if name not in room.brood_named:
        raise UnchangeableError(f"there is no brood {name!r}", nearest(name, list(room.brood_named)))
    return room.brood_named[name]


def known_vessel(room: Room, name: str) -> Vessel:
    """Return a vessel by name, or refuse a name that is not in the room."""
    if name not in room.vessel_named:
        copies = [vessel.name for vessel in room.vessels if vessel.declared_as == name]
        hint = f"say which one, such as {copies[0]!r}" if copies else nearest(name, list(room.vessel_named))
        raise UnchangeableError(f"there is no vessel {name!r}", hint)
    return room.vessel_named[name]


def known_line(room: Room, name: str) -> None:
    """Refuse the name of a line that is not in the room."""
    if name not in room.line_named:
        raise UnchangeableError(f"there is no line {name!r}", nearest(name, list(room.line_named)))
