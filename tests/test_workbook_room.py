"""A room file as a workbook and back: nothing is lost, and every key has its place."""

import random
from datetime import date, timedelta
from io import BytesIO
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook
from pydantic import BaseModel
from room_files import EVERYTHING, SCENARIOS

from allocator.cli import main
from allocator.console import Exit
from allocator.problems import Problems
from allocator.reading import read_room
from allocator.reading.packs import shipped_packs
from allocator.reading.room_file import load_room
from allocator.reading.shape import FLOW_WORDS, FilterKind, RoomFile, room_schema
from allocator.reading.source import Plain, load_text
from allocator.reading.starter import starter_text
from allocator.room import Room
from allocator.workbook.cells import bytes_of
from allocator.workbook.layout import SHEETS, TITLES
from allocator.workbook.room_in import load_book
from allocator.workbook.room_out import LONGEST_LIST, room_book, same_room_file
from allocator.workbook.room_text import room_text
from allocator.workbook.template import template_book, template_data

ROOMS = sorted(SCENARIOS.glob("*.yaml"))


def plain(text: str) -> dict[str, Plain]:
    problems = Problems("room")
    source = load_text(text, problems)
    assert source is not None, problems.found
    assert problems.found == []
    return source.data


def from_book(content: bytes) -> dict[str, Plain]:
    problems = Problems("room.xlsx")
    source = load_book(content, problems)
    assert source is not None, problems.found
    assert problems.found == []
    return source.data


def through_both(data: dict[str, Plain]) -> None:
    """Send data through a workbook and through text, and want the same room file each time."""
    book = from_book(bytes_of(room_book(data)))
    assert same_room_file(book, data)
    assert same_room_file(plain(room_text(book, "room.xlsx")), data)


def unplaced(room: Room, file: Path) -> str:
    """Return all of a room as text, without the name of the file that figures come from."""
    return room.model_dump_json().replace(f'"{file.name}"', '"room"')


@pytest.mark.parametrize("file", ROOMS, ids=lambda file: file.stem)
def test_every_scenario_comes_back_as_it_was(file: Path, tmp_path: Path) -> None:
    data = load_room(file, Problems("room")).data
    through_both(data)
    (tmp_path / "packs").symlink_to(SCENARIOS / "packs")
    copies = [tmp_path / "room.xlsx", tmp_path / "room.yaml"]
    copies[0].write_bytes(bytes_of(room_book(data)))
    copies[1].write_text(room_text(from_book(copies[0].read_bytes()), "x"), encoding="utf-8")
    before = read_room(file)
    for copy in copies:
        after = read_room(copy)
        assert unplaced(after.room, copy) == unplaced(before.room, file)
        assert len(after.warnings) == len(before.warnings)
        assert after.gallon == before.gallon


def test_the_starter_comes_back_as_it_was() -> None:
    through_both(plain(starter_text()))
    through_both(template_data())


def leaves(model: type[BaseModel], path: tuple[str, ...] = ()) -> set[tuple[str, ...]]:
    """Return every key of the room file's JSON Schema, as its path from the top."""
    schema = room_schema()

    def walk(node: object, here: tuple[str, ...]) -> set[tuple[str, ...]]:
        if not isinstance(node, dict):
            return set()
        if "$ref" in node:
            return walk(schema["$defs"][str(node["$ref"]).rsplit("/", 1)[-1]], here)
        found: set[tuple[str, ...]] = set()
        for option in node.get("anyOf", ()):
            found |= walk(option, here)
        found |= walk(node.get("items"), here) | walk(node.get("additionalProperties"), (*here, "*"))
        for key, inner in node.get("properties", {}).items():
            below = walk(inner, (*here, key))
            found |= below or {(*here, key)}
        return found

    assert model is RoomFile
    return walk(schema, path)


