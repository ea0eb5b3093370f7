"""Broods shared out over several vessels: the planner's proven level 1 is what trying everything finds."""

from math import inf

import pytest
from parted_rooms import Rack, least_parted, parted_room

from allocator.planner import plan_room

SEEDS = tuple(range(48))
"""Among them are rooms that tell when only one vessel of a class is allowed, or a move is counted too often."""


@pytest.mark.parametrize("seed", SEEDS)
def test_level_one_of_parted_broods_is_what_trying_everything_finds(seed: int) -> None:
    room = parted_room(seed)
    result = plan_room(room)
    as_it_is, best = result.as_it_is.levels[0], result.best.levels[0]
    assert as_it_is.proven
    assert best.proven
    homeless = least_parted(room, adding=False, homeless=True)
    assert as_it_is.value == homeless
    if homeless == 0:
        return
    cost = least_parted(room, adding=True, homeless=False)
    if cost < inf:
        assert best.name == "cost of added tanks"
        assert best.value == cost / 100
    else:
        assert best.name == "fish without a home"
        assert best.value == least_parted(room, adding=True, homeless=True)


def test_most_of_these_rooms_have_broods_that_must_be_parted() -> None:
    """By trying everything, which the test above finds to be what the planner proves."""
    parted = homed = added = 0
    for seed in SEEDS:
        room = parted_room(seed)
        rack = Rack(room, adding=True)
        roomiest = max(round(vessel.litres) for vessel in rack.offered)
        parted += any(brood.eggs > roomiest for brood in room.broods)
        if least_parted(room, adding=False, homeless=True) == 0:
            homed += 1
        else:
            added += least_parted(room, adding=True, homeless=False) < inf
    assert parted >= len(SEEDS) // 2
    assert homed >= 5
    assert added >= 5
