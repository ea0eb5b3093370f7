"""One task at a time in a process of its own: how far it is, and how to end it."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import Enum
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from threading import Lock, Thread
from time import monotonic

from allocator.problems import InputError
from allocator.result import Progress
from allocator.served.worker import Failed, Task, work

GRACE_SECONDS = 15.0
"""How long a search may take to end with its best plan before it is ended without (judgement)."""

LOOKED_EVERY_SECONDS = 0.1
LEAVES_WITHIN_SECONDS = 10.0
"""After its answer the other process has nothing left to do."""

ENDED_BY_ITSELF = "The search ended without an answer: the computer may have run out of memory."


class State(Enum):
    """What becomes of a task."""

    RUNNING = "running"
    STOPPING = "stopping"
    DONE = "done"
    FAILED = "failed"
    DROPPED = "dropped"


GOING_ON = {State.RUNNING, State.STOPPING}


@dataclass(frozen=True)
class Status:
    """How far a task is. `title` says what it is, `then` where its answer is to be seen, `why` what went wrong."""

    title: str
    state: State
    may_stop: bool
    progress: Progress | None = None
    seconds: float = 0.0
    then: str = "/"
    why: str = ""

    @property
    def going_on(self) -> bool:
        """Whether it has not ended yet."""
        return self.state in GOING_ON


@dataclass
class _Running:
    process: SpawnProcess
    orders: Connection
    answers: Connection
    started: float
    done: Callable[[object], str]
    kill_at: float | None = None
    drop: bool = False


class Jobs:
    """The one place that starts and ends the other process; several threads may use it.

    Parameters
    ----------
    grace
        Seconds that a task is given to end with what it has.
    """

    def __init__(self, grace: float = GRACE_SECONDS) -> None:
        self._grace = grace
        self._lock = Lock()
        self._status: Status | None = None
        self._running: _Running | None = None
        self._watcher: Thread | None = None

    def status(self) -> Status | None:
        """Return how far the last task is; None if there was none yet."""
        with self._lock:
            if self._status is not None and self._running is not None:
                return replace(self._status, seconds=monotonic() - self._running.started)
            return self._status

    def start(self, task: Task, title: str, done: Callable[[object], str]) -> bool:
        """Begin a task, unless one is under way.

        Parameters
        ----------
        done
            Called with the answer, in another thread; returns where it is to be seen.

        Returns
        -------
        bool
            Whether it was begun.
        """
        context = get_context("spawn")
        with self._lock:
            if self._running is not None:
                return False
            take, orders = context.Pipe(duplex=False)
            answers, give = context.Pipe(duplex=False)
            process = context.Process(target=work, args=(task, take, give), daemon=True)
            process.start()
            take.close()  # they are the other's: it must hear when we are gone, and we when it is
            give.close()
            self._running = _Running(process, orders, answers, monotonic(), done)
            self._status = Status(title, State.RUNNING, may_stop=task.other is None)
            self._watcher = Thread(target=self._watch, args=(self._running,), daemon=True)
            self._watcher.start()
            return True

    def stop(self, *, drop: bool = False) -> None:
        """End the task with the best plan so far, or, with `drop`, without any; nothing if there is none."""
        with self._lock:
            running, status = self._running, self._status
            if running is None or status is None:
                return
            self._status = replace(status, state=State.STOPPING)
            if drop or not status.may_stop:
                running.drop, running.kill_at = True, monotonic()
            elif running.kill_at is None:
                running.kill_at = monotonic() + self._grace
                try:
                    running.orders.send("stop")
                except OSError:  # it has ended already
                    return

    def close(self, grace: float = 5.0) -> None:
        """End the task, with the best plan that it can name in so many seconds, and wait until it is gone."""
        with self._lock:
            running, watcher = self._running, self._watcher
        if running is not None:
            self.stop()
            running.kill_at = min(running.kill_at or 0.0, monotonic() + grace)
        if watcher is not None:
            watcher.join()

    def _watch(self, running: _Running) -> None:
        answer: object = None
        try:
            while answer is None:
                if running.kill_at is not None and monotonic() >= running.kill_at:
                    running.process.kill()
                    break
                if running.answers.poll(LOOKED_EVERY_SECONDS):
                    told = running.answers.recv()
                    if isinstance(told, Progress):
                        self._tell(told)
                    else:
                        answer = told
        except (EOFError, OSError):
            pass
        running.process.join(LEAVES_WITHIN_SECONDS)
        if running.process.is_alive():
            running.process.kill()
            running.process.join()
        with self._lock:
            status = self._status
        assert status is not None  # noqa: S101 - it was set when the task began
        ended = self._ended(running, answer, status)
        with self._lock:
            self._status = replace(ended, seconds=monotonic() - running.started)
            self._running = None
        running.orders.close()
        running.answers.close()
        running.process.close()

    def _tell(self, progress: Progress) -> None:
        with self._lock:
            if self._status is not None:
                self._status = replace(self._status, progress=progress)

    def _ended(self, running: _Running, answer: object, status: Status) -> Status:
        """Return what has become of a task; its answer is handed on first, so that nobody looks too soon."""
        if running.drop or (answer is None and running.kill_at is not None):
            return replace(status, state=State.DROPPED)
        if answer is None or isinstance(answer, Failed):
            why = ENDED_BY_ITSELF if answer is None else answer.why
            return replace(status, state=State.FAILED, why=why)
        try:
            return replace(status, state=State.DONE, then=running.done(answer))
        except InputError as error:
            return replace(status, state=State.DONE, why=f"It could not be written to disk: {error}.")
        except Exception as fault:  # noqa: BLE001 - without this the page would wait for ever
            return replace(status, state=State.FAILED, why=f"A fault of the tool: {type(fault).__name__}.")
