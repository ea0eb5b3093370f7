"""Who stays as settled while a few broods are settled anew by the solver: then a large room is a small question."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from allocator.model.settled import Place
from allocator.needs import Bools, Ints, Needs, VesselClass

Stay = tuple[int, Place]
"""A brood, by index, and where a part of it is."""


@dataclass(frozen=True)
class Stretch:
    """A stretch of use of one vessel, as far as it is used by those who stay.

    Attributes
    ----------
    kind
        The class of the vessel.
    home
        The name of the vessel, where those who are settled anew are found in it today.
    members
        Who stays, by index in the tables of the whole room.
    load, comfort
        What they take of it, shape (caps, slots).
    there
        In which slots any of them is there.
    kept
        In which slots they keep the vessel from strangers: they are there, or it is cleaned after them.
    closed
        For each brood that is settled anew and may come to them at all, by its index in the tables of the model: in
        which slots it must not be there beside them.
    """

    kind: VesselClass
    home: str | None
    members: tuple[Stay, ...]
    load: Ints
    comfort: Ints
    there: Bools
    kept: Bools
    closed: Mapping[int, Bools]


@dataclass(frozen=True)
class Laid:
    """All who stay as settled.

    Attributes
    ----------
    stretches
        The stretches of use that others may come to.
    busy
        For each class: how many vessels they use, or are cleaned after them, by slot.
    moves
        How many moves they make, by slot.
    """

    stretches: tuple[Stretch, ...] = ()
    busy: Mapping[int, Ints] = field(default_factory=lambda: MappingProxyType({}))
    moves: Ints | None = None


NOBODY = Laid()


def in_stretches(needs: Needs, stays: Iterable[Stay]) -> list[list[Stay]]:
    """Cut what is in one vessel where it stands empty for longer than it takes to clean it."""
    found: list[list[Stay]] = []
    reach, clean = -1, needs.days[0]
    for brood, place in sorted(stays, key=lambda stay: (stay[1].start, stay[0], stay[1].phase)):
        # before it is clean only its own line may follow, so it is the same stretch
        if found and (place.start <= reach or needs.days[place.start] < clean):
            found[-1].append((brood, place))
        else:
            found.append([(brood, place)])
        reach = max(reach, place.end)
        clean = max(clean, needs.clean_from(needs.broods[brood], place.end))
    return found
