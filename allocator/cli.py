"""The command line: read, call one function, print. What is slow to import waits for a command to need it."""

# ruff: noqa: PLC0415, FBT002, PLR0917, D301 - `--help` must not pay for what only a command needs; the functions
# have the shape that typer reads, and \b keeps its lines apart

import json
import os
import sys
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer

from allocator import __version__
from allocator.console import DEBUG_VARIABLE, NAME, Exit, UserError, guarded, live_line, say

if TYPE_CHECKING:
    from allocator.plan import Plan
    from allocator.reading import RoomReading
    from allocator.result import Result
    from allocator.room import Room
    from allocator.rules import Evidence, RulePack

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

RoomFile = Annotated[Path, typer.Argument(metavar="ROOM", help="The room file (YAML).", show_default=False)]
Today = Annotated[
    str | None,
    typer.Option("--today", metavar="DATE", help="Plan as if today were DATE, such as 2027-01-09."),
]
Seconds = Annotated[
    float | None,
    typer.Option("--time", metavar="SECONDS", help="Stop looking for a better plan after so long."),
]
PlanFile = Annotated[
    Path | None,
    typer.Option("--plan", metavar="PLAN.json", help="Read this plan, check it, and do not plan again."),
]


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
) -> None:
    """Print the help when no command is given."""
    if context.invoked_subcommand is None:
        say(context.get_help())


@app.command()
def plan(
    room: RoomFile,
    json_file: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write the plan file too.")
    ] = None,
    csv_folder: Annotated[
        Path | None, typer.Option("--csv", metavar="DIR", help="Write stays, moves and flow as tables too.")
    ] = None,
    seconds: Seconds = None,
    today: Today = None,
    against: Annotated[
        Path | None,
        typer.Option("--against", metavar="PLAN.json", help="Change as little as possible of this plan."),
    ] = None,
    all_moves: Annotated[
        bool, typer.Option("--all", help="Print every move, not only those of the next eight weeks.")
    ] = False,
) -> int:
    """Plan the room: does it all fit, who lives where, what to move when.

    \b
    Example:
      allocator plan my-room.yaml --json plan.json
    """
    from allocator.reports.text import plan_text

    _folder_is_there(json_file)
    reading = _read(room, today)
    result = _planned(reading, seconds, against)
    if json_file is not None:
        from allocator.writing import plan_json, write_atomically

        write_atomically(json_file, plan_json(result.best.plan, reading.digest))
    if csv_folder is not None:
        from allocator.writing import plan_csv

        plan_csv(result.best.plan, csv_folder)
    say(
        plan_text(
            result, [str(problem) for problem in reading.warnings], reading.gallon, every_move=all_moves
        )
    )
    return _exit_code(result.best.plan)


@app.command()
def moves(
    room: RoomFile,
    start_day: Annotated[
        str | None, typer.Option("--from", metavar="DATE", help="First day to print; today if left out.")
    ] = None,
    until: Annotated[
        str | None, typer.Option("--until", metavar="DATE", help="Print what comes before this day.")
    ] = None,
    plan_file: PlanFile = None,
    seconds: Seconds = None,
    today: Today = None,
) -> int:
    """Print the move schedule, with boxes to tick.

    \b
    Example:
      allocator moves my-room.yaml --from 2027-02-01 --until 2027-03-01
    """
    from allocator.reports.moves import moves_text

    first, last = _day(start_day, "--from"), _day(until, "--until")
    answer = _answer(room, plan_file, seconds, today)
    say(moves_text(answer.room, answer.plan, first or answer.room.today, last))
    return _exit_code(answer.plan)


