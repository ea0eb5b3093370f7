"""Small things that all pictures need: numbers, days along a line, and names that fit their place."""

import re
from dataclasses import dataclass
from datetime import date

from markupsafe import Markup

from allocator.reports.tables import display_width
from allocator.reports.words import MONTHS

LETTER = 0.6
"""Width of a letter as a share of its height, about: of a plain sans-serif, with room to spare (measured)."""

LEAST_LETTERS = 2
LEAST_MONTH = 20.0
"""Months narrower than this are named every third."""

_DATED = re.compile(r"(.*?)\s*\d{4}-(\d\d-\d\d)\s*(.*)", re.DOTALL)
_ISOLATE, _POP = "\u2068", "\u2069"


def num(value: float) -> str:
    """Return a coordinate with at most one decimal: `12` or `12.5`."""
    return (
        f"{value:.1f}".removesuffix(".0").replace("-0", "0")
        if abs(value) < 0.05
        else f"{value:.1f}".removesuffix(".0")
    )  # noqa: E501, PLR2004


def svg(template: str, **values: object) -> Markup:
    """Return a piece of a picture; texts among the values are escaped, numbers shortened."""
    shown = {name: num(value) if isinstance(value, float) else value for name, value in values.items()}
    return Markup(template).format(**shown)  # noqa: S704 - the template is ours, and values are escaped


@dataclass(frozen=True)
class Days:
    """Days laid out from left to right: `first` at 0, `last` at `width`."""

    first: date
    last: date
    width: float

    def x(self, day: date) -> float:
        """Return where a day begins."""
        return (day - self.first).days * self.width / max((self.last - self.first).days, 1)

    def months(self) -> list[tuple[float, float, date]]:
        """Return where each month begins and ends, cut to the picture, and its first day."""
        found = []
        start = self.first.replace(day=1)
        while start < self.last:
            year, month = divmod(start.year * 12 + start.month, 12)
            following = date(year, month + 1, 1)
            found.append((max(self.x(start), 0.0), min(self.x(following), self.width), start))
            start = following
        return found

    def month_marks(self, top: float, bottom: float, text_y: float) -> list[Markup]:
        """Return a line where each month begins, and its name; the year stands beside January and the first."""
        pieces = []
        months = self.months()
        wide = sum(right - left for left, right, _ in months) / len(months) >= LEAST_MONTH
        for place, (left, right, start) in enumerate(months):
            if left > 0:
                pieces.append(
                    svg('<path class="mo" d="M{x} {top}V{bottom}"/>', x=left, top=top, bottom=bottom)
                )
            word = MONTHS[start.month - 1]
            named = wide or start.month % 3 == 1
            if place == 0 or start.month == 1:
                word += f" {start.year}"
            if named and right - left >= len(word) * 4.6:
                pieces.append(
                    svg('<text class="mt" x="{x}" y="{y}">{word}</text>', x=left + 3, y=text_y, word=word)
                )
            elif named and right - left >= LEAST_MONTH:
                pieces.append(
                    svg('<text class="mt" x="{x}" y="{y}">{word}</text>', x=left + 3, y=text_y, word=word[:3])
                )
        return pieces


def squeezed(name: str, width: float, size: float) -> str:
    """Return a name cut to a width: the year of a date goes first, then the end of the word before it.

    Where the day does not fit either, the word before it stands alone; where nothing fits, nothing.
    """
    letters = int(width / (size * LETTER))
    if display_width(name) <= letters:
        return name
    if letters < LEAST_LETTERS:
        return ""
    dated = _DATED.fullmatch(name)
    if dated:
        stem, day, rest = dated.groups()
        tail = f"{day} {rest}".strip()
        if len(tail) <= letters:
            return f"{_cut(stem, letters - len(tail) - 1)} {tail}".strip()
        return stem if display_width(stem) <= letters else ""
    return _cut(name, letters - 1) + "…"


def _cut(text: str, columns: int) -> str:
    kept = ""
    for char in text:
        if display_width(kept + char) > columns:
            break
        kept += char
    return kept + _POP if _ISOLATE in kept and _POP not in kept else kept
