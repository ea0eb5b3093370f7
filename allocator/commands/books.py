"""Workbooks that commands write: never in the place of what somebody else has made or changed."""

# ruff: noqa: PLC0415 - `--help` must not pay for what only a workbook needs

import os
from pathlib import Path
from typing import TYPE_CHECKING

from allocator.asked import file_target, not_ours
from allocator.console import UserError

if TYPE_CHECKING:
    from allocator.result import Result

XLSX = "--xlsx"
ENDING = ".xlsx"


def plan_target(text: str | None, room: Path, others: tuple[Path | None, ...]) -> Path | None:
    """Return where the workbook of a plan goes; refuse what would destroy something else, before planning."""
    if text is None:
        return None
    file = file_target(XLSX, text, room, "the plan", "plan.xlsx")
    named = f"{XLSX} {text}"
    must_end(named, file)
    if os.path.realpath(file) in {os.path.realpath(other) for other in others if other is not None}:
        raise UserError(f"{named}: another part of the plan goes there", "give another name")
    if file.is_file() and file.stat().st_size:
        _refuse_others(named, file)
    return file


def must_end(named: str, file: Path) -> None:
    """Refuse a name that spreadsheet programs would not open."""
    if file.suffix.lower() != ENDING:
        raise UserError(f"{named}: the name of a workbook must end in {ENDING}", f"give {file.stem}{ENDING}")


def _refuse_others(named: str, file: Path) -> None:
    from allocator.reading.room_file import LARGEST_BOOK_BYTES
    from allocator.reports.plan_book import MARK, is_untouched
    from allocator.workbook.opening import NotABookError, open_book

    try:
        with file.open("rb") as opened:
            book = open_book(opened.read(LARGEST_BOOK_BYTES), values=False)
    except (OSError, NotABookError):
        raise not_ours(named, "this file is there already and is not a plan that was written here") from None
    if not str(book.properties.category or "").startswith(MARK):
        raise not_ours(named, "this workbook is there already and is not a plan that was written here")
    if not is_untouched(book):
        raise not_ours(named, "somebody has written into this plan since it was made")


def write_book(result: "Result", warnings: list[str], file: Path) -> None:
    """Write the workbook of a plan."""
    from allocator.reports.plan_book import plan_book
    from allocator.workbook.cells import bytes_of
    from allocator.writing import write_atomically

    write_atomically(file, bytes_of(plan_book(result, warnings)))


def write_new(named: str, file: Path, content: bytes) -> None:
    """Write a file that is not there yet; one that is there is left as it is."""
    from allocator.writing import write_once

    if not file.parent.is_dir():
        raise UserError(f"{named}: there is no folder {file.parent}", "make it first")
    try:
        write_once(file, content)
    except FileExistsError:
        raise UserError(f"{file} is there already and was left as it is", "choose another name") from None
