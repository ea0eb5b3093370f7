"""How often a plan holds: chances over many replays of it, each with its standard error."""

from datetime import date
from math import sqrt

from allocator.frozen import Frozen


class Chance(Frozen):
    """In how many of so many replays something happens, as a share from 0 to 1, and its standard error.

    Source
    ------
    Standard error of a proportion: sqrt(p (1 - p) / n) (any textbook of statistics). It is 0 where something
    happens never or always; then `below` says how rare the other may still be.
    """

    times: int
    replays: int
    share: float
    standard_error: float

    @classmethod
    def of(cls, times: int, replays: int) -> "Chance":
        """Return the chance of what happened so many times in at least one replay."""
        share = times / replays
        return cls(
            times=times, replays=replays, share=share, standard_error=sqrt(share * (1 - share) / replays)
        )

    @property
    def below(self) -> float:
        """What the chance is very likely below if it never happened: 3 / n, the rule of three.

        Source
        ------
        Hanley & Lippman-Hand 1983, JAMA 249:1743-1745 (from memory): an upper 95 % limit; derived:
        (1 - p)^n = 0.05 gives p = -ln(0.05) / n = 3.0 / n.
        """
        return min(1.0, 3 / self.replays)


class VesselMonth(Frozen):
    """The chance that a vessel holds more than a limit allows on some day of a month.

    `month` is its first day; `runs_out` is what is short on most of those days, None where that never happens.
    """

    vessel: str
    month: date
    overfull: Chance
    runs_out: str | None


class Week(Frozen):
    """A week, from its Monday, and the chance that something is overfull in it; `vessels` the worst first."""

    monday: date
    overfull: Chance
    vessels: tuple[tuple[str, Chance], ...]


class WithoutHome(Frozen):
    """Fish above the limits on the worst day of a replay: the mean, and how many at most in 80 and 95 of 100."""

    mean: float
    at_80: int
    at_95: int


class Spares(Frozen):
    """The chance that the free vessels of a kind and so many spare ones cannot take the fish that are too many.

    `like` is None for so many spare ones of every kind at once.
    """

    like: str | None
    spares: int
    too_few: Chance


class Slip(Frozen):
    """What the fish of a brood are not ready for on the day of the plan.

    Attributes
    ----------
    too_small
        Some of them must wait for a move: not hatched, too young or too short for it.
    too_long
        They are longer at a move than the stage allows.
    not_ready
        They are not long enough on the day on which they shall be sold.
    late_at_80, late_at_95
        Days by which they are sold late, at most, in 80 and in 95 of 100 replays.
    """

    brood: str
    too_small: Chance
    too_long: Chance
    not_ready: Chance
    late_at_80: int
    late_at_95: int


class Replanned(Frozen):
    """The same with a new plan on the first of each month, from what is there by then.

    `fixed_...` are about the plan as it stands in the same replays. Overfull includes fish without a home in a new plan.
    `kept_old` counts the months, over all replays, in which the quick search gave no plan that keeps the rules
    and the old one was gone on with.
    """

    replays: int
    overfull: Chance
    without_home: WithoutHome
    fixed_overfull: Chance
    fixed_without_home: WithoutHome
    plans: int
    kept_old: int


class Luck(Frozen):
    """How often one plan of one room holds.

    Attributes
    ----------
    seed
        The same room, plan, seed and number of replays give the same numbers, with the same version of numpy.
    asked_for
        The number of replays that was asked for; fewer were made if the keeper stopped the run.
    overfull
        Some vessel is overfull on some day.
    by_vessel
        Every vessel that is ever lived in, by every month.
    without_home
        On the worst day of a replay.
    too_short
        Some fish outgrow a vessel, and the room has none that is long enough for them.
    spares
        For each kind, in the order of the room, then for all kinds at once: see `Spares`.
    spares_at_80, spares_at_95
        Spare vessels by kind that are enough in 80 and in 95 of 100 replays, each kind taken alone.
    homeless_in_plan
        Fish without a home in the plan itself, which no replay counts again.
    replan_asked_for
        The number of replays with new plans that was asked for; `replanned` is None if none was made.
    """

    room: str
    today: date
    seed: int
    asked_for: int
    replays: int
    overfull: Chance
    by_month: tuple[tuple[date, Chance], ...]
    by_vessel: tuple[VesselMonth, ...]
    worst_week: Week | None
    without_home: WithoutHome
    too_short: Chance
    spares: tuple[Spares, ...]
    spares_at_80: tuple[tuple[str, int], ...]
    spares_at_95: tuple[tuple[str, int], ...]
    slips: tuple[Slip, ...]
    waits: Chance
    homeless_in_plan: int
    replan_asked_for: int = 0
    replanned: Replanned | None = None

    @property
    def stopped(self) -> bool:
        """Tell whether the run was stopped before all replays were made."""
        return self.replays < self.asked_for
