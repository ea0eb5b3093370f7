"""The pictures of room used by kind of vessel over time, with the shortage marked, and of fish without a home."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from markupsafe import Markup

from allocator.reports.page.drawing import Days, path, rect, svg, words
from allocator.reports.page.facts import Homeless, KindUse, UseFacts
from allocator.reports.words import WEEK, day_words

LEFT, WIDE = 26.0, 372.0
TOP, TALL = 24.0, 56.0
HEIGHT = TOP + TALL + 16.0


@dataclass(frozen=True)
class UsePicture:
    """One picture, with what it says in words."""

    title: str
    told: str
    body: Markup
    short: bool


def use_pictures(facts: UseFacts) -> list[UsePicture]:
    """Return a picture a kind, and one of the fish without a home if there are any."""
    ends = [kind.weeks[-1].monday for kind in facts.kinds if kind.weeks]
    if facts.homeless is not None:
        ends.append(facts.homeless.weeks[-1][0])
    if not ends:
        return []
    first = min(kind.weeks[0].monday for kind in facts.kinds if kind.weeks)
    days = Days(first, max(ends) + WEEK, WIDE - LEFT)
    pictures = [_kind(kind, facts, days) for kind in facts.kinds if kind.weeks]
    if facts.homeless is not None:
        pictures.append(_homeless(facts.homeless, facts, days))
    return pictures


def _kind(kind: KindUse, facts: UseFacts, days: Days) -> UsePicture:
    most = max(max(week.used, week.there) for week in kind.weeks) or 1
    held = [(week.monday, min(week.used, week.there)) for week in kind.weeks]
    there = [(week.monday, week.there) for week in kind.weeks]
    pieces = _back(facts, days, most)
    pieces.append(_area("us", held, days, most))
    short = [(week.monday, week.there, week.used) for week in kind.weeks if week.short]
    for _, run in groupby(enumerate(short), key=lambda e: (e[1][0] - facts.today).days // WEEK.days - e[0]):
        weeks = [week for _, week in run]
        pieces += _short(weeks, days, most)
    pieces.append(path("th", _steps(there, days, most)))
    pieces += _front(facts, days)
    told = f"{kind.worst}; {kind.short}" if kind.short else kind.worst
    return UsePicture(kind.kind, told, Markup().join(pieces), bool(kind.short))


def _homeless(homeless: Homeless, facts: UseFacts, days: Days) -> UsePicture:
    most = max((fish for _, fish in homeless.weeks), default=0) or 1
    pieces = [*_back(facts, days, most), _area("sh", homeless.weeks, days, most), *_front(facts, days)]
    top = max(homeless.weeks, key=lambda week: (week[1], -week[0].toordinal()))
    first = next(monday for monday, fish in homeless.weeks if fish)
    told = f"from the week of {day_words(first)}, {top[1]} fish at the most"
    return UsePicture(homeless.title, told, Markup().join(pieces), short=True)


def _y(value: float, most: int) -> float:
    return TOP + TALL * (1 - value / most)


def _back(facts: UseFacts, days: Days, most: int) -> list[Markup]:
    """Return what lies behind: the scale at the left, months, the ground, the stretch that is a draft."""
    pieces = [words("sc", -5, TOP + 5, most), words("sc", -5, TOP + TALL + 2, 0)]
    draft = days.x(facts.list_ends)
    if draft < days.width:
        pieces.append(rect("dr", draft, TOP, days.width - draft, TALL))
    pieces += days.month_marks(TOP + TALL, TOP + TALL + 4, TOP + TALL + 13)
    return [*pieces, path("gr", svg("M0 {y}H{w}", y=TOP + TALL, w=days.width))]


def _front(facts: UseFacts, days: Days) -> list[Markup]:
    return days.marks(facts.today, facts.list_ends, (TOP - 4, TOP + TALL), "draft")


def _steps(weeks: Sequence[tuple[date, int]], days: Days, most: int) -> Markup:
    """Return the path of a line that goes on level from week to week."""
    parts, before = [], None
    for monday, value in weeks:
        if value != before:
            x = max(days.x(monday), 0.0)
            parts.append(svg("M{x} {y}" if before is None else "H{x}V{y}", x=x, y=_y(value, most)))
            before = value
    parts.append(svg("H{x}", x=days.x(weeks[-1][0] + WEEK)))
    return Markup().join(parts)


def _area(kind: str, weeks: Sequence[tuple[date, int]], days: Days, most: int) -> Markup:
    edge = svg("V{y}H{x}z", y=TOP + TALL, x=max(days.x(weeks[0][0]), 0.0))
    return path(kind, _steps(weeks, days, most) + edge)


def _short(weeks: Sequence[tuple[date, int, int]], days: Days, most: int) -> list[Markup]:
    """Return a stretch of weeks with too few vessels: what is missing, hatched, and the word."""
    pieces = []
    for monday, there, used in weeks:
        left, top = days.x(monday), _y(used, most)
        pieces.append(rect("sh", left, top, days.x(monday + WEEK) - left, _y(there, most) - top))
    worst = max(used - there for _, there, used in weeks)
    top = _y(max(used for _, _, used in weeks), most)
    return [*pieces, words("st", days.x(weeks[0][0]) + 2, top + 8, f"{worst} short")]
