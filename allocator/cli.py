"""The command line: read, call one function, print. What is slow to import waits for a command to need it."""

# ruff: noqa: PLC0415, FBT002, D301 - `--help` must not pay for what only a command needs; the functions
# have the shape that typer reads, and \b keeps its lines apart

import json
import os
import sys
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from allocator import __version__
from allocator.asked import (
    answered,
    answered_for,
    begin_of,
    csv_target,
    day_of,
    evidence_of,
    exit_code,
    json_target,
    made_earlier,
    pack_named,
    plan_checked,
    planned,
    room_read,
    room_told,
    seconds_of,
    write_plan,
)
from allocator.commands.books import XLSX, plan_target, write_book
from allocator.commands.calendar import calendar
from allocator.commands.compare import compare
from allocator.commands.fit import fit
from allocator.commands.forward import forward
from allocator.commands.luck import luck
from allocator.commands.new import new
from allocator.commands.open import open as open_page
from allocator.commands.options import AsJson, PlanFile, RoomFile, Seconds, Today
from allocator.commands.pace import pace
from allocator.commands.pair import pair
from allocator.commands.rack import rack
from allocator.commands.report import report
from allocator.commands.sheet import sheet
from allocator.commands.sheets import sheet_in, sheet_out
from allocator.commands.target import target
from allocator.commands.why import why
from allocator.console import DEBUG_VARIABLE, NAME, PLAIN_VARIABLE, Exit, UserError, guarded, say

app = typer.Typer(
    name=NAME,
    help="Plan which brood lives in which vessel, from egg to sale.\n\n\b\nStart here:\n"
    "  allocator new my-room.yaml     write a room to fill in\n"
    "  allocator plan my-room.yaml    plan it\n\n"
    "\b\nExit codes: 0 all fits, 1 not everything fits, 2 bad input or usage,\n"
    "3 no plan in time, 70 a fault of the tool.",
    rich_markup_mode=None,
    add_completion=False,
    pretty_exceptions_enable=False,
)


def _version(asked: bool) -> None:  # noqa: FBT001 - the shape that typer calls
    if asked:
        say(f"{NAME} {__version__}")
        raise typer.Exit


@app.callback(invoke_without_command=True)
def start(
    context: typer.Context,
    version: Annotated[  # noqa: ARG001 - handled on the spot
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and stop.")
    ] = False,
    debug: Annotated[  # noqa: ARG001 - `main` looks at it, since it must know before anything goes wrong
        bool, typer.Option("--debug", help=f"Show where a fault happened (or set {DEBUG_VARIABLE}).")
    ] = False,
    plain: Annotated[  # noqa: ARG001 - the same: it holds for whatever is printed
        bool,
        typer.Option(
            "--plain",
            help=f"ASCII only, no pictures, no colours: for screen readers (or set {PLAIN_VARIABLE}).",
        ),
    ] = False,
) -> None:
    """Print the help when no command is given."""
    if context.invoked_subcommand is None:
        say(context.get_help())


@app.command()
def plan(
    room: RoomFile,
    json_name: Annotated[
        str | None, typer.Option("--json", metavar="FILE", help="Write the plan file too.")
    ] = None,
    csv_name: Annotated[
        str | None, typer.Option("--csv", metavar="DIR", help="Write stays, moves and flow as tables too.")
    ] = None,
    xlsx_name: Annotated[
        str | None, typer.Option(XLSX, metavar="FILE", help="Write the plan as a workbook too.")
    ] = None,
    time: Seconds = None,
    today: Today = None,
    against: Annotated[
        Path | None,
        typer.Option(
            "--against",
            metavar="PLAN.json",
            help="Change as little as possible of this plan.",
            readable=False,
        ),
    ] = None,
    all_moves: Annotated[
        bool, typer.Option("--all", help="Print every move, not only those of the next eight weeks.")
    ] = False,
) -> int:
    """Plan the room: does it all fit, who lives where, what to move when.

    \b
    Example:
      allocator plan my-room.yaml --json plan.json --xlsx plan.xlsx
    """
    from allocator.reports.text import plan_text

    seconds = seconds_of(time)
    json_file = json_target(json_name, room)
    csv_folder = csv_target(csv_name, json_file)
    book = plan_target(xlsx_name, room, (json_file, csv_folder))
    reading = room_read(room, today)
    result = planned(reading, seconds, against)
    warnings = [str(problem) for problem in reading.warnings]
    try:
        say(plan_text(result, warnings, reading.gallon, every_move=all_moves))
    finally:  # whoever stops reading, or a full disk, takes no plan from the keeper
        writes = partial(write_book, result, warnings)
        into = None if book is None else (book, writes)
        written = write_plan(result, reading.digest, json_file, csv_folder, into)
    if written:
        say(f"\nWrote {' and '.join(written)}.")
    return exit_code(result.best.plan)


