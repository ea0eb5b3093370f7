"""A plan is made more comfortable, and stays one that the checker has nothing against."""

from threading import Event
from time import monotonic

import pytest
from benchmark.rooms import bench_room
from random_rooms import random_room
from test_company import slowed

from allocator.answering import room_with
from allocator.check import sold_too_soon
from allocator.husbandry.life import lives
from allocator.husbandry.stages import sale_day
from allocator.model import quick
from allocator.model.board import board_with, score_of
from allocator.model.easing import ease
from allocator.model.first_fit import FirstFit
from allocator.model.holding_back import PutOff
from allocator.model.quick import quick_plan
from allocator.model.run import Found, Run
from allocator.model.unfold import unfold
from allocator.needs import needs_of
from allocator.room import Order, Room


def run_of(room: Room) -> Run:
    """Return what one call of the planner would share."""
    needs = needs_of(room)
    return Run(
        room, needs, needs, Event(), None, monotonic(), lambda _: None, None, lambda _brood, _slot: None
    )


def eased(room: Room) -> tuple[Run, Found, Found]:
    """Return a quick plan of a room, and what easing makes of it."""
    run = run_of(room)
    found = quick_plan(run, {}, "with what is there")
    before = Found(found.needs, found.solution, found.score, found.by)
    ease(run, found)
    return run, before, found


@pytest.mark.parametrize("seed", range(12))
def test_an_eased_plan_is_no_worse_and_sells_nobody_too_soon(seed: int) -> None:
    """The checker's own account of company says so, and the score is that of a fresh board."""
    room = slowed(random_room(seed, broods=(6, 12), pins=False, odd=False), 0.5)
    run, before, found = eased(room)
    assert found.score.key() <= before.score.key()
    assert found.score == score_of(found.needs, found.solution.added, found.solution.settled)
    if found.earlier:
        assert found.score.key() < before.score.key()
        plan = unfold(found.needs, found.solution, proven=False)
        assert not sold_too_soon(room_with(run.room, found.needs, found.solution), plan)


def test_a_room_with_space_to_spare_becomes_more_comfortable() -> None:
    """A fifth less strain at least, where unlike vessels leave a choice (28 % less when this was written)."""
    _, before, found = eased(bench_room("unlike", "home", 2))
    assert found.score.homeless_fish_days == 0
    assert found.score.strain < 0.8 * before.score.strain
    assert [one.score for one in found.earlier] == [before.score]


def test_nothing_is_kept_that_company_does_not_bear() -> None:
    """Where company always says no, the rounds leave everybody where they were."""
    needs = needs_of(random_room(3, broods=(6, 12), pins=False, odd=False))
    fit = FirstFit(needs, {})
    assert fit.run()
    before, asked = fit.board.solution(), []

    def never() -> bool:
        asked.append(fit.board.solution())
        fit.board.take(0)  # what it changes on the way is put back too
        fit.board.put(0, before[0])
        return False

    fit.improve(30, 1, agrees=never)
    assert asked
    assert fit.board.solution() == before
    assert fit.board.score() == board_with(needs, {}, before).score()


def test_a_home_is_looked_for_with_company_in_mind(monkeypatch: pytest.MonkeyPatch) -> None:
    """In this room somebody is left over unless company is asked in each round."""
    room = bench_room("tight-longs", "home", 1)
    assert quick_plan(run_of(room), {}, "with what is there").score.homeless_fish_days == 0
    monkeypatch.setattr(quick, "PutOff", lambda _board: lambda: False)
    assert quick_plan(run_of(room), {}, "with what is there").score.homeless_fish_days > 0


def test_sales_that_cannot_be_put_off_are_told_and_nothing_is_changed() -> None:
    """Whoever is sold too soon and has to make room is left as it was."""
    found_one = False
    for seed in range(40):
        fit = FirstFit(needs_of(slowed(random_room(seed, broods=(6, 12), pins=False, odd=False), 0.5)), {})
        assert fit.run()
        before = fit.board.solution()
        if not PutOff(fit.board)():
            found_one = True
            assert fit.board.solution() == before
    assert found_one


def test_no_fish_are_put_off_beyond_the_day_for_which_they_are_promised() -> None:
    """Where company would keep fish of an order beyond it, the company is not borne."""
    refused = 0
    for seed in range(20):
        room = slowed(random_room(seed, broods=(6, 12), pins=False, odd=False), 0.5)
        forecast = lives(room)
        orders = tuple(
            Order(
                name=f"for {b.name}", fish=1, on=max(sale_day(forecast[b.name]), room.today), broods=(b.name,)
            )
            for b in room.broods
            if b.planned
        )
        fit = FirstFit(needs_of(room.model_copy(update={"orders": orders})), {})
        assert fit.run()
        borne = PutOff(fit.board)()
        refused += not borne
        for brood in fit.needs.broods:
            settled = fit.board.settled[brood.index]
            if settled.homeless is None and brood.brood.planned:
                assert settled.sale <= brood.sale_slots[-1]
    assert refused
