"""The picture of vessels over time: names at the left, and beside them bars for stays and curves for moves."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from itertools import groupby

from markupsafe import Markup

from allocator.reports.page.colours import LIGHT, LINE_COLOURS, colour_of, ink_on
from allocator.reports.page.drawing import Days, num, path, rect, squeezed, svg, words
from allocator.reports.page.facts import StayShown, TimeFacts, VesselRow
from allocator.reports.words import day_words

NAMES_WIDE, BODY_WIDE = 88.0, 672.0
TOP = 34.0
BEND, STUB = 11, 12
"""How far a curve swings out before it turns to its goal, and how long the beginning of one is."""

MOST_LANES_ROOMY, MOST_LANES_OF_A_PICTURE = 46, 96
"""Above the first a picture is drawn closer; above the second it is drawn in several (tried out on A4 and Letter)."""


@dataclass(frozen=True)
class Pitch:
    """How closely rows stand: height of a lane, gap between rows, height of letters."""

    lane: float
    gap: float
    letters: float


HALF_LETTER = 0.36
"""From the middle of a letter down to its foot, as a share of its height."""

NAME_WIDE = 46.0
"""Room for the names of the two lines, `today` and `draft`."""

THINNEST = 0.05
"""What is narrower cannot be seen."""

ROOMY, CLOSE = Pitch(14.0, 4.0, 9.5), Pitch(9.6, 2.2, 7.6)


@dataclass(frozen=True)
class TimePicture:
    """One picture in two parts, which are laid side by side; `letters` is their height."""

    names: Markup
    body: Markup
    names_wide: float
    body_wide: float
    height: float
    letters: str
    title: str
    close: bool

    @property
    def shape(self) -> str:
        """Width of the whole by its height."""
        return num(100 * (self.names_wide + self.body_wide) / self.height)


def time_pictures(facts: TimeFacts) -> list[TimePicture]:
    """Return the rows drawn: in one picture, or in several where there are too many for a sheet of paper."""
    lanes = sum(row.lanes for row in facts.rows)
    pitch = ROOMY if lanes <= MOST_LANES_ROOMY else CLOSE
    return [_Drawing(facts, first, rows, pitch).picture() for first, rows in _sheets(facts.rows)]


def _sheets(rows: Sequence[VesselRow]) -> list[tuple[int, list[VesselRow]]]:
    """Return the rows of each picture, with the place of the first: a kind is only divided where it must be."""
    sheets: list[tuple[int, list[VesselRow]]] = []
    place, room_left = 0, 0
    for _, of_kind in groupby(rows, key=lambda row: row.kind):
        kind = list(of_kind)
        whole = sum(row.lanes for row in kind) <= MOST_LANES_OF_A_PICTURE
        if whole and sum(row.lanes for row in kind) > room_left:
            room_left = 0
        for row in kind:
            if row.lanes > room_left or not sheets:
                sheets.append((place, []))
                room_left = MOST_LANES_OF_A_PICTURE
            sheets[-1][1].append(row)
            room_left -= row.lanes
            place += 1
    return sheets


@dataclass(frozen=True)
class _Drawing:
    """Some rows in a row; `offset` is the place of the first among all."""

    facts: TimeFacts
    offset: int
    rows: Sequence[VesselRow]
    pitch: Pitch

    @cached_property
    def arrivals(self) -> frozenset[tuple[tuple[int, int], date]]:
        """Where moves end: at the beginning of which bars."""
        return frozenset((join.end, join.on) for join in self.facts.joins)

    @property
    def days(self) -> Days:
        return Days(self.facts.first, self.facts.last, BODY_WIDE)

    def tops(self) -> list[float]:
        """Return where each row begins, and where the last one ends."""
        tops, y, kind = [], TOP, None
        for row in self.rows:
            y += self.pitch.gap if kind in (None, row.kind) else 2.5 * self.pitch.gap
            kind = row.kind
            tops.append(y)
            y += row.lanes * self.pitch.lane
        return [*tops, y + self.pitch.gap]

    def picture(self) -> TimePicture:
        """Return both halves."""
        tops = self.tops()
        height = tops[-1]
        names, bars = [], []
        for place, (row, top) in enumerate(zip(self.rows, tops, strict=False)):
            names.append(self.name(row, top))
            bars += [self.bar(bar, self.offset + place, top) for bar in row.stays]
        curves, ends = self.joins(tops)
        first, last = self.rows[0].vessel, self.rows[-1].vessel
        span = first if first == last else f"{first} to {last}"
        title = f"{span}, {day_words(self.facts.today)} to {day_words(self.facts.last)}"
        body = Markup().join(
            [*self.back(height), self.ground(tops), curves, *bars, ends, *self.front(height)]
        )
        return TimePicture(
            Markup().join(names),
            body,
            NAMES_WIDE,
            BODY_WIDE,
            height,
            num(self.pitch.letters),
            title,
            self.pitch is CLOSE,
        )

    def name(self, row: VesselRow, top: float) -> Markup:
        size = self.pitch.letters
        shown = squeezed(row.vessel, NAMES_WIDE - 8, size)
        y = top + self.pitch.lane * row.lanes / 2 + size * HALF_LETTER
        whole = "" if shown == row.vessel else svg("<title>{name}</title>", name=row.vessel)
        return svg("<text x={x} y={y}>{whole}{shown}</text>", x=NAMES_WIDE - 6, y=y, whole=whole, shown=shown)

    def ground(self, tops: Sequence[float]) -> Markup:
        """Return the ground line of each row, for the days on which the vessel is there."""
        lines = []
        for row, top in zip(self.rows, tops, strict=False):
            left, right = (self.days.x(day) for day in row.there)
            y = top + row.lanes * self.pitch.lane + self.pitch.gap / 2
            lines.append(svg("M{left} {y}H{right}", left=left, right=right, y=y))
        return path("gr", Markup().join(lines))

    def back(self, height: float) -> list[Markup]:
        """Return what lies behind the bars: months, days away, the stretch that is a draft."""
        pieces = []
        draft = self.days.x(self.facts.list_ends)
        if draft < BODY_WIDE:
            pieces.append(rect("dr", draft, TOP - 14, BODY_WIDE - draft, height - TOP + 14))
        for start, end in self.facts.away:
            left, right = self.days.x(start), self.days.x(end)
            pieces.append(rect("aw", left, TOP, right - left, height - TOP))
            middle = (left + right) / 2
            clear = min(abs(middle - self.days.x(day)) for day in (self.facts.today, self.facts.list_ends))
            above = clear > NAME_WIDE
            pieces.append(words("at", middle, TOP - 24 if above else height - 2, "away"))
        return pieces + self.days.month_marks(TOP - 14, height, TOP - 4)

    def front(self, height: float) -> list[Markup]:
        """Return the line of today and the one from which on the plan is a draft, with their names."""
        return self.days.marks(self.facts.today, self.facts.list_ends, (TOP - 20, height), "draft")

    def bar(self, bar: StayShown, row: int, top: float) -> Markup:
        """Return a stay: solid as far as the list goes, hatched with a dashed edge beyond, and its name."""
        y, high = top + bar.lane * self.pitch.lane, self.pitch.lane - 1
        left = -5.0 if bar.from_before else self.days.x(bar.start)
        right = self.days.x(bar.end)
        turn = min(max(self.days.x(self.facts.list_ends), left), right)
        place = self.facts.lines.index(bar.line) if bar.line in self.facts.lines else 0
        again = " ag" if place >= len(LINE_COLOURS) else ""
        pieces = [svg("<title>{told}</title>", told=_told(bar))]
        for kind, start, end in (("c", left, turn), ("h", turn, right)):
            if end - start > THINNEST:
                shape = svg("M{x},{y}h{w}v{high}H{x}z", x=start, y=y, w=end - start, high=high)
                pieces.append(path(f"{kind}{place % len(LINE_COLOURS)}{again}", shape))
        if bar.sold:
            half = (high - 3) / 2
            pieces.append(path("so", svg("M{x},{y}l5,{half}l-5,{half}z", x=right - 6, y=y + 1.5, half=half)))
        begins = left + (
            5.0 if ((row, bar.lane), bar.start) in self.arrivals else 0.0
        )  # behind the dot of a move
        if bar.from_before:
            begins = min(self.days.x(self.facts.today), right)  # behind the line of today
        pieces.append(self.label(bar, y, (begins, turn, right - (6.0 if bar.sold else 0.0)), place))
        return svg("<g>{parts}</g>", parts=Markup().join(pieces))

    def label(self, bar: StayShown, y: float, ends: tuple[float, float, float], place: int) -> Markup:
        """Return the name of a bar, in its solid or its hatched part, whichever is longer.

        `ends` are where the solid part begins, where it turns into the hatched one, and where that ends.
        """
        left, turn, right = ends
        turn = max(turn, left)
        if right - left < self.pitch.letters < left:
            left, turn = 0.0, min(turn, right)
        solid = turn - left >= right - turn
        start, end = (left, min(turn, right)) if solid else (turn, right)
        shown = squeezed(bar.lot, end - start - 5, self.pitch.letters)
        if not shown:
            return Markup()
        ink = ("w" if ink_on(colour_of(place)) == LIGHT else "k") if solid else "p"
        middle = y + (self.pitch.lane - 1) / 2
        return words(ink, start + 3.5, middle + self.pitch.letters * HALF_LETTER, shown)

    def joins(self, tops: Sequence[float]) -> tuple[Markup, Markup]:
        """Return the curves of all moves, which lie behind the bars, and their ends, which lie before them.

        A curve ends in a dot; in a ring where the fish join others. One whose other end is in another picture is drawn
        as far as a short line towards it.
        """
        curves: list[Markup] = []
        ends: dict[bool, list[Markup]] = {False: [], True: []}
        for join in self.facts.joins:
            x = round(self.days.x(join.on))
            start, end = self.middle(join.start, tops), self.middle(join.end, tops)
            far = -STUB if join.end < join.start else STUB
            if start is not None and end is not None:
                bend, drop = BEND + 2, end - start
                curves.append(
                    svg("M{x} {y}c{b} 0{c} {d} 4 {d}", x=x - 2, y=start, b=bend, c=2 - BEND, d=drop)
                )
            elif start is not None:
                curves.append(svg("M{x} {y}v{far}", x=x, y=start, far=far))
            elif end is not None:
                curves.append(svg("M{x} {y}v{far}", x=x, y=end, far=-far))
            if end is not None:
                ends[join.merges].append(svg("M{x} {y}h0", x=x + 2, y=end))
        dots = [
            (kind, Markup().join(ends[merges]))
            for kind, merges in (("du", False), ("do", False), ("ri", True), ("rj", True))
        ]
        return (
            path("jo", Markup().join(curves)),
            Markup().join(path(kind, d) for kind, d in dots if d),
        )

    def middle(self, place: tuple[int, int], tops: Sequence[float]) -> int | None:
        """Return the height of a bar's middle, to the full unit; None where it is in another picture."""
        row, lane = place[0] - self.offset, place[1]
        if not 0 <= row < len(self.rows):
            return None
        return round(tops[row] + (lane + 0.5) * self.pitch.lane - 0.5)


def _told(bar: StayShown) -> str:
    """Return `L1, 14 fish: Sat 9 Jan 2027 to Sat 6 Mar 2027, sold`."""
    same_year = bar.start.year == bar.end.year
    start = "already there," if bar.from_before else day_words(bar.start)[: -5 if same_year else None]
    heads = "" if bar.group else f", {bar.fish} fish"
    return f"{bar.lot}{heads}: {start} to {day_words(bar.end)}{', sold' if bar.sold else ''}"
