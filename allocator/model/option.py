"""One vessel as a place to live: where a brood may stay in it, and what that costs."""

from dataclasses import dataclass

import numpy as np

from allocator.model.board import Slotted
from allocator.needs import Floats, Ints

# Weights of the search for a good place, far enough apart that a higher level wins in nearly every case. They
# steer the search only; plans are compared level by level with `Score.key`.
HOMELESS = 1e9
PRICE = 1e5
HANDLING = 60.0
VESSEL_DAY = 0.3
NEW_VESSEL_DAY = 0.01

NEVER = np.inf
TRIES_TO_SPLIT = 12


@dataclass(frozen=True)
class Option:
    """One vessel for one phase: furthest end from each slot, and running sums of what each slot costs."""

    vessel: Slotted
    blocked: Floats
    cost: Floats
    once: float
    slow: bool
    at_once: bool = False

    def between(self, starts: list[int], ends: list[int]) -> Floats:
        """Return the cost of living here from each start to each end; NEVER where it does not fit."""
        rows, columns = np.array(starts)[:, None], np.array(ends)[None, :]
        cost = self.cost[columns] - self.cost[rows] + self.once
        shortest = 0 if self.at_once else 1  # fish may leave today the vessel they are found in
        fits = (self.blocked[columns] - self.blocked[rows] == 0) & (columns >= rows + shortest)
        return np.where(fits, cost, NEVER)

    def from_to(self, starts: Ints, ends: Ints) -> Floats:
        """Return the cost of living here from each start to the end beside it; NEVER where it does not fit."""
        cost = self.cost[ends] - self.cost[starts] + self.once
        return np.where(self.blocked[ends] == self.blocked[starts], cost, NEVER)
