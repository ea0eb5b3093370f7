"""Counts of vessels: never above what is proven otherwise, equal to it at times, and at times above single days."""

from datetime import timedelta

import numpy as np
import pytest
from parted_rooms import parted_room
from random_rooms import random_room
from small_rooms import TODAY, level, planned, small_pack, small_room, ten
from tiny_rooms import tiny_room

from allocator.model.bounds import cost_bound
from allocator.model.counts import count_bound, next_cost, tight_slots
from allocator.needs import needs_of
from allocator.planner import plan_room
from allocator.result import Result
from allocator.room import Addable, Line, Room
from allocator.rules import RoomStep, StageRule, VesselKind


def least_cost(result: Result) -> int | None:
    """Return the cost of the best plan in hundredths; None where somebody has no home even so."""
    outcome = result.best.levels[0]
    if outcome.name == "fish without a home":
        return None if outcome.value else 0
    return round(outcome.value * 100)


def holds(room: Room) -> tuple[int, int | None, int]:
    """Return bound, cost and what single days show, after making sure that the bound is no false claim."""
    needs = needs_of(room)
    bound = count_bound(needs, budget=2.0)
    cost = least_cost(plan_room(room, seconds=0.5)) if bound.cost or bound.impossible else 0
    if bound.impossible:
        assert cost is None
    elif cost is not None:
        assert bound.cost <= cost
    return bound.cost, cost, cost_bound(needs)


@pytest.mark.parametrize("seed", range(14))
def test_never_above_a_plan_in_rooms_of_every_shape(seed: int) -> None:
    """With pins, days away, fish in odd places, lines that share, vessels that come and go."""
    holds(random_room(seed, broods=(1, 4)))


def test_often_the_cost_itself_and_at_times_above_single_days() -> None:
    """Broods shared out over vessels, and tiny rooms: the cost of a plan that is found is never below the bound."""
    rows = [holds(parted_room(seed)) for seed in range(32)] + [
        holds(tiny_room(seed, slow=False, most=5)) for seed in range(6)
    ]
    priced = [row for row in rows if row[0]]
    assert len(priced) >= 3
    assert any(bound == cost for bound, cost, _ in priced)
    assert any(bound > day for bound, _, day in priced)


def full_room(broods: int, eggs: int, tanks: int, *, most: int = 9) -> Room:
    """Return a room of one stage in which 30 fish fill a tank from the first day on."""
    pack = small_pack(
        eggs_need_snail_free=False,
        room=(RoomStep(from_mm=small_pack().room[0].from_mm, fish_per_litre=level(1, comfort=1)),),
        stages=(StageRule(name="all", kinds=(VesselKind.REARING,), alone=False, may_skip=False),),
    )
    return small_room(
        lines=(Line(name="red", species="made up", rules=pack),),
        vessels=tuple(ten(f"ten {number}") for number in range(1, tanks + 1)),
        groups=(),
        broods=tuple(planned(f"P{n}", "red", TODAY + timedelta(days=7 * n), eggs) for n in range(broods)),
        could_add=(Addable(like="ten", price=30, most=most),) if most else (),
    )


@pytest.mark.parametrize(("broods", "eggs", "tanks", "short"), [(3, 9, 1, 0), (3, 22, 2, 1), (4, 15, 1, 1)])
def test_by_hand(broods: int, eggs: int, tanks: int, short: int) -> None:
    """30 to a tank: three nines share one; 66 fish, however parted, take three; of fifteens two share one."""
    room = full_room(broods, eggs, tanks)
    needs = needs_of(room)
    bound = count_bound(needs)
    assert bound.cost == 3000 * short
    assert least_cost(plan_room(room)) == 3000 * short
    assert bool(bound.reason(needs)) == bool(short)
    if short:
        reason = bound.reason(needs)
        assert reason is not None
        assert (reason.kind, reason.at_least) == ("ten", 30)
        assert reason.since < reason.until
        assert all(needs.days[slot] >= TODAY for slot in bound.slots)
        assert [needs.classes[index].like for index in bound.classes] == ["ten"]


def test_when_not_even_all_that_may_be_added_is_enough() -> None:
    needs = needs_of(full_room(4, 30, 1, most=2))
    bound = count_bound(needs)
    assert bound.impossible
    assert bound.reason(needs) is not None
    assert count_bound(needs_of(full_room(4, 30, 1, most=0))).impossible


def test_the_same_again_and_nothing_once_it_is_stopped() -> None:
    needs = needs_of(full_room(6, 20, 2))
    assert count_bound(needs) == count_bound(needs)
    assert count_bound(needs, go_on=lambda: False).cost == 0
    for asked in (1, 3, 10, 30):
        left = [asked]

        def go_on(left: list[int] = left) -> bool:
            left[0] -= 1
            return left[0] > 0

        assert count_bound(needs, go_on=go_on).cost <= 3000 * 4


def test_costs_are_sums_of_prices() -> None:
    needs = needs_of(full_room(1, 10, 1, most=2))
    assert [next_cost(needs, least) for least in (0, 1, 3000, 3001, 6000)] == [0, 3000, 3000, 6000, 6000]


def test_tight_slots_are_the_fullest_of_each_class() -> None:
    weight = np.array([[0, 9, 8, 0, 0, 0, 0, 1], [0, 0, 0, 0, 7, 0, 0, 0]])
    assert {1, 4} <= set(tight_slots(weight, 3))
    assert tight_slots(weight, 8) == tuple(range(8))
    assert len(tight_slots(weight, 5)) == 5
