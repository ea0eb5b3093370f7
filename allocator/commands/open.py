"""`allocator open`: the page for those who avoid terminals."""

# ruff: noqa: D301, PLC0415 - \b keeps the lines of the help apart; `--help` must not pay for what only this needs

from importlib.util import find_spec
from pathlib import Path
from typing import Annotated

import typer

from allocator.asked import day_of, file_target, seconds_of
from allocator.commands.options import RoomFile, Seconds, Today
from allocator.console import NAME, Exit, UserError, complain, say

NEEDS = ("starlette", "uvicorn")
MOST_PORT = 65535


def open(  # noqa: A001 - the command is called so
    room: RoomFile,
    plan_file: Annotated[
        str | None,
        typer.Option("--plan", metavar="PLAN.json", help="Keep the plan in this file; shown if it is there."),
    ] = None,
    port: Annotated[
        str | None,
        typer.Option("--port", metavar="N", help="The port to listen on; any that is free if left out."),
    ] = None,
    browser: Annotated[  # noqa: FBT002 - the shape that typer reads
        bool, typer.Option("--browser", help="Open the page in your browser.")
    ] = False,
    time: Seconds = None,
    today: Today = None,
) -> int:
    """Open the room as a page in a browser on this computer: look, ask, plan.

    Nobody on another computer can reach it. Ctrl-C ends it.

    \b
    Example:
      allocator open my-room.yaml --browser
    """
    missing = [name for name in NEEDS if find_spec(name) is None]
    if missing:
        raise UserError(
            f"the page needs what is not installed yet: {', '.join(missing)}",
            f"python -m pip install {' '.join(missing)}",
        )
    number, seconds, day = _port(port), seconds_of(time), day_of(today, "--today")
    kept = None if plan_file is None else file_target("--plan", plan_file, room, "the plan", "plan.json")
    from allocator.served.serving import PortTakenError, desk_for, serve

    desk = desk_for(room, kept, day, seconds)

    def ready(address: str) -> None:
        say(
            f"The page of {room} is at this address, for browsers on this computer only:\n\n  {address}\n\n"
            "Keep this window open while you use it. Ctrl-C ends it; the plan is kept."
        )
        if browser:
            import webbrowser

            if not webbrowser.open(address):
                complain([f"{NAME}: no browser was found to open it in; copy the address into one"])

    try:
        serve(desk, number, ready, _complain_of)
    except PortTakenError as error:
        raise UserError(
            f"--port {number}: {error}", "give another one, or leave it out for any that is free"
        ) from None
    say("Ended.")
    return Exit.FITS


def _port(text: str | None) -> int:
    if text is None:
        return 0
    if not (
        text.isascii() and text.isdigit() and len(text) <= len(str(MOST_PORT)) and int(text) <= MOST_PORT
    ):
        raise UserError(
            f"--port {text}: must be a whole number from 0 to {MOST_PORT}", "leave it out for any"
        )
    return int(text)


def _complain_of(fault: Exception) -> None:
    """Tell in the terminal, in one line, of a fault that the browser was told of."""
    import traceback

    frames = traceback.extract_tb(fault.__traceback__)
    place = f"{Path(frames[-1].filename).name}:{frames[-1].lineno}" if frames else "an unknown place"
    complain([f"{NAME}: this is a fault of the tool: {type(fault).__name__} at {place}. Please report it."])


__all__ = ["open"]
