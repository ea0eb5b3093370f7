"""Published instances solved by the allocator's own core: its tables, bounds, first fit and constraint model.

    python -m tests.benchmark --instances FOLDER [--json] [--seconds S]

See docs/explanation/published-instances.md.
"""

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from threading import Event
from time import monotonic
from typing import Any

from allocator.level_one import cheapest
from allocator.model.bounds import cost_bound
from allocator.model.naming import Solution
from allocator.model.run import Run
from allocator.needs import Needs
from allocator.room import new_vessel_name
from benchmark.fish_tables import PRICE, comes_out_even, tables_of
from benchmark.published import Instance, InstanceError, faults, read_instance, to_skip

SECONDS = 60.0
"""For one file, unless told; what is proven sooner ends sooner (the slowest published one took 34, on a busy machine)."""

EFFORT = 25.0
"""So many times the usual work may be spent on a search: the clock is to end it."""

Row = dict[str, Any]


def files_in(folder: Path) -> Iterator[Path]:
    """Yield the files that may be instances, in order; what is passed over is named on stderr."""
    for file in sorted(path for path in folder.rglob("*") if path.is_file()):
        if to_skip(file):
            print(f"skipped: {file.relative_to(folder)}", file=sys.stderr)
        else:
            yield file


def main(argv: list[str]) -> int:
    """Do what the options ask for; return the exit code: 1 where a file is broken or a solution is wrong."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmark",
        description="Solve published instances with the allocator's own core.",
    )
    parser.add_argument(
        "--instances", type=Path, required=True, metavar="DIR", help="the folder of the files"
    )
    parser.add_argument("--json", action="store_true", help="print the rows as JSON")
    parser.add_argument("--seconds", type=float, default=SECONDS, help=f"for each file ({SECONDS:g})")
    asked = parser.parse_args(argv)
    rows = run(asked.instances, asked.seconds, as_json=asked.json)
    return int(any("error" in row for row in rows))


def run(folder: Path, seconds: float = SECONDS, *, as_json: bool = False) -> list[Row]:
    """Solve every instance in a folder, print a row for each, and return the rows.

    Parameters
    ----------
    folder
        Searched with all its subfolders.
    seconds
        For each file, roughly.
    as_json
        Print one list as JSON on stdout, and nothing else there; progress goes to stderr.
    """
    if not folder.is_dir():
        raise SystemExit(f"there is no folder {folder}")
    rows: list[Row] = []
    try:
        for file in files_in(folder):
            row = row_of(file, str(file.relative_to(folder)), seconds)
            rows.append(row)
            print(_line(row), file=sys.stderr if as_json else sys.stdout, flush=True)
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
    if as_json:
        print(json.dumps(rows, indent=1))
    else:
        print(_summary(rows))
    return rows


def row_of(file: Path, name: str, seconds: float) -> Row:
    """Return what comes of one file; one that is broken has an `error`."""
    started = monotonic()
    row: Row = {"file": name, "lower": None, "upper": None, "proven": False, "seconds": 0.0}
    try:
        instance = read_instance(file)
        row |= solve(instance, seconds)
    except InstanceError as error:
        row["error"] = str(error)
    except Exception as error:  # noqa: BLE001 - one file must not end the rest
        row["error"] = f"{type(error).__name__}: {error}"
    row["seconds"] = round(monotonic() - started, 2)
    return row


def solve(instance: Instance, seconds: float) -> Row:
    """Return the bounds on the fewest tanks; `upper` is that of a solution that was checked from the file's numbers."""
    tables, copies, items = tables_of(instance)
    if not items:
        return {"lower": 0, "upper": 0, "proven": True}
    exact = comes_out_even(instance)
    lower = -(-cost_bound(tables if exact else tables_of(instance, up=False)[0]) // PRICE)
    started = monotonic()
    search = Run(
        room=tables.room,
        needs=tables,
        sure=tables,
        stop=Event(),
        deadline=started + seconds,
        started=started,
        progress=lambda _: None,
        keep=None,
        prefer=lambda _brood, _slot: None,
        effort=EFFORT,
    )
    found = cheapest(search)
    if found is None or found.score.homeless_fish_days > 0:
        return {"lower": lower, "upper": None, "proven": False, "note": "no solution found in time"}
    level = found.levels[-1]
    if exact:
        lower = max(lower, round(level.bound * 100) // PRICE)
    tanks, places = _tanks(tables, found.solution, copies, items)
    wrong = faults(instance, tanks, places)
    if wrong:
        return {"lower": lower, "upper": None, "proven": False, "error": "; ".join(wrong[:3])}
    return {
        "lower": lower,
        "upper": len(tanks),
        "proven": lower == len(tanks) and (level.proven or not exact),
    }


def _tanks(
    tables: Needs, solution: Solution, copies: list[list[int]], items: list[int]
) -> tuple[list[list[int]], list[int | None]]:
    """Return who is in each tank that is used, and which of the file's workers each tank is."""
    inside: dict[str, list[int]] = {}
    for item, settled in zip(items, solution.settled, strict=True):
        for place in settled.places:
            inside.setdefault(place.vessel, []).append(item)
    named: dict[str, int | None] = {}
    for kind, places in zip(tables.classes, copies, strict=True):
        for number, place in enumerate(places, 1):
            named[new_vessel_name(kind.like, number)] = place if tables.broods[0].phases[0].alone else None
    return list(inside.values()), [named[name] for name in inside]


def _line(row: Row) -> str:
    state = row.get("error") or ("proven" if row["proven"] else row.get("note", "open"))
    return f"{row['file']}: {row['lower']} to {row['upper']}, {state}, {row['seconds']:.1f} s"


def _summary(rows: list[Row]) -> str:
    proven = sum(row["proven"] for row in rows)
    broken = sum("error" in row for row in rows)
    return f"{len(rows)} files: {proven} proven, {len(rows) - proven - broken} open, {broken} broken"
