"""What one call of the planner shares, and the best that it has found so far."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from threading import Event
from time import monotonic

from allocator.model.bounds import Slice, worst_slices
from allocator.model.naming import Solution
from allocator.model.room_model import BuildStoppedError, CohortModel, Keep
from allocator.model.search import Budget
from allocator.model.settled import Score
from allocator.needs import Needs
from allocator.plan import Plan
from allocator.result import FoundBy, LevelOutcome, LongShortage, Progress
from allocator.room import Room

PASSES_TO_CHECK = 1.0
"""How long it takes to check both answers, in times that it takes to settle everybody once (judgement)."""

MOST_PHASES_IN_A_MODEL = 1000
"""To write down the model of a larger room takes minutes (measured, see docs/explanation/speed.md)."""


@dataclass
class Run:
    """What one call of the planner shares: the tables, the clock, the stop button and the live line.

    `needs` are the tables to begin with. Company holds nobody back in `sure`, and nobody is in it who need not be
    taken: what those tables rule out, no plan can do. `effort` is how many times the usual work each search may take.
    `too_little` is a cost that is known not to be enough, whatever the plan; -1 where none is.
    `pass_seconds` is how long it took in a large room to settle everybody once: what is left to do takes some times as
    long. `few_settled` is how often a few broods were settled anew by the solver: see `few_anew`.
    """

    room: Room
    needs: Needs
    sure: Needs
    stop: Event
    deadline: float | None
    started: float
    progress: Callable[[Progress], None]
    keep: Keep | None
    prefer: Callable[[str, int], str | None]
    against: Plan | None = None
    work: float = 0.0
    effort: float = 1.0
    cut_short: bool = False
    hurried: bool = False
    pass_seconds: float = 0.0
    too_little: int = -1
    few_settled: int = 0
    notes: list[str] = field(default_factory=list)

    @cached_property
    def short_on(self) -> tuple[Slice, ...]:
        """The days on which vessels are short whatever the plan: see `worst_slices`."""
        return worst_slices(self.sure)

    def over(self) -> bool:
        """Tell whether the run should end with what it has."""
        if self.stop.is_set() or (self.deadline is not None and monotonic() >= self.deadline):
            self.cut_short = True
        return self.cut_short

    def tight(self, passes: float, share: float = 0.0) -> bool:
        """Tell whether a large room should stop improving, so that what comes after is done in time.

        Parameters
        ----------
        passes
            What comes after, in times that it took to settle everybody once.
        share
            The part of the whole time, 0 to 1, that should be left in any case.
        """
        if self.over():
            return True
        if self.deadline is None or not self.pass_seconds:
            return False
        needed = max(passes * self.pass_seconds, share * (self.deadline - self.started))
        if monotonic() + needed < self.deadline:
            return False
        self.hurried = True
        return True

    def note(self, text: str) -> None:
        """Remember something odd about the search, for whoever looks into it."""
        self.notes.append(text)

    def model(
        self, needs: Needs, *, adding: bool, homeless: bool, leaving_out: bool = False
    ) -> CohortModel | None:
        """Build the constraint model; None when the run was stopped meanwhile, or the room is too large for it."""
        if sum(len(brood.phases) for brood in needs.broods) > MOST_PHASES_IN_A_MODEL:
            return None
        try:
            return CohortModel(
                needs,
                adding=adding,
                homeless=homeless,
                leaving_out=leaving_out,
                keep=self.keep,
                go_on=lambda: not self.over(),
            )
        except BuildStoppedError:
            return None

    def budget(self, work: float, share: float, *, brief: bool = False) -> Budget:
        """Return a budget of so much work that also takes no more than a share of the time that is left."""
        left = None if self.deadline is None else max((self.deadline - monotonic()) * share, 0.05)
        return Budget(work, left, brief)

    def tell(self, stage: str) -> Callable[[float | None, float | None], None]:
        """Return what shows the best value and bound of a stage as it runs."""

        def show(value: float | None, bound: float | None) -> None:
            self.progress(Progress(stage=stage, value=value, bound=bound, seconds=monotonic() - self.started))

        return show


@dataclass
class Found:
    """The best solution so far, the tables it keeps to, where it came from, and the levels that are done.

    `at_least` has, by field of the score, what no plan that houses all goes below, whoever is held back by company.
    """

    needs: Needs
    solution: Solution
    score: Score
    by: FoundBy
    levels: list[LevelOutcome] = field(default_factory=list)
    earlier: list["Found"] = field(default_factory=list)
    reasons: list[LongShortage] = field(default_factory=list)
    at_least: dict[str, int] = field(default_factory=dict)

    def give_way(self, solution: Solution, score: Score, by: FoundBy, needs: Needs | None = None) -> None:
        """Let a better solution, by the same tables unless others are given, take the place of this one.

        This one is kept as an earlier one.
        """
        self.earlier.append(Found(self.needs, self.solution, self.score, self.by))
        self.needs = needs or self.needs
        self.solution, self.score, self.by = solution, score, by
