"""Vessels of one class side by side: who is in each of them, slot by slot."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import reduce
from operator import and_, or_

import numpy as np

from allocator.model.settled import Place
from allocator.needs import CAPS, Ints, VesselClass

Rows = int
"""A set of vessels of one class: bit n stands for row n. Large rooms have a thousand of a class, and such a set
is cut with another in no time."""


def rows_of(rows: Iterable[int]) -> Rows:
    """Return some rows as a set."""
    return reduce(or_, (1 << row for row in rows), 0)


def each(rows: Rows) -> Iterator[int]:
    """Yield the rows of a set in order."""
    while rows:
        row = lowest(rows)
        yield row
        rows ^= 1 << row


def lowest(rows: Rows) -> int:
    """Return the first row of a set that is not empty."""
    return (rows & -rows).bit_length() - 1


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
    load, comfort
        Of each vessel, shape (vessels, caps, slots); each vessel's own `load` and `comfort` are a row of them.
    heads
        How many lots are in each vessel in each slot; each vessel's own `heads` is a row of it.
    kept
        How many lots keep each vessel from strangers in each slot: they are in it, or it is cleaned after them.
    vacant, open_to_all
        For each slot the vessels in which nobody is, and those that nobody keeps from strangers: see `Rows`.
    lots
        How many lots are in each vessel at any time.
    used
        The vessels in which there are any.
    new
        Those that are added.
    stays_of
        For each line the vessels that hold it at any time, by row, and from which slot until which its lots are there.
    """

    def __init__(self, kind: VesselClass, names: list[tuple[str, bool]], slots: int) -> None:
        self.kind = kind
        self.heads = np.zeros((len(names), slots), dtype=np.int64)
        self.kept = np.zeros((len(names), slots), dtype=np.int64)
        self.everyone: Rows = (1 << len(names)) - 1
        self.vacant: list[Rows] = [self.everyone] * slots
        self.open_to_all: list[Rows] = [self.everyone] * slots
        self.lots = [0] * len(names)
        self.used: Rows = 0
        self.new: Rows = rows_of(row for row, (_, new) in enumerate(names) if new)
        self.stays_of: dict[str, dict[int, list[tuple[int, int]]]] = defaultdict(dict)
        self.load, self.comfort = np.zeros((2, len(names), CAPS, slots), dtype=np.int64)
        self.vessels = [
            Slotted(name, kind, new, row, self.load[row], self.comfort[row], self.heads[row])
            for row, (name, new) in enumerate(names)
        ]

    def empty(self, start: int, end: int) -> Rows:
        """Return the vessels in which nobody is from one slot to another; all when there are no slots."""
        return reduce(and_, self.vacant[start : max(start, end)], self.everyone)

    def come(self, row: int, start: int, end: int, clean: int) -> None:
        """Let a lot be in a vessel from one slot to another; it is clean for strangers in a third."""
        self._count(self.heads, self.vacant, row, slice(start, end), 1)
        self.keep(row, start, clean)
        self.lots[row] += 1
        self.used |= 1 << row

    def leave(self, row: int, start: int, end: int, clean: int) -> None:
        """Undo `come`."""
        self._count(self.heads, self.vacant, row, slice(start, end), -1)
        self._count(self.kept, self.open_to_all, row, slice(start, clean), -1)
        self.lots[row] -= 1
        if not self.lots[row]:
            self.used ^= 1 << row

    def keep(self, row: int, start: int, clean: int) -> None:
        """Keep strangers out of a vessel from one slot to another."""
        self._count(self.kept, self.open_to_all, row, slice(start, clean), 1)

    @staticmethod
    def _count(counts: Ints, without: list[Rows], row: int, span: slice, change: int) -> None:
        """Change the counts of a vessel in some slots, and the sets of those with a count of nothing."""
        here = counts[row, span]
        here += change
        for slot in (here == max(change, 0)).nonzero()[0].tolist():
            without[span.start + slot] ^= 1 << row

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
