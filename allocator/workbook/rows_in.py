"""The rows of a room's workbook: each cell to its key, each row to the item it is of."""

from dataclasses import dataclass, field
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from allocator.problems import CellPlace, Problems, nearest
from allocator.reading.fields import read_name
from allocator.reading.source import Loc, Plain
from allocator.units import NotReadError
from allocator.workbook.layout import ALWAYS, AVAILABLE, AVAILABLE_FROM, Column, Path, Under, normal
from allocator.workbook.values import NotReadableError, plain_value

NO_VALUE = "open the workbook in a spreadsheet program and save it, or write the value itself"

Owner = tuple[dict[str, Plain], Loc]
"""An item to which rows of other sheets belong, and where it stands."""


@dataclass
class Reading:
    """Everything that is gathered while a workbook is read."""

    problems: Problems
    values: Workbook
    formulas: Workbook | None
    data: dict[str, Plain] = field(default_factory=dict)
    places: dict[Loc, int] = field(default_factory=dict)
    refused: set[Loc] = field(default_factory=set)
    numbers: dict[str, int] = field(default_factory=dict)
    known: dict[str, dict[str, Owner]] = field(default_factory=dict)

    def owners(self, section: str) -> dict[str, Owner]:
        """Return the items of a section by name; the first of each name, and one without any under an empty one."""
        if section not in self.known:
            items = self.data.get(section)
            known = self.known.setdefault(section, {})
            for number, item in enumerate(items if isinstance(items, list) else []):
                if isinstance(item, dict):
                    known.setdefault(_name_of(item), (item, (section, number)))
        return self.known[section]

    def place(self, sheet: Worksheet, row: int = 0, column: int = 0) -> CellPlace:
        """Return the place of a cell; of the sheet, without a row."""
        name = f"{get_column_letter(column)}{row}" if row else None
        number = self.numbers.setdefault(sheet.title, len(self.numbers) + 1)
        title = sheet.title if sheet.title.isprintable() else ascii(sheet.title)
        return CellPlace.of(number, title, row, column, name)


