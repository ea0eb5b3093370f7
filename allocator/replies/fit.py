"""Where a coming brood will live: the way through the room that is found for it, and every other home."""

from datetime import date

from pydantic import Field

from allocator.frozen import Frozen
from allocator.replies.refusal import Refusal
from allocator.room import CollectedBy


class Step(Frozen):
    """A part of a brood in one vessel, from a day (included) until a day (excluded).

    `fish` is the count on the first day, `mm` the length (None for eggs). The shares say how full the vessel is with
    all who live there, in percent of its limit, on the first and on the last day; `mates` are the broods it meets there.
    """

    stage: str
    vessel: str
    from_: date = Field(alias="from")
    until: date
    fish: int
    mm: float | None
    full_at_first: int
    full_at_last: int
    mates: tuple[str, ...] = ()


class Offer(Frozen):
    """A vessel that would do for one stage, with nobody else moved.

    Attributes
    ----------
    vessel
        Its name.
    first_free
        The first day on which the brood may come, once it is old enough and can have come so far.
    from_, until
        The days that would be spent there; the same as on the way that was chosen where that is possible.
    full_at_first, full_at_last
        How full it would be on the first and on the last of these days, in percent of its limit.
    mates
        Who else is there meanwhile.
    strain
        Days times percent above the comfort level that the brood adds to the vessel.
    chosen
        Whether the way that was chosen leads through it.
    """

    vessel: str
    first_free: date
    from_: date = Field(alias="from")
    until: date
    full_at_first: int
    full_at_last: int
    mates: tuple[str, ...]
    strain: int
    chosen: bool


class StageHomes(Frozen):
    """Every home for one stage, best first. `parts` is into how many a brood of this size is parted, if it must be."""

    stage: str
    kinds: tuple[str, ...]
    parts: int
    offers: tuple[Offer, ...]


class FitReply(Frozen):
    """Where a coming brood will live.

    Attributes
    ----------
    room, brood, line, collected, by, eggs
        What was asked about.
    steps
        The way through the room that was found, empty where there is none; a checked plan.
    sold
        The day of sale.
    stages
        Other homes, stage by stage, up to the one at which it founders.
    sold_later
        Days by which company puts off the sale of others.
    refusal
        Why there is no way, if there is none.
    added
        Vessels that the plan adds, such as "1 more long": they are counted as there.
    homeless
        Broods that the plan leaves without a home, with or without this one.
    """

    room: str
    brood: str
    line: str
    collected: date
    by: CollectedBy
    eggs: int
    steps: tuple[Step, ...]
    sold: date | None
    stages: tuple[StageHomes, ...]
    sold_later: dict[str, int]
    refusal: Refusal | None
    added: tuple[str, ...] = ()
    homeless: tuple[str, ...] = ()
