"""Put what the program prints now into the examples of the docs: `python tests/freshen.py [PAGE ...]`; read the diff.

A stretch of shown lines becomes the stretch of as many printed lines that is most like it, after the one before.
Where the program prints more or fewer lines than it did, that is left to you: the tests of the docs say where. What
the text around an example says of its numbers is always left to you.
"""

import shutil
import sys
from collections.abc import Sequence
from difflib import SequenceMatcher
from pathlib import Path
from tempfile import TemporaryDirectory

from doc_pages import ELSEWHERE, ROOT, commands, examples, missing, pages, patch, run

LEAST_ALIKE = 0.5
"""Of two stretches, as `SequenceMatcher.ratio` has it; less alike is not the same stretch (judgement)."""


def stretches(shown: Sequence[str]) -> list[list[str]]:
    """Cut shown lines at `...`, which is a stretch of its own."""
    cut: list[list[str]] = []
    for line in shown:
        if line == ELSEWHERE or not cut or cut[-1] == [ELSEWHERE]:
            cut.append([line])
        else:
            cut[-1].append(line)
    return cut


def freshened(shown: Sequence[str], printed: str) -> list[str]:
    """Return the shown lines as they are printed now."""
    lines = [line.rstrip() for line in printed.splitlines()]
    fresh: list[str] = []
    at = 0
    for stretch in stretches(shown):
        if stretch == [ELSEWHERE]:
            fresh += stretch
            continue
        size = len(stretch)
        wanted = "\n".join(stretch)
        best, place = LEAST_ALIKE, None
        for start in range(at, len(lines) - size + 1):
            if stretch == lines[start : start + size]:
                best, place = 1.0, start
                break
            alike = SequenceMatcher(None, wanted, "\n".join(lines[start : start + size]), autojunk=False)
            if alike.quick_ratio() > best and alike.ratio() > best:
                best, place = alike.ratio(), start
        if place is None:
            fresh += stretch
        else:
            fresh += lines[place : place + size]
            at = place + size
    return fresh


def freshen(page: Path, folder: Path) -> str:
    """Return the text of a page with its examples as they are printed now."""
    text = page.read_text(encoding="utf-8")
    for example in examples(text):
        if example.why is not None:
            continue
        if example.kind == "diff":
            patch(example.body, folder)
        elif example.kind == "yaml" and example.body.startswith("# file: "):
            name = example.body.splitlines()[0].removeprefix("# file: ")
            (folder / name).write_text(example.body, encoding="utf-8")
        elif example.kind == "console":
            body = example.body
            for command in commands(example.body):
                done = run(command.line, folder)
                if missing(command.shown, done.stdout + done.stderr):
                    before = "\n".join([f"$ {command.line}", *command.shown])
                    after = "\n".join(
                        [f"$ {command.line}", *freshened(command.shown, done.stdout + done.stderr)]
                    )
                    body = body.replace(before, after, 1)
            text = text.replace(example.body, body, 1)
    return text


def main(names: Sequence[str]) -> None:
    """Freshen some pages, or all."""
    for page in [Path(name).resolve() for name in names] or pages():
        with TemporaryDirectory() as folder:
            shutil.copytree(ROOT / "scenarios", Path(folder) / "scenarios")
            text = freshen(page, Path(folder))
        if text != page.read_text(encoding="utf-8"):
            page.write_text(text, encoding="utf-8")
            sys.stdout.write(f"{page.relative_to(ROOT)}\n")


if __name__ == "__main__":
    main(sys.argv[1:])
