"""The frozen set: forty rooms, and the best that is known of each, in `frozen.csv` beside this module.

A best value is only ever replaced by a lower one and a bound by a higher one. A bound above a value is a fault of the
planner, and is refused loudly.
"""

import csv
from dataclasses import asdict, dataclass, fields, replace
from hashlib import sha256
from pathlib import Path

from allocator.room import Room
from benchmark.room_file import as_file
from benchmark.rooms import CHARACTERS, SIZES, bench_room

FILE = Path(__file__).parent / "frozen.csv"

SEEDS = {"home": 12, "club": 14, "farm": 9, "large-farm": 5}
"""How many rooms of each size: the characters in turn, with seed 1, then with seed 2."""

CENT = 0.005


@dataclass(frozen=True)
class Known:
    """What is known of one room: a row of the CSV. Empty text where nothing is known yet.

    Attributes
    ----------
    digest
        A fingerprint of the room and of the figures of its packs: values of another room do not count.
    added
        Vessels that the best plan adds.
    value, bound
        Cost of the added vessels: of the best plan, and the least that any plan can cost.
    proven
        yes where value and bound meet.
    value_by, bound_by
        How they were found: the command, its seconds by the clock, the day and the version.
    """

    room: str
    digest: str = ""
    vessels: str = ""
    broods: str = ""
    added: str = ""
    value: str = ""
    bound: str = ""
    proven: str = ""
    value_by: str = ""
    bound_by: str = ""


COLUMNS = tuple(field.name for field in fields(Known))


class ContradictionError(Exception):
    """A bound lies above a value: one of them is wrong."""


def names() -> list[str]:
    """Return the names of all rooms of the set, in order of size."""
    found = []
    for size, many in SEEDS.items():
        kinds = list(CHARACTERS)
        found += [f"{size}-{kinds[n % len(kinds)]}-{n // len(kinds) + 1}" for n in range(many)]
    return found


def parts_of(name: str) -> tuple[str, str, int]:
    """Return character, size and seed of a room by its name: `club-tight-longs-3`."""
    size = next((size for size in sorted(SIZES, key=len, reverse=True) if name.startswith(f"{size}-")), "")
    character, _, seed = name.removeprefix(f"{size}-").rpartition("-")
    if not size or character not in CHARACTERS or not seed.isdigit():
        raise KeyError(name)
    return character, size, int(seed)


def size_of(name: str) -> str:
    """Return the size of a room by its name."""
    return parts_of(name)[1]


def room_named(name: str) -> Room:
    """Return a room by its name."""
    return bench_room(*parts_of(name))


def digest_of(room: Room) -> str:
    """Return a fingerprint of a room and of the figures in force in it."""
    whole = sha256(as_file(room).encode())
    for pack in sorted({line.rules.name: line.rules for line in room.lines}.items()):
        whole.update(repr([(name, figure.value) for name, figure in pack[1].figures()]).encode())
    return whole.hexdigest()[:12]


def read_known(file: Path = FILE) -> dict[str, Known]:
    """Return the rows of the CSV by room."""
    if not file.exists():
        return {}
    with file.open(encoding="utf-8", newline="") as lines:
        return {row["room"]: Known(**row) for row in csv.DictReader(lines)}


def write_known(known: dict[str, Known], file: Path = FILE) -> None:
    """Write the rows in the order of the set; of rooms of which nothing is known, the name; others after them."""
    others = sorted(set(known) - set(names()))
    rows = [known.get(name, Known(name)) for name in (*names(), *others)]
    with file.open("w", encoding="utf-8", newline="") as lines:
        out = csv.DictWriter(lines, COLUMNS, lineterminator="\n")
        out.writeheader()
        out.writerows(asdict(row) for row in rows)


def better(known: Known, found: Known) -> Known:
    """Return what is known with what was found, where that is better.

    Raises
    ------
    ContradictionError
        If a bound lies above a value.
    """
    if known.digest != found.digest:  # the room has changed since, or nothing was known
        known = replace(found, value="", bound="", added="", value_by="", bound_by="")
    if found.value and (not known.value or float(found.value) < float(known.value) - CENT):
        known = replace(known, value=found.value, added=found.added, value_by=found.value_by)
    if found.bound and (not known.bound or float(found.bound) > float(known.bound) + CENT):
        known = replace(known, bound=found.bound, bound_by=found.bound_by)
    if known.value and known.bound and float(known.bound) > float(known.value) + CENT:
        raise ContradictionError(
            f"{known.room}: bound {known.bound} ({known.bound_by}) is above "
            f"value {known.value} ({known.value_by})"
        )
    met = known.value and known.bound and float(known.bound) >= float(known.value) - CENT
    return replace(known, proven="yes" if met else "no" if known.value else "")
