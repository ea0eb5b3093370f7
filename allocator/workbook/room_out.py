"""The plain data of a room file as a workbook to fill in: headings, notes, drop-down lists, dates as dates."""

from collections.abc import Iterator, Mapping
from datetime import date

from openpyxl import Workbook
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from allocator.reading.packs import shipped_packs
from allocator.reading.shape import RoomFile
from allocator.reading.source import Plain, WrittenFloat, WrittenInt
from allocator.workbook.cells import DAY_FORMAT, TEXT_FORMAT, Heading, Value, put, to_print, write_headings
from allocator.workbook.layout import (
    ALWAYS,
    AVAILABLE,
    AVAILABLE_FROM,
    LISTS,
    NOTES,
    ONE_BY_ONE,
    ROOM,
    SHEETS,
    Column,
    Holds,
    Layout,
    Path,
)

Item = Mapping[str, Plain]
SPARE_ROWS = 200
"""Rows below the last one that have drop-down lists too."""

DIGITS = 15
"""As many as spreadsheet programs keep of a number (IEEE 754 doubles hold 15 for sure); a longer one goes as text."""

LONGEST_LIST = 255
"""What a drop-down list can hold when its words stand in it (ISO/IEC 29500-1 has no figure; programs have this)."""

HOW_TO = (
    "Fill in the sheets, one thing a row, and delete the rows that are not yours.",
    "The order of columns and sheets does not matter; those without anything in them may be deleted.",
    "A column headed 'notes' is yours in every sheet. 'also for' and 'may share with' may stand there several times.",
    "Dates are dates, or text such as 2027-01-09. Lengths and volumes need their unit: 27 cm, 10.5 in, 34 l.",
    "Plan it as it is: allocator plan FILE.xlsx. As a text file: allocator sheet-in FILE.xlsx --out my-room.yaml",
)


def room_book(data: Item) -> Workbook:
    """
    Return a workbook that says what the data of a room file say.

    Parameters
    ----------
    data
        Of a room file that could be read.

    Notes
    -----
    Nothing that the file says is lost but its comments and the order of its keys: reading the workbook gives
    data of the same meaning.
    """
    book = Workbook()
    first = book.active
    assert isinstance(first, Worksheet)  # noqa: S101 - a new workbook has one sheet
    whole = same_shape(data)
    for number, layout in enumerate(SHEETS):
        sheet = first if number == 0 else book.create_sheet()
        sheet.title = layout.title
        if layout.title == ROOM:
            _write_room(sheet, layout, whole)
        else:
            _write_sheet(sheet, layout, list(rows_of(layout, whole)))
        to_print(sheet)
    _write_notes(book.create_sheet(NOTES))
    _write_lists(book.create_sheet(LISTS), whole)
    book.properties.creator = "allocator"
    book.properties.title = "Room"
    return book


def same_room_file(one: Item, other: Item) -> bool:
    """Tell whether the data of two room files mean the same: a list or group of keys that is empty is none."""
    first, second = (RoomFile.model_validate(_without_empty(data)) for data in (one, other))
    return first == second


def _without_empty(data: Item) -> dict[str, Plain]:
    kept: dict[str, Plain] = {}
    for key, value in data.items():
        inner: Plain = value
        if isinstance(value, dict):
            inner = _without_empty(value)
        elif isinstance(value, list):
            inner = [_without_empty(part) if isinstance(part, dict) else part for part in value]
        # A copy of which it is said that it is available, and no day, always is.
        if inner not in ([], {}, None) or key == AVAILABLE:
            kept[key] = inner
    return kept


def same_shape(data: Item) -> dict[str, Plain]:
    """Return the data with what may be written in two ways written in one: a single thing as a list of one."""
    whole = dict(data)
    for section, keys in {
        "vessels": ("flow", "filter", "except"),
        "breeding_groups": ("collect",),
        "broods": ("lives_in", "counted"),
    }.items():
        whole[section] = [_same(item, keys) for item in _items(data.get(section))]
    return whole


