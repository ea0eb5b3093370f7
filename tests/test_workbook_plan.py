"""A plan as a workbook: real dates and numbers, no formulas, and nobody's file is written over."""

import shutil
import subprocess
import zipfile
from datetime import date, datetime
from io import BytesIO
from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook
from small_rooms import small_plan, small_room
from test_calendar import NASTY, renamed
from test_cli import fits, given, here  # noqa: F401 - fixtures

from allocator.cli import main
from allocator.console import Exit
from allocator.plan import Added, Homeless, NotTaken, Plan
from allocator.reports.plan_book import is_untouched, plan_book
from allocator.result import Answer, FoundBy, LevelOutcome, Result
from allocator.room import Addable, Room
from allocator.workbook.cells import bytes_of, text_of_cell

OFFICE = next(filter(None, map(shutil.which, ("soffice", "libreoffice"))), None)
EXTRA = ("\uff1dcmd", "+1", "-1", "@SUM(A1)", "#N/A", "007", "1E2", "TRUE", "_x0041_", "{=1+1}")


def result_of(room: Room, plan: Plan) -> Result:
    level = LevelOutcome(level=1, name="strain", unit="points", value=2, bound=1, proven=False)
    answer = Answer(plan=plan, found_by=FoundBy.SOLVER, levels=(level,))
    return Result(room=room, best=answer, as_it_is=answer, remarks=(f"look at {room.name}",))


def opened(content: bytes) -> Workbook:
    return load_workbook(BytesIO(content))


def rows_of(book: Workbook, sheet: str) -> list[dict[str, object]]:
    heads, *rows = book[sheet].iter_rows(values_only=True)
    return [dict(zip(heads, row, strict=True)) for row in rows]


def day_of(value: object) -> date:
    assert isinstance(value, datetime)
    return value.date()


def test_moves_and_stays_are_those_of_the_plan_as_dates_and_numbers() -> None:
    plan = small_plan()
    book = opened(bytes_of(plan_book(result_of(small_room(), plan))))
    moves = {
        (day_of(row["on"]), row["lot"], row["brood"], row["from"], row["to"], row["fish"])
        for row in rows_of(book, "moves")
    }
    assert moves == {(m.on, m.lot, m.brood, m.from_, m.to, m.fish) for m in plan.moves}
    stays = [row for row in rows_of(book, "who lives where") if row["brood"] is not None]
    assert {
        (row["vessel"], row["lot"], day_of(row["from"]), day_of(row["until"]), row["fish"]) for row in stays
    } == {(s.vessel, s.lot, s.from_, s.until, s.fish) for s in plan.stays}
    assert all(row["days"] == (day_of(row["until"]) - day_of(row["from"])).days for row in stays)
    flow = {(row["vessel"], day_of(row["from"]), row["setting"]) for row in rows_of(book, "flow")}
    assert flow == {(f.vessel, f.from_, f.setting.word) for f in plan.flow}


def test_breeding_groups_live_somewhere_too() -> None:
    room = small_room()
    book = plan_book(result_of(room, small_plan()))
    rows = [row for row in rows_of(book, "who lives where") if row["brood"] is None]
    assert room.groups
    assert {(row["vessel"], row["lot"], row["fish"]) for row in rows} == {
        (g.vessel, g.name, g.males + g.females) for g in room.groups
    }


def test_what_has_no_place_and_what_to_add() -> None:
    day, room = date(2027, 2, 6), small_room()
    like = room.vessels[0].declared_as
    plan = small_plan().model_copy(
        update={
            "added": (Added(like=like, copies=2, from_=day),),
            "homeless": (Homeless(brood="B1", from_=day, until=date(2027, 3, 6), fish=7),),
            "not_taken": (NotTaken(brood="B1", on=day, eggs=30),),
        }
    )
    room = room.model_copy(update={"could_add": (Addable(like=like, price=12.5, most=3),)})
    book = opened(bytes_of(plan_book(result_of(room, plan))))
    added = rows_of(book, "tanks to add")
    assert [row["called here"] for row in added] == [f"new {like} 1", f"new {like} 2"]
    assert [row["price"] for row in added] == [12.5, 12.5]
    (lost,) = rows_of(book, "without a home")
    assert (lost["brood"], day_of(lost["from"]), lost["fish"]) == ("B1", day, 7)
    (left,) = rows_of(book, "not taken")
    assert (left["brood"], day_of(left["on"]), left["eggs"]) == ("B1", day, 30)
    assert {row["what"]: row["answer"] for row in rows_of(book, "verdict")}["price of what is added"] == 25


