"""Quantities as people write them: read, printed in both systems, and rounded. Nothing is ever guessed.

Readers raise `NotReadError`, which says what is wrong and what would help, and knows nothing of files.
"""

import re
from datetime import date
from math import ceil, floor, isfinite
from typing import Literal

Gallon = Literal["us", "imperial"]

MM_PER_IN = 25.4
"""Exact by definition: international yard and pound agreement of 1959, 1 in = 25.4 mm."""

LITRES_PER_US_GAL = 3.785411784
"""Exact by definition: 231 cubic inches (NIST Handbook 44, appendix C), 231 x 2.54^3 / 1000."""

LITRES_PER_IMPERIAL_GAL = 4.54609
"""Exact by definition: United Kingdom, Weights and Measures Act 1985, schedule 1."""

LITRES_PER_GAL: dict[Gallon, float] = {"us": LITRES_PER_US_GAL, "imperial": LITRES_PER_IMPERIAL_GAL}

DUST = 1e-9
"""Part of a number that is float dust: sums of some thousand terms are exact to about 1e-12 of their size."""

DAYS_PER_WEEK = 7

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

_NUMBER = r"(\d+(?:\.\d+)?|\.\d+)"
_LENGTH = re.compile(_NUMBER + r"\s*(mm|cm|m|in|inch|inches|\")", re.IGNORECASE)
_SIZE = re.compile(_NUMBER + r"\s*[x\u00d7]\s*" + _NUMBER + r"\s*(mm|cm|m|in|inch|inches|\")", re.IGNORECASE)
_VOLUME = re.compile(_NUMBER + r"\s*([a-z][a-z. ]*)", re.IGNORECASE)
_DAYS = re.compile(r"(\d{1,4})\s*(days?|weeks?)", re.IGNORECASE)
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}")
_COMMA = re.compile(r"\d,\d")

_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": MM_PER_IN, "inch": MM_PER_IN, "inches": MM_PER_IN}
_MM['"'] = MM_PER_IN

_LITRE_WORDS = ("l", "litre", "litres", "liter", "liters")
_GALLON_WORDS = ("gal", "gals", "gallon", "gallons")
_WHICH_GALLON: dict[str, Gallon] = {"us": "us", "u.s.": "us", "imperial": "imperial", "imp": "imperial"}


class NotReadError(ValueError):
    """A piece of text that is not the quantity that was asked for."""

    def __init__(self, what: str, hint: str | None = None) -> None:
        super().__init__(what)
        self.what = what
        self.hint = hint


def _clean(text: str, example: str) -> str:
    if _COMMA.search(text):
        raise NotReadError("a comma in a number can be read in two ways", "write 27.5, not 27,5")
    tidy = " ".join(text.split())
    if not tidy:
        raise NotReadError("nothing is written here", f"write for example {example}")
    return tidy


def read_length_mm(text: str, *, of_fish: bool = False) -> float:
    """Return a length such as `27 cm`, `270 mm` or `10.5 in` in millimetres; the hint is another for that of fish."""
    tidy = _clean(text, "45 mm" if of_fish else "27 cm")
    match = _LENGTH.fullmatch(tidy)
    if match is None:
        if re.fullmatch(_NUMBER, tidy):
            meant = f"{tidy} mm" if of_fish else f"{tidy} cm or {tidy} in"
            raise NotReadError("a length needs its unit", f"write {meant}")
        example = "45 mm or 1.8 in" if of_fish else "27 cm or 10.5 in"
        raise NotReadError("this is not a length", f"write for example {example}")
    return float(match[1]) * _MM[match[2].lower()]


def read_size_mm(text: str) -> tuple[float, float]:
    """Return length and width such as `50 x 25 cm` or `20 x 10 in` in millimetres."""
    tidy = _clean(text, "50 x 25 cm")
    match = _SIZE.fullmatch(tidy)
    if match is None:
        if re.fullmatch(_NUMBER + r"\s*[x\u00d7]\s*" + _NUMBER, tidy, re.IGNORECASE):
            raise NotReadError("a size needs its unit", f"write {tidy} cm or {tidy} in")
        raise NotReadError("this is not a length and a width", "write for example 50 x 25 cm or 20 x 10 in")
    unit = _MM[match[3].lower()]
    return float(match[1]) * unit, float(match[2]) * unit