def places() -> set[tuple[str, ...]]:
    """Return every key that a column of some sheet stands for, as its path from the top."""
    found = set()
    for layout in SHEETS:
        under = layout.under
        start = tuple(map(str, layout.path))
        if under is not None:
            start = (under.section, under.key, *(["*"] if under.keyed_by else []))
            if under.makes:
                found.add((under.section, "name"))
        for column in layout.columns:
            if column.path:
                found.add((*start, *(step for step in column.path if isinstance(step, str))))
    return found


def test_every_key_of_a_room_file_has_its_column() -> None:
    keys = leaves(RoomFile)
    assert len(keys) > 70
    assert keys - places() == set()
    assert places() - keys == set(), "a column that no key knows"


# Random room files

ODD = (
    "<script>",
    "=cmd",
    "+1",
    "-2",
    "@x",
    'say "hi"',
    "it's",
    "שלום",
    "🐟🥚",
    "007",
    "1E2",
    "1.10",
    "null",
    "yes",
)
ODD += (
    "2027-01-09",
    "_x0041_",
    "#N/A",
    "a: b",
    "- c",
    "{d}",
    "e # f",
    "TRUE",
    "=1+1",
    "a, b; c",
    "x" * 80,
    "'q",
)
WORD = st.one_of(
    st.sampled_from(ODD),
    st.text(st.characters(exclude_categories=("C", "Z")), min_size=1, max_size=12),
    st.from_regex(r"[a-z]{1,6}( [0-9]{1,2})?", fullmatch=True),
)
DAYS = st.dates(date(2000, 1, 1), date(2199, 12, 31)).map(date.isoformat)
FLOWS = st.sampled_from(["still", "gentle", ["still", "normal"], ["strong"], ["gentle", "strong"]])
LENGTHS = st.sampled_from(["27 cm", "270 mm", "10.5 in", '10"', ".5 m"])
WATERS = st.sampled_from(["34 l", "9 US gal", "9 gal", "9 imperial gal"])
CHANGE_DAYS = st.sampled_from([7, "7 days", "2 weeks"])


def some(required: dict[str, object], **optional: st.SearchStrategy) -> st.SearchStrategy:
    return st.fixed_dictionaries(required, optional=optional)


WHOLE = st.integers(1, 500)
CONDITIONS = some(
    {},
    temperature_c=st.floats(5, 40),
    ph=st.floats(4, 10),
    water_change_percent=st.integers(1, 100),
    water_change_days=CHANGE_DAYS,
)
SPAN = some({}, **{"from": DAYS, "until": DAYS})
FILTER = st.one_of(
    st.sampled_from([kind.value for kind in FilterKind]),
    some(
        {"kind": st.sampled_from([kind.value for kind in FilterKind])},
        feed_g_per_day=st.floats(0.01, 100),
        since=DAYS,
    ),
)
PLACE = some({"rack": WORD}, shelf=WORD)
EXCEPT = some(
    {"copy": WHOLE},
    water_depth=LENGTHS,
    flow=FLOWS,
    filter=FILTER,
    snail_free=st.booleans(),
    conditions=CONDITIONS,
    available=SPAN,
    place=PLACE,
)
KIND = st.sampled_from(["hatchery", "rearing", "grow-out", "breeding", "egg store"])
VESSEL = some(
    {"name": WORD, "kind": KIND, "inside": st.sampled_from(["50 x 25 cm", "20x10in"]), "flow": FLOWS},
    copies=WHOLE,
    also_for=st.lists(KIND, max_size=3),
    water_depth=LENGTHS,
    water=WATERS,
    filter=FILTER,
    snail_free=st.booleans(),
    conditions=CONDITIONS,
    available=SPAN,
    place=PLACE,
    empty_weight_kg=st.floats(0.01, 5000),
    **{"except": st.lists(EXCEPT, max_size=3)},
)
CHANGE = some({"value": st.one_of(st.floats(0, 1e6), st.sampled_from(FLOW_WORDS)), "why": WORD})
LINE = some(
    {"name": WORD, "species": WORD, "rules": WORD},
    may_share_with=st.lists(WORD, max_size=3),
    change=st.dictionaries(WORD, CHANGE, max_size=3),
)
COLLECT = some(
    {"from": DAYS, "eggs": WHOLE},
    by=st.sampled_from(["picking", "mop", "young"]),
    every=CHANGE_DAYS,
    until=DAYS,
    laid_over_days=st.integers(1, 14),
    take=st.sampled_from(["always", "if it fits"]),
    priority=st.integers(0, 100),
    label=WORD,
)
GROUP = some(
    {"name": WORD, "line": WORD, "males": st.integers(0, 9), "females": st.integers(0, 9), "lives_in": WORD},
    collect=st.one_of(COLLECT, st.lists(COLLECT, max_size=3)),
    **{"from": DAYS, "until": DAYS},
)
COUNT = some({"on": DAYS, "fish": WHOLE}, mm=st.floats(1, 1000))
HOME = some({"vessel": WORD}, fish=WHOLE)
BROOD = some(
    {"name": WORD, "line": WORD, "collected": DAYS, "eggs": WHOLE},
    by=st.sampled_from(["picking", "mop", "young"]),
    laid_over_days=st.integers(1, 14),
    parents=WORD,
    take=st.sampled_from(["always", "if it fits"]),
    priority=st.integers(0, 100),
    lives_in=st.one_of(WORD, HOME, st.lists(st.one_of(WORD, HOME), max_size=3)),
    since=DAYS,
    counted=st.one_of(COUNT, st.lists(COUNT, max_size=3)),
)
RACK = some({"name": WORD, "shelves": st.lists(some({"name": WORD}, rated_kg=WHOLE), min_size=1, max_size=3)})
PIN = some({"brood": WORD}, not_in=WORD, move_on=DAYS, **{"in": WORD, "from": DAYS, "until": DAYS})


