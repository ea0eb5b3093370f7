"""What the commands have in common: read what they are given, and plan or read the plan they are about."""

# ruff: noqa: PLC0415 - `--help` must not pay for what only a command needs

import os
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from allocator.console import NAME, Exit, Shows, UserError, complain, live_line
from allocator.interrupt import stop_while_loading

if TYPE_CHECKING:
    from allocator.check import Breach
    from allocator.plan import Plan
    from allocator.reading import RoomReading
    from allocator.reading.plan_file import PlanReading
    from allocator.result import Result
    from allocator.room import Room
    from allocator.rules import Evidence, RulePack

ANYONE_MAY_WRITE = 0o222
"""The file mode's bits for writing; looked at themselves, since an administrator may write whatever they say."""

ROOM_KEYS = {"fish_room", "vessels", "broods", "breeding_groups"}
"""Keys that a room file has and a rule pack has not."""

MOST_OF_A_LINE = 1000
PLAN_FILE_BEGINS = re.compile(r'\s*\{\s*"format"\s*:')


class Answered(NamedTuple):
    """A plan to print, the room it lives in (with added vessels), and where it comes from.

    `result` is there if the room was planned just now; `as_it_is` if the plan adds vessels and it is known
    what becomes of the broods without them.
    """

    reading: "RoomReading"
    room: "Room"
    plan: "Plan"
    result: "Result | None" = None
    as_it_is: "Plan | None" = None


def answered(room: Path, plan_file: Path | None, seconds: float | None, today: str | None) -> Answered:
    """Return the plan of a file, once it is checked, or plan the room."""
    return answered_for(room_told(room, today), room, plan_file, seconds)


def answered_for(
    reading: "RoomReading",
    room: Path,
    plan_file: Path | None,
    seconds: float | None,
    *,
    lived_by: bool = False,
) -> Answered:
    """Return the same for a room that has been read; a plan that was lived by may be older than an order."""
    if plan_file is None:
        result = planned(reading, seconds, None)
        return Answered(reading, result.room, result.best.plan, result)
    from allocator.check import room_for
    from allocator.codes import Rule
    from allocator.reports.checked import check_text

    found, breaches = plan_checked(reading, room, plan_file)
    broken = [breach for breach in breaches if not breach.as_found]
    # The planner gives a plan that breaks a pin where it cannot be kept, and says so; orders come in while one lives.
    borne = {Rule.PINNED: "a pin"} | ({Rule.ORDERED: "an order"} if lived_by else {})
    if broken and all(breach.rule in borne for breach in broken):
        complain([f"{NAME}: {plan_file} does not keep {borne[b.rule]} of {room}: {b.text}" for b in broken])
    elif broken:
        made = made_earlier(reading, found.plan, plan_file)
        if made is not None:
            raise UserError(made)
        raise UserError(f"{plan_file} does not keep the rules of {room}.\n{check_text(breaches)}")
    return Answered(reading, room_for(reading.room, found.plan), found.plan, None, found.as_it_is)


def plan_checked(reading: "RoomReading", room: Path, plan_file: Path) -> tuple["PlanReading", list["Breach"]]:
    """Return what a plan file says and which rules it breaks; say so if it was made from something else."""
    from allocator.check import check_plan, room_for
    from allocator.reading.plan_file import read_plan

    found = read_plan(plan_file)
    if found.digest and found.digest != reading.digest:
        changed = f"{room} or its rules have changed since {plan_file} was made"
        complain([f"{NAME}: {changed}; it is checked against what they are now"])
    return found, check_plan(room_for(reading.room, found.plan), found.plan)


def made_earlier(reading: "RoomReading", plan: "Plan", plan_file: Path) -> str | None:
    """Return what to say of a plan that was made for a day before the room's today; None if it was not."""
    from allocator.reports.words import day_words

    made = min([stay.from_ for stay in plan.stays] + [gap.from_ for gap in plan.homeless], default=None)
    if made is None or made >= reading.room.today:
        return None
    return (
        f"{plan_file} was made for {day_words(made)}, and today is {day_words(reading.room.today)}. "
        f"Hint: give --today {made} to ask about it, or plan again with --against {plan_file}"
    )


def room_read(room: Path, today: str | None) -> "RoomReading":
    """Return the room of a file."""
    from allocator.reading import read_room

    return read_room(room, today=day_of(today, "--today"))


def room_told(room: Path, today: str | None) -> "RoomReading":
    """Return the room of a file, and tell what is odd about it."""
    reading = room_read(room, today)
    if reading.warnings:
        complain([str(problem) for problem in reading.warnings])
    return reading


