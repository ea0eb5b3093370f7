"""What it counts to leave a collection out that is taken only if it fits: the keeper's priorities as numbers.

A collection of a higher priority counts more than all of lower ones together. Of those of one priority the number
counts first, and of equally many it is better to leave out the later ones.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from allocator.model.settled import Settled
from allocator.needs import BroodNeeds


@dataclass(frozen=True)
class Group:
    """The collections of one priority that may be left out.

    Attributes
    ----------
    each
        What each of them counts whichever it is: more than the ranks of all of them together.
    weights
        What it counts to leave a brood out, by its index: `each`, and its rank, the highest for the first.
    """

    priority: int
    each: int
    weights: dict[int, int]

    def left_out(self, settled: Iterable[Settled]) -> int:
        """Return what a solution counts here."""
        return sum(
            self.weights.get(index, 0) for index, one in enumerate(settled) if one.homeless is not None
        )


def groups_of(broods: Iterable[BroodNeeds]) -> tuple[Group, ...]:
    """Return the groups of those that may be left out, the highest priority first."""
    of_priority: dict[int, list[BroodNeeds]] = {}
    for brood in sorted(broods, key=in_turn):
        if brood.optional:
            of_priority.setdefault(brood.brood.priority, []).append(brood)
    groups = []
    for priority, mine in of_priority.items():
        many = len(mine)
        each = many * (many + 1) // 2 + 1
        weights = {brood.index: each + many - place for place, brood in enumerate(mine)}
        groups.append(Group(priority, each, weights))
    return tuple(groups)


def weights_of(broods: Iterable[BroodNeeds]) -> dict[int, int]:
    """Return what it counts to leave each brood out, by its index, such that one sum compares two whole rooms."""
    weights: dict[int, int] = {}
    unit = 1
    for group in reversed(groups_of(broods)):
        weights |= {index: unit * weight for index, weight in group.weights.items()}
        unit *= sum(group.weights.values()) + 1
    return weights


def in_turn(brood: BroodNeeds) -> tuple[bool, int, date, int]:
    """Return the place of a brood in turn: those that must be housed, then by priority, then by day."""
    return brood.optional, -brood.brood.priority if brood.optional else 0, brood.brood.collected, brood.index
