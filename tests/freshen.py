"""Put what the program prints now into the examples of the docs: `python tests/freshen.py [PAGE ...]`; read the diff.

A stretch of shown lines becomes the stretch of as many printed lines that is most like it, after the one before.
Where the program prints more or fewer lines than it did, that is left to you: the tests of the docs say where. What
the text around an example says of its numbers is always left to you.
"""

import sys
from collections.abc import Sequence
from difflib import SequenceMatcher
from pathlib import Path
from tempfile import TemporaryDirectory

from doc_pages import ELSEWHERE, ROOT, lived, missing, pages

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


def freshen(text: str, folder: Path) -> str:
    """Return the text of a page with its examples as they are printed now."""
    at = 0
    for command, done in lived(text, folder):
        printed = done.stdout + done.stderr
        shown = command.shown if not missing(command.shown, printed) else freshened(command.shown, printed)
        before, after = ("\n".join([f"$ {command.line}", *lines]) for lines in (command.shown, shown))
        place = text.index(before, at)
        at = place + len(after)
        text = text[:place] + after + text[place + len(before) :]
    return text


def main(names: Sequence[str]) -> None:
    """Freshen some pages, or all."""
    for page in [Path(name).resolve() for name in names] or pages():
        before = page.read_text(encoding="utf-8")
        with TemporaryDirectory() as folder:
            text = freshen(before, Path(folder))
        if text != before:
            page.write_text(text, encoding="utf-8")
            sys.stdout.write(f"{page.relative_to(ROOT)}\n")


if __name__ == "__main__":
    main(sys.argv[1:])
