"""Vessels of one class side by side: who is in each of them, slot by slot."""

from collections import Counter, defaultdict
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
    rows_of
        For each line the vessels that hold it at any time, by row, and how many lots of it.
    """

    def __init__(self, kind: VesselClass, names: list[tuple[str, bool]], slots: int) -> None:
        self.heads = np.zeros((len(names), slots), dtype=np.int64)
        self.kept = np.zeros((len(names), slots), dtype=np.int64)
        self.lots = np.zeros(len(names), dtype=np.int64)
        self.new = np.array([new for _, new in names], dtype=np.bool_)
        self.rows_of: dict[str, Counter[int]] = defaultdict(Counter)
        load, comfort = np.zeros((2, len(names), CAPS, slots), dtype=np.int64)
        self.vessels = [
            Slotted(name, kind, new, row, load[row], comfort[row], self.heads[row])
            for row, (name, new) in enumerate(names)
        ]

    def empty(self, start: int, end: int) -> Bools:
        """Return for each vessel whether nobody is in it from one slot to another; also when there are no slots."""
        nobody: Bools = np.logical_not(self.heads[:, start : max(start, end)].any(axis=1))
        return nobody

    def with_lines(self, lines: tuple[str, ...]) -> list[int]:
        """Return the vessels that hold any of these lines at any time, by row."""
        return sorted({row for line in lines for row in self.rows_of[line]})

    def note(self, line: str, row: int, lots: int) -> None:
        """Note that lots of a line come to a vessel (or leave it, below 0)."""
        rows = self.rows_of[line]
        rows[row] += lots
        if not rows[row]:
            del rows[row]
