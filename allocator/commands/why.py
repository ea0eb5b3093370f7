"""The command `why`: why there, why not here."""

# ruff: noqa: PLC0415, D301 - `--help` must not pay for what only a command needs; \b keeps lines apart

from typing import Annotated

import typer

from allocator.asked import answered_for, day_of, room_told, seconds_of, working
from allocator.commands.options import AsJson, PlanFile, RoomFile, Seconds, Today
from allocator.console import Exit, UserError, say
from allocator.interrupt import stop_while_loading


def why(
    room: RoomFile,
    brood: Annotated[
        str, typer.Argument(metavar="BROOD", help="The brood, by its name.", show_default=False)
    ],
    not_in: Annotated[
        str | None, typer.Option("--not", metavar="VESSEL", help="Why is it not in this vessel?")
    ] = None,
    not_on: Annotated[
        str | None,
        typer.Option(
            "--not-on", metavar="DATE", help="Why is it not moved on this day? With --not: from then on."
        ),
    ] = None,
    as_json: AsJson = False,  # noqa: FBT002 - the shape that typer reads
    plan_file: PlanFile = None,
    time: Seconds = None,
    today: Today = None,
) -> int:
    """Print why a brood lives where it does, and why not elsewhere or on another day.

    The exit code is 1 if the brood has no home with what is there, or what was asked for cannot be.

    \b
    Examples:
      allocator why my-room.yaml K1
      allocator why my-room.yaml K1 --plan plan.json
      allocator why my-room.yaml K1 --not "ten 2"
      allocator why my-room.yaml K1 --not-on 2027-03-06
    """
    from allocator.changes import UnchangeableError
    from allocator.replies.why import Outcome
    from allocator.reports.why import why_text

    seconds, day = seconds_of(time), day_of(not_on, "--not-on")
    reading = room_told(room, today)
    told = None if plan_file is None else answered_for(reading, room, plan_file, seconds)
    with stop_while_loading():
        from allocator.questions.why import why as why_there

    try:
        with working(seconds) as show:
            reply = why_there(
                reading.room,
                brood,
                vessel=not_in,
                day=day,
                plan=None if told is None else told.plan,
                as_it_is=None if told is None else told.as_it_is,
                seconds=seconds,
                progress=show,
            )
    except UnchangeableError as error:
        raise UserError(error.what, error.hint) from None
    say(reply.model_dump_json(indent=2, by_alias=True) if as_json else why_text(reply))
    could = reply.asked is None or reply.asked.outcome in (Outcome.SO_ALREADY, Outcome.COULD_BE)
    return Exit.FITS if reply.refusal is None and could else Exit.DOES_NOT_FIT
