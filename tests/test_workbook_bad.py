"""Workbooks with something wrong in them: told by sheet and cell in one line, and never a traceback."""

import random
import shutil
import subprocess
import zipfile
from collections.abc import Callable
from datetime import date, time
from io import BytesIO
from pathlib import Path

import pytest
from doc_pages import DOCS
from openpyxl import Workbook, load_workbook
from openpyxl.worksheet.worksheet import Worksheet
from room_files import EVERYTHING

from allocator.cli import main
from allocator.console import Exit
from allocator.problems import CellPlace, InputError, Problem, Problems, place_words
from allocator.reading.room_file import load_room, read_room
from allocator.workbook.cells import bytes_of
from allocator.workbook.opening import LARGEST_UNPACKED_BYTES, OLE2, WITH_PASSWORD
from allocator.workbook.room_in import load_book
from allocator.workbook.room_out import room_book, same_room_file
from allocator.workbook.template import template_book, template_data

GOOD = bytes_of(template_book())
OFFICE = next(filter(None, map(shutil.which, ("soffice", "libreoffice"))), None)


def under(sheet: Worksheet, heading: str, row: int):
    place = next((cell for cell in sheet[1] if cell.value == heading), None)
    assert place is not None
    return sheet.cell(row, place.column)


def beside(sheet: Worksheet, name: str):
    return next(row[1] for row in sheet.iter_rows() if row[0].value == name)


def told(change: Callable[[Workbook], object], tmp_path: Path) -> list[str]:
    """Return what is said of the template after a change, errors and warnings."""
    book = load_workbook(BytesIO(GOOD))
    change(book)
    file = tmp_path / "room.xlsx"
    file.write_bytes(bytes_of(book))
    try:
        found = read_room(file).warnings
    except InputError as error:
        found = error.problems
    return [str(problem).replace(f"{tmp_path}/", "") for problem in found]


