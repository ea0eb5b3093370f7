"""A plan as a calendar file (RFC 5545), made so that a new one takes the place of the old one entry by entry.

Days are dates without a time, so that no time zone can shift them. An entry keeps its UID from plan to plan, its
SEQUENCE goes up when anything about it changes, and what a new plan drops stays in the file as cancelled: a program
that honours these finds out what to change. DTSTAMP is the day of the plan that last changed an entry, not the
time of writing, so the same plan over the same file gives the same bytes.
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from uuid import UUID, uuid5

from icalendar import Calendar, Component, Event

from allocator.plan import Plan
from allocator.reports.calendar_entries import Entry, entries
from allocator.reports.tables import clean
from allocator.room import Room

PRODUCER = "-//tank space allocator//calendar of a fish room//EN"
"""By this a calendar file is known to be ours."""

NAMESPACE = UUID("6d0c5a0e-5f2b-4c39-9a6e-2f6b1c7d8e41")
"""Drawn once, at random. Changing it would make every entry in every keeper's calendar a new one."""

DAY = timedelta(days=1)
CONFIRMED, CANCELLED = "CONFIRMED", "CANCELLED"
CONTENT = ("DTSTART", "DTEND", "SUMMARY", "DESCRIPTION", "CATEGORIES", "STATUS", "TRANSP")
"""What a keeper can see of an entry: SEQUENCE goes up when any of it changes."""


class NotOursError(Exception):
    """The text is no calendar that this tool has written, or one of another room."""


@dataclass(frozen=True)
class CalendarFile:
    """The new text, and how many entries are new, changed, cancelled and as they were."""

    text: str
    new: int = 0
    changed: int = 0
    cancelled: int = 0
    same: int = 0


def calendar_file(room: Room, plan: Plan, before: str | None = None, *, care: bool = True) -> CalendarFile:
    """Return a plan as a calendar file that takes the place of an older one.

    Parameters
    ----------
    room
        With the vessels that the plan adds.
    before
        The text of the file that will be replaced; None if there is none.
    care
        With the care of the fish.

    Raises
    ------
    NotOursError
        If the older text is not a calendar of this room, written by this tool.
    """
    old = {} if not before else {str(event["UID"]): event for event in events_before(room, before)}
    revised = datetime.combine(room.today, time(), tzinfo=UTC)
    new = {uid_of(room, entry): _event(entry) for entry in entries(room, plan, care=care)}
    counts = {"new": 0, "changed": 0, "cancelled": 0, "same": 0}
    done: list[Event] = []
    for uid, event in new.items():
        event.add("uid", uid)
        was = old.pop(uid, None)
        if was is not None and _content(was) == _content(event):
            counts["same"] += 1
            done.append(was)
            continue
        counts["new" if was is None else "changed"] += 1
        done.append(_revised(event, was, revised))
    for was in old.values():
        if was.decoded("DTSTART") < room.today or was.get("STATUS") == CANCELLED:
            done.append(was)
            continue
        counts["cancelled"] += 1
        event = was.copy(recursive=True)
        event["STATUS"] = CANCELLED
        done.append(_revised(event, was, revised))
    return CalendarFile(_text(room, done), **counts)


def uid_of(room: Room, entry: Entry) -> str:
    """Return by what an entry is known everywhere: from the room and from what it is about, never from its day."""
    return str(uuid5(NAMESPACE, json.dumps([room.name, *entry.about])))


def events_before(room: Room, text: str) -> list[Event]:
    """Return the entries of an older file.

    Raises
    ------
    NotOursError
        If it cannot be read, or was not written by this tool for this room.
    """
    try:
        found = Calendar.from_ical(text)
    except (ValueError, KeyError, IndexError) as error:
        raise NotOursError("this file is there already and is not a calendar that can be read") from error
    if not isinstance(found, Calendar) or found.get("PRODID") != PRODUCER:
        raise NotOursError("this file is there already and is not a calendar made by this tool")
    if str(found.get("NAME", "")) != clean(room.name):
        raise NotOursError(f"this is the calendar of another room, {found.get('NAME', 'without a name')}")
    events = [part for part in found.subcomponents if isinstance(part, Event)]
    if not all(_is_whole(event) for event in events):
        raise NotOursError("this calendar was changed by hand or by another program")
    return events


def _is_whole(event: Event) -> bool:
    """Tell whether an entry is as ours are: nothing is missing, nothing more is there, and all can be read."""
    if event.errors or event.subcomponents or event.keys() != {*CONTENT, "UID", "DTSTAMP", "SEQUENCE"}:
        return False
    if any(isinstance(value, list) or not _has_params(key, value) for key, value in event.items()):
        return False
    start, stamp = event.decoded("DTSTART"), event.decoded("DTSTAMP")
    return (
        type(start) is date
        and event.decoded("DTEND") == start + DAY
        and isinstance(stamp, datetime)
        and stamp.utcoffset() == timedelta(0)
        and isinstance(event["SEQUENCE"], int)
        and event["SEQUENCE"] >= 0
        and event["STATUS"] in {CONFIRMED, CANCELLED}
    )


def _has_params(key: str, value: object) -> bool:
    """Tell whether a property has the parameters that ours has: dates say that they are dates, and that is all."""
    params = dict(getattr(value, "params", {}))
    return params == ({"VALUE": "DATE"} if key in {"DTSTART", "DTEND"} else {})


def _event(entry: Entry) -> Event:
    event = Event()
    event.add("dtstart", entry.on)
    event.add("dtend", entry.on + DAY)
    event.add("summary", entry.title)
    event.add("description", "\n".join(entry.details))
    event.add("categories", [entry.category])
    event.add("status", CONFIRMED)
    event.add("transp", "TRANSPARENT")
    return event


def _revised(event: Event, was: Event | None, revised: datetime) -> Event:
    """Return an entry with the number and the day of its latest change; later than that of the one before."""
    for key in ("SEQUENCE", "DTSTAMP"):
        event.pop(key, None)
    event.add("sequence", 0 if was is None else int(str(was["SEQUENCE"])) + 1)
    event.add("dtstamp", revised if was is None else max(revised, was.decoded("DTSTAMP")))
    return event


def _content(event: Component) -> tuple[object, ...]:
    return tuple(event[key].to_ical() for key in CONTENT)


def _text(room: Room, events: Iterable[Event]) -> str:
    calendar = Calendar()
    calendar.add("prodid", PRODUCER)
    calendar.add("version", "2.0")
    calendar.add("name", clean(room.name))
    calendar.add("x-wr-calname", clean(room.name))
    for event in sorted(events, key=lambda event: (event.decoded("DTSTART"), str(event["UID"]))):
        calendar.add_component(event)
    text: str = calendar.to_ical().decode("utf-8")
    return text
