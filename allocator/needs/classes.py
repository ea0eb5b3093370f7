"""Vessels grouped into classes that no rule can tell apart."""

from datetime import date, timedelta
from itertools import pairwise
from math import ceil

import numpy as np

from allocator.needs.tables import Bools, VesselClass
from allocator.room import Addable, BreedingGroup, Room, Span, Vessel


def classes_of(room: Room, days: tuple[date, ...]) -> tuple[VesselClass, ...]:
    """Group the vessels that no rule can tell apart.

    A vessel that a pin names is a class of its own, and one in which a breeding group guards its young.
    """
    named = {pin.vessel for pin in room.pins if pin.vessel is not None}
    named |= {group.vessel for group in room.groups if room.line_named[group.line].rules.guards_young}
    groups: dict[tuple[object, ...], list[Vessel]] = {}
    key: tuple[object, ...]
    for vessel in room.vessels:
        key = (
            _traits(vessel),
            there_in(room, vessel, days).tobytes(),
            vessel.name if vessel.name in named else "",
        )
        groups.setdefault(key, []).append(vessel)
    addable: dict[tuple[object, ...], tuple[Addable, Vessel]] = {}
    for offer in room.could_add:
        model = room.with_added({offer.like: 1}).vessels[-1]
        there = there_in(room, model, days)
        key = (_traits(model), there.tobytes(), "")
        if key in addable:  # two offers of equal vessels, at two prices perhaps
            key = (*key, offer.like)
        addable[key] = (offer, model)
        groups.setdefault(key, [])
    classes = []
    for index, (key, vessels) in enumerate(groups.items()):
        found = addable.get(key)
        sample = vessels[0] if vessels else found[1] if found else None
        assert sample is not None  # noqa: S101 - a group is made by a vessel or by an offer
        wanted = found[0] if found else None
        classes.append(
            VesselClass(
                index=index,
                sample=sample,
                names=tuple(v.name for v in vessels),
                there=there_in(room, sample, days),
                like=wanted.like if wanted else sample.declared_as,
                price=ceil(round(wanted.price * 100, 6)) if wanted else 0,
                most=wanted.most if wanted else 0,
            )
        )
    return tuple(classes)


def _traits(vessel: Vessel) -> tuple[object, ...]:
    return (
        frozenset(vessel.kinds),
        vessel.length_mm,
        vessel.width_mm,
        vessel.depth_mm,
        vessel.flow_lowest,
        vessel.flow_highest,
        vessel.filtered,
        vessel.feed_g_per_day,
        vessel.snail_free,
    )


def there_in(room: Room, vessel: Vessel, days: tuple[date, ...], young_of: str | None = None) -> Bools:
    """Tell for each slot whether a vessel stands ready during the whole slot: for broods, or the young of a line."""
    taken = [
        Span(start=group.lives_there.start, end=_cleaned_after(room, group))
        for group in room.groups
        if group.vessel == vessel.name and group.line != young_of
    ]
    available = vessel.available
    there = []
    for begin, end in pairwise(days):
        inside = (available.start is None or available.start <= begin) and (
            available.end is None or end <= available.end
        )
        free = all(
            (span.end is not None and span.end <= begin) or (span.start is not None and end <= span.start)
            for span in taken
        )
        there.append(inside and free)
    return np.array(there, dtype=np.bool_)


def _cleaned_after(room: Room, group: BreedingGroup) -> date | None:
    """Return the day from which a group's vessel is ready for broods: clean for a stranger, to be sure."""
    end = group.lives_there.end
    if end is None:
        return None
    return end + timedelta(days=ceil(room.line_named[group.line].rules.clean_out_days.value))
