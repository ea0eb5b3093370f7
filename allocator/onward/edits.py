"""Changes to the plain data of a room file, one place at a time."""

from collections.abc import Iterable
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

from allocator.reading.source import Loc, Plain


@dataclass(frozen=True)
class Put:
    """Write a value under a key; a new key comes after another one, or last."""

    loc: Loc
    value: Plain
    after: tuple[str, ...] = ()


@dataclass(frozen=True)
class Drop:
    """Take out a key, or an item of a list; a text file may keep a remark in its place."""

    loc: Loc
    remark: str | None = None


@dataclass(frozen=True)
class Add:
    """Add an item at the end of a list; a text file may have a remark beside it."""

    loc: Loc
    value: Plain
    remark: str | None = None


@dataclass(frozen=True)
class Unremark:
    """Take a remark away that stands beside an item; data have none."""

    loc: Loc
    remark: str


Edit = Put | Drop | Add | Unremark


def applied(data: dict[str, Plain], edits: Iterable[Edit]) -> dict[str, Plain]:
    """Return the data with all edits made, in their order; the data that are given stay as they are."""
    new: Any = deepcopy(data)
    for edit in edits:
        if isinstance(edit, Unremark):
            continue
        *way, last = edit.loc
        part = new
        for step in way:
            part = part[step]
        if isinstance(edit, Put):
            part[last] = deepcopy(edit.value)
        elif isinstance(edit, Drop):
            del part[last]
        elif isinstance(part.get(last), list):
            part[last].append(deepcopy(edit.value))
        else:
            part[last] = [deepcopy(edit.value)]
    return dict(new)
