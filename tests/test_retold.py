"""A plan read back and unfolded again is the same plan."""

from datetime import timedelta
from pathlib import Path

import pytest
from random_rooms import random_room
from small_rooms import TODAY, small_room

from allocator.model.first_fit import FirstFit
from allocator.model.in_hand import told_by
from allocator.model.naming import Solution
from allocator.model.retold import retold
from allocator.model.settled import Settled
from allocator.model.unfold import unfold
from allocator.needs import needs_of
from allocator.plan import Plan, Stay
from allocator.planner import plan_room
from allocator.reading import read_room
from allocator.room import Room

SCENARIOS = Path(__file__).parent.parent / "scenarios"


def assert_told_again(room: Room, plan: Plan) -> None:
    needs = needs_of(room)
    told = retold(needs, plan)
    assert sorted(told) == list(range(len(needs.broods)))
    again = unfold(needs, Solution(tuple(told[index] for index in sorted(told)), {}), proven=False)
    assert again.stays == plan.stays
    assert again.moves == plan.moves
    assert again.homeless == plan.homeless
    assert again.flow == plan.flow


@pytest.mark.parametrize("seed", range(60))
def test_every_plan_of_first_fit_can_be_read_back(seed: int) -> None:
    room = random_room(seed)
    needs = needs_of(room)
    fit = FirstFit(needs, {})
    assert fit.run()
    fit.improve(10, seed)
    solution = Solution(fit.board.solution(), {})
    assert_told_again(room, unfold(needs, solution, proven=False))


@pytest.mark.parametrize("seed", [2, 30, 33])
def test_every_plan_of_the_solver_can_be_read_back(seed: int) -> None:
    """Seed 30 leaves out a stage that may be skipped, and has no home for some."""
    result = plan_room(random_room(seed))
    assert_told_again(result.room, result.best.plan)
    assert_told_again(random_room(seed), result.as_it_is.plan)


@pytest.mark.parametrize("name", ["tiny", "three-ways"])
def test_the_plans_of_scenarios_can_be_read_back(name: str) -> None:
    result = plan_room(read_room(SCENARIOS / f"{name}.yaml").room)
    assert_told_again(result.room, result.best.plan)


def test_days_that_are_no_move_days_are_not_understood() -> None:
    room = random_room(1)
    plan = plan_room(room).best.plan
    stay = next(stay for stay in plan.stays if stay.until > stay.from_)
    odd = stay.model_copy(update={"until": stay.from_.replace(year=2099)})
    edited = plan.model_copy(update={"stays": tuple(odd if one is stay else one for one in plan.stays)})
    needs = needs_of(room)
    told = {needs.broods[index].name for index in retold(needs, edited)}
    assert stay.brood not in told


@pytest.mark.parametrize("seed", range(20))
def test_what_is_settled_may_be_as_it_is(seed: int) -> None:
    """Whoever is taken off the board may be put back; the day on which a stage begins in place may differ."""
    needs = needs_of(random_room(seed))
    fit = FirstFit(needs, {})
    assert fit.run()
    told = told_by(fit, unfold(needs, Solution(fit.board.solution(), {}), proven=False))
    for brood in needs.broods:
        settled = fit.board.take(brood.index)
        again = told(brood)
        if settled.homeless is None:
            assert again is not None
            assert where(again) == where(settled)
        else:
            assert again is None
        fit.board.put(brood.index, settled)


def test_a_plan_of_last_week_is_still_understood() -> None:
    """Its stays began before today, and are gone on from."""
    room = small_room()
    plan = plan_room(room).best.plan
    a_week_on = room.model_copy(update={"today": TODAY + timedelta(days=7)})
    needs = needs_of(a_week_on)
    fit = FirstFit(needs, {})
    told = told_by(fit, plan)
    homes = {brood.name: {home.vessel for home in brood.homes} for brood in room.broods}
    stays = {
        brood.name: {stay.vessel for stay in plan.stays if stay.brood == brood.name and on(stay, a_week_on)}
        for brood in room.broods
    }
    followed = [b for b in needs.broods if not b.brood.planned and homes[b.name] == stays[b.name]]
    assert followed
    assert all(told(brood) is not None for brood in followed)


def on(stay: Stay, room: Room) -> bool:
    return stay.from_ <= room.today < stay.until


def where(settled: Settled) -> dict[int, dict[str, float]]:
    """Return the share of a brood in each vessel, slot by slot."""
    found: dict[int, dict[str, float]] = {}
    for place in settled.places:
        for slot in range(place.start, place.end):
            found.setdefault(slot, {})[place.vessel] = place.parts / place.of
    return found
