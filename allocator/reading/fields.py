"""The kinds of value in a room file, each read strictly, with what it looks like in the JSON Schema."""

import math
import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from enum import Enum
from typing import TypeVar

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from allocator import units
from allocator.problems import nearest
from allocator.reading.source import LONGEST_NUMBER, WrittenFloat, WrittenInt
from allocator.rules import FlowSetting
from allocator.units import NotReadError

E = TypeVar("E", bound=Enum)

LONGEST_NAME = 80
LONGEST_TEXT = 500
MOST_DAYS = 366
FIRST_YEAR, LAST_YEAR = 2000, 2199

_AMOUNT = re.compile(r"(?P<number>[-+]?\d+(?:[.,]\d{1,2})?)\s?(?P<unit>\D*)")
_UNIT_WORDS = {
    "percent": ("", "%", "percent"),
    "degrees C": ("", "c", "°c", "degrees c"),
    "g a day": ("", "g", "g a day"),
}
_UNSEEN = ("Cc", "Cf", "Cs", "Zs", "Zl", "Zp")
_BREAKING = ("Cc", "Cs", "Zl", "Zp")
_TURNING = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
# They turn the direction of what is printed after them (Unicode's property Bidi_Control).


class WrongValueError(NotReadError):
    """A value of the wrong kind. `found` is shown instead of the value itself where that says more."""

    def __init__(self, what: str, *, found: str | None = None, hint: str | None = None) -> None:
        super().__init__(what, hint)
        self.found = found


@dataclass(frozen=True)
class Reads:
    """How a value is read, and what an editor may know of it. It replaces pydantic's own reading."""

    read: Callable[[object], object]
    schema: dict[str, object] = field(hash=False)

    def __get_pydantic_core_schema__(self, _source: object, _handler: GetCoreSchemaHandler) -> CoreSchema:
        """Read with our own function."""
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, _schema: CoreSchema, _handler: GetJsonSchemaHandler
    ) -> dict[str, object]:
        """Return what editors complete from."""
        return dict(self.schema)


def read_name(value: object) -> str:
    """Return a name exactly as it was written (in Unicode's composed form), without spaces around it."""
    return _words(value, LONGEST_NAME)


def _words(value: object, longest: int) -> str:
    if isinstance(value, WrittenInt | WrittenFloat):
        value = value.written
    if not isinstance(value, str):
        hint = "write one, without brackets" if isinstance(value, list) else "write it in quotes"
        raise WrongValueError("must be text", hint=hint)
    text = unicodedata.normalize("NFC", value).strip()
    if any(unicodedata.category(char) in _BREAKING or char in _TURNING for char in text):
        raise WrongValueError("must not hold line breaks, tabs or control characters")
    if all(unicodedata.category(char) in _UNSEEN for char in text):
        raise WrongValueError("must be text", found="got nothing to be seen")
    if len(text) > longest:
        raise WrongValueError(f"must be at most {longest} characters long", found=f"got {len(text)}")
    return text


def _parsed(read: Callable[[str], object], unwritten: str, example: str) -> Callable[[object], object]:
    def parse(value: object) -> object:
        if isinstance(value, WrittenInt | WrittenFloat):
            value = value.written
        if not isinstance(value, str):
            raise WrongValueError(f"must be {unwritten}", hint=f"write for example {example}")
        return read(value)

    return parse


def number(least: float, most: float, *, whole: bool = False, unit: str = "") -> Reads:
    """Return how a number within bounds is read."""

    def read(value: object) -> float | int:
        amount = read_number(value, least, most, whole=whole, unit=unit)
        return int(amount) if whole else amount

    return Reads(read, {"type": "integer" if whole else "number", "minimum": least, "maximum": most})


