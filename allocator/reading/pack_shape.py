"""Turn the plain data of a rule-pack file into a `RulePack`, noting every fault on the way.

A mapping anywhere in the file may carry `evidence`, `source` and `unit`; what stands below it inherits
them. A `source` may be a short key of the `sources` list at the top. A pack that is `based_on` another
gives only what differs: left-out keys keep the value of the other pack, a list replaces the whole list, and
a stage with a known name keeps what it does not say.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from math import isfinite
from types import NoneType, UnionType
from typing import get_args, get_origin

from allocator.frozen import Frozen
from allocator.problems import Problems, nearest
from allocator.reading.pack_units import UNITS, unit_of
from allocator.reading.source import Loc, Source
from allocator.rules import CareStep, Evidence, Figure, FlowSetting, RulePack, StageRule, label_of

SHARED_KEYS = ("evidence", "source", "unit")
FILE_KEYS = ("based_on", "sources", "figures")


@dataclass(frozen=True, slots=True)
class Inherited:
    """What a mapping passes on to what stands below it."""

    evidence: str | None = None
    source: str | None = None
    unit: str | None = None


@dataclass(slots=True)
class PackReader:
    """Reads one file. `base` is the pack it is based on, if any.

    `lines` tells where each number and each entry of a list stands.
    """

    source: Source
    problems: Problems
    origin: str
    base: RulePack | None = None
    lines: dict[str, int] = field(default_factory=dict)
    known_sources: dict[str, Inherited] = field(default_factory=dict)

    def read(self) -> RulePack | None:
        """Return the pack, or None when a part of it could not be read."""
        data = self.source.data
        before = len(self.problems.errors)
        self._read_sources(data.get("sources", {}))
        body = {key: value for key, value in data.items() if key not in FILE_KEYS}
        if self.base is not None:
            body.setdefault("name", self.origin)
        fields = self._read_fields(RulePack, body, (), "", Inherited(), self.base, extra=FILE_KEYS)
        if len(self.problems.errors) > before:
            return None
        return RulePack.model_validate(fields | {"origin": self.origin})

    def _line(self, loc: Loc) -> int:
        return self.source.line(loc)

    def _fault(self, loc: Loc, what: str, *, found: str | None = None, hint: str | None = None) -> None:
        self.problems.add(self._line(loc), what, found=found, hint=hint)

    def _read_sources(self, data: object) -> None:
        if not isinstance(data, Mapping):
            self._fault(("sources",), "sources must be a list of short keys", found=_shown(data))
            return
        for key, row in data.items():
            loc: Loc = ("sources", key)
            if isinstance(row, Mapping) and "evidence" in row:
                self._check_evidence(str(row["evidence"]), (*loc, "evidence"))
            if not isinstance(row, Mapping) or set(row) != {"evidence", "source"}:
                self._fault(
                    loc,
                    f"source {key!r} must have evidence and source, and nothing else",
                    found=_shown(row),
                    hint='write: key: {evidence: published, source: "author year, where"}',
                )
                continue
            self.known_sources[str(key)] = Inherited(str(row["evidence"]), str(row["source"]))

    def _check_evidence(self, word: str, loc: Loc) -> bool:
        known = [kind.value for kind in Evidence]
        if word in known:
            return True
        self._fault(loc, "unknown kind of evidence", found=_shown(word), hint=_choice(word, known))
        return False

    def _inherit(self, data: Mapping[str, object], loc: Loc, path: str, above: Inherited) -> Inherited:
        """Return what a mapping passes on: its own evidence, source and unit, else those from above."""
        evidence, source = data.get("evidence"), data.get("source")
        passed = above
        if evidence is not None:
            self._check_evidence(str(evidence), (*loc, "evidence"))
            key = None if source is None else str(source)
            text = self.known_sources[key].source if key in self.known_sources else key
            passed = Inherited(str(evidence), text)
        elif source is not None:
            key = str(source)
            if key not in self.known_sources:
                self._fault(
                    (*loc, "source"),
                    "a source needs its kind of evidence beside it, or must be a key of the sources list",
                    found=_shown(source),
                    hint=nearest(key, sorted(self.known_sources)),
                )
            # Passed on as memory, so that the fault is not told again for each number below.
            passed = self.known_sources.get(key, Inherited(Evidence.MEMORY.value, key))
        unit = data.get("unit")
        if unit is not None and str(unit) not in UNITS:
            self._fault(
                (*loc, "unit"), f"{path}: unknown unit", found=_shown(unit), hint=_near_unit(str(unit), path)
            )
        return Inherited(passed.evidence, passed.source, above.unit if unit is None else str(unit))

    def _read_fields(
        self,
        kind: type[Frozen],
        data: Mapping[str, object],
        loc: Loc,
        path: str,
        above: Inherited,
        base: object,
        extra: tuple[str, ...] = (),
    ) -> dict[str, object]:
        names = [name for name in kind.model_fields if not (kind is RulePack and name == "origin")]
        passed = self._inherit(data, loc, path, above) if loc else above
        shared = SHARED_KEYS if loc else ()
        for key in data:
            if key not in names and key not in shared:
                known = [*names, *shared, *extra]
                self._fault((*loc, key), "unknown key", found=_shown(key), hint=nearest(str(key), known))
                row = data[key]
                if isinstance(row, Mapping) and "evidence" in row:
                    self._check_evidence(str(row["evidence"]), (*loc, key, "evidence"))
        fields: dict[str, object] = {}
        for name in names:
            part = kind.model_fields[name]
            dotted = f"{path}.{name}" if path else name
            if name in data:
                value = self._read_part(
                    part.annotation, data[name], (*loc, name), dotted, passed, getattr(base, name, None)
                )
            elif base is not None:
                value = getattr(base, name)
            elif part.is_required():
                self._fault(loc, f"{dotted} is missing")
                continue
            else:
                continue
            fields[name] = value
        return fields

    def _read_part(
        self, kind: object, data: object, loc: Loc, path: str, above: Inherited, base: object
    ) -> object:
        if get_origin(kind) is UnionType:
            if data is None:
                return None
            kind = next(part for part in get_args(kind) if part is not NoneType)
        if get_origin(kind) is tuple:
            return self._read_list(get_args(kind)[0], data, loc, path, above, base)
        if kind is Figure:
            return self._read_figure(data, loc, path, above)
        if isinstance(kind, type) and issubclass(kind, Frozen):
            if not isinstance(data, Mapping):
                known = ", ".join(kind.model_fields)
                self._fault(loc, f"{path} must be a row", found=_shown(data), hint=f"with {known}")
                return None
            fields = self._read_fields(kind, data, loc, path, above, base)
            return kind.model_construct(_fields_set=set(fields), **fields)
        return self._read_word(kind, data, loc, path)

    def _read_list(
        self, kind: object, data: object, loc: Loc, path: str, above: Inherited, base: object
    ) -> tuple[object, ...]:
        if not isinstance(data, list) or not data:
            self._fault(loc, f"{path} must be a list with at least one entry", found=_shown(data))
            return ()
        named = kind in (StageRule, CareStep)
        below = base if named and isinstance(base, tuple) else ()
        known = {label_of(part, number): part for number, part in enumerate(below, start=1)}
        parts = []
        for number, row in enumerate(data):
            name = row.get("name") if isinstance(row, Mapping) else None
            label = str(name) if named and name is not None else str(number + 1)
            self.lines[f"{path}.{label}"] = self._line((*loc, number))
            parts.append(
                self._read_part(kind, row, (*loc, number), f"{path}.{label}", above, known.get(label))
            )
        return tuple(parts)

    def _read_word(self, kind: object, data: object, loc: Loc, path: str) -> object:
        if kind is bool:
            if not isinstance(data, bool):
                self._fault(loc, f"{path} must be true or false", found=_shown(data))
            return data
        if isinstance(kind, type) and issubclass(kind, Enum):
            known = [str(word.value) for word in kind]
            if str(data) not in known:
                self._fault(loc, f"{path} is unknown", found=_shown(data), hint=_choice(str(data), known))
                return None
            return kind(str(data))
        if not isinstance(data, str):
            self._fault(loc, f"{path} must be text", found=_shown(data), hint="write it in quotes")
        return data

    def _read_figure(self, data: object, loc: Loc, path: str, above: Inherited) -> Figure | None:
        self.lines[path] = self._line(loc)
        passed, value = above, data
        if isinstance(data, Mapping):
            for key in data:
                if key not in ("value", *SHARED_KEYS):
                    hint = nearest(str(key), ["value", *SHARED_KEYS])
                    self._fault((*loc, key), "unknown key", found=_shown(key), hint=hint)
            passed = self._inherit(data, loc, path, above)
            if "value" not in data:
                self._fault(loc, f"{path} has no value")
                return None
            value = data["value"]
            said, due = str(data.get("unit")), unit_of(path)[0]
            if said in UNITS and said != due:
                self._fault(
                    loc, f"{path} is in the wrong unit", found=_shown(said), hint=f"write it in {due}"
                )
                return None
        if passed.evidence is None and self.base is not None:
            passed = Inherited(
                Evidence.KEEPER.value, f"the keeper's own figure, in {self.origin}", passed.unit
            )
        number = self._read_number(value, loc, path)
        unit = self._read_unit(passed.unit, loc, path)
        if passed.evidence is None or not passed.source:
            self._fault(loc, f"{path} has no evidence and source beside it")
            return None
        if number is None or unit is None or passed.evidence not in set(Evidence):
            return None
        return Figure(
            value=number,
            unit=unit,
            evidence=Evidence(passed.evidence),
            source=passed.source,
            origin=self.origin,
        )

    def _read_number(self, value: object, loc: Loc, path: str) -> float | None:
        if path.startswith("flow.") and path.endswith((".comfort", ".limit")):
            known = [setting.word for setting in FlowSetting]
            if str(value) in known:
                return float(FlowSetting[str(value).upper()])
            self._fault(
                loc, f"{path} must be a flow setting", found=_shown(value), hint=_choice(str(value), known)
            )
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
            self._fault(loc, f"{path} must be a number", found=_shown(value))
            return None
        return float(value)

    def _read_unit(self, said: str | None, loc: Loc, path: str) -> str | None:
        due, must_say = unit_of(path)
        if said is None:
            if must_say and self.base is None:
                self._fault(loc, f"{path} has no unit beside it", hint=f"write: unit: {due}")
                return None
            return due
        # A row's unit is that of the figures whose name does not say theirs.
        if must_say and said in UNITS and said != due:
            self._fault(loc, f"{path} is in the wrong unit", found=_shown(said), hint=f"write it in {due}")
            return None
        return due


def _near_unit(said: str, path: str) -> str | None:
    try:
        return f"write it in {unit_of(path)[0]}"
    except KeyError:  # a row of several figures
        return nearest(said, sorted(UNITS))


def _choice(word: str, known: list[str]) -> str:
    return nearest(word, known) or "use one of: " + ", ".join(known)


def _shown(value: object) -> str:
    text = "nothing" if value is None else repr(value)
    return f"got {text if len(text) <= 60 else text[:57] + '...'}"  # noqa: PLR2004 - one short line
