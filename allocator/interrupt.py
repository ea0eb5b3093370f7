"""Hear Ctrl-C without losing what has been found so far."""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, current_thread, main_thread
from types import FrameType


@contextmanager
def stop_on_interrupt() -> Iterator[Event]:
    """Give an event that Ctrl-C sets; a second Ctrl-C interrupts at once.

    Outside the main thread signals cannot be heard, and the event is never set from here.
    """
    stop = Event()
    if current_thread() is not main_thread():
        yield stop
        return

    def heard(_number: int, _frame: FrameType | None) -> None:
        if stop.is_set():
            raise KeyboardInterrupt
        stop.set()

    before = signal.signal(signal.SIGINT, heard)
    try:
        yield stop
    finally:
        signal.signal(signal.SIGINT, before)