@app.command()
def where(
    room: RoomFile,
    on: Annotated[str, typer.Option("--on", metavar="DATE", help="The day to look at.", show_default=False)],
    plan_file: PlanFile = None,
    seconds: Seconds = None,
    today: Today = None,
) -> int:
    """Print every vessel on one day: fish, length, how full, what fills it first.

    \b
    Example:
      allocator where my-room.yaml --on 2027-05-08
    """
    from allocator.reports.where import where_text

    day = _day(on, "--on")
    assert day is not None  # noqa: S101 - the option must be given
    answer = _answer(room, plan_file, seconds, today)
    if day < answer.room.today:
        raise UserError(f"--on {day} is before the plan begins", f"give {answer.room.today} or a later day")
    say(where_text(answer.room, answer.plan, day, answer.reading.gallon))
    return _exit_code(answer.plan)


@app.command()
def tanks(room: RoomFile, plan_file: PlanFile = None, seconds: Seconds = None, today: Today = None) -> int:
    """Print how many tanks of each kind are in use week by week, and what to add.

    \b
    Example:
      allocator tanks my-room.yaml
    """
    from allocator.reports.tanks import tanks_of_plan_text, tanks_text

    answer = _answer(room, plan_file, seconds, today)
    if answer.result is not None:
        say(tanks_text(answer.result, answer.reading.gallon))
    else:
        say(tanks_of_plan_text(answer.room, answer.plan, answer.reading.gallon))
    return _exit_code(answer.plan)


@app.command()
def check(
    room: RoomFile,
    plan_file: Annotated[
        Path,
        typer.Argument(metavar="PLAN.json", help="The plan file, edited by hand or not.", show_default=False),
    ],
    today: Today = None,
) -> int:
    """Check a plan file against every rule, without planning.

    \b
    Example:
      allocator check my-room.yaml plan.json
    """
    from allocator.check import check_plan, room_for
    from allocator.reading.plan_file import read_plan
    from allocator.reports.checked import check_text

    reading = _read(room, today)
    found = read_plan(plan_file)
    breaches = check_plan(room_for(reading.room, found), found)
    say(check_text(breaches))
    return Exit.DOES_NOT_FIT if any(not breach.as_found for breach in breaches) else Exit.FITS


@app.command()
def rules(
    pack: Annotated[
        str | None,
        typer.Argument(metavar="[PACK]", help="A pack by name, or the file of your own.", show_default=False),
    ] = None,
    room: Annotated[
        Path | None, typer.Option("--room", metavar="ROOM", help="Print the rules in force in this room.")
    ] = None,
    evidence: Annotated[
        str | None,
        typer.Option("--evidence", metavar="KIND", help='Only figures of this kind, such as "from memory".'),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print as JSON.")] = False,
    today: Today = None,
) -> int:
    """Print the rules in force, each figure with its evidence.

    \b
    Examples:
      allocator rules
      allocator rules --room my-room.yaml --evidence "from memory"
    """
    from allocator.reports.rules import pack_list_text, rules_json, rules_text

    kind = _evidence(evidence)
    if pack is not None and room is not None:
        raise UserError("give a PACK or --room, not both")
    if room is not None:
        packs = [(f"line {line.name}", line.rules) for line in _read(room, today).room.lines]
    elif pack is not None:
        packs = [("pack", _pack(pack))]
    else:
        from allocator.reading.packs import shipped_packs

        packs = [("pack", _pack(name)) for name in shipped_packs()]
        if not as_json and kind is None:
            say(pack_list_text([found for _, found in packs]))
            return Exit.FITS
    say(
        json.dumps(rules_json(packs, kind), ensure_ascii=False, indent=2)
        if as_json
        else rules_text(packs, kind)
    )
    return Exit.FITS


@app.command()
def new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The file to make.", show_default=False)],
) -> int:
    """Write a room to fill in, with a comment on everything. Never overwrites a file.

    \b
    Example:
      allocator new my-room.yaml
    """
    from allocator.reading import starter_text

    try:
        with file.open("x", encoding="utf-8", newline="\n") as out:
            out.write(starter_text())
    except FileExistsError:
        raise UserError(f"{file} is there already and was left as it is", "choose another name") from None
    say(f"Wrote {file}. Fill it in, then: {NAME} plan {file}")
    return Exit.FITS