@app.command()
def moves(
    room: RoomFile,
    start_day: Annotated[
        str | None, typer.Option("--from", metavar="DATE", help="First day to print; today if left out.")
    ] = None,
    until: Annotated[
        str | None, typer.Option("--until", metavar="DATE", help="Print what comes before this day.")
    ] = None,
    no_care: Annotated[
        bool, typer.Option("--no-care", help="Print moves only: no care of the fish, no hours.")
    ] = False,
    plan_file: PlanFile = None,
    time: Seconds = None,
    today: Today = None,
) -> int:
    """Print the moves and the care that is due, with boxes to tick.

    \b
    Example:
      allocator moves my-room.yaml --from 2027-02-01 --until 2027-03-01
    """
    from allocator.reports.moves import moves_text

    first, last = day_of(start_day, "--from"), day_of(until, "--until")
    answer = answered(room, plan_file, seconds_of(time), today)
    first = first or answer.room.today
    begin_of(first, last, answer.room.today)
    say(moves_text(answer.room, answer.plan, first, last, care=not no_care))
    return exit_code(answer.plan)


@app.command()
def where(
    room: RoomFile,
    on: Annotated[str, typer.Option("--on", metavar="DATE", help="The day to look at.", show_default=False)],
    plan_file: PlanFile = None,
    time: Seconds = None,
    today: Today = None,
) -> int:
    """Print every vessel on one day: its fish and how full it is.

    \b
    Example:
      allocator where my-room.yaml --on 2027-05-08
    """
    from allocator.reports.where import where_text

    day = day_of(on, "--on")
    assert day is not None  # noqa: S101 - the option must be given
    answer = answered(room, plan_file, seconds_of(time), today)
    if day < answer.room.today:
        raise UserError(f"--on {day} is before the plan begins", f"give {answer.room.today} or a later day")
    say(where_text(answer.room, answer.plan, day, answer.reading.gallon))
    return exit_code(answer.plan)


@app.command()
def water(
    room: RoomFile,
    on: Annotated[
        str | None, typer.Option("--on", metavar="DATE", help="The day to look at; today if left out.")
    ] = None,
    plan_file: PlanFile = None,
    time: Seconds = None,
    today: Today = None,
) -> int:
    """Print what the fish do to the water, and what runs out first.

    Today's fish are taken as the room file has them; for a later day the room is planned, or a plan is read.

    \b
    Example:
      allocator water my-room.yaml --on 2027-05-08
    """
    from allocator.reports.water import water_text

    asked_for, seconds = day_of(on, "--on"), seconds_of(time)
    reading = room_told(room, today)
    day = asked_for or reading.room.today
    if day < reading.room.today:
        raise UserError(f"--on {day} is before the plan begins", f"give {reading.room.today} or a later day")
    if plan_file is None and day == reading.room.today:
        say(water_text(reading.room, None, day, reading.gallon))
        return Exit.FITS
    answer = answered_for(reading, room, plan_file, seconds)
    say(water_text(answer.room, answer.plan, day, reading.gallon))
    return exit_code(answer.plan)


