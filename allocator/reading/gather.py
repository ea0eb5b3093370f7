"""The parts of a room file, each with its line; whatever has the wrong shape is noted and left out.

One faulty vessel does not hide what is wrong with the broods: every part is read by itself, and the names of
the faulty ones are kept, so that whoever lives in them is not called homeless as well.
"""

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Generic, TypeVar

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from allocator.problems import Problems, nearest
from allocator.reading.fields import WrongValueError, read_name
from allocator.reading.shape import (
    Raw,
    RawAddable,
    RawBrood,
    RawConditions,
    RawGroup,
    RawKeeper,
    RawLine,
    RawOrder,
    RawPin,
    RawRack,
    RawVessel,
    RoomFile,
)
from allocator.reading.source import Loc, Source, WrittenFloat, WrittenInt
from allocator.units import Gallon, NotReadError

R = TypeVar("R", bound=Raw)

SECTIONS: dict[str, tuple[str, type[Raw]]] = {
    "racks": ("rack", RawRack),
    "vessels": ("vessel", RawVessel),
    "lines": ("line", RawLine),
    "breeding_groups": ("breeding group", RawGroup),
    "broods": ("brood", RawBrood),
    "could_add": ("could_add", RawAddable),
    "pins": ("pin", RawPin),
    "orders": ("order", RawOrder),
}
NEEDED = ("vessels", "lines")

LONGEST_FOUND = 60


@dataclass(frozen=True)
class Placed(Generic[R]):
    """A part of the file that has the right shape, and where it stands."""

    raw: R
    loc: Loc
    called: str


@dataclass(frozen=True)
class Unsound:
    """A part of the file that has the wrong shape: what is written, and the keys that are to blame."""

    item: Mapping[str, object]
    loc: Loc
    called: str
    bad: frozenset[str]


@dataclass
class Parts:
    """Everything in the file that has the right shape."""

    source: Source
    problems: Problems
    fish_room: str = ""
    gallon: Gallon | None = None
    today: date | None = None
    today_is_faulty: bool = False
    keeper: RawKeeper | None = None
    conditions: RawConditions = field(default_factory=RawConditions)
    sections: dict[str, list[Placed[Raw]]] = field(default_factory=dict)
    faulty: dict[str, set[str]] = field(default_factory=dict)
    unsound: list[tuple[str, Unsound]] = field(default_factory=list)

    def each(self, kind: type[R]) -> Iterator[Placed[R]]:
        """Yield the parts of one kind, in the order of the file."""
        for placed in self.sections[next(key for key, (_, model) in SECTIONS.items() if model is kind)]:
            if isinstance(placed.raw, kind):
                yield Placed(placed.raw, placed.loc, placed.called)

    def is_faulty(self, section: str, name: str) -> bool:
        """Tell whether something of this name is in the file but could not be read."""
        return any(
            name == bad or (section == "vessels" and re.fullmatch(re.escape(bad) + r" \d+", name))
            for bad in self.faulty.get(section, ())
        )

    def add(
        self,
        part: Placed[R],
        what: str,
        *path: str | int,
        found: str | None = None,
        hint: str | None = None,
        warn: bool = False,
    ) -> None:
        """Note a problem with a part of the file, at the line of the key that `path` leads to."""
        note = self.problems.warn if warn else self.problems.add
        note(self.source.line((*part.loc, *path)), f"{part.called}: {what}", found=found, hint=hint)

    def knows(
        self,
        part: Placed[R],
        section: str,
        name: str,
        known: Collection[str],
        *path: str | int,
        otherwise: str | None = None,
    ) -> bool:
        """Tell whether something of this name is in the room; note a problem if the file never names it.

        `otherwise` is the hint where no name comes near.
        """
        if name in known:
            return True
        if not self.is_faulty(section, name):
            word = SECTIONS[section][0]
            copies = sorted(copy for copy in known if re.fullmatch(re.escape(name) + r" \d+", copy))
            # Where some could not be read, the others are not all there are: only a near spelling helps then.
            all_of_them = not self.faulty.get(section)
            near = nearest(name, sorted(known), or_all=all_of_them)
            hint = f"say which one: {copies[0]!r} for example" if copies else near
            self.add(
                part, f"there is no {word} of this name", *path, found=f"got {name!r}", hint=hint or otherwise
            )
        return False


