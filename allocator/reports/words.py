"""Words and figures as the keeper reads them: days, counts and sizes in both systems."""

import re
from collections.abc import Iterable, Sequence
from datetime import date, timedelta

from allocator.paper import paper
from allocator.reports.tables import clean
from allocator.units import MM_PER_IN

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
SMALL = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)

KG_PER_LB = 0.45359237
"""Exact by definition: international yard and pound agreement of 1959."""

F_PER_C, F_AT_FREEZING = 1.8, 32.0
"""Exact by definition: NIST Special Publication 811 (Thompson and Taylor 2008), appendix B.8, from memory."""

_NUMBERED = re.compile(r"(.+ )([1-9]\d{0,5})", re.ASCII)
WEEK = timedelta(days=7)


def day_words(day: date) -> str:
    """Return a day in the one form that nobody can misread: `Sat 13 Feb 2027`, whatever the locale."""
    return f"{WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]} {day.year}"


def month_words(day: date) -> str:
    """Return the month of a day: `Feb 2027`."""
    return f"{MONTHS[day.month - 1]} {day.year}"


def week_start(day: date) -> date:
    """Return the Monday of the week of a day."""
    return day - timedelta(days=day.weekday())


def in_words(number: int) -> str:
    """Return a small number as a word, a larger one in figures."""
    return SMALL[number] if 0 <= number < len(SMALL) else str(number)


def count_of(number: int, one: str, many: str | None = None) -> str:
    """Return `1 move`, `3 moves`; `many` where an s is not enough."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def listed(names: Iterable[str], *, most: int | None = None) -> str:
    """Return cleaned names in a row: `K1, K2 and K3`, or `K1, K2 and 5 more`."""
    shown = [clean(name) for name in names]
    if most is not None and len(shown) > most:
        shown = [*shown[:most], f"{len(shown) - most} more"]
    return joined(shown)


def ranged(names: Iterable[str]) -> str:
    """Return cleaned names in a row, with numbered ones drawn together: `box 1 to 5, ten 2 and long 1`."""
    runs: list[tuple[str, int, int]] = []
    for name in names:
        match = _NUMBERED.fullmatch(name)
        stem, number = (match[1], int(match[2])) if match else (name, -1)
        if runs and match and runs[-1][0] == stem and runs[-1][2] == number - 1:
            runs[-1] = (stem, runs[-1][1], number)
        else:
            runs.append((stem, number, number))
    return joined([words for run in runs for words in _run_words(*run)])


def _run_words(stem: str, first: int, last: int) -> list[str]:
    if first < 0:
        return [clean(stem)]
    if last - first < 2:  # noqa: PLR2004 - two names are as short as their range
        return [clean(f"{stem}{number}") for number in range(first, last + 1)]
    return [f"{clean(f'{stem}{first}')} to {last}"]


def joined(parts: Sequence[str]) -> str:
    """Return parts that are clean already in a row: `a, b and c`."""
    if len(parts) < 2:  # noqa: PLR2004 - one part has nothing to join
        return "".join(parts)
    return ", ".join(parts[:-1]) + " and " + parts[-1]


def length_words(mm: float) -> str:
    """Return a fish length in both systems: `25 mm (1.0 in)`, and `eggs` for 0."""
    return "eggs" if mm <= 0 else f"{mm:.0f} mm ({mm / MM_PER_IN:.1f} in)"


def lengths_words(shortest_mm: float, longest_mm: float) -> str:
    """Return from which to which length fish are, in both systems: `37 to 50 mm (1.5 to 2.0 in)`."""
    if round(shortest_mm) == round(longest_mm):
        return length_words(shortest_mm)
    inches = f"{shortest_mm / MM_PER_IN:.1f} to {longest_mm / MM_PER_IN:.1f} in"
    return f"{shortest_mm:.0f} to {longest_mm:.0f} mm ({inches})"


def warmth_words(celsius: float) -> str:
    """Return a temperature in both systems: `25.5 C (77.9 F)`."""
    return f"{celsius:g} C ({celsius * F_PER_C + F_AT_FREEZING:.3g} F)"


def weight_words(kg: float) -> str:
    """Return a weight in both systems: `38 kg (84 lb)`."""
    return f"{kg:.0f} kg ({kg / KG_PER_LB:.0f} lb)"


def give_or_take() -> str:
    """Return the sign before a standard error."""
    return "+/-" if paper().plain else "±"


def money(amount: float) -> str:
    """Return a price without a currency: `120` or `12.50`."""
    return f"{amount:.0f}" if float(amount).is_integer() else f"{amount:.2f}"