def _same(item: Item, keys: tuple[str, ...]) -> dict[str, Plain]:
    same = dict(item)
    for key in keys:
        value = same.get(key)
        if value is None:
            same.pop(key, None)
        elif key == "filter":
            same[key] = value if isinstance(value, dict) else {"kind": value}
        elif key == "except":
            same[key] = [_same(part, ("flow", "filter")) for part in _items(value)]
        else:
            same[key] = value if isinstance(value, list) else [value]
    if "lives_in" in keys and "lives_in" in same:
        homes = same["lives_in"]
        assert isinstance(homes, list)  # noqa: S101 - made so above
        same["lives_in"] = [home if isinstance(home, dict) else {"vessel": home} for home in homes]
    return same


def _items(value: Plain) -> list[dict[str, Plain]]:
    return [item for item in value if isinstance(item, dict)] if isinstance(value, list) else []


def rows_of(layout: Layout, whole: Item) -> Iterator[dict[str, list[Plain]]]:
    """Yield the rows of a sheet: what stands under each heading."""
    under = layout.under
    if under is None:
        for item in _items(_at(whole, layout.path)):
            yield _row(layout, item)
        return
    for owner in _items(whole.get(under.section)):
        inner = owner.get(under.key)
        if under.keyed_by and isinstance(inner, dict):
            for key, part in inner.items():
                if isinstance(part, dict):
                    names: dict[str, list[Plain]] = {under.heading: [owner["name"]], under.keyed_by: [key]}
                    yield names | _row(layout, part)
        elif under.key != "lives_in" or not _one_home(owner):
            for part in _items(inner):
                yield {under.heading: [owner["name"]]} | _row(layout, part)


def _one_home(brood: Item) -> bool:
    """Tell whether a brood has one home and no more is said of it: then it stands in the brood's own row."""
    homes = _items(brood.get("lives_in"))
    return len(homes) == 1 and homes[0].get("fish") is None


def _row(layout: Layout, item: Item) -> dict[str, list[Plain]]:
    row: dict[str, list[Plain]] = {}
    for column in layout.columns:
        several = (
            column.path[:1] == ("lives_in",)
            and isinstance(item.get("lives_in"), list)
            and not _one_home(item)
        )
        value = _at(item, column.path) if column.path and not several else None
        if column.path == AVAILABLE_FROM and item.get(AVAILABLE) == {}:
            value = ALWAYS
        if value is not None:
            row[column.heading] = value if column.many and isinstance(value, list) else [value]
    return row


def _at(item: Item, path: Path) -> Plain:
    here: Plain = dict(item)
    for step in path:
        if isinstance(here, dict):
            here = here.get(str(step))
        elif isinstance(here, list) and isinstance(step, int):
            here = here[step] if step < len(here) else None
        else:
            return None
    return here


