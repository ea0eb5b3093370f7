"""The planner's proven answers against the same answers worked out elsewhere.

Outside: graph theory by networkx, exhaustive enumeration (`brute_force`), and a plain integer programme in
HiGHS (`plain_milp`). None of them shares code with the planner's tables or model.
"""

from datetime import timedelta
from itertools import combinations
from random import Random

import networkx as nx
import pytest
from brute_force import best_of
from plain_milp import least
from small_rooms import TODAY, band, figure, level, planned, small_pack, ten
from tiny_rooms import tiny_room

from allocator.needs import needs_of
from allocator.plan import Verdict
from allocator.planner import plan_room
from allocator.result import Answer, Result
from allocator.room import Addable, Keeper, Line, Pin, PinKind, Room, Span, Vessel
from allocator.rules import GrowthRoom, LengthPoint, RoomStep, RulePack, StageRule, VesselKind

EVERY_DAY = Keeper(move_days=tuple(range(7)))

Interval = tuple[int, int]


# -- equal tanks, one brood each, fixed days ---------------------------------------------------------------


def fixed_pack(days: int, *, run_cm: float = 1) -> RulePack:
    """Return a pack with one stage that is `alone`, whose fish are set up and sold on days that are fixed.

    They hatch on the day of collection at 5 mm and are sold at 45 mm, so many days later and on no other day.
    """
    return small_pack(
        name=f"fixed {days}",
        eggs_need_snail_free=False,
        incubation_days=band(0),
        length=(LengthPoint(age_days=figure(days), slow=figure(45), typical=figure(45), fast=figure(45)),),
        room=(RoomStep(from_mm=figure(0), fish_per_litre=level(20), run_cm=level(run_cm)),),
        stages=(StageRule(name="all", kinds=(VesselKind.REARING,), alone=True, may_skip=False),),
        growth_room=GrowthRoom(
            from_mm=figure(40), run_cm=figure(1), slowed_to=figure(0.5), slowed_when_full=figure(1)
        ),
        clean_out_days=figure(0),
        sell_within_days=figure(0),
    )


def fixed_room(
    intervals: list[Interval],
    tanks: tuple[Vessel, ...],
    pins: dict[int, str] | None = None,
    *,
    long_only: bool = False,
) -> Room:
    """Return a room with a brood for each half-open interval of days from today.

    More tanks like the last one could be added.
    """
    lengths = sorted({end - start for start, end in intervals})
    run = 60 if long_only else 1
    return Room(
        name="fixed",
        today=TODAY,
        keeper=EVERY_DAY,
        vessels=tanks,
        lines=tuple(
            Line(name=f"{days} days", species="made up", rules=fixed_pack(days, run_cm=run))
            for days in lengths
        ),
        broods=tuple(
            planned(f"P{number}", f"{end - start} days", TODAY + timedelta(days=start), 10)
            for number, (start, end) in enumerate(intervals)
        ),
        could_add=(Addable(like=tanks[-1].declared_as, price=1, most=len(intervals)),),
        pins=tuple(
            Pin(kind=PinKind.IN, brood=f"P{number}", vessel=vessel, span=Span())
            for number, vessel in (pins or {}).items()
        ),
    )


def added(result: Result) -> int:
    """Return how many tanks the best plan adds, after making sure that the answer is proven."""
    assert result.best.plan.proven
    assert result.best.plan.verdict is not Verdict.DOES_NOT_FIT
    return sum(row.copies for row in result.best.plan.added)


def greatest_overlap(intervals: list[Interval]) -> int:
    """Return the largest clique of the interval graph, which is its number of colours too (by networkx)."""
    graph = nx.Graph()
    graph.add_nodes_from(range(len(intervals)))
    for (i, one), (j, other) in combinations(enumerate(intervals), 2):
        if one[0] < other[1] and other[0] < one[1]:
            graph.add_edge(i, j)
    clique = max(len(found) for found in nx.find_cliques(graph))
    by_start = sorted(graph, key=lambda node: intervals[node])
    colours = nx.greedy_color(graph, strategy=lambda _graph, _colors: by_start)
    assert max(colours.values()) + 1 == clique
    return clique


@pytest.mark.parametrize("seed", range(32))
def test_equal_tanks_needed_are_the_greatest_overlap(seed: int) -> None:
    """Interval partitioning: Kleinberg and Tardos, Algorithm Design (2005), section 4.1."""
    random = Random(seed)  # noqa: S311 - made-up rooms, no secrets
    intervals = [
        (start, start + random.randint(1, 12))
        for start in (random.randint(0, 14) for _ in range(random.randint(2, 10)))
    ]
    tanks = random.randint(1, 3)
    room = fixed_room(intervals, tuple(ten(f"ten {number + 1}") for number in range(tanks)))
    assert added(plan_room(room)) == max(0, greatest_overlap(intervals) - tanks)


def test_ten_overlapping_jobs_need_three_tanks() -> None:
    """Ten half-open intervals, never more than three at a time, in the manner of a lecture's example.

    By hand: 0-4 has the first three, 4-7 the second, fourth and fifth, 7-9 the fifth and both of [7,10), 9-10
    those two and [9,13), 10-13 the last three.
    """
    intervals = [(0, 4), (0, 7), (0, 4), (4, 7), (4, 9), (7, 10), (7, 10), (9, 13), (10, 13), (10, 13)]
    assert greatest_overlap(intervals) == 3
    assert added(plan_room(fixed_room(intervals, (ten("ten 1"),)))) == 2


