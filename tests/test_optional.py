"""Collections that are taken only if they fit: which are chosen, against choices worked out elsewhere.

Outside: a flow through time solved by networkx, which knows the best choice of intervals for so many equal tanks, and
trying every choice of the broods of tiny rooms (`open_rooms`, `brute_force`).
"""

from datetime import timedelta
from pathlib import Path
from random import Random

import networkx as nx
import pytest
from open_rooms import best_choice, open_room, optional_of, value_of, with_only
from random_rooms import random_room
from small_rooms import TODAY, long, planned, ten
from test_optimum import Interval, fixed_room, may_shift

from allocator import taking
from allocator.answering import PlannerFault, answer_of
from allocator.check import Breach, check_plan
from allocator.model import choosing
from allocator.model.naming import Solution
from allocator.model.retold import retold
from allocator.model.run import Found, Run
from allocator.model.unfold import unfold
from allocator.needs import needs_of
from allocator.plan import Verdict
from allocator.planner import plan_room
from allocator.questions.held import Held
from allocator.reading import read_room
from allocator.result import Answer, LevelOutcome, Result, Shortage
from allocator.room import Pin, PinKind, Room, Span

NOT_TAKEN = "collections not taken"
SCENARIOS = Path(__file__).parent.parent / "scenarios"


def row_of(answer: Answer) -> LevelOutcome:
    """Return the row of the collections that are not taken."""
    return next(level for level in answer.levels if level.name == NOT_TAKEN)


def taken(result: Result) -> set[str]:
    """Return which of the optional broods live somewhere, after making sure that the others are listed."""
    plan = result.best.plan
    housed = {stay.brood for stay in plan.stays}
    listed = [row.brood for row in plan.not_taken]
    optional = {brood.name for brood in optional_of(result.room)}
    assert sorted(listed) == sorted(optional - housed)
    assert row_of(result.best).value == len(listed)
    assert not [breach for breach in check_plan(result.room, plan) if not breach.as_found]
    return optional & housed


# -- equal tanks, one brood each, fixed days ---------------------------------------------------------------


def open_intervals(intervals: list[Interval], tanks: int, priorities: list[int | None]) -> Room:
    """Return a room with a brood for each interval of days; None for a priority means that it must be housed."""
    room = fixed_room(intervals, tuple(ten(f"ten {number + 1}") for number in range(tanks)))
    broods = tuple(
        brood if priority is None else brood.model_copy(update={"optional": True, "priority": priority})
        for brood, priority in zip(room.broods, priorities, strict=True)
    )
    return room.model_copy(update={"broods": broods, "could_add": ()})


def most_intervals(intervals: list[Interval], tanks: int) -> int:
    """Return how many intervals so many tanks can serve, each whole and no two in a tank at a time.

    A flow of so many units through the days; each interval is a short cut for one of them that is worth 1: Arkin and
    Silverberg (1987), Discrete Applied Mathematics 18:1-8.
    """
    last = max(end for _, end in intervals)
    graph = nx.DiGraph()
    for start in range(last):
        graph.add_edge(start, start + 1, capacity=tanks, weight=0)
    for number, (start, end) in enumerate(intervals):  # a node of its own keeps equal intervals apart
        graph.add_edge(start, ("brood", number), capacity=1, weight=-1)
        graph.add_edge(("brood", number), end, capacity=1, weight=0)
    nx.set_node_attributes(graph, {0: -tanks, last: tanks}, "demand")
    return -int(nx.min_cost_flow_cost(graph))


@pytest.mark.parametrize("seed", range(20))
def test_as_many_are_taken_as_a_flow_through_time_can_serve(seed: int) -> None:
    random = Random(seed)  # noqa: S311 - made-up rooms, no secrets
    intervals = [
        (start, start + random.randint(1, 12))
        for start in (random.randint(0, 14) for _ in range(random.randint(3, 10)))
    ]
    tanks = random.randint(1, 2)
    result = plan_room(open_intervals(intervals, tanks, [0] * len(intervals)))
    assert result.best.plan.verdict is Verdict.FITS
    assert len(taken(result)) == most_intervals(intervals, tanks)
    assert row_of(result.best).proven


