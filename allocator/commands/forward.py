"""`allocator forward`: a room file brought up to a later day, as the plan has it."""

# ruff: noqa: D301, PLC0415 - \b keeps the lines of the help apart; `--help` must not pay for what only this needs

import shlex
from collections.abc import Iterator
from datetime import date
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer

from allocator.asked import answered_for, day_of
from allocator.commands.books import must_end, write_new
from allocator.commands.forward_told import COUNT, EGGS, GONE, HOME, NOT_DONE, told_of
from allocator.commands.options import RoomFile
from allocator.commands.sheets import keep_packs_in_reach
from allocator.console import NAME, Exit, UserError, complain, say

if TYPE_CHECKING:
    from allocator.onward.edits import Edit
    from allocator.plan import Plan
    from allocator.problems import Problem, Problems
    from allocator.reading import RoomReading
    from allocator.reading.gather import Parts
    from allocator.reading.source import Source

OUT, REPLACE = "--out", "--replace"
NOT_WRITTEN = "the new file"
BOOK_ONLY = (
    "Of a workbook only what it says of the room is carried over: your notes, and how you made the cells look,\n"
    "stay behind in the one you have."
)


class _Given(NamedTuple):
    """A room file as it was read: its parts, the room on its own day, and whether it is a workbook."""

    parts: "Parts"
    reading: "RoomReading"
    is_book: bool


def forward(
    room: RoomFile,
    plan_file: Annotated[
        Path,
        typer.Argument(
            metavar="PLAN.json", help="The plan that you have followed.", show_default=False, readable=False
        ),
    ],
    to: Annotated[
        str | None,
        typer.Option(
            "--to", metavar="DATE", help="The day to bring it to; the day on the clock if left out."
        ),
    ] = None,
    out: Annotated[
        str | None, typer.Option(OUT, metavar="NEW.yaml", help="Write the new room here; never overwrites.")
    ] = None,
    replace: Annotated[  # noqa: FBT002 - the shape that typer reads
        bool,
        typer.Option(REPLACE, help="Write it in place of ROOM, and keep ROOM beside it under its old day."),
    ] = False,
    count: Annotated[
        list[str] | None,
        typer.Option(COUNT, metavar="BROOD=FISH", help='Fish counted that day: "L1=14", or "L1=14, 49 mm".'),
    ] = None,
    eggs: Annotated[
        list[str] | None,
        typer.Option(EGGS, metavar="BROOD=EGGS", help="Eggs that were really collected."),
    ] = None,
    home: Annotated[
        list[str] | None,
        typer.Option(HOME, metavar="BROOD=VESSEL", help="Where it really is: moved elsewhere, or not sold."),
    ] = None,
    not_done: Annotated[
        list[str] | None,
        typer.Option(NOT_DONE, metavar="BROOD", help="Not collected, or neither moved nor sold since."),
    ] = None,
    gone: Annotated[
        list[str] | None, typer.Option(GONE, metavar="BROOD", help="Sold earlier, given away or lost.")
    ] = None,
    today: Annotated[
        str | None,
        typer.Option(
            "--today", metavar="DATE", help="The day on which ROOM was right, if not the one in it."
        ),
    ] = None,
) -> int:
    """Bring a room file up to a day, as if all before that day was done as planned.

    Prints what is changed and what is only assumed; writes nothing without --out or --replace. What differs is told
    by options, each as often as needed.

    \b
    Examples:
      allocator forward my-room.yaml plan.json
      allocator forward my-room.yaml plan.json --to 2027-02-06 --out new.yaml
      allocator forward my-room.yaml plan.json --count "L1=14, 49 mm" --replace
    """
    from allocator.onward.carrying import carried
    from allocator.onward.told import NotPossibleError
    from allocator.reports.forward import forward_text

    clock = date.today()  # noqa: DTZ011 - the keeper's own day is meant
    day = day_of(to, "--to") or clock
    given, plan = _read(room, plan_file, day_of(today, "--today"))
    known = given.reading.room
    if day < known.today:
        named = f"--to {day}" if to else f"{day}, the day on the clock,"
        raise UserError(
            f"{named} is before the day of {room}, {known.today}", f"give --to {known.today} or a later day"
        )
    target, kept = _targets(room, out, known.today, replace=replace)
    told = told_of(list(known.brood_named), not_done or (), gone or (), count or (), eggs or (), home or ())
    try:
        onward, edits = carried(given.parts, known, plan, day, told, clock)
    except NotPossibleError as error:
        raise UserError.all_of([UserError(one.what, one.hint) for one in error.each]) from None
    content = _content(given, edits, room, target)
    warnings = _read_again(given, edits, content, room, target, day)
    say(forward_text(onward))
    if warnings:
        complain(warnings)
    if target is None:
        say(f"\nNothing is written yet. Add {OUT} and a new name, or {REPLACE}, once this list is right.")
    else:
        _write(room, target, kept, content)
        if given.is_book:
            say(f"\n{BOOK_ONLY}")
        new_plan = plan_file.with_name(f"plan-{day}.json")
        command = shlex.join(
            [NAME, "plan", str(target), "--against", str(plan_file), "--json", str(new_plan)]
        )
        older = f"; as it was it is {kept}" if kept else ""
        say(f"\nWrote {target}{older}. Plan on from it: {command}")
    return Exit.DOES_NOT_FIT if onward.is_short else Exit.FITS


# -- reading -------------------------------------------------------------------------------------------------


