"""Changes to a room as they are asked for on the command line, in plain words."""

import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

from allocator.console import UserError

if TYPE_CHECKING:
    from allocator.room import Room

NUMBERS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
MOST_MORE = 100
"""More vessels at once than this are a slip of the finger (judgement)."""

_MORE = re.compile(r"(?P<number>\w+) (?:more )?(?P<name>.+)", re.IGNORECASE)
_SOLD = re.compile(r"(?:(?P<line>.*?\S)\s+)??(?P<length>[\d.]+\s*[a-z\"]+)", re.IGNORECASE)


def with_more_told(room: "Room", texts: Iterable[str]) -> "Room":
    """Return the room with what `--with` asks for: `one more long`, `two more tens`, `2 boxes`."""
    from allocator.changes import UnchangeableError, with_more  # noqa: PLC0415 - `--help` needs none of it

    for text in texts:
        number, name = _number_and_name(text)
        kinds = {vessel.declared_as for vessel in room.vessels}
        singular = (name, name.removesuffix("s"), name.removesuffix("es"))
        try:
            room = with_more(room, next((kind for kind in singular if kind in kinds), name), number)
        except UnchangeableError as error:
            raise UserError(f"--with {text!r}: {error.what}", error.hint) from None
    return room


def _number_and_name(text: str) -> tuple[int, str]:
    hint = 'write a number and the name of a vessel, such as --with "one more long"'
    match = _MORE.fullmatch(" ".join(text.split()))
    if match is None:
        raise UserError(f"--with {text!r}: this is not understood", hint)
    word = match["number"].lower()
    if word in NUMBERS:
        number = NUMBERS.index(word) + 1
    elif word in ("a", "an", "another"):
        number = 1
    elif word.isascii() and word.isdigit():
        number = int(word)
    else:
        raise UserError(f"--with {text!r}: {match['number']!r} is not a number", hint)
    if not 1 <= number <= MOST_MORE:
        raise UserError(f"--with {text!r}: must be from 1 to {MOST_MORE} (got {number})")
    return number, match["name"]


def without_told(room: "Room", names: Iterable[str]) -> "Room":
    """Return the room without what `--without` names: breeding groups first, since they live in vessels."""
    from allocator.changes import (  # noqa: PLC0415
        UnchangeableError,
        without_brood,
        without_group,
        without_vessel,
    )
    from allocator.problems import nearest  # noqa: PLC0415

    parts = (
        ("group", set(room.group_named), without_group),
        ("brood", set(room.brood_named), without_brood),
        ("vessel", set(room.vessel_named), without_vessel),
    )
    asked = [" ".join(name.split()) for name in names]
    for name in asked:
        if not any(name in known for _, known, _ in parts):
            everything = [*room.vessel_named, *room.brood_named, *room.group_named]
            copies = [vessel.name for vessel in room.vessels if vessel.declared_as == name]
            hint = f"say which one, such as {copies[0]!r}" if copies else nearest(name, everything)
            raise UserError(
                f"--without {name!r}: there is no vessel, brood or breeding group of this name", hint
            )
    for _, known, leave_out in parts:
        for name in asked:
            if name in known:
                try:
                    room = leave_out(room, name) if _still_there(room, name) else room
                except UnchangeableError as error:
                    hint = error.hint and error.hint.replace("leave out", "add --without")
                    raise UserError(f"--without {name!r}: {error.what}", hint) from None
    return room


def _still_there(room: "Room", name: str) -> bool:
    """Tell whether something is still in a room: a brood can have gone with its breeding group."""
    return name in room.group_named or name in room.brood_named or name in room.vessel_named


def sold_at_told(room: "Room", texts: Iterable[str]) -> "Room":
    """Return the room with fish sold as `--sell-at` asks: `45mm`, or `lake 45mm` for one line."""
    from allocator.changes import UnchangeableError, sold_at  # noqa: PLC0415
    from allocator.units import NotReadError, read_length_mm  # noqa: PLC0415

    for text in texts:
        match = _SOLD.fullmatch(text.strip())
        try:
            mm = read_length_mm(match["length"] if match else text, of_fish=True)
            room = sold_at(room, mm, match["line"] if match else None)
        except (NotReadError, UnchangeableError) as error:
            raise UserError(f"--sell-at {text!r}: {error.what}", error.hint) from None
    return room
