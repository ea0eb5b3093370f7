"""`allocator new`: a room to fill in, as a text file or as a workbook."""

# ruff: noqa: D301, PLC0415 - \b keeps the lines of the help apart; `--help` must not pay for what only this needs

from pathlib import Path
from typing import Annotated

import typer

from allocator.commands.books import ENDING, XLSX, must_end, write_new
from allocator.console import NAME, Exit, UserError, say


def new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The file to make.", show_default=False)],
    xlsx: Annotated[  # noqa: FBT002 - the shape that typer reads
        bool,
        typer.Option(XLSX, help="Make a workbook with drop-down lists; so does a name that ends in .xlsx."),
    ] = False,
) -> int:
    """Write a room to fill in; never overwrites a file.

    \b
    Examples:
      allocator new my-room.yaml
      allocator new my-room.xlsx
    """
    if not file.name:
        raise UserError("new has no file name", "give one, such as my-room.yaml")
    if xlsx:
        must_end(f"new {XLSX} {file}", file)
    if file.suffix.lower() == ENDING:
        from allocator.workbook.cells import bytes_of
        from allocator.workbook.template import template_book

        write_new("new", file, bytes_of(template_book()))
    else:
        from allocator.reading import starter_text

        write_new("new", file, starter_text().encode("utf-8"))
    say(f"Wrote {file}. Fill it in, then: {NAME} plan {file}")
    return Exit.FITS
