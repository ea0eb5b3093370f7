"""Why a brood finds no room beside a plan that is held still."""

from datetime import date
from enum import StrEnum

from allocator.frozen import Frozen


class Snag(StrEnum):
    """What a brood founders on."""

    NO_VESSEL = "no vessel of the kind"
    TAKEN = "the vessels are taken"
    PARTS = "too few vessels for its parts"
    HANDS = "no move day with a hand free"
    COMPANY = "the fish beside it would grow too slowly"


class InTheWay(Frozen):
    """A vessel of the right kind, and what is in it at the time: broods, or a breeding group."""

    vessel: str
    broods: tuple[str, ...] = ()


class Refusal(Frozen):
    """A brood that finds no room, and where it founders.

    It would need a vessel of one of the `kinds` for the stage of this name from a day between `since` and `latest`, at
    least until `until`.
    """

    brood: str
    snag: Snag
    stage: str = ""
    kinds: tuple[str, ...] = ()
    since: date | None = None
    latest: date | None = None
    until: date | None = None
    in_the_way: tuple[InTheWay, ...] = ()