@dataclass
class Table:
    """One sheet with its columns."""

    read: Reading
    sheet: Worksheet
    columns: dict[int, Column]

    def fill(self, row: tuple[Cell, ...], item: dict[str, Plain], loc: Loc) -> None:
        """Read a row into an item that stands at a place of the data."""
        read = self.read
        read.places.setdefault(loc, read.place(self.sheet, row[0].row, self.first()))
        many: dict[Path, int] = {}
        for cell in row:
            column = self.columns.get(cell.column)
            if column is None or not column.path:
                continue
            path = column.path
            if column.many:
                path = (*path, many.get(path, 0))
            if self.cell(cell, column, item, path, loc) and column.many:
                many[column.path] = many.get(column.path, 0) + 1
        self.look_at_flow(item, loc)

    def look_at_flow(self, item: dict[str, Plain], loc: Loc) -> None:
        """Note a flow of which only the strongest setting is there."""
        read, flow, weakest = self.read, item.get("flow"), (*loc, "flow", 0)
        if isinstance(flow, list) and flow[0] is None and weakest not in read.refused:
            place = read.places.get(weakest, read.places[loc])
            hint = "where there is only one setting, write it there"
            read.problems.add(place, "the weakest flow is missing", hint=hint)
            read.refused.add((*loc, "flow"))

    def cell(self, cell: Cell, column: Column, item: dict[str, Plain], path: Path, loc: Loc) -> bool:
        """Read a cell into an item; tell whether anything was in it."""
        read, where = self.read, (*loc, *path)
        place = read.place(self.sheet, cell.row, cell.column)
        value = self.value(cell, column, place, where)
        if value is None and where not in read.refused:
            if not column.many:
                note_places(read, where, place, least=len(loc))
            return False
        note_places(read, where, place, least=len(loc))
        if path == AVAILABLE_FROM and normal(value) == ALWAYS:
            item.setdefault(AVAILABLE, {})
        else:
            put_at(item, path, value)
        return True

    def value(self, cell: Cell, column: Column, place: CellPlace, where: Loc) -> Plain:
        """Return what a cell holds, and note it where that cannot be read."""
        read = self.read
        try:
            return self.plain(cell, column)
        except NotReadableError as error:
            read.problems.add(place, f"{column.heading}: {error.what}", found=error.found, hint=error.hint)
            read.refused.add(where)
            return None

    def plain(self, cell: Cell, column: Column) -> Plain:
        """Return what a cell holds; refuse a formula that nobody has worked out, and an error."""
        formulas = self.read.formulas
        if cell.value is None and formulas is not None:
            written = formulas[self.sheet.title].cell(cell.row, cell.column)
            if written.data_type == "f":
                raise NotReadableError("the value of the formula was not saved", hint=NO_VALUE)
        if cell.data_type == "e":
            raise NotReadableError("the cell holds an error", f"got {cell.value}", "put it right")
        return plain_value(cell.value, column.holds, str(cell.number_format))

    def first(self) -> int:
        """Return the number of the first column."""
        return min(self.columns, default=1)

    def named(self, row: tuple[Cell, ...], heading: str) -> tuple[Cell | None, str | None]:
        """Return the cell under a heading, and the name in it."""
        cell = next(
            (c for c in row if c.column in self.columns and self.columns[c.column].heading == heading), None
        )
        if cell is None:
            return None, None
        column, place = self.columns[cell.column], self.read.place(self.sheet, cell.row, cell.column)
        value = self.value(cell, column, place, ())
        self.read.refused.discard(())
        try:
            return cell, None if value is None else read_name(value)
        except NotReadError:
            return cell, None

    def under(self, row: tuple[Cell, ...], under: Under) -> None:
        """Read a row that belongs to an item of another sheet."""
        read, place = self.read, self.read.place(self.sheet, row[0].row, self.first())
        cell, name = self.named(row, under.heading)
        if cell is not None:
            place = read.place(self.sheet, cell.row, cell.column)
        if name is None:
            hint = f"write it in the column {under.heading!r} of every row"
            read.problems.add(place, f"nothing says which {under.heading} this row is of", hint=hint)
            return
        owner = self.owner(under, name, place)
        if owner is None:
            return
        item, loc = owner
        if under.keyed_by:
            self.keyed(row, under, item, loc)
            return
        items = item.setdefault(under.key, [])
        assert isinstance(items, list)  # noqa: S101 - made here
        inner: dict[str, Plain] = {}
        items.append(inner)
        here = (*loc, under.key, len(items) - 1)
        note_places(read, here, place, least=len(loc))
        self.fill(row, inner, here)

    def owner(self, under: Under, name: str, place: CellPlace) -> Owner | None:
        """Return the item of this name and where it stands; make it, where that is all there is to it."""
        read, section = self.read, under.section
        owners = read.data.get(section)
        if under.makes and not isinstance(owners, list):
            owners = read.data[section] = []
            read.places[section,] = read.place(self.sheet)
        known = read.owners(section)
        if name in known:
            return known[name]
        if under.makes and isinstance(owners, list):
            made: dict[str, Plain] = {"name": name}
            loc: Loc = (section, len(owners))
            owners.append(made)
            known[name] = made, loc
            note_places(read, (*loc, "name"), place, least=1)
            return made, loc
        if "" in known:
            return None  # whoever could not be read may be the one: that has been told
        hint = nearest(name, list(known))
        what = f"there is no {under.heading} of this name"
        read.problems.add(place, what, found=f"got {name!r}", hint=hint)
        return None

    def keyed(self, row: tuple[Cell, ...], under: Under, item: dict[str, Plain], loc: Loc) -> None:
        """Read a row whose key is in a column."""
        cell, key = self.named(row, under.keyed_by)
        place = self.read.place(self.sheet, row[0].row, self.first() if cell is None else cell.column)
        inner = item.setdefault(under.key, {})
        assert isinstance(inner, dict)  # noqa: S101 - made here
        if key is None:
            self.read.problems.add(place, f"{under.keyed_by} is missing")
        elif key in inner:
            self.read.problems.add(place, f"{under.keyed_by} {key!r} is there twice")
        else:
            here = (*loc, under.key, key)
            note_places(self.read, here, place, least=len(loc))
            made: dict[str, Plain] = {}
            inner[key] = made
            self.fill(row, made, here)


def _name_of(item: dict[str, Plain]) -> str:
    try:
        return read_name(item.get("name"))
    except NotReadError:
        return ""


def note_places(read: Reading, where: Loc, place: CellPlace, least: int = 0) -> None:
    """Note where a part stands, and what it is in, as far as nobody has said so before."""
    read.places[where] = place
    for length in range(least + 1, len(where)):
        read.places.setdefault(where[:length], place)


def put_at(item: dict[str, Plain], path: Path, value: Plain) -> None:
    """Put a value where a path leads, making keys and lists on the way."""
    here: Any = item
    for number, step in enumerate(path):
        last = number == len(path) - 1
        new = value if last else [] if isinstance(path[number + 1], int) else {}
        if isinstance(step, int):
            here.extend([None] * (step + 1 - len(here)))
            missing = here[step] is None
        else:
            missing = step not in here
        if last or missing:
            here[step] = new
        here = here[step]
