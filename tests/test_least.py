"""What no plan can do without, against plans that are known to be best.

Outside: exhaustive enumeration (`brute_force`), which shares no code with the tables. Inside: the cohort model solved to
the end, which shares the tables but nothing of how the bounds are found.
"""

from dataclasses import replace
from threading import Event

import pytest
from benchmark.rooms import bench_room
from brute_force import best_of
from random_rooms import random_room
from room_files import SCENARIOS
from small_rooms import figure, long, small_pack, small_room
from test_easing import run_of
from tiny_rooms import tiny_room

from allocator.finishing import _at_least
from allocator.model.alone import Gauge
from allocator.model.first_fit import FirstFit
from allocator.model.improving import _tell
from allocator.model.least_work import least_handlings, least_move_days, least_vessel_days
from allocator.model.naming import Solution
from allocator.model.room_model import CohortModel
from allocator.model.run import Found
from allocator.model.search import Budget, search
from allocator.model.settled import Score
from allocator.model.sweep import MOST_STATES, _Lot, _Sweep, least_strain
from allocator.needs import needs_of
from allocator.planner import plan_room
from allocator.reading import read_room
from allocator.result import FoundBy
from allocator.rules import VesselKind

WITHOUT_END = 10**9

TINY = (0, 1, 4, 6, 9, 10, 23, 24, 27, 28, 29, 33, 34, 41, 42, 47, 62, 65, 70, 84, 119)
"""Rooms of which all plans are tried in a second."""

TINY_MET = {0, 1, 4, 10, 23, 27, 28, 29, 33, 34, 42, 84, 119}
"""Those where the bound is the truth; of the first 59 rooms that can house all it is in 39 of 55 with strain."""

RANDOM, RANDOM_MET = (1, 8, 13, 14, 36, 55, 56), {1, 8, 14, 55}


@pytest.mark.parametrize("seed", TINY)
def test_no_tiny_room_does_with_less(seed: int) -> None:
    """Every plan of a tiny room was tried: none has less strain, fewer moves, fewer days with moves or vessel-days."""
    room = tiny_room(seed, most=2)
    best = best_of(room, adding=False, homeless=False)
    assert best is not None
    needs = needs_of(room)
    strain = least_strain(needs, {}, enough=WITHOUT_END)
    assert strain <= best["strain"]
    assert seed not in TINY_MET or strain == best["strain"] > 0
    assert least_handlings(needs) <= best["handlings"]
    assert least_move_days(needs) <= best["move days"]
    assert least_vessel_days(needs) <= best["vessel-days"]


@pytest.mark.parametrize("seed", RANDOM)
def test_no_random_room_has_less_strain(seed: int) -> None:
    """The model's best plan has no less, however many lots are forgotten on the way."""
    needs = needs_of(random_room(seed, broods=(2, 5)))
    model = CohortModel(needs, adding=False, homeless=False)
    model.model.minimize(model.objectives["strain"])
    best = search(model.model, Budget(0.5, brief=True), stop=Event())
    assert best.optimal
    whole, brief = (
        least_strain(needs, {}, enough=WITHOUT_END, most_states=most) for most in (MOST_STATES, 2)
    )
    assert brief <= whole <= best.objective
    assert seed not in RANDOM_MET or whole == best.objective > 0


def test_who_may_leave_out_a_stage_may_stay_where_it_is() -> None:
    """Fry may stay where they hatched if the stage between may be left out: the model's best plan carries nobody."""
    stages = list(small_pack().stages)
    stages[1] = stages[1].model_copy(update={"may_skip": True})
    stages[2] = stages[2].model_copy(update={"from_mm": figure(7), "until_mm": figure(35)})
    pack = small_pack(stages=tuple(stages), eggs_need_snail_free=False)
    room = small_room()
    both = long("long 1", kinds=(VesselKind.HATCHERY, VesselKind.GROW_OUT))
    room = room.model_copy(
        update={
            "lines": tuple(line.model_copy(update={"rules": pack}) for line in room.lines),
            "vessels": tuple(both if vessel.name == both.name else vessel for vessel in room.vessels),
            "broods": tuple(brood for brood in room.broods if brood.name == "P1"),
        }
    )
    needs = needs_of(room)
    model = CohortModel(needs, adding=False, homeless=False)
    for value, least in (("handlings", least_handlings(needs)), ("move_days", least_move_days(needs))):
        model.model.minimize(model.objectives[value])
        best = search(model.model, Budget(1.0, brief=True), stop=Event())
        assert best.optimal
        assert least == best.objective == {"handlings": 0, "move_days": 1}[value]


