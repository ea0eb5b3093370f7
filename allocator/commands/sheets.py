"""`allocator sheet-in` and `sheet-out`: a room from a workbook into a text file, and the other way round."""

# ruff: noqa: D301, PLC0415 - \b keeps the lines of the help apart; `--help` must not pay for what only this needs

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from allocator.asked import room_told
from allocator.commands.books import ENDING, must_end, write_new
from allocator.commands.options import RoomFile
from allocator.console import NAME, Exit, UserError, say

if TYPE_CHECKING:
    from allocator.reading.source import Plain
    from allocator.room import Room

OUT = "--out"


def sheet_in(
    book: Annotated[
        Path,
        typer.Argument(
            metavar="FILE.xlsx", help="The workbook of a room.", show_default=False, readable=False
        ),
    ],
    out: Annotated[
        str | None, typer.Option(OUT, metavar="ROOM.yaml", help="Write the room as a text file too.")
    ] = None,
) -> int:
    """Read a room from a workbook; what is wrong is told by cell.

    Every other command takes a workbook as its ROOM as well. Never overwrites a file.

    \b
    Examples:
      allocator sheet-in my-room.xlsx
      allocator sheet-in my-room.xlsx --out my-room.yaml
    """
    from allocator.reading.room_file import BOOK_ENDINGS
    from allocator.workbook.room_text import room_text

    if book.suffix.lower() not in BOOK_ENDINGS:
        must_end(f"sheet-in {book}", book)
    file = None if out is None else _target(out, "my-room.yaml")
    if file is not None and file.suffix.lower() == ENDING:
        raise UserError(
            f"{OUT} {out}: a text file does not end in {ENDING}", "give a name such as my-room.yaml"
        )
    data = _read(book, file)
    if file is None:
        say(f"Nothing is wrong with it. Plan it: {NAME} plan {book}")
        return Exit.FITS
    write_new(f"{OUT} {file}", file, room_text(data, book.name).encode("utf-8"))
    _same_again(book, file)
    say(f"Wrote {file}. Plan it: {NAME} plan {file}")
    return Exit.FITS


def sheet_out(
    room: RoomFile,
    out: Annotated[
        str, typer.Option(OUT, metavar="FILE.xlsx", help="The workbook to make.", show_default=False)
    ],
) -> int:
    """Write a room as a workbook; never overwrites a file.

    Nothing that the file says is lost but its comments.

    \b
    Example:
      allocator sheet-out my-room.yaml --out my-room.xlsx
    """
    from allocator.workbook.cells import bytes_of
    from allocator.workbook.room_out import room_book

    file = _target(out, "my-room.xlsx")
    must_end(f"{OUT} {out}", file)
    data = _read(room, file)
    write_new(f"{OUT} {file}", file, bytes_of(room_book(data)))
    _same_again(room, file)
    say(f"Wrote {file}. Plan it: {NAME} plan {file}")
    return Exit.FITS


def _target(out: str, example: str) -> Path:
    if not out.strip():
        raise UserError(f"{OUT} has no file name", f"give one, such as {OUT} {example}")
    return Path(out)


def _read(file: Path, target: Path | None) -> "dict[str, Plain]":
    """Return the data of a room that is sound, and say what is in it."""
    from allocator.problems import Problems, display_path
    from allocator.reading.room_file import load_room

    room = room_told(file, None).room
    data = load_room(file, Problems(display_path(file))).data
    if target is not None:
        keep_packs_in_reach(data, file, target)
    say(f"Read {file}: {_contents(room)}.")
    return data


def keep_packs_in_reach(data: "dict[str, Plain]", file: Path, target: Path) -> None:
    """Refuse another folder where a line's rules are in a file, which is looked for beside the room."""
    from allocator.reading.packs import shipped_packs

    if os.path.realpath(file.parent) == os.path.realpath(target.parent):
        return
    lines = data["lines"]
    for item in lines if isinstance(lines, list) else []:
        rules = str(item.get("rules")) if isinstance(item, dict) else ""
        if rules not in shipped_packs() and not Path(rules).is_absolute():
            what = f"{OUT} {target}: the rules {rules} are looked for beside the room"
            raise UserError(what, f"write it into the folder of {file}")


def _contents(room: "Room") -> str:
    from allocator.reports.words import count_of, joined

    counts = (
        (len(room.vessels), "vessel", None),
        (len(room.lines), "line", None),
        (len(room.groups), "breeding group", None),
        (sum(not brood.planned for brood in room.broods), "brood", None),
        (sum(brood.planned for brood in room.broods), "planned collection", None),
    )
    return joined([count_of(*count) for count in counts if count[0]])


def _same_again(before: Path, after: Path) -> None:
    """Read what was written, and make sure that it says the same."""
    from allocator.problems import Problems, display_path
    from allocator.reading.room_file import load_room
    from allocator.workbook.room_out import same_room_file

    one, other = (load_room(file, Problems(display_path(file))).data for file in (before, after))
    assert same_room_file(one, other), "what was written reads differently"  # noqa: S101 - our fault, told as one
