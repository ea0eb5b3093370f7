"""The examples of a page of the docs, taken out of it and run as a keeper would.

Understood in a page are:

- ```console blocks: `$ ` and a command (`allocator ...`, `cp FROM TO`, `echo $?`), then lines that it
  prints, in this order; `...` stands for any lines. A command must end with 0 unless its exit code is asked
  for;
- ```diff blocks: `--- FILE`, then lines as they are (a space, or `-`) and as they shall be (a space, or `+`),
  in parts with `@@` between them;
- ```yaml blocks: parts of a room file, which must be readable; with `# file: NAME` on top, a file to
  write;
- `<!-- not run: WHY -->` on the line before any of these leaves it out.
"""

import os
import re
import shlex
import shutil
import subprocess
import sys
import warnings
from collections.abc import Iterator, Sequence
from contextlib import chdir, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from io import BytesIO, TextIOWrapper
from pathlib import Path
from unittest import mock

from allocator.cli import main

ROOT = Path(__file__).parent.parent
DOCS = ROOT / "docs"
ELSEWHERE = "..."

FENCE = re.compile(
    r"(?:<!-- not run: (?P<why>.+?) -->\n)?^```(?P<kind>\w+)\n(?P<body>.*?)^```$", re.MULTILINE | re.DOTALL
)


@dataclass
class Example:
    """A block of a page. `why` says why it is not run; None where it is."""

    kind: str
    body: str
    why: str | None


@dataclass
class Command:
    """A command, the lines that the page shows of what it prints, and the exit code it should have."""

    line: str
    shown: list[str] = field(default_factory=list)
    code: int = 0


def pages() -> list[Path]:
    return sorted(DOCS.rglob("*.md"))


def examples(text: str) -> Iterator[Example]:
    for found in FENCE.finditer(text):
        yield Example(found["kind"], found["body"], found["why"])


def commands(body: str) -> list[Command]:
    found: list[Command] = []
    asked = False
    for line in body.splitlines():
        if line == "$ echo $?":
            asked = True
        elif asked:
            found[-1].code = int(line)
            asked = False
        elif line.startswith("$ "):
            found.append(Command(line.removeprefix("$ ")))
        else:
            found[-1].shown.append(line)
    return found


def missing(shown: Sequence[str], printed: str) -> list[str]:
    """Return the shown lines that are not printed in this order and, but for `...`, without a gap."""
    lines = [line.rstrip() for line in printed.splitlines()]
    wanted = [line.rstrip() for line in shown]
    lost = []
    at, anywhere = 0, True
    for line in wanted:
        if line == ELSEWHERE:
            anywhere = True
            continue
        places = range(at, len(lines)) if anywhere else range(at, min(at + 1, len(lines)))
        place = next((p for p in places if lines[p] == line), None)
        if place is None:
            lost.append(line)
        else:
            at, anywhere = place + 1, False
    return lost


SHOWN_ON = {"COLUMNS": "80", "NO_COLOR": "1"}
"""What pages are printed on, whatever the terminal of whoever runs the tests."""


def run(line: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run a command of a page in a folder, in a process of its own."""
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "allocator", *arguments_of(line)],
        cwd=folder,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), **SHOWN_ON},
    )


def arguments_of(line: str) -> list[str]:
    name, *arguments = shlex.split(line)
    assert name == "allocator", f"a page shows a command that is not known here: {line}"
    return arguments


def done_here(line: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Do the same within this process, which saves the second that it takes to load the solver."""
    if line.startswith("cp "):
        source, target = shlex.split(line)[1:]
        shutil.copyfile(folder / source, folder / target)
        return subprocess.CompletedProcess(line, 0, "", "")
    out, err = (TextIOWrapper(BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
    with (
        chdir(folder),
        mock.patch.dict(os.environ, SHOWN_ON),
        warnings.catch_warnings(),
        redirect_stdout(out),
        redirect_stderr(err),
    ):
        warnings.simplefilter("error")
        code = main(arguments_of(line))
    printed, complained = (stream.buffer.getvalue().decode("utf-8") for stream in (out, err))
    return subprocess.CompletedProcess(line, code, printed, complained)


def lived(text: str, folder: Path) -> Iterator[tuple[Command, subprocess.CompletedProcess[str]]]:
    """Do in a folder what a page shows, in its order; yield each command and what came of it."""
    shutil.copytree(ROOT / "scenarios", folder / "scenarios")
    for example in examples(text):
        if example.why is not None:
            continue
        if example.kind == "diff":
            patch(example.body, folder)
        elif example.kind == "yaml" and example.body.startswith("# file: "):
            name = example.body.splitlines()[0].removeprefix("# file: ")
            (folder / name).write_text(example.body, encoding="utf-8")
        elif example.kind == "console":
            for command in commands(example.body):
                yield command, done_here(command.line, folder)


def patch(body: str, folder: Path) -> None:
    """Change a file as a diff block says."""
    head, *lines = body.splitlines()
    file = folder / head.removeprefix("--- ")
    text = file.read_text(encoding="utf-8")
    for part in "\n".join(lines).split("@@\n"):
        rows = part.splitlines()
        before = "".join(f"{row[1:]}\n" for row in rows if row[:1] in {"-", " "})
        after = "".join(f"{row[1:]}\n" for row in rows if row[:1] in {"+", " "})
        if not rows:
            continue
        assert text.count(before) == 1, f"{head}: not there once:\n{before}"
        text = text.replace(before, after)
    file.write_text(text, encoding="utf-8")
