"""A room file brought forward to a day: what is to be told of it, and what is to be changed in the file."""

from collections.abc import Iterator, Sequence
from datetime import date

from allocator.onward.edits import Edit
from allocator.onward.fates import fates_of, wrong_in
from allocator.onward.room_edits import (
    Onward,
    bought_by,
    collections_of,
    edits_of,
    is_over,
    left_of,
    renamed,
)
from allocator.onward.told import NotPossibleError, Told, refuse
from allocator.plan import Plan
from allocator.problems import nearest
from allocator.reading.gather import Parts
from allocator.reading.shape import RawOrder, RawPin
from allocator.room import Room


def carried(
    parts: Parts, room: Room, plan: Plan, day: date, told: Told, clock: date
) -> tuple[Onward, list[Edit]]:
    """
    Return what becomes of a room until a day, and what that changes in its file.

    Parameters
    ----------
    parts
        Of the room file.
    room
        The same as a room, on its own day.
    plan
        A plan that was found to be one of this room.
    day
        The day to bring the room to, not before the room's own.
    told
        What differs from the plan.
    clock
        The day on the clock: a file without a day stays so if it is brought to that day.

    Raises
    ------
    NotPossibleError
        If what is told cannot be.
    """
    bought = bought_by(room, plan, day)
    refuse((*_wrong_vessels(room, told, [one.name for one in bought]), *wrong_in(room, told)))
    fates = renamed(fates_of(room, plan, day, told), bought)
    orders = [part.raw for part in parts.each(RawOrder)]
    away = parts.keeper.away if parts.keeper is not None else []
    onward = Onward(
        today=room.today,
        day=day,
        today_is_written=day != parts.today if parts.today is not None else day != clock,
        has_a_day=parts.today is not None,
        fates=fates,
        bought=bought,
        collections=collections_of(parts, day),
        away_over=tuple((span.from_, span.until) for span in away if span.until <= day),
        told=told,
        pins_over=tuple(part.raw.brood for part in parts.each(RawPin) if is_over(part.raw, fates, day)),
        orders_over=tuple(one.name for one in orders if not left_of(one, fates)),
        orders_fewer=tuple(one.name for one in orders if 0 < len(left_of(one, fates)) < len(one.from_)),
    )
    return onward, edits_of(parts, onward, told)


def _wrong_vessels(room: Room, told: Told, more: Sequence[str]) -> Iterator[NotPossibleError]:
    """Yield the vessels that are told and are not there; `more` are there too."""
    known = [*room.vessel_named, *more]
    for name, vessel in told.homes.items():
        if vessel not in known:
            copies = [one.name for one in room.vessels if one.declared_as == vessel]
            hint = f"say which one, such as {copies[0]!r}" if copies else nearest(vessel, known)
            yield NotPossibleError(f"{name}: there is no vessel {vessel!r}", hint)