def named(items: st.SearchStrategy, least: int = 0) -> st.SearchStrategy:
    """Return lists in which no name is there twice: a row that belongs to one of two of a name has no home."""
    return st.lists(items, min_size=least, max_size=3, unique_by=lambda item: item["name"])


ROOM_FILE = some(
    {
        "fish_room": WORD,
        "keeper": some(
            {"move_days": st.lists(st.sampled_from(["monday", "saturday"]), min_size=1, max_size=3)},
            most_moves_a_day=WHOLE,
            away=st.lists(some({"from": DAYS, "until": DAYS}), max_size=3),
            plan_on=some(
                {},
                survival=st.sampled_from(["low", "expected", "high"]),
                growth=st.sampled_from(["slow", "typical", "fast"]),
            ),
        ),
        "vessels": named(VESSEL, 1),
        "lines": named(LINE, 1),
    },
    gallon=st.sampled_from(["us", "imperial"]),
    today=DAYS,
    conditions=CONDITIONS,
    racks=named(RACK),
    breeding_groups=named(GROUP),
    broods=named(BROOD),
    could_add=st.lists(some({"like": WORD, "price": st.floats(0, 1e6), "most": WHOLE}), max_size=3),
    pins=st.lists(PIN, max_size=3),
)


# Not made smaller when it fails: that takes minutes.
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck), phases=[Phase.generate])
@given(ROOM_FILE)
def test_no_room_file_loses_anything(data: dict) -> None:
    typed = plain(room_text(data, "x"))
    assert same_room_file(typed, data)
    through_both(typed)


# The workbook itself


def test_a_template_has_an_example_and_help_in_every_sheet() -> None:
    book = load_workbook(BytesIO(bytes_of(template_book())))
    assert book.sheetnames[: len(TITLES)] == list(TITLES)
    for layout in SHEETS[1:]:
        sheet = book[layout.title]
        heads, example = (list(row) for row in sheet.iter_rows(max_row=2))
        assert [cell.value for cell in heads] == [column.heading for column in layout.columns]
        assert all(cell.comment is not None for cell in heads)
        assert any(cell.value is not None for cell in example)
        assert sheet.freeze_panes == "A2"


