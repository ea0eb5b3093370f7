"""Company slows growth: in the husbandry, in the plan, and in the checker that it must pass."""

from dataclasses import replace
from datetime import date, timedelta
from math import exp
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from random_rooms import random_room
from small_rooms import TODAY, figure, in_being, level, long, planned, small_pack, small_room

from allocator import planner
from allocator.answering import held_back_by, room_with
from allocator.check import Breach, check_plan, sold_too_soon
from allocator.codes import Rule
from allocator.husbandry.growth import GrowthCurve, growth_factor
from allocator.husbandry.life import Dwelling, Life
from allocator.husbandry.stocking import Cap, crowding
from allocator.model.board import board_with
from allocator.model.company import Company, held_back_in
from allocator.model.first_fit import FirstFit
from allocator.model.least_work import least_handlings, least_move_days, least_vessel_days
from allocator.model.naming import Solution
from allocator.model.run import Run
from allocator.model.sweep import least_strain
from allocator.model.unfold import unfold
from allocator.needs import most_held_back, needs_of, with_held_back
from allocator.planner import plan_room
from allocator.result import NoPlanInTime
from allocator.room import Keeper, Line, Room
from allocator.rules import GrowthRoom, RoomStep, RulePack

DAY = timedelta(days=1)
SHARES = st.floats(0, 3)


def pack_slowed_to(share: float) -> RulePack:
    """Return the small pack, in which fish at the limit grow at a share of their pace."""
    room = GrowthRoom(
        from_mm=figure(40), run_cm=figure(1), slowed_to=figure(0.5), slowed_when_full=figure(share)
    )
    return small_pack(growth_room=room)


# -- growth beyond the pack's last point --------------------------------------------------------------------


@pytest.mark.parametrize(("age", "mm"), [(1, 45.1188), (2, 66.7129), (5, 92.5726)])
def test_growth_beyond_the_last_point_is_von_bertalanffys(age: float, mm: float) -> None:
    """Worked values of the equation for an adult length of 100, K = 0.5, t0 = -0.2 (textbook form, from memory).

    The curve is anchored on two points of it, close together, at age 0; its slope there is K times what is left.
    """

    def textbook(t: float) -> float:
        return 100 * (1 - exp(-0.5 * (t + 0.2)))

    curve = GrowthCurve(((-0.001, textbook(-0.001)), (0.0, textbook(0.0))), adult_mm=100)
    assert curve.mm(age) == pytest.approx(mm, abs=0.03)  # a chord of 0.001 is a little steeper than the slope
    assert curve.age(mm) == pytest.approx(age, abs=0.002)


@given(st.floats(0, 5000), st.floats(0, 5000))
def test_growth_goes_on_and_never_beyond_the_adult_length(one: float, other: float) -> None:
    curve = GrowthCurve(((0.0, 5.0), (100.0, 40.0), (200.0, 60.0)), adult_mm=80)
    young, old = sorted((one, other))
    assert curve.mm(young) <= curve.mm(old) <= 80
    assert curve.age(80) is None
    reached = curve.age(curve.mm(young)) if curve.mm(young) < 79.999 else None
    assert reached is None or curve.mm(reached) == pytest.approx(curve.mm(young))


def test_the_curve_leaves_its_last_point_as_steeply_as_it_came() -> None:
    curve = GrowthCurve(((0.0, 5.0), (100.0, 40.0), (200.0, 60.0)), adult_mm=80)
    assert curve.mm(201) - 60 == pytest.approx(0.2, abs=0.002)  # (60 - 40) / 100 = 0.2 mm a day


# -- how crowded ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("comfort", "limit", "far"),
    [(0.8, 0.4, 0.0), (1.0, 0.5, 0.0), (1.5, 0.75, 0.5), (2.0, 1.0, 1.0), (3.0, 1.5, 1.0), (1.2, 1.2, 1.0)],
)
def test_crowding_runs_from_comfort_to_the_limit(comfort: float, limit: float, far: float) -> None:
    """Comfort of 10 fish, limit of 20: 15 fish are half-way. Where both are one, above it is all the way."""
    assert crowding({Cap.FISH: (comfort, limit)}) == pytest.approx(far)
    assert crowding({Cap.FISH: (comfort, limit), Cap.WEIGHT: (0.1, 0.1)}) == pytest.approx(far)


