"""With what chance so many fish are there on a day, and long enough."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from allocator.husbandry.life import Dwelling, Life
from allocator.questions.growing import pace_of, ready_days
from allocator.questions.luck_draws import Ints, on_one_day
from allocator.replies.luck import Chance

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
    path
        Where it lives, and how crowded; with room to grow if that is not known.
    """

    life: Life
    since: date
    path: tuple[Dwelling, ...] = ()


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
    day, rules = (by - hoped.since).days, hoped.life.rules
    heads, lengths = on_one_day(
        hoped.life, hoped.since, day, replays, seed, lengths_from=0 if hoped.path else day
    )
    pace = pace_of(hoped.path, rules, hoped.since, lengths.until)
    return heads, ready_days(lengths, rules, pace) <= day
