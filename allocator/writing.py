"""A plan as files: JSON to read back and to compare, CSV for a spreadsheet. Same plan, same bytes."""

import csv
import errno
import json
import os
from collections.abc import Iterable, Mapping
from importlib.metadata import PackageNotFoundError, version
from io import StringIO
from pathlib import Path
from secrets import token_hex
from typing import Any

from allocator import __version__
from allocator.plan import FORMAT, Plan
from allocator.problems import InputError, Problem, display_path

Row = dict[str, Any]

STARTS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""What makes a spreadsheet take a cell for a formula (OWASP, "CSV Injection"); the last four are wide forms."""

COLUMNS = {
    "stays": ("lot", "brood", "vessel", "from", "until", "fish"),
    "moves": ("on", "lot", "brood", "from", "to", "fish"),
    "flow": ("vessel", "from", "setting"),
    "homeless": ("brood", "from", "until", "fish"),
    "added": ("like", "copies", "from"),
    "not_taken": ("brood", "on", "eggs"),
}
"""The parts of a plan file and their keys, in order."""

ONLY_IF_ANY = ("not_taken",)
"""Parts that a plan file has only where there is something to list."""

NOT_HERE = ("no permission to write here", "choose another folder")

PLAIN_WORDS = {
    errno.ENOSPC: ("the disk is full", "make room and try again"),
    errno.EDQUOT: ("the disk quota is used up", "make room and try again"),
    errno.EROFS: ("the disk can only be read", "choose another folder"),
    errno.EACCES: NOT_HERE,
    errno.EPERM: NOT_HERE,
    errno.ENOENT: ("there is no such folder", "make it first"),
    errno.ENOTDIR: ("part of the path is a file, not a folder", "check the path"),
    errno.EISDIR: ("this is a folder, not a file", "give the name of a file"),
    errno.EEXIST: ("this is a file", "give a folder"),
    errno.ENAMETOOLONG: ("the name is too long", "choose a shorter one"),
    errno.EIO: ("the disk reports a fault", "choose another disk"),
}
"""What has gone wrong and what would help, for the errors that a keeper can meet."""


def versions_in_use() -> dict[str, str]:
    """Return the versions that a plan depends on, without loading anything."""
    found = {"allocator": __version__}
    try:
        found["ortools"] = version("ortools")
    except PackageNotFoundError:
        return found
    return found


def plan_json(
    plan: Plan,
    digest: str,
    *,
    as_it_is: Plan | None = None,
    versions: Mapping[str, str] | None = None,
) -> str:
    """
    Return a plan file: one row a line, in a fixed order, so that two plans can be compared line by line.

    Parameters
    ----------
    plan
        The plan to follow.
    digest
        A fingerprint of the inputs.
    as_it_is
        The best that can be done with what is there; None when `plan` adds nothing.
    versions
        By name; those in use unless given.
    """
    head = {"format": FORMAT, **_head(plan)}
    tail = {
        "versions": dict(sorted((versions_in_use() if versions is None else versions).items())),
        "input_digest": digest,
    }
    lines = [*_fields(head), *_tables(plan), *_fields(tail)]
    if as_it_is is None:
        lines.append('"with_what_you_have": null')
    else:
        inner = [*_fields(_head(as_it_is)), *_tables(as_it_is)]
        body = ",\n".join(inner).replace("\n", "\n  ")
        lines.append(f'"with_what_you_have": {{\n  {body}\n}}')
    body = ",\n".join(lines).replace("\n", "\n  ")
    return f"{{\n  {body}\n}}\n"


def plan_csv(plan: Plan, folder: Path) -> list[Path]:
    """
    Write stays.csv, moves.csv, flow.csv, homeless.csv, added.csv and not_taken.csv, and return their paths.

    UTF-8 with a header line. A name that a spreadsheet would take for a formula, because it starts with = + -
    @ a tab or a carriage return, gets an apostrophe before it, so the CSV files are for looking at: read a
    plan back from its JSON.

    Raises
    ------
    InputError
        If the folder cannot be made or a file cannot be written.
    """
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise InputError([_problem(folder, error)]) from error
    paths = []
    for table, rows in _rows(plan).items():
        text = StringIO()
        writer = csv.writer(text)
        writer.writerow(COLUMNS[table])
        writer.writerows([_cell(row[column]) for column in COLUMNS[table]] for row in rows)
        path = folder / f"{table}.csv"
        write_atomically(path, text.getvalue())
        paths.append(path)
    return paths


def write_atomically(path: Path, content: str | bytes) -> None:
    """
    Write a file, text as UTF-8, all of it or nothing: an older file stays as it was when anything goes wrong.

    Raises
    ------
    InputError
        If it cannot be written: a full or read-only disk, no such folder, a folder of that name.
    """
    try:
        data = content.encode("utf-8") if isinstance(content, str) else content
        target = Path(os.path.realpath(path))  # a link goes on pointing where it does
        if target.is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        if target.exists() and not target.is_file():
            target.write_bytes(data)  # a device or a pipe cannot be replaced
            return
        _replace(target, data)
    except (OSError, ValueError) as error:
        raise InputError([_problem(path, error)]) from error


def write_once(path: Path, content: bytes) -> None:
    """
    Write a file that is not there yet, all of it or nothing: what is begun is taken away when anything goes wrong.

    Raises
    ------
    FileExistsError
        If it is there already; it stays as it was.
    InputError
        If it cannot be written.
    """
    try:
        file = path.open("xb")
        try:
            with file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
        except BaseException:  # Ctrl-C too: half a file would stand in the way of the next try
            path.unlink(missing_ok=True)
            raise
    except FileExistsError:
        raise
    except (OSError, ValueError) as error:
        raise InputError([_problem(path, error)]) from error


def _replace(target: Path, content: bytes) -> None:
    draft = target.parent / f".{token_hex(8)}.part"
    try:
        with draft.open("xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        if target.exists():
            draft.chmod(target.stat().st_mode & 0o777)
        draft.replace(target)
    finally:
        draft.unlink(missing_ok=True)


def _problem(path: Path, error: OSError | ValueError) -> Problem:
    if isinstance(error, OSError):
        reason, hint = plain_words(error)
    else:
        reason, hint = "no file can have such a name", "choose another one"
    return Problem(display_path(path), 1, "the file cannot be written", reason, hint)


def plain_words(error: OSError) -> tuple[str, str | None]:
    """Return what has gone wrong and what would help, without the numbers of the system."""
    words = PLAIN_WORDS.get(error.errno or 0)
    return words or ((error.strerror or "the system gives no reason").lower(), None)


def _head(plan: Plan) -> Row:
    return {"verdict": plan.verdict.value, "proven": plan.proven}


def _rows(plan: Plan) -> dict[str, list[Row]]:
    """Return the tables of a plan as rows, each table sorted by its keys."""
    return {
        "added": _sorted(
            ({"like": a.like, "copies": a.copies, "from": a.from_.isoformat()} for a in plan.added),
            "like",
            "from",
            "copies",
        ),
        "stays": _sorted(
            (
                {
                    "lot": s.lot,
                    "brood": s.brood,
                    "vessel": s.vessel,
                    "from": s.from_.isoformat(),
                    "until": s.until.isoformat(),
                    "fish": s.fish,
                }
                for s in plan.stays
            ),
            "brood",
            "from",
            "lot",
            "vessel",
            "until",
            "fish",
        ),
        "moves": _sorted(
            (
                {
                    "on": m.on.isoformat(),
                    "lot": m.lot,
                    "brood": m.brood,
                    "from": m.from_,
                    "to": m.to,
                    "fish": m.fish,
                }
                for m in plan.moves
            ),
            "on",
            "brood",
            "lot",
            "from",
            "to",
            "fish",
        ),
        "flow": _sorted(
            ({"vessel": f.vessel, "from": f.from_.isoformat(), "setting": f.setting.word} for f in plan.flow),
            "vessel",
            "from",
            "setting",
        ),
        "homeless": _sorted(
            (
                {
                    "brood": h.brood,
                    "from": h.from_.isoformat(),
                    "until": h.until.isoformat(),
                    "fish": h.fish,
                }
                for h in plan.homeless
            ),
            "brood",
            "from",
            "until",
            "fish",
        ),
        "not_taken": _sorted(
            ({"brood": n.brood, "on": n.on.isoformat(), "eggs": n.eggs} for n in plan.not_taken),
            "on",
            "brood",
            "eggs",
        ),
    }


def _sorted(rows: Iterable[Row], *keys: str) -> list[Row]:
    def place(row: Row) -> tuple[tuple[bool, Any], ...]:
        return tuple((row[key] is not None, "" if row[key] is None else row[key]) for key in keys)

    return sorted(rows, key=place)


def _tables(plan: Plan) -> list[str]:
    tables = []
    for table, rows in _rows(plan).items():
        if not rows and table in ONLY_IF_ANY:
            continue
        body = ",\n".join(f"  {_value(row)}" for row in rows)
        tables.append(f'"{table}": [\n{body}\n]' if rows else f'"{table}": []')
    return tables


def _fields(fields: Row) -> list[str]:
    return [f"{_value(key)}: {_value(value)}" for key, value in fields.items()]


def _value(value: object) -> str:
    """Return JSON in one line; half of a character pair, which UTF-8 cannot hold, stays an escape."""
    text = json.dumps(value, ensure_ascii=False)
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return json.dumps(value)
    return text


def _cell(value: object) -> object:
    if value is None:
        return ""
    if isinstance(value, str):
        value = value.encode("utf-8", "replace").decode("utf-8")
        return f"'{value}" if value.startswith(STARTS_A_FORMULA) else value
    return value