def test_a_short_vessel_crowds_nobody() -> None:
    assert crowding({Cap.RUN: (3.0, 2.0)}) == 0


@given(SHARES, SHARES, st.floats(1, 5))
def test_more_fish_never_crowd_less(one: float, other: float, ratio: float) -> None:
    few, many = sorted((one, other))
    assert crowding({Cap.FISH: (few * ratio, few)}) <= crowding({Cap.FISH: (many * ratio, many)})


@given(st.floats(0, 1), st.floats(0.05, 1), st.floats(5, 100), st.floats(10, 200))
def test_growth_is_slowed_and_never_stopped(far: float, full: float, mm: float, run_cm: float) -> None:
    room = GrowthRoom(
        from_mm=figure(40), run_cm=figure(80), slowed_to=figure(0.5), slowed_when_full=figure(full)
    )
    alone, crowded = growth_factor(mm, run_cm, room), growth_factor(mm, run_cm, room, far)
    assert 0 < crowded <= alone <= 1
    assert growth_factor(mm, run_cm, room, 1.0) == pytest.approx(alone * full)


# -- the day of sale -----------------------------------------------------------------------------------------


def test_fish_at_the_limit_all_their_life_are_ready_later_by_the_sum() -> None:
    """From hatch to 45 mm are 40 mm at 0.2 mm a day, 200 days; at four fifths of the pace, 250."""
    life = Life(planned("P", "red", TODAY, 10), pack_slowed_to(0.8), Keeper(move_days=(5,)))
    start = life.hatched
    alone = life.ready_for_sale([Dwelling(90, start, start + DAY)])
    crowded = life.ready_for_sale([Dwelling(90, start, start + DAY, {start: 1.0})])
    half = life.ready_for_sale([Dwelling(90, start, start + DAY, {start: 0.5})])
    assert alone == start + 200 * DAY
    assert crowded == start + 250 * DAY
    assert half == start + 223 * DAY  # 200 / 0.9 = 222.2
    # In a short tank half the pace from 40 mm on: 175 + 50 days, and at four fifths of that 281.25. One for rounding.
    assert most_held_back(life, start) == 282 - 225 + 1


@given(st.lists(st.floats(0, 1), min_size=1, max_size=60), st.floats(0.3, 1))
def test_company_never_makes_fish_ready_sooner_nor_later_than_the_most(far: list[float], full: float) -> None:
    life = Life(planned("P", "red", TODAY, 10), pack_slowed_to(full), Keeper(move_days=(5,)))
    start = life.hatched
    crowded = {start + number * DAY: share for number, share in enumerate(far)}
    alone = life.ready_for_sale([(90.0, start, start + DAY)])
    ready = life.ready_for_sale([Dwelling(90.0, start, start + len(far) * DAY, crowded)])
    assert alone is not None
    assert ready is not None
    assert alone <= ready <= alone + most_held_back(life, start) * DAY


# -- the plan ------------------------------------------------------------------------------------------------


def crowded_room(full: float, *, tanks: int = 1) -> Room:
    """Return a room in which 80 fish of two broods share one long tank of 144 litres, or have one each.

    One fish a litre is the limit, half of that comfort: 80 are 0.556 a litre, a ninth of the way to the limit.
    """
    pack = pack_slowed_to(full).model_copy(
        update={"room": (RoomStep(from_mm=figure(0), fish_per_litre=level(1)),)}
    )
    return small_room(
        keeper=Keeper(move_days=(5,)),
        lines=(Line(name="red", species="made up", rules=pack),),
        vessels=tuple(long(f"long {number}") for number in range(1, tanks + 1)),
        groups=(),
        broods=tuple(
            in_being(f"K{n}", "red", TODAY - 140 * DAY, 40, f"long {min(n, tanks)}") for n in (1, 2)
        ),
        could_add=(),
    )


def sales(room: Room) -> dict[str, date]:
    """Return the days of sale of the best plan, which must pass the checker."""
    result = plan_room(room)
    assert not [breach for breach in check_plan(result.room, result.best.plan) if not breach.as_found]
    return {move.brood: move.on for move in result.best.plan.moves if move.to is None}