def test_a_large_room_takes_no_more_than_a_flow_can_serve_and_proves_nothing() -> None:
    random = Random(5)  # noqa: S311 - made-up rooms, no secrets
    intervals = [
        (start, start + random.randint(5, 12)) for start in (random.randint(0, 60) for _ in range(70))
    ]
    result = plan_room(open_intervals(intervals, 5, [0] * 70))
    most = most_intervals(intervals, 5)
    assert most - 3 <= len(taken(result)) <= most
    row = row_of(result.best)
    assert not row.proven
    assert row.bound == 0


def test_two_short_ones_are_taken_before_a_long_one_but_not_before_one_of_a_higher_priority() -> None:
    intervals = [(0, 10), (0, 4), (5, 9)]
    assert taken(plan_room(open_intervals(intervals, 1, [0, 0, 0]))) == {"P1", "P2"}
    assert taken(plan_room(open_intervals(intervals, 1, [1, 0, 0]))) == {"P0"}
    assert taken(plan_room(open_intervals(intervals, 1, [7, 9, 7]))) == {"P1", "P2"}


def test_of_equally_many_the_earlier_are_taken() -> None:
    assert taken(plan_room(open_intervals([(2, 9), (0, 7), (4, 11)], 1, [0, 0, 0]))) == {"P1"}


def test_whoever_must_be_housed_comes_before_any_priority() -> None:
    assert taken(plan_room(open_intervals([(0, 9), (3, 5), (9, 12)], 1, [100, None, 0]))) == {"P2"}


def test_where_all_fit_all_are_taken_and_that_is_proven() -> None:
    result = plan_room(open_intervals([(0, 5), (5, 9), (9, 12)], 1, [0, 1, 2]))
    assert len(taken(result)) == 3
    assert row_of(result.best).proven
    assert result.best.plan.proven


def test_no_tank_is_added_for_a_collection_that_need_not_be_taken_not_even_a_free_one() -> None:
    room = open_intervals([(0, 9), (3, 7)], 1, [0, 0])
    offered = fixed_room([(0, 9)], (ten("ten 1"),)).could_add[0]
    for price in (0, 1):
        result = plan_room(
            room.model_copy(update={"could_add": (offered.model_copy(update={"price": price, "most": 2}),)})
        )
        assert taken(result) == {"P0"}
        assert result.best.plan.verdict is Verdict.FITS


def test_a_tank_that_is_added_for_others_is_used_and_no_more_are_added() -> None:
    """P0 and P1 must be housed and need a second tank; beside them P2 finds room in it, P3 does not."""
    intervals = [(0, 9), (3, 7), (7, 12), (5, 8)]
    room = open_intervals(intervals, 1, [None, None, 0, 5])
    offered = fixed_room([(0, 9)], (ten("ten 1"),)).could_add[0]
    result = plan_room(room.model_copy(update={"could_add": (offered.model_copy(update={"most": 3}),)}))
    assert result.best.plan.verdict is Verdict.NEEDS_MORE_TANKS
    assert [added.copies for added in result.best.plan.added] == [1]
    assert result.best.levels[0].proven
    assert taken(result) == {"P2"}
    assert row_of(result.best).proven
    left = {row.brood for row in result.as_it_is.plan.not_taken}
    assert {row.brood for row in result.as_it_is.plan.homeless} <= {"P0", "P1"}
    assert "P3" in left


# -- tiny rooms, by trying every choice --------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(12))
def test_a_tiny_room_takes_what_trying_every_choice_finds(seed: int) -> None:
    room = open_room(seed, most=3)
    result = plan_room(room)
    if not optional_of(room):
        assert not result.best.plan.not_taken
        return
    mine = value_of(room, taken(result))
    if result.best.plan.homeless:
        return
    exact = best_choice(result.room)
    assert exact is not None
    assert mine >= exact if may_shift(room) else mine == exact


