"""With what chance so many fish are there on a day, and long enough."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from allocator.husbandry.life import Life
from allocator.questions.luck_draws import Ints, fate_of
from allocator.replies.luck import Chance
from allocator.units import DUST

REPLAYS = 2000
"""The standard error is then 1.1 in a hundred at most."""

SEED = 1


@dataclass(frozen=True)
class Hoped:
    """A brood that shall give fish.

    Attributes
    ----------
    life
        Its forecast. A planned brood has as many eggs as chance gives; one that is not planned has just so many.
    since
        The day from which on chance has its way: today, or the day of collection.
    late_days
        Days by which its vessels and its company put off the day on which it is long enough.
    """

    life: Life
    since: date
    late_days: int


def odds_of(
    hoped: Sequence[Hoped], by: date, fish: int, *, replays: int = REPLAYS, seed: int = SEED
) -> Chance:
    """Return the chance that some broods have together so many fish on a day that are long enough.

    Parameters
    ----------
    hoped
        A brood in the same place has the same draws, so that chances for different numbers can be compared.
    fish
        0 or more.
    """
    there = np.zeros(replays, dtype=np.int64)
    for brood, own in zip(hoped, np.random.SeedSequence(seed).spawn(len(hoped)), strict=True):
        heads, grown = on_the_day(brood, by, replays, own)
        there += np.where(grown, heads, 0)
    return Chance.of(int((there >= fish).sum()), replays)


def grown_share(hoped: Hoped, by: date, *, replays: int = REPLAYS, seed: int = SEED) -> float:
    """Return the chance that a brood is long enough by a day."""
    _, grown = on_the_day(hoped, by, replays, np.random.SeedSequence(seed))
    return float(grown.mean())


def on_the_day(
    hoped: Hoped, by: date, replays: int, seed: np.random.SeedSequence
) -> tuple[Ints, NDArray[np.bool_]]:
    """Return the fish of a brood on a day in each replay, and whether they are long enough."""
    day = (by - hoped.since).days
    fate = fate_of(hoped.life, hoped.since, day + 1, replays, seed)
    column = day - fate.first
    mm = fate.mm[:, max(column - hoped.late_days, 0)]
    return fate.heads[:, column].astype(np.int64), mm >= hoped.life.rules.sale_mm.value - DUST
