"""`allocator forward` as a keeper uses it: what it says, what it writes, and what it leaves alone."""

# ruff: noqa: E501 - room files have long lines

import errno
import os
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from shutil import copyfile

import pytest
from room_files import TINY

from allocator.asked import write_plan
from allocator.cli import main
from allocator.console import Exit
from allocator.plan import Homeless, Plan, Stay, Verdict
from allocator.planner import plan_room
from allocator.reading.room_file import read_room
from allocator.room import Count, Home
from allocator.writing import plan_json

ROOM = """\
fish_room: Two lines # a remark
today: 2027-01-09
keeper: {move_days: [saturday]}
vessels:
  - {name: box, copies: 3, kind: hatchery, inside: 20 x 12 cm, water_depth: 10 cm, flow: [still, gentle], snail_free: true}
  - {name: ten, copies: 3, kind: rearing, inside: 50 x 25 cm, water_depth: 27 cm, flow: [still, normal], filter: sponge filter}
  - {name: long, copies: 2, kind: grow-out, inside: 90 x 45 cm, water_depth: 36 cm, flow: [gentle, strong], filter: box filter}
  - {name: breeder, kind: breeding, inside: 60 x 30 cm, water_depth: 30 cm, flow: gentle}
lines:
  - {name: blue, species: Melanotaenia lacustris, rules: rainbowfish-large}
breeding_groups:
  - {name: trio, line: blue, males: 1, females: 2, lives_in: breeder, collect: {every: 28 days, from: 2027-01-16, until: 2027-03-13, eggs: 30, label: B}}
broods:
  # the first of the year
  - {name: "a=1", line: blue, collected: 2026-12-05, eggs: 34, lives_in: box 1, counted: {on: 2027-01-09, fish: 16, mm: 10}}
  - {name: old, line: blue, collected: 2026-05-02, eggs: 30, lives_in: long 1, counted: [{on: 2027-01-02, fish: 14, mm: 55}]} # big
pins:
  - {brood: old, not_in: long 2}
  - {brood: B 2027-01-16, not_in: ten 3, until: 2027-02-20}
"""
TO = "2027-03-06"


@dataclass
class Kept:
    """A room and its plan in a folder, and a way to bring it forward."""

    folder: Path
    say: pytest.CaptureFixture[str]

    @property
    def room(self) -> Path:
        return self.folder / "room.yaml"

    def forward(self, *arguments: str, to: str = TO) -> tuple[int, str, str]:
        code = main(["forward", str(self.room), str(self.folder / "plan.json"), "--to", to, *arguments])
        return code, *self.say.readouterr()

    def written(self, *arguments: str, to: str = TO) -> tuple[str, str]:
        """Return what is said, and the new file."""
        target = self.folder / f"new-{len(list(self.folder.iterdir()))}.yaml"
        code, out, err = self.forward("--out", str(target), *arguments, to=to)
        assert code == Exit.FITS, err
        return out, target.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("planned")
    room = folder / "room.yaml"
    room.write_text(ROOM, encoding="utf-8")
    reading = read_room(room)
    write_plan(plan_room(reading.room, seconds=10), reading.digest, folder / "plan.json", None)
    return folder


