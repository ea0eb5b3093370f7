"""A plan file back to a plan: every problem is collected, with its line."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

from allocator.frozen import Frozen
from allocator.plan import FORMAT, Added, FlowChange, Homeless, Move, NotTaken, Plan, Stay, Verdict
from allocator.problems import Problems, display_path, nearest
from allocator.reading.json_lines import load_json
from allocator.reading.source import Loc, Source
from allocator.rules import FlowSetting
from allocator.units import NotReadError, read_date

MOST_FISH = 10_000_000
FIRST_YEAR, LAST_YEAR = 1970, 2100
"""Days outside these years are slips of the pen, and would take the checker hours to walk through."""

SETTINGS = {setting.word: setting for setting in FlowSetting}
VERDICTS = {verdict.value: verdict for verdict in Verdict}
HEAD = ("verdict", "proven")


class PlanReading(Frozen):
    """What a plan file says.

    `digest` is the fingerprint of the inputs it was made from, "" if it has none; `as_it_is` the plan with
    what is there, if the file has one.
    """

    plan: Plan
    digest: str = ""
    as_it_is: Plan | None = None


def read_plan(path: Path) -> PlanReading:
    """
    Read a plan file.

    Raises
    ------
    InputError
        With every problem of the file.
    """
    problems = Problems(display_path(path))
    source = load_json(path, problems)
    if source is None:
        problems.raise_errors()
        raise AssertionError  # pragma: no cover - no source, so there was a problem
    reader = _Reader(source, problems)
    reader.check_format()
    known = ("format", *HEAD, *ROWS, "versions", "input_digest", "with_what_you_have")
    fields = reader.plan_fields((), known)
    digest = reader.digest()
    nested = None
    if source.data.get("with_what_you_have") is not None:
        nested = reader.plan_fields(("with_what_you_have",), (*HEAD, *ROWS))
    problems.raise_errors()
    return PlanReading(plan=Plan(**fields), digest=digest, as_it_is=Plan(**nested) if nested else None)


class _BadValueError(Exception):
    def __init__(self, what: str, found: object, hint: str | None = None) -> None:
        super().__init__(what)
        self.what, self.found, self.hint = what, found, hint


def _name(value: object) -> str:
    if not isinstance(value, str):
        raise _BadValueError("must be a name", value, "write it in quotes")
    if not value.strip():
        raise _BadValueError("must not be empty", value)
    return value


def _name_or_null(value: object) -> str | None:
    return None if value is None else _name(value)


def _day(value: object) -> date:
    if not isinstance(value, str):
        raise _BadValueError("must be a date", value, 'write for example "2027-01-09"')
    try:
        day = read_date(value)
    except NotReadError as error:
        raise _BadValueError(f"cannot be used: {error.what}", value, error.hint) from None
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise _BadValueError(f"must lie in the years {FIRST_YEAR} to {LAST_YEAR}", value)
    return day


def _count(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise _BadValueError("must be a whole number", value)
    if not 0 <= value <= MOST_FISH:
        raise _BadValueError(f"must be from 0 to {MOST_FISH}", value)
    return value


def _setting(value: object) -> FlowSetting:
    if not isinstance(value, str) or value not in SETTINGS:
        raise _BadValueError("is not a flow setting", value, nearest(str(value), list(SETTINGS)))
    return SETTINGS[value]


Field = Callable[[object], Any]

ROWS: dict[str, tuple[type[Frozen], dict[str, Field]]] = {
    "added": (Added, {"like": _name, "copies": _count, "from": _day}),
    "stays": (
        Stay,
        {"lot": _name, "brood": _name, "vessel": _name, "from": _day, "until": _day, "fish": _count},
    ),
    "moves": (
        Move,
        {
            "on": _day,
            "lot": _name,
            "brood": _name,
            "from": _name_or_null,
            "to": _name_or_null,
            "fish": _count,
        },
    ),
    "flow": (FlowChange, {"vessel": _name, "from": _day, "setting": _setting}),
    "homeless": (Homeless, {"brood": _name, "from": _day, "until": _day, "fish": _count}),
    "not_taken": (NotTaken, {"brood": _name, "on": _day, "eggs": _count}),
}

MAY_BE_MISSING = ("not_taken",)
"""Only where something is not taken is it listed."""


class _Reader:
    """Turns plain data into the parts of a plan."""

    def __init__(self, source: Source, problems: Problems) -> None:
        self.source, self.problems = source, problems

    def check_format(self) -> None:
        """Note a plan file of another format."""
        found = self.source.data.get("format")
        if found != FORMAT or isinstance(found, bool):
            what = "this plan file is of a format that cannot be read"
            hint = f'this version reads "format": {FORMAT}'
            self._add(("format",), what, "no format" if found is None else found, hint)

    def digest(self) -> str:
        """Return the fingerprint of the inputs."""
        found = self.source.data.get("input_digest", "")
        if not isinstance(found, str):
            self._add(("input_digest",), "input_digest must be text in quotes", found)
            return ""
        versions = self.source.data.get("versions", {})
        if not isinstance(versions, dict):
            self._add(("versions",), "versions must be names and versions in braces", versions)
        return found

    def plan_fields(self, loc: Loc, known: tuple[str, ...]) -> dict[str, Any]:
        """Return what makes a plan, from the top of the file or from a plan within it."""
        data: Any = self.source.data
        for part in loc:
            data = data[part]
        if not isinstance(data, dict):
            self._add(loc, f"{loc[-1]} must be a plan in braces, or null", data)
            return {}
        self._unknown(loc, data, known)
        for key in (*HEAD, *ROWS):
            if key not in data and key not in MAY_BE_MISSING:
                self._add(loc, f"the key {key!r} is missing")
        fields = self._head(loc, data)
        for key in ROWS:
            if key in data:
                fields[key] = self._table((*loc, key), key, data[key])
        return fields

    def _head(self, loc: Loc, data: dict[str, Any]) -> dict[str, Any]:
        fields: dict[str, Any] = {}
        if "verdict" in data:
            found = data["verdict"]
            if isinstance(found, str) and found in VERDICTS:
                fields["verdict"] = VERDICTS[found]
            else:
                hint = nearest(str(found), list(VERDICTS))
                self._add((*loc, "verdict"), "verdict is not one that is known", found, hint)
        if "proven" in data:
            fields["proven"] = data["proven"]
            if not isinstance(data["proven"], bool):
                self._add((*loc, "proven"), "proven must be true or false", data["proven"])
        return fields

    def _table(self, loc: Loc, key: str, rows: object) -> tuple[Frozen, ...]:
        if not isinstance(rows, list):
            self._add(loc, f"{key} must be a list in brackets", rows)
            return ()
        made = (self._row((*loc, number), key, row) for number, row in enumerate(rows))
        return tuple(row for row in made if row is not None)

    def _row(self, loc: Loc, key: str, row: object) -> Frozen | None:
        kind, fields = ROWS[key]
        if not isinstance(row, dict):
            self._add(loc, f"{key}: a row must be keys and values in braces", row)
            return None
        self._unknown(loc, row, tuple(fields))
        values: dict[str, Any] = {}
        for name, read in fields.items():
            if name not in row:
                self._add(loc, f"{key}: the key {name!r} is missing")
                continue
            try:
                values[name] = read(row[name])
            except _BadValueError as error:
                self._add((*loc, name), f"{key}: {name} {error.what}", error.found, error.hint)
        return kind(**values) if len(values) == len(fields) else None

    def _unknown(self, loc: Loc, row: dict[str, Any], known: tuple[str, ...]) -> None:
        for key in row:
            if key not in known:
                self._add((*loc, key), f"the key {key!r} is not known", hint=nearest(key, list(known)))

    def _add(self, loc: Loc, what: str, found: object = None, hint: str | None = None) -> None:
        shown = None if found is None else f"got {found!r}"[:60]
        self.problems.add(self.source.line(loc), what, found=shown, hint=hint)
