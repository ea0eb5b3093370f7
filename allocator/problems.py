"""What is wrong with an input, as values: collected, sorted and printed all at once."""

from dataclasses import dataclass, field
from difflib import get_close_matches
from enum import StrEnum
from pathlib import Path
from typing import Self

SHORT_LIST = 8
MOST_ROWS, MOST_COLUMNS = 1 << 20, 1 << 14
"""No sheet has more (ISO/IEC 29500-1 leaves it open; so it is in the spreadsheet programs there are)."""


class Severity(StrEnum):
    """An error stops the run; a warning is printed and the rest is planned."""

    ERROR = "error"
    WARNING = "warning"


class CellPlace(int):
    """A place in a workbook, which stands where a line number would: as a number it is its order in the file."""

    sheet: str | None
    cell: str | None

    @classmethod
    def of(
        cls, number: int = 0, sheet: str | None = None, row: int = 0, column: int = 0, cell: str | None = None
    ) -> Self:
        """Return the place of a cell such as C4 of a sheet and the sheet's number; without them, of the whole."""
        place = cls((number * MOST_ROWS + row) * MOST_COLUMNS + column)
        place.sheet, place.cell = sheet, cell
        return place

    @property
    def words(self) -> str:
        """The place in words: `sheet vessels, cell C4`; empty for the whole workbook."""
        parts = (("sheet", self.sheet), ("cell", self.cell))
        return ", ".join(f"{kind} {name}" for kind, name in parts if name is not None)


def place_words(line: int) -> str:
    """Return a line, or a place in a workbook, in words: `line 12`, `sheet pins, cell A3`."""
    return line.words if isinstance(line, CellPlace) else f"line {line}"


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, where it stands, what was found and what would help."""

    file: str
    line: int
    what: str
    found: str | None = None
    hint: str | None = None
    severity: Severity = Severity.ERROR

    def __str__(self) -> str:
        """Return `file:line: what (what was found). Hint: ...`; a workbook's sheet and cell in place of the line."""
        where = f"{self.file}:{self.line}"
        if isinstance(self.line, CellPlace):
            where = ", ".join(part for part in (self.file, self.line.words) if part)
        text = f"{where}: {self.what}"
        if self.found is not None:
            text += f" ({self.found})"
        if self.hint is not None:
            text += f". Hint: {self.hint}"
        return text


class InputError(Exception):
    """The input cannot be used; carries every problem that was found."""

    def __init__(self, problems: list[Problem]) -> None:
        super().__init__("\n".join(map(str, problems)))
        self.problems = problems


@dataclass(slots=True)
class Problems:
    """A collector for the problems of one file."""

    file: str
    found: list[Problem] = field(default_factory=list)

    def add(self, line: int, what: str, *, found: str | None = None, hint: str | None = None) -> None:
        """Note an error."""
        self.found.append(Problem(self.file, line, what, found, hint))

    def warn(self, line: int, what: str, *, found: str | None = None, hint: str | None = None) -> None:
        """Note something that is odd but does not stop the run."""
        self.found.append(Problem(self.file, line, what, found, hint, Severity.WARNING))

    @property
    def errors(self) -> list[Problem]:
        """The errors, in the order of the file."""
        return sorted((p for p in self.found if p.severity is Severity.ERROR), key=lambda p: p.line)

    @property
    def warnings(self) -> list[Problem]:
        """The warnings, in the order of the file."""
        return sorted((p for p in self.found if p.severity is Severity.WARNING), key=lambda p: p.line)

    def raise_errors(self) -> None:
        """Raise all errors at once, if there are any."""
        if self.errors:
            raise InputError(self.errors)


def nearest(word: str, known: list[str], *, or_all: bool = True) -> str | None:
    """Return a hint with the nearest known spelling, or else, with `or_all`, what is known where that is a short list."""
    close = get_close_matches(word.lower(), [k.lower() for k in known], n=1, cutoff=0.6)
    if close:
        match = next(k for k in known if k.lower() == close[0])
        return f"did you mean {match!r}?"
    if or_all and 0 < len(known) <= SHORT_LIST:
        return "use one of: " + ", ".join(known)
    return None


def display_path(path: Path) -> str:
    """Return a path as the keeper typed it, with forward slashes."""
    return path.as_posix()
