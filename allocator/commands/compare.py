"""The command `compare`: what would be different."""

# ruff: noqa: PLC0415, D301 - `--help` must not pay for what only a command needs; \b keeps lines apart

from pathlib import Path
from typing import Annotated

import typer

from allocator.asked import room_read, room_told, seconds_of, working
from allocator.commands.options import AsJson, RoomFile, Seconds, Today
from allocator.commands.what_if import sold_at_told, with_more_told, without_told
from allocator.console import Exit, UserError, say
from allocator.interrupt import stop_while_loading


def compare(
    room: RoomFile,
    other: Annotated[
        Path | None,
        typer.Argument(metavar="OTHER", help="The other room file.", show_default=False, readable=False),
    ] = None,
    more: Annotated[
        list[str] | None,
        typer.Option("--with", metavar="MORE", help='More vessels, such as "one more long".'),
    ] = None,
    without: Annotated[
        list[str] | None,
        typer.Option("--without", metavar="NAME", help="Leave out a vessel, a brood or a breeding group."),
    ] = None,
    sell_at: Annotated[
        list[str] | None,
        typer.Option(
            "--sell-at", metavar="LENGTH", help='Sell sooner, such as 45mm; of one line: "lake 45mm".'
        ),
    ] = None,
    as_json: AsJson = False,  # noqa: FBT002 - the shape that typer reads
    time: Seconds = None,
    today: Today = None,
) -> int:
    """Print what would be different: with another room file, or with something changed in this one.

    Each of --with, --without and --sell-at can be given several times.

    \b
    Examples:
      allocator compare my-room.yaml other-room.yaml
      allocator compare my-room.yaml --with "one more long" --without "ten 3"
    """
    from allocator.plan import Verdict
    from allocator.reports.compare import compare_text

    seconds = seconds_of(time)
    changed = more or without or sell_at
    if other is None and not changed:
        raise UserError(
            "there is nothing to compare with", 'give a second room file, or such as --with "one more long"'
        )
    if other is not None and changed:
        raise UserError("give a second room file or what to change, not both")
    before = room_told(room, today).room
    if other is not None:
        after = room_read(other, today).room
        if after.today != before.today:
            what = f"today is {before.today} in {room} and {after.today} in {other}"
            raise UserError(what, f"give --today {after.today} for both")
    else:
        after = sold_at_told(with_more_told(without_told(before, without or ()), more or ()), sell_at or ())
    with stop_while_loading():
        from allocator.questions.compare import compare as compare_rooms

    with working(seconds) as show:
        reply = compare_rooms(before, after, seconds=seconds, progress=show)
    say(reply.model_dump_json(indent=2, by_alias=True) if as_json else compare_text(reply))
    return Exit.FITS if reply.after.verdict is Verdict.FITS else Exit.DOES_NOT_FIT
