"""Can this pair be started? What the room says to it, for each way to take the eggs."""

from datetime import date

from allocator.frozen import Frozen
from allocator.plan import Added, Verdict
from allocator.replies.compare import Elsewhere
from allocator.replies.refusal import Refusal
from allocator.room import BreedingGroup, CollectedBy


class LeftOut(Frozen):
    """A collection for which there is no room."""

    on: date
    brood: str


class NobodyMoved(Frozen):
    """What finds room beside the plan as it stands.

    Attributes
    ----------
    taken
        How many of the collections.
    left_out
        The others, in order of days.
    first
        What is in the way of the first of them.
    sold_later
        Days by which company puts off the sale of others.
    """

    taken: int
    left_out: tuple[LeftOut, ...]
    first: Refusal | None
    sold_later: dict[str, int]


class OthersMoved(Frozen):
    """What finds room where others may be moved to other vessels or on other days.

    Attributes
    ----------
    taken, left_out
        As above, with nothing added and none of the others without a home.
    proven
        Whether it is proven that no plan takes more.
    displaced
        Where others live elsewhere than in the plan as it stands.
    verdict, added, price, price_proven
        What it takes to raise all collections: the cheapest addition found, and whether it is proven to be.
    strain
        Points of strain of the plan in which all are raised, with that addition; None where there is none.
    stopped
        Whether the search ended before it was done.
    """

    taken: int
    left_out: tuple[LeftOut, ...]
    proven: bool
    displaced: tuple[Elsewhere, ...]
    verdict: Verdict
    added: tuple[Added, ...]
    price: float
    price_proven: bool
    stopped: bool
    strain: int | None = None


class Tight(Frozen):
    """The first week in which no vessel of a kind is left free, once the pair is there.

    `without_pair` says whether it is as tight in that week without the pair.
    """

    kind: str
    week: date
    there: int
    broods: tuple[str, ...]
    without_pair: bool = False


class PairWay(Frozen):
    """The answer for one way to take the eggs.

    `earliest` is the first start, looking on week by week, at which all collections find room with nobody moved; None
    where there is none until `looked_until`, or where it is not looked for since no vessel of the room does. `strain` has
    the points of strain of the plan with all that find room, with nothing added.
    """

    by: CollectedBy
    collections: tuple[date, ...]
    eggs: int
    nobody_moved: NobodyMoved | None
    others_moved: OthersMoved | None
    earliest: date | None
    looked_until: date | None
    tight: Tight | None
    strain: int | None = None


class PairReply(Frozen):
    """The whole answer.

    Attributes
    ----------
    pair
        With its vessel, and since when it is there.
    own_vessel_new
        Whether no vessel is free for the pair itself, so that one is taken to be added for it.
    own_vessel_taken
        Who lives in the vessel that was asked for, in the plan as it stands.
    short_already
        Whether the room has not enough vessels even without the pair: the answer is with those that its plan adds.
    every_days
        Days from one collection to the next.
    strain_now
        Points of strain of the plan as it stands.
    ways
        One for each way to take the eggs.
    born, guarded
        Whether the young are born, so that nobody can leave eggs untaken; whether the pair guards them.
    own_vessel_for
        What the vessel of the pair is for, if it is not for breeding.
    """

    room: str
    pair: BreedingGroup
    own_vessel_new: bool
    own_vessel_taken: tuple[str, ...]
    short_already: bool
    every_days: int
    ways: tuple[PairWay, ...]
    strain_now: int = 0
    born: bool
    guarded: bool
    own_vessel_for: tuple[str, ...] = ()

    @property
    def yes(self) -> bool:
        """Tell whether all collections of some way find room with nothing added."""
        return not self.own_vessel_new and any(
            way.others_moved is not None
            and not way.others_moved.left_out
            and way.others_moved.verdict is Verdict.FITS
            for way in self.ways
        )
