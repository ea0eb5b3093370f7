"""Cells of a workbook: dates as dates, numbers as numbers, and text that no spreadsheet takes for a formula.

The file format is ISO/IEC 29500-1 (Office Open XML); openpyxl writes it.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from io import BytesIO
from math import ceil
from unicodedata import east_asian_width

from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.page import PageMargins
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from allocator.writing import STARTS_A_FORMULA

Value = str | int | float | bool | date | None

DAY_FORMAT = "yyyy-mm-dd"
TEXT_FORMAT = "@"
"""The built-in format `Text`: what is typed over such a cell stays text too."""

LONGEST_CELL = 32_767
"""Characters (ISO/IEC 29500-1, 18.18: as spreadsheet programs keep it)."""

LOOKS_ESCAPED = re.compile(r"_(?=x[0-9A-Fa-f]{4}_)")
"""A cell's text writes odd characters as _xHHHH_ (ISO/IEC 29500-1, 22.9.2.19), so such text itself is escaped."""

ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")
NOT_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")

GREY = "FFE7E6E6"
THIN = Side(style="thin", color="FF808080")
BOX = Border(left=THIN, right=THIN, top=THIN, bottom=THIN)
MOST_LETTERS = 36
"""A column is no wider, in characters of the default font, unless its heading is: longer text takes more lines."""

POINTS_A_LINE = 15.0
"""The default height of a row."""

MOST_ON_A_PAGE = 16
"""So many columns and more are too small to read on one page (judgement, looked at on paper)."""

SPARE = 1.15
"""Lines break between words, so text needs a little more than its letters (judgement, looked at on paper)."""


@dataclass(frozen=True)
class Heading:
    """The heading of a column, how wide it is in characters, and what is written beside it as a note."""

    text: str
    width: int = 12
    note: str = ""


def put(sheet: Worksheet, row: int, column: int, value: Value) -> Cell:
    """Write a value into a cell, as what it is; text is never a formula, whatever it begins with."""
    cell = sheet.cell(row, column)
    assert isinstance(cell, Cell)  # noqa: S101 - nothing is merged here
    if value == "":
        return cell
    if isinstance(value, str):
        cell.value = cell_text(value)
        cell.data_type = "s"
        cell.number_format = TEXT_FORMAT
        if value.startswith(STARTS_A_FORMULA):
            cell.quotePrefix = True
    elif value is not None:
        cell.value = value
        if isinstance(value, date):
            cell.number_format = DAY_FORMAT
    return cell


def cell_text(text: str) -> str:
    """Return text as it is written into a cell: what XML cannot hold as an escape that can be read."""
    shown = NOT_IN_XML.sub(lambda found: found[0].encode("unicode_escape").decode("ascii"), text)
    return LOOKS_ESCAPED.sub("_x005F_", shown)[:LONGEST_CELL]


def text_of_cell(text: str) -> str:
    """Return what the text of a cell stands for, `_xHHHH_` turned back."""
    return ESCAPED.sub(lambda found: chr(int(found[1], 16)), text)


def write_headings(sheet: Worksheet, headings: Sequence[Heading], row: int = 1) -> None:
    """Write a row of headings, which stays in sight and stands on every printed page."""
    for column, heading in enumerate(headings, 1):
        cell = put(sheet, row, column, heading.text)
        cell.font = Font(bold=True)
        cell.fill = PatternFill("solid", start_color=GREY)
        cell.border = BOX
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        if heading.note:
            cell.comment = Comment(heading.note, "allocator", width=320, height=110)
        sheet.column_dimensions[get_column_letter(column)].width = heading.width
    sheet.freeze_panes = f"A{row + 1}"
    sheet.print_title_rows = f"{row}:{row}"


def write_table(sheet: Worksheet, headings: Sequence[Heading], rows: Sequence[Sequence[Value]]) -> None:
    """Write headings and rows, with columns as wide as what is in them, to be filtered, sorted and printed."""
    fitted = [
        Heading(heading.text, _width(heading, [row[place] for row in rows]), heading.note)
        for place, heading in enumerate(headings)
    ]
    write_headings(sheet, fitted)
    for number, row in enumerate(rows, 2):
        for column, value in enumerate(row, 1):
            cell = put(sheet, number, column, value)
            cell.border = BOX
            beside = "left" if isinstance(value, date) else None
            cell.alignment = Alignment(wrap_text=isinstance(value, str), vertical="top", horizontal=beside)
        sheet.row_dimensions[number].height = _height(row, fitted)
    if rows:
        sheet.auto_filter.ref = f"A1:{get_column_letter(len(headings))}{len(rows) + 1}"
    to_print(sheet)


def _width(heading: Heading, values: Sequence[Value]) -> int:
    longest = max([_letters(str(value)) for value in values if value is not None], default=0)
    return max(min(longest + 2, MOST_LETTERS), heading.width)


def _height(row: Sequence[Value], headings: Sequence[Heading]) -> float:
    """Return the height of a row in points: not every program makes room for text of several lines by itself."""
    pairs = zip(row, headings, strict=True)
    lines = [
        ceil(_letters(value) * SPARE / heading.width) for value, heading in pairs if isinstance(value, str)
    ]
    return POINTS_A_LINE * max(1, *lines, 1)


def _letters(text: str) -> int:
    """Return how many letters wide a text is; an emoji and a Chinese sign are as wide as two."""
    return sum(2 if east_asian_width(char) in {"W", "F"} else 1 for char in text)


def to_print(sheet: Worksheet) -> None:
    """Set a sheet up for paper: on its side, as wide as the page, pages numbered; it fits A4 and Letter.

    More columns than can be read on one page are on two beside each other.
    """
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_margins = PageMargins(left=0.4, right=0.4, top=0.5, bottom=0.8)
    sheet.page_setup.fitToWidth = 1 + sheet.max_column // MOST_ON_A_PAGE
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    footer = sheet.HeaderFooter.oddFooter
    assert footer is not None  # noqa: S101 - a new sheet has one
    footer.center.text = "&A, page &P of &N"


def bytes_of(book: Workbook) -> bytes:
    """Return a workbook as the bytes of its file."""
    out = BytesIO()
    book.save(out)
    return out.getvalue()
