"""Room files: what is read, what is refused and in which words, what is only warned of."""

import json
from datetime import date
from pathlib import Path

import jsonschema
import pytest
from room_files import EVERYTHING, SCENARIOS, TINY, everything_with, small_room, write
from ruamel.yaml import YAML

from allocator.problems import InputError, Problems
from allocator.reading import read_room, room_schema, starter_text
from allocator.reading.fields import read_name
from allocator.reading.schema_file import schema_text
from allocator.reading.source import load_yaml
from allocator.room import CollectedBy, Conditions, PinKind, Shelf, Span
from allocator.rules import Evidence, FlowSetting, VesselKind
from allocator.units import NotReadError

HERE = Path(__file__).parent
BROKEN = sorted((HERE / "broken").glob("*.yaml"))
EMPTY = "the file is empty. Hint: see whether it was saved; `allocator new FILE` writes a room to fill in"
ROOMS = sorted(SCENARIOS.glob("*.yaml"))


def problems_of(path):
    with pytest.raises(InputError) as caught:
        read_room(path)
    return [str(problem) for problem in caught.value.problems]


@pytest.mark.parametrize("path", BROKEN, ids=lambda path: path.stem)
def test_each_fault_is_told_in_exactly_these_words(path, monkeypatch):
    """The comments at the top of each broken file say what must be told, and nothing else is told."""
    monkeypatch.chdir(path.parent)
    lines = path.read_text(encoding="utf-8").splitlines()
    expected = [line[2:] for line in lines if line.startswith(f"# {path.name}:")]
    assert expected
    assert problems_of(Path(path.name)) == expected


def test_there_are_many_kinds_of_fault():
    assert len(BROKEN) >= 40
    assert sum(path.read_text(encoding="utf-8").startswith(f"# {path.name}:") for path in BROKEN) == len(
        BROKEN
    )


