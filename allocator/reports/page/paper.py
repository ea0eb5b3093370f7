"""Whether all days of the rack fit on one sheet of paper, side by side. Measured on printed sheets; the eye decides."""

from collections.abc import Sequence
from math import ceil

from allocator.reports.page.facts import LotShown, RackDay, ShelfShown, VesselShown
from allocator.reports.tables import display_width

SHEET_MM = 225.0
"""Height of a Letter sheet below the heading, the lower of the two papers."""

SIDE_BY_SIDE = 2
DAY_MM, RACK_MM, LABELS_MM, WATER_MM, LINE_MM = 12.0, 5.0, 11.0, 9.0, 2.9
"""Height of what a day, a rack and a row of vessels have on top of their fish, of a vessel, and of a line in it."""

IN_A_ROW = {"low": 5, "mid": 5, "high": 3}
LETTERS = {"low": 11, "mid": 11, "high": 18}
"""How many vessels of a size stand side by side, and how many letters fit into one."""


def fits_a_sheet(days: Sequence[RackDay]) -> bool:
    """Tell whether all days can be printed on one sheet."""
    high = [
        max(map(day_mm, days[start : start + SIDE_BY_SIDE])) for start in range(0, len(days), SIDE_BY_SIDE)
    ]
    return sum(high) <= SHEET_MM


def day_mm(day: RackDay) -> float:
    """Return how high a day is on paper, at half the width of a sheet."""
    notes = len(day.notes) * LINE_MM * SIDE_BY_SIDE
    return DAY_MM + notes + sum(RACK_MM + sum(map(_shelf_mm, rack.shelves)) for rack in day.racks)


def _shelf_mm(shelf: ShelfShown) -> float:
    many = IN_A_ROW[shelf.vessels[0].size]
    starts = range(0, len(shelf.vessels), many)
    return sum(LABELS_MM + max(map(_vessel_mm, shelf.vessels[start : start + many])) for start in starts)


def _vessel_mm(vessel: VesselShown) -> float:
    letters = LETTERS[vessel.size]
    texts = [*map(_lot_text, vessel.lots), *(f"{name} {people}" for name, people in vessel.groups)]
    return max(WATER_MM, LINE_MM * sum(ceil(display_width(text) / letters) for text in texts))


def _lot_text(lot: LotShown) -> str:
    return f"   {lot.name} {lot.heads}, 35 mm"
