"""A room file to a room: every problem of every part is found before any is told."""

from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from pathlib import Path

from allocator.problems import Problem, Problems, display_path
from allocator.reading.broods import broods_of
from allocator.reading.forewarned import check_filters, check_snails, check_warmth
from allocator.reading.gather import Parts, Placed, gather
from allocator.reading.lines import lines_of
from allocator.reading.odd import oddities
from allocator.reading.orders import kept_orders, promises_of
from allocator.reading.planned import groups_of, planned_of
from allocator.reading.shape import RawBrood, RawGroup, RawKeeper
from allocator.reading.source import Source, load_yaml, read_bytes
from allocator.reading.unsound import check_unsound
from allocator.reading.vessels import conditions_of, shelves_of, vessels_of
from allocator.reading.wishes import could_add_of, kept_pins, wishes_of
from allocator.room import Brood, Keeper, Line, Room, Span
from allocator.rules import RulePack
from allocator.units import Gallon

LONGEST_AWAY_DAYS = 366
MOST_BROODS = 10_000
BOOK_ENDINGS = (".xlsx", ".xlsm")
LARGEST_BOOK_BYTES = 10_000_000
"""A room of ten thousand broods with their counts takes one million."""


@dataclass(frozen=True)
class RoomReading:
    """A room and what is to be said about its file.

    `digest` is a fingerprint of everything that was read: the bytes of the room file, and the packs.
    """

    room: Room
    warnings: list[Problem]
    digest: str
    gallon: Gallon | None


def read_room(path: Path, *, today: date | None = None) -> RoomReading:
    """
    Read a room file and the rule packs that it uses.

    Parameters
    ----------
    path
        A YAML file, or a workbook.
    today
        Counts before the day in the file; without either it is the day on the clock.

    Raises
    ------
    InputError
        With all problems at once.
    """
    problems = Problems(display_path(path))
    return room_of(load_room(path, problems), path, problems, today)


def room_of(source: Source, path: Path, problems: Problems, today: date | None) -> RoomReading:
    """
    Return the room that the data of a file tell of: see `read_room`.

    Parameters
    ----------
    source
        The data.
    path
        Where packs are looked for from.
    problems
        What was found already.
    today
        Counts before the day in the data.

    Raises
    ------
    InputError
        With all problems at once.
    """
    parts = gather(source, problems)
    if today is not None:
        parts.today_is_faulty = False
    day = today or parts.today or date.today()  # noqa: DTZ011 - the keeper's own day is meant
    lines, packs = lines_of(parts, path)
    room = _room(parts, lines, day)
    problems.raise_errors()
    assert room is not None  # noqa: S101 - without problems there is a room
    return RoomReading(room, problems.warnings, _digest(source.content, packs), parts.gallon)


OF_A_PLAN = frozenset({"verdict", "stays", "moves"})
"""Keys by which a plan file is known where a room file is asked for."""


def load_room(path: Path, problems: Problems) -> Source:
    """
    Return the plain data of a room file: YAML, or a workbook, by the ending of its name.

    Raises
    ------
    InputError
        If nothing can be made of the file.
    """
    if path.suffix.lower() in BOOK_ENDINGS:
        from allocator.workbook.room_in import load_book  # noqa: PLC0415 - slow to import, and few rooms need it

        content = read_bytes(path, problems, LARGEST_BOOK_BYTES)
        source = None if content is None else load_book(content, problems)
    else:
        source = load_yaml(path, problems)
    if source is not None and source.data.keys() >= OF_A_PLAN and "fish_room" not in source.data:
        hint = "give the room file here, and the plan where a plan file is asked for"
        problems.add(source.top, "this is a plan file, not a room file", hint=hint)
        source = None
    if source is None:
        problems.raise_errors()
        raise AssertionError("a file that cannot be read has a problem")
    return source


def _room(parts: Parts, lines: tuple[Line, ...], today: date) -> Room | None:
    keeper = _keeper(parts)
    shelves = shelves_of(parts)
    vessels = vessels_of(parts, shelves)
    vessel_named = {vessel.name: vessel for vessel in vessels}
    line_named = {line.name: line for line in lines}
    groups = groups_of(parts, line_named, vessel_named)
    names = {"lines": list(line_named), "breeding_groups": [part.raw.name for part in parts.each(RawGroup)]}
    check_unsound(parts, names | {"vessels": list(vessel_named)})
    if parts.today_is_faulty:
        return None
    in_being = broods_of(parts, today, line_named, vessel_named, groups)
    left_out: dict[str, str] = {}
    broods = _all_broods(parts, in_being, keeper, today, left_out)
    could_add = could_add_of(parts, vessels)
    wishes = wishes_of(parts, broods, left_out, vessel_named)
    promises = promises_of(parts, broods, left_out)
    if parts.problems.errors:
        return None
    room = Room(
        name=parts.fish_room,
        today=today,
        keeper=keeper,
        vessels=vessels,
        lines=lines,
        groups=groups,
        broods=tuple(broods.values()),
        could_add=could_add,
        notes=tuple(f"brood {name!r} is left out: {why}" for name, why in left_out.items()),
        shelves=shelves,
        conditions=conditions_of(parts.conditions),
    )
    check_warmth(parts, line_named)
    check_filters(parts, today)
    check_snails(parts, line_named, vessel_named, groups, broods)
    for name, what, found, hint in oddities(room):
        parts.add(in_being[name][0], what, found=found, hint=hint, warn=True)
    return room.model_copy(
        update={"pins": kept_pins(wishes, room, parts), "orders": kept_orders(promises, room, parts)}
    )


def _keeper(parts: Parts) -> Keeper:
    raw = parts.keeper
    assert isinstance(raw, RawKeeper)  # noqa: S101 - a stand-in takes the place of a faulty one
    part = Placed(raw, ("keeper",), "keeper")
    for number, away in enumerate(raw.away):
        found = f"{away.from_} to {away.until}"
        if away.until <= away.from_:
            parts.add(part, "until must be after from", "away", number, "until", found=found)
        elif (away.until - away.from_).days > LONGEST_AWAY_DAYS:
            parts.add(part, "away for more than a year", "away", number, found=found, hint="check the year")
    return Keeper(
        move_days=tuple(sorted(set(raw.move_days))),
        most_moves_a_day=raw.most_moves_a_day,
        away=tuple(Span(start=away.from_, end=away.until) for away in raw.away),
        survival=raw.plan_on.survival,
        growth=raw.plan_on.growth,
    )


def _all_broods(
    parts: Parts,
    in_being: dict[str, tuple[Placed[RawBrood], Brood]],
    keeper: Keeper,
    today: date,
    left_out: dict[str, str],
) -> dict[str, Brood]:
    broods = {name: brood for name, (_, brood) in in_being.items()}
    for part, brood in planned_of(parts, today, keeper, left_out):
        if brood.name in broods:
            what = f"two broods would be named {brood.name!r}"
            parts.add(part, what, "collect", hint="give the collection another label")
        broods[brood.name] = brood
    if len(broods) > MOST_BROODS:
        parts.problems.add(parts.source.top, f"more than {MOST_BROODS} broods", found=f"got {len(broods)}")
    return broods


def _digest(content: bytes, packs: tuple[RulePack, ...]) -> str:
    """Return one fingerprint of the room file and of every pack, with whatever that pack is based on."""
    whole = sha256(sha256(content).digest())
    for one in sorted(sha256(pack.model_dump_json().encode()).digest() for pack in packs):
        whole.update(one)
    return whole.hexdigest()
