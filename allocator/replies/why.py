"""Why a brood lives where it does, and why not elsewhere, for `allocator why`."""

from datetime import date
from enum import StrEnum

from pydantic import Field

from allocator.codes import Rule
from allocator.frozen import Frozen
from allocator.plan import Verdict
from allocator.rules import FlowSetting


class Binding(Frozen):
    """A rule that stands in the way, on which day, with its numbers: in the words of the checker."""

    rule: Rule
    day: date
    text: str


class Tried(Frozen):
    """A plan changed by hand in one point and given to the checker: what it breaks, nothing if it would do."""

    on: date
    vessel: str
    breaks: tuple[Binding, ...]


class Mate(Frozen):
    """A brood that shares the vessel for some days, from one (included) until another (excluded)."""

    brood: str
    from_: date = Field(alias="from")
    until: date


class Fill(Frozen):
    """How full a vessel is on a day: what is taken of the limit (1 is full), and of what most is taken."""

    on: date
    share: float
    cap: str


class StayReason(Frozen):
    """One lot in one vessel, and why it is there for just these days.

    Attributes
    ----------
    stage
        The stage of life, by its name in the rule pack.
    enter_from, enter_until
        The first and the last day on which the brood may enter this stage; None for the first stage.
    from_mm, until_mm
        The lengths that the rule pack gives for that; None where it gives none.
    better_from, better_until
        The first and the last day on which it had better enter, by its size; None for the first stage.
    mm_in, mm_out
        Length on the first and on the last day; 0 for eggs.
    fish_in, fish_out
        Eggs or fish on the first and on the last day.
    fill_in, fill_out, fill_most
        How full the vessel is on the first day, the last, and the fullest, with all who share it.
    flow
        The setting on the first day; None where none is told.
    bears
        The strongest setting that the fish bear on the first day.
    sold
        Whether the fish are sold from here.
    sooner, later
        The same with the fish coming in on the move day before, and with them going out on the one after.
    elsewhere
        The same in other vessels of a kind for this stage.
    """

    lot: str
    vessel: str
    from_: date = Field(alias="from")
    until: date
    stage: str
    enter_from: date | None
    enter_until: date | None
    from_mm: float | None
    until_mm: float | None
    better_from: date | None
    better_until: date | None
    mm_in: float
    mm_out: float
    fish_in: int
    fish_out: int
    fill_in: Fill
    fill_out: Fill
    fill_most: Fill
    flow: FlowSetting | None
    bears: FlowSetting
    mates: tuple[Mate, ...]
    sold: bool
    sooner: Tried | None
    later: Tried | None
    elsewhere: tuple[Tried, ...]


class CauseKind(StrEnum):
    """What can be in the way of a wish."""

    BROOD = "brood"
    PIN = "pin"
    ORDER = "order"
    AWAY = "days away"
    MOST_MOVES = "most moves"


class Cause(Frozen):
    """One thing without which it could be done: a brood, or a wish of the keeper."""

    kind: CauseKind
    name: str


class Causes(Frozen):
    """The smallest set of causes that was found.

    Attributes
    ----------
    causes
        Beside the brood that is asked about.
    together
        True if it is proven that no plan houses the brood as asked together with all of the causes.
    each
        Those without which a checked plan does: each dropped by itself.
    spared
        Whether a checked plan does for all of them without the brood (or the wish) that is asked about.
    """

    causes: tuple[Cause, ...]
    together: bool
    each: tuple[Cause, ...]
    spared: bool

    @property
    def verified(self) -> bool:
        """Tell whether the set is shown to be impossible together, and possible with any one dropped."""
        return self.together and self.spared and self.each == self.causes


class WayKind(StrEnum):
    """What the keeper could change."""

    MORE = "one more vessel"
    LATER = "collected later"
    FEWER_EGGS = "fewer eggs set up"
    FEWER_FISH = "fewer fish kept"
    SMALLER = "sold smaller"


class WayOut(Frozen):
    """A change with which a checked plan does what was asked.

    Attributes
    ----------
    name
        The kind of vessel, the brood, or the line.
    amount
        How many days later, eggs or fish kept, or mm at sale; 1 for a vessel.
    price
        Of the vessel, if the room file says.
    """

    kind: WayKind
    name: str
    amount: float
    price: float | None = None


class Outcome(StrEnum):
    """What came of a question."""

    SO_ALREADY = "it is so"
    COULD_BE = "it could be"
    FORBIDDEN = "the rules for the brood alone forbid it"
    CLASHES = "it clashes with others"
    NOT_FOUND = "no plan was found"


class Asked(Frozen):
    """Why not there, or not on that day: what was asked and what came of it.

    Attributes
    ----------
    vessel, day
        As asked; None where not.
    from_, until
        The days for which the brood was asked to be in the vessel; None where a day was asked for.
    breaks
        What the plan in hand would break, changed by hand to do just that: with this brood alone, and with all.
    more_strain, more_handlings
        By how much the best plan found with it is worse; where it could be.
    strain_proven
        Whether both plans are proven to have the least strain.
    others
        Broods that would live elsewhere then.
    """

    outcome: Outcome
    vessel: str | None
    day: date | None
    from_: date | None = Field(default=None, alias="from")
    until: date | None = None
    breaks_alone: tuple[Binding, ...] = ()
    breaks: tuple[Binding, ...] = ()
    more_strain: float = 0.0
    more_handlings: int = 0
    strain_proven: bool = False
    others: tuple[str, ...] = ()
    causes: Causes | None = None
    ways_out: tuple[WayOut, ...] = ()


class Refusal(Frozen):
    """Why a brood has no home with what is there: the smallest set of causes, and ways out.

    `not_taken` says that it is a collection that is taken only if it fits, and left out from its day on.
    """

    from_: date = Field(alias="from")
    until: date
    causes: Causes | None
    ways_out: tuple[WayOut, ...]
    not_taken: bool = False


class Why(Frozen):
    """The whole answer.

    Attributes
    ----------
    verdict
        Of the plan that is explained: with tanks added, where the room needs some.
    added
        What the tanks that the plan adds are called here.
    stays, refusal
        Left out where something is asked.
    cut_short
        Whether the time was up, or the keeper stopped it, before all was asked.
    asked_times
        How many rooms were planned to find out.
    """

    room: str
    today: date
    brood: str
    line: str
    collected: date
    verdict: Verdict
    added: tuple[str, ...]
    stays: tuple[StayReason, ...]
    refusal: Refusal | None = None
    asked: Asked | None = None
    cut_short: bool = False
    asked_times: int = 0