def gather(source: Source, problems: Problems) -> Parts:
    """Return the parts of a room file that have the right shape; note what is wrong with the others."""
    parts = Parts(source, problems)
    _head(parts)
    for section, (word, model) in SECTIONS.items():
        parts.sections[section] = list(_section(parts, section, word, model))
    return parts


def _head(parts: Parts) -> None:
    data: dict[str, object] = {key: value for key, value in parts.source.data.items() if key not in SECTIONS}
    stand_ins: dict[str, object] = {
        "fish_room": "?",
        "keeper": {"move_days": ["saturday"]},
        "vessels": [{"name": "?", "kind": "rearing", "inside": "1 x 1 m", "flow": "still"}],
        "lines": [{"name": "?", "species": "?", "rules": "?"}],
    }
    data |= {key: stand_ins[key] for key in NEEDED}
    try:
        head = RoomFile.model_validate(data)
    except ValidationError as error:
        note_shape(error, parts, (), "the room file", RoomFile)
        bad = {str(detail["loc"][0]) for detail in error.errors()}
        parts.today_is_faulty = "today" in bad
        kept = {key: value for key, value in data.items() if key not in bad and key in RoomFile.model_fields}
        head = RoomFile.model_validate(stand_ins | kept)
    parts.fish_room, parts.today, parts.keeper = head.fish_room, head.today, head.keeper
    parts.conditions = head.conditions
    if head.gallon is not None:
        parts.gallon = "us" if head.gallon.value == "us" else "imperial"


def _section(parts: Parts, section: str, word: str, model: type[R]) -> Iterator[Placed[R]]:
    data, loc = parts.source.data, (section,)
    items = data.get(section)
    if section not in data and section in NEEDED:
        parts.problems.add(parts.source.top, f"{section!r} is missing", hint=f"list at least one {word}")
    elif section in data and items is None and section in NEEDED:
        parts.problems.add(parts.source.line(loc), f"{section!r} is empty", hint=f"list at least one {word}")
    elif items is not None and not isinstance(items, list):
        hint = f"begin each {word} with a hyphen"
        parts.problems.add(
            parts.source.line(loc), f"{section!r} must be a list", found=_found(items), hint=hint
        )
    if not isinstance(items, list):
        return
    sound: set[str | None] = set()
    for number, item in enumerate(items):
        placed = _placed(parts, (section, number), _called(word, section, item, number), item, model)
        name, faulty = _own_name(item), parts.faulty.setdefault(section, set())
        # What is said of two sound parts of one name, the section itself knows best.
        twice = name in faulty and name not in sound if placed else name in faulty | sound
        if twice and name is not None:
            line = parts.source.line((section, number, "name"))
            parts.problems.add(line, f"{_called(word, section, item, number)}: the name is used twice")
        if placed:
            sound.add(name)
            yield placed
        elif name is not None:
            faulty.add(name)


def _placed(parts: Parts, loc: Loc, called: str, item: object, model: type[R]) -> Placed[R] | None:
    try:
        return Placed(model.model_validate(item), loc, called)
    except ValidationError as error:
        note_shape(error, parts, loc, called, model)
        if isinstance(item, dict):
            bad = frozenset(str(detail["loc"][0]) for detail in error.errors() if detail["loc"])
            parts.unsound.append((str(loc[0]), Unsound(item, loc, called, bad)))
        return None


def _own_name(item: object) -> str | None:
    try:
        return read_name(item.get("name")) if isinstance(item, dict) else None
    except NotReadError:
        return None


def _called(word: str, section: str, item: object, number: int) -> str:
    key = {"could_add": "like", "pins": "brood"}.get(section, "name")
    try:
        name = read_name(item[key]) if isinstance(item, dict) else None
    except (KeyError, NotReadError):
        name = None
    if name is None:
        return f"{word} number {number + 1}"
    return f"pin of {name!r}" if section == "pins" else f"{word} {name!r}"