def cell_value(value: Plain, holds: Holds) -> Value:
    """Return what is written into a cell for a value of a room file."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, WrittenInt | WrittenFloat):
        if holds is Holds.TEXT or float(f"{value:.{DIGITS}g}") != value:
            return value.written
        return int(value) if isinstance(value, int) else float(value)
    text = "" if value is None else str(value)
    if holds is Holds.DAY and text != ALWAYS:
        return date.fromisoformat(text.strip())
    return text


def _write_room(sheet: Worksheet, layout: Layout, whole: Item) -> None:
    write_headings(sheet, (Heading("what", 24), Heading("yours", 30), Heading(NOTES, 70)))
    number = 2
    for column in layout.columns:
        value = _at(whole, column.path)
        values = value if column.many and isinstance(value, list) else [value]
        for one in values:
            put(sheet, number, 1, column.heading).font = Font(bold=True)
            cell = put(sheet, number, 2, None if one is None else cell_value(one, column.holds))
            cell.number_format = FORMATS.get(column.holds, "General")
            cell.alignment = Alignment(horizontal="left")
            put(sheet, number, 3, column.help)
            _offer(sheet, column, f"B{number}")
            number += 1


FORMATS = {Holds.TEXT: TEXT_FORMAT, Holds.DAY: DAY_FORMAT}


def _write_sheet(sheet: Worksheet, layout: Layout, rows: list[dict[str, list[Plain]]]) -> None:
    columns: list[tuple[Column, int]] = []
    for column in layout.columns:
        copies = max([len(row.get(column.heading, ())) for row in rows], default=0) if column.many else 1
        columns += [(column, place) for place in range(max(1, copies))]
    write_headings(sheet, [_heading(layout, column, rows) for column, _ in columns])
    for number, row in enumerate(rows, 2):
        for place, (column, which) in enumerate(columns, 1):
            values = row.get(column.heading, [])
            if which < len(values):
                put(sheet, number, place, cell_value(values[which], column.holds))
    last = len(rows) + 1 + SPARE_ROWS
    for place, (column, _) in enumerate(columns, 1):
        letter = get_column_letter(place)
        if column.holds in FORMATS:
            # For what is typed below the last row: text stays text, dates are shown as ours are.
            sheet.column_dimensions[letter].number_format = FORMATS[column.holds]
        _offer(sheet, column, f"{letter}2:{letter}{last}")


def _heading(layout: Layout, column: Column, rows: list[dict[str, list[Plain]]]) -> Heading:
    longest = max([len(str(v)) for row in rows for v in row.get(column.heading, ())], default=0)
    note = f"{column.help} For example: {column.example}"
    if column is layout.columns[0]:
        note = f"{layout.about} {note}"
    return Heading(column.heading, max(10, min(longest + 2, 40), min(len(column.heading) + 2, 14)), note)


def _offer(sheet: Worksheet, column: Column, cells: str) -> None:
    """Give cells a drop-down list, if there are words to choose from."""
    if column.choices and not column.only_these:
        formula = f"{LISTS}!$B$2:$B${1 + len(column.choices)}"
    elif column.choices:
        formula = f'"{",".join(column.choices)}"'
        assert len(formula) <= LONGEST_LIST  # noqa: S101 - a test looks at every sheet
    elif column.chosen_from == ONE_BY_ONE:
        formula = f"{LISTS}!$A$2:$A$2000"
    elif column.chosen_from:
        formula = f"{quote_sheetname(column.chosen_from)}!$A$2:$A$2000"
    else:
        return
    offer = DataValidation("list", formula1=formula, allow_blank=True)
    # Only words of ours are insisted on: names may be typed before the row that says what they are.
    offer.showErrorMessage = bool(column.choices) and column.only_these
    offer.error, offer.errorTitle = "Choose one of the list, or leave it empty.", "Not in the list"
    offer.add(cells)
    sheet.add_data_validation(offer)


def _write_notes(sheet: Worksheet) -> None:
    headings = (
        Heading("sheet", 16),
        Heading("column", 24),
        Heading("what to write", 70),
        Heading("example", 26),
    )
    write_headings(sheet, headings)
    number = 2
    for text in HOW_TO:
        put(sheet, number, 3, text).alignment = Alignment(wrap_text=True, vertical="top")
        sheet.row_dimensions[number].height = 15.0 * (1 + len(text) // 60)
        number += 1
    for layout in SHEETS:
        for place, column in enumerate(layout.columns):
            about = f"{layout.about} " if place == 0 else ""
            cells = (layout.title, column.heading, f"{about}{column.help}", column.example)
            for letter, text in enumerate(cells, 1):
                put(sheet, number, letter, text).alignment = Alignment(wrap_text=True, vertical="top")
            sheet.row_dimensions[number].height = 15.0 * (1 + len(cells[2]) // 60)
            number += 1
    to_print(sheet)


def _write_lists(sheet: Worksheet, whole: Item) -> None:
    """Write what drop-down lists take their words from: the names of all single vessels, and the shipped packs."""
    write_headings(sheet, (Heading(ONE_BY_ONE, 30), Heading("shipped rules", 30)))
    for column, words in enumerate((_single_vessels(whole), shipped_packs()), 1):
        for number, word in enumerate(words, 2):
            put(sheet, number, column, word)
    sheet.sheet_state = "hidden"


def _single_vessels(whole: Item) -> Iterator[str]:
    for vessel in _items(whole.get("vessels")):
        name, copies = cell_value(vessel.get("name"), Holds.TEXT), vessel.get("copies", 1)
        if isinstance(copies, int) and copies > 1:
            yield from (f"{name} {number}" for number in range(1, copies + 1))
        else:
            yield str(name)
