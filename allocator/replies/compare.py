"""What is different between the plans of two rooms, for `allocator compare`."""

from datetime import date

from pydantic import Field

from allocator.frozen import Frozen
from allocator.plan import Added, Homeless, Verdict
from allocator.replies.assumed import Assumption


class Side(Frozen):
    """The answer for one of the two rooms.

    Attributes
    ----------
    price
        Of the tanks that are added, in the keeper's money.
    least_price
        Whether it is proven that no cheaper addition will do (or that none is needed).
    not_taken
        Collections that are left out, as they may be.
    fish_days_without_home
        Fish times days without a home, as in the plan's own levels.
    handlings
        How many times fish are moved from one vessel to another.
    strain
        Points, as in the plan's own levels.
    strain_proven
        Whether it is proven that no plan has less.
    stopped
        Whether the search ended before it was done.
    remarks
        What the keeper should look at.
    """

    verdict: Verdict
    added: tuple[Added, ...]
    price: float
    least_price: bool
    homeless: tuple[Homeless, ...]
    not_taken: tuple[str, ...]
    fish_days_without_home: int
    handlings: int
    strain: float
    strain_proven: bool
    stopped: bool
    remarks: tuple[str, ...]


class Elsewhere(Frozen):
    """Days, from one (included) until another (excluded), on which a brood lives in other vessels in the other plan.

    Empty where it has no home then.
    """

    brood: str
    from_: date = Field(alias="from")
    until: date
    before: tuple[str, ...]
    after: tuple[str, ...]


class OtherMove(Frozen):
    """A brood that is moved otherwise on a day: (from, to) of each of its moves; None for eggs and for sales."""

    on: date
    brood: str
    before: tuple[tuple[str | None, str | None], ...]
    after: tuple[tuple[str | None, str | None], ...]


class OtherSale(Frozen):
    """A brood that is sold on other days, or in another number."""

    brood: str
    before: tuple[date, ...]
    after: tuple[date, ...]
    fish_before: int
    fish_after: int


class Use(Frozen):
    """How one kind of vessel is used in one of the plans.

    Attributes
    ----------
    there
        How many stand there in the fullest week, without those that the plan adds.
    most
        The most that are in use in one week.
    first_tight
        The Monday of the first week in which all that stand there are in use; None if there is none.
    weeks_tight, weeks_empty
        Weeks in which all are in use, and in which none is, of those until the last fish are sold in both plans.
    """

    there: int
    most: int
    first_tight: date | None
    weeks_tight: int
    weeks_empty: int


class OtherUse(Frozen):
    """A kind of vessel that is used otherwise; None on the side on which there is no such vessel."""

    kind: str
    before: Use | None
    after: Use | None


class Comparison(Frozen):
    """Only what is different between two plans, and the assumptions that made it so.

    Attributes
    ----------
    moves
        Those of the days from `today` until `moves_until` (excluded).
    """

    room: str
    today: date
    moves_until: date
    assumptions: tuple[Assumption, ...]
    before: Side
    after: Side
    elsewhere: tuple[Elsewhere, ...] = ()
    moves: tuple[OtherMove, ...] = ()
    sales: tuple[OtherSale, ...] = ()
    use: tuple[OtherUse, ...] = ()

    @property
    def same(self) -> bool:
        """Tell whether nothing differs that a keeper would notice."""
        told = {"verdict", "added", "homeless", "not_taken", "handlings", "strain"}
        one, other = (side.model_dump(include=told) for side in (self.before, self.after))
        return one == other and not (self.elsewhere or self.moves or self.sales or self.use)