def note_shape(error: ValidationError, parts: Parts, loc: Loc, called: str, model: type[Raw]) -> None:
    """Note what pydantic found wrong with the shape of a part, in plain words."""
    for detail in error.errors():
        what, found, hint = _plain_words(detail, model)
        here = tuple(key for key in detail["loc"] if key != "[key]")
        missing = detail["type"] == "missing"
        where = (*loc, *(here[:-1] if missing else here))
        whole = (*loc, *here)
        if where in parts.source.refused or whole in parts.source.refused:
            continue
        of_keeper = here[:1] == ("keeper",) and whole != ("keeper",)
        name = _key_name(here[1:] if of_keeper else here)
        text = f"{name} {what}" if name else what
        # A workbook has a cell also for what is missing.
        line = parts.source.line(whole)
        parts.problems.add(line, f"{'keeper' if of_keeper else called}: {text}", found=found, hint=hint)


def _key_name(loc: Loc) -> str:
    """Return the key in question as the keeper wrote it, with what it belongs to."""
    return ".".join(key for key in loc if isinstance(key, str))


def _plain_words(detail: ErrorDetails, model: type[Raw]) -> tuple[str, str | None, str | None]:
    kind, value = detail["type"], detail["input"]
    if kind == "missing":
        return "is missing", None, None
    if kind == "extra_forbidden":
        comma = value is None and str(detail["loc"][-1]).isdigit()  # {ph: 7,2} is two keys
        hint = "a number takes a decimal point, not a comma" if comma else _near_key(detail["loc"], model)
        return "is not a key that is known here", None, hint
    if kind == "value_error":
        cause = detail.get("ctx", {}).get("error")
        if isinstance(cause, WrongValueError) and cause.found is not None:
            return cause.what, cause.found, cause.hint
        if isinstance(cause, NotReadError):
            what = cause.what if cause.what.startswith("must") else f"cannot be read: {cause.what}"
            return what, _found(value), cause.hint
    if kind == "too_short":
        return "must not be empty", None, None
    plain = {
        "model_type": "must be keys and values",
        "model_attributes_type": "must be keys and values",
        "dict_type": "must be keys and values",
        "list_type": "must be a list",
    }
    return plain.get(kind, str(detail["msg"]).lower()), _found(value), None


def _near_key(loc: Loc, model: type[Raw]) -> str | None:
    """Return a hint with the nearest key that is known where an unknown one stands."""
    known = _keys_at(loc[:-1], model.model_json_schema(by_alias=True))
    return nearest(str(loc[-1]), known) or "known keys: " + ", ".join(known)


def _keys_at(loc: Loc, schema: dict[str, object]) -> list[str]:
    """Return the keys that the schema knows at a place; alternatives are all looked into."""
    nodes: list[object] = [schema]
    for step in loc:
        nodes = [inner for node in _resolved(nodes, schema) for inner in _step(node, step)]
    return sorted({key for node in _resolved(nodes, schema) for key in _properties(node)})


def _resolved(nodes: list[object], schema: dict[str, object]) -> Iterator[dict[str, object]]:
    for node in nodes:
        if not isinstance(node, dict):
            continue
        defs = schema.get("$defs")
        if "$ref" in node and isinstance(defs, dict):
            yield from _resolved([defs[str(node["$ref"]).rsplit("/", 1)[-1]]], schema)
        options = node.get("anyOf")
        if isinstance(options, list):
            yield from _resolved(options, schema)
        yield node


def _properties(node: dict[str, object]) -> dict[str, object]:
    properties = node.get("properties")
    return properties if isinstance(properties, dict) else {}


def _step(node: dict[str, object], step: str | int) -> Iterator[object]:
    if isinstance(step, int):
        yield node.get("items")
        yield node
    elif step in _properties(node):
        yield _properties(node)[step]
    else:
        yield node.get("additionalProperties")


def _found(value: object) -> str:
    if value is None:
        return "got nothing"
    if isinstance(value, WrittenInt | WrittenFloat):
        return f"got {value.written}"
    if isinstance(value, bool):
        return f"got {str(value).lower()}"
    if isinstance(value, list):
        return "got a list"
    if isinstance(value, dict):
        return "got keys and values"
    text = repr(value)
    return f"got {text}" if len(text) <= LONGEST_FOUND else f"got {text[:LONGEST_FOUND]}..."
