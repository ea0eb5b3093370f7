"""Vessels and shelves: copies spelled out, water depth worked out, sizes that cannot be true refused."""

from collections.abc import Iterator

from allocator.problems import nearest
from allocator.reading.gather import Parts, Placed
from allocator.reading.shape import (
    FilterKind,
    RawConditions,
    RawExcept,
    RawPlace,
    RawRack,
    RawSpan,
    RawVessel,
)
from allocator.reading.unsound import check_copy_numbers
from allocator.room import Conditions, Shelf, Span, Vessel
from allocator.units import NotReadError, cm_and_inches, read_litres

# Bounds that no vessel of a fish room leaves (judgement): they catch a wrong unit or a slipped decimal point.
SHORTEST_SIDE_MM, LONGEST_SIDE_MM = 30.0, 10_000.0
SHALLOWEST_MM, DEEPEST_MM = 10.0, 3_000.0

MM3_PER_LITRE = 1e6


def shelves_of(parts: Parts) -> tuple[Shelf, ...]:
    """Return the shelves of every rack; two of one name are a problem."""
    racks: set[str] = set()
    shelves: dict[tuple[str, str], Shelf] = {}
    for part in parts.each(RawRack):
        if part.raw.name in racks:
            parts.add(part, "the name is used twice", "name")
        racks.add(part.raw.name)
        for number, shelf in enumerate(part.raw.shelves):
            key = (part.raw.name, shelf.name)
            if key in shelves:
                parts.add(part, f"shelf {shelf.name!r} is there twice", "shelves", number)
            shelves[key] = Shelf(rack=part.raw.name, name=shelf.name, rated_kg=shelf.rated_kg)
    return tuple(shelves.values())


def vessels_of(parts: Parts, shelves: tuple[Shelf, ...]) -> tuple[Vessel, ...]:
    """Return every single vessel; copies are named with their numbers."""
    vessels: dict[str, Vessel] = {}
    declared: set[str] = set()
    for part in parts.each(RawVessel):
        if part.raw.name in declared:
            parts.add(part, "the name is used twice", "name", hint="give each entry a name of its own")
            continue
        declared.add(part.raw.name)
        for vessel in _copies(part, parts):
            if vessel.name in vessels:
                other = vessels[vessel.name].declared_as
                parts.add(
                    part, f"two vessels would be named {vessel.name!r}", found=f"the other is of {other!r}"
                )
            vessels[vessel.name] = vessel
        _check_places(part, parts, shelves)
    return tuple(vessels.values())


def vessel_names(parts: Parts, vessels: tuple[Vessel, ...]) -> set[str]:
    """Return every name that a vessel has, or would have if it could be read."""
    return {vessel.name for vessel in vessels} | parts.faulty.get("vessels", set())


def span_of(raw: RawSpan | None, part: Placed[RawVessel], parts: Parts, *path: str | int) -> Span:
    """Return a span; one that ends before it begins is a problem."""
    if raw is None:
        return Span()
    if raw.from_ is not None and raw.until is not None and raw.until <= raw.from_:
        parts.add(part, "until must be after from", *path, "until", found=f"{raw.from_} to {raw.until}")
    return Span(start=raw.from_, end=raw.until)


def conditions_of(*said: RawConditions | None) -> Conditions:
    """Return conditions key by key: from whoever says it first, the nearest first."""

    def first(key: str) -> float | None:
        found = (getattr(raw, key) for raw in said if raw is not None)
        return next((value for value in found if value is not None), None)

    percent, days = first("water_change_percent"), first("water_change_days")
    return Conditions(
        temperature_c=first("temperature_c"),
        ph=first("ph"),
        change_share=None if percent is None else percent / 100,
        change_days=None if days is None else int(days),
    )


