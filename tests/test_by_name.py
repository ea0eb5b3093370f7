"""Vessels by name: what the model says of tiny and of home rooms, held against trying everything and against first fit.

Trying everything (`brute_force`) shares nothing with the solver. Rooms of the benchmark are made up from a seed.
"""

from dataclasses import replace
from datetime import timedelta
from functools import cache
from itertools import combinations
from threading import Event
from time import monotonic
from typing import Any

import pytest
from benchmark.rooms import bench_room
from brute_force import best_of
from hypothesis import given
from hypothesis import strategies as st
from random_rooms import random_room
from small_rooms import TODAY, box, in_being, long, small_pack, small_room, ten
from test_optimum import may_shift
from tiny_rooms import tiny_room

from allocator import asked_by_name
from allocator.model.by_name import ByName
from allocator.model.fewer import Fewer
from allocator.model.in_hand import in_hand
from allocator.model.naming import Solution, read_solution
from allocator.model.room_model import CohortModel
from allocator.model.run import Run
from allocator.model.search import Budget, Found, search
from allocator.model.settling import Settler
from allocator.needs import Needs, needs_of
from allocator.planner import plan_room
from allocator.room import Addable, Line, Room

PLENTY = Budget(20.0)
TINY = [
    seed for seed in range(60) if seed != 26 and not may_shift(tiny_room(seed))
]  # 26 takes half a minute to try


@cache
def everything(seed: int) -> dict[str, float] | None:
    """Return what trying everything finds in a tiny room: the least with all that may be added."""
    return best_of(tiny_room(seed), adding=True, homeless=False)


def must_of(room: Room) -> Needs:
    """Return the tables of those who must be housed."""
    return needs_of(room).only({brood.name for brood in room.broods if not brood.optional})


def least(needs: Needs) -> tuple[Found, ByName]:
    """Return the least cost of vessels to add, searched with all that may be added."""
    model = ByName(needs, sum(kind.price * kind.most for kind in needs.classes))
    model.model.minimize(model.spent)
    return search(model.model, PLENTY, stop=Event()), model


def wrongly_settled(needs: Needs, found: Found, model: ByName) -> list[str]:
    """Return who may not be settled as the model says, beside the others, by first fit's own account."""
    assert found.value is not None
    solution = model.read(found.value)
    settler = Settler(needs, solution.added)
    settler.board.settle_as(solution.settled)
    return list(settler.may_not_be())


@pytest.mark.parametrize("seed", TINY)
def test_the_least_cost_is_what_trying_everything_finds(seed: int) -> None:
    room = tiny_room(seed)
    needs = must_of(room)
    found, model = least(needs)
    known = everything(seed)
    if known is None:
        assert found.impossible
        return
    assert found.optimal
    assert round(found.objective) == known["cost"]
    if room.keeper.most_moves_a_day is None:
        assert wrongly_settled(needs, found, model) == []


def test_the_tiny_rooms_are_of_every_kind() -> None:
    found = [everything(seed) for seed in TINY]
    assert sum(one is None for one in found) >= 5
    assert sum(one is not None and one["cost"] == 0 for one in found) >= 5
    assert sum(one is not None and one["cost"] > 0 for one in found) >= 3


def two_in_one_box(boxes: int) -> Room:
    """Return a room in which two lots that must be alone are found in one box, which one of them can leave in a week."""
    hatchery, *others = small_pack().stages
    pack = small_pack(stages=(hatchery.model_copy(update={"alone": True}), *others))
    return small_room(
        lines=(Line(name="red", species="made up", rules=pack),),
        vessels=(
            *(box(f"box {number}") for number in range(1, boxes + 1)),
            *(ten(f"ten {number}") for number in (1, 2)),
            *(long(f"long {number}") for number in (1, 2)),
        ),
        groups=(),
        broods=tuple(in_being(name, "red", TODAY - timedelta(days=15), 6, "box 1") for name in ("K1", "K2")),
        could_add=(Addable(like="box", price=5, most=2),),
    )


@pytest.mark.parametrize("boxes", [1, 2])
def test_lots_found_in_one_box_may_stay_until_they_can_be_moved(boxes: int) -> None:
    """They should be alone; but that is how it is today, and both can be moved on the next Saturday."""
    room = two_in_one_box(boxes)
    needs = needs_of(room)
    assert not needs.mixed_today
    found, model = least(needs)
    assert found.objective == 0
    assert wrongly_settled(needs, found, model) == []
    result = plan_room(room)
    assert not result.best.plan.homeless
    assert not result.best.plan.added


@pytest.mark.parametrize("boxes", [1, 2])
def test_lots_found_in_one_box_may_not_stay_for_longer(boxes: int) -> None:
    """Too young for a tank when they could be parted, and a lot does not change box: no plan, however many boxes."""
    room = two_in_one_box(boxes)
    younger = tuple(
        brood.model_copy(update={"collected": TODAY - timedelta(days=8)}) for brood in room.broods
    )
    assert least(needs_of(room.model_copy(update={"broods": younger})))[0].impossible


@pytest.mark.parametrize("seed", [681, 880, 1193])
def test_a_move_that_takes_no_time_does_not_put_the_sale_off(seed: int) -> None:
    """Fish found in a tank were sold on any day, as if they had moved within their stage on the day of sale."""
    room = random_room(seed, broods=(1, 3))
    keeper = room.keeper.model_copy(update={"most_moves_a_day": None})
    needs = must_of(room.model_copy(update={"keeper": keeper}))
    found, model = least(needs)
    assert found.optimal
    assert wrongly_settled(needs, found, model) == []