@pytest.mark.parametrize("name", [*NASTY, *EXTRA])
def test_no_name_becomes_a_formula(name: str) -> None:
    room, plan = renamed(small_room(name=name), small_plan(), {"ten 1": name, "K1": f"={name}"})
    content = bytes_of(plan_book(result_of(room, plan), [f"={name}"]))
    book = opened(content)
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert not any(cell.data_type in "fe" for cell in cells)
    assert all(cell.data_type == "s" for cell in cells if isinstance(cell.value, str))
    with zipfile.ZipFile(BytesIO(content)) as parts:
        sheets = [parts.read(part) for part in parts.namelist() if part.startswith("xl/worksheets/")]
    assert sheets
    # An element `f` is the only way to write a formula of a cell: ISO/IEC 29500-1, 18.3.1.40.
    assert not any(b"<f>" in sheet or b"<f " in sheet for sheet in sheets)
    if name in {"x" * 80, *EXTRA, NASTY[0], NASTY[1], NASTY[2], NASTY[4], NASTY[6]}:
        shown = {text_of_cell(cell.value) for cell in cells if isinstance(cell.value, str)}
        assert name in shown, "the name stands there as it is"
        assert f"={name}" in shown


def test_sheets_are_ready_for_paper_and_the_headings_stay() -> None:
    for sheet in plan_book(result_of(small_room(), small_plan())):
        assert sheet.freeze_panes == "A2"
        assert sheet.print_title_rows == "$1:$1"
        assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (1, 0)
        assert sheet.sheet_properties.pageSetUpPr.fitToPage


def test_moves_can_be_ticked() -> None:
    sheet = opened(bytes_of(plan_book(result_of(small_room(), small_plan()))))["moves"]
    (tick,) = sheet.data_validations.dataValidation
    assert (tick.type, tick.formula1, str(tick.sqref)) == ("list", '"yes"', f"A2:A{sheet.max_row}")


def test_a_plan_that_somebody_wrote_into_is_told_from_one_that_nobody_did() -> None:
    book = opened(bytes_of(plan_book(result_of(small_room(), small_plan()))))
    assert is_untouched(book)
    assert is_untouched(opened(bytes_of(book))), "saving it again changes nothing"
    book["moves"]["A2"] = "yes"
    assert not is_untouched(book)
    assert not is_untouched(Workbook())


def test_only_our_own_plan_is_replaced(given, here: Path, capsys) -> None:  # noqa: F811
    given(fits())
    book, command = here / "plan.xlsx", ["plan", "room.yaml", "--xlsx", "plan.xlsx"]
    assert main(command) == Exit.FITS
    assert "Wrote plan.xlsx." in capsys.readouterr().out
    first = rows_of(load_workbook(book), "moves")
    assert first
    assert main(command) == Exit.FITS
    assert rows_of(load_workbook(book), "moves") == first
    ticked = load_workbook(book)
    ticked["moves"]["A2"] = "yes"
    ticked.save(book)
    before = book.read_bytes()
    assert main(command) == Exit.BAD_INPUT
    assert "somebody has written into this plan since it was made" in capsys.readouterr().err
    assert book.read_bytes() == before


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--xlsx", "own.xlsx"], "this workbook is there already and is not a plan that was written here"),
        (["--xlsx", "photo.xlsx"], "this file is there already and is not a plan that was written here"),
        (["--xlsx", "plan.ods"], "the name of a workbook must end in .xlsx"),
        (["--xlsx", ""], "--xlsx has no file name"),
        (["--xlsx", "no/plan.xlsx"], "there is no folder no"),
        (["--xlsx", "a.xlsx", "--json", "a.xlsx"], "another part of the plan goes there"),
    ],
)
def test_a_workbook_takes_the_place_of_nothing_else(arguments, said, here: Path, capsys) -> None:  # noqa: F811
    Workbook().save(here / "own.xlsx")
    (here / "photo.xlsx").write_bytes(b"\xff\xd8\xff\x00")
    before = {path: path.read_bytes() for path in here.rglob("*") if path.is_file()}
    assert main(["plan", "room.yaml", *arguments]) == Exit.BAD_INPUT
    shown = capsys.readouterr()
    assert said in shown.err
    assert len(shown.err.splitlines()) == 1
    assert {path: path.read_bytes() for path in here.rglob("*") if path.is_file()} == before


@pytest.mark.skipif(OFFICE is None, reason="LibreOffice is not here to open the workbook")
@pytest.mark.parametrize("name", ["=cmd|' /C calc'!A0", "<script>", "حوض ٣", "🐟" * 40])
def test_libreoffice_reads_the_same(name: str, tmp_path: Path) -> None:
    room, plan = renamed(small_room(), small_plan(), {"ten 1": name})
    (tmp_path / "plan.xlsx").write_bytes(bytes_of(plan_book(result_of(room, plan))))
    (tmp_path / "again").mkdir()
    profile = f"-env:UserInstallation=file://{tmp_path}/profile"
    command = [OFFICE, profile, "--headless", "--convert-to", "xlsx", "--outdir", "again", "plan.xlsx"]
    subprocess.run(command, cwd=tmp_path, check=True, capture_output=True, timeout=240)
    mine, theirs = load_workbook(tmp_path / "plan.xlsx"), load_workbook(tmp_path / "again" / "plan.xlsx")
    assert theirs.sheetnames == mine.sheetnames
    for sheet in mine:
        values = [[str(cell.value) for cell in row] for row in sheet.iter_rows()]
        assert [[str(cell.value) for cell in row] for row in theirs[sheet.title].iter_rows()] == values
    assert not any(cell.data_type == "f" for sheet in theirs for row in sheet.iter_rows() for cell in row)
