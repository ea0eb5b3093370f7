"""What is asked in the forms of the page, in plain words: read, and refused where it cannot be meant."""

from collections.abc import Mapping
from datetime import date
from typing import TypeVar

from allocator.changes import UnchangeableError, with_more, without_brood, without_group, without_vessel
from allocator.questions.coming import coming_brood
from allocator.questions.fit import fit_of
from allocator.questions.held import NotHeldError
from allocator.questions.pair import ways_to_take
from allocator.reading.fields import FIRST_YEAR, LAST_YEAR
from allocator.replies.fit import FitReply
from allocator.reports.tables import clean
from allocator.reports.words import count_of, day_words, in_words
from allocator.room import Brood, CollectedBy, Room
from allocator.served.store import InHand
from allocator.units import NotReadError, read_date

MOST_EGGS = 100_000
MOST_MORE = 12
"""More eggs at once, or more vessels from a form, than this are a slip of the finger (judgement)."""

WAYS = {CollectedBy.PICKING: "picked eggs", CollectedBy.MOP: "a whole mop", CollectedBy.YOUNG: "young"}
KINDS = {"vessel": without_vessel, "brood": without_brood, "group": without_group}
Value = TypeVar("Value")


class NotUnderstoodError(Exception):
    """What was asked cannot be meant; says why in one sentence."""


def _cut(text: str) -> str:
    """Return what was typed, short enough to be read back."""
    most = 40
    return clean(text if len(text) <= most else f"{text[:most]}...")


def day_told(text: str, first: date, what: str) -> date:
    """Return a day that is not before another."""
    try:
        day = read_date(text)
    except NotReadError as error:
        raise NotUnderstoodError(f"{what}: {_cut(text)} is not a day. {error.what}.") from None
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise NotUnderstoodError(f"{what}: the year must be from {FIRST_YEAR} to {LAST_YEAR}.")
    if day < first:
        raise NotUnderstoodError(
            f"{what}: {day_words(day)} is before the plan begins. Give {day_words(first)} or a later day."
        )
    return day


def number_told(text: str, most: int, what: str) -> int:
    """Return a whole number from 1 to `most`."""
    text = text.strip()
    if not (text.isascii() and text.isdigit() and len(text) <= len(str(most)) and 1 <= int(text) <= most):
        raise NotUnderstoodError(f"{what}: {_cut(text)} is not a whole number from 1 to {most}.")
    return int(text)


def brood_told(room: Room, asked: Mapping[str, str]) -> Brood:
    """Return the brood that a form asks about; what is left empty is as with the last of its line."""
    line = asked.get("line", "")
    if line not in room.line_named:
        raise NotUnderstoodError("Of which line? Choose one.")
    eggs = number_told(asked["eggs"], MOST_EGGS, "Eggs") if asked.get("eggs", "").strip() else None
    on = day_told(asked["on"], room.today, "Day of collection") if asked.get("on", "").strip() else None
    way = asked.get("by", "")
    by = CollectedBy(way) if way in set(CollectedBy) else None
    possible = ways_to_take(room, line)
    if by is not None and by not in possible:
        ways = " or ".join(WAYS[one] for one in possible)
        raise NotUnderstoodError(f"How taken: {WAYS[by]} is not for {clean(line)}, only {ways}.")
    brood = coming_brood(room, line, on=on, eggs=eggs, by=by)
    if brood is None:
        raise NotUnderstoodError(f"How many eggs? There is no brood of {clean(line)} to go by.")
    for span in room.keeper.away:
        if span.holds(brood.collected):
            back = f" Give another day, such as {day_words(span.end)}." if span.end else ""
            raise NotUnderstoodError(
                f"You are away on {day_words(brood.collected)}, and nothing is collected then.{back}"
            )
    if room.line_named[line].rules.guards_young and (
        brood.by is not CollectedBy.YOUNG or brood.parents is None
    ):
        raise NotUnderstoodError(
            f"The young of {clean(line)} begin with their parents, so it matters whose they are. Plan a collection of "
            "the breeding group in the room file instead."
        )
    return brood


def fit_told(there: InHand, asked: Mapping[str, str]) -> FitReply:
    """Return where one more brood would live beside the plan in hand."""
    try:
        return fit_of(there.room, there.plan, brood_told(there.room, asked))
    except NotHeldError as error:
        names = ", ".join(map(clean, error.broods))
        raise NotUnderstoodError(
            f"The plan tells of {names} in a way that cannot be held still. Plan anew first."
        ) from None


def other_room(room: Room, asked: Mapping[str, str]) -> tuple[Room, str]:
    """Return the room with what a form changes, and the change in words."""
    other, words = room, []
    try:
        kind, _, name = asked.get("without", "").partition(" ")
        if name and kind in KINDS:
            other = KINDS[kind](other, name)
            words.append(f"without {clean(name)}")
        if more := asked.get("more", ""):
            number = number_told(asked.get("number") or "1", MOST_MORE, "How many more")
            other = with_more(other, more, number)
            words.insert(0, f"{in_words(number)} more {clean(more)}")
    except UnchangeableError as error:
        hint = f". {error.hint[:1].upper()}{error.hint[1:]}" if error.hint else ""
        raise NotUnderstoodError(f"That cannot be: {error.what}{hint}.") from None
    if not words:
        raise NotUnderstoodError(
            "What shall be different? Choose a vessel to add, or something to leave out."
        )
    text = ", ".join(words)
    return other, f"{text[:1].upper()}{text[1:]}"


def choices(room: Room) -> dict[str, list[tuple[str, str]]]:
    """Return what the forms have to choose from: values, and what they are called."""
    kinds = dict.fromkeys(vessel.declared_as for vessel in room.vessels)
    lines = [line.name for line in room.lines]
    return {
        "lines": [(name, clean(name)) for name in lines],
        "ways": [
            ("", "as with the last brood of the line"),
            *((way.value, name) for way, name in WAYS.items()),
        ],
        "more": [("", "none"), *((kind, clean(kind)) for kind in kinds)],
        "vessels": [(f"vessel {vessel.name}", clean(vessel.name)) for vessel in room.vessels],
        "groups": [(f"group {group.name}", clean(group.name)) for group in room.groups],
        "broods": [
            (f"brood {brood.name}", f"{clean(brood.name)} ({count_of(brood.eggs, 'egg')})")
            if brood.planned and brood.eggs
            else (f"brood {brood.name}", clean(brood.name))
            for brood in room.broods
        ],
    }