@pytest.mark.parametrize(
    ("sheet", "heading", "row", "value", "said"),
    [
        ("vessels", "kind", 3, "raering", ("cell C3: vessel 'ten': kind must be one of hatchery, rearing, grow-out, "
         "breeding, egg store (got 'raering'). Hint: did you mean 'rearing'?")),
        ("vessels", "kind", 3, None, "cell C3: vessel 'ten': kind is missing"),
        ("vessels", "water depth", 3, 27, ("cell F3: vessel 'ten': water_depth cannot be read: a length needs its "
         "unit (got 27). Hint: write 27 cm or 27 in")),
        ("vessels", "weakest flow", 4, None, ("cell H4: the weakest flow is missing. Hint: where there is only one "
         "setting, write it there")),
        ("vessels", "snail free", 2, "maybe", "cell M2: snail free: must be yes or no (got 'maybe')"),
        ("vessels", "shelf", 2, "bottm", ("cell T2: vessel 'box': no such shelf in rack 'back wall' (got 'bottm'). "
         "Hint: did you mean 'bottom'?")),
        ("broods", "name", 2, date(2027, 3, 4), ("cell A2: name: the cell holds a date, not text "
         "(got 2027-03-04). Hint: give the cell the format Text, and type it again")),
        ("broods", "name", 2, True, ("cell A2: name: the cell holds true or false (got TRUE). Hint: give the cell "
         "the format Text, and type it again")),
        ("broods", "eggs", 2, time(3, 4), ("cell E2: eggs: the cell holds a time of day (got 03:04:00). Hint: give "
         "the cell the format General, and type it again")),
        ("broods", "collected", 2, 46000, ("cell C2: collected: the cell holds a number, not a date (got 46000). "
         "Hint: write for example 2027-01-09")),
        ("broods", "collected", 2, "05.12.2026", ("cell C2: brood 'B1': collected cannot be read: a date must be "
         "written as year, month, day with hyphens (got '05.12.2026'). Hint: write for example 2027-01-09")),
        ("broods", "eggs", 2, 34.5, "cell E2: brood 'B1': eggs must be a whole number (got 34.5)"),
        ("broods", "eggs", 2, "=30+4", ("cell E2: eggs: the value of the formula was not saved. Hint: open the "
         "workbook in a spreadsheet program and save it, or write the value itself")),
        ("broods", "eggs", 2, "#REF!", "cell E2: eggs: the cell holds an error (got #REF!). Hint: put it right"),
        ("broods", "lives in", 2, "box 9", ("cell J2: brood 'B1': there is no vessel of this name (got 'box 9'). "
         "Hint: did you mean 'box 4'?")),
        ("counts", "brood", 2, "B9", "cell A2: there is no brood of this name (got 'B9'). Hint: use one of: B1, B2"),
        ("counts", "brood", 2, None, ("cell A2: nothing says which brood this row is of. Hint: write it in the "
         "column 'brood' of every row")),
        ("single copies", "copy", 2, 9, ("cell A2: vessel 'ten': except names a copy that is not there (copy 9 of 6). "
         "Hint: the copies are 1 to 6")),
        ("own figures", "figure", 2, "sale_m", ("cell B2: line 'blue': change names no figure of the rules "
         "(got 'sale_m'). Hint: did you mean 'sale_mm'?")),
        ("away", "until", 2, date(2027, 4, 1), ("cell B2: keeper: until must be after from "
         "(2027-04-03 to 2027-04-01)")),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_by_sheet_and_cell(sheet, heading, row, value, said, tmp_path: Path) -> None:
    def change(book: Workbook) -> None:
        cell = under(book[sheet], heading, row)
        cell.value = value
        if heading == "collected" and isinstance(value, int):
            cell.number_format = "General"

    lines = told(change, tmp_path)
    assert lines[0] == f"room.xlsx, sheet {sheet}, {said}"
    assert len([line for line in lines if "sheet pins" not in line]) == 1, "one fault, told once"


def test_the_page_shows_what_is_said(tmp_path: Path) -> None:
    def change(book: Workbook) -> None:
        under(book["vessels"], "kind", 3).value = "raering"

    page = (DOCS / "how-to" / "spreadsheets.md").read_text(encoding="utf-8")
    assert f"\nmy-{told(change, tmp_path)[0]}\n" in page


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("ph", "7,4", ("cell B11: the room file: conditions.ph must be a number (got '7,4'). "
         "Hint: write 7.4, with a decimal point")),
        ("move days", "sat", ("cell B5: keeper: move_days cannot be read: this is not a weekday (got 'sat'). "
         "Hint: write for example saturday")),
        ("most moves a day", "many", "cell B7: keeper: most_moves_a_day must be a whole number (got 'many')"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_the_room_itself(name, value, said, tmp_path: Path) -> None:
    def change(book: Workbook) -> None:
        beside(book["room"], name).value = value

    assert told(change, tmp_path) == [f"room.xlsx, sheet room, {said}"]


def rename(sheet: str, title: str) -> Callable[[Workbook], object]:
    return lambda book: setattr(book[sheet], "title", title)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (rename("pins", "pin"), "sheet pin: there is no sheet of this name in a room. Hint: did you mean 'pins'?"),
        (lambda b: b.create_sheet("shopping").cell(1, 1, "x"), "sheet shopping: this sheet is not read. Hint: sheets"),
        (lambda b: setattr(b["counts"], "sheet_state", "hidden"), "sheet counts: this sheet is hidden, and read all"),
        (lambda b: b.remove(b["vessels"]), "'vessels' is missing. Hint: list at least one vessel"),
        (lambda b: b["vessels"].delete_rows(2, 9), "sheet vessels: 'vessels' is empty. Hint: list at least one"),
        (lambda b: b["pins"].merge_cells("A2:A3"), "sheet pins, cell A2: cells are joined here (got A2:A3). Hint:"),
        (lambda b: b["pins"].cell(1, 9, "inn"), "sheet pins, cell I1: nothing is known here by the name 'inn'. Hint:"),
        (lambda b: b["pins"].cell(1, 9, "brood"), "sheet pins, cell I1: the heading 'brood' is there twice"),
        (lambda b: b["pins"].cell(2, 9, "hm"), "sheet pins, cell I2: no heading stands above this (got 'hm'). Hint:"),
        (lambda b: setattr(b["room"]["A3"], "value", "galon"), "cell A3: nothing is known here by the name 'galon'"),
        (lambda b: setattr(b["room"]["A3"], "value", "today"), "sheet room, cell A4: 'today' is there twice"),
        (lambda b: b["room"].cell(40, 2, 7), "sheet room, cell B40: nothing in column A says what this is (got 7)"),
        (lambda b: b["own figures"].append(["blue", "sale_mm", 5, "x"]), "cell B3: figure 'sale_mm' is there twice"),
        (lambda b: b["own figures"].append(["blue", None, 5, "x"]), "sheet own figures, cell B3: figure is missing"),
    ],
)  # fmt: skip
def test_sheets_and_headings(change, said: str, tmp_path: Path) -> None:
    assert said in told(change, tmp_path)[0]


def test_words_of_the_keepers_own_have_their_place(tmp_path: Path) -> None:
    def change(book: Workbook) -> None:
        sheet = book["broods"]
        sheet.cell(1, 20, "Notes")
        sheet.cell(2, 20, "the best of all")
        book["notes"]["A30"] = "buy food"

    assert told(change, tmp_path) == []


def test_what_was_typed_loosely_is_understood(tmp_path: Path) -> None:
    def change(book: Workbook) -> None:
        broods = book["broods"]
        under(broods, "eggs", 2).value = " 34 "
        under(broods, "collected", 2).value = "2026-12-05"
        under(broods, "lives in", 2).value = "box 1  "
        under(book["vessels"], "kind", 2).value = " Hatchery"
        under(book["vessels"], "snail free", 2).value = True
        under(broods, "name", 1).value = " NAME "
        broods.title = "x"
        broods.title = "Broods"
        broods.insert_rows(3, 4)

    assert told(change, tmp_path) == []
    room = read_room(tmp_path / "room.xlsx").room
    brood = room.brood_named["B1"]
    assert (brood.eggs, brood.collected, brood.homes[0].vessel) == (34, date(2026, 12, 5), "box 1")


def test_a_number_is_a_name_as_it_is_shown(tmp_path: Path) -> None:
    def change(book: Workbook) -> None:
        for sheet, heading in (("broods", "name"), ("counts", "brood"), ("pins", "brood")):
            cell = under(book[sheet], heading, 2)
            cell.value, cell.number_format = 7, "000"

    assert told(change, tmp_path) == []
    assert "007" in read_room(tmp_path / "room.xlsx").room.brood_named


def test_a_formula_counts_as_what_it_came_to(tmp_path: Path) -> None:
    # The part of a sheet as a spreadsheet program saves it: ISO/IEC 29500-1, 18.3.1.40, value beside formula.
    book = load_workbook(BytesIO(GOOD))
    under(book["broods"], "eggs", 2).value = "=30+4"
    content = repacked(bytes_of(book), lambda _, data: data.replace(b"</f><v />", b"</f><v>34</v>"))
    (tmp_path / "room.xlsx").write_bytes(content)
    assert read_room(tmp_path / "room.xlsx").room.brood_named["B1"].eggs == 34


def repacked(content: bytes, change: Callable[[str, bytes], bytes | None]) -> bytes:
    out = BytesIO()
    with zipfile.ZipFile(BytesIO(content)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            data = change(name, old.read(name))
            if data is not None:
                new.writestr(name, data)
    return out.getvalue()


def packed(parts: dict[str, bytes]) -> bytes:
    out = BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name, data in parts.items():
            # The kind of an OpenDocument package stands first in it, as it is: part 2, 3.3.
            new.writestr(name, data, zipfile.ZIP_STORED if name == "mimetype" else zipfile.ZIP_DEFLATED)
    return out.getvalue()


def far_away() -> bytes:
    book = Workbook()
    book.active["XFD1048576"] = "far"
    return bytes_of(book)


OPEN = b"application/vnd.oasis.opendocument.spreadsheet"
BOMB = {"xl/workbook.xml": b"", "xl/media/a.bin": b"\0" * (LARGEST_UNPACKED_BYTES + 1)}
DECLARED = b'<!DOCTYPE a [<!ENTITY b "bbbbbbbb">]><a>&b;</a>'


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "the file is empty. Hint: see whether it was saved"),
        (b"fish_room: mine\n", "this is not a workbook. Hint: save it as .xlsx in your spreadsheet program"),
        (GOOD[:20_000], "this is not a workbook (cut short, or changed on its way). Hint: save it as .xlsx"),
        (OLE2 + b"\0" * 600, "this is an older kind of workbook (got .xls). Hint: save it as .xlsx"),
        (OLE2 + b"\0" * 600 + WITH_PASSWORD, "the workbook is protected with a password. Hint: save it without one"),
        (packed({"mimetype": OPEN}), "this is a workbook of another kind (got .ods). Hint: save it as .xlsx"),
        (packed({"word/document.xml": b""}), "this is not a workbook (a package of something else). Hint: save it"),
        (packed(BOMB), "the workbook is too large (more than 30 MB when unpacked). Hint: delete pictures"),
        (far_away(), "the workbook is too large (sheet Sheet goes on to cell XFD1048576). Hint: delete the columns"),
        (repacked(GOOD, lambda _, d: d[: len(d) // 2]), "the workbook is damaged ("),
        (repacked(GOOD, lambda n, d: DECLARED if n == "xl/styles.xml" else d), "is damaged (a declaration in xl/styles"),
        (bytes_of(Workbook()), "no sheet of this workbook is of a room. Hint: sheets of a room are room, away"),
    ],
)  # fmt: skip
def test_what_is_no_workbook_is_told_in_one_line(
    content: bytes, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("room.xlsx").write_bytes(content)
    assert main(["plan", "room.xlsx"]) == Exit.BAD_INPUT
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("room.xlsx: ")
    assert said in line


def test_no_damage_is_met_with_a_traceback() -> None:
    chance = random.Random(3)  # noqa: S311 - any damage will do
    for _ in range(25):
        whole = bytearray(GOOD)
        for _ in range(chance.randint(1, 5)):
            whole[chance.randrange(len(whole))] = chance.randrange(256)
        unharmed_or_told(bytes(whole))
        unlucky = chance.choice(zipfile.ZipFile(BytesIO(GOOD)).namelist())

        def spoil(name: str, data: bytes, unlucky: str = unlucky) -> bytes | None:
            if name != unlucky:
                return data
            start = chance.randrange(len(data))
            return chance.choice([None, data[:start], data[:start] + b"9" + data[start + 1 :], b"<a/>"])

        unharmed_or_told(repacked(GOOD, spoil))


def unharmed_or_told(content: bytes) -> None:
    problems = Problems("room.xlsx")
    source = load_book(content, problems)
    assert source is not None or problems.errors


def test_places_are_told_in_the_order_of_sheets_rows_and_columns() -> None:
    places = [
        CellPlace.of(),
        CellPlace.of(1, "a"),
        CellPlace.of(1, "a", 2, 3, "C2"),
        CellPlace.of(1, "a", 3, 1, "A3"),
    ]
    places.append(CellPlace.of(2, "b", 1, 1, "A1"))
    assert sorted(places) == places
    assert [str(Problem("f", place, "odd")) for place in places[:3]] == [
        "f: odd",
        "f, sheet a: odd",
        "f, sheet a, cell C2: odd",
    ]
    assert place_words(places[2]) == "sheet a, cell C2"
    assert place_words(12) == "line 12"
    assert str(Problem("f", 12, "odd")) == "f:12: odd"


def test_pins_that_clash_are_named_by_their_cells(tmp_path: Path) -> None:
    def change(book: Workbook) -> None:
        book["pins"].append(["B1", "ten 5"])

    (line,) = told(change, tmp_path)
    assert "sheet pins, cell A2 wants" in line


@pytest.mark.skipif(OFFICE is None, reason="LibreOffice is not here to open and save the workbook")
@pytest.mark.parametrize("room", ["template", "everything"])
def test_a_workbook_saved_by_libreoffice_reads_the_same(room: str, tmp_path: Path) -> None:
    data = template_data() if room == "template" else load_room(EVERYTHING, Problems("room")).data
    (tmp_path / "room.xlsx").write_bytes(bytes_of(room_book(data)))
    profile = f"-env:UserInstallation=file://{tmp_path}/profile"
    command = [OFFICE, profile, "--headless", "--convert-to", "xlsx", "--outdir", "again", "room.xlsx"]
    subprocess.run(command, cwd=tmp_path, check=True, capture_output=True, timeout=240)
    problems = Problems("room.xlsx")
    source = load_book((tmp_path / "again" / "room.xlsx").read_bytes(), problems)
    assert problems.found == []
    assert source is not None
    assert same_room_file(source.data, data)
