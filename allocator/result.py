"""What the planner hands to the reports: checked plans, and how far each part of the answer is proven."""

from datetime import date
from enum import StrEnum

from allocator.frozen import Frozen
from allocator.plan import Plan
from allocator.room import Room


class FoundBy(StrEnum):
    """Which search a plan came from."""

    SOLVER = "solver"
    FIRST_FIT = "first fit"


class LevelOutcome(Frozen):
    """One level of what is best: the value reached, the best value still possible, and whether they meet.

    `level` is 1 to 4, `name` says what is counted ("cost of added tanks", "strain", ...), `unit` its unit.
    """

    level: int
    name: str
    unit: str
    value: float
    bound: float
    proven: bool


class Shortage(Frozen):
    """A day on which the vessels of one kind cannot hold what must live in them, to be read out.

    `broods` are the names that alone need `needed` vessels of which there are only `there`.
    """

    on: date
    kind: str
    needed: int
    there: int
    broods: tuple[str, ...]


class LongShortage(Frozen):
    """A stretch of time in which there are too few vessels, though no single day shows it, to be read out.

    `at_least` is what must be spent on more, as a price. Where whole stays show it, `broods` are those whose stays
    alone need `needed` vessels one after another, of which there are only `there`.
    """

    since: date
    until: date
    kind: str
    at_least: float
    needed: int = 0
    there: int = 0
    broods: tuple[str, ...] = ()


class Answer(Frozen):
    """One checked plan with its levels."""

    plan: Plan
    found_by: FoundBy
    levels: tuple[LevelOutcome, ...]
    shortages: tuple[Shortage, ...] = ()
    long_shortages: tuple[LongShortage, ...] = ()


class Result(Frozen):
    """The whole answer.

    Attributes
    ----------
    room
        The room that `plan` lives in: with its added vessels, if there are any.
    best
        The plan to follow: with what the keeper has if that is enough, else with the cheapest addition.
    as_it_is
        The best that can be done with nothing added. The same as `best` when everything fits.
    remarks
        What the keeper should look at: what is wrong today and cannot be helped yet, pins that cannot be kept.
    strain_afresh
        The strain of a checked plan that does not go on from the plan in hand, where that is clearly less; else None.
    stopped
        True when the keeper pressed Ctrl-C or the time ran out before every level was done.
    seconds
        Wall time.
    work
        Deterministic solver work, the same on every machine.
    """

    room: Room
    best: Answer
    as_it_is: Answer
    remarks: tuple[str, ...] = ()
    strain_afresh: float | None = None
    stopped: bool = False
    seconds: float = 0.0
    work: float = 0.0


class Progress(Frozen):
    """How far a running plan has come, for one live line.

    `stage` says in a few words what is being looked for, `value` is the best found so far and `bound` the
    best still possible; None where there is nothing yet. `seconds` is wall time since the start.
    """

    stage: str
    value: float | None = None
    bound: float | None = None
    seconds: float = 0.0


class NoPlanInTime(Exception):  # noqa: N818 - it is an outcome, in the words of the exit codes
    """Not even a first-fit plan was found in the time given."""
