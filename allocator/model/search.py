"""Run the solver: one thread that can be stopped, the same answer every time."""

from collections.abc import Callable
from dataclasses import dataclass
from threading import Event, Thread
from time import monotonic
from typing import Any

from ortools.sat.python import cp_model

SEED = 1
WORKERS = 1
"""Two interleaved workers have aborted the whole process where a hint could not be kept (OR-Tools 9.15)."""


@dataclass(frozen=True)
class Budget:
    """How much one search may spend: deterministic work, the same everywhere, and wall time in seconds.

    `brief` prepares the model in one pass only: where the work would end the search soon anyway, most of the
    time would go into making it smaller (measured on the home rack: 4.0 s against 2.2 s for the same bound).
    """

    work: float
    seconds: float | None = None
    brief: bool = False


@dataclass(frozen=True)
class Found:
    """What a search came to. `values` reads the best solution; None when there is none."""

    status: str
    value: Callable[[Any], int] | None
    objective: float
    bound: float
    work: float

    @property
    def optimal(self) -> bool:
        """Tell whether nothing better exists."""
        return self.status == "OPTIMAL"

    @property
    def decided(self) -> bool:
        """Tell whether there is nothing left to search for."""
        return self.optimal or self.impossible

    @property
    def impossible(self) -> bool:
        """Tell whether the solver says that there is no solution at all."""
        return self.status == "INFEASIBLE"


class _Watch(cp_model.CpSolverSolutionCallback):
    """Remembers the best value and bound so that they can be shown while the search goes on."""

    def __init__(self) -> None:
        super().__init__()
        self.best: float | None = None
        self.bound: float | None = None

    def on_solution_callback(self) -> None:
        """Note a better solution."""
        self.best = self.objective_value
        self.bound = self.best_objective_bound


def prepare_briefly(parameters: Any) -> None:  # noqa: ANN401 - the solver's parameters have no public type
    """Let the solver prepare a model in one pass only."""
    parameters.max_presolve_iterations = 1
    parameters.cp_model_probing_level = 0
    parameters.symmetry_level = 0


def search(
    model: cp_model.CpModel,
    budget: Budget,
    *,
    stop: Event,
    tell: Callable[[float | None, float | None], None] = lambda _best, _bound: None,
    presolve: bool = True,
    seed: int = SEED,
) -> Found:
    """Solve a model with one worker and a fixed seed, in a thread so that Ctrl-C is heard at once.

    Parameters
    ----------
    model
        With or without an objective (to be minimised).
    budget
        Ends the search; the best found so far is returned.
    stop
        Set from outside to end the search early.
    tell
        Called a few times a second with the best value and bound.
    presolve
        False for the second opinion on "no".
    seed
        Another one for another try.
    """
    solver = cp_model.CpSolver()
    parameters = solver.parameters
    # Several strategies take turns in one fixed order: better bounds and better plans than one strategy alone,
    # and, unlike free-running workers, the same answer every time.
    parameters.interleave_search = True
    parameters.num_workers = WORKERS
    parameters.random_seed = seed
    parameters.max_deterministic_time = budget.work
    parameters.cp_model_presolve = presolve
    parameters.catch_sigint_signal = False
    if budget.brief:
        prepare_briefly(parameters)
    if budget.seconds is not None:
        parameters.max_time_in_seconds = max(budget.seconds, 0.01)
    watch = _Watch()
    outcome: list[Any] = []
    failed: list[BaseException] = []

    def run() -> None:
        try:
            outcome.append(solver.solve(model, watch))
        except BaseException as error:  # noqa: BLE001 - handed to the waiting thread below
            failed.append(error)

    thread = Thread(target=run, daemon=True)
    thread.start()
    next_tell = monotonic()
    while thread.is_alive():
        thread.join(0.02)
        if stop.is_set():
            solver.stop_search()
        if monotonic() >= next_tell:
            tell(watch.best, watch.bound)
            next_tell = monotonic() + 0.25
    if failed:
        raise failed[0]
    status = solver.status_name(outcome[0])
    has_solution = status in {"OPTIMAL", "FEASIBLE"}

    def value(expression: Any) -> int:  # noqa: ANN401 - a literal, a sum or a number
        return int(expression) if isinstance(expression, int) else int(solver.value(expression))

    return Found(
        status=status,
        value=value if has_solution else None,
        objective=solver.objective_value if has_solution and model.has_objective() else 0.0,
        bound=solver.best_objective_bound if model.has_objective() else 0.0,
        work=solver.response_proto.deterministic_time,
    )
