"""Long runs with evenly spread collections: the most for which there is a checked plan, and what is ruled out."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from threading import Event
from time import monotonic

from allocator.plan import Plan
from allocator.questions.pace_room import Collection, with_collections
from allocator.quickly import plan_quickly, surely_short
from allocator.result import Progress
from allocator.room import Room

PERIODS_DAYS = (84, 168, 336)
"""Collections repeat after so many days: whole weeks, and the first that makes steps small enough (judgement)."""

FINE_STEPS = 20
"""A period is long enough if so many broods, at most, come in it: then a step is a twentieth (judgement)."""

LIVES_IN_A_RUN = 2
"""A run goes on for so many lives of a brood: one until the room has filled up, one to look at (judgement)."""

FIRST_GUESS = 0.5
"""Where the search below the bound begins, as a part of it (judgement)."""

GAIN = 0.2
"""By how much of what is known one vessel more is tried first (judgement)."""

COARSE = 0.04
"""The search ends when what is found and what was not found are no further apart than this part (judgement)."""

DUST = 1e-6
"""What the solver of the bound may be off by, as a part (its tolerances are 1e-6 and less)."""


@dataclass
class Search:
    """What the runs of one question share: the stop button, the clock and the live line."""

    stop: Event
    deadline: float | None
    started: float
    progress: Callable[[Progress], None]
    cut_short: bool = False

    def share(self, parts: int) -> "Search":
        """Return a search with one of so many equal parts of the time that is left."""
        if self.deadline is None:
            return self
        now = monotonic()
        left = max(self.deadline - now, 0.0)
        return replace(self, deadline=now + left / parts, cut_short=False)

    def over(self) -> bool:
        """Tell whether the search should end with what it has."""
        if self.stop.is_set() or (self.deadline is not None and monotonic() >= self.deadline):
            self.cut_short = True
        return self.cut_short


def most_in(days: int, pace: float) -> int:
    """Return how many whole broods a pace a day allows in so many days; float dust is not rounded away."""
    return int(pace * days * (1 + DUST) + DUST)


def period_for(pace: float) -> int:
    """Return the days after which collections repeat, for a bound on their pace a day."""
    return next((days for days in PERIODS_DAYS if most_in(days, pace) >= FINE_STEPS), PERIODS_DAYS[-1])


@dataclass(frozen=True)
class Stream:
    """Collections that come evenly: which, in which shares, and the bound on their pace.

    `life_days` is the longest life of one of the broods, `bound` the most broods a day; the collections repeat after
    `period` days.
    """

    room: Room
    collections: Sequence[Collection]
    weights: Sequence[float]
    life_days: int
    bound: float
    name: str
    period: int

    @property
    def most(self) -> int:
        """The most broods in a period that the bound leaves possible."""
        return most_in(self.period, self.bound)

    @property
    def days(self) -> int:
        """How long there are collections in a run: whole periods, one life at least after the room has filled up."""
        at_least = max(LIVES_IN_A_RUN * self.life_days, self.life_days + self.period)
        return -(-at_least // self.period) * self.period

    def with_broods(self, count: int) -> Room:
        """Return the room with so many collections in each period."""
        return with_collections(self.room, self.collections, self.weights, count, self.period, self.days)


def most_found(stream: Stream, search: Search, known: int = 0) -> tuple[int, Plan | None]:
    """Return the most broods in a period for which a checked plan of the long run is found, with that plan.

    Parameters
    ----------
    known
        So many are known to fit (with no plan to return, where nothing more is found).
    """
    low, high, best = known, stream.most + 1, None
    begun = False
    while high - low > max(1, int(COARSE * low)) and not search.over():
        guess = GAIN * low if known else FIRST_GUESS * (high - low - 1)
        middle = (low + high) // 2 if begun else min(low + max(1, round(guess)), high - 1)
        begun = True
        search.progress(
            Progress(
                stage=f"{stream.name}: {middle} broods in {stream.period} days?",
                seconds=monotonic() - search.started,
            )
        )
        plan = plan_quickly(
            stream.with_broods(middle),
            stop=search.stop,
            deadline=search.deadline,
            stage=f"{stream.name}: {middle} broods in {stream.period} days",
            progress=search.progress,
        )
        if plan is not None:
            low, best = middle, plan
        else:
            high = middle
    search.over()
    return low, best


def most_possible(stream: Stream, search: Search, found: int) -> int:
    """Return the most broods in a period that are not ruled out: by the bound, or by some day of the run.

    Counted down from the bound for as long as a day rules out evenly spread collections, each count by itself: more
    broods on other days need not be harder.
    """
    most = stream.most
    while most > found and not search.over():
        search.progress(
            Progress(
                stage=f"{stream.name}: are {most} broods in {stream.period} days ruled out?",
                seconds=monotonic() - search.started,
            )
        )
        if not surely_short(stream.with_broods(most)):
            break
        most -= 1
    return most
