"""The plain data of a room file as its text: YAML that reads back as what it was."""

import json
import re
import unicodedata
from collections.abc import Iterator

from allocator.reading.source import Plain, WrittenFloat, WrittenInt, resolve

WIDEST = 100
PLAIN = re.compile(r"[^\W\d_][\w ./-]*[\w]|[^\W\d_]|\d[\d.]* ?x ?[\d.]+ [a-z]+|[\d.]+ [A-Za-z]+( [a-z]+)?")
"""Text that needs no quotes: words and file names, and quantities such as 50 x 25 cm or 9 US gal."""
DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
SHOWN = ("L", "M", "N", "P", "S")
"""Unicode categories that are written as they are; of all others only the space is."""


def room_text(data: dict[str, Plain], made_from: str) -> str:
    """Return a room file, with a line that says what it was made from."""
    lines = [f"# Made from {json.dumps(made_from)[1:-1]}."]
    for key, value in data.items():
        if value is not None:
            lines += (
                ["", *_entry(key, value, "")] if isinstance(value, dict | list) else _entry(key, value, "")
            )
    return "\n".join(lines) + "\n"


def _entry(key: str, value: Plain, indent: str) -> Iterator[str]:
    value = _alone(key, value)
    name = f"{indent}{_scalar(key)}:"
    short = f"{name} {inline(value)}"
    listed = isinstance(value, list) and any(isinstance(item, dict) for item in value)
    if len(short) <= WIDEST and not listed:
        yield short
    elif isinstance(value, dict):
        yield name
        for inner, part in value.items():
            if part is not None:
                yield from _entry(inner, part, f"{indent}  ")
    elif isinstance(value, list):
        yield name
        for part in value:
            yield from item_lines(part, f"{indent}  ")
    else:
        yield short


def _alone(key: str, value: Plain) -> Plain:
    """Return a filter or a home of which no more is said than its name as that name alone."""
    if key == "filter" and isinstance(value, dict) and set(value) == {"kind"}:
        return value["kind"]
    if key == "lives_in" and isinstance(value, list) and len(value) == 1:
        home = value[0]
        return home["vessel"] if isinstance(home, dict) and set(home) == {"vessel"} else value
    return value


def item_lines(value: Plain, indent: str) -> Iterator[str]:
    """Yield an item of a list: in one line if it is short enough, else a key a line."""
    short = f"{indent}- {inline(value)}"
    if len(short) <= WIDEST or not isinstance(value, dict):
        yield short
        return
    first = True
    for key, part in value.items():
        if part is not None:
            lines = _entry(key, part, f"{indent}  ")
            yield f"{indent}- {next(lines).lstrip()}" if first else next(lines)
            yield from lines
            first = False


def inline(value: Plain) -> str:
    """Return a value as it stands within a line, in braces and brackets."""
    if isinstance(value, dict):
        parts = [
            f"{_scalar(key)}: {inline(_alone(key, part))}" for key, part in value.items() if part is not None
        ]
        return "{" + ", ".join(parts) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(inline, value)) + "]"
    return _scalar(value)


def _scalar(value: object) -> str:
    if value is None or isinstance(value, bool):
        return json.dumps(value)
    if isinstance(value, WrittenInt | WrittenFloat):
        return value.written
    if isinstance(value, int | float):
        return repr(value)
    text = str(value)
    if DATE.fullmatch(text) and text.isascii():
        return text
    if PLAIN.fullmatch(text) and isinstance(resolve(text), str) and "  " not in text and " #" not in text:
        return text
    return '"' + "".join(map(_quoted, text)) + '"'


def _quoted(char: str) -> str:
    if char in '"\\':
        return f"\\{char}"
    if char == " " or unicodedata.category(char)[0] in SHOWN:
        return char
    return f"\\u{ord(char):04x}" if ord(char) <= 0xFFFF else f"\\U{ord(char):08x}"  # noqa: PLR2004 - four digits
