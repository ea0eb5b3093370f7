"""Run the solver: one worker in a thread that can be stopped, the same answer every time."""

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


class Begun:
    """A search that is under way, in a thread of its own: one worker and a fixed seed.

    Parameters
    ----------
    model
        With or without an objective (to be minimised).
    budget
        Ends the search; the best found so far is returned.
    presolve
        False for the second opinion on "no".
    """

    def __init__(self, model: cp_model.CpModel, budget: Budget, *, presolve: bool = True) -> None:
        self._model = model
        self._solver = cp_model.CpSolver()
        _set_up(self._solver.parameters, budget, presolve=presolve)
        self._watch = _Watch()
        self._outcome: list[Any] = []
        self._failed: list[BaseException] = []
        self._thread = Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        try:
            self._outcome.append(self._solver.solve(self._model, self._watch))
        except BaseException as error:  # noqa: BLE001 - handed to whoever waits
            self._failed.append(error)

    def found(
        self, stop: Event, tell: Callable[[float | None, float | None], None] = lambda _best, _bound: None
    ) -> Found:
        """Wait for the end and return what was found.

        Parameters
        ----------
        stop
            Set from outside to end the search early.
        tell
            Called a few times a second with the best value and bound.
        """
        next_tell = monotonic()
        while self._thread.is_alive():
            self._thread.join(0.02)
            if stop.is_set():
                self._solver.stop_search()
            if monotonic() >= next_tell:
                tell(self._watch.best, self._watch.bound)
                next_tell = monotonic() + 0.25
        if self._failed:
            raise self._failed[0]
        solver, has_objective = self._solver, self._model.has_objective()
        status = solver.status_name(self._outcome[0])
        has_solution = status in {"OPTIMAL", "FEASIBLE"}

        def value(expression: Any) -> int:  # noqa: ANN401 - a literal, a sum or a number
            return int(expression) if isinstance(expression, int) else int(solver.value(expression))

        return Found(
            status=status,
            value=value if has_solution else None,
            objective=solver.objective_value if has_solution and has_objective else 0.0,
            bound=solver.best_objective_bound if has_objective else 0.0,
            work=solver.response_proto.deterministic_time,
        )

    def drop(self) -> None:
        """End it: nobody wants to know any more."""
        while self._thread.is_alive():
            self._solver.stop_search()
            self._thread.join(0.02)


def _set_up(parameters: Any, budget: Budget, *, presolve: bool) -> None:  # noqa: ANN401 - they have no public type
    # Several strategies take turns in one fixed order: better bounds and better plans than one strategy alone,
    # and, unlike free-running workers, the same answer every time.
    parameters.interleave_search = True
    parameters.num_workers = WORKERS
    parameters.random_seed = SEED
    parameters.max_deterministic_time = budget.work
    parameters.cp_model_presolve = presolve
    parameters.catch_sigint_signal = False
    if budget.brief:
        prepare_briefly(parameters)
    if budget.seconds is not None:
        parameters.max_time_in_seconds = max(budget.seconds, 0.01)


def search(
    model: cp_model.CpModel,
    budget: Budget,
    *,
    stop: Event,
    tell: Callable[[float | None, float | None], None] = lambda _best, _bound: None,
    presolve: bool = True,
) -> Found:
    """Solve a model in a thread, so that Ctrl-C is heard at once, and wait for it: see `Begun`."""
    return Begun(model, budget, presolve=presolve).found(stop, tell)
