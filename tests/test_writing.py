"""Plans as files: the same bytes every time, all of a file or nothing, and no formulas."""

import csv
import errno
import json
import os
from datetime import date
from pathlib import Path

import pytest
from small_rooms import small_plan

from allocator.plan import Added, FlowChange, Homeless, Move, NotTaken, Plan, Stay, Verdict
from allocator.problems import InputError
from allocator.rules import FlowSetting
from allocator.writing import plan_csv, plan_json, write_atomically, write_once

NAMES = [
    "1E2",
    "007",
    "[R4]",
    "<b>",
    "=x",
    "+1",
    "-1",
    "@y",
    "\tz",
    "\rz",
    "\nz",
    "\uff1dcmd",
    "\uff20y",
    "null",
    "🐟",
    'say "hi", twice',
    "ä\nb",
]


def named_plan(name: str) -> Plan:
    """Return a plan of one row a table in which everything is called by one name."""
    day = date(2027, 1, 9)
    return Plan(
        verdict=Verdict.DOES_NOT_FIT,
        proven=True,
        added=(Added(like=name, copies=1, from_=day),),
        stays=(Stay(lot=name, brood=name, vessel=name, from_=day, until=date(2027, 2, 9), fish=3),),
        moves=(Move(on=day, lot=name, brood=name, from_=None, to=name, fish=3),),
        flow=(FlowChange(vessel=name, from_=day, setting=FlowSetting.STILL),),
        homeless=(Homeless(brood=name, from_=day, until=date(2027, 2, 9), fish=3),),
        not_taken=(NotTaken(brood=name, on=day, eggs=3),),
    )


def test_the_keys_of_a_plan_file() -> None:
    data = json.loads(plan_json(small_plan(), "abc", versions={"b": "2", "a": "1"}))
    assert list(data) == [
        "format",
        "verdict",
        "proven",
        "added",
        "stays",
        "moves",
        "flow",
        "homeless",
        "versions",
        "input_digest",
        "with_what_you_have",
    ]
    assert data["format"] == 1
    assert data["verdict"] == "fits"
    assert data["input_digest"] == "abc"
    assert list(data["versions"].items()) == [("a", "1"), ("b", "2")]
    assert data["with_what_you_have"] is None
    assert data["stays"][0] == {
        "lot": "B1",
        "brood": "B1",
        "vessel": "box 3",
        "from": "2027-01-09",
        "until": "2027-01-30",
        "fish": 20,
    }
    assert data["moves"][0] == {
        "on": "2027-01-09",
        "lot": "B1",
        "brood": "B1",
        "from": None,
        "to": "box 3",
        "fish": 20,
    }
    assert data["flow"][0] == {"vessel": "box 1", "from": "2027-01-02", "setting": "still"}


def test_the_plan_with_what_you_have_stands_inside() -> None:
    data = json.loads(plan_json(small_plan(), "abc", as_it_is=named_plan("x")))
    inner = data["with_what_you_have"]
    assert list(inner) == ["verdict", "proven", "added", "stays", "moves", "flow", "homeless", "not_taken"]
    assert inner["homeless"] == [{"brood": "x", "from": "2027-01-09", "until": "2027-02-09", "fish": 3}]


def test_the_same_plan_gives_the_same_bytes_in_whatever_order_it_was_found() -> None:
    plan = small_plan()
    turned = plan.model_copy(
        update={"stays": plan.stays[::-1], "moves": plan.moves[::-1], "flow": plan.flow[::-1]}
    )
    assert plan_json(turned, "abc") == plan_json(plan, "abc")


def test_what_is_not_taken_is_listed_only_where_there_is_any_so_that_older_readers_read_all_other_plans() -> (
    None
):
    rows = (
        NotTaken(brood="B", on=date(2027, 3, 6), eggs=20),
        NotTaken(brood="A", on=date(2027, 2, 6), eggs=30),
    )
    data = json.loads(plan_json(small_plan().model_copy(update={"not_taken": rows}), "abc"))
    assert data["not_taken"] == [
        {"brood": "A", "on": "2027-02-06", "eggs": 30},
        {"brood": "B", "on": "2027-03-06", "eggs": 20},
    ]
    assert data["format"] == 1
    assert "not_taken" not in json.loads(plan_json(small_plan(), "abc"))