@pytest.mark.parametrize("seed", range(12))
def test_those_who_must_be_housed_fare_as_if_there_were_no_others(seed: int) -> None:
    room = open_room(seed, most=4)
    alone, result = plan_room(with_only(room, set())), plan_room(room)
    for mine, theirs in ((result.best, alone.best), (result.as_it_is, alone.as_it_is)):
        assert mine.levels[0].name == theirs.levels[0].name
        assert mine.levels[0].value == theirs.levels[0].value
        assert mine.plan.verdict == theirs.plan.verdict


# -- with a plan in hand -----------------------------------------------------------------------------------


def test_with_a_plan_in_hand_what_it_takes_stays_as_it_is() -> None:
    room = open_intervals([(0, 9), (3, 7), (9, 12), (4, 11), (12, 15)], 2, [0, None, 0, 0, 0])
    first = plan_room(room)
    again = plan_room(room, against=first.best.plan)
    assert again.best.plan == first.best.plan
    change = next(level for level in again.best.levels if level.level == 3)
    assert change.value == 0


def test_what_a_plan_in_hand_does_not_take_is_still_a_free_choice() -> None:
    room = open_intervals([(0, 9), (3, 7), (9, 12)], 1, [0, 0, 0])
    first = plan_room(room)
    assert taken(first) == {"P0", "P2"}
    roomier = open_intervals([(0, 9), (3, 7), (9, 12)], 2, [0, 0, 0])
    again = plan_room(roomier, against=first.best.plan)
    assert taken(again) == {"P0", "P1", "P2"}
    kept = [stay for stay in again.best.plan.stays if stay.brood != "P1"]
    assert kept == list(first.best.plan.stays)


def test_a_higher_priority_comes_before_what_a_plan_in_hand_takes() -> None:
    first = plan_room(open_intervals([(0, 9), (3, 7)], 1, [0, 0]))
    assert taken(first) == {"P0"}
    assert taken(plan_room(open_intervals([(0, 9), (3, 7)], 1, [0, 1]), against=first.best.plan)) == {"P1"}


# -- what must hold in every room --------------------------------------------------------------------------


def opened(room: Room, seed: int) -> Room:
    """Return a room with some of its planned broods made optional."""
    random = Random(seed)  # noqa: S311 - made-up rooms, no secrets
    broods = (
        brood.model_copy(update={"optional": True, "priority": random.randint(0, 1)})
        if brood.planned and random.random() < 0.6
        else brood
        for brood in room.broods
    )
    return room.model_copy(update={"broods": tuple(broods)})


@pytest.mark.parametrize("seed", [1, 4, 7, 12, 18])
def test_a_collection_that_must_be_taken_never_makes_a_room_cheaper(seed: int) -> None:
    """Random rooms of every shape: crowded fish grow slower, broods are split, some have no home at all."""
    room = opened(random_room(seed), seed)
    result = plan_room(room)
    taken(result)
    first = optional_of(room)[0]
    broods = (
        brood.model_copy(update={"optional": False}) if brood.name == first.name else brood
        for brood in room.broods
    )
    stricter = plan_room(room.model_copy(update={"broods": tuple(broods)}))
    free, bound = result.as_it_is.levels[0], stricter.as_it_is.levels[0]
    assert free.bound <= bound.value
    if free.proven:
        assert free.value <= bound.value
    if free.value == bound.value == 0:
        assert first.name not in {row.brood for row in stricter.best.plan.not_taken}


