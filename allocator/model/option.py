"""Vessels as places to live: where a brood may stay in them, and what that costs."""

from dataclasses import dataclass

import numpy as np

from allocator.model.rank import Rows, Slotted, lowest
from allocator.needs import Floats, Ints

# Weights of the search for a good place, far enough apart that a higher level wins in nearly every case. They
# steer the search only; plans are compared level by level with `Score.key`.
HOMELESS = 1e9
PRICE = 1e5
HANDLING = 60.0

NEVER = np.inf
TRIES_TO_SPLIT = 12


@dataclass(frozen=True)
class Thrift:
    """What a day of a vessel that would stand empty is worth against a point of strain.

    Little, and fish are spread out in comfort; much, and they are put together up to the limit, so that more of
    them find room. One that is added is paid for already. `price` is what a price counts that is still to be paid.
    """

    vessel_day: float
    new_vessel_day: float
    price: float = PRICE


EASY = Thrift(0.3, 0.01)
FRUGAL = Thrift(300.0, 10.0)
EASY_PAID = Thrift(0.3, 0.3, price=0.0)
FRUGAL_PAID = Thrift(300.0, 300.0, price=0.0)
"""The weights were chosen by trying (see docs/explanation/speed.md)."""


@dataclass(frozen=True)
class Option:
    """Vessels of one class for one phase, each with where it is free and what it costs.

    Attributes
    ----------
    vessels
        In the order in which they are taken.
    blocked
        For each vessel the running sum of slots in which it is not free, shape (vessels, slots + 1).
    cost
        For each vessel the running sum of what each slot costs, shape (vessels, slots + 1).
    once
        What it costs to go there, shape (vessels,).
    at_once
        Whether it may be left in the slot in which it is entered.
    """

    vessels: tuple[Slotted, ...]
    blocked: Ints
    cost: Floats
    once: Floats
    slow: bool
    at_once: bool = False

    def between(self, starts: list[int], ends: list[int]) -> tuple[Floats, Ints]:
        """Return what it costs to live here from each start to each end (NEVER where it does not fit), and where.

        Both of shape (vessels, starts, ends).
        """
        rows, columns = np.array(starts)[:, None], np.array(ends)[None, :]
        shortest = 0 if self.at_once else 1  # fish may leave today the vessel they are found in
        cost, vessel = self.from_to(rows, columns)
        return np.where(columns >= rows + shortest, cost, NEVER), vessel

    def from_to(self, starts: Ints, ends: Ints) -> tuple[Floats, Ints]:
        """Return the same from each start to the (later) end beside it; the vessels come first in the shape."""
        fits = self.blocked[:, ends] == self.blocked[:, starts]
        each = (len(self.vessels), *(1 for _ in fits.shape[1:]))
        cost = self.cost[:, ends] - self.cost[:, starts] + self.once.reshape(each)
        vessel = np.broadcast_to(np.arange(len(self.vessels)).reshape(each), fits.shape)
        return np.where(fits, cost, NEVER), vessel


@dataclass(frozen=True)
class Alike:
    """Vessels of one class that a brood could have to itself: as `Option`, for a thousand of them at once.

    Attributes
    ----------
    vessels
        All of the class.
    first
        The slot at which `free` and the sums begin.
    free
        For each slot the vessels that are free in it.
    cost, once, slow
        As of an `Option`.
    """

    vessels: list[Slotted]
    first: int
    free: list[Rows]
    cost: Floats
    once: float
    slow: bool

    def between(self, starts: list[int], ends: list[int]) -> tuple[Floats, Ints]:
        """Return the cost of living here from each start to each end (NEVER where it does not fit), and where.

        Both of shape (1, starts, ends).
        """
        found = np.array([self._row_until(start - self.first) for start in starts])
        rows, columns = np.array(starts)[:, None] - self.first, np.array(ends)[None, :] - self.first
        vessel = found[:, columns[0]]
        fits = (vessel >= 0) & (columns > rows)
        cost = np.where(fits, self.cost[columns] - self.cost[rows] + self.once, NEVER)
        return cost[None], vessel[None]

    def from_to(self, starts: Ints, ends: Ints) -> tuple[Floats, Ints]:
        """Return the same from each start to the (later) end beside it, of shape (1, starts)."""
        begin, place = np.unique(starts, return_inverse=True)
        found = np.array([self._row_until(start) for start in (begin - self.first).tolist()])
        rows, columns = starts - self.first, ends - self.first
        vessel = found[place, columns]
        cost = np.where(vessel >= 0, self.cost[columns] - self.cost[rows] + self.once, NEVER)
        return cost[None], vessel[None]

    def _row_until(self, start: int) -> list[int]:
        """Return for each end the first vessel that is free from a start until then; -1 where there is none."""
        found = [-1] * (len(self.free) + 1)
        left, row = -1, -1  # all of them, none of them
        for slot in range(start, len(self.free)):
            left &= self.free[slot]
            if not left:
                break
            if row < 0 or not left >> row & 1:
                row = lowest(left)
            found[slot + 1] = row
        return found
