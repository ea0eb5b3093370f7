"""The command line: help, exit codes, messages, and that nothing is written or shown that should not be."""

import importlib
import json
import os
import signal
import subprocess
import sys
import time
import tomllib
import types
from collections.abc import Callable
from io import StringIO
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from small_rooms import small_room
from test_reports import fits, needs_more
from typer.testing import CliRunner

import allocator.__main__
import allocator.model.run
import allocator.planner
import allocator.reading
from allocator import __version__
from allocator.cli import app, main
from allocator.console import MOST_PROBLEMS, Exit, live_line, progress_words
from allocator.problems import InputError, Problem
from allocator.reading.packs import shipped_packs
from allocator.result import NoPlanInTime, Progress, Result

COMMANDS = (
    "plan",
    "moves",
    "where",
    "water",
    "tanks",
    "check",
    "rules",
    "new",
    "fit",
    "compare",
    "calendar",
    "sheet",
    "sheet-in",
    "sheet-out",
    "forward",
    "pair",
    "pace",
    "luck",
    "target",
    "why",
    "report",
    "rack",
    "open",
)
ROOT = Path(__file__).parent.parent


def run(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the tool as a keeper does, in a process of its own."""
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "allocator", *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
    )


@pytest.fixture
def given(monkeypatch: pytest.MonkeyPatch) -> Callable[[Result | Exception], None]:
    """Return a switch that puts a ready answer in the place of reading and planning."""

    def set_result(result: Result | Exception) -> None:
        room = small_room() if isinstance(result, Exception) else result.room
        warning = Problem("room.yaml", 3, "odd [today] thing")
        reading = types.SimpleNamespace(room=room, warnings=[warning], digest="abc", gallon="us")

        def plan_room(_: object, **_options: object) -> Result:
            if isinstance(result, Exception):
                raise result
            return result

        def read_room(_: Path, today: object = None) -> object:  # noqa: ARG001 - as the real one is called
            return reading

        monkeypatch.setattr(allocator.reading, "read_room", read_room)
        monkeypatch.setitem(sys.modules, "allocator.planner", types.SimpleNamespace(plan_room=plan_room))

    return set_result


# Help


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_with_an_example(command: str) -> None:
    shown = CliRunner().invoke(app, [command, "--help"])
    assert shown.exit_code == 0
    assert f"allocator {command}" in shown.output.split("Example")[1]
    assert command in CliRunner().invoke(app, ["--help"]).output


def test_there_are_no_other_commands() -> None:
    names = [command.callback.__name__ for command in app.registered_commands if command.callback]
    assert {name.replace("_", "-") for name in names} == set(COMMANDS)


def test_every_option_says_what_it_is_for() -> None:
    for command in COMMANDS:
        lines = CliRunner().invoke(app, [command, "--help"]).output.splitlines()
        options = [line for line in lines if line.startswith("  --")]
        assert options
        assert all(len(line.split("  ", 2)[-1].split()) > 1 for line in options), command


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == Exit.FITS
    assert capsys.readouterr().out == f"allocator {__version__}\n"


def test_without_a_command_the_help_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == Exit.FITS
    assert "Exit codes" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("code", "banned"),
    [
        (
            "import allocator.cli; allocator.cli.main(['--help'])",
            ("ortools", "pandas", "numpy", "pydantic", "rich", "icalendar", "jinja2"),
        ),
        ("import allocator.check, allocator.reports.checked", ("ortools", "pandas")),
        ("import allocator.cli; allocator.cli.main(['rules'])", ("ortools", "pandas")),
    ],
)
def test_slow_libraries_wait_until_they_are_needed(code: str, banned: tuple[str, ...]) -> None:
    code += f"; import sys; sys.exit(','.join(m for m in {banned!r} if m in sys.modules) or 0)"
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert (done.returncode, done.stderr) == (0, "")


# Answers and exit codes


@pytest.mark.parametrize(
    "arguments",
    [
        ["plan", "room.yaml"],
        ["plan", "room.yaml", "--all", "--time", "5", "--today", "2027-01-02"],
        ["moves", "room.yaml", "--from", "2027-01-09", "--until", "2027-02-01"],
        ["where", "room.yaml", "--on", "2027-05-08"],
        ["tanks", "room.yaml"],
    ],
)
def test_exit_codes_follow_the_verdict(
    arguments: list[str], given: Callable[[Result | Exception], None], capsys: pytest.CaptureFixture[str]
) -> None:
    given(fits())
    assert main(arguments) == Exit.FITS
    given(needs_more())
    assert main(arguments) == Exit.DOES_NOT_FIT
    shown = capsys.readouterr()
    assert shown.err == ("" if arguments[0] == "plan" else "room.yaml:3: odd [today] thing\n" * 2)
    assert "\x1b" not in shown.out


def test_warnings_are_part_of_the_answer(
    given: Callable[[Result | Exception], None], capsys: pytest.CaptureFixture[str]
) -> None:
    given(fits())
    main(["plan", "room.yaml"])
    assert "room.yaml:3: odd [today] thing" in capsys.readouterr().out


def test_the_moves_begin_today_unless_told_otherwise(
    given: Callable[[Result | Exception], None], capsys: pytest.CaptureFixture[str]
) -> None:
    given(fits())
    main(["moves", "room.yaml"])
    assert "Moves for small, from Sat 2 Jan 2027" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("time_given", "said"),
    [(["--time", "1"], "no plan in the time given"), ([], "no plan when you stopped it")],
)
def test_no_plan_in_time(
    time_given: list[str],
    said: str,
    given: Callable[[Result | Exception], None],
    capsys: pytest.CaptureFixture[str],
) -> None:
    given(NoPlanInTime())
    assert main(["plan", "room.yaml", *time_given]) == Exit.NO_PLAN
    shown = capsys.readouterr()
    assert shown.out == ""
    assert said in shown.err
    assert "give more time" in shown.err


def test_a_large_room_really_has_no_plan_in_no_time(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ticks = count()  # a clock that a fast computer cannot beat: a second goes by whenever somebody looks
    for module in (allocator.planner, allocator.model.run):
        monkeypatch.setattr(module, "monotonic", lambda: float(next(ticks)))
    room, plan = ROOT / "scenarios" / "club-room.yaml", tmp_path / "plan.json"
    assert main(["plan", str(room), "--time", "0.05", "--json", str(plan)]) == Exit.NO_PLAN
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err == ("allocator: no plan in the time given, not even a first one. Hint: give more time\n")
    assert not plan.exists()


def test_a_fault_of_the_tool_is_short_and_says_how_to_report_it(
    given: Callable[[Result | Exception], None], capsys: pytest.CaptureFixture[str]
) -> None:
    given(ZeroDivisionError("secret"))
    assert main(["plan", "room.yaml"]) == Exit.BUG
    shown = capsys.readouterr()
    assert "fault of the tool, not of your files: ZeroDivisionError at test_cli.py:" in shown.err
    assert "Traceback" not in shown.err
    assert "secret" not in shown.err
    assert main(["--debug", "plan", "room.yaml"]) == Exit.BUG
    assert "Traceback" in capsys.readouterr().err


def test_debug_by_environment(
    given: Callable[[Result | Exception], None],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    given(ZeroDivisionError())
    monkeypatch.setenv("ALLOCATOR_DEBUG", "1")
    assert main(["plan", "room.yaml"]) == Exit.BUG
    assert "Traceback" in capsys.readouterr().err


def test_a_stop_from_the_keyboard_is_told_in_a_word(
    given: Callable[[Any], None], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    given(fits())
    monkeypatch.setattr(allocator.reading, "read_room", stopped)
    assert main(["plan", "room.yaml"]) == 130
    shown = capsys.readouterr()
    assert (shown.out, shown.err) == ("", "allocator: stopped\n")


def test_a_stop_that_a_module_takes_for_a_fault_of_its_own_is_a_stop(
    given: Callable[[Any], None], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def spoilt(*_: object, **__: object) -> None:
        raise ImportError("initialization failed") from KeyboardInterrupt()

    given(fits())
    monkeypatch.setattr(allocator.reading, "read_room", spoilt)
    assert main(["plan", "room.yaml"]) == 130
    assert capsys.readouterr().err == "allocator: stopped\n"


# Bad input and usage


def test_problems_are_printed_at_once_and_capped(
    given: Callable[[Result | Exception], None], capsys: pytest.CaptureFixture[str]
) -> None:
    problems = [Problem("room.yaml", n, "tank [R4] is odd", found="<b>") for n in range(1, 41)]
    given(InputError(problems))
    assert main(["plan", "room.yaml"]) == Exit.BAD_INPUT
    shown = capsys.readouterr()
    lines = shown.err.splitlines()
    assert shown.out == ""
    assert lines[0] == "room.yaml:1: tank [R4] is odd (<b>)"
    assert len(lines) == MOST_PROBLEMS + 1
    assert lines[-1] == "and 15 more"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["plane"], "no such command 'plane'"),
        (["plna"], "'plna'. Did you mean 'plan'? Hint: allocator --help"),
        (["plan"], "missing argument 'ROOM'"),
        (["plan", "room.yaml", "--nope"], "no such option"),
        (
            ["plan", "room.yaml", "--time", "soon"],
            "--time soon: this is not a number. Hint: give a number of",
        ),
        (["tanks", "room.yaml", "--time", "-1"], "--time must be above 0 (got -1)"),
        (["moves", "room.yaml", "--time", ""], "this is not a number"),
        (["plan", "room.yaml", "--time", "0"], "--time must be above 0 (got 0)"),
        (["plan", "room.yaml", "--time", "nan"], "--time must be above 0"),
        (["plan", "room.yaml", "--json", "no/such/folder/plan.json"], "there is no folder"),
        (["where", "room.yaml"], "missing option '--on'"),
        (["where", "room.yaml", "--on", "8.5.2027"], "year, month, day"),
        (["where", "room.yaml", "--on", "2027-02-30"], "no such day"),
        (["where", "room.yaml", "--on", "2026-12-31"], "before the plan begins"),
        (["moves", "room.yaml", "--from", "tomorrow"], "--from tomorrow"),
        (["moves", "room.yaml", "--from", "2027-02-01", "--until", "2027-02-01"], "--until"),
        (["tanks", "room.yaml", "--today", "x"], "--today x"),
        (["plan", "room.yaml", "--today", "9999-12-31"], "must be in the years 2000 to 2199"),
        (["plan", "room.yaml", "--today", "1999-12-31"], "must be in the years 2000 to 2199"),
        (["rules", str(ROOT / "scenarios/tiny.yaml")], "this is a room file. Hint: use --room /"),
        (["rules", "zebrafihs"], "did you mean 'zebrafish'?"),
        (["rules", "--evidence", "published?"], "did you mean 'published'?"),
        (["rules", "zebrafish", "--room", "room.yaml"], "not both"),
        (["new", "no/such/folder/room.yaml"], "there is no folder no/such/folder. Hint: make it first"),
        (["new", ""], "new has no file name"),
    ],
)
def test_usage_errors_are_one_line_with_exit_2(
    arguments: list[str],
    said: str,
    given: Callable[[Result | Exception], None],
    capsys: pytest.CaptureFixture[str],
) -> None:
    given(fits())
    assert main(arguments) == Exit.BAD_INPUT
    shown = capsys.readouterr()
    assert shown.out == ""
    assert said in shown.err
    lines = [line for line in shown.err.splitlines() if not line.startswith("room.yaml:3:")]
    assert len(lines) == 1
    assert lines[0].startswith("allocator: ")


def test_nothing_is_written_on_bad_input(
    given: Callable[[Result | Exception], None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    given(InputError([Problem("room.yaml", 1, "odd")]))
    assert main(["plan", "room.yaml", "--json", "plan.json", "--csv", "tables"]) == Exit.BAD_INPUT
    assert list(tmp_path.iterdir()) == []


# Nothing else is destroyed


@pytest.fixture
def here(
    given: Callable[[Result | Exception], None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Path:
    """Return a folder to stand in, with a room file; whoever gets as far as planning there is caught."""
    given(ZeroDivisionError("planned"))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "room.yaml").write_text("fish_room: mine\n", encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--json", "room.yaml"], "this is the room file itself"),
        (["--json", "link.json"], "this is the room file itself"),
        (["--json", "pack.yaml"], "is not a plan file"),
        (["--json", "list.json"], "is not a plan file"),
        (["--json", "photo.json"], "is not a plan file"),
        (["--json", "locked.json"], "locked.json is read-only"),
        (["--json", ""], "--json has no file name"),
        (["--json", "folder"], "this is a folder"),
        (["--json", "room.yaml/plan.json"], "there is no folder room.yaml"),
        (["--csv", "room.yaml"], "this is a file; give a folder"),
        (["--csv", ""], "--csv has no folder"),
        (["--csv", "no/such"], "there is no folder no"),
        (["--csv", "folder"], "stays.csv is there already and is not one of our tables"),
        (["--csv", "new", "--json", "new"], "would take the place of new"),
        (["--csv", "empty", "--json", "empty/flow.csv"], "would take the place of empty/flow.csv"),
    ],
)
def test_a_plan_takes_the_place_of_nothing_else(
    arguments: list[str], said: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (here / "link.json").symlink_to(here / "room.yaml")
    (here / "pack.yaml").write_text("name: mine\n", encoding="utf-8")
    (here / "list.json").write_text("[1]", encoding="utf-8")
    (here / "photo.json").write_bytes(b"\xff\xd8\xff\x00")
    (here / "locked.json").write_text('{"format": 1}', encoding="utf-8")
    (here / "locked.json").chmod(0o444)
    (here / "empty").mkdir()
    (here / "folder").mkdir()
    (here / "folder" / "stays.csv").write_text("guest,from,until\n", encoding="utf-8")
    before = {path: path.read_bytes() for path in here.rglob("*") if path.is_file()}
    assert main(["plan", "room.yaml", *arguments]) == Exit.BAD_INPUT
    shown = capsys.readouterr()
    assert shown.out == ""
    assert said in shown.err
    assert len(shown.err.splitlines()) == 1
    assert {path: path.read_bytes() for path in here.rglob("*") if path.is_file()} == before


@pytest.mark.parametrize("text", ["", '{"format": 1, "torn', '{"stays": [], "format": 1}'])
def test_an_older_plan_may_be_overwritten(
    text: str, here: Path, given: Callable[[Result | Exception], None]
) -> None:
    given(fits())
    (here / "plan.json").write_text(text, encoding="utf-8")
    for _ in range(2):
        assert main(["plan", "room.yaml", "--json", "plan.json", "--csv", "."]) == Exit.FITS
    assert json.loads((here / "plan.json").read_text(encoding="utf-8"))["verdict"] == "fits"
    assert (here / "stays.csv").is_file()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no disk that is always full")
def test_a_full_disk_takes_no_plan_from_the_keeper(
    given: Callable[[Result | Exception], None], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    given(fits())
    assert main(["plan", "room.yaml"]) == Exit.FITS
    whole = capsys.readouterr().out
    tables = tmp_path / "tables"
    assert main(["plan", "room.yaml", "--json", "/dev/full", "--csv", str(tables)]) == Exit.BAD_INPUT
    shown = capsys.readouterr()
    assert shown.out == whole
    assert "the disk is full" in shown.err
    assert "Errno" not in shown.err
    assert (tables / "stays.csv").is_file()


@pytest.mark.skipif(os.name == "nt", reason="a POSIX shell closes what a command prints to")
@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-"])
def test_a_run_with_its_outputs_closed_writes_its_files(closed: str, tmp_path: Path) -> None:
    plan, command = tmp_path / "plan.json", [sys.executable, "-m", "allocator", "plan"]
    told = [*command, str(ROOT / "scenarios/tiny.yaml"), "--json", str(plan)]
    done = subprocess.run(
        ["sh", "-c", f'exec "$@" {closed}', "sh", *told], capture_output=True, text=True, check=False
    )
    assert done.returncode == Exit.FITS, done.stderr
    assert json.loads(plan.read_text(encoding="utf-8"))["verdict"] == "fits"


@pytest.mark.parametrize(
    "command",
    [["moves", "locked"], ["moves", "room.yaml", "--plan", "locked"], ["check", "room.yaml", "locked"]],
)
def test_a_file_that_may_not_be_read_is_told_by_file_and_line(
    command: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("locked").write_bytes(b"{}")
    Path("room.yaml").write_bytes((ROOT / "scenarios/tiny.yaml").read_bytes())
    may, opened = os.access, Path.open

    def refused(path: Path, *given: Any, **named: Any) -> Any:
        if path.name == "locked":
            raise PermissionError(13, "Permission denied", str(path))
        return opened(path, *given, **named)

    # Root may read everything: so it is the library calls that refuse.
    monkeypatch.setattr(
        os, "access", lambda path, *given, **named: str(path) != "locked" and may(path, *given, **named)
    )
    monkeypatch.setattr(Path, "open", refused)
    assert main(command) == Exit.BAD_INPUT
    assert capsys.readouterr().err == "locked:1: the file cannot be opened (permission denied)\n"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no disk that is always full")
def test_a_plan_that_cannot_be_printed_is_written_all_the_same(tmp_path: Path) -> None:
    plan = tmp_path / "plan.json"
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        done = subprocess.run(
            [
                sys.executable,
                "-m",
                "allocator",
                "plan",
                str(ROOT / "scenarios/tiny.yaml"),
                "--json",
                str(plan),
            ],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
    assert done.stderr == "allocator: the answer cannot be printed: the disk is full\n"
    assert done.returncode == Exit.BAD_INPUT
    assert json.loads(plan.read_text(encoding="utf-8"))["verdict"] == "fits"


# Plan files


@pytest.fixture
def plan_file(given: Callable[[Result | Exception], None], tmp_path: Path) -> Path:
    """Return a plan file that the tool itself has written."""
    given(fits())
    path = tmp_path / "plan.json"
    assert main(["plan", "room.yaml", "--json", str(path), "--csv", str(tmp_path / "tables")]) == Exit.FITS
    return path


def test_the_written_files_are_named(plan_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["plan", "room.yaml", "--json", str(plan_file), "--csv", str(plan_file.parent / "tables")])
    assert f"Wrote {plan_file} and " in capsys.readouterr().out
    assert json.loads(plan_file.read_text(encoding="utf-8"))["verdict"] == "fits"
    assert (plan_file.parent / "tables" / "moves.csv").is_file()


def test_check_says_that_every_rule_is_kept(plan_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "room.yaml", str(plan_file)]) == Exit.FITS
    assert "keeps every rule" in capsys.readouterr().out


def test_check_names_what_a_hand_has_broken(plan_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = plan_file.read_text(encoding="utf-8")
    plan_file.write_text(text.replace('"2027-01-16"', '"2027-01-18"'), encoding="utf-8")
    capsys.readouterr()
    assert main(["check", "room.yaml", str(plan_file)]) == Exit.DOES_NOT_FIT
    assert "move-day: " in capsys.readouterr().out
    assert main(["moves", "room.yaml", "--plan", str(plan_file)]) == Exit.BAD_INPUT
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "move-day: " in shown.err


def test_a_plan_that_could_not_keep_a_pin_is_read_and_that_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A may not be moved on 11 September: it is in the long tank by then, and ready for sale later."""
    room, plan = tmp_path / "room.yaml", tmp_path / "plan.json"
    pin = "\npins:\n  - {brood: A, move_on: 2027-09-11}\n"
    room.write_text((ROOT / "scenarios/tiny.yaml").read_text(encoding="utf-8") + pin, encoding="utf-8")
    assert main(["plan", str(room), "--json", str(plan)]) == Exit.FITS
    assert "cannot be kept" in capsys.readouterr().out
    assert main(["moves", str(room), "--plan", str(plan)]) == Exit.FITS
    shown = capsys.readouterr()
    assert "does not keep a pin" in shown.err
    assert "Moves for" in shown.out
    assert main(["check", str(room), str(plan)]) == Exit.DOES_NOT_FIT


def test_a_plan_file_is_read_and_not_planned_again(
    plan_file: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "allocator.planner", None)
    read = ["--plan", str(plan_file)]
    for command in (
        ["moves", "room.yaml"],
        ["tanks", "room.yaml"],
        ["where", "room.yaml", "--on", "2027-05-08"],
    ):
        assert main(command + read) == Exit.FITS
        assert "small" in capsys.readouterr().out


def test_a_plan_made_from_another_room_file_is_said_to_be_that(
    plan_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = plan_file.read_text(encoding="utf-8")
    assert '"input_digest": "abc"' in text
    plan_file.write_text(text.replace('"abc"', '"abd"'), encoding="utf-8")
    capsys.readouterr()
    assert main(["check", "room.yaml", str(plan_file)]) == Exit.FITS
    assert "have changed since" in capsys.readouterr().err


def test_what_is_there_without_the_added_tanks_is_kept_in_the_file(
    given: Callable[[Result | Exception], None], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    given(needs_more())
    path = tmp_path / "plan.json"
    assert main(["plan", "room.yaml", "--json", str(path)]) == Exit.DOES_NOT_FIT
    assert json.loads(path.read_text(encoding="utf-8"))["with_what_you_have"]["homeless"][0]["brood"] == "B1"
    assert "price 120" in capsys.readouterr().out


TINY = str(ROOT / "scenarios" / "tiny.yaml")


@pytest.mark.parametrize("command", [["moves"], ["tanks"], ["where", "--on", "2027-03-06"]])
def test_an_older_plan_is_not_blamed_for_its_age(
    command: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = str(tmp_path / "plan.json")
    assert main(["plan", TINY, "--json", plan]) == Exit.FITS
    capsys.readouterr()
    older = [command[0], TINY, *command[1:], "--plan", plan]
    assert main([*older, "--today", "2027-01-09"]) == Exit.BAD_INPUT
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err == (
        f"allocator: {plan} was made for Sat 2 Jan 2027, and today is Sat 9 Jan 2027. "
        f"Hint: give --today 2027-01-02 to ask about it, or plan again with --against {plan}\n"
    )
    assert main([*older, "--today", "2027-01-02"]) == Exit.FITS
    capsys.readouterr()
    assert main(["check", TINY, plan, "--today", "2027-01-09"]) == Exit.DOES_NOT_FIT
    first, rest = capsys.readouterr().out.split("\n\n", 1)
    assert first.startswith(f"{plan} was made for Sat 2 Jan 2027")
    assert rest.startswith("The plan breaks ")


# New


def test_new_writes_a_room_that_can_be_read_and_never_overwrites(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "[R4] room.yaml"
    assert main(["new", str(path)]) == Exit.FITS
    assert path.read_text(encoding="utf-8") == allocator.reading.starter_text()
    assert allocator.reading.read_room(path).room.vessels
    path.write_text("mine", encoding="utf-8")
    capsys.readouterr()
    assert main(["new", str(path)]) == Exit.BAD_INPUT
    assert "is there already" in capsys.readouterr().err
    assert path.read_text(encoding="utf-8") == "mine"


# Rules


def test_rules_list_and_show_the_packs(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules"]) == Exit.FITS
    assert "zebrafish" in capsys.readouterr().out
    assert main(["rules", "zebrafish"]) == Exit.FITS
    assert "sale_mm" in capsys.readouterr().out


def test_rules_by_evidence_and_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", "zebrafish", "--evidence", "published", "--json"]) == Exit.FITS
    rows = json.loads(capsys.readouterr().out)
    assert rows
    assert {row["evidence"] for row in rows} == {"published"}
    assert {"name", "value", "unit", "source", "origin"} <= set(rows[0])


def rows_printed(capsys: pytest.CaptureFixture[str], *arguments: str) -> list[dict[str, Any]]:
    assert main(["rules", *arguments, "--json"]) == Exit.FITS
    rows: list[dict[str, Any]] = json.loads(capsys.readouterr().out)
    return rows


def test_rules_as_json_have_every_value_and_flow_settings_also_as_words(
    capsys: pytest.CaptureFixture[str],
) -> None:
    rows = rows_printed(capsys, "zebrafish")
    assert all(
        list(row) == ["for", "pack", "name", "value", "unit", "word", "evidence", "source", "origin"]
        for row in rows
    )
    by_name = {row["name"]: row for row in rows}
    assert len(by_name) == len(rows)
    assert (by_name["flow.2.limit"]["value"], by_name["flow.2.limit"]["word"]) == (0, "still")
    assert [row["name"] for row in rows if (row["word"] is None) == (row["unit"] == "setting")] == []
    page = (ROOT / "docs" / "reference" / "rule-packs.md").read_text(encoding="utf-8")
    assert [key for key in rows[0] if f"\n| `{key}` |" not in page] == []


def test_rules_of_one_kind_tell_how_many_they_are_of_all(capsys: pytest.CaptureFixture[str]) -> None:
    everything = rows_printed(capsys, "zebrafish")
    memory = rows_printed(capsys, "zebrafish", "--evidence", "from memory")
    assert memory == [row for row in everything if row["evidence"] == "from memory"]
    assert main(["rules", "zebrafish", "--evidence", "from memory"]) == Exit.FITS
    said = f"{len(memory)} of {len(everything)} values are from memory."
    assert said in capsys.readouterr().out
    assert main(["rules"]) == Exit.FITS
    listed = " ".join(capsys.readouterr().out.split())
    published = sum(row["evidence"] == "published" for row in everything)
    assert f"{published} of {len(everything)} values are published," in listed
    assert f"and {len(memory)} are from memory." in listed


def test_rules_of_one_kind_from_all_packs(capsys: pytest.CaptureFixture[str]) -> None:
    rows = rows_printed(capsys, "--evidence", "from memory")
    assert {row["pack"] for row in rows} == set(shipped_packs())
    assert {row["evidence"] for row in rows} == {"from memory"}
    assert main(["rules", "--evidence", "from memory"]) == Exit.FITS
    out = capsys.readouterr().out
    assert out.count(" values are from memory.") == len(shipped_packs())


@pytest.mark.parametrize(
    "arguments",
    [
        ["zebrafish", "--evidence", "hearsay"],
        ["--evidence", ""],
        ["no-such-pack", "--json"],
        ["zebrafish", "--room", "room.yaml"],
        ["--room", "no-such-room.yaml", "--json"],
    ],
)
def test_rules_refuse_what_there_is_not(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", *arguments]) == Exit.BAD_INPUT
    printed = capsys.readouterr()
    assert printed.out == ""
    assert "Traceback" not in printed.err


def test_the_rules_of_a_room_are_told_line_by_line(
    given: Callable[[Result | Exception], None], capsys: pytest.CaptureFixture[str]
) -> None:
    given(fits())
    assert main(["rules", "--room", "room.yaml"]) == Exit.FITS
    out = capsys.readouterr().out
    assert "line red: rules small" in out
    assert "line blue: rules small" in out


# In a process of its own


def test_a_real_process_prints_plainly_and_leaves_no_trace() -> None:
    done = run("rules", "zebrafish", NO_COLOR="1")
    assert (done.returncode, done.stderr) == (0, "")
    assert "\x1b" not in done.stdout


def test_a_real_usage_error() -> None:
    done = run("plan", "--nope")
    assert done.returncode == Exit.BAD_INPUT
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_a_name_that_the_terminal_cannot_show_stops_nothing() -> None:
    code = "import sys; from allocator.console import guarded, say; "
    code += "sys.exit(guarded(lambda: say('шкаф') or 0, debug=False))"
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "ascii"},
    )
    assert (done.returncode, done.stdout) == (0, b"\\u0448\\u043a\\u0430\\u0444\n")


@pytest.mark.skipif(os.name == "nt", reason="pipes break in another way there")
def test_a_reader_that_goes_away_is_no_fault() -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "allocator", "rules", "rainbowfish-large"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait() == 141


@pytest.mark.skipif(os.name == "nt", reason="signals are another thing there")
@pytest.mark.parametrize(
    "start", [["-m", "allocator"], ["-c", "from allocator.__main__ import main; main()"]]
)
def test_a_stop_while_the_tool_is_loaded_is_told_in_a_word(start: list[str], tmp_path: Path) -> None:
    pressed = "import os, signal, time\nos.kill(os.getpid(), signal.SIGINT)\ntime.sleep(60)\n"
    (tmp_path / "typer.py").write_text(pressed, encoding="utf-8")  # found before the real one
    done = subprocess.run(
        [sys.executable, *start],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": f"{tmp_path}{os.pathsep}{ROOT}"},
    )
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "allocator: stopped\n")


@pytest.mark.skipif(os.name == "nt", reason="signals are another thing there")
def test_a_stop_while_the_solver_is_loaded_is_no_fault_of_the_tool(tmp_path: Path) -> None:
    """Compiled modules turn the interrupt into an error of their own; this one does the same."""
    pressed = (
        "import os, signal, time\ntry:\n    os.kill(os.getpid(), signal.SIGINT)\n    time.sleep(60)\n"
        "except KeyboardInterrupt:\n    raise ImportError('initialization failed') from None\n"
    )
    (tmp_path / "ortools").mkdir()
    (tmp_path / "ortools" / "__init__.py").write_text(pressed, encoding="utf-8")  # found before the real one
    done = subprocess.run(
        [sys.executable, "-m", "allocator", "plan", str(ROOT / "scenarios" / "tiny.yaml")],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": f"{tmp_path}{os.pathsep}{ROOT}"},
    )
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "allocator: stopped\n")


def test_an_own_pack_is_named_as_it_was_typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("own.yaml").write_text("", encoding="utf-8")
    assert main(["rules", "own.yaml"]) == Exit.BAD_INPUT
    assert capsys.readouterr().err.startswith("own.yaml:1: the file is empty")


def test_once_loaded_ctrl_c_is_heard_again(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    before = signal.getsignal(signal.SIGINT)
    monkeypatch.setattr(sys, "argv", ["allocator", "--version"])
    assert allocator.__main__.main() == Exit.FITS
    assert capsys.readouterr().out == f"allocator {__version__}\n"
    assert signal.getsignal(signal.SIGINT) is before is signal.default_int_handler


def test_the_installed_command_begins_where_the_module_does() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    module, name = project["scripts"]["allocator"].split(":")
    assert getattr(importlib.import_module(module), name) is allocator.__main__.main


# Progress


def test_progress_in_words() -> None:
    progress = Progress(stage="cost of added tanks", value=240, bound=120, seconds=12.4)
    assert progress_words(progress).startswith("cost of added tanks: 240 so far, at best 120, 12 s")
    assert progress_words(Progress(stage="reading", seconds=0)).startswith("reading, 0 s")


def test_the_live_line_needs_a_terminal(
    given: Callable[[Result | Exception], None],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    given(fits())

    def plan_room(_: object, *, progress: Callable[[Progress], None], **_options: object) -> Result:
        progress(Progress(stage="looking at [today]", seconds=1))
        return fits()

    monkeypatch.setitem(sys.modules, "allocator.planner", types.SimpleNamespace(plan_room=plan_room))
    main(["plan", "room.yaml"])
    assert capsys.readouterr().err == ""


class Terminal(StringIO):
    """A text stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def test_the_live_line_keeps_odd_names_and_honours_no_color(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = Terminal()
    monkeypatch.setattr(sys, "stderr", screen)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "120")
    monkeypatch.setenv("NO_COLOR", "1")
    with live_line() as show:
        show(Progress(stage="looking at [/R4] [today]", seconds=1))
        time.sleep(0.3)
    assert "looking at [/R4] [today], 1 s" in screen.getvalue()
    assert "\x1b[32m" not in screen.getvalue()


# The whole way, with nothing put in its place


def test_from_a_room_file_to_a_checked_plan(tmp_path: Path) -> None:
    room, plan = str(ROOT / "scenarios" / "tiny.yaml"), str(tmp_path / "plan.json")
    done = run("plan", room, "--json", plan)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("Everything fits.\n")
    assert run("check", room, plan).stdout == "The plan keeps every rule.\n"
    moves = run("moves", room, "--plan", plan).stdout
    assert moves.count("[ ]") >= len(json.loads(Path(plan).read_text(encoding="utf-8"))["moves"])
