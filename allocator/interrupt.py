"""Hear Ctrl-C without losing what has been found so far."""

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, current_thread, main_thread
from types import FrameType
from typing import NoReturn

INTERRUPTED = 130
STOPPED = "allocator: stopped"


@contextmanager
def stop_while_loading() -> Iterator[None]:
    """End the run at once on Ctrl-C, for as long as modules are being loaded.

    Nothing has been begun by then. Some modules turn the interrupt into an error of their own, so it is never raised.
    Where Ctrl-C is to be ignored, it still is.
    """
    before = signal.getsignal(signal.SIGINT)
    if before is not signal.default_int_handler or current_thread() is not main_thread():
        yield
        return
    signal.signal(signal.SIGINT, _end)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _end(_number: int, _frame: FrameType | None) -> NoReturn:
    os.write(2, f"{STOPPED}\n".encode())
    os._exit(INTERRUPTED)


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
