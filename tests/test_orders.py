"""Fish that are promised for a day: the plan keeps them, the checker asks for it, and reading says what cannot be."""

from datetime import date, timedelta
from pathlib import Path
from random import Random

import pytest
from brute_force import best_of
from room_files import SCENARIOS
from small_rooms import SATURDAY, day, long, retime, small_plan, small_room
from test_optimum import may_shift
from tiny_rooms import tiny_room

from allocator import changes
from allocator.check import check_plan
from allocator.cli import main
from allocator.codes import Rule
from allocator.console import Exit
from allocator.husbandry.life import lives
from allocator.husbandry.stages import sale_day
from allocator.plan import Homeless, Plan, Verdict
from allocator.planner import plan_room
from allocator.reading import RoomReading, read_room
from allocator.reports.calendar_entries import entries
from allocator.reports.moves import moves_text
from allocator.reports.orders import orders_text
from allocator.reports.text import plan_text
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
    """P1 is ready on 7 August, a Saturday, with buyers by 4 September; four moves a day."""
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


# -- the room file ---------------------------------------------------------------------------------------


def reading_of(tmp_path: Path, *orders: str) -> RoomReading:
    path = tmp_path / "room.yaml"
    text = (SCENARIOS / "home-rack.yaml").read_text(encoding="utf-8")
    lines = "".join(f"  - {order}\n" for order in orders)
    path.write_text(f"{text}\norders:\n{lines}", encoding="utf-8")
    return read_room(path)


def test_an_order_is_read_with_its_broods(tmp_path: Path) -> None:
    reading = reading_of(tmp_path, "{name: show, fish: 20, on: 2027-11-06, from: [L3, L 2027-01-16]}")
    assert reading.room.orders == (
        Order(name="show", fish=20, on=date(2027, 11, 6), broods=("L3", "L 2027-01-16")),
    )
    assert reading.warnings == []


@pytest.mark.parametrize(
    ("order", "kept", "what", "found"),
    [
        ("on: 2027-01-08, from: L3", 0, "its day is over", "today is 2027-01-08"),
        (
            "on: 2027-06-05, from: L3",
            0,
            "'L3' is too late for 2027-06-05",
            "long enough on 2027-08-10 at the earliest",
        ),
        (
            "on: 2027-10-07, from: [L3, L 2027-05-08]",
            1,
            "'L 2027-05-08' is too late for 2027-10-07",
            "long enough on 2028-02-01 at the earliest",
        ),
        ("on: 2027-08-15, from: L3", 1, "fewer than 20 fish", "17 can be expected on 2027-08-15"),
        (
            "on: 2027-10-07, from: [S 2027-04-03, L3, L2]",
            1,
            "its brood 'S 2027-04-03' is left out, and not kept for it",
            "the keeper is away on its day",
        ),
    ],
)
def test_what_cannot_be_kept_for_an_order_is_told_and_the_rest_is_planned(
    tmp_path: Path, order: str, kept: int, what: str, found: str
) -> None:
    reading = reading_of(tmp_path, f"{{name: show, fish: 20, {order}}}")
    assert len(reading.room.orders) == kept
    told = [(warning.what, warning.found) for warning in reading.warnings]
    assert told[0] == (f"order 'show': {what}", found)


def test_a_collection_that_may_be_left_out_is_no_promise(tmp_path: Path) -> None:
    path = tmp_path / "room.yaml"
    text = (SCENARIOS / "home-rack.yaml").read_text(encoding="utf-8")
    text = text.replace("eggs: 34, label: L}", "eggs: 34, label: L, take: if it fits}")
    order = "{name: show, fish: 2, on: 2027-12-04, from: L 2027-01-16}"
    path.write_text(f"{text}\norders:\n  - {order}\n", encoding="utf-8")
    reading = read_room(path)
    assert [warning.what for warning in reading.warnings] == ["order 'show': 'L 2027-01-16' may be left out"]


def test_a_brood_that_goes_takes_its_order_with_it() -> None:
    room = promised(small_room(), "P1", "M1", on=day("10-02"))
    assert changes.without_brood(room, "M1").orders[0].broods == ("P1",)
    assert changes.only_broods(room, ["K1"]).orders == ()


# -- what is printed -------------------------------------------------------------------------------------


def test_the_lines_that_target_prints_have_the_plan_keep_the_fish(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """They are written into the room file as they stand; the plan made from it is checked from the room."""
    monkeypatch.chdir(tmp_path)
    text = (SCENARIOS / "home-rack.yaml").read_text(encoding="utf-8")
    Path("room.yaml").write_text(text, encoding="utf-8")
    assert main(["plan", "room.yaml", "--json", "plan.json"]) == Exit.FITS
    capsys.readouterr()
    asked = ["--line", "swamp", "--fish", "10", "--by", "2027-12-04"]
    assert main(["target", "room.yaml", "--plan", "plan.json", *asked]) == Exit.FITS
    told = capsys.readouterr().out.split("write this into the room file and plan again:\n")[1]
    broods, _, orders = told.split("\n\n")[0].partition("  orders:\n")
    broods = broods.removeprefix("  broods:\n").replace("    - ", "  - ")
    text = text.replace("\ncould_add:", f"{broods}\ncould_add:")
    Path("room.yaml").write_text(text + "\norders:\n" + orders.replace("    - ", "  - "), encoding="utf-8")
    room = read_room(Path("room.yaml")).room
    (order,) = room.orders
    assert (order.fish, order.on, len(order.broods)) == (10, date(2027, 12, 4), 2)
    result = plan_room(room)
    assert result.best.plan.verdict is Verdict.FITS
    assert check_plan(result.room, result.best.plan) == []
    assert [sold(result.best.plan, brood) for brood in order.broods] == [{date(2027, 12, 4)}] * 2
    assert "sale, for the order of for whom (10 fish)" in " ".join(
        moves_text(result.room, result.best.plan).split()
    )
    shown = " ".join(plan_text(result).split())
    assert "for whom 10 Sat 4 Dec 2027 16 " in shown


def test_what_stands_between_an_order_and_its_fish_is_told() -> None:
    room = promised(small_room(), "P1", on=day("08-09"), fish=50)
    plan = retime(small_plan(), "P1", day("08-07"), day("08-14"))
    text = " ".join(orders_text(room, plan).split())
    assert "show 50 Mon 9 Aug 2027 40 P1 Sat 14 Aug 2027 show: 10 fish short." in text
    lost = Homeless.model_validate({"brood": "P1", "from": day("04-10"), "until": day("08-14"), "fish": 40})
    assert "show: P1 has no home from Sat 10 Apr 2027 on." in orders_text(
        room, plan.model_copy(update={"homeless": (lost,)})
    )
    assert orders_text(small_room(), plan) == ""


def test_the_calendar_has_an_order_on_its_own_day() -> None:
    """The day need not be one on which fish are moved."""
    room = promised(small_room(), "P1", on=day("08-09"), fish=7)
    plan = retime(small_plan(), "P1", day("08-07"), day("08-14"))
    (entry,) = (entry for entry in entries(room, plan, care=False) if "order" in entry.about)
    assert (entry.on, entry.title) == (day("08-09"), "Order of show: 7 fish")
    assert entry.details[0] == "from P1, in long 1"
