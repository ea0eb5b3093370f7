"""Why a brood finds no room beside a plan that is held still."""

from datetime import date
from enum import StrEnum

from allocator.frozen import Frozen


class Snag(StrEnum):
    """What a brood founders on."""

    NO_VESSEL = "no vessel of the kind"
    TAKEN = "the vessels are taken"
    PARTS = "too few vessels for its parts"
    SALE = "no vessel is free until it may be sold"
    HANDS = "no move day with a hand free"
    COMPANY = "the fish beside it would grow too slowly"
    LENGTH = "the fish would not be long enough on the day for which they are wanted"


class Unfit(StrEnum):
    """Why a vessel of the right kind does not do for a brood, whoever else is in it."""

    SNAILS = "eggs must be out of reach of snails"
    AWAY = "not there on all of these days"
    SMALL = "too small for so many, even with nobody else in it"
    OTHER = "not for fish of this size: its flow, its length, or a pin"


class InTheWay(Frozen):
    """A vessel of the right kind, and the broods that are in it at the time, or why it does not do at all."""

    vessel: str
    broods: tuple[str, ...] = ()
    unfit: Unfit | None = None


class Refusal(Frozen):
    """A brood that finds no room, and where it founders.

    It would need a vessel of one of the `kinds` for the stage of this name from a day between `since` and `latest`, at
    least until `until`. `nowhere`: no vessel that is there or could be added does for the stage on any day.
    """

    brood: str
    snag: Snag
    stage: str = ""
    kinds: tuple[str, ...] = ()
    since: date | None = None
    latest: date | None = None
    until: date | None = None
    in_the_way: tuple[InTheWay, ...] = ()
    nowhere: bool = False

    @property
    def never(self) -> bool:
        """Tell whether no vessel that is there does, on whatever days and whoever is moved.

        One that is away then may be there for a collection on other days.
        """
        away = any(way.unfit is Unfit.AWAY for way in self.in_the_way)
        return self.snag is Snag.NO_VESSEL or (self.nowhere and not away)
