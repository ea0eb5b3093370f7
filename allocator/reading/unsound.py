"""What can still be checked of a part whose shape is wrong, so that its other faults are told at once."""

from collections.abc import Collection, Mapping

from allocator.reading.fields import read_name
from allocator.reading.gather import Parts, Placed, R, Unsound
from allocator.reading.shape import MOST_COPIES, Raw
from allocator.units import NotReadError

REFERENCES = {
    "breeding_groups": {"line": "lines", "lives_in": "vessels"},
    "broods": {"line": "lines", "parents": "breeding_groups", "lives_in": "vessels"},
}
"""The keys that name something of another section."""


def check_unsound(parts: Parts, known: Mapping[str, Collection[str]]) -> None:
    """Note names that are nowhere in the file, and copies that are not there. `known` has the names by section."""
    for section, unsound in parts.unsound:
        part = Placed(Raw(), unsound.loc, unsound.called)
        for key, other in REFERENCES.get(section, {}).items():
            name = None if key in unsound.bad else _name(unsound.item.get(key))
            if name is not None:
                parts.knows(part, other, name, known[other], key)
        if section == "vessels" and "copies" not in unsound.bad:
            _check_copies(unsound, part, parts)


def _name(value: object) -> str | None:
    try:
        return read_name(value)
    except NotReadError:
        return None


def _check_copies(unsound: Unsound, part: Placed[Raw], parts: Parts) -> None:
    copies, others = unsound.item.get("copies", 1), unsound.item.get("except")
    if not isinstance(copies, int) or not isinstance(others, list):
        return
    numbers = [other.get("copy") if isinstance(other, dict) else None for other in others]
    check_copy_numbers([number if _is_copy(number) else None for number in numbers], copies, part, parts)


def _is_copy(number: object) -> bool:
    return isinstance(number, int) and not isinstance(number, bool) and 1 <= number <= MOST_COPIES


def check_copy_numbers(numbers: Collection[object], copies: int, part: Placed[R], parts: Parts) -> None:
    """Note copies in `except` that are not there or are named twice; None stands for one that is no number."""
    seen: set[object] = set()
    for place, number in enumerate(numbers):
        if isinstance(number, int) and number > copies:
            found = f"copy {number} of {copies}"
            hint = (
                f"the copies are 1 to {copies}"
                if copies > 1
                else "there is one copy: change the vessel itself"
            )
            parts.add(part, "except names a copy that is not there", "except", place, found=found, hint=hint)
        if number is not None and number in seen:
            parts.add(part, f"except names copy {number} twice", "except", place)
        seen.add(number)
