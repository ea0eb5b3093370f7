"""A JSON file as plain data, with the line of everything in it.

What counts as JSON follows RFC 8259; `NaN`, comments and trailing commas do not. A key that is there twice is
a problem. (Our YAML reader would do, JSON being YAML, but takes minutes for the plan of a large room.)
"""

import re
from json import JSONDecodeError, JSONDecoder
from pathlib import Path

from allocator.problems import Problems
from allocator.reading.source import Loc, Plain, Source

LARGEST_FILE_BYTES = 50_000_000
"""The plan of a room with 150 broods is about 0.3 MB."""

DEEPEST = 20
"""A plan file nests four deep."""

LONGEST_NUMBER = 40

TO_WRITE = "write a plan file with `allocator plan ROOM --json FILE`"

_SPACE = re.compile(r"[ \t\n\r]*")
_NUMBER = re.compile(r"-?(?:0|[1-9][0-9]*)(\.[0-9]+)?([eE][-+]?[0-9]+)?(?![\w.+-])")
_WORD = re.compile(r"[\w.+-]+")
_OF_ROOM = re.compile(r"^fish_room\s*:", re.MULTILINE)
"""No line of JSON begins so: a key of it stands in quotes, and text holds no line break."""
_STRINGS = JSONDecoder()
_WORDS: dict[str, bool | None] = {"true": True, "false": False, "null": None}


class NotJsonError(Exception):
    """The text stops being JSON at a place."""

    def __init__(self, what: str, place: int, found: str | None = None, hint: str | None = None) -> None:
        super().__init__(what)
        self.what, self.place, self.found, self.hint = what, place, found, hint


def load_json(path: Path, problems: Problems) -> Source | None:
    """
    Read a JSON file whose top level is keys and values.

    Parameters
    ----------
    path
        A file, UTF-8.
    problems
        Takes whatever is wrong.

    Returns
    -------
    Source or None
        None when nothing can be made of the file; then at least one problem was added.
    """
    content = _bytes_of(path, problems)
    text = None if content is None else _text_of(content, problems)
    if content is None or text is None:
        return None
    if not text.strip():
        problems.add(1, "the file is empty", hint=TO_WRITE)
        return None
    if _OF_ROOM.search(text):
        problems.add(1, "this is a room file, not a plan file", hint=TO_WRITE)
        return None
    scan = _Scan(text)
    try:
        data = scan.whole()
    except NotJsonError as error:
        problems.add(scan.line_at(error.place), error.what, found=error.found, hint=error.hint)
        return None
    for key, line in scan.twice:
        problems.add(line, f"the key {key!r} is there twice")
    if not isinstance(data, dict):
        problems.add(1, "this is not a plan file", hint=TO_WRITE)
        return None
    return Source(problems.file, data, content, scan.lines)


def _bytes_of(path: Path, problems: Problems) -> bytes | None:
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST_FILE_BYTES + 1)
    except IsADirectoryError:
        problems.add(1, "this is a folder, not a file", hint="name the file in it")
    except FileNotFoundError:
        problems.add(1, "there is no such file", hint="check the spelling and the folder you are in")
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        problems.add(1, "the file cannot be opened", found=reason.lower())
    else:
        if len(content) <= LARGEST_FILE_BYTES:
            return content
        problems.add(1, "the file is too large", found=f"more than {LARGEST_FILE_BYTES // 1_000_000} MB")
    return None


def _text_of(content: bytes, problems: Problems) -> str | None:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        problems.add(line, "the file is not UTF-8 text", found=f"got byte 0x{content[error.start]:02x}")
        return None


class _Scan:
    """Reads one text from left to right, noting lines on the way."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.lines: dict[Loc, int] = {}
        self.twice: list[tuple[str, int]] = []
        self._counted = (0, 1)

    def line_at(self, place: int) -> int:
        """Return the line of a place; quick when places come in order."""
        before, line = self._counted
        if place < before:
            before, line = 0, 1
        line += self.text.count("\n", before, place)
        self._counted = (place, line)
        return line

    def whole(self) -> Plain:
        """Return the one value of the text."""
        value, place = self._value(self._skip(0), ())
        place = self._skip(place)
        if place < len(self.text):
            raise NotJsonError("something stands after the end of the plan", place)
        return value

    def _skip(self, place: int) -> int:
        match = _SPACE.match(self.text, place)
        return match.end() if match else place

    def _value(self, place: int, loc: Loc) -> tuple[Plain, int]:
        self.lines[loc] = self.line_at(place)
        if len(loc) > DEEPEST:
            raise NotJsonError("brackets are nested too deep", place)
        char = self.text[place : place + 1]
        if char == "{":
            return self._object(place + 1, loc)
        if char == "[":
            return self._array(place + 1, loc)
        if char == '"':
            return self._string(place)
        return self._scalar(place)

    def _string(self, place: int) -> tuple[str, int]:
        try:
            text, end = _STRINGS.raw_decode(self.text, place)
            return str(text), end
        except JSONDecodeError as error:
            hint = "look for a missing quotation mark"
            raise NotJsonError(
                "text in quotes is not closed or not well written", error.pos, hint=hint
            ) from error

    def _scalar(self, place: int) -> tuple[Plain, int]:
        match = _NUMBER.match(self.text, place)
        if match is None:
            word = _WORD.match(self.text, place)
            found = word.group() if word else self.text[place : place + 1]
            if found in _WORDS:
                return _WORDS[found], place + len(found)
            what = "a value is missing" if found in ("", ",", "]", "}") else "this is not a value"
            hint = "text stands in double quotes; take out a comma before a closing bracket"
            raise NotJsonError(what, place, f"got {found!r}" if found else "the file ends", hint)
        if len(match.group()) > LONGEST_NUMBER:
            raise NotJsonError("a number is too long", place)
        is_whole = match.group(1) is None and match.group(2) is None
        return (int(match.group()) if is_whole else float(match.group())), match.end()

    def _array(self, place: int, loc: Loc) -> tuple[Plain, int]:
        items: list[Plain] = []
        place = self._skip(place)
        if self.text[place : place + 1] == "]":
            return items, place + 1
        while True:
            item, place = self._value(self._skip(place), (*loc, len(items)))
            items.append(item)
            place, closed = self._next(place, "]")
            if closed:
                return items, place

    def _object(self, place: int, loc: Loc) -> tuple[Plain, int]:
        items: dict[str, Plain] = {}
        place = self._skip(place)
        if self.text[place : place + 1] == "}":
            return items, place + 1
        while True:
            start = self._skip(place)
            if self.text[start : start + 1] != '"':
                hint = "keys stand in double quotes; take out a comma before a closing bracket"
                raise NotJsonError("a key is missing", start, hint=hint)
            key, place = self._string(start)
            place = self._skip(place)
            if self.text[place : place + 1] != ":":
                raise NotJsonError(f"the key {key!r} has no colon after it", place, hint='write "key": value')
            if key in items:
                self.twice.append((key, self.line_at(start)))
            items[key], place = self._value(self._skip(place + 1), (*loc, key))
            place, closed = self._next(place, "}")
            if closed:
                return items, place

    def _next(self, place: int, closing: str) -> tuple[int, bool]:
        """Pass the comma after an item, or the bracket after the last."""
        place = self._skip(place)
        char = self.text[place : place + 1]
        if char in (",", closing) and char:
            return place + 1, char == closing
        found = f"got {char!r}" if char else "the file ends"
        raise NotJsonError(f"a comma or {closing} is missing", place, found)