def read_litres(text: str, gallon: Gallon | None) -> float:
    """
    Return a volume such as `34 l`, `9 US gal`, `9 imperial gal` or `9 gal` in litres.

    Parameters
    ----------
    text
        A number and its unit.
    gallon
        What a bare gallon means in this file; None when the file does not say, and then it is an error.
    """
    tidy = _clean(text, "34 l")
    match = _VOLUME.fullmatch(tidy)
    if match is None:
        if re.fullmatch(_NUMBER, tidy):
            raise NotReadError(
                "a volume needs its unit", f"write {tidy} l, {tidy} US gal or {tidy} imperial gal"
            )
        raise NotReadError("this is not a volume", "write for example 34 l, 9 US gal or 9 imperial gal")
    amount, words = float(match[1]), match[2].lower().split()
    if len(words) == 1 and words[0] in _LITRE_WORDS:
        return amount
    if words[-1] in _GALLON_WORDS:
        if len(words) == 1 and gallon is not None:
            return amount * LITRES_PER_GAL[gallon]
        if len(words) == 1:
            raise NotReadError(
                "which gallon is meant?", "write `gallon: us` or `gallon: imperial` in the file"
            )
        which = _WHICH_GALLON.get(" ".join(words[:-1]))
        if which is not None:
            return amount * LITRES_PER_GAL[which]
    raise NotReadError("this is not a volume", "write for example 34 l, 9 US gal or 9 imperial gal")


def read_days(value: str | int) -> int:
    """Return a number of days: 7, `7 days` or `2 weeks`."""
    if isinstance(value, int):
        return int(value)
    match = _DAYS.fullmatch(" ".join(value.split()))
    if match is None:
        raise NotReadError("this is not a number of days", "write for example 7 days or 2 weeks")
    return int(match[1]) * (DAYS_PER_WEEK if match[2].lower().startswith("week") else 1)


def read_date(text: str) -> date:
    """Return a day written as year, month, day: `2027-01-09`. Other orders can be misread and are refused."""
    tidy = text.strip()
    if not (_ISO.fullmatch(tidy) and tidy.isascii()):
        raise NotReadError(
            "a date must be written as year, month, day with hyphens", "write for example 2027-01-09"
        )
    try:
        return date.fromisoformat(tidy)
    except ValueError:
        raise NotReadError("there is no such day", "check the month and the day") from None


def read_weekday(text: str) -> int:
    """Return a weekday in full as a number, Monday is 0."""
    word = text.strip().lower()
    if word not in WEEKDAYS:
        raise NotReadError("this is not a weekday", "write for example saturday")
    return WEEKDAYS.index(word)


def cm_and_inches(mm: float) -> str:
    """Return a length in both systems: `50 cm (19.7 in)`."""
    cm = f"{mm / 10:,.2f}".rstrip("0").rstrip(".")
    return f"{cm} cm ({mm / MM_PER_IN:,.1f} in)"


def litres_and_gallons(litres: float, gallon: Gallon | None = None) -> str:
    """Return a volume in both systems: `34 l (9.0 US gal)`; US gallons unless the keeper uses the other."""
    which: Gallon = gallon or "us"
    name = "US" if which == "us" else "imperial"
    return f"{litres:.3g} l ({litres / LITRES_PER_GAL[which]:.1f} {name} gal)"


def need_up(amount: float) -> int:
    """
    Return a need as a whole number, rounded up, so that a plan never has less than is needed.

    An amount that is above a whole number by float dust only (one part in 1e9) is that whole number.
    """
    if not isfinite(amount):
        raise ValueError(f"a need must be a number (got {amount})")
    return ceil(amount - DUST * max(1.0, abs(amount)))


def capacity_down(amount: float) -> int:
    """
    Return a capacity as a whole number, rounded down, so that a plan never counts on more than is there.

    An amount that is below a whole number by float dust only (one part in 1e9) is that whole number.
    """
    if not isfinite(amount):
        raise ValueError(f"a capacity must be a number (got {amount})")
    return floor(amount + DUST * max(1.0, abs(amount)))
