"""Small things that all pictures need: numbers, days along a line, and names that fit their place."""

import re
from dataclasses import dataclass
from datetime import date

from markupsafe import Markup

from allocator.reports.tables import display_width
from allocator.reports.words import MONTHS

LETTER = 0.6
"""Width of a letter as a share of its height, about: of a plain sans-serif, with room to spare (measured)."""

LEAST_LETTERS = 4
"""Fewer letters of a name would say nothing."""

LEAST_MONTH = 20.0
"""Months narrower than this are named every third."""

SMALL_LETTER = 5.1
"""Width of a letter of the names of months."""

TODAY_WIDE = 34.0
"""Room for the word `today`."""

_DATED = re.compile(r"(.*?)\s*\d{4}-(\d\d-\d\d)\s*(.*)", re.DOTALL)
_PLAIN = re.compile(r"[\w.,%-]+", re.ASCII)
_ISOLATE, _POP = "\u2068", "\u2069"


def num(value: float) -> str:
    """Return a coordinate with at most one decimal: `12` or `12.5`."""
    return f"{round(value, 1) + 0.0:.1f}".removesuffix(".0")


def svg(template: str, **values: object) -> Markup:
    """Return a piece of a picture; texts among the values are escaped, numbers shortened."""
    shown = {name: num(value) if isinstance(value, float) else value for name, value in values.items()}
    return Markup(template).format(**shown)  # noqa: S704 - the template is ours, and values are escaped


def attributes(**values: object) -> Markup:
    """Return attributes of a piece; without quotes where HTML needs none, since a page has thousands of them."""
    pairs = []
    for name, value in values.items():
        shown = num(value) if isinstance(value, float) else str(value)
        plain = _PLAIN.fullmatch(shown) is not None
        pairs.append(
            svg(" {name}={shown}" if plain else ' {name}="{shown}"', name=name.rstrip("_"), shown=shown)
        )
    return Markup().join(pairs)


def path(kind: str, d: Markup) -> Markup:
    """Return a line or an area."""
    return svg("<path{those} />", those=attributes(class_=kind, d=d))


def rect(kind: str, left: float, top: float, wide: float, high: float) -> Markup:
    """Return a rectangle."""
    return svg("<rect{those} />", those=attributes(class_=kind, x=left, y=top, width=wide, height=high))


def words(kind: str, x: float, y: float, text: object) -> Markup:
    """Return a text."""
    return svg("<text{those}>{text}</text>", those=attributes(class_=kind, x=x, y=y), text=text)


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
                pieces.append(path("mo", svg("M{x} {top}V{bottom}", x=left, top=top, bottom=bottom)))
            if not (wide or start.month % 3 == 1) or right - left < LEAST_MONTH:
                continue
            word = MONTHS[start.month - 1]
            dated = f"{word} {start.year}"
            if (place == 0 or start.month == 1) and right - left >= len(dated) * SMALL_LETTER:
                word = dated
            pieces.append(words("mt", left + 3, text_y, word))
        return pieces

    def marks(self, today: date, list_ends: date, span: tuple[float, float], draft: str) -> list[Markup]:
        """Return the line of today, and the one from which on the plan is a draft, with their names above them.

        `span` is from where to where the lines go down.
        """
        top, bottom = span
        found = [("td", self.x(today), self.x(today), "today")]
        if list_ends < self.last:
            beside = max(self.x(list_ends), self.x(today) + TODAY_WIDE)
            found.append(("dl", self.x(list_ends), beside, draft))
        lines = [path(kind, svg("M{x} {top}V{z}", x=x, top=top, z=bottom)) for kind, x, _, _ in found]
        return lines + [words("tt", x, top - 4, word) for _, _, x, word in found]


def squeezed(name: str, width: float, size: float) -> str:
    """Return a name cut to a width: the year of a date goes first, then the end of the word before it.

    Where the day does not fit either, the word before it stands alone; where nothing fits, nothing.
    """
    letters = int(width / (size * LETTER))
    if display_width(name) <= letters:
        return name
    dated = _DATED.fullmatch(name)
    if dated:
        stem, day, rest = dated.groups()
        tail = f"{day} {rest}".strip()
        if len(tail) <= letters:
            return f"{_cut(stem, letters - len(tail) - 1)} {tail}".strip()
        return stem if display_width(stem) <= letters else ""
    return _cut(name, letters - 1) + "…" if letters >= LEAST_LETTERS else ""


def _cut(text: str, columns: int) -> str:
    kept = ""
    for char in text:
        if display_width(kept + char) > columns:
            break
        kept += char
    return kept + _POP if _ISOLATE in kept and _POP not in kept else kept