def _copies(part: Placed[RawVessel], parts: Parts) -> Iterator[Vessel]:
    raw = part.raw
    changed = _exceptions(part, parts)
    depth = _depth_mm(part, parts)
    _check_sides(part, parts)
    for copy in range(1, raw.copies + 1):
        place, other = changed.get(copy, (0, None))
        own_depth = depth
        if other is not None and other.water_depth is not None:
            own_depth = other.water_depth
            _check_depth(own_depth, part, parts, "except", place, "water_depth")
        filter_ = other.filter if other is not None and other.filter is not None else raw.filter
        flow = other.flow if other is not None and other.flow is not None else raw.flow
        where = other.place if other is not None and other.place is not None else raw.place
        snail_free = (
            other.snail_free if other is not None and other.snail_free is not None else raw.snail_free
        )
        own = other.conditions if other is not None else None
        if other is not None and other.available is not None:
            available = span_of(other.available, part, parts, "except", place, "available")
        else:
            available = Span(start=raw.available.from_, end=raw.available.until)
        yield Vessel(
            name=raw.name if raw.copies == 1 else f"{raw.name} {copy}",
            declared_as=raw.name,
            kinds=tuple(dict.fromkeys([raw.kind, *raw.also_for])),
            length_mm=raw.inside[0],
            width_mm=raw.inside[1],
            depth_mm=own_depth,
            flow_lowest=flow[0],
            flow_highest=flow[1],
            filtered=filter_.kind is not FilterKind.NONE,
            feed_g_per_day=filter_.feed_g_per_day,
            filter_since=filter_.since,
            conditions=conditions_of(own, raw.conditions, parts.conditions),
            snail_free=snail_free,
            available=available,
            rack=where.rack if where else None,
            shelf=where.shelf if where else None,
            empty_kg=raw.empty_weight_kg,
        )


def _exceptions(part: Placed[RawVessel], parts: Parts) -> dict[int, tuple[int, RawExcept]]:
    raw = part.raw
    span_of(raw.available, part, parts, "available")
    if raw.filter.kind is FilterKind.NONE and raw.filter.feed_g_per_day is not None:
        parts.add(part, "no filter takes any feed", "filter", hint="leave feed_g_per_day out")
    if raw.filter.kind is FilterKind.NONE and raw.filter.since is not None:
        parts.add(part, "there is no filter that could be new", "filter", hint="leave since out")
    numbers = [other.copy_ for other in raw.except_]
    check_copy_numbers(numbers, raw.copies, part, parts)
    return {other.copy_: (place, other) for place, other in enumerate(raw.except_)}


def _depth_mm(part: Placed[RawVessel], parts: Parts) -> float:
    raw = part.raw
    if raw.water is not None and raw.water_depth is not None:
        parts.add(part, "give water_depth or water, not both", "water")
    elif raw.water_depth is not None:
        _check_depth(raw.water_depth, part, parts, "water_depth")
        return raw.water_depth
    elif raw.water is None:
        hint = "write for example water_depth: 27 cm, or water: 34 l"
        parts.add(part, "the water depth is missing", hint=hint)
    else:
        try:
            litres = read_litres(raw.water, parts.gallon)
        except NotReadError as error:
            what = f"water cannot be read: {error.what}"
            parts.add(part, what, "water", found=f"got {raw.water!r}", hint=error.hint)
        else:
            depth = litres * MM3_PER_LITRE / max(raw.inside[0] * raw.inside[1], 1.0)
            _check_depth(depth, part, parts, "water")
            return depth
    return SHALLOWEST_MM


def _check_sides(part: Placed[RawVessel], parts: Parts) -> None:
    bad = [side for side in part.raw.inside if not SHORTEST_SIDE_MM <= side <= LONGEST_SIDE_MM]
    if bad:
        what = "inside cannot be true: a side must be from 3 cm to 10 m"
        parts.add(part, what, "inside", found=f"got {cm_and_inches(bad[0])}", hint="check the unit")


def _check_depth(depth: float, part: Placed[RawVessel], parts: Parts, *path: str | int) -> None:
    if not SHALLOWEST_MM <= depth <= DEEPEST_MM:
        what = "the water depth cannot be true: it must be from 1 cm to 3 m"
        parts.add(part, what, *path, found=f"got {cm_and_inches(depth)}", hint="check the unit")


def _check_places(part: Placed[RawVessel], parts: Parts, shelves: tuple[Shelf, ...]) -> None:
    spots: list[tuple[RawPlace, tuple[str | int, ...]]] = []
    if part.raw.place is not None:
        spots.append((part.raw.place, ("place",)))
    spots += [
        (other.place, ("except", number, "place"))
        for number, other in enumerate(part.raw.except_)
        if other.place is not None
    ]
    if not parts.source.data.get("racks"):
        return
    racks = sorted({shelf.rack for shelf in shelves} | parts.faulty.get("racks", set()))
    for spot, path in spots:
        if spot.rack not in racks:
            parts.add(part, "no such rack", *path, found=f"got {spot.rack!r}", hint=nearest(spot.rack, racks))
            continue
        there = [shelf.name for shelf in shelves if shelf.rack == spot.rack]
        if spot.shelf is not None and there and spot.shelf not in there:
            what = f"no such shelf in rack {spot.rack!r}"
            parts.add(part, what, *path, found=f"got {spot.shelf!r}", hint=nearest(spot.shelf, there))