def test_the_versions_are_those_in_use() -> None:
    assert set(json.loads(plan_json(small_plan(), "abc"))["versions"]) == {"allocator", "ortools"}


@pytest.mark.parametrize("name", NAMES)
def test_a_spreadsheet_takes_no_name_for_a_formula(name: str, tmp_path: Path) -> None:
    folder = tmp_path / "out"
    paths = plan_csv(named_plan(name), folder)
    assert [path.name for path in paths] == [
        "added.csv",
        "stays.csv",
        "moves.csv",
        "flow.csv",
        "homeless.csv",
        "not_taken.csv",
    ]
    for path in paths:
        with path.open(encoding="utf-8", newline="") as file:
            (row,) = csv.DictReader(file)
        for cell in row.values():
            assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff20"))
            assert name not in cell or cell in (name, f"'{name}")


def test_the_tables_of_a_spreadsheet(tmp_path: Path) -> None:
    plan_csv(small_plan(), tmp_path)
    rows = (tmp_path / "moves.csv").read_text(encoding="utf-8").splitlines()
    assert rows[0] == "on,lot,brood,from,to,fish"
    assert rows[1] == "2027-01-09,B1,B1,,box 3,20"
    assert rows[-1] == "2027-08-07,P1,P1,long 1,,40"
    assert (tmp_path / "homeless.csv").read_text(encoding="utf-8").splitlines() == ["brood,from,until,fish"]


def test_a_file_is_written_and_replaced(tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    write_atomically(path, "one ä\n")
    path.chmod(0o640)
    write_atomically(path, "two\n")
    assert path.read_bytes() == b"two\n"
    assert path.stat().st_mode & 0o777 == 0o640
    assert list(tmp_path.iterdir()) == [path]


def test_a_link_goes_on_pointing_where_it_does(tmp_path: Path) -> None:
    path, link = tmp_path / "plan.json", tmp_path / "link.json"
    path.write_text("old", encoding="utf-8")
    link.symlink_to(path)
    write_atomically(link, "new")
    assert link.is_symlink()
    assert path.read_text(encoding="utf-8") == "new"


def test_a_device_is_written_to_not_replaced() -> None:
    write_atomically(Path(os.devnull), "gone")
    assert not Path(os.devnull).is_file()


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EROFS, "the disk can only be read"),
        (errno.ENOSYS, r"\(function not implemented\)$"),
        (errno.EACCES, "no permission to write here"),
    ],
)
def test_a_full_disk_leaves_the_old_file_and_no_half_of_a_new_one(
    code: int, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "plan.json"
    path.write_text("old", encoding="utf-8")

    def fail(_: int) -> None:
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(InputError, match=words):
        write_atomically(path, "new" * 1000)
    assert path.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("stop", [OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)), KeyboardInterrupt()])
def test_a_new_file_is_whole_or_not_there(
    stop: BaseException, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "room.yaml"

    def fail(_: int) -> None:
        raise stop

    with monkeypatch.context() as full:
        full.setattr(os, "fsync", fail)
        wanted = InputError if isinstance(stop, OSError) else KeyboardInterrupt
        with pytest.raises(wanted, match="the disk is full" if isinstance(stop, OSError) else None):
            write_once(path, b"new" * 1000)
    assert list(tmp_path.iterdir()) == []
    write_once(path, b"first")
    with pytest.raises(FileExistsError):
        write_once(path, b"second")
    assert path.read_bytes() == b"first"


def test_a_folder_or_nowhere_is_a_problem(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="this is a folder, not a file"):
        write_atomically(tmp_path, "x")
    with pytest.raises(InputError, match="there is no such folder"):
        write_atomically(tmp_path / "no" / "plan.json", "x")
    with pytest.raises(InputError, match="there is no such folder"):
        plan_csv(small_plan(), tmp_path / "no" / "out")
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(InputError, match="is a file, not a folder"):
        write_atomically(tmp_path / "file" / "plan.json", "x")
    with pytest.raises(InputError, match=r"\(this is a file\). Hint: give a folder"):
        plan_csv(small_plan(), tmp_path / "file")
    with pytest.raises(InputError, match="no file can have such a name"):
        write_atomically(Path("a\0b"), "x")
