"""Which smaller additions to try, where one is known to do."""


class Fewer:
    """What to try next in place of the vessels that are added.

    First less of all classes together, halving what is in doubt, then one less of a class, the dearest first. Nothing is
    tried twice, and nothing of which there is no more, of any class, than of what was tried and did not do.

    Parameters
    ----------
    added
        How many vessels of each class are added in a plan that houses all.
    prices
        Of each class, in hundredths.
    """

    def __init__(self, added: dict[int, int], prices: dict[int, int]) -> None:
        self._prices = prices
        self._did_not: list[dict[int, int]] = []
        self._known_to_do(added)

    def does(self, added: dict[int, int]) -> None:
        """Note that what was tried last does, and what is used of it."""
        self._did_not.pop()
        self._known_to_do(added)

    def _known_to_do(self, added: dict[int, int]) -> None:
        self._added = {index: copies for index, copies in added.items() if copies}
        self._low = 0.0  # the share of it that is known not to do

    def next(self, least: int) -> dict[int, int] | None:
        """Return what to try, of such a cost at least; None where there is nothing left.

        It is taken not to do, unless that is told (`does`).
        """
        share = (self._low + 1) / 2
        if max(self._added.values(), default=0) * (1 - share) >= 1:
            self._low = share
            halved = {index: int(copies * share) for index, copies in self._added.items()}
            if self._is_new(halved, least):
                return halved
            return self.next(least)
        for index in sorted(self._added, key=lambda index: (-self._prices[index], index)):
            one_less = self._added | {index: self._added[index] - 1}
            if self._is_new(one_less, least):
                return one_less
        return None

    def _is_new(self, added: dict[int, int], least: int) -> bool:
        added = {index: copies for index, copies in added.items() if copies}
        cost = sum(self._prices[index] * copies for index, copies in added.items())
        if cost < least or any(_no_more(added, other) for other in self._did_not):
            return False
        self._did_not.append(added)
        return True


def _no_more(added: dict[int, int], other: dict[int, int]) -> bool:
    """Tell whether there is of each class at most as much in one addition as in another."""
    return all(copies <= other.get(index, 0) for index, copies in added.items())
