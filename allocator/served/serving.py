"""Serve the page on the loopback address until Ctrl-C."""

import socket
from collections.abc import Callable
from contextlib import suppress
from datetime import date
from pathlib import Path

import uvicorn

from allocator.problems import InputError
from allocator.served.app import guarded_app
from allocator.served.desk import Desk
from allocator.served.folder import folder_of
from allocator.served.guard import NAMES
from allocator.served.jobs import Jobs
from allocator.served.store import PlanNotKeptError, Store

LOOPBACK = NAMES[0]
"""Nobody on another computer can reach this address: RFC 1122, 3.2.1.3 (g)."""

LAST_REQUESTS_SECONDS = 2
"""How long requests that are being answered may take to end (judgement)."""


class PortTakenError(Exception):
    """The port that was asked for is in use, or may not be used."""


def desk_for(room: Path, plan_file: Path | None, today: date | None, seconds: float | None) -> Desk:
    """Return the room on the desk.

    Raises
    ------
    InputError
        If the room file is not there, or the keeper's own plan file cannot be read.
    """
    desk = Desk(room, Store(folder_of(room), plan_file), Jobs(), today=today, seconds=seconds)
    try:
        reading = desk.read()
    except InputError:
        if not room.is_file():  # nothing that could be put right while the page is open
            raise
        reading = None
    with suppress(PlanNotKeptError):  # the page tells of it, and goes on from it
        desk.store.in_hand(reading)
    return desk


def serve(desk: Desk, port: int, ready: Callable[[str], None], fault: Callable[[Exception], None]) -> None:
    """Serve a room until Ctrl-C; the search is over, and its process gone, when this returns.

    Parameters
    ----------
    port
        0 for any that is free.
    ready
        Called with the address to open, once it can be.
    fault
        Called with every exception that was not expected.

    Raises
    ------
    PortTakenError
        If the port cannot be had.
    """
    with _listening(port) as listener:
        number = listener.getsockname()[1]
        app = guarded_app(desk, fault, number)
        config = uvicorn.Config(
            app,
            log_config=None,
            log_level="critical",
            access_log=False,
            server_header=False,
            proxy_headers=False,
            lifespan="off",
            ws="none",
            timeout_graceful_shutdown=LAST_REQUESTS_SECONDS,
        )
        try:
            desk.begin()
            ready(f"http://{LOOPBACK}:{number}/?token={app.token}")
            uvicorn.Server(config).run(sockets=[listener])
        except KeyboardInterrupt:
            return
        finally:
            desk.jobs.close()


def _listening(port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):  # on Windows another program could else listen beside us
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((LOOPBACK, port))
        listener.listen()
    except OSError as error:
        listener.close()
        raise PortTakenError((error.strerror or "it cannot be used").lower()) from error
    return listener
