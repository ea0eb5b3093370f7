"""Vessels of one class side by side: who is in each of them, slot by slot."""

from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np

from allocator.model.settled import Place
from allocator.needs import CAPS, Bools, Ints, VesselClass


@dataclass
class Slotted:
    """One vessel with its occupants: (brood, place, whether it must be alone).

    `row` is its place in the rank of its class.
    """

    name: str
    kind: VesselClass
    new: bool
    row: int
    load: Ints
    comfort: Ints
    heads: Ints
    occupants: list[tuple[int, Place, bool]] = field(default_factory=list)
    found: dict[int, Ints] = field(default_factory=dict)


class Rank:
    """All vessels of one class, in the order in which they are tried.

    Attributes
    ----------
    heads
        How many lots are in each vessel in each slot; each vessel's own `heads` is a row of it.
    kept
        How many lots keep each vessel from strangers in each slot: they are in it, or it is cleaned after them.
    lots
        How many lots are in each vessel at any time.
    new
        Which vessels are added.
    stays_of
        For each line the vessels that hold it at any time, by row, and from which slot until which its lots are there.
    """

    def __init__(self, kind: VesselClass, names: list[tuple[str, bool]], slots: int) -> None:
        self.kind = kind
        self.heads = np.zeros((len(names), slots), dtype=np.int64)
        self.kept = np.zeros((len(names), slots), dtype=np.int64)
        self.lots = np.zeros(len(names), dtype=np.int64)
        self.new = np.array([new for _, new in names], dtype=np.bool_)
        self.stays_of: dict[str, dict[int, list[tuple[int, int]]]] = defaultdict(dict)
        load, comfort = np.zeros((2, len(names), CAPS, slots), dtype=np.int64)
        self.vessels = [
            Slotted(name, kind, new, row, load[row], comfort[row], self.heads[row])
            for row, (name, new) in enumerate(names)
        ]

    def empty(self, start: int, end: int) -> Bools:
        """Return for each vessel whether nobody is in it from one slot to another; also when there are no slots."""
        nobody: Bools = np.logical_not(self.heads[:, start : max(start, end)].any(axis=1))
        return nobody

    def with_lines(self, lines: tuple[str, ...], start: int, end: int) -> list[int]:
        """Return the vessels that hold any of these lines at any time from one slot to another, by row."""
        return sorted(
            {
                row
                for line in lines
                for row, stays in self.stays_of[line].items()
                if any(since <= end and until >= start for since, until in stays)
            }
        )

    def note(self, line: str, row: int, stay: tuple[int, int]) -> None:
        """Note that a lot of a line comes to a vessel."""
        self.stays_of[line].setdefault(row, []).append(stay)

    def forget(self, line: str, row: int, stay: tuple[int, int]) -> None:
        """Note that a lot of a line does not come after all."""
        stays = self.stays_of[line][row]
        stays.remove(stay)
        if not stays:
            del self.stays_of[line][row]