def planned(reading: "RoomReading", seconds: float | None, against: Path | None) -> "Result":
    """Plan a room, with one live line of progress."""
    with stop_while_loading():
        from allocator.planner import plan_room

    before = None
    if against is not None:
        from allocator.reading.plan_file import read_plan

        before = read_plan(against).plan
    with working(seconds) as show:
        return plan_room(reading.room, seconds=seconds, against=before, progress=show)


@contextmanager
def working(seconds: float | None) -> Iterator[Shows]:
    """Give the live line for as long as something is planned, and say it in words if there was no plan in time."""
    from allocator.result import NoPlanInTime

    try:
        with live_line() as show:
            yield show
    except NoPlanInTime:
        when = "when you stopped it" if seconds is None else "in the time given"
        raise NoPlanInTime(f"no plan {when}, not even a first one") from None


def seconds_of(text: str | None) -> float | None:
    """Return the time that an option gives."""
    hint = "give a number of seconds, such as --time 30"
    if text is None:
        return None
    try:
        seconds = float(text)
    except ValueError:
        raise UserError(f"--time {text}: this is not a number", hint) from None
    if not 0 < seconds < float("inf"):
        raise UserError(f"--time must be above 0 (got {seconds:g})", hint)
    return seconds


def day_of(text: str | None, option: str) -> date | None:
    """Return the day that an option gives."""
    from allocator.reading.fields import FIRST_YEAR, LAST_YEAR
    from allocator.units import NotReadError, read_date

    if text is None:
        return None
    try:
        day = read_date(text)
    except NotReadError as error:
        raise UserError(f"{option} {text}: {error.what}", error.hint) from None
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise UserError(
            f"{option} {text}: must be in the years {FIRST_YEAR} to {LAST_YEAR}", "check the year"
        )
    return day


def begin_of(first: date | None, last: date | None, today: date) -> date:
    """Return the first day to print; refuse a last one (excluded) that is not after it."""
    begin = max(first or today, today)
    if last is not None and last <= begin:
        raise UserError(f"--until {last} is not after {begin}, the first day to print", "give a later day")
    return begin


def evidence_of(word: str | None) -> "Evidence | None":
    """Return the kind of evidence that an option names."""
    from allocator.problems import nearest
    from allocator.rules import Evidence

    kinds = [kind.value for kind in Evidence]
    if word is None:
        return None
    if word not in kinds:
        raise UserError(f"--evidence {word}: there is no such kind of evidence", nearest(word, kinds))
    return Evidence(word)


def pack_named(name: str) -> "RulePack":
    """Return a shipped pack, or the keeper's own from its file."""
    from allocator.problems import InputError, Problems, nearest
    from allocator.reading.packs import load_pack, shipped_packs

    if _is_room_file(Path(name)):
        raise UserError(f"{name}: this is a room file", f"use --room {name}")
    problems = Problems(NAME)
    loaded = load_pack(name, relative_to=Path(), problems=problems, line=0)
    if loaded is not None:
        return loaded[0]
    if name not in shipped_packs() and not Path(name).is_file():
        raise UserError(f"there is no rule pack {name}", nearest(name, shipped_packs()))
    raise InputError(problems.errors)


def _is_room_file(path: Path) -> bool:
    from allocator.problems import Problems
    from allocator.reading.room_file import BOOK_ENDINGS
    from allocator.reading.source import load_yaml

    if path.suffix.lower() in BOOK_ENDINGS:
        return path.is_file()
    source = load_yaml(path, Problems(NAME)) if path.is_file() else None
    return source is not None and not ROOM_KEYS.isdisjoint(source.data)


def json_target(text: str | None, room: Path) -> Path | None:
    """Return where the plan file goes; refuse what would destroy something else, before minutes of planning."""
    if text is None:
        return None
    file = file_target("--json", text, room, "the plan", "plan.json")
    if _has_content(file) and not _is_plan_file(file):
        raise not_ours(f"--json {text}".rstrip(), "this file is there already and is not a plan file")
    return file


def file_target(option: str, text: str, room: Path, what: str, example: str) -> Path:
    """Return the file that an option names; refuse the room file, a folder and what may not be written.

    What the file holds is for the caller to look at, with `older_text`.
    """
    named, file = f"{option} {text}".rstrip(), Path(text)
    if not text.strip():
        raise UserError(f"{option} has no file name", f"give one, such as {option} {example}")
    if file.is_dir():
        raise UserError(f"{named}: this is a folder", "give the name of a file")
    if same_file(file, room):
        raise UserError(f"{named}: this is the room file itself", f"give {what} a file of its own")
    _may_be_written(named, file)
    return file


