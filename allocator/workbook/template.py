"""The workbook that a new keeper starts from: the room of the starter, and an example in every sheet."""

from copy import deepcopy
from typing import Any

from openpyxl import Workbook

from allocator.problems import Problems
from allocator.reading.source import Plain, load_text
from allocator.reading.starter import starter_text
from allocator.workbook.room_out import room_book

CONDITIONS = {"temperature_c": 25, "ph": 7.4, "water_change_percent": 25, "water_change_days": 7}
PLACES = {"box": "top", "ten": "top", "long": "bottom", "breeder": "bottom"}
RACK = "back wall"


def template_data() -> dict[str, Plain]:
    """Return the starter's room with an example also of what the starter has in comments only."""
    source = load_text(starter_text(), Problems("starter"))
    assert source is not None  # noqa: S101 - a test reads it
    data: dict[str, Any] = deepcopy(source.data)
    data["conditions"] = dict(CONDITIONS)
    data["racks"] = [{"name": RACK, "shelves": [{"name": "top", "rated_kg": 150}, {"name": "bottom"}]}]
    for vessel in data["vessels"]:
        vessel["place"] = {"rack": RACK, "shelf": PLACES[vessel["name"]]}
        if vessel["name"] == "ten":
            vessel["also_for"] = ["grow-out"]
            vessel["except"] = [{"copy": 6, "available": {"from": "2027-02-06"}}]
    data["lines"][0]["change"] = {"sale_mm": {"value": 55, "why": "the club takes them at 55 mm"}}
    data["broods"].append(
        {
            "name": "B2",
            "line": "blue",
            "collected": "2026-10-10",
            "eggs": 40,
            "lives_in": [{"vessel": "ten 1", "fish": 9}, {"vessel": "ten 2", "fish": 9}],
            "counted": [{"on": "2027-01-09", "fish": 18, "mm": 25}],
        }
    )
    data["pins"] = [{"brood": "B1", "not_in": "ten 5"}]
    data["orders"] = [{"name": "club show", "fish": 6, "on": "2027-11-06", "from": ["B2"]}]
    return data


def template_book() -> Workbook:
    """Return the workbook to fill in."""
    return room_book(template_data())
