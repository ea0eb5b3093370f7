"""The command that asks what a room can sustain."""

# ruff: noqa: PLC0415, D301 - `--help` must not pay for what only a command needs; \b keeps its lines apart

from typing import Annotated

import typer

from allocator.asked import room_told, seconds_of
from allocator.commands.options import AsJson, RoomFile, Seconds, Today
from allocator.console import Exit, UserError, live_line, say
from allocator.interrupt import stop_while_loading


def pace(
    room: RoomFile,
    line: Annotated[
        str | None, typer.Option("--line", metavar="LINE", help="Look at this line only.")
    ] = None,
    eggs: Annotated[
        int | None,
        typer.Option("--eggs", metavar="N", help="Eggs in a collection, if not those of the room file."),
    ] = None,
    time: Seconds = None,
    today: Today = None,
    as_json: AsJson = False,  # noqa: FBT002 - the shape that typer reads
) -> int:
    """Tell how many broods a month the room can sustain, where the bottleneck is, what one more tank buys.

    \b
    Example:
      allocator pace my-room.yaml --line lake
    """
    from allocator.problems import nearest
    from allocator.reading.shape import MOST_EGGS

    seconds = seconds_of(time)
    if eggs is not None and not 1 <= eggs <= MOST_EGGS:
        raise UserError(f"--eggs must be from 1 to {MOST_EGGS} (got {eggs})")
    reading = room_told(room, today)
    names = [found.name for found in reading.room.lines]
    if line is not None and line not in names:
        raise UserError(f"--line {line}: there is no such line in {room}", nearest(line, names))
    with stop_while_loading():
        from allocator.questions.pace import pace_of
    from allocator.reports.pace import pace_text

    with live_line() as show:
        reply = pace_of(reading.room, line=line, eggs=eggs, seconds=seconds, progress=show)
    say(reply.model_dump_json(indent=2) if as_json else pace_text(reply))
    kept_up = [row.found for row in (*reply.each, reply.mixed) if row is not None and row.found is not None]
    return Exit.FITS if kept_up else Exit.DOES_NOT_FIT