def test_a_bound_says_nothing_of_what_the_search_left_open() -> None:
    """The search knows of 3 handlings at least, and it is known otherwise that 5 are needed: of days it knows nothing."""
    needs = needs_of(small_room())
    score = Score(0, 0, 0, 0, 0, handlings=5, move_days=4, vessel_days=300)
    found = Found(needs, Solution((), {}), score, FoundBy.FIRST_FIT)
    _tell(found, "handling", 3_700_000_000, {"handlings": 5, "move_days": 1, "vessel_days": 10})
    assert [(level.bound, level.proven) for level in found.levels] == [(5, True), (1, False), (10, False)]


@pytest.mark.parametrize("seed", [4, 7])
def test_nothing_is_known_of_a_room_that_cannot_house_all(seed: int) -> None:
    """There is no plan to speak of; that is no fault."""
    needs = needs_of(random_room(seed, broods=(4, 10)))
    assert least_strain(needs, {}, enough=WITHOUT_END) >= 0


def test_a_forgotten_lot_may_yet_enter_in_the_same_slot() -> None:
    """Who waits when it is forgotten, and has yet to enter in this slot, costs 10, and not the 30 of the next one."""
    needs = needs_of(small_room())
    costs = {kind.index: {5: 10, 6: 30} for kind in needs.classes if kind.sample.name == "long 1"}
    (kind,) = costs
    lots = [_Lot(brood, (1 << n,), costs, (5, 6), 9) for n, brood in enumerate(needs.broods[:2])]
    sweep = _Sweep(needs, {}, Gauge(needs), lots, WITHOUT_END, 0)
    there = 1 | kind << sweep.bits
    assert sweep._few({(0b10, (there,)): 5, (0b11, ()): 0}, 5, [lots[0]]) == {(0b10, ()): 5}
    sweep = _Sweep(needs, {}, Gauge(needs), lots, WITHOUT_END, 0)
    assert sweep._few({(0b10, (there,)): 50, (0b11, ()): 0}, 5, [lots[0]]) == {(0b10, ()): 10}
    sweep = _Sweep(needs, {}, Gauge(needs), lots, WITHOUT_END, 0)
    assert sweep._few({(0b10, (there,)): 50, (0b11, ()): 0}, 5, []) == {(0b10, ()): 30}


def test_the_sweep_ends_when_it_is_told_to() -> None:
    """Cut short, it shows less, and nothing that is not so."""
    needs = needs_of(random_room(1, broods=(2, 5)))
    whole = least_strain(needs, {}, enough=WITHOUT_END)
    assert least_strain(needs, {}, enough=WITHOUT_END, go_on=lambda: False) <= whole
    assert least_strain(needs, {}, enough=17) == 17 < whole
    more = dict.fromkeys((kind.index for kind in needs.classes), 3)
    assert least_strain(needs, more, enough=WITHOUT_END) <= whole


def test_a_large_room_that_is_stopped_is_not_kept_waiting_for_bounds() -> None:
    """Once the keeper has stopped a large run, nothing is counted any more."""
    run = run_of(bench_room("unlike", "club", 1))
    fit = FirstFit(run.needs, {})
    fit.run()
    score = replace(fit.board.score(), homeless_fish_days=0)
    found = Found(run.needs, Solution(fit.board.solution(), {}), score, FoundBy.FIRST_FIT)
    run.stop.set()
    assert _at_least(run, found, adding=False) == {}


def test_the_home_rack_can_do_with_little_less() -> None:
    """What is shown is near to what is reached, and a search is no longer needed to say so."""
    result = plan_room(read_room(SCENARIOS / "home-rack.yaml").room)
    strain = next(level for level in result.best.levels if level.name == "strain")
    assert 0.85 * strain.value < strain.bound < strain.value
    assert result.work == 0