def older_text(option: str, file: Path, kind: str) -> str | None:
    """Return what a file holds that is to be replaced; None if there is nothing to lose, refuse what is no text."""
    if not _has_content(file):
        return None
    try:
        with file.open(encoding="utf-8-sig", newline="") as text:
            return text.read()
    except (OSError, ValueError):
        raise not_ours(f"{option} {file}", f"this file is there already and is not {kind}") from None


def not_ours(option: str, what: str) -> UserError:
    """Return the complaint about a file that is left alone."""
    return UserError(f"{option}: {what}; it was left as it is", "give another name")


def csv_target(text: str | None, json_file: Path | None) -> Path | None:
    """Return the folder that the tables go to; refuse what would destroy something else."""
    from allocator.writing import COLUMNS

    if text is None:
        return None
    option, folder = f"--csv {text}".rstrip(), Path(text)
    if not text.strip():
        raise UserError("--csv has no folder", "give one, such as --csv tables")
    if folder.exists() and not folder.is_dir():
        raise UserError(f"{option}: this is a file; give a folder")
    taken = {os.path.realpath(folder), *(os.path.realpath(folder / f"{table}.csv") for table in COLUMNS)}
    if json_file is not None and os.path.realpath(json_file) in taken:
        raise UserError(f"{option}: the tables would take the place of {json_file}", "give another folder")
    if not folder.exists():
        _may_be_written(option, folder)
    for table, columns in COLUMNS.items():
        file = folder / f"{table}.csv"
        if file.is_dir():
            raise UserError(f"{option}: {file} is a folder", "give another folder")
        if folder.exists():
            _may_be_written(option, file)
        if _has_content(file) and _first_line(file) != ",".join(columns):
            raise UserError(
                f"{option}: {file} is there already and is not one of our tables; it was left as it is",
                "give another folder",
            )
    return folder


def write_plan(
    result: "Result",
    digest: str,
    json_file: Path | None,
    csv_folder: Path | None,
    book: tuple[Path, Callable[[Path], None]] | None = None,
) -> list[str]:
    """Write what was asked for, all that can be written, and return the names of it.

    `book` is a file, and what writes the plan into it as a workbook.
    """
    from allocator.problems import InputError
    from allocator.writing import plan_csv, plan_json, write_atomically

    plan, written, problems = result.best.plan, [], []
    before = result.as_it_is.plan if plan.added else None
    if json_file is not None:
        try:
            write_atomically(json_file, plan_json(plan, digest, as_it_is=before))
            written.append(str(json_file))
        except InputError as error:
            problems += error.problems
    if csv_folder is not None:
        try:
            plan_csv(plan, csv_folder)
            written.append(str(csv_folder))
        except InputError as error:
            problems += error.problems
    if book is not None:
        file, write = book
        try:
            write(file)
            written.append(str(file))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return written


def same_file(one: Path, other: Path) -> bool:
    """Tell whether two paths lead to the same file; False where one of them leads nowhere."""
    try:
        return one.samefile(other)
    except (OSError, ValueError):
        return False


def _may_be_written(option: str, path: Path) -> None:
    """Refuse a place where a file or folder can be neither made nor replaced."""
    folder = Path(os.path.realpath(path)).parent
    if not folder.is_dir():
        raise UserError(f"{option}: there is no folder {path.parent}", "make it first")
    if path.exists() and not (path.stat().st_mode & ANYONE_MAY_WRITE and os.access(path, os.W_OK)):
        raise UserError(f"{option}: {path} is read-only", "give another name, or allow writing to it")
    if (path.is_file() or not path.exists()) and not os.access(folder, os.W_OK | os.X_OK):
        raise UserError(f"{option}: no permission to write in {folder}", "choose another folder")


def _has_content(file: Path) -> bool:
    """Return whether there is something to lose; a device or a pipe keeps nothing."""
    return file.is_file() and file.stat().st_size > 0


def _first_line(file: Path) -> str | None:
    try:
        with file.open(encoding="utf-8-sig", newline="") as lines:
            return lines.readline(MOST_OF_A_LINE).rstrip("\r\n")
    except (OSError, ValueError):
        return None


def _is_plan_file(file: Path) -> bool:
    """Return whether this is a JSON object with a format: at the top as we write it, or wherever it went."""
    import json

    try:
        text = file.read_text(encoding="utf-8-sig")
        if PLAN_FILE_BEGINS.match(text):
            return True
        found = json.loads(text)
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(found, dict) and {"format", "stays"} <= found.keys()


def exit_code(plan: "Plan") -> int:
    """Return what the shell is told about a plan."""
    from allocator.plan import Verdict

    return Exit.FITS if plan.verdict is Verdict.FITS else Exit.DOES_NOT_FIT
