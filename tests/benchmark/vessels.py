"""The vessels of the rooms: containers, ten-gallon tanks and long tanks, or many sizes of each."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil

from allocator.room import Addable, Vessel
from allocator.rules import FlowSetting
from allocator.rules import VesselKind as Kind

MOST_COPIES = 500
"""The room file takes no more copies of one vessel, and no more to add; farms declare several rows."""


@dataclass(frozen=True)
class Sort:
    """Vessels of one make: inside length, width and depth of water in cm, and the price of one more (invented)."""

    name: str
    kind: Kind
    cm: tuple[float, float, float]
    price: float

    @property
    def litres(self) -> float:
        """Water volume."""
        return self.cm[0] * self.cm[1] * self.cm[2] / 1000

    def vessel(self, name: str, declared_as: str) -> Vessel:
        """Return one of them."""
        lowest, highest = FLOW[self.kind]
        length, width, depth = (side * 10 for side in self.cm)
        return Vessel(
            name=name,
            declared_as=declared_as,
            kinds=(self.kind,),
            length_mm=length,
            width_mm=width,
            depth_mm=depth,
            flow_lowest=lowest,
            flow_highest=highest,
            filtered=self.kind is not Kind.HATCHERY,
            snail_free=self.kind is Kind.HATCHERY,
        )


FLOW = {
    Kind.HATCHERY: (FlowSetting.STILL, FlowSetting.GENTLE),
    Kind.REARING: (FlowSetting.STILL, FlowSetting.NORMAL),
    Kind.GROW_OUT: (FlowSetting.GENTLE, FlowSetting.STRONG),
}

SORTS = (
    Sort("box", Kind.HATCHERY, (30, 20, 14), 5),
    Sort("ten", Kind.REARING, (50, 25, 27), 40),
    Sort("long", Kind.GROW_OUT, (90, 45, 33), 120),
)

UNLIKE = (
    Sort("box", Kind.HATCHERY, (30, 20, 14), 5),
    Sort("small box", Kind.HATCHERY, (26, 20, 13), 4),
    Sort("tub", Kind.HATCHERY, (36, 22, 14), 9),
    Sort("ten", Kind.REARING, (50, 25, 27), 40),
    Sort("cube", Kind.REARING, (30, 30, 28), 35),
    Sort("fifteen", Kind.REARING, (60, 30, 28), 55),
    Sort("twenty", Kind.REARING, (75, 30, 30), 70),
    Sort("long", Kind.GROW_OUT, (90, 45, 33), 120),
    Sort("narrow long", Kind.GROW_OUT, (90, 30, 33), 95),
    Sort("four foot", Kind.GROW_OUT, (120, 45, 38), 170),
    Sort("shallow long", Kind.GROW_OUT, (100, 45, 24), 100),
)


def sample_of(sorts: Sequence[Sort], kind: Kind) -> Vessel:
    """Return the vessel to count in: the first of its kind."""
    return next(sort for sort in sorts if sort.kind is kind).vessel("sample", "sample")


def vessels_of(
    sorts: Sequence[Sort], copies: Mapping[Kind, int], at_least: Mapping[str, int]
) -> tuple[Vessel, ...]:
    """Return the vessels of a room: so many of each kind, shared out over its sorts, and at least those in use."""
    found: list[Vessel] = []
    for sort in sorts:
        many = max(copies_of(sorts, sort, copies[sort.kind]), at_least.get(sort.name, 0))
        found += [vessel_number(sort, number, many) for number in range(1, many + 1)]
    return tuple(found)


def vessel_number(sort: Sort, number: int, of: int) -> Vessel:
    """Return one of several vessels of a sort; as a room file would name them."""
    row = (number - 1) // MOST_COPIES
    declared = sort.name if row == 0 else f"{sort.name} {'abcdefgh'[row]}"
    name = f"{declared} {number - row * MOST_COPIES}"
    alone = min(of - row * MOST_COPIES, MOST_COPIES) == 1
    return sort.vessel(name, name if alone else declared)


def copies_of(sorts: Sequence[Sort], sort: Sort, of_kind: int) -> int:
    """Return how many of the vessels of a kind are of one sort: the earlier sorts get what is left over."""
    same = [other for other in sorts if other.kind is sort.kind]
    place = same.index(sort)
    return of_kind // len(same) + (place < of_kind % len(same))


def offers_of(sorts: Sequence[Sort], vessels: Sequence[Vessel]) -> tuple[Addable, ...]:
    """Return what can be added: each sort of which there is one, at its price, and plenty of it."""
    declared = {vessel.declared_as for vessel in vessels}
    many = {sort.kind: sum(1 for vessel in vessels if sort.kind in vessel.kinds) for sort in sorts}
    likes = {
        sort: next((like for like in (sort.name, f"{sort.name} 1") if like in declared), None)
        for sort in sorts
    }
    return tuple(
        Addable(like=like, price=sort.price, most=min(MOST_COPIES, max(6, ceil(many[sort.kind] / 2))))
        for sort, like in likes.items()
        if like is not None
    )
