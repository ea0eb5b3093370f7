"""Bounds on packing never say more than the fewest vessels that trying everything finds."""

from itertools import combinations
from random import Random

import numpy as np
import pytest

from allocator.model.packing import _changed, least_by_length, least_vessels
from allocator.needs import CAPS, FULL

RATIO = 2.0


def loads(random: Random, count: int) -> list[np.ndarray]:
    """Return loads of a few lots, by cap; many at or about a half, a third, a quarter."""
    sizes = [*range(500, FULL, 700), FULL // 2, FULL // 2 + 1, FULL // 3, FULL // 4, FULL]
    return [np.array([random.choice(sizes) for _ in range(CAPS)]) for _ in range(count)]


def fewest(parts: list[np.ndarray], mm: list[float]) -> int:
    """Return the fewest vessels, by trying; lots whose lengths differ too much are kept apart."""
    best = len(parts)

    def place(number: int, vessels: list[list[int]]) -> None:
        nonlocal best
        if len(vessels) >= best:
            return
        if number == len(parts):
            best = len(vessels)
            return
        for vessel in vessels:
            inside = [*vessel, number]
            fits = (sum(parts[i] for i in inside) <= FULL).all()
            close = all(max(mm[i], mm[j]) <= RATIO * min(mm[i], mm[j]) for i, j in combinations(inside, 2))
            if fits and close:
                vessel.append(number)
                place(number + 1, vessels)
                vessel.pop()
        place(number + 1, [*vessels, [number]])

    best += 1
    place(0, [])
    return best


@pytest.mark.parametrize("seed", range(60))
def test_no_bound_is_above_what_trying_finds(seed: int) -> None:
    random = Random(seed)  # noqa: S311
    parts = loads(random, random.randint(1, 6))
    ways = [[(part,)] for part in parts]
    same = [10.0] * len(parts)
    assert least_vessels(ways) <= fewest(parts, same)
    mm = [random.choice((5.0, 8.0, 10.0, 16.0, 21.0, 40.0)) for _ in parts]
    assert least_by_length(ways, np.array(mm), RATIO) <= fewest(parts, mm)


@pytest.mark.parametrize("seed", range(40))
def test_what_fits_one_vessel_still_fits_it_when_changed(seed: int) -> None:
    random = Random(seed)  # noqa: S311
    inside, left = [], FULL
    while left:
        inside.append(
            random.choice([random.randint(1, left), left, min(left, FULL // 2), min(left, FULL // 3)])
        )
        left -= inside[-1]
    others = [random.randint(1, FULL) for _ in range(8)]
    assert (_changed(np.array([*inside, *others]))[:, : len(inside)].sum(axis=1) <= FULL + 1e-6).all()


def test_lots_of_more_than_half_a_vessel_need_one_each_and_of_just_half_they_do_not() -> None:
    above, half = np.full(CAPS, FULL // 2 + 1), np.full(CAPS, FULL // 2)
    assert least_vessels([[(above,)]] * 3) == 3
    assert least_vessels([[(half,)]] * 4) == 2


def test_of_the_ways_to_share_a_brood_out_the_one_that_takes_least_counts() -> None:
    whole, parts = (np.full(CAPS, FULL * 3 // 5),), (np.full(CAPS, FULL * 3 // 10),) * 2
    assert least_vessels([[whole]] * 3) == 3
    assert least_vessels([[whole, parts]] * 3) == 2


def test_fish_too_far_apart_in_length_need_vessels_of_their_own() -> None:
    small = (np.full(CAPS, FULL // 10),)
    assert least_by_length([[small]] * 4, np.array([5.0, 6.0, 13.0, 30.0]), RATIO) == 3
    assert least_by_length([[small]] * 3, np.array([0.0, 6.0, 7.0]), RATIO) == 0
