"""What is taken to be different in a room, for questions that begin with "what if"."""

from datetime import date
from enum import StrEnum

from allocator.frozen import Frozen


class Differs(StrEnum):
    """In what one room differs from another."""

    MORE_VESSELS = "more vessels"
    NO_VESSEL = "no vessel"
    VESSEL_DAYS = "vessel there on other days"
    VESSEL = "vessel"
    MORE_BROODS = "more broods"
    NO_BROODS = "no broods"
    COLLECTED = "collected on another day"
    FISH = "other number of eggs or fish"
    BROOD = "brood"
    MORE_GROUPS = "more breeding groups"
    NO_GROUPS = "no breeding groups"
    GROUP = "breeding group"
    MORE_LINES = "more lines"
    NO_LINES = "no lines"
    FIGURE = "figure"
    LINE = "line"
    MOVE_DAYS = "move days"
    MOST_MOVES = "most moves"
    AWAY = "days away"
    PLANNED_ON = "planned on"
    PINS = "pins"
    ORDERS = "orders"
    COULD_ADD = "could add"


class Assumption(Frozen):
    """One thing that is taken to be different.

    Attributes
    ----------
    kind
        In what.
    names
        Of the vessels, broods, groups or lines that it is about.
    what
        The kind of vessel, or the figure.
    before, after
        Values, where there are any to tell.
    on
        The day from which it is so.
    """

    kind: Differs
    names: tuple[str, ...] = ()
    what: str = ""
    before: str = ""
    after: str = ""
    on: date | None = None
