"""A workbook as the plain data of a room file, with the sheet and cell of each part in place of its line."""

import json
from collections.abc import Iterator

from openpyxl.cell import Cell
from openpyxl.worksheet.worksheet import Worksheet

from allocator.problems import CellPlace, Problems, nearest
from allocator.reading.shape import RoomFile
from allocator.reading.source import Plain, Source
from allocator.workbook.layout import (
    NOT_READ,
    NOT_READ_COLUMN,
    ROOM,
    SHEETS,
    TITLES,
    Column,
    Layout,
    Path,
    normal,
)
from allocator.workbook.opening import NotABookError, has_formulas, open_book
from allocator.workbook.rows_in import Reading, Table, note_places, put_at

WHAT = "what"
"""The heading over the names of things in the sheet of the room itself."""


def load_book(content: bytes, problems: Problems) -> Source | None:
    """
    Read a workbook that describes a room.

    Parameters
    ----------
    content
        The bytes of the file.
    problems
        Takes whatever is wrong, each with its sheet and cell.

    Returns
    -------
    Source or None
        None when nothing can be made of the file; then at least one problem was added.
    """
    top = CellPlace.of()
    try:
        values = open_book(content, values=True)
        read = Reading(problems, values, open_book(content, values=False) if has_formulas(content) else None)
    except NotABookError as error:
        problems.add(top, error.what, found=error.found, hint=error.hint)
        return None
    sheets = _sheets(read)
    if not sheets and problems.errors:
        return None
    if not sheets:
        known = "sheets of a room are " + ", ".join(TITLES)
        problems.add(top, "no sheet of this workbook is of a room", hint=known)
        return None
    read.places[()] = top
    # Sheets whose rows belong to those of others come after all of those.
    for layout in sorted(SHEETS, key=lambda layout: layout.under is not None):
        if layout.title in sheets:
            _sheet(read, layout, sheets[layout.title])
    order = list(RoomFile.model_fields)
    data = dict(sorted(read.data.items(), key=lambda entry: order.index(entry[0])))
    whole = json.dumps(data, sort_keys=True, ensure_ascii=True).encode()
    return Source(problems.file, data, whole, read.places, frozenset(read.refused), top)


def _sheets(read: Reading) -> dict[str, Worksheet]:
    """Return the sheets that are known, by title; tell of those that are not read."""
    found: dict[str, Worksheet] = {}
    for sheet in read.values.worksheets:
        title, place = normal(sheet.title), read.place(sheet)
        if title in NOT_READ:
            continue
        if title in found:
            first = found[title].title
            read.problems.add(place, "two sheets have this name", found=f"the other is {first!r}")
        elif title in TITLES:
            found[title] = sheet
            if sheet.sheet_state != "visible":
                read.problems.warn(place, "this sheet is hidden, and read all the same")
        elif _filled(sheet):
            near = nearest(title, list(TITLES))
            if near is not None and "did you mean" in near:
                read.problems.add(place, "there is no sheet of this name in a room", hint=near)
            else:
                hint = "sheets of a room are " + ", ".join(TITLES)
                read.problems.warn(place, "this sheet is not read", hint=hint)
    return found


def _filled(sheet: Worksheet) -> bool:
    return any(cell.value is not None for row in sheet.iter_rows() for cell in row)


def _sheet(read: Reading, layout: Layout, sheet: Worksheet) -> None:
    for merged in sheet.merged_cells.ranges:
        place = read.place(sheet, merged.min_row, merged.min_col)
        hint = "split them, and fill in each cell"
        read.problems.add(place, "cells are joined here", found=f"got {merged.coord}", hint=hint)
    if layout.title == ROOM:
        _room(read, layout, sheet)
        return
    rows = _rows(sheet)
    heads = next(rows, None)
    columns = {} if heads is None else _columns(read, layout, sheet, heads)
    table = Table(read, sheet, columns)
    if layout.under is not None:
        for row in rows:
            table.under(row, layout.under)
        return
    items: list[Plain] = []
    for row in rows:
        item: dict[str, Plain] = {}
        table.fill(row, item, (*layout.path, len(items)))
        items.append(item)
    note_places(read, layout.path, read.place(sheet))
    if items or len(layout.path) == 1:  # a section that is there and empty is told from one that is missing
        put_at(read.data, layout.path, items or None)


def _rows(sheet: Worksheet) -> Iterator[tuple[Cell, ...]]:
    """Yield the rows that have anything in them."""
    for row in sheet.iter_rows():
        cells = tuple(cell for cell in row if isinstance(cell, Cell))
        if any(cell.value is not None and str(cell.value).strip() for cell in cells):
            yield cells


def _columns(read: Reading, layout: Layout, sheet: Worksheet, heads: tuple[Cell, ...]) -> dict[int, Column]:
    """Return the columns by their numbers; note headings that are not known."""
    found: dict[int, Column] = {}
    blank = set(range(1, sheet.max_column + 1))
    for cell in heads:
        if cell.value is None or not str(cell.value).strip():
            continue
        blank.discard(cell.column)
        if normal(cell.value) == NOT_READ_COLUMN:
            continue
        column = _named(read, layout, sheet, cell)
        if column is not None and column in found.values() and not column.many:
            read.problems.add(
                read.place(sheet, cell.row, cell.column), f"the heading {column.heading!r} is there twice"
            )
        elif column is not None:
            found[cell.column] = column
    for cell in (cell for row in _rows(sheet) for cell in row):
        if cell.column in blank and cell.value is not None and str(cell.value).strip():
            place = read.place(sheet, cell.row, cell.column)
            hint = f"write one in row {heads[0].row}: {NOT_READ_COLUMN!r} for words of your own"
            read.problems.add(place, "no heading stands above this", found=f"got {cell.value!r}", hint=hint)
            blank.discard(cell.column)
    return found


def _named(read: Reading, layout: Layout, sheet: Worksheet, cell: Cell) -> Column | None:
    name = normal(cell.value)
    for column in layout.columns:
        if column.heading == name:
            return column
    known = [column.heading for column in layout.columns]
    hint = nearest(name, known) or "known are " + ", ".join(known)
    place = read.place(sheet, cell.row, cell.column)
    read.problems.add(place, f"nothing is known here by the name {str(cell.value)!r}", hint=hint)
    return None


def _room(read: Reading, layout: Layout, sheet: Worksheet) -> None:
    """Read the sheet of the room itself: a heading a row, and its value beside it."""
    many: dict[Path, int] = {}
    seen: set[Column] = set()
    for row in _rows(sheet):
        name, cell = row[0], row[1] if len(row) > 1 else None
        if normal(name.value) in {WHAT, NOT_READ_COLUMN}:
            continue
        if name.value is None or not str(name.value).strip():
            if cell is not None and cell.value is not None:
                place = read.place(sheet, cell.row, cell.column)
                read.problems.add(place, "nothing in column A says what this is", found=f"got {cell.value!r}")
            continue
        column = _named(read, layout, sheet, name)
        if column is None or cell is None:
            continue
        if column in seen and not column.many:
            read.problems.add(read.place(sheet, name.row, name.column), f"{column.heading!r} is there twice")
            continue
        seen.add(column)
        path = column.path
        if column.many:
            number = many.get(path, 0)
            path = (*path, number)
        table = Table(read, sheet, {cell.column: column})
        if table.cell(cell, column, read.data, path, ()) and column.many:
            many[column.path] = number + 1
