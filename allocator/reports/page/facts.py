"""What the page shows, as frozen values: worded and worked out already, and not yet drawn."""

from dataclasses import dataclass
from datetime import date

from allocator.reports.blocks import Block


@dataclass(frozen=True)
class MoveLine:
    """A line of the move list, with a box to tick.

    `cells` are those of the schedule after its box: lot, fish, from, to, flow, why; `joint` is the word between from and
    to. A line that is no move has `text`.
    """

    cells: tuple[str, ...] = ()
    joint: str = ""
    text: str = ""


@dataclass(frozen=True)
class MoveDay:
    """What is to be done on one day."""

    title: str
    lines: tuple[MoveLine, ...]


@dataclass(frozen=True)
class MoveWeek:
    """The days of one week. `draft` tells that the list of the terminal does not reach so far."""

    title: str
    draft: bool
    days: tuple[MoveDay, ...]


@dataclass(frozen=True)
class CareDay:
    """The care that begins, or is due once, on one day."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class LotShown:
    """A lot in a vessel on a day. `mm` is 0 for eggs."""

    name: str
    line: str
    heads: str
    mm: float
    length: str
    age: str


@dataclass(frozen=True)
class VesselShown:
    """A vessel on a day.

    Attributes
    ----------
    raw
        Its name as the keeper wrote it, for drawing names together.
    share
        Of the limit, for the cap that is nearest to it; 1 is full.
    word
        Whether that is fine; empty where there are no young fish or eggs.
    fullness, fills
        Share and word; the cap that is nearest to its limit.
    groups
        Breeding groups, each with its people.
    there
        False on days on which the vessel is away.
    """

    name: str
    raw: str
    size: str
    water: str
    share: float
    word: str
    fullness: str
    fills: str
    flow: str
    lots: tuple[LotShown, ...]
    groups: tuple[tuple[str, str], ...]
    there: bool
    new: bool


@dataclass(frozen=True)
class ShelfShown:
    """The vessels that stand side by side."""

    name: str
    vessels: tuple[VesselShown, ...]


@dataclass(frozen=True)
class RackShown:
    """The shelves of a rack from top to bottom; or the vessels to which the keeper gave no place."""

    name: str
    shelves: tuple[ShelfShown, ...]


@dataclass(frozen=True)
class RackDay:
    """The racks on one day, and why this day is shown. `notes` say what is empty, away, or without a home."""

    day: date
    why: str
    title: str
    draft: bool
    racks: tuple[RackShown, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class StayShown:
    """A stay as a bar. `lane` counts from the top of its row, for lots that share a vessel."""

    lot: str
    line: str
    group: bool
    start: date
    end: date
    fish: int
    lane: int
    from_before: bool
    sold: bool


@dataclass(frozen=True)
class VesselRow:
    """A vessel over time. `there` are the days on which it stands in the room, ends included and excluded."""

    vessel: str
    kind: str
    new: bool
    lanes: int
    there: tuple[date, date]
    stays: tuple[StayShown, ...]


@dataclass(frozen=True)
class Join:
    """A move from the end of one bar to the start of another, by row and lane. `merges`: it joins others there."""

    on: date
    line: str
    start: tuple[int, int]
    end: tuple[int, int]
    merges: bool


@dataclass(frozen=True)
class TimeFacts:
    """Vessels over time.

    Attributes
    ----------
    first, last
        The days at both ends of the picture; `last` is excluded.
    list_ends
        The first day that is a draft only.
    lines
        In the order of the room: their place gives each its colour.
    away
        Days on which the keeper is away.
    left_out
        Vessels without a row, in sentences.
    """

    first: date
    last: date
    today: date
    list_ends: date
    lines: tuple[str, ...]
    rows: tuple[VesselRow, ...]
    joins: tuple[Join, ...]
    away: tuple[tuple[date, date], ...]
    left_out: tuple[str, ...]


@dataclass(frozen=True)
class UseWeek:
    """How many vessels of a kind are in use in a week, how many stand there, and how many are missing."""

    monday: date
    used: int
    there: int
    short: int


@dataclass(frozen=True)
class KindUse:
    """Vessels of one kind over time. `worst` says when most are in use, `short` that there are too few, or nothing."""

    kind: str
    weeks: tuple[UseWeek, ...]
    worst: str
    short: str


@dataclass(frozen=True)
class Homeless:
    """Fish without a home on each Monday, and in which answer that is."""

    title: str
    weeks: tuple[tuple[date, int], ...]


@dataclass(frozen=True)
class UseFacts:
    """Room used by kind over time, and fish without any."""

    today: date
    list_ends: date
    kinds: tuple[KindUse, ...]
    homeless: Homeless | None


@dataclass(frozen=True)
class Part:
    """A part of the page that is sentences and tables. A title may be empty."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class PageFacts:
    """The whole page. `one_sheet` tells that all days of the racks fit on one sheet of paper."""

    room: str
    today: str
    verdict: str
    sign: str
    glance: tuple[tuple[str, str], ...]
    looks: tuple[str, ...]
    this_week: str
    coming: tuple[MoveWeek, ...]
    later: tuple[MoveWeek, ...]
    list_until: str
    going_on: tuple[str, ...]
    care: tuple[CareDay, ...]
    racks: tuple[RackDay, ...]
    one_sheet: bool
    time: TimeFacts
    use: UseFacts
    adding: tuple[Part, ...]
    left_out: tuple[Block, ...]
    orders: tuple[Block, ...]
    sure: tuple[Block, ...]
    weights: tuple[Block, ...]
    cautions: tuple[str, ...]
