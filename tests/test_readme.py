"""The README: its commands, and that what it shows is what the tool prints."""

import re
import shlex
from pathlib import Path

import pytest
from doc_pages import ROOT, missing, run
from typer.testing import CliRunner

from allocator.cli import app

README = (ROOT / "README.md").read_text(encoding="utf-8")
SET_UP = re.findall(r"^python3 -m venv .*$", README, re.MULTILINE)


def test_there_are_two_commands_and_each_sets_everything_up() -> None:
    assert len(SET_UP) == 2
    for command in SET_UP:
        steps = [shlex.split(step) for step in command.split("&&")]
        assert steps[0] == ["python3", "-m", "venv", ".venv"]
        assert steps[1][:5] == [".venv/bin/pip", "install", "-q", "-c", "constraints.txt"]
        assert len(steps) == 3
    assert "-m pytest" in SET_UP[1]


def test_the_script_for_changes_takes_both_commands_from_the_readme() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "pip install -q -c constraints.txt -e . " not in script
    assert script.count("readme_command '") == 2
    for asked in re.findall(r"readme_command '([^']+)'", script):
        assert sum(asked in command for command in SET_UP) == 1


def test_constraints_are_names_and_versions_and_nothing_else() -> None:
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    assert lines
    assert [line for line in lines if not re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9.]+", line)] == []


def test_what_the_readme_shows_is_what_its_main_command_prints(tmp_path: Path) -> None:
    command = SET_UP[0].rsplit("&& .venv/bin/", maxsplit=1)[1]
    done = run(command.replace("scenarios/", f"{ROOT.as_posix()}/scenarios/"), tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    shown = re.findall(r"^```text\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    assert len(shown) == 1
    assert missing(shown[0].splitlines(), done.stdout) == []


TOUR = [line for line in README.splitlines() if line.startswith("allocator ")]


@pytest.mark.parametrize("line", TOUR)
def test_the_tour_shows_commands_and_options_that_are_there(line: str) -> None:
    command, *arguments = shlex.split(line, comments=True)[1:]
    shown = CliRunner().invoke(app, [command, "--help"])
    assert shown.exit_code == 0
    assert all(option in shown.output for option in arguments if option.startswith("--"))


def test_the_tour_leaves_no_command_out() -> None:
    names = [command.callback.__name__ for command in app.registered_commands if command.callback]
    assert {shlex.split(line)[1] for line in TOUR} == {name.replace("_", "-") for name in names}