def test_five_faults_are_told_at_once(monkeypatch):
    monkeypatch.chdir(HERE / "broken")
    assert len(problems_of(Path("five-faults.yaml"))) == 5


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"", f"room.yaml:1: {EMPTY}"),
        (b"# nothing but a comment\n", f"room.yaml:1: {EMPTY}"),
        (
            b"hello",
            "room.yaml:1: the file must begin with keys (got text). Hint: write `key: value` lines",
        ),
        (
            b"fish_room: caf\xe9\n",
            "room.yaml:1: the file is not UTF-8 text (got byte 0xe9). Hint: save it again as UTF-8",
        ),
        (
            "fish_room: x\n".encode("utf-16"),
            "room.yaml:1: the file is not UTF-8 text (got byte 0xff). Hint: save it again as UTF-8",
        ),
        (
            b"fish_room: x\ntoday: \x07\n",
            "room.yaml:2: a character that no text should hold. Hint: delete it, or write it in words",
        ),
        (b"a: " + b"[" * 100, "room.yaml:1: brackets or indents are nested too deep"),
        (b"a: " + b"x" * 1_000_001, "room.yaml:1: the file is too large (more than 1000 kB)"),
        (
            b"{[a]: 1}",
            "room.yaml:1: a key must be one word or a few. Hint: write text with brackets in quotes",
        ),
    ],
    ids=["empty", "comment", "text", "latin", "utf-16", "bell", "deep", "large", "list-as-key"],
)
def test_what_is_no_room_file_at_all(content, expected, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("room.yaml").write_bytes(content)
    assert problems_of(Path("room.yaml")) == [expected]


def test_a_folder_and_a_missing_file(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("attic").mkdir()
    assert problems_of(Path("attic")) == ["attic:1: this is a folder, not a file. Hint: name the file in it"]
    assert problems_of(Path("none.yaml")) == [
        "none.yaml:1: there is no such file. Hint: check the spelling and the folder you are in"
    ]


def test_references_cannot_blow_up(tmp_path):
    bomb = "a: &a [x, x, x]\n" + "".join(
        f"{c}: &{c} [*{p}, *{p}]\n" for p, c in zip("abcdefgh", "bcdefghi", strict=True)
    )
    path = tmp_path / "bomb.yaml"
    path.write_text(bomb)
    problems = Problems("bomb.yaml")
    load_yaml(path, problems)
    assert len(problems.errors) == 16
    assert all("a reference cannot be used here" in str(problem) for problem in problems.errors)


def test_unquoted_scalars_agree_with_the_yaml_library(tmp_path):
    """The same values as ruamel.yaml reads by YAML 1.2, but for dates, which stay text here."""
    words = [
        "012",
        "1E2",
        "1.10",
        "yes",
        "no",
        "on",
        "~",
        "null",
        "true",
        "False",
        "0o14",
        "0x1F",
        "-7",
        "+1.5",
        ".5",
    ]
    words += [
        "1e-3",
        ".inf",
        "abc",
        "'007'",
        '"1E2"',
        "a b",
        "-",
        "12:30",
        "1.2.3",
    ]
    for word in words:
        path = tmp_path / "word.yaml"
        path.write_text(f"a: {word}\n" if word != "-" else "a: '-'\n")
        problems = Problems("word.yaml")
        source = load_yaml(path, problems)
        assert source is not None
        theirs = YAML(typ="safe", pure=True).load(path)["a"]
        assert source.data["a"] == theirs, word
        assert isinstance(theirs, type(source.data["a"])) or isinstance(source.data["a"], type(theirs))


class TestEverything:
    reading = read_room(EVERYTHING)
    room = reading.room

    def test_no_warnings(self):
        assert self.reading.warnings == []
        assert self.reading.gallon == "imperial"

    def test_odd_names_survive(self):
        names = {vessel.name for vessel in self.room.vessels}
        assert {"1E2 1", "1E2 6", "[R4] 5", "=x 2", "חדש", "breeder 3"} <= names
        assert set(self.room.line_named) == {"kutubu", "<b>red</b>", "🐟 hill", "007"}
        assert max(len(brood.name) for brood in self.room.broods) == 80
        assert "1.10" in self.room.brood_named

    def test_copies_and_exceptions(self):
        usual, cracked, odd = (self.room.vessel_named[f"[R4] {n}"] for n in (1, 3, 5))
        assert usual.kinds == (VesselKind.REARING, VesselKind.GROW_OUT)
        assert (usual.length_mm, usual.width_mm, usual.depth_mm) == pytest.approx((508, 254, 266.7))
        assert usual.feed_g_per_day == 4
        assert usual.empty_kg == 5.5
        assert cracked.available == Span(end=date(2027, 5, 1))
        assert usual.available == odd.available == Span()
        assert (odd.depth_mm, odd.flow_highest, odd.snail_free) == (200, FlowSetting.GENTLE, True)
        assert odd.feed_g_per_day is None
        assert (usual.shelf, odd.shelf) == ("007", "top")
        assert {vessel.declared_as for vessel in self.room.vessels if "R4" in vessel.name} == {"[R4]"}

    def test_depth_from_volume(self):
        """7 imperial gallons over 50 x 25 cm: 7 x 4.54609 / 12.5 = 2.5458 dm; 38 US gallons: 143.85 l."""
        assert self.room.vessel_named["=x 1"].depth_mm == pytest.approx(254.58, abs=0.01)
        assert self.room.vessel_named["long 1"].litres == pytest.approx(38 * 3.785411784)

    def test_shelves(self):
        assert self.room.shelves == (
            Shelf(rack="back wall [A]", name="top", rated_kg=150),
            Shelf(rack="back wall [A]", name="007", rated_kg=200),
            Shelf(rack="window", name="sill", rated_kg=None),
        )

    def test_keepers_own_figures(self):
        rules = self.room.line_named["kutubu"].rules
        assert rules.sale_mm.value == 55
        assert rules.sale_mm.evidence is Evidence.KEEPER
        assert rules.sale_mm.origin == "everything.yaml"
        assert rules.sale_mm.source == "the club takes them at 55 mm"
        assert self.room.line_named["<b>red</b>"].rules.sale_mm.value == 60
        assert self.room.line_named["🐟 hill"].rules.sale_mm.value == 28

    def test_collections_are_spelled_out(self):
        planned = {brood.name: brood for brood in self.room.broods if brood.planned}
        assert set(planned) == {
            "K 2027-01-16", "K 2027-02-13", "K 2027-03-13",  # every 4 weeks, the last day included
            "K mop 2027-02-27",
            "🐟 pair 2027-01-16", "🐟 pair 2027-02-06", "🐟 pair 2027-02-27",  # 20 March is past the last day
            "007 2027-02-06",
            "1.10",
        }  # fmt: skip
        assert planned["K mop 2027-02-27"].by is CollectedBy.MOP
        assert planned["007 2027-02-06"].by is CollectedBy.YOUNG
        assert not any(brood.homes for brood in planned.values())

    def test_pins(self):
        assert [pin.kind for pin in self.room.pins] == [PinKind.NOT_IN, PinKind.IN, PinKind.MOVE_ON]
        assert self.room.pins[2].span == Span(start=date(2027, 2, 14), end=date(2027, 2, 15))

    def test_homes(self):
        brood = next(brood for brood in self.room.broods if len(brood.homes) == 2)
        assert [(home.vessel, home.fish) for home in brood.homes] == [("[R4] 1", 12), ("[R4] 2", 13)]


def test_collections_before_today_and_on_days_away_are_left_out_and_told(tmp_path):
    path = everything_with(
        tmp_path, "from: 2027-01-16, until: 2027-03-13", "from: 2026-12-19, until: 2027-05-08"
    )
    reading = read_room(path)
    names = [brood.name for brood in reading.room.broods if brood.name.startswith("K 2")]
    assert names == ["K 2027-01-16", "K 2027-02-13", "K 2027-03-13", "K 2027-05-08"]
    assert reading.room.notes == (
        "brood 'K 2026-12-19' is left out: its day is before today, 2027-01-09",
        "brood 'K 2027-04-10' is left out: the keeper is away on its day",
    )


def test_names_written_as_numbers_are_kept_as_written(tmp_path):
    text = small_room(
        broods="{name: 007, line: blue, collected: 2026-12-01, eggs: 30, lives_in: 1E2}"
    ).replace("{name: a,", "{name: 1E2,")
    room = read_room(write(tmp_path, text)).room
    assert [vessel.name for vessel in room.vessels] == ["1E2"]
    assert list(room.brood_named) == ["007"]


def test_today_comes_from_the_argument_then_the_file_then_the_clock(tmp_path):
    text = TINY.read_text(encoding="utf-8")
    later = date(2027, 1, 5)
    assert read_room(TINY).room.today == date(2027, 1, 2)
    assert read_room(TINY, today=later).room.today == later
    bare = "\n".join(line for line in text.splitlines() if not line.startswith("today:"))
    bare = bare.split("broods:")[0]
    before = date.today()  # noqa: DTZ011
    assert before <= read_room(write(tmp_path, bare)).room.today <= date.today()  # noqa: DTZ011


def test_digest_follows_the_room_file_and_its_packs(tmp_path):
    same = everything_with(tmp_path, "fish_room", "fish_room")
    digest = read_room(same).digest
    assert digest == read_room(EVERYTHING).digest
    assert len(digest) == 64
    pack = tmp_path / "packs" / "hill-stream.yaml"
    pack.write_text(pack.read_text().replace("sale_mm: 28", "sale_mm: 27"))
    assert read_room(same).digest != digest
    assert read_room(everything_with(tmp_path, "most_moves_a_day: 6", "most_moves_a_day: 5")).digest != digest


def test_the_starter_reads_without_a_word(tmp_path):
    reading = read_room(write(tmp_path, starter_text()))
    assert reading.warnings == []
    assert reading.room.notes == ()
    assert any(brood.planned for brood in reading.room.broods)


def test_every_commented_key_of_the_starter_reads_too(tmp_path):
    """A keeper takes away a # and expects what is behind it to work."""
    lines = []
    for line in starter_text().splitlines():
        bare = line.lstrip()
        a_key = bare.startswith("# ") and ":" in bare and bare[2:].split(":")[0].isidentifier()
        an_item = bare.startswith("#   - {")
        lines.append(line.replace("# ", "", 1) if a_key or an_item else line)
    text = "\n".join(lines).replace("may_share_with: [another line]", "may_share_with: []")
    reading = read_room(write(tmp_path, text))
    assert len(reading.room.shelves) == 2
    assert len(reading.room.line_named["blue"].rules.sale_mm.source) > 5
    assert reading.gallon == "us"


def test_the_schema_in_the_docs_is_up_to_date():
    path = HERE.parent / "docs" / "reference" / "room-file.schema.json"
    stale = "run: python -m allocator.reading.schema_file docs/reference/room-file.schema.json"
    assert path.read_text(encoding="utf-8") == schema_text(), stale


def plain(path):
    problems = Problems(path.name)
    source = load_yaml(path, problems)
    assert source is not None
    return json.loads(json.dumps(source.data))


@pytest.mark.parametrize(
    "path", [*ROOMS, HERE.parent / "allocator" / "reading" / "starter.yaml"], ids=lambda p: p.stem
)
def test_scenarios_agree_with_the_schema(path):
    schema = room_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(plain(path), schema, cls=jsonschema.Draft202012Validator)


@pytest.mark.parametrize("path", ROOMS, ids=lambda path: path.stem)
def test_scenarios_read_without_warnings(path):
    assert read_room(path).warnings == []


@pytest.mark.parametrize(
    "name", ["unknown-key-vessel", "missing-key", "kind-unknown", "copies-zero", "item-not-keys"]
)
def test_the_schema_refuses_what_the_reader_refuses(name):
    """An independent validator finds the same faults of shape."""
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(plain(HERE / "broken" / f"{name}.yaml"), room_schema())


def test_a_new_vessel_is_as_most_of_its_copies_are(tmp_path: Path) -> None:
    """What `except` says of the first copy is not said of one that is bought."""
    text = (SCENARIOS / "tiny.yaml").read_text(encoding="utf-8")
    text = text.replace(
        "{name: ten, copies: 2,", "{name: ten, copies: 3, except: [{copy: 1, water_depth: 15 cm}],"
    )
    room = read_room(write(tmp_path, text)).room
    assert [v.depth_mm for v in room.vessels if v.declared_as == "ten"] == [150, 270, 270]
    assert room.with_added({"ten": 1}).vessels[-1].depth_mm == 270


class TestConditions:
    room = read_room(EVERYTHING).room

    def test_a_vessel_has_those_of_the_room(self):
        assert self.room.conditions == Conditions(
            temperature_c=25.5, ph=7.4, change_share=0.25, change_days=7
        )
        assert self.room.vessel_named["long 1"].conditions == self.room.conditions

    def test_what_a_vessel_says_goes_before_the_room_key_by_key(self):
        of_all = self.room.vessel_named["[R4] 1"].conditions
        assert (of_all.temperature_c, of_all.ph, of_all.change_days) == (25.5, 7.6, 7)

    def test_what_is_said_of_one_copy_goes_before_its_vessel(self):
        one = self.room.vessel_named["[R4] 5"].conditions
        assert (one.temperature_c, one.ph, one.change_share, one.change_days) == (24, 7.6, 0.25, 3)

    def test_nothing_is_made_up(self):
        assert read_room(TINY).room.conditions == Conditions()

    def test_a_new_filter_has_its_first_day(self):
        assert self.room.vessel_named["[R4] 5"].filter_since == date(2026, 12, 12)
        assert self.room.vessel_named["[R4] 1"].filter_since is None

    def test_laying_and_parents(self):
        assert self.room.brood_named["K1"].laid_over_days == 2
        assert self.room.brood_named["K1"].parents == "kutubu trio"
        planned = self.room.brood_named["🐟 pair 2027-01-16"]
        assert (planned.laid_over_days, planned.parents) == (3, "🐟 pair")
        assert self.room.brood_named["K 2027-01-16"].laid_over_days == 1
        assert self.room.brood_named["1.10"].parents is None


@pytest.mark.parametrize("char", "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
def test_what_turns_the_direction_of_print_is_in_no_name(char):
    """The twelve characters of Unicode's property Bidi_Control (PropList.txt); a joiner inside an emoji stays."""
    with pytest.raises(NotReadError, match="control characters"):
        read_name(f"tr{char}io")
    assert read_name("\U0001f469\u200d\U0001f33e") == "\U0001f469\u200d\U0001f33e"