def test_nor_does_it_in_cohorts() -> None:
    needs = must_of(random_room(644).model_copy(update={"could_add": ()}))
    model = CohortModel(needs, adding=False, homeless=False)
    found = search(model.model, Budget(1.0, brief=True), stop=Event())
    assert found.value is not None
    settler = Settler(needs, {})
    settler.board.settle_as(read_solution(model, found.value).settled)
    assert list(settler.may_not_be()) == []


def test_a_home_room_is_answered_either_way() -> None:
    """A long tank alone is not enough, and a box beside it is; cohorts say the same (see docs/explanation)."""
    needs = needs_of(bench_room("tight-boxes", "home", 1))
    assert search(ByName(needs, 12_000).model, PLENTY, stop=Event()).impossible
    model = ByName(needs, 12_500)
    assert wrongly_settled(needs, search(model.model, PLENTY, stop=Event()), model) == []


def test_a_home_room_that_first_fit_finds_short_fits() -> None:
    """First fit leaves somebody without a home, and adds a tank; the solver's plan is checked like any other."""
    result = plan_room(bench_room("tight-longs", "home", 2))
    assert not result.best.plan.homeless
    assert not result.best.plan.added
    assert result.best.plan.proven


@pytest.mark.parametrize(("seed", "cost"), [(1, 500), (2, 0)])
def test_what_those_in_boxes_today_need_is_needed_by_all(seed: int, cost: int) -> None:
    """In the first room two lots come for the one box that is clean; the second is known to fit as it is."""
    room = bench_room("half-full", "club", seed)
    needs = needs_of(room)
    run = Run(room, needs, needs, Event(), None, monotonic(), lambda _: None, *in_hand(needs, None))
    assert asked_by_name.least_for_those_here(run, [], 0) == cost


def test_a_no_that_is_not_said_again_proves_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """The second opinion, without presolve, comes to nothing: then it is not known what is needed at least."""

    def once(*args: Any, presolve: bool = True, **more: Any) -> Found:
        if presolve:
            return search(*args, presolve=True, **more)
        return Found("UNKNOWN", None, 0.0, 0.0, 0.0)

    monkeypatch.setattr(asked_by_name, "search", once)
    level = plan_room(bench_room("tight-boxes", "home", 1)).best.levels[0]
    assert level.bound < level.value
    assert not level.proven


def test_where_one_seed_has_no_answer_another_is_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    def unlucky(*args: Any, seed: int = 1, **more: Any) -> Found:
        if seed == asked_by_name.SEEDS[0]:
            return Found("UNKNOWN", None, 0.0, 0.0, 0.0)
        return search(*args, seed=seed, **more)

    monkeypatch.setattr(asked_by_name, "search", unlucky)
    needs = must_of(tiny_room(0))
    run = Run(needs.room, needs, needs, Event(), None, monotonic(), lambda _: None, *in_hand(needs, None))
    plan, _ = asked_by_name.plan_by_name(run, sum(kind.price * kind.most for kind in needs.classes))
    assert plan is not None
    assert not plan.score.homeless_fish_days


def test_an_answer_that_may_not_be_is_not_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """The model lets all be sold at once: what it says then is no plan, and it is not known whether there is one."""

    class SoldAtOnce(ByName):
        def read(self, value: Any) -> Solution:
            solution = super().read(value)
            first, *others = solution.settled
            sooner = replace(
                first,
                sale=first.sale - 1,
                places=tuple(replace(p, end=min(p.end, first.sale - 1)) for p in first.places),
            )
            return replace(solution, settled=(sooner, *others))

    needs = must_of(tiny_room(0))
    run = Run(needs.room, needs, needs, Event(), None, monotonic(), lambda _: None, *in_hand(needs, None))
    enough = sum(kind.price * kind.most for kind in needs.classes)
    plan, _ = asked_by_name.plan_by_name(run, enough)
    assert plan is not None
    monkeypatch.setattr(asked_by_name, "ByName", SoldAtOnce)
    assert asked_by_name.plan_by_name(run, enough) == (None, False)


@pytest.mark.parametrize("added", [{1: 7}, {0: 1, 2: 1}, {0: 3, 1: 5, 2: 9}, {2: 40}])
def test_what_is_tried_is_less_and_never_twice(added: dict[int, int]) -> None:
    prices = {0: 500, 1: 4_000, 2: 12_000}
    tries = Fewer(added, prices)
    seen = []
    while (fewer := tries.next(1)) is not None:
        assert fewer != added
        assert all(0 <= copies <= added[index] for index, copies in fewer.items())
        seen.append(fewer)
    assert all(one != other for one, other in combinations(seen, 2))
    for index, copies in added.items():  # in the end one less of each class
        assert added | {index: copies - 1} in seen


@given(
    added=st.dictionaries(st.integers(0, 2), st.integers(1, 12), min_size=1),
    enough=st.dictionaries(st.integers(0, 2), st.integers(0, 12)),
)
def test_what_is_tried_ends_where_one_less_does_not_do(added: dict[int, int], enough: dict[int, int]) -> None:
    """Where an addition does if there is enough of each class: then nothing is tried that could not do."""
    enough = {index: min(enough.get(index, 0), copies) for index, copies in added.items()}
    tries = Fewer(added, {0: 500, 1: 4_000, 2: 12_000})
    did_not: list[dict[int, int]] = []
    while (fewer := tries.next(0)) is not None:
        assert not any(
            all(copies <= other.get(index, 0) for index, copies in fewer.items()) for other in did_not
        )
        if all(fewer.get(index, 0) >= copies for index, copies in enough.items()):
            added = fewer
            tries.does(added)
        else:
            did_not.append(fewer)
    assert {index: copies for index, copies in added.items() if copies} == {
        index: copies for index, copies in enough.items() if copies
    }