def test_a_template_offers_words_to_choose_from() -> None:
    book = load_workbook(BytesIO(bytes_of(template_book())))
    offered = {
        (title, sheet_column.formula1)
        for title in TITLES
        for sheet_column in book[title].data_validations.dataValidation
    }
    for title, words in (
        ("vessels", '"hatchery,rearing,grow-out,breeding,egg store"'),
        ("vessels", '"still,gentle,normal,strong"'),
        ("room", '"monday,tuesday,wednesday,thursday,friday,saturday,sunday"'),
        ("broods", '"picking,mop,young"'),
        ("broods", "'lines'!$A$2:$A$2000"),
        ("broods", "lists!$A$2:$A$2000"),
    ):
        assert (title, words) in offered
    packs = [cell.value for cell in book["lists"]["B"]][1:]
    assert [pack for pack in packs if pack] == list(shipped_packs())
    assert ("lines", f"lists!$B$2:$B${1 + len(shipped_packs())}") in offered
    assert all(len(formula) <= LONGEST_LIST for _, formula in offered)
    names = [cell.value for cell in book["lists"]["A"]]
    assert "box 1" in names
    assert "breeder" in names


def test_dates_and_numbers_are_real_ones_and_names_are_text() -> None:
    book = load_workbook(BytesIO(bytes_of(room_book(load_room(EVERYTHING, Problems("room")).data))))
    cells = [cell for sheet in book for row in sheet.iter_rows(min_row=2) for cell in row]
    assert not any(cell.data_type in "fe" for cell in cells)
    broods = {cell.value: cell for cell in book["broods"][1]}
    collected, eggs = (book["broods"].cell(2, broods[head].column) for head in ("collected", "eggs"))
    assert collected.is_date
    assert collected.value.date() == date(2026, 12, 5)
    assert eggs.value == 34
    names = [cell for cell in book["vessels"]["A"] if cell.row > 1]
    assert [cell.value for cell in names][:3] == ["1E2", "[R4]", "=x"]
    assert all(cell.data_type == "s" and cell.number_format == "@" for cell in names)
    assert names[2].quotePrefix


def test_rows_and_columns_may_be_in_any_order() -> None:
    data = load_room(SCENARIOS / "home-rack.yaml", Problems("room")).data
    book = room_book(data)
    shuffle = random.Random(7)  # noqa: S311 - any order will do
    for layout in SHEETS[1:]:
        sheet = book[layout.title]
        order = list(range(1, sheet.max_column + 1))
        shuffle.shuffle(order)
        rows = [[cell.value for cell in row] for row in sheet.iter_rows()]
        sheet.delete_rows(1, sheet.max_row)
        for number, row in enumerate(rows):
            for place, value in enumerate(row):
                sheet.cell(2 * number + 3, order[place]).value = value  # with empty rows between
    for title in TITLES[::-1]:
        book.move_sheet(title, -len(TITLES))
    again = from_book(bytes_of(book))
    assert RoomFile.model_validate(again) == RoomFile.model_validate(data)


# The commands


def test_a_room_goes_there_and_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys) -> None:
    monkeypatch.chdir(tmp_path)
    tiny = (SCENARIOS / "tiny.yaml").read_text(encoding="utf-8")
    Path("room.yaml").write_text(tiny, encoding="utf-8")
    assert main(["sheet-out", "room.yaml", "--out", "room.xlsx"]) == Exit.FITS
    assert "Wrote room.xlsx. Plan it: allocator plan room.xlsx" in capsys.readouterr().out
    assert main(["sheet-in", "room.xlsx"]) == Exit.FITS
    assert "Nothing is wrong with it. Plan it: allocator plan room.xlsx" in capsys.readouterr().out
    assert main(["sheet-in", "room.xlsx", "--out", "again.yaml"]) == Exit.FITS
    one, other = (
        RoomFile.model_validate(plain(Path(f).read_text("utf-8"))) for f in ("room.yaml", "again.yaml")
    )
    assert one == other


