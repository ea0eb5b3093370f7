"""Cautions, each for the place in the output where it matters. They give no doses and judge no floor."""

from collections import defaultdict

from allocator.reports.tables import Column, clean, paragraph, table
from allocator.reports.words import count_of, joined, listed, weight_words
from allocator.room import Room, Vessel
from allocator.units import Gallon, litres_and_gallons

KG_PER_LITRE = 1.0
"""Fresh water, rounded up: 0.997 kg at 25 C and 1.000 at 4 C (Tanaka et al. 2001; from memory)."""

LIMITS_CAUTION = (
    "Limits are for planning and are not targets: what a water test says comes before what the plan says."
)

WATER_CAUTION = (
    "Water and mains: switch off and unplug heaters, pumps and lamps before hands or nets go in, let "
    "every cord hang "
    "in a loop below its socket so that drips fall off, run the rack behind a residual-current "
    "device (GFCI or RCD), "
    "and leave new circuits to a licensed electrician (common practice; your local code decides)."
)

AIR_CAUTION = (
    "One tripped switch can stop the air for a whole rack: an alarm and an air pump on a battery "
    "cover for it "
    "(common practice)."
)

SELLING_CAUTION = (
    "Selling and keeping: whether you may keep, breed, sell or send these fish differs from place to "
    "place, and some "
    "rules cover the young of listed species too. Ask your own authority; this is not legal advice. "
    "Never release "
    "fish, eggs, plants or tank water outdoors."
)

WELFARE_CAUTION = (
    "Fish without a home: do not start what cannot be housed. Leave out a collection, or have a "
    "taker agreed, before "
    "the eggs are set up (common practice)."
)

_FLOOR_CAUTION = (
    "This is an estimate and says nothing about whether a shelf or a floor will hold it. Compare "
    "each shelf with the "
    "evenly spread load that its maker states with all shelves full, keep heavy tanks low, fix racks "
    "to the wall, and "
    "have floor, joists and supports judged by a qualified person. Design figures for floors are for "
    "a load spread "
    "over a whole room, and a rack stands on a small part of it; your local building code decides."
)

COLUMNS = (
    Column("place", least=12),
    Column("vessels", right=True),
    Column("weight, filled", least=16),
    Column("load you state", least=16),
)


def filled_kg(vessel: Vessel) -> float:
    """Return the weight of a vessel filled to its water depth, with its empty weight where known."""
    return vessel.litres * KG_PER_LITRE + (vessel.empty_kg or 0.0)


def weight_caution(room: Room, gallon: Gallon | None = None) -> str:
    """Return what each shelf and rack carries when its vessels are filled, and what that figure is worth.

    Parameters
    ----------
    room
        With the vessels to be added, if there are any: they are listed on a line of their own.
    """
    if not room.vessels:
        return ""
    shelves: dict[tuple[str, str], list[Vessel]] = defaultdict(list)
    for vessel in room.vessels:
        shelves[vessel.rack or "", vessel.shelf or ""].append(vessel)
    rated = {(shelf.rack, shelf.name): shelf.rated_kg for shelf in room.shelves}
    rows, over = [], []
    for rack in dict.fromkeys(rack for rack, _ in shelves):
        of_rack = [(shelf, there) for (name, shelf), there in shelves.items() if name == rack]
        for shelf, there in of_rack:
            stated = rated.get((rack, shelf))
            rows.append(_row(_place(rack, shelf), there, stated))
            if stated is not None and _total_kg(there) > stated:
                over.append(_place(rack, shelf))
        if rack and len(of_rack) > 1:
            rows.append(_row(f"rack {clean(rack)}, all of it", [v for _, there in of_rack for v in there]))
    heaviest = max(room.vessels, key=filled_kg)
    head = (
        f"Weight of filled vessels. The heaviest is {clean(heaviest.name)}, "
        f"{litres_and_gallons(heaviest.litres, gallon)}: {weight_words(filled_kg(heaviest))}."
    )
    unknown = sum(vessel.empty_kg is None for vessel in room.vessels)
    counted = (
        "Counted: water at 1 kg a litre up to the water depth, and the empty vessels where the room "
        "file says what they weigh."
    )
    if unknown:
        counted += f" For {count_of(unknown, 'vessel')} it does not, so there the glass comes on top."
    counted += " Gravel, stands, filters and covers always come on top."
    if over:
        head += f" More than the load you state: {joined(over)}."
    return "\n".join([paragraph(head), _table(rows), paragraph(counted), paragraph(_FLOOR_CAUTION)])


def _place(rack: str, shelf: str) -> str:
    names = [f"rack {clean(rack)}"] if rack else []
    names += [f"shelf {clean(shelf)}"] if shelf else []
    return ", ".join(names) or "not placed in a rack"


def _table(rows: list[tuple[str, ...]]) -> str:
    columns = COLUMNS if any(row[-1] for row in rows) else COLUMNS[:-1]
    return table(columns, [row[: len(columns)] for row in rows], indent="  ")


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
        load = f"{weight_words(stated)}: {_total_kg(vessels) / stated * 100:.0f} % used"
    return place, str(len(vessels)), words, load


def plan_cautions(room: Room, *, sells: bool, homeless: bool) -> list[str]:
    """Return the cautions for a plan, each a paragraph without its wrapping."""
    cautions = [LIMITS_CAUTION, WATER_CAUTION, AIR_CAUTION]
    if homeless:
        cautions.append(WELFARE_CAUTION)
    if sells:
        species = listed(sorted({line.species for line in room.lines}))
        cautions.append(f"{SELLING_CAUTION} In this room: {species}.")
    return cautions