class _Answer(NamedTuple):
    """A plan to print, the room it lives in (with added vessels), and the result if planned just now."""

    reading: "RoomReading"
    room: "Room"
    plan: "Plan"
    result: "Result | None" = None


def _answer(room: Path, plan_file: Path | None, seconds: float | None, today: str | None) -> _Answer:
    reading = _read(room, today)
    if plan_file is None:
        result = _planned(reading, seconds, None)
        return _Answer(reading, result.room, result.best.plan, result)
    from allocator.check import check_plan, room_for
    from allocator.reading.plan_file import read_plan
    from allocator.reports.checked import check_text

    found = read_plan(plan_file)
    full = room_for(reading.room, found)
    breaches = check_plan(full, found)
    if any(not breach.as_found for breach in breaches):
        raise UserError(f"{plan_file} does not keep the rules of {room}.\n{check_text(breaches)}")
    return _Answer(reading, full, found)


def _read(room: Path, today: str | None) -> "RoomReading":
    from allocator.reading import read_room

    return read_room(room, today=_day(today, "--today"))


def _planned(reading: "RoomReading", seconds: float | None, against: Path | None) -> "Result":
    if seconds is not None and not 0 < seconds < float("inf"):
        raise UserError(
            f"--time must be above 0 (got {seconds:g})", "give a number of seconds, such as --time 30"
        )
    from allocator.planner import plan_room

    before = None
    if against is not None:
        from allocator.reading.plan_file import read_plan

        before = read_plan(against)
    with live_line() as show:
        return plan_room(reading.room, seconds=seconds, against=before, progress=show)


def _day(text: str | None, option: str) -> date | None:
    from allocator.units import NotReadError, read_date

    if text is None:
        return None
    try:
        return read_date(text)
    except NotReadError as error:
        raise UserError(f"{option} {text}: {error.what}", error.hint) from None


def _evidence(word: str | None) -> "Evidence | None":
    from allocator.problems import nearest
    from allocator.rules import Evidence

    kinds = [kind.value for kind in Evidence]
    if word is None:
        return None
    if word not in kinds:
        raise UserError(f"--evidence {word}: there is no such kind of evidence", nearest(word, kinds))
    return Evidence(word)


def _pack(name: str) -> "RulePack":
    from allocator.problems import InputError, Problems, nearest
    from allocator.reading.packs import load_pack, shipped_packs

    problems = Problems(NAME)
    loaded = load_pack(name, relative_to=Path.cwd(), problems=problems, line=0)
    if loaded is not None:
        return loaded[0]
    if name not in shipped_packs() and not Path(name).is_file():
        raise UserError(f"there is no rule pack {name}", nearest(name, shipped_packs()))
    raise InputError(problems.errors)


def _folder_is_there(file: Path | None) -> None:
    """Find out before minutes of planning that the plan could not be written."""
    if file is not None and not file.parent.is_dir():
        raise UserError(f"--json {file}: there is no folder {file.parent}", "make it first")
    if file is not None and file.is_dir():
        raise UserError(f"--json {file}: this is a folder", "give the name of a file")


def _exit_code(plan: "Plan") -> int:
    from allocator.plan import Verdict

    return Exit.FITS if plan.verdict is Verdict.FITS else Exit.DOES_NOT_FIT


def main(arguments: list[str] | None = None) -> int:
    """Run the tool and return its exit code: the entry of the console script."""
    given = sys.argv[1:] if arguments is None else arguments
    command = typer.main.get_command(app)
    run = partial(command.main, args=given, prog_name=NAME, standalone_mode=False)
    debug = bool(os.environ.get(DEBUG_VARIABLE)) or "--debug" in given
    return guarded(lambda: run() or 0, debug=debug)