def test_company_that_holds_others_back_for_too_long_is_not_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """Should the checker find sales too soon each time, those who must be housed are planned without the others."""
    asked = []

    def never(run: Run, found: Found, shortages: tuple[Shortage, ...]) -> tuple[Answer, tuple[Breach, ...]]:
        asked.append(len(found.needs.broods))
        if len(found.needs.broods) > 1:
            raise PlannerFault([], {"P1": len(asked)})
        return answer_of(run, found, shortages)

    monkeypatch.setattr(taking, "answer_of", never)
    result = plan_room(open_intervals([(0, 9), (9, 12), (12, 14)], 1, [None, 0, 0]))
    assert taken(result) == set()
    assert result.best.plan.verdict is Verdict.FITS
    assert not row_of(result.best).proven
    assert len(asked) == taking.MOST_TRIES + 1


def test_the_same_room_gives_the_same_choice() -> None:
    room = opened(random_room(4), 4)
    assert plan_room(room).best.plan == plan_room(room).best.plan


def test_a_room_with_nothing_but_collections_that_need_not_be_taken() -> None:
    room = opened(open_intervals([(0, 3), (0, 3)], 1, [0, 0]), 1)
    assert taken(plan_room(open_intervals([(0, 3), (0, 3)], 1, [0, 0]))) == {"P0"}
    nowhere = room.model_copy(update={"vessels": (long("long 1"),)})
    result = plan_room(
        nowhere.model_copy(
            update={"broods": tuple(b.model_copy(update={"optional": True}) for b in nowhere.broods)}
        )
    )
    assert taken(result) == set()
    assert row_of(result.best).proven


def test_a_pin_that_cannot_be_kept_leaves_the_collection_out_or_is_told() -> None:
    room = open_intervals([(0, 5), (1, 6)], 1, [None, 0])
    pin = Pin(kind=PinKind.IN, brood="P1", vessel="ten 1", span=Span())
    result = plan_room(room.model_copy(update={"pins": (pin,)}))
    assert taken(result) == set()
    assert result.remarks == ()


def test_a_plan_that_leaves_collections_out_can_be_held_still_and_read_back() -> None:
    room = open_intervals([(0, 9), (3, 7), (9, 12)], 1, [0, 0, 0])
    plan = plan_room(room).best.plan
    coming = planned("new", room.broods[1].line, TODAY + timedelta(days=13), 10)  # P1's line: four days
    beside = Held(room, plan, [coming]).settle()
    assert beside.taken == ("new",)
    assert beside.plan.not_taken == plan.not_taken
    needs = needs_of(room)
    solution = Solution(tuple(told for _, told in sorted(retold(needs, plan).items())), {})
    assert unfold(needs, solution, proven=plan.proven) == plan


def test_a_large_room_in_which_company_slows_fish_takes_what_fits_with_no_more_moves_than_hands(
    tmp_path: Path,
) -> None:
    """The home rack with many more tanks, from which each group could be picked every third day: 189 collections."""
    text = (SCENARIOS / "home-rack.yaml").read_text(encoding="utf-8")
    for old, new in (
        ("every: 28 days", "every: 3 days"),
        ("every: 35 days", "every: 3 days"),
        ("until: 2027-05", "until: 2027-08"),
        ("copies: 5", "copies: 20"),
        ("label: ", "take: if it fits, label: "),
    ):
        text = text.replace(old, new)
    file = tmp_path / "room.yaml"
    file.write_text(text, encoding="utf-8")
    result = plan_room(read_room(file).room)
    assert len(optional_of(result.room)) > 180
    assert len(taken(result)) > 60
    assert result.best.plan.verdict is Verdict.FITS


def test_a_large_room_spoilt_by_company_takes_fewer(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever company does, those who must be housed fare no worse; what is told of it is made up here."""
    told = iter([True, True, False])
    monkeypatch.setattr(choosing, "_spoils", lambda _found, _begin: next(told))
    intervals = [(number, number + 3) for number in range(70)]
    result = plan_room(open_intervals(intervals, 3, [None, *[0] * 69]))
    assert 0 < len(taken(result)) <= 69 // 4
