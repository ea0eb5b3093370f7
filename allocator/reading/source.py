"""A YAML file as plain data, with the line of everything in it.

The file is read as events, so that what counts as a number follows the core schema of YAML 1.2
(specification 1.2.2, section 10.3.2) and nothing is guessed: a date stays text, `yes` stays text, and a
number remembers how it was written. Whatever is wrong with the file becomes a problem, never a traceback.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Self

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    Event,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)

from allocator.problems import Problems

Loc = tuple[str | int, ...]
Plain = dict[str, "Plain"] | list["Plain"] | str | int | float | bool | None

LARGEST_FILE_BYTES = 1_000_000
"""A club's room is some 20 kB; a file fifty times that is a mistake, and would take minutes to read."""

DEEPEST = 20
"""No file of ours nests deeper than seven."""

LONGEST_NUMBER = 40

IF_EMPTY = "see whether it was saved; `allocator new FILE` writes a room to fill in"

_NULL = re.compile(r"(null|Null|NULL|~|)")
_TRUE = re.compile(r"(true|True|TRUE)")
_FALSE = re.compile(r"(false|False|FALSE)")
_INT = re.compile(r"[-+]?[0-9]+")
_OCTAL = re.compile(r"0o[0-7]+")
_HEX = re.compile(r"0x[0-9a-fA-F]+")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_INFINITE = re.compile(r"[-+]?(\.inf|\.Inf|\.INF)")
_NAN = re.compile(r"(\.nan|\.NaN|\.NAN)")

_STR_TAG = "tag:yaml.org,2002:str"

_PLAIN_WORDS = {
    "mapping values are not allowed": (
        "a colon stands where none can",
        "write text with a colon and a space in it in quotes, and check the indent",
    ),
    "could not find expected ':'": ("a key has no colon after it", "write `key: value`"),
    "expected <block end>": (
        "the indent does not fit the lines above",
        "begin what belongs together in the same column; close quotes and brackets before going on",
    ),
    "expected ',' or ']'": ("a list is not closed", "look for a missing comma or ]"),
    "expected ',' or '}'": ("a group of keys is not closed", "look for a missing comma or }"),
    "found unexpected end of stream": ("a quote is not closed", "look for a missing quotation mark"),
}


class WrittenInt(int):
    """A whole number that remembers how it was written, so that `007` can still be a name."""

    written: str

    @classmethod
    def read(cls, text: str, base: int = 10) -> Self:
        """Read digits."""
        number = cls(text, base)
        number.written = text
        return number


class WrittenFloat(float):
    """A number that remembers how it was written, so that `1E2` can still be a name."""

    written: str

    @classmethod
    def read(cls, text: str) -> Self:
        """Read a decimal number, `.inf` or `.nan`."""
        number = cls(text.lower().replace(".inf", "inf").replace(".nan", "nan"))
        number.written = text
        return number


@dataclass(frozen=True)
class Source:
    """One file: its plain data and the line of each part."""

    file: str
    data: dict[str, Plain]
    content: bytes
    lines: dict[Loc, int] = field(repr=False)
    refused: frozenset[Loc] = frozenset()
    """What was already noted as impossible to read."""
    top: int = 1
    """Where what is said of the whole file stands."""

    def line(self, loc: Loc) -> int:
        """
        Return the line of a part such as ("vessels", 2, "flow"), or of the nearest thing around it.

        A place in a list is passed over where the file has a single thing instead of a list.
        """
        here: Loc = ()
        for step in loc:
            if (*here, step) in self.lines:
                here = (*here, step)
            elif isinstance(step, str):
                break
        return self.lines[here]


def load_yaml(path: Path, problems: Problems) -> Source | None:
    """
    Read a YAML file whose top level is keys and values.

    Parameters
    ----------
    path
        A file, UTF-8.
    problems
        Takes whatever is wrong, under its own file name.

    Returns
    -------
    Source or None
        None when nothing can be made of the file; then at least one problem was added.
    """
    content = read_bytes(path, problems)
    if content is None:
        return None
    text = _text_of(content, problems)
    return None if text is None else load_text(text, problems)


def load_text(text: str, problems: Problems) -> Source | None:
    """Read the text of such a file; see `load_yaml`."""
    content = text.encode("utf-8")
    before = len(problems.errors)
    builder = _Builder(problems)
    try:
        builder.build(text)
    except MarkedYAMLError as error:
        _add_yaml_problem(error, text, problems)
    except YAMLError:
        line = next((n for n, row in enumerate(text.split("\n"), 1) if _unprintable(row)), 1)
        problems.add(line, "a character that no text should hold", hint="delete it, or write it in words")
    except _CannotReadError:
        pass
    else:
        if isinstance(builder.data, dict):
            return Source(problems.file, builder.data, content, builder.lines, frozenset(builder.refused))
        if () not in builder.lines:
            problems.add(1, "the file is empty", hint=IF_EMPTY)
        elif len(problems.errors) == before:
            found = "a list" if isinstance(builder.data, list) else "text"
            problems.add(
                1, "the file must begin with keys", found=f"got {found}", hint="write `key: value` lines"
            )
    return None


def read_bytes(path: Path, problems: Problems, most: int = LARGEST_FILE_BYTES) -> bytes | None:
    """Return what a file holds, at most so many bytes; None, and a problem, when it cannot be had."""
    try:
        with path.open("rb") as file:
            content = file.read(most + 1)
    except IsADirectoryError:
        problems.add(1, "this is a folder, not a file", hint="name the file in it")
    except FileNotFoundError:
        problems.add(1, "there is no such file", hint="check the spelling and the folder you are in")
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        problems.add(1, "the file cannot be opened", found=reason.lower())
    else:
        if len(content) <= most:
            return content
        problems.add(1, "the file is too large", found=f"more than {most // 1000} kB")
    return None


