"""What each shelf and rack carries when its vessels are filled, beside the load that the keeper states."""

from collections import defaultdict

from allocator.reports.blocks import Block, Grid, blocks_text
from allocator.reports.tables import Column, clean
from allocator.reports.words import count_of, joined, weight_words
from allocator.room import Room, Vessel
from allocator.units import Gallon, litres_and_gallons, need_up

KG_PER_LITRE = 1.0
"""Fresh water, rounded up: 0.997 kg at 25 C and 1.000 at 4 C (Tanaka et al. 2001, Metrologia 38:301-309; the
constants from memory, checked against a printed table)."""

ALL = 100
"""Percent of a stated load."""

COLUMNS = (
    Column("place", least=12),
    Column("vessels", right=True),
    Column("weight, filled", least=16),
    Column("load you state", least=16),
)


def filled_kg(vessel: Vessel) -> float:
    """Return the weight of a vessel filled to its water depth, with its empty weight where known."""
    return vessel.litres * KG_PER_LITRE + (vessel.empty_kg or 0.0)


def percent_used(vessels: list[Vessel], rated_kg: float) -> int:
    """Return how much of a stated load filled vessels use, in percent, rounded up."""
    return need_up(_total_kg(vessels) / rated_kg * ALL)


def weights_text(room: Room, gallon: Gallon | None = None) -> str:
    """Return the weights as they are printed, or nothing; see `weights_blocks`."""
    blocks = weights_blocks(room, gallon)
    return "\n".join(blocks_text([block], indent="" if isinstance(block, str) else "  ") for block in blocks)


def weights_blocks(room: Room, gallon: Gallon | None = None) -> list[Block]:
    """Return what each shelf and rack carries when its vessels are filled, and what is counted.

    Parameters
    ----------
    room
        With the vessels to be added, if there are any: they are listed on a line of their own.
    """
    if not room.vessels:
        return []
    shelves, rated = _by_shelf(room), _rated(room)
    rows: list[tuple[str, ...]] = []
    for rack in dict.fromkeys(rack for rack, _ in shelves):
        of_rack = [(shelf, there) for (name, shelf), there in shelves.items() if name == rack]
        for shelf, there in of_rack:
            rows.append(_row(_place(rack, shelf), there, rated.get((rack, shelf))))
        if rack and len(of_rack) > 1:
            rows.append(_row(f"rack {clean(rack)}, all of it", [v for _, there in of_rack for v in there]))
    heaviest = max(room.vessels, key=filled_kg)
    head = (
        f"Weight of filled vessels. The heaviest is {clean(heaviest.name)}, "
        f"{litres_and_gallons(heaviest.litres, gallon)}: {weight_words(filled_kg(heaviest))}."
    )
    if over := overloaded(room):
        head += f" More than the load you state: {joined(over)}."
    return [head, _grid(rows), _counted(room)]


def overloaded(room: Room) -> list[str]:
    """Return the shelves of which the filled vessels weigh more than the load that the keeper states."""
    rated = _rated(room)
    return [
        _place(rack, shelf)
        for (rack, shelf), there in _by_shelf(room).items()
        if (stated := rated.get((rack, shelf))) is not None and percent_used(there, stated) > ALL
    ]


def overload_words(room: Room) -> list[str]:
    """Return what to look at first: each shelf that bears more than is stated."""
    return [f"{place}: its vessels weigh more, filled, than the load you state" for place in overloaded(room)]


def _by_shelf(room: Room) -> dict[tuple[str, str], list[Vessel]]:
    shelves: dict[tuple[str, str], list[Vessel]] = defaultdict(list)
    for vessel in room.vessels:
        shelves[vessel.rack or "", vessel.shelf or ""].append(vessel)
    return shelves


def _rated(room: Room) -> dict[tuple[str, str], float | None]:
    return {(shelf.rack, shelf.name): shelf.rated_kg for shelf in room.shelves}


def _counted(room: Room) -> str:
    counted = (
        "Counted: water at 1 kg a litre up to the water depth, and the empty vessels where the room "
        "file says what they weigh."
    )
    unknown = sum(vessel.empty_kg is None for vessel in room.vessels)
    if unknown:
        counted += f" For {count_of(unknown, 'vessel')} it does not, so there the glass comes on top."
    return counted + " Gravel, stands, filters and covers always come on top."


def _place(rack: str, shelf: str) -> str:
    names = [f"rack {clean(rack)}"] if rack else []
    names += [f"shelf {clean(shelf)}"] if shelf else []
    return ", ".join(names) or "not placed in a rack"


def _grid(rows: list[tuple[str, ...]]) -> Grid:
    columns = COLUMNS if any(row[-1] for row in rows) else COLUMNS[:-1]
    return Grid(columns, tuple(row[: len(columns)] for row in rows))


def _total_kg(vessels: list[Vessel]) -> float:
    return sum(map(filled_kg, vessels))


def _row(place: str, vessels: list[Vessel], stated: float | None = None) -> tuple[str, ...]:
    bare = sum(vessel.empty_kg is None for vessel in vessels)
    words = weight_words(_total_kg(vessels))
    if bare == len(vessels):
        words += ", water only"
    elif bare:
        words += f", glass of {bare} not counted"
    load = ""
    if stated is not None:
        least = "at least " if bare else ""
        load = f"{weight_words(stated)}: {least}{percent_used(vessels, stated)} % used"
    return place, str(len(vessels)), words, load