def test_crowded_fish_are_sold_later_and_a_tank_of_their_own_brings_it_forward() -> None:
    """Hatched 130 days ago, so 31 mm long: 14 mm to go, 70 days alone.

    At a ninth of the way to the limit, and half the pace there, growth is 1 - 0.5 / 9 = 0.944: 74.1 days. With
    Saturdays as the only move days, 70 and 75 days are a week apart.
    """
    alone, together = sales(crowded_room(0.5, tanks=2)), sales(crowded_room(0.5))
    assert alone.keys() == together.keys() == {"K1", "K2"}
    assert all(together[name] == alone[name] + 7 * DAY for name in alone)
    assert sales(crowded_room(1)) == alone


def test_the_checker_finds_a_crowded_brood_sold_as_if_it_had_been_alone() -> None:
    room = crowded_room(0.5)
    careless = plan_room(crowded_room(1)).best.plan
    found = {breach.rule for breach in check_plan(room, careless)}
    assert found == {Rule.READY}
    assert sold_too_soon(room, careless).keys() == {"K1", "K2"}


@pytest.mark.parametrize("seed", range(60))
def test_the_tables_see_whatever_the_checker_sees(seed: int) -> None:
    """The quick forecast may be too careful, never too careless (only what first fit makes is compared)."""
    room = random_room(seed, pins=False, odd=False)
    room = slowed(room, 0.5)
    needs = needs_of(room)
    fit = FirstFit(needs, {})
    assert fit.run()
    solution = Solution(fit.board.solution(), {})
    exact = sold_too_soon(room_with(room, needs, solution), unfold(needs, solution, proven=False))
    quick = held_back_in(needs, solution)
    assert all(quick.get(name, 0) >= days for name, days in exact.items())


@pytest.mark.parametrize("seed", range(20))
def test_company_that_is_remembered_is_the_same_as_company_reckoned_anew(seed: int) -> None:
    """However the broods are settled anew, and whatever the tables say of their sale."""
    needs = needs_of(slowed(random_room(seed, broods=(4, 10), pins=False, odd=False), 0.5))
    fit, company = FirstFit(needs, {}), Company()
    assert fit.run()
    for number in range(4):
        late = company.held_back_on(fit.board)
        assert late == held_back_in(fit.needs, Solution(fit.board.solution(), {}))
        fit = fit.with_tables(with_held_back(needs, late))
        fit.improve(5, number)


@pytest.mark.parametrize("seed", range(6))
def test_a_board_on_which_others_are_settled_becomes_as_told(seed: int) -> None:
    """The loads, moves and score are those of a fresh board."""
    fit = FirstFit(needs_of(random_room(seed, broods=(4, 10), pins=False, odd=False)), {})
    assert fit.run()
    board = board_with(fit.needs, {}, fit.board.solution())
    fit.improve(20, seed)
    told = fit.board.solution()
    board.settle_as(told)
    fresh = board_with(fit.needs, {}, told)
    assert board.solution() == told
    assert board.score() == fresh.score()
    assert board.moves.tolist() == fresh.moves.tolist()
    assert all((board.vessels[name].load == vessel.load).all() for name, vessel in fresh.vessels.items())


def slowed(room: Room, full: float) -> Room:
    """Return the room with all its packs slowed to a share at the limit."""

    def change(pack: RulePack) -> RulePack:
        growth = pack.growth_room.model_copy(update={"slowed_when_full": figure(full)})
        return pack.model_copy(update={"growth_room": growth})

    lines = tuple(line.model_copy(update={"rules": change(line.rules)}) for line in room.lines)
    return room.model_copy(update={"lines": lines})


@pytest.mark.parametrize("seed", range(12))
def test_with_the_most_that_company_can_take_no_plan_sells_too_soon(seed: int) -> None:
    """That is why the rounds of the planner end."""
    room = slowed(random_room(seed, pins=False, odd=False), 0.5)
    needs = needs_of(room)
    most = {b.name: most_held_back(b.life, needs.days[b.start]) for b in needs.broods}
    needs = with_held_back(needs, most)
    fit = FirstFit(needs, {})
    assert fit.run()
    fit.improve(5, Random(seed).randint(0, 99))  # noqa: S311 - made-up rooms
    solution = Solution(fit.board.solution(), {})
    assert sold_too_soon(room_with(room, needs, solution), unfold(needs, solution, proven=False)) == {}


