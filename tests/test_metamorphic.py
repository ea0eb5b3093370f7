"""What must hold between two answers, on random rooms: no answer is known beforehand, yet a fault shows.

Rooms come from `random_rooms` (split broods, mops, days away, vessels that come and go, clean-out, few moves
a day, broods in being), and the numbers that Hypothesis draws are their seeds, so there is nothing to shrink.
"""

from collections.abc import Iterator
from itertools import pairwise
from random import Random

import pytest
from hypothesis import HealthCheck, Phase, assume, example, given, settings
from hypothesis import strategies as st
from random_rooms import random_room
from tiny_rooms import tiny_room

from allocator.check import check_plan, room_for
from allocator.model import improving
from allocator.planner import plan_room
from allocator.result import Answer, Result
from allocator.room import Pin, PinKind, Room, Span
from allocator.writing import plan_json

SEEDS = st.integers(0, 9_999)


def few(examples: int) -> settings:
    """Return settings for so many rooms, the same ones on every run."""
    return settings(
        deadline=None,
        derandomize=True,
        max_examples=examples,
        phases=(Phase.explicit, Phase.generate),
        suppress_health_check=list(HealthCheck),
        database=None,
    )


@pytest.fixture(autouse=True, scope="module")
def _little_work() -> Iterator[None]:
    """Let every level take a little work only: what is not proven is then left out of the comparison."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(improving, "WORK", dict.fromkeys(improving.WORK, 0.3))
        yield


def level_one(answer: Answer) -> float:
    """Return the value of level 1, where it is proven; else the room is left out."""
    assume(answer.levels[0].proven)
    return answer.levels[0].value


def homeless(room: Room) -> float:
    """Return the least fish-days without a home with what is there."""
    return level_one(plan_room(room).as_it_is)


def values(result: Result) -> list[tuple[str, float]]:
    """Return the levels of the best plan as far as they are proven."""
    found = []
    for level in result.best.levels:
        if not level.proven:
            break
        found.append((level.name, level.value))
    return found


# -- every plan keeps every rule ---------------------------------------------------------------------------


@few(10)
@given(seed=SEEDS)
def test_every_plan_keeps_every_rule_but_those_broken_today(seed: int) -> None:
    """The checker shares no arithmetic with the search. No room may end in a fault of the planner either."""
    room = random_room(seed, broods=(1, 3))
    result = plan_room(room)
    for answer in (result.best, result.as_it_is):
        breaches = check_plan(room_for(room, answer.plan), answer.plan)
        assert [breach for breach in breaches if not breach.as_found] == []
        for level in answer.levels:
            assert 0 <= level.bound <= level.value
    assert result.as_it_is.plan.added == ()
    assert result.best.levels[0].value <= result.as_it_is.levels[0].value or result.best.plan.added


# -- more room is never worse ------------------------------------------------------------------------------


@few(3)
@given(seed=SEEDS)
def test_one_more_vessel_never_leaves_more_fish_without_a_home(seed: int) -> None:
    room = random_room(seed, broods=(1, 3), pins=False, odd=False)
    before = homeless(room)
    assume(before > 0)
    model = Random(seed).choice(room.vessels)  # noqa: S311 - made-up rooms, no secrets
    more = model.model_copy(update={"name": "one more", "declared_as": "one more"})
    assert homeless(room.model_copy(update={"vessels": (*room.vessels, more)})) <= before


@few(5)
@given(seed=SEEDS)
def test_one_more_tank_of_any_size_never_leaves_more_fish_without_a_home(seed: int) -> None:
    room = tiny_room(seed, most=4)
    before = homeless(room)
    random = Random(seed)  # noqa: S311 - made-up rooms, no secrets
    model = random.choice(room.vessels)
    size = random.choice((0.7, 1.5, 4.0))
    changes = {"name": "one more", "declared_as": "one more", "width_mm": model.width_mm * size}
    more = model.model_copy(update=changes)
    assert homeless(room.model_copy(update={"vessels": (*room.vessels, more)})) <= before


# -- order does not count ----------------------------------------------------------------------------------


@few(5)
@given(seed=SEEDS)
def test_the_order_of_the_file_changes_no_value(seed: int) -> None:
    room = random_room(seed, broods=(1, 3), pins=False, odd=False)
    random = Random(seed)  # noqa: S311 - made-up rooms, no secrets
    shuffled = {}
    for name in ("vessels", "lines", "broods", "could_add"):
        rows = list(getattr(room, name))
        random.shuffle(rows)
        shuffled[name] = tuple(rows)
    one, other = plan_room(room), plan_room(room.model_copy(update=shuffled))
    level_one(one.best)
    level_one(other.best)
    assert one.best.plan.verdict is other.best.plan.verdict
    both = list(zip(values(one), values(other), strict=False))
    assert [first for first, _ in both] == [second for _, second in both]


# -- a plan stays as good when it is pinned ----------------------------------------------------------------


def own_pins(answer: Answer) -> tuple[Pin, ...]:
    """Return each stay as a pin, for broods that are never in two vessels at a time."""
    pins = []
    for brood in sorted({stay.brood for stay in answer.plan.stays}):
        stays = sorted((s for s in answer.plan.stays if s.brood == brood), key=lambda s: s.from_)
        split = any(a.until > b.from_ for a, b in pairwise(stays))
        if not split:
            pins += [
                Pin(kind=PinKind.IN, brood=brood, vessel=s.vessel, span=Span(start=s.from_, end=s.until))
                for s in stays
                if s.from_ < s.until
            ]
    return tuple(pins)


@few(5)
@given(seed=SEEDS)
def test_a_plan_that_is_pinned_as_it_is_stays_as_good(seed: int) -> None:
    room = random_room(seed, broods=(1, 3), pins=False, odd=False)
    result = plan_room(room)
    before = level_one(result.as_it_is)
    pinned = plan_room(room.model_copy(update={"pins": own_pins(result.as_it_is)}))
    # A vessel that is named is a class of its own, which may leave more choices open: no worse, then.
    assert level_one(pinned.as_it_is) <= before
    assert pinned.as_it_is.plan.verdict is result.as_it_is.plan.verdict


# -- the same room, the same plan --------------------------------------------------------------------------


@few(2)
@given(seed=SEEDS)
@example(seed=1)
def test_the_same_room_gives_the_same_bytes(seed: int) -> None:
    room = random_room(seed, broods=(1, 3))
    one, other = plan_room(room), plan_room(room)
    assert plan_json(one.best.plan, "0") == plan_json(other.best.plan, "0")
    assert plan_json(one.as_it_is.plan, "0") == plan_json(other.as_it_is.plan, "0")
    assert one.work == other.work