@pytest.fixture
def kept(planned: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Kept:
    for name in ("room.yaml", "plan.json"):
        copyfile(planned / name, tmp_path / name)
    return Kept(tmp_path, capsys)


def item(text: str, name: str) -> str:
    return next(line for line in text.splitlines() if f"name: {name}," in line)


def test_nothing_is_written_before_it_is_asked_for(kept: Kept) -> None:
    code, out, _ = kept.forward()
    assert code == Exit.FITS
    assert "Nothing is written yet." in out
    assert kept.room.read_text(encoding="utf-8") == ROOM
    assert {file.name for file in kept.folder.iterdir()} == {"room.yaml", "plan.json"}


def test_what_was_done_is_written_and_the_rest_stays(kept: Kept) -> None:
    out, text = kept.written()
    assert text.startswith("fish_room: Two lines # a remark\ntoday: 2027-03-06\nkeeper:")
    assert "  # the first of the year\n" in text
    assert "from: 2027-03-13, until: 2027-03-13" in text
    assert "collected: 2027-01-16, eggs: 30, parents: trio, lives_in: ten" in item(text, "B 2027-01-16")
    assert item(text, "B 2027-02-13").endswith(" # eggs as planned, not counted")
    assert "  # old, collected 2026-05-02, 30 eggs: sold on " in text
    assert "pins:\n" in text
    assert "not_in" not in text
    for words in ("Collected: 2", "Moved: 1", "Sold, and no longer in the file: 1", "2 pins taken out"):
        assert words in out
    assert "Eggs as planned: 30 of B 2027-01-16, 30 of B 2027-02-13." in out


def test_replace_keeps_the_older_file_beside_it(kept: Kept) -> None:
    code, out, _ = kept.forward("--replace")
    older = kept.folder / "room.2027-01-09.yaml"
    assert code == Exit.FITS
    assert older.read_text(encoding="utf-8") == ROOM
    assert read_room(kept.room).room.today == date(2027, 3, 6)
    assert f"as it was it is {older}" in out


def test_a_room_may_be_replaced_again_on_its_day(kept: Kept) -> None:
    """Some fish are counted in the morning, others in the evening: no older file is lost."""
    kept.forward("--replace")
    for number, fish in enumerate((14, 13, 12), start=1):
        before = kept.room.read_text(encoding="utf-8")
        code, _, err = kept.forward("--replace", "--count", f"a=1={fish}")
        assert code == Exit.FITS, err
        older = kept.folder / ("room.2027-03-06.yaml" if number == 1 else f"room.2027-03-06-{number}.yaml")
        assert older.read_text(encoding="utf-8") == before


@pytest.mark.parametrize("fails_at", [1, 2])
def test_a_full_disk_leaves_the_room_and_nothing_beside_it(
    fails_at: int, kept: Kept, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = {path: path.read_bytes() for path in kept.folder.iterdir()}
    calls: list[int] = []

    def fail(number: int) -> None:
        calls.append(number)
        if len(calls) == fails_at:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as full:
        full.setattr(os, "fsync", fail)
        code, _, complaint = kept.forward("--replace")
    assert code == Exit.BAD_INPUT
    assert complaint.splitlines()[-1].endswith(
        "the file cannot be written (the disk is full). Hint: make room and try again"
    )
    assert {path: path.read_bytes() for path in kept.folder.iterdir()} == before
    assert kept.forward("--replace")[0] == Exit.FITS


def test_an_order_that_came_in_since_the_plan_was_made_stands_in_nobodys_way(kept: Kept) -> None:
    text = kept.room.read_text(encoding="utf-8")
    order = "orders:\n  - {name: a friend, fish: 4, on: 2028-06-03, from: [old]}\n"
    kept.room.write_text(text + order, encoding="utf-8")
    code, _, complaint = kept.forward("--replace", to="2027-01-16")
    assert code == Exit.FITS, complaint
    assert "plan.json does not keep an order of" in complaint
    assert "is promised for a friend on 2028-06-03" in complaint
    assert "from: [old]" in kept.room.read_text(encoding="utf-8")
    assert main(["moves", str(kept.room), "--plan", str(kept.folder / "plan.json")]) == Exit.BAD_INPUT


def test_what_the_keeper_tells_comes_before_the_plan(kept: Kept) -> None:
    tells = ("--eggs", "B 2027-01-16=27", "--count", "a=1=15, 1 in", "--home", "old = long 1")
    out, text = kept.written(*tells, "--not-done", "B 2027-02-13")
    target = max(kept.folder.glob("new-*.yaml"))
    broods = read_room(target).room.brood_named
    assert broods["B 2027-01-16"].eggs == 27
    assert "not counted" not in item(text, "B 2027-01-16")
    assert broods["a=1"].counts[-1] == Count(on=date(2027, 3, 6), fish=15, mm=25.4)
    assert broods["old"].homes == (Home(vessel="long 1"),)
    assert "B 2027-02-13" not in broods
    assert "but\nfor what you tell" in out
    assert "a=1: 15 counted, 25 mm (1.0 in), under 2027-03-06" in out
    assert "Not collected, as you say: B 2027-02-13." in out
    assert "# big" in item(text, "old")


def test_a_remark_on_uncounted_eggs_goes_when_they_are_told(kept: Kept) -> None:
    kept.forward("--replace", to="2027-02-06")
    assert "not counted" in item(kept.room.read_text(encoding="utf-8"), "B 2027-01-16")
    _, text = kept.written("--count", "B 2027-01-16=9", to="2027-02-20")
    assert "counted: [{on: 2027-02-20, fish: 9}]" in item(text, "B 2027-01-16")
    assert "not counted" not in item(text, "B 2027-01-16")


def test_gone_leaves_a_comment(kept: Kept) -> None:
    _, text = kept.written("--gone", "a=1")
    assert "  # a=1, collected 2026-12-05, 34 eggs: gone by 2027-03-06\n" in text


@pytest.mark.parametrize(
    ("tells", "message"),
    [
        (["--count", "a=1=35"], "a=1: 35 are more than its 34 eggs. Hint: add --eggs"),
        (["--count", "b=3"], "--count 'b': there is no brood of this name"),
        (["--count", "old"], "--count 'old': there is no =. Hint: write the brood, =, and the value"),
        (["--count", "old=few"], "--count 'old': few is not understood. Hint: write --count"),
        (["--count", "old=0"], "--count 'old': 0 is no number of eggs or fish. Hint: give a whole number"),
        (["--count", "a=1=3", "--count", "a=1=4"], "--count: a=1 is told twice. Hint: tell it once"),
        (["--eggs", "old=3"], "old: 3 eggs are fewer than the 14 fish counted of it"),
        (["--home", "old=ten"], "old: there is no vessel 'ten'. Hint: say which one, such as 'ten 1'"),
        (["--home", "a=1=pond"], "a=1: there is no vessel 'pond'"),
        (["--gone", "old", "--not-done", "old"], "old is told to be gone, and something else too"),
        (["--not-done", "a=1", "--home", "a=1=ten 1"], "told to be where it was and to be in ten 1"),
        (["--not-done", "B 2027-03-13"], "is to be collected on 2027-03-13, and the room is brought to"),
        (["--count", "old=12"], 'by the plan old is sold by then. Hint: add --home "old=..."'),
        (
            ["--count", "a=1=15, 400 mm"],
            "with what is told the new room would not be sound: brood 'a=1': longer than",
        ),
        (["--count", "a=1=15, 40"], "--count 'a=1': a length needs its unit. Hint: write 40 mm\n"),
        (["--to", "2027-01-08"], "--to 2027-01-08 is before the day of"),
        (["--out", "room.yaml", "--replace"], "give --out or --replace, not both"),
        (["--out", " "], "--out has no file name"),
        (["--out", "no/such/folder.yaml"], "there is no folder"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_written(kept: Kept, tells: list[str], message: str) -> None:
    code, out, err = kept.forward("--replace" if "--out" not in tells else "--today=2027-01-09", *tells)
    assert code == Exit.BAD_INPUT
    assert message in err
    assert out == ""
    assert "fault of the tool" not in err
    assert {file.name for file in kept.folder.iterdir()} == {"room.yaml", "plan.json"}
    assert kept.room.read_text(encoding="utf-8") == ROOM


@pytest.mark.parametrize(
    "wrong",
    [
        (("--count", "b=3"), ("--count", "a=1"), ("--eggs", "old=many"), ("--gone", "pond")),
        (("--count", "a=1=35"), ("--home", "a=1=pond"), ("--eggs", "old=3")),
        (("--count", "old=12"), ("--not-done", "B 2027-03-13")),
    ],
)
def test_all_that_is_wrong_is_told_at_once(kept: Kept, wrong: tuple[tuple[str, str], ...]) -> None:
    told = [word for one in wrong for word in one]
    code, _, err = kept.forward(*told)
    assert code == Exit.BAD_INPUT
    each = {kept.forward(*one)[2] for one in wrong}
    assert len(each) == len(wrong)
    assert sorted(err.splitlines()) == sorted(line for one in each for line in one.splitlines())


def test_a_plan_of_another_room(kept: Kept) -> None:
    copyfile(TINY, kept.room)
    code, out, err = kept.forward()
    assert code == Exit.BAD_INPUT
    assert out == ""
    assert "plan.json is not a plan of" in err
    assert len(err.splitlines()) == 1


def test_a_room_that_has_left_its_plan(kept: Kept) -> None:
    kept.forward("--replace", "--home", "a=1=ten 3", to="2027-02-06")
    text = kept.room.read_text(encoding="utf-8")
    kept.room.write_text(text.replace("lives_in: ten 3", "lives_in: box 3"), encoding="utf-8")
    code, _, err = kept.forward(to="2027-02-20")
    assert code == Exit.BAD_INPUT
    assert "a=1 is in box 3, and in ten" in err
    assert "plan it again with --against" in err


def test_a_plan_that_was_edited_badly_is_not_followed(kept: Kept) -> None:
    file = kept.folder / "plan.json"
    file.write_text(file.read_text(encoding="utf-8").replace('"ten 1"', '"ten 9"'), encoding="utf-8")
    code, _, err = kept.forward()
    assert code == Exit.BAD_INPUT
    assert "ten 9" in err


def test_a_file_without_a_day_is_as_it_was_when_it_was_planned(kept: Kept) -> None:
    kept.room.write_text(ROOM.replace("today: 2027-01-09\n", ""), encoding="utf-8")
    out, text = kept.written()
    assert "the file had no day, and it is another than that on the" in out
    assert "\ntoday: 2027-03-06\n" in text


def test_a_brood_without_a_home_stays_where_it_was_and_that_is_said(kept: Kept) -> None:
    room = read_room(kept.room).room
    stays = [
        ("old", "long 1", "2027-01-09", "2027-01-30", 14),
        ("a=1", "box 1", "2027-01-09", "2027-01-23", 16),
    ]
    gaps = [("old", "2027-01-30", 14), ("a=1", "2027-01-23", 16)]
    gaps += [(brood.name, str(brood.collected), brood.eggs) for brood in room.broods if brood.planned]
    plan = Plan(
        verdict=Verdict.DOES_NOT_FIT,
        proven=False,
        stays=tuple(
            Stay.model_validate({"lot": b, "brood": b, "vessel": v, "from": f, "until": u, "fish": n})
            for b, v, f, u, n in stays
        ),
        homeless=tuple(
            Homeless.model_validate({"brood": b, "from": f, "until": "2028-06-01", "fish": n})
            for b, f, n in gaps
        ),
    )
    (kept.folder / "plan.json").write_text(plan_json(plan, ""), encoding="utf-8")
    kept.room.write_text(ROOM.replace("today: 2027-01-09", "today: 2027-01-10"), encoding="utf-8")
    target = kept.folder / "new.yaml"
    code, out, _ = kept.forward("--out", str(target))
    text = target.read_text(encoding="utf-8")
    assert code == Exit.DOES_NOT_FIT
    assert "a=1 has no home in the plan from Sat 23 Jan 2027 on: it is left in box 1." in out
    assert "B 2027-01-16 has no home in the plan, and is not taken for collected." in out
    assert "lives_in: box 1" in text
    assert "name: B 2027-01-16" not in text


def test_a_tank_that_the_plan_adds_is_bought(kept: Kept) -> None:
    file = kept.folder / "plan.json"
    room = ROOM.replace("name: long, copies: 2", "name: long, copies: 1").replace(
        "lives_in: long 1", "lives_in: long"
    )
    room = room.replace("not_in: long 2", "not_in: ten 1").replace("long 2", "long") + (
        "could_add: [{like: ten, price: 3, most: 2}]\n"
    )
    kept.room.write_text(room, encoding="utf-8")
    reading = read_room(kept.room)
    plan = plan_room(reading.room, seconds=5).best.plan
    there = {stay.vessel for stay in plan.stays if stay.brood == "a=1"}
    old = next(name for name in there if name.startswith("ten"))
    text = plan_json(plan, reading.digest).replace(f'"{old}"', '"new ten 1"')
    first = min(stay.from_ for stay in plan.stays if stay.vessel == old)
    text = text.replace('"added": []', f'"added": [{{"like": "ten", "copies": 1, "from": "{first}"}}]')
    file.write_text(text.replace('"verdict": "fits"', '"verdict": "needs more tanks"'), encoding="utf-8")
    out, new = kept.written(to="2027-02-06")
    assert "  - {name: ten 4, kind: rearing, " in new
    assert f"filter: {{kind: sponge filter, since: {first}}}" in new
    assert "most: 1}" in new
    assert "lives_in: ten 4" in item(new, '"a=1"')
    assert "the new ten 1 of the plan" in out


def test_a_workbook_is_brought_forward_too(kept: Kept) -> None:
    book = kept.folder / "room.xlsx"
    main(["sheet-out", str(kept.room), "--out", str(book)])
    plan = kept.folder / "plan.json"
    target = kept.folder / "new.xlsx"
    code = main(["forward", str(book), str(plan), "--to", TO, "--out", str(target), "--gone", "old"])
    _, text = kept.written("--gone", "old")
    assert code == Exit.FITS
    same = kept.folder / "same.yaml"
    same.write_text(text, encoding="utf-8")
    assert read_room(target).room == read_room(same).room
    code = main(
        ["forward", str(book), str(plan), "--to", TO, "--out", str(kept.folder / "x.yaml"), "--gone", "old"]
    )
    assert code == Exit.FITS
    assert read_room(kept.folder / "x.yaml").room == read_room(same).room


def test_no_number_of_fish_is_written_as_counted_that_nobody_counted(kept: Kept) -> None:
    kept.written()
    before = read_room(kept.room).room.brood_named
    after = read_room(next(kept.folder.glob("new-*.yaml"))).room.broods
    assert all(brood.counts == (before[brood.name].counts if brood.name in before else ()) for brood in after)