def test_every_command_takes_a_workbook(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys) -> None:
    monkeypatch.chdir(tmp_path)
    data = load_room(SCENARIOS / "tiny.yaml", Problems("room")).data
    Path("room.xlsx").write_bytes(bytes_of(room_book(data)))
    assert main(["water", str(SCENARIOS / "tiny.yaml")]) == Exit.FITS
    expected = capsys.readouterr().out
    assert main(["water", "room.xlsx"]) == Exit.FITS
    assert capsys.readouterr().out == expected
    before = Path("room.xlsx").read_bytes()
    for option in (["--json", "room.xlsx"], ["--xlsx", "room.xlsx"]):
        assert main(["plan", "room.xlsx", *option]) == Exit.BAD_INPUT
        assert "this is the room file itself" in capsys.readouterr().err
    assert Path("room.xlsx").read_bytes() == before


def test_a_new_workbook_can_be_planned_from(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["new", "--xlsx", "mine.xlsx"]) == Exit.FITS
    assert main(["sheet-in", "mine.xlsx"]) == Exit.FITS
    shown = capsys.readouterr()
    assert shown.err == ""
    assert read_room(Path("mine.xlsx")).warnings == []


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["new", "there.xlsx"], "there.xlsx is there already and was left as it is"),
        (["new", "--xlsx", "mine.ods"], "the name of a workbook must end in .xlsx"),
        (["sheet-in", "room.xlsx", "--out", "there.yaml"], "there.yaml is there already"),
        (["sheet-in", "room.xlsx", "--out", "new.xlsx"], "a text file does not end in .xlsx"),
        (["sheet-in", "room.xlsx", "--out", ""], "--out has no file name"),
        (["sheet-in", "room.yaml"], "the name of a workbook must end in .xlsx"),
        (["sheet-out", "room.yaml", "--out", "there.xlsx"], "there.xlsx is there already"),
        (["sheet-out", "room.yaml", "--out", "no/new.xlsx"], "there is no folder no"),
        (["sheet-out", "room.yaml", "--out", "new.yaml"], "the name of a workbook must end in .xlsx"),
    ],
)
def test_nothing_that_is_there_is_written_over(
    arguments, said, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys
) -> None:
    monkeypatch.chdir(tmp_path)
    data = load_room(SCENARIOS / "tiny.yaml", Problems("room")).data
    Path("room.xlsx").write_bytes(bytes_of(room_book(data)))
    Path("room.yaml").write_text((SCENARIOS / "tiny.yaml").read_text("utf-8"), encoding="utf-8")
    Path("there.xlsx").write_text("mine", encoding="utf-8")
    Path("there.yaml").write_text("mine", encoding="utf-8")
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    assert main(arguments) == Exit.BAD_INPUT
    shown = capsys.readouterr().err
    assert said in shown
    assert len(shown.splitlines()) == 1
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_rules_in_a_file_stay_in_reach(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys) -> None:
    monkeypatch.chdir(tmp_path)
    Path("packs").symlink_to(SCENARIOS / "packs")
    Path("room.yaml").write_text(EVERYTHING.read_text("utf-8"), encoding="utf-8")
    Path("other").mkdir()
    assert main(["sheet-out", "room.yaml", "--out", "other/room.xlsx"]) == Exit.BAD_INPUT
    assert "the rules packs/hill-stream.yaml are looked for beside the room" in capsys.readouterr().err
    assert main(["sheet-out", "room.yaml", "--out", "room.xlsx"]) == Exit.FITS


def test_days_of_the_other_date_system_are_the_same_days() -> None:
    data = load_room(SCENARIOS / "tiny.yaml", Problems("room")).data
    book = room_book(data)
    # Days are counted from 1904 in it: ISO/IEC 29500-1, 18.17.4.1.
    book.epoch = book.epoch + timedelta(days=1462)
    content = bytes_of(book)
    assert RoomFile.model_validate(from_book(content)) == RoomFile.model_validate(data)


def test_a_workbook_is_no_rule_pack(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys) -> None:
    monkeypatch.chdir(tmp_path)
    Path("room.xlsx").write_bytes(bytes_of(template_book()))
    assert main(["rules", "room.xlsx"]) == Exit.BAD_INPUT
    assert "this is a room file. Hint: use --room room.xlsx" in capsys.readouterr().err
