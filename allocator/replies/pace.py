"""What a room can sustain: the answer in plain values."""

from datetime import date
from enum import StrEnum

from allocator.frozen import Frozen

MONTH_DAYS = 365.25 / 12
"""Days in a month on average (derived: 365.25 / 12 = 30.44)."""


class Collected(Frozen):
    """What one collection of a line is taken to be; `why` says where the number of eggs comes from.

    `share` is its share in all collections, 0 to 1.
    """

    line: str
    eggs: int
    why: str
    share: float


class Seen(StrEnum):
    """By what a bottleneck was recognised, from the strongest to the weakest."""

    ONE_MORE = "one more of them raises the pace most"
    FULLEST = "they are the fullest in the run"
    BOUND = "they set the bound"


class Bottleneck(Frozen):
    """The stage that holds up the pace, the vessels it needs, and how that was seen."""

    stage: str
    vessels: str
    seen: Seen


class Binding(Frozen):
    """A stage and the vessels that set the bound; the parts of all of them add up to 1."""

    stage: str
    vessels: str
    part: float


class Lacking(Frozen):
    """A stage for which a line has no vessel at all."""

    line: str
    stage: str


class VesselsPace(Frozen):
    """What the vessels of one name do for the pace, in broods a month.

    Attributes
    ----------
    vessels, copies
        The name and how many there are, those of breeding groups left out.
    at_most
        If they alone were limited; None where others could take their place, or nobody needs them.
    mean_in_use, most_in_use
        In the long run that was found; None if none was.
    one_more_at_most
        The bound with one more of them.
    one_more_found
        What a checked plan reaches with one more; None where that was not looked for.
    """

    vessels: str
    copies: int
    at_most: float | None
    mean_in_use: float | None = None
    most_in_use: int | None = None
    one_more_at_most: float
    one_more_found: float | None = None


class StageUse(Frozen):
    """How many broods are in a stage in some vessels on average, and for how many days each (of all broods)."""

    stage: str
    vessels: str
    broods_mean: float
    days_each: float


class LongRun(Frozen):
    """The checked plan behind a pace, measured once the room had filled up.

    Little's law holds it to its own sum: `broods_mean` is about `a_day` times `days_each`.
    """

    broods: int
    days: int
    measured_days: int
    broods_mean: float
    a_day: float
    days_each: float
    stages: tuple[StageUse, ...]


class Unplanned(Frozen):
    """What chance does to the first vessels, if broods came unplanned at the pace that was found.

    Attributes
    ----------
    lines, vessels, copies
        Whose broods begin in which vessels, and how many of those there are.
    days_each
        How long each brood has its own.
    turned_away
        The share of broods that would find none free.
    pace_for_one_in_twenty
        Broods a month at which it would be one in twenty.
    """

    lines: tuple[str, ...]
    vessels: str
    copies: int
    days_each: float
    turned_away: float
    pace_for_one_in_twenty: float


class Sustained(Frozen):
    """What the room can sustain of some lines.

    Attributes
    ----------
    collected
        The lines, with what a collection is taken to be.
    at_most
        Broods a month that no plan can go beyond, on whatever days they come.
    at_most_evenly
        The same where they come evenly spread, in whole broods in each period: some day rules out more.
    found
        Broods a month that a checked plan keeps up; None where none was found.
    count, period_days
        That is so many broods in so many days.
    possible
        The most broods in so many days, evenly spread, that are not ruled out.
    proven
        True where not one brood more in so many days, evenly spread, is possible.
    bottleneck
        What holds up the pace that was found, else the bound; None where nothing is known of either.
    binding
        What sets the bound, the greatest part first.
    lacking
        Where the pace is 0 for want of a vessel.
    """

    collected: tuple[Collected, ...]
    at_most: float
    at_most_evenly: float
    found: float | None
    count: int
    possible: int
    period_days: int
    proven: bool
    bottleneck: Bottleneck | None
    binding: tuple[Binding, ...]
    vessels: tuple[VesselsPace, ...]
    lacking: Lacking | None = None
    run: LongRun | None = None
    unplanned: tuple[Unplanned, ...] = ()


class PaceReply(Frozen):
    """The whole answer: line by line, and mixed where there are several.

    `stopped` is True where time or the keeper ended the search early.
    """

    room: str
    today: date
    each: tuple[Sustained, ...]
    mixed: Sustained | None = None
    stopped: bool = False