def test_a_tank_emptied_in_the_morning_is_filled_in_the_afternoon() -> None:
    result = plan_room(fixed_room([(0, 10), (10, 20)], (ten("ten 1"),)))
    assert result.best.plan.verdict is Verdict.FITS
    assert {stay.vessel for stay in result.best.plan.stays} == {"ten 1"}
    shifted = plan_room(fixed_room([(0, 10), (9, 20)], (ten("ten 1"),)))
    assert added(shifted) == 1


def test_a_brood_that_is_fixed_in_a_tank_breaks_the_greatest_overlap() -> None:
    """A [0,4) in tank 1 and B [6,10) in tank 2 are fixed, C [2,8) meets both: depth 2, 3 needed."""
    intervals = [(0, 4), (6, 10), (2, 8)]
    tanks = (ten("ten 1"), ten("ten 2"))
    assert greatest_overlap(intervals) == 2
    assert added(plan_room(fixed_room(intervals, tanks))) == 0
    assert added(plan_room(fixed_room(intervals, tanks, {0: "ten 1", 1: "ten 2"}))) == 1


def test_a_tank_that_does_not_suit_breaks_the_greatest_overlap() -> None:
    """Two broods that overlap both need 60 cm to swim; the tank of 50 cm stands free and is of no use."""
    tanks = (ten("ten 1"), ten("longer 1", declared_as="longer", length_mm=700))
    intervals = [(0, 5), (3, 8)]
    assert greatest_overlap(intervals) == 2
    assert added(plan_room(fixed_room(intervals, tanks))) == 0
    assert added(plan_room(fixed_room(intervals, tanks, long_only=True))) == 1


# -- every level, by trying everything ---------------------------------------------------------------------

NAMES = {
    "strain": "strain",
    "handlings": "handlings",
    "days with moves": "move days",
    "vessel-days in use": "vessel-days",
}


def agrees(answer: Answer, exact: dict[str, float]) -> None:
    """Every level up to the last proven one is the exact optimum; an unproven one is no better than it."""
    for outcome in answer.levels:
        if outcome.name not in NAMES:
            continue
        assert outcome.bound <= exact[NAMES[outcome.name]] <= outcome.value, outcome.name
        if not outcome.proven:
            return
        assert outcome.value == exact[NAMES[outcome.name]], outcome.name


def level_one(answer: Answer) -> float:
    """Return the proven value of level 1."""
    assert answer.levels[0].proven
    return answer.levels[0].value


SEEDS = (*range(26), *range(27, 31))
"""Thirty rooms; to try everything in room 26 takes as long as in all others."""


@pytest.mark.parametrize("seed", SEEDS)
def test_every_level_is_what_trying_everything_finds(seed: int) -> None:
    room = tiny_room(seed)
    result = plan_room(room)
    as_it_is = best_of(room, adding=False, homeless=True)
    assert as_it_is is not None
    if may_shift(room):
        assert level_one(result.as_it_is) <= as_it_is["homeless"]
        return
    assert level_one(result.as_it_is) == as_it_is["homeless"]
    if as_it_is["homeless"] == 0:
        agrees(result.best, as_it_is)
        return
    all_housed = best_of(room, adding=True, homeless=False)
    if all_housed is not None:
        assert level_one(result.best) == all_housed["cost"] / 100
        agrees(result.best, all_housed)
    elif result.best == result.as_it_is:
        agrees(result.best, as_it_is)
    else:
        with_tanks = best_of(room, adding=True, homeless=True)
        assert with_tanks is not None
        assert level_one(result.best) == with_tanks["homeless"]


# -- the same rooms in another solver ----------------------------------------------------------------------


def may_shift(room: Room) -> bool:
    """Tell whether a brood may change vessel within a stage, because none is there for the whole of it.

    The searches that we compare with keep a brood in one vessel through each stage, so there the planner may
    find better, and never worse.
    """
    return any(phase.optional for brood in needs_of(room).broods for phase in brood.phases)


def test_most_of_the_small_rooms_are_compared_exactly() -> None:
    assert sum(not may_shift(tiny_room(seed)) for seed in SEEDS) >= 15
    assert sum(not may_shift(tiny_room(seed, slow=False, most=5)) for seed in range(100, 132)) >= 16


@pytest.mark.parametrize("seed", range(100, 132))
def test_level_one_is_what_a_plain_integer_programme_finds(seed: int) -> None:
    """A boolean per brood, stage, vessel and slot, solved by HiGHS, which shares nothing with our solver."""
    room = tiny_room(seed, slow=False, most=5)
    result = plan_room(room)
    homeless = least(room, adding=False, homeless=True)
    if may_shift(room):
        assert level_one(result.as_it_is) <= homeless
        return
    assert level_one(result.as_it_is) == homeless
    if homeless:
        cost = least(room, adding=True, homeless=False)
        if cost is not None:
            assert level_one(result.best) == cost / 100
        else:
            assert result.best.plan.verdict is Verdict.DOES_NOT_FIT
            assert level_one(result.best) == least(room, adding=True, homeless=True)
