"""What the fates of its broods, and the days gone by, change in a room file."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from allocator.changes import names_of_more
from allocator.frozen import Frozen
from allocator.onward.brood_edits import changed_brood, farewell, new_brood
from allocator.onward.edits import Add, Drop, Edit, Put
from allocator.onward.fates import Became, Fate, Part
from allocator.onward.told import Told
from allocator.plan import Plan
from allocator.reading.gather import Parts
from allocator.reading.shape import RawAddable, RawBrood, RawCollect, RawGroup, RawOrder, RawPin, RawVessel
from allocator.reading.source import Loc, Plain
from allocator.room import Room, new_vessel_name

DAY = timedelta(days=1)
OF_A_COMING_BROOD = ("take", "priority")


class Bought(Frozen):
    """A vessel that the plan adds and that is in use by then: how the plan calls it, and how the file does."""

    planned_as: str
    name: str
    like: str
    since: date


class Gathering(Frozen):
    """What is no longer in the file, or is now another day, in the order of the file."""

    group: str
    label: str | None
    next_on: date | None


class Onward(Frozen):
    """A room file brought forward, before it is written.

    Attributes
    ----------
    today
        The day on which the file was as it is.
    today_is_written, has_a_day
        Whether the file gets another day, and whether it has one so far.
    fates
        One for each brood of the room, those still to come too.
    bought
        Vessels that the plan adds and that are in use by then.
    collections
        Collections whose next day is another than the file says; None for one that is over.
    away_over, pins_over
        How many times away, and pins, are past.
    orders_over, orders_fewer
        Orders of which no brood is there any more, and those of which some is not.
    """

    today: date
    day: date
    today_is_written: bool
    has_a_day: bool
    fates: tuple[Fate, ...]
    bought: tuple[Bought, ...] = ()
    collections: tuple[Gathering, ...] = ()
    away_over: tuple[tuple[date, date], ...] = ()
    pins_over: tuple[str, ...] = ()
    orders_over: tuple[str, ...] = ()
    orders_fewer: tuple[str, ...] = ()
    told: Told = Told()

    @property
    def is_short(self) -> bool:
        """Whether a brood has no home by then."""
        return any(fate.became is Became.NO_HOME for fate in self.fates)


def bought_by(room: Room, plan: Plan, day: date) -> tuple[Bought, ...]:
    """Return the vessels that a plan adds and that fish live in before a day, each by the next name that is free."""
    found: list[Bought] = []
    for row in plan.added:
        first: dict[str, date] = {}
        for stay in plan.stays:
            names = {new_vessel_name(row.like, number + 1) for number in range(row.copies)}
            if stay.vessel in names and stay.from_ < day:
                first[stay.vessel] = min(stay.from_, first.get(stay.vessel, stay.from_))
        names_free = names_of_more(room, row.like, len(first))
        found += [
            Bought(planned_as=name, name=free, like=row.like, since=first[name])
            for name, free in zip(sorted(first), names_free, strict=True)
        ]
    return tuple(found)


def renamed(fates: Sequence[Fate], bought: Sequence[Bought]) -> tuple[Fate, ...]:
    """Return fates in which added vessels are called as in the new file."""
    names = {one.planned_as: one.name for one in bought}

    def part(old: Part) -> Part:
        return old.model_copy(update={"vessel": names.get(old.vessel, old.vessel)})

    return tuple(fate.model_copy(update={"parts": tuple(map(part, fate.parts))}) for fate in fates)


def edits_of(parts: Parts, onward: Onward, told: Told) -> list[Edit]:
    """Return what is changed in a room file: values first, then what goes, last to first, then what is new."""
    data = parts.source.data
    listed = {part.raw.name: part.loc for part in parts.each(RawBrood)}
    puts: list[Edit] = []
    drops: list[Drop] = []
    adds: list[Edit] = []
    for fate in onward.fates:
        if fate.became is Became.STILL_TO_COME:
            continue
        if fate.name not in listed:
            if fate.is_there:
                adds.append(new_brood(fate, told, onward.day))
        elif fate.is_there:
            item = _at(data, listed[fate.name])
            changed = list(changed_brood(listed[fate.name], item, fate, told, onward.day))
            puts += [edit for edit in changed if not isinstance(edit, Drop)]
            drops += [edit for edit in changed if isinstance(edit, Drop)]
            drops += [
                Drop((*listed[fate.name], key))
                for key in OF_A_COMING_BROOD
                if fate.brood.planned and key in item
            ]
        else:
            drops.append(Drop(listed[fate.name], farewell(fate)))
    for group in parts.each(RawGroup):
        later, ended = _collections(data, group.loc, group.raw, onward.day)
        puts += later
        drops += ended
    away = parts.keeper.away if parts.keeper is not None else []
    over = [place for place, span in enumerate(away) if span.until <= onward.day]
    drops += (
        [Drop(("keeper", "away"))]
        if over and len(over) == len(away)
        else [Drop(("keeper", "away", n)) for n in over]
    )
    drops += [Drop(part.loc) for part in parts.each(RawPin) if is_over(part.raw, onward.fates, onward.day)]
    ordered, done = _orders(parts, onward.fates)
    puts += ordered
    drops += done
    bought, fewer, sold_out = _bought(parts, onward.bought)
    puts += fewer
    drops += sold_out
    if onward.today_is_written:
        puts.insert(0, Put(("today",), onward.day.isoformat(), after=("gallon", "fish_room")))
    return [*puts, *sorted(drops, key=_place, reverse=True), *bought, *adds]


def _place(drop: Drop) -> tuple[tuple[bool, int, str], ...]:
    """Return what puts places in order: of one list by number."""
    return tuple((isinstance(s, str), s if isinstance(s, int) else 0, str(s)) for s in drop.loc)


def _at(data: dict[str, Plain], loc: Loc) -> Any:  # noqa: ANN401 - whatever stands there
    part: Any = data
    for step in loc:
        part = part[step]
    return part


# -- breeding groups, pins, orders, vessels --------------------------------------------------------------------------


def next_on(collect: RawCollect, day: date) -> date | None:
    """Return the first day on or after another on which a collection falls; None if it is over."""
    at = collect.from_
    if at >= day:
        return at
    if collect.every is None or collect.until is None:
        return None
    at += -(-(day - at).days // collect.every) * timedelta(days=collect.every)
    return at if at <= collect.until else None


def _collections(data: dict[str, Plain], loc: Loc, raw: RawGroup, day: date) -> tuple[list[Put], list[Drop]]:
    written = _at(data, loc).get("collect")
    puts: list[Put] = []
    over: list[Loc] = []
    for number, collect in enumerate(raw.collect):
        at: Loc = (*loc, "collect", number) if isinstance(written, list) else (*loc, "collect")
        following = next_on(collect, day)
        if following is None:
            over.append(at)
        elif following != collect.from_:
            puts.append(Put((*at, "from"), following.isoformat()))
    if over and len(over) == len(raw.collect):
        return puts, [Drop((*loc, "collect"))]
    return puts, [Drop(at) for at in over]


def collections_of(parts: Parts, day: date) -> tuple[Gathering, ...]:
    """Return the collections whose next day is another than the file says."""
    return tuple(
        Gathering(group=group.raw.name, label=collect.label, next_on=next_on(collect, day))
        for group in parts.each(RawGroup)
        for collect in group.raw.collect
        if next_on(collect, day) != collect.from_
    )


def is_over(pin: RawPin, fates: Sequence[Fate], day: date) -> bool:
    """Tell whether a pin is past on a day, or its brood is no longer there."""
    end = pin.until if pin.move_on is None else pin.move_on + DAY
    return (end is not None and end <= day) or pin.brood not in _there(fates)


def _there(fates: Sequence[Fate]) -> set[str]:
    """Return who is in the new file, by its name."""
    return {fate.name for fate in fates if fate.is_there or fate.became is Became.STILL_TO_COME}


def left_of(order: RawOrder, fates: Sequence[Fate]) -> list[str]:
    """Return the broods of an order that are in the new file."""
    there = _there(fates)
    return [name for name in order.from_ if name in there]


def _orders(parts: Parts, fates: Sequence[Fate]) -> tuple[list[Put], list[Drop]]:
    """Return orders from fewer broods than before, and those from none."""
    puts: list[Put] = []
    drops: list[Drop] = []
    for part in parts.each(RawOrder):
        left = left_of(part.raw, fates)
        if not left:
            drops.append(Drop(part.loc))
        elif len(left) < len(part.raw.from_):
            puts.append(Put((*part.loc, "from"), list(left)))
    return puts, drops


def _bought(parts: Parts, bought: Sequence[Bought]) -> tuple[list[Edit], list[Put], list[Drop]]:
    """Return the new vessels, and what is left that could be added."""
    models = {part.raw.name: _at(parts.source.data, part.loc) for part in parts.each(RawVessel)}
    new: list[Edit] = []
    for one in bought:
        kept = {key: value for key, value in models[one.like].items() if key not in NOT_OF_A_NEW_ONE}
        item = kept | {"name": one.name}
        found = item.get("filter")
        if found is not None and found != "none":
            whole = found if isinstance(found, dict) else {"kind": found}
            item["filter"] = whole | {"since": one.since.isoformat()}
        new.append(Add(("vessels",), item))
    puts: list[Put] = []
    drops: list[Drop] = []
    for part in parts.each(RawAddable):
        used = sum(one.like == part.raw.like for one in bought)
        if used and used < part.raw.most:
            puts.append(Put((*part.loc, "most"), part.raw.most - used))
        elif used:
            drops.append(Drop(part.loc))
    return new, puts, drops


NOT_OF_A_NEW_ONE = ("copies", "except", "place", "available")
"""What is said of the vessels that are there, and not of one that was bought later."""
