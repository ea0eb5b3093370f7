"""The pictures of room used by kind of vessel over time, with the shortage marked, and of fish without a home."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from markupsafe import Markup

from allocator.reports.page.drawing import Days, svg
from allocator.reports.page.facts import Homeless, KindUse, UseFacts
from allocator.reports.words import WEEK, day_words

LEFT, WIDE = 26.0, 372.0
TOP, TALL = 24.0, 56.0
HEIGHT = TOP + TALL + 16.0


@dataclass(frozen=True)
class UsePicture:
    """One picture, with what it says in words."""

    title: str
    words: str
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
    pieces.append(svg('<path class="th" d="{d}"/>', d=_steps(there, days, most)))
    pieces += _front(facts, days)
    words = f"{kind.worst}; {kind.short}" if kind.short else kind.worst
    return UsePicture(kind.kind, words, Markup().join(pieces), bool(kind.short))


def _homeless(homeless: Homeless, facts: UseFacts, days: Days) -> UsePicture:
    most = max((fish for _, fish in homeless.weeks), default=0) or 1
    pieces = [*_back(facts, days, most), _area("sh", homeless.weeks, days, most), *_front(facts, days)]
    top = max(homeless.weeks, key=lambda week: (week[1], -week[0].toordinal()))
    first = next(monday for monday, fish in homeless.weeks if fish)
    words = f"from the week of {day_words(first)}, {top[1]} fish at the most"
    return UsePicture(homeless.title, words, Markup().join(pieces), short=True)


def _y(value: float, most: int) -> float:
    return TOP + TALL * (1 - value / most)


def _back(facts: UseFacts, days: Days, most: int) -> list[Markup]:
    """Return what lies behind: the scale at the left, months, the ground, the stretch that is a draft."""
    pieces = [
        svg('<text class="sc" x="-5" y="{y}">{most}</text>', y=TOP + 5, most=most),
        svg('<text class="sc" x="-5" y="{y}">0</text>', y=TOP + TALL + 2),
    ]
    draft = days.x(facts.list_ends)
    if draft < days.width:
        shape = svg('x="{x}" y="{y}" width="{w}" height="{h}"', x=draft, y=TOP, w=days.width - draft, h=TALL)
        pieces.append(svg('<rect class="dr" {shape}/>', shape=shape))
    pieces += days.month_marks(TOP + TALL, TOP + TALL + 4, TOP + TALL + 13)
    return [*pieces, svg('<path class="gr" d="M0 {y}H{w}"/>', y=TOP + TALL, w=days.width)]


def _front(facts: UseFacts, days: Days) -> list[Markup]:
    """Return the line of today, and the one from which on the plan is a draft."""
    draft, today = days.x(facts.list_ends), days.x(facts.today)
    marks = [("td", today, today, "today")]
    if draft < days.width:
        marks.append(("dl", draft, max(draft, today + 34), "draft"))
    return [
        svg(
            '<path class="{kind}" d="M{x} {y}V{z}"/><text class="tt" x="{tx}" y="{t}">{word}</text>',
            **{"kind": kind, "x": x, "tx": tx, "word": word, "y": TOP - 4, "z": TOP + TALL, "t": TOP - 8},
        )
        for kind, x, tx, word in marks
    ]


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
    return svg('<path class="{kind}" d="{d}V{y}H{x}z"/>', kind=kind, d=_steps(weeks, days, most),
               y=TOP + TALL, x=max(days.x(weeks[0][0]), 0.0))  # fmt: skip


def _short(weeks: Sequence[tuple[date, int, int]], days: Days, most: int) -> list[Markup]:
    """Return a stretch of weeks with too few vessels: what is missing, hatched, and the word."""
    pieces = []
    for monday, there, used in weeks:
        left, right = days.x(monday), days.x(monday + WEEK)
        pieces.append(svg('<rect class="sh" x="{x}" y="{y}" width="{w}" height="{h}"/>', x=left, w=right - left,
                          y=_y(used, most), h=_y(there, most) - _y(used, most)))  # fmt: skip
    worst = max(used - there for _, there, used in weeks)
    left = days.x(weeks[0][0])
    pieces.append(svg('<text class="st" x="{x}" y="{y}">{worst} short</text>', x=left + 2,
                      y=_y(max(used for _, _, used in weeks), most) + 8, worst=worst))  # fmt: skip
    return pieces
