"""Fish that are promised for a day: the plan keeps them, the checker asks for it, and reading says what cannot be."""

from datetime import date, timedelta
from random import Random

import pytest
from brute_force import best_of
from small_rooms import SATURDAY, day, long, retime, small_plan, small_room
from test_optimum import may_shift
from tiny_rooms import tiny_room

from allocator.check import check_plan
from allocator.codes import Rule
from allocator.husbandry.life import lives
from allocator.husbandry.stages import sale_day
from allocator.plan import Homeless, Plan, Verdict
from allocator.planner import plan_room
from allocator.room import Keeper, Order, Pin, PinKind, Room, Span


def promised(room: Room, *broods: str, on: date, fish: int = 5) -> Room:
    """Return a room in which fish of some broods are promised for a day."""
    return room.model_copy(update={"orders": (Order(name="show", fish=fish, on=on, broods=broods),)})


def sold(plan: Plan, brood: str) -> set[date]:
    """Return the days on which a plan sells a brood."""
    return {move.on for move in plan.moves if move.brood == brood and move.to is None}


# -- the checker -----------------------------------------------------------------------------------------


def ordered(room: Room, plan: Plan) -> list[str]:
    """Return what the checker says of the orders, and that it says nothing else."""
    found = check_plan(room, plan)
    assert {breach.rule for breach in found} <= {Rule.ORDERED}
    return [breach.text for breach in found]


def test_the_checker_wants_fish_of_an_order_kept_until_its_day_and_not_longer() -> None:
    """P1 is sold on 7 August: an order for that day holds, one for the 8th does not."""
    plan = small_plan()
    assert ordered(promised(small_room(), "P1", on=day("08-07")), plan) == []
    assert ordered(promised(small_room(), "P1", on=day("08-08")), plan) == [
        "P1 is sold from long 1 on 2027-08-07, but is promised for show on 2027-08-08"
    ]
    later = retime(plan, "P1", day("08-07"), day("08-14"))
    assert ordered(promised(small_room(), "P1", on=day("08-08")), later) == []


def test_the_checker_wants_fish_of_an_order_without_a_home_counted_until_its_day() -> None:
    """P1 has no home from 10 April, when it would go to the long tank; it could be sold from 7 August on."""
    row = Homeless.model_validate({"brood": "P1", "from": day("04-10"), "until": day("08-07"), "fish": 40})
    plan = small_plan()
    plan = plan.model_copy(
        update={
            "stays": tuple(s for s in plan.stays if (s.brood, s.vessel) != ("P1", "long 1")),
            "moves": tuple(m for m in plan.moves if m.brood != "P1" or m.on < day("04-10")),
            "homeless": (row,),
            "verdict": Verdict.DOES_NOT_FIT,
        }
    )
    assert ordered(promised(small_room(), "P1", on=day("08-07")), plan) == []
    assert ordered(promised(small_room(), "P1", on=day("08-08")), plan) == [
        "P1 is listed as homeless until 2027-08-07, but is promised for show on 2027-08-08"
    ]


# -- the plan --------------------------------------------------------------------------------------------


def tiny_order(seed: int, *, slow: bool = True) -> Room:
    """Return a tiny room of which one brood is promised for a day, from two weeks before it is ready to five after."""
    room = tiny_room(seed, slow=slow)
    random = Random(seed)  # noqa: S311 - made-up rooms, no secrets
    brood = random.choice(room.broods)
    ready = max(sale_day(lives(room)[brood.name]), room.today)
    return promised(room, brood.name, on=ready + timedelta(days=random.randint(-14, 35)))


@pytest.mark.parametrize("seed", range(24))
def test_plans_with_an_order_are_as_good_as_trying_every_way(seed: int) -> None:
    """Every way of every brood is tried day by day, without the planner's tables (`brute_force`)."""
    room = tiny_order(seed)
    best = best_of(room, adding=False, homeless=True)
    result = plan_room(room)
    assert best is not None
    levels = {level.name: level for level in result.as_it_is.levels}
    assert levels["fish without a home"].proven
    if may_shift(room):  # to change vessel within a stage is no way that is tried
        assert levels["fish without a home"].value <= best["homeless"]
    else:
        assert levels["fish without a home"].value == best["homeless"]
        if not best["homeless"]:
            assert levels["strain"].value == best["strain"]
    name = room.orders[0].broods[0]
    assert all(on >= room.orders[0].on for on in sold(result.best.plan, name))
    assert all(breach.as_found for breach in check_plan(result.room, result.best.plan))


@pytest.mark.parametrize("on", ["08-07", "08-14", "10-02"])
def test_a_brood_is_kept_until_the_first_move_day_from_its_order_on(on: str) -> None:
    """P1 is ready on 7 August, a Saturday, and its buyers would be found by 4 September; the keeper has four moves a day."""
    wanted = day(on) - timedelta(days=2)
    result = plan_room(promised(small_room(), "P1", on=wanted))
    assert result.best.plan.verdict is Verdict.FITS
    (leaves,) = sold(result.best.plan, "P1")
    assert wanted <= leaves < wanted + timedelta(days=9)
    assert check_plan(result.room, result.best.plan) == []
    free_hands = small_room(keeper=Keeper(move_days=(SATURDAY,)))
    assert sold(plan_room(promised(free_hands, "P1", on=wanted)).best.plan, "P1") == {day(on)}


def test_a_sale_may_be_pinned_to_a_day() -> None:
    """Ready on 7 August; 2 October is beyond the four weeks in which buyers are found."""
    pin = Pin(kind=PinKind.MOVE_ON, brood="P1", span=Span(start=day("10-02"), end=day("10-03")))
    result = plan_room(small_room(pins=(pin,)))
    assert result.remarks == ()
    assert sold(result.best.plan, "P1") == {day("10-02")}
    assert check_plan(result.room, result.best.plan) == []


def test_a_sale_that_is_pinned_to_a_day_before_fish_are_long_enough_is_told() -> None:
    pin = Pin(kind=PinKind.MOVE_ON, brood="P1", span=Span(start=day("07-31"), end=day("08-01")))
    result = plan_room(small_room(pins=(pin,)))
    assert "cannot be kept" in result.remarks[0]
    assert result.best.plan.verdict is Verdict.FITS


def test_a_plan_in_hand_goes_on_when_an_order_comes_in() -> None:
    room = small_room()
    before = plan_room(room).best.plan
    result = plan_room(promised(room, "P1", on=day("10-02")), against=before)
    assert sold(result.best.plan, "P1") == {day("10-02")}
    assert check_plan(result.room, result.best.plan) == []


def test_no_brood_is_called_homeless_because_its_order_is_too_early_for_the_tanks_there() -> None:
    """Long tanks of 70 cm slow all fish from 40 mm on: P1 is ready on 7 August only with room to grow."""
    short = tuple(long(f"long {n}", length_mm=700) for n in (1, 2))
    vessels = (*(v for v in small_room().vessels if v.declared_as != "long"), *short)
    result = plan_room(promised(small_room(vessels=vessels), "P1", on=day("08-07")))
    assert result.best.plan.verdict is Verdict.FITS
    assert min(sold(result.best.plan, "P1")) > day("08-07")
