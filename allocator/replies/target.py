"""Fish for a date: what is there by then, what must be spawned when, where it lives, and with what chance."""

from datetime import date
from enum import StrEnum

from allocator.frozen import Frozen
from allocator.replies.fit import Step
from allocator.replies.luck import Chance
from allocator.replies.refusal import Refusal
from allocator.room import CollectedBy


class Aim(StrEnum):
    """What is reckoned with."""

    EXPECTED = "as expected"
    LIKELY = "fairly sure"
    WORST = "slow growth and few survive"


class Already(Frozen):
    """A brood of the line that the plan has already and that is long enough by the day.

    Attributes
    ----------
    fish, fish_low
        Whole fish on the day: as expected; and if few survive, none where slow growth makes them too short.
    late_days
        Days by which their vessels and their company put off the day on which they are long enough.
    ready
        The day on which they are long enough, where the plan has them live.
    sold
        The day on which the plan sells them.
    kept_days
        Days by which they are kept for longer than the plan has them; the checker has passed it.
    counts
        False where their vessel is promised to others before the day: then they are not counted.
    """

    brood: str
    fish: int
    fish_low: int
    late_days: int
    ready: date
    sold: date
    kept_days: int
    counts: bool


class Taken(Frozen):
    """One collection of eggs (or young)."""

    brood: str
    on: date
    eggs: int
    parents: str | None = None


class Home(Frozen):
    """Where the fish of one collection would live until the day."""

    brood: str
    steps: tuple[Step, ...]
    ready: date


class Way(Frozen):
    """When to take how many eggs.

    Attributes
    ----------
    aim
        With what it is reckoned.
    latest
        The last day on which a collection would be grown in time, with room to grow.
    collections
        What to take, in order of time: on the last days that find room, or else on the last days of all.
    fish
        How many are expected on the day in all, long enough or not.
    homes
        Where they would live; empty where there is no room for all of them.
    refusals
        What is in the way of the collections on the last days of all; empty where they find room.
    sold_later
        Days by which company puts off the sale of others.
    odds
        The chance that at least so many fish as are wanted are there on the day, and long enough.
    """

    aim: Aim
    latest: date
    collections: tuple[Taken, ...]
    fish: int
    homes: tuple[Home, ...]
    refusals: tuple[Refusal, ...]
    sold_later: dict[str, int]
    odds: Chance

    @property
    def eggs(self) -> int:
        """All eggs together."""
        return sum(row.eggs for row in self.collections)


class Earliest(Frozen):
    """The first day on which so many fish can be there; the first collection, and all eggs.

    Without eggs it is broods that are there or planned already.
    """

    aim: Aim
    day: date
    first: date | None
    eggs: int


class TargetReply(Frozen):
    """How to have so many fish on a day.

    Attributes
    ----------
    mm
        The length at which they are sold.
    leaves
        The first day, from the wanted one on, on which fish are moved: until then their vessel is taken.
    taken, born
        How a brood is taken, and whether the young are born, so that there are no eggs.
    already
        Broods of the line that are long enough by the day and not sold for so long that they would be gone.
    sold
        Broods of the line whose time to find buyers is over by then.
    promised
        Broods of the line that are kept for an order; they are not counted.
    odds_already
        The chance that those are enough.
    likely
        From which chance on it is called fairly sure.
    usual
        Eggs that one collection is taken to give; None where nothing says so.
    apart_days
        Days between two collections.
    ways
        One for each aim, without those that are too late and those for which nothing is missing.
    earliest
        Where it is too late for one of the ways: the first later day on which it is not.
    next_room
        Where there is no way with a home: the first later day, as expected, on which there is one.
    groups
        The breeding groups of the line.
    added
        Vessels that the plan adds, such as "1 more long": they are counted as there.
    homeless
        Broods that the plan leaves without a home.
    """

    room: str
    line: str
    fish: int
    by: date
    mm: float
    leaves: date
    taken: CollectedBy
    born: bool
    already: tuple[Already, ...]
    sold: tuple[str, ...]
    promised: tuple[str, ...]
    odds_already: Chance
    likely: float
    usual: int | None
    apart_days: int
    ways: tuple[Way, ...]
    earliest: tuple[Earliest, ...]
    next_room: date | None
    groups: tuple[str, ...]
    added: tuple[str, ...] = ()
    homeless: tuple[str, ...] = ()

    @property
    def there(self) -> int:
        """Fish that are there already, as expected."""
        return sum(row.fish for row in self.already if row.counts)

    @property
    def there_low(self) -> int:
        """Fish that are there already, where few survive."""
        return sum(row.fish_low for row in self.already if row.counts)

    @property
    def can_be(self) -> bool:
        """Whether there is a way, or nothing is missing."""
        return self.there >= self.fish or any(way.homes for way in self.ways)

    @property
    def surest(self) -> Way | None:
        """The way with a home for all that is surest of those that are no more than fairly sure."""
        by_aim = {way.aim: way for way in self.ways if way.homes}
        return next((by_aim[aim] for aim in (Aim.LIKELY, Aim.WORST, Aim.EXPECTED) if aim in by_aim), None)

    def enough(self, aim: Aim) -> bool:
        """Whether nothing more has to be spawned."""
        if aim is Aim.LIKELY:
            return self.odds_already.share >= self.likely
        return self.fish <= (self.there if aim is Aim.EXPECTED else self.there_low)
