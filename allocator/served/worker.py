"""What runs in the process of its own: one plan, or one comparison, and word of how far it is."""

# ruff: noqa: PLC0415 - the solver is loaded here and nowhere else

import os
import signal
import traceback
from dataclasses import dataclass
from multiprocessing.connection import Connection
from threading import Event, Thread
from time import monotonic

from allocator.plan import Plan
from allocator.result import NoPlanInTime, Progress
from allocator.room import Room

SHOWN_EVERY_SECONDS = 0.2
"""As often as a page could show it (judgement)."""


@dataclass(frozen=True)
class Task:
    """What is to be worked out: a plan of a room, or what is different in another."""

    room: Room
    against: Plan | None = None
    other: Room | None = None
    seconds: float | None = None


@dataclass(frozen=True)
class Failed:
    """Why there is no answer, in words."""

    why: str


def work(task: Task, orders: Connection, answers: Connection) -> None:
    """Do a task, and send progress and at last the answer; anything ordered means: stop with the best so far.

    Ends at once when whoever ordered it is gone. Ctrl-C at the terminal is for the server to hear, not for us.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    stop = Event()
    Thread(target=_listen, args=(orders, stop), daemon=True).start()
    try:
        answers.send(_done(task, stop, answers))
    except BrokenPipeError:
        return


def _listen(orders: Connection, stop: Event) -> None:
    try:
        while True:
            orders.recv()
            stop.set()
    except (EOFError, OSError):
        os._exit(1)


def _done(task: Task, stop: Event, answers: Connection) -> object:
    last = Progress(stage=""), 0.0

    def show(progress: Progress) -> None:
        nonlocal last
        now = monotonic()
        if progress.stage != last[0].stage or now - last[1] >= SHOWN_EVERY_SECONDS:
            last = progress, now
            answers.send(progress)

    try:
        if task.other is not None:
            from allocator.questions.compare import compare

            return compare(task.room, task.other, seconds=task.seconds, progress=show)
        from allocator.planner import plan_room

        return plan_room(task.room, seconds=task.seconds, against=task.against, progress=show, stop=stop)
    except NoPlanInTime:
        return Failed("No plan yet when it was to end, not even a first one. Give it more time.")
    except BrokenPipeError:
        raise
    except Exception as fault:  # noqa: BLE001 - whatever it is, the page must tell it
        last_frame = traceback.extract_tb(fault.__traceback__)[-1]
        place = f"{type(fault).__name__} at {os.path.basename(last_frame.filename)}:{last_frame.lineno}"  # noqa: PTH119
        return Failed(f"This is a fault of the tool, not of your files: {place}. Please report it.")