@app.command()
def tanks(room: RoomFile, plan_file: PlanFile = None, time: Seconds = None, today: Today = None) -> int:
    """Print how many tanks are in use each week, and what to add.

    \b
    Example:
      allocator tanks my-room.yaml
    """
    from allocator.reports.tanks import tanks_of_plan_text, tanks_text

    answer = answered(room, plan_file, seconds_of(time), today)
    if answer.result is not None:
        say(tanks_text(answer.result, answer.reading.gallon))
    else:
        say(tanks_of_plan_text(answer.room, answer.plan, answer.reading.gallon, as_it_is=answer.as_it_is))
    return exit_code(answer.plan)


@app.command()
def check(
    room: RoomFile,
    plan_file: Annotated[
        Path,
        typer.Argument(
            metavar="PLAN.json",
            help="The plan file, edited by hand or not.",
            show_default=False,
            readable=False,
        ),
    ],
    today: Today = None,
) -> int:
    """Check a plan file against every rule, without planning.

    \b
    Example:
      allocator check my-room.yaml plan.json
    """
    from allocator.reports.checked import check_text

    reading = room_read(room, today)
    found, breaches = plan_checked(reading, room, plan_file)
    broken = any(not breach.as_found for breach in breaches)
    made = made_earlier(reading, found.plan, plan_file) if broken else None
    say("\n\n".join([made, check_text(breaches)] if made else [check_text(breaches)]))
    return Exit.DOES_NOT_FIT if broken else Exit.FITS


@app.command()
def rules(
    pack: Annotated[
        str | None,
        typer.Argument(metavar="PACK", help="A pack by name, or the file of your own.", show_default=False),
    ] = None,
    room: Annotated[
        Path | None,
        typer.Option("--room", metavar="ROOM", help="Print the rules in force in this room.", readable=False),
    ] = None,
    evidence: Annotated[
        str | None,
        typer.Option("--evidence", metavar="KIND", help='Only figures of this kind, such as "from memory".'),
    ] = None,
    as_json: AsJson = False,
    today: Today = None,
) -> int:
    """Print the rules in force, each figure with its evidence; without PACK and --room, list the packs.

    \b
    Examples:
      allocator rules
      allocator rules --room my-room.yaml --evidence "from memory"
    """
    from allocator.reports.rules import pack_list_text, rules_json, rules_text

    kind = evidence_of(evidence)
    if pack is not None and room is not None:
        raise UserError("give a PACK or --room, not both")
    if room is not None:
        packs = [(f"line {line.name}", line.rules) for line in room_read(room, today).room.lines]
    elif pack is not None:
        packs = [("pack", pack_named(pack))]
    else:
        from allocator.reading.packs import shipped_packs

        packs = [("pack", pack_named(name)) for name in shipped_packs()]
        if not as_json and kind is None:
            say(pack_list_text([found for _, found in packs]))
            return Exit.FITS
    say(
        json.dumps(rules_json(packs, kind), ensure_ascii=False, indent=2)
        if as_json
        else rules_text(packs, kind)
    )
    return Exit.FITS


app.command()(new)
app.command()(rack)
app.command()(fit)
app.command()(pair)
app.command()(compare)
app.command()(calendar)
app.command()(sheet)
app.command()(sheet_in)
app.command()(sheet_out)
app.command()(forward)
app.command()(pace)
app.command()(luck)
app.command()(target)
app.command()(why)
app.command()(report)
app.command()(open_page)


def main(arguments: list[str] | None = None) -> int:
    """Run the tool and return its exit code: the entry of the console script."""
    given = sys.argv[1:] if arguments is None else arguments
    command = typer.main.get_command(app)
    run = partial(command.main, args=given, prog_name=NAME, standalone_mode=False)
    debug = bool(os.environ.get(DEBUG_VARIABLE)) or "--debug" in given
    plain = bool(os.environ.get(PLAIN_VARIABLE)) or "--plain" in given
    return guarded(lambda: run() or 0, debug=debug, plain=plain)