@pytest.mark.parametrize("seed", [0, 3, 7, 12, 20])
@pytest.mark.parametrize("asked", [12, 40])
def test_a_run_that_is_stopped_still_gives_a_plan_that_sells_nobody_too_soon(
    seed: int, asked: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stopped after so many looks at the clock: in the middle of settling, or of the search."""
    room = slowed(random_room(seed, pins=False, odd=False), 0.4)
    looks = iter(range(10**9))

    def over(run: Run) -> bool:
        run.cut_short = next(looks) > asked
        return run.cut_short

    monkeypatch.setattr(Run, "over", over)
    try:
        result = plan_room(room)
    except NoPlanInTime:
        return
    assert result.stopped or next(looks) <= asked
    assert not [breach for breach in check_plan(result.room, result.best.plan) if not breach.as_found]


def test_the_days_held_back_grow_until_there_are_no_more() -> None:
    """So the rounds of the planner come to an end."""
    needs = needs_of(small_room())
    breach = Breach(rule=Rule.READY, day=TODAY, brood="B1", vessel="long 1", text="too soon")
    seen = []
    while held := held_back_by(needs, [breach], {"B1": 3}):
        seen.append(held)
        needs = with_held_back(needs, held)
    most = {b.name: most_held_back(b.life, needs.days[b.start]) for b in needs.broods}
    assert seen == [{"B1": 3}, {"B1": most["B1"]}, most]
    other = breach.model_copy(update={"rule": Rule.ROOM})
    assert held_back_by(needs_of(small_room()), [other], {"B1": 3}) == {}


def test_nothing_found_with_sales_put_off_is_called_proven(monkeypatch: pytest.MonkeyPatch) -> None:
    """Bounds from tables in which sales are put off hold for plans that sell as late, not for all."""
    room = slowed(small_room(), 0.5)
    plain = plan_room(room)
    assert plain.best.plan.proven
    real = planner.needs_of
    monkeypatch.setattr(planner, "needs_of", lambda r: with_held_back(real(r), {"B1": 1}))
    put_off = plan_room(room)
    needs = real(room)  # company holds nobody back here
    least = {
        "strain": least_strain(needs, {}, enough=10**9),
        "handlings": least_handlings(needs),
        "days with moves": least_move_days(needs),
        "vessel-days in use": least_vessel_days(needs),
    }
    assert all(level.bound <= least.get(level.name, 0) for level in put_off.best.levels)
    assert least["strain"] <= next(level.value for level in plain.best.levels if level.name == "strain")
    assert put_off.best.plan.proven  # nobody is without a home and nothing is added: the plan itself shows it


# -- eggs laid over several days -----------------------------------------------------------------------------


def test_eggs_laid_over_a_week_hatch_over_a_week_more() -> None:
    """Incubation is 8, 10 or 12 days. Laid over seven days to 9 January, the first eggs are six days old by then."""
    one_day = planned("P", "red", date(2027, 1, 9), 10)
    week = one_day.model_copy(update={"laid_over_days": 7})
    keeper = Keeper(move_days=(5,))
    fresh, mixed = Life(one_day, small_pack(), keeper), Life(week, small_pack(), keeper)
    assert (fresh.hatch_from.day, fresh.hatched.day, fresh.hatch_until.day) == (17, 19, 21)
    assert (mixed.hatch_from.day, mixed.hatched.day, mixed.hatch_until.day) == (11, 16, 21)


def test_no_egg_hatches_before_it_is_collected() -> None:
    brood = planned("P", "red", TODAY, 10).model_copy(update={"laid_over_days": 14})
    life = Life(brood, small_pack(), Keeper(move_days=(5,)))
    assert life.hatch_from == TODAY
    assert replace(life, wetted=TODAY + DAY).hatch_from == TODAY + DAY
