"""A plan: who lives where from which day, what is moved when, and what must be added."""

from datetime import date
from enum import StrEnum

from pydantic import Field

from allocator.frozen import Frozen
from allocator.rules import FlowSetting

FORMAT = 1


class Verdict(StrEnum):
    """The answer in a few words."""

    FITS = "fits"
    NEEDS_MORE_TANKS = "needs more tanks"
    DOES_NOT_FIT = "does not fit"


class Stay(Frozen):
    """One lot in one vessel, from a day (included) until a day (excluded).

    `fish` is the count on the first day.
    """

    lot: str
    brood: str
    vessel: str
    from_: date = Field(alias="from")
    until: date
    fish: int


class Move(Frozen):
    """A lot leaves one vessel for another.

    `from` is None when eggs are set up, `to` is None when fish are sold.
    """

    on: date
    lot: str
    brood: str
    from_: str | None = Field(alias="from")
    to: str | None
    fish: int


class FlowChange(Frozen):
    """From this day a vessel runs at this setting."""

    vessel: str
    from_: date = Field(alias="from")
    setting: FlowSetting


class Homeless(Frozen):
    """Fish of a brood for which there is no room."""

    brood: str
    from_: date = Field(alias="from")
    until: date
    fish: int


class NotTaken(Frozen):
    """A collection that is left out for want of room, as its keeper allows."""

    brood: str
    on: date
    eggs: int


class Added(Frozen):
    """Vessels to be added, and the day by which the first of them is needed."""

    like: str
    copies: int
    from_: date = Field(alias="from")


class Plan(Frozen):
    """A plan as it stands in a plan file, without the story of how it was found."""

    verdict: Verdict
    proven: bool
    added: tuple[Added, ...] = ()
    stays: tuple[Stay, ...] = ()
    moves: tuple[Move, ...] = ()
    flow: tuple[FlowChange, ...] = ()
    homeless: tuple[Homeless, ...] = ()
    not_taken: tuple[NotTaken, ...] = ()