def _read(room: Path, plan_file: Path, today: date | None) -> tuple[_Given, "Plan"]:
    """Return the room on the day for which it was written, and the plan, if it is one of this room."""
    from allocator.onward.agreeing import differences, first_day, strangers
    from allocator.problems import Problems, display_path
    from allocator.reading.gather import gather
    from allocator.reading.plan_file import read_plan
    from allocator.reading.room_file import BOOK_ENDINGS, load_room, room_of
    from allocator.reports.words import count_of

    problems = Problems(display_path(room))
    source = load_room(room, problems)
    plan = read_plan(plan_file).plan
    begun = first_day(plan)
    parts = gather(source, Problems(display_path(room)))
    # A file without a day means the day on the clock; what it says was so when it was planned.
    written = today or parts.today or (None if parts.today_is_faulty else begun)
    reading = room_of(source, room, problems, written)
    given = _Given(parts, reading, room.suffix.lower() in BOOK_ENDINGS)
    of_its_day = begun is None or begun >= reading.room.today
    found = strangers(reading.room, plan) or ([] if of_its_day else differences(reading.room, plan))
    if found:
        more = f", and {count_of(len(found) - 1, 'more such thing')}" if len(found) > 1 else ""
        raise UserError(
            f"{plan_file} is not a plan of {room} as it was on {reading.room.today}: {found[0]}{more}",
            f"give the plan that was made from it; or plan it again with --against {plan_file}, and follow that",
        )
    if of_its_day:
        plan = answered_for(reading, room, plan_file, None, lived_by=True).plan
    return given, plan


# -- writing -------------------------------------------------------------------------------------------------


def _targets(room: Path, out: str | None, today: date, *, replace: bool) -> tuple[Path | None, Path | None]:
    """Return where the new room goes, and where the older one is kept; refuse what would destroy something."""
    if out is not None and replace:
        raise UserError(f"give {OUT} or {REPLACE}, not both")
    if replace:
        return room, next(kept for kept in _names_beside(room, today) if not kept.exists())
    if out is None:
        return None, None
    target = Path(out)
    if not out.strip():
        raise UserError(f"{OUT} has no file name", f"give one, such as {OUT} new.yaml")
    if target.exists():
        hint = f"choose another name, or {REPLACE} for the room itself"
        raise UserError(f"{target} is there already and was left as it is", hint)
    if not target.parent.is_dir():
        raise UserError(f"{OUT} {target}: there is no folder {target.parent}", "make it first")
    return target, None


def _names_beside(room: Path, today: date) -> Iterator[Path]:
    """Yield names for the older room: its day, and a number where it was replaced that day already."""
    yield room.with_name(f"{room.stem}.{today}{room.suffix}")
    for number in count(2):
        yield room.with_name(f"{room.stem}.{today}-{number}{room.suffix}")


def _content(given: _Given, edits: "list[Edit]", room: Path, target: Path | None) -> bytes:
    """Return the new file: the text with its layout kept; a workbook, or a text made from one, anew."""
    from allocator.onward.edits import applied
    from allocator.onward.in_text import text_with
    from allocator.reading.room_file import BOOK_ENDINGS

    source = given.parts.source
    to_book = (target or room).suffix.lower() in BOOK_ENDINGS
    if target is not None and to_book:
        must_end(f"{OUT} {target}", target)
    if target is not None:
        keep_packs_in_reach(source.data, room, target)
    if not given.is_book and not to_book:
        return text_with(source.content.decode("utf-8"), edits).encode("utf-8")
    data = applied(source.data, edits)
    if to_book:
        from allocator.workbook.cells import bytes_of
        from allocator.workbook.room_out import room_book

        return bytes_of(room_book(data))
    from allocator.workbook.room_text import room_text

    return room_text(data, room.name).encode("utf-8")


def _read_again(
    given: _Given, edits: "list[Edit]", content: bytes, room: Path, target: Path | None, day: date
) -> list[str]:
    """Return what is odd about the new room; refuse one that is not sound, before anything is written."""
    from allocator.onward.edits import applied
    from allocator.problems import InputError, Problems, display_path
    from allocator.reading.room_file import room_of
    from allocator.workbook.room_out import same_room_file

    problems = Problems(NOT_WRITTEN if target is None else display_path(target))
    source = _loaded(content, problems, is_book=content[:2] == b"PK")
    try:
        reading = room_of(source, room, problems, day)
    except InputError as error:
        raise UserError.all_of([_not_sound(problem) for problem in error.problems]) from None
    wanted = applied(given.parts.source.data, edits)
    assert same_room_file(wanted, source.data), "what is to be written reads differently"  # noqa: S101 - our fault
    return [str(problem) for problem in reading.warnings]


def _not_sound(problem: "Problem") -> UserError:
    """Return what is wrong with the new room, of which the keeper has seen no line yet."""
    found = "" if problem.found is None else f" ({problem.found})"
    return UserError(
        f"with what is told the new room would not be sound: {problem.what}{found}", problem.hint
    )


def _loaded(content: bytes, problems: "Problems", *, is_book: bool) -> "Source":
    from allocator.reading.source import load_text
    from allocator.workbook.room_in import load_book

    source = load_book(content, problems) if is_book else load_text(content.decode("utf-8"), problems)
    problems.raise_errors()
    assert source is not None  # noqa: S101 - without problems there is something
    return source


def _write(room: Path, target: Path, kept: Path | None, content: bytes) -> None:
    from allocator.writing import write_atomically

    if kept is None:
        write_new(OUT, target, content)
        return
    write_new(REPLACE, kept, room.read_bytes())
    try:
        write_atomically(target, content)
    except BaseException:
        kept.unlink(
            missing_ok=True
        )  # the room is as it was: a second copy would stand in the way of the next try
        raise