def _text_of(content: bytes, problems: Problems) -> str | None:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        found = f"got byte 0x{content[error.start]:02x}"
        problems.add(line, "the file is not UTF-8 text", found=found, hint="save it again as UTF-8")
        return None
    if not text.strip():
        problems.add(1, "the file is empty", hint=IF_EMPTY)
        return None
    return text


def _unprintable(row: str) -> bool:
    return any(not char.isprintable() and char not in "\t\r" for char in row)


def _add_yaml_problem(error: MarkedYAMLError, text: str, problems: Problems) -> None:
    mark = error.problem_mark or error.context_mark
    line = mark.line + 1 if mark is not None else 1
    rows = text.split("\n")
    row = rows[line - 1] if line <= len(rows) else ""
    said = str(error.problem or error.context or "")
    if "\\t" in said or row[: len(row) - len(row.lstrip())].count("\t"):
        problems.add(line, "a tab cannot be used to indent", hint="use spaces")
        return
    for words, (what, hint) in _PLAIN_WORDS.items():
        if words in said:
            problems.add(line, what, hint=hint)
            return
    problems.add(line, "this is not YAML", found=" ".join(said.split()), hint="write such text in quotes")


class _CannotReadError(Exception):
    """Nothing more can be made of the file; the problem has been noted."""


class _Builder:
    """Turns the events of one document into plain data."""

    def __init__(self, problems: Problems) -> None:
        self.problems = problems
        self.lines: dict[Loc, int] = {}
        self.refused: set[Loc] = set()
        self.data: Plain = None

    def build(self, text: str) -> None:
        """Read the whole text."""
        events: Iterator[Event] = YAML(typ="safe", pure=True).parse(text)
        documents = 0
        for event in events:
            if isinstance(event, DocumentStartEvent):
                documents += 1
                if documents > 1:
                    self._add(
                        event, "a second document begins", hint="keep one room in one file, without ---"
                    )
                    raise _CannotReadError
            elif isinstance(event, ScalarEvent | SequenceStartEvent | MappingStartEvent | AliasEvent):
                self.lines[()] = _line(event)
                self.data = self._node(event, events, ())

    def _add(self, event: Event, what: str, *, found: str | None = None, hint: str | None = None) -> None:
        self.problems.add(_line(event), what, found=found, hint=hint)

    def _node(self, event: Event, events: Iterator[Event], loc: Loc) -> Plain:
        self.lines.setdefault(loc, _line(event))
        if isinstance(event, AliasEvent):
            self._add(event, "a reference cannot be used here", found=f"*{event.anchor}", hint="write it out")
            self.refused.add(loc)
            return None
        if isinstance(event, ScalarEvent):
            return self._scalar(event, loc)
        if len(loc) >= DEEPEST:
            self._add(event, "brackets or indents are nested too deep")
            raise _CannotReadError
        tag = getattr(event, "tag", None)
        if tag is not None:
            self._add(event, "a tag cannot be used here", found=str(tag), hint="delete it")
        if isinstance(event, SequenceStartEvent):
            return self._sequence(events, loc)
        return self._mapping(events, loc)

    def _sequence(self, events: Iterator[Event], loc: Loc) -> list[Plain]:
        items: list[Plain] = []
        for event in events:
            if isinstance(event, SequenceEndEvent):
                break
            items.append(self._node(event, events, (*loc, len(items))))
        return items

    def _mapping(self, events: Iterator[Event], loc: Loc) -> dict[str, Plain]:
        items: dict[str, Plain] = {}
        for event in events:
            if isinstance(event, MappingEndEvent):
                break
            if not isinstance(event, ScalarEvent):
                self._add(event, "a key must be one word or a few", hint="write text with brackets in quotes")
                raise _CannotReadError
            key = str(event.value)
            twice = key in items
            here = (*loc, key)
            if twice:
                first = self.lines[here]
                self._add(event, f"the key {key!r} is there twice", found=f"first on line {first}")
                here = (*loc, f"{key} again")
            self.lines[here] = _line(event)
            value = self._node(next(events), events, here)
            if not twice:
                items[key] = value
        return items

    def _scalar(self, event: ScalarEvent, loc: Loc) -> Plain:
        tag = None if event.tag is None else str(event.tag)
        text = str(event.value)
        if tag not in (None, "!", _STR_TAG):
            self._add(event, "a tag cannot be used here", found=tag, hint="delete it")
            self.refused.add(loc)
            return text
        if tag is not None or not event.implicit[0]:
            return text
        return resolve(text)


def _line(event: Event) -> int:
    return int(event.start_mark.line) + 1


def resolve(text: str) -> str | int | float | bool | None:
    """Return the value of an unquoted scalar by the core schema of YAML 1.2."""
    value: str | int | float | bool | None = text
    if _NULL.fullmatch(text):
        value = None
    elif _TRUE.fullmatch(text):
        value = True
    elif _FALSE.fullmatch(text):
        value = False
    elif len(text) > LONGEST_NUMBER:
        value = text
    elif _INT.fullmatch(text):
        value = WrittenInt.read(text)
    elif _OCTAL.fullmatch(text):
        value = WrittenInt.read(text, 8)
    elif _HEX.fullmatch(text):
        value = WrittenInt.read(text, 16)
    elif _FLOAT.fullmatch(text) or _INFINITE.fullmatch(text) or _NAN.fullmatch(text):
        value = WrittenFloat.read(text)
    return value