def read_number(value: object, least: float, most: float, *, whole: bool = False, unit: str = "") -> float:
    """Return a number within bounds."""
    allowed = int if whole else (int, float)
    outside = WrongValueError(f"must be from {least:,.9g} to {most:,.9g} {unit}".rstrip())
    if isinstance(value, str) and len(value) > LONGEST_NUMBER and value.isdecimal():
        raise outside  # so long a number stays text
    if isinstance(value, bool) or not isinstance(value, allowed) or math.isnan(value):
        raise WrongValueError(
            "must be a whole number" if whole else "must be a number", hint=number_hint(value, unit)
        )
    if not least <= value <= most:
        raise outside
    return float(value)


def number_hint(value: object, unit: str) -> str | None:
    """Return how a number that is written as text should be written, if that is plain."""
    match = _AMOUNT.fullmatch(" ".join(value.split())) if isinstance(value, str) else None
    if match is None or match["unit"].lower() not in _UNIT_WORDS.get(unit, ("", unit)):
        return None
    if "," in match["number"]:
        return f"write {match['number'].replace(',', '.')}, with a decimal point"
    return f"write {match['number']}" + ("" if match["unit"] else ", without quotes")


def choice(kind: type[Enum]) -> Reads:
    """Return how one word out of an enumeration is read."""
    return Reads(lambda value: read_choice(value, kind), {"enum": [_word(member) for member in kind]})


def read_choice(value: object, kind: type[E]) -> E:
    """Return the member of an enumeration that a word stands for."""
    words = {_word(member): member for member in kind}
    word = value.strip().lower() if isinstance(value, str) else None
    if word not in words:
        near = nearest(word, list(words)) if word else None
        hint = near if near is not None and "did you mean" in near else None
        raise WrongValueError("must be one of " + ", ".join(words), hint=hint)
    return words[word]


def _word(member: Enum) -> str:
    return member.word if isinstance(member, FlowSetting) else str(member.value)


def _read_days(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, str | int):
        raise WrongValueError("must be a number of days", hint="write for example 7 days or 2 weeks")
    days = units.read_days(value)
    if not 1 <= days <= MOST_DAYS:
        raise WrongValueError(f"must be from 1 to {MOST_DAYS} days")
    return days


def _read_day(text: str) -> date:
    day = units.read_date(text)
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise WrongValueError(f"must be from {FIRST_YEAR} to {LAST_YEAR}", hint="check the year")
    return day


def _read_truth(value: object) -> bool:
    if not isinstance(value, bool):
        raise WrongValueError("must be true or false")
    return value


NAME = Reads(
    read_name,
    {
        "type": ["string", "number"],
        "minLength": 1,
        "maxLength": LONGEST_NAME,
        "description": "a name; in quotes when it holds more than letters, digits and spaces",
    },
)
TEXT = Reads(
    lambda value: _words(value, LONGEST_TEXT),
    {"type": "string", "minLength": 1, "maxLength": LONGEST_TEXT},
)
DAY = Reads(
    _parsed(_read_day, "a date", "2027-01-09"),
    {
        "type": "string",
        "format": "date",
        "pattern": r"^\d{4}-\d{2}-\d{2}$",
        "description": "year-month-day: 2027-01-09",
    },
)
LENGTH = Reads(
    _parsed(units.read_length_mm, "a length", "27 cm"),
    {"type": "string", "description": "a length with its unit: 27 cm, 270 mm or 10.5 in"},
)
SIZE = Reads(
    _parsed(units.read_size_mm, "a length and a width", "50 x 25 cm"),
    {"type": "string", "description": "length x width with the unit: 50 x 25 cm or 20 x 10 in"},
)
VOLUME = Reads(
    _parsed(str, "a volume", "34 l"),
    {
        "type": "string",
        "description": "a volume with its unit: 34 l, 9 US gal or 9 imperial gal",
    },
)
DAYS = Reads(_read_days, {"type": ["string", "integer"], "description": "7, 7 days or 2 weeks"})
WEEKDAY = Reads(_parsed(units.read_weekday, "a weekday", "saturday"), {"enum": list(units.WEEKDAYS)})
TRUTH = Reads(_read_truth, {"type": "boolean"})
