"""A valid plan passes; each rule catches its own mutations, and no other rule does."""

import subprocess
import sys
from collections.abc import Callable
from datetime import date
from time import process_time

import pytest
from small_rooms import (
    SATURDAY,
    TODAY,
    day,
    in_being,
    later,
    long,
    move,
    planned,
    rehouse,
    retime,
    small_pack,
    small_plan,
    small_room,
    stay,
    ten,
)

from allocator.check import Breach, check_plan, room_for
from allocator.codes import Rule
from allocator.plan import Added, FlowChange, Homeless, NotTaken, Plan, Verdict
from allocator.room import Addable, Keeper, Pin, PinKind, Room, Span
from allocator.rules import FlowSetting, VesselKind

Mutation = Callable[[Plan], Plan]
MUTATIONS: list[tuple[Rule, str, Mutation]] = []


def mutation(rule: Rule) -> Callable[[Mutation], Mutation]:
    """Note that a change to the small plan breaks exactly one rule."""

    def note(change: Mutation) -> Mutation:
        MUTATIONS.append((rule, change.__name__.strip("_"), change))
        return change

    return note


def with_(plan: Plan, **changes: object) -> Plan:
    return plan.model_copy(update=changes)


def codes(breaches: list[Breach]) -> set[Rule]:
    return {breach.rule for breach in breaches}


@mutation(Rule.HOUSED)
def _never_sold(plan: Plan) -> Plan:
    return with_(plan, moves=tuple(m for m in plan.moves if (m.brood, m.to) != ("K1", None)))


@mutation(Rule.READY)
def _sold_too_small(plan: Plan) -> Plan:
    return retime(plan, "K1", day("07-03"), day("06-26"))


@mutation(Rule.HOUSED)
def _nowhere_for_a_week(plan: Plan) -> Plan:
    shorter = tuple(
        s.model_copy(update={"until": day("02-27")}) if (s.lot, s.vessel) == ("K1", "ten 1") else s
        for s in plan.stays
    )
    return with_(plan, stays=shorter)


@mutation(Rule.HOUSED)
def _brood_forgotten(plan: Plan) -> Plan:
    return with_(
        plan,
        stays=tuple(s for s in plan.stays if s.brood != "B1"),
        moves=tuple(m for m in plan.moves if m.brood != "B1"),
    )


@mutation(Rule.ONE_PLACE)
def _stays_on_after_the_move(plan: Plan) -> Plan:
    longer = tuple(
        s.model_copy(update={"until": day("03-08")}) if (s.lot, s.vessel) == ("K1", "ten 1") else s
        for s in plan.stays
    )
    return with_(plan, stays=longer)


@mutation(Rule.FISH)
def _fish_lost_on_the_way(plan: Plan) -> Plan:
    return with_(
        plan,
        stays=tuple(
            s.model_copy(update={"fish": 20}) if (s.lot, s.vessel) == ("K1", "long 1") else s
            for s in plan.stays
        ),
        moves=tuple(
            m.model_copy(update={"fish": 20}) if m.brood == "K1" and m.on >= day("03-06") else m
            for m in plan.moves
        ),
    )


@mutation(Rule.FISH)
def _fewer_eggs_than_collected(plan: Plan) -> Plan:
    return with_(
        plan,
        stays=tuple(s.model_copy(update={"fish": 10}) if s.brood == "B1" else s for s in plan.stays),
        moves=tuple(m.model_copy(update={"fish": 10}) if m.brood == "B1" else m for m in plan.moves),
    )


@mutation(Rule.ROOM)
def _not_split(plan: Plan) -> Plan:
    stays = tuple(s for s in plan.stays if not s.lot.startswith("P1 "))
    moves = tuple(m for m in plan.moves if m.brood != "P1" or m.from_ in (None, "long 1"))
    return with_(
        plan,
        stays=(*stays, stay("P1", "ten 2", day("01-30"), day("04-10"), 40)),
        moves=(
            *moves,
            move(day("01-30"), "P1", "box 2", "ten 2", 40),
            move(day("04-10"), "P1", "ten 2", "long 1", 40),
        ),
    )


@mutation(Rule.FLOW)
def _too_strong_for_fry(plan: Plan) -> Plan:
    return with_(
        plan,
        flow=(*plan.flow, FlowChange(vessel="ten 1", from_=day("01-20"), setting=FlowSetting.NORMAL)),
    )


@mutation(Rule.FLOW)
def _weaker_than_the_vessel_can(plan: Plan) -> Plan:
    return with_(
        plan,
        flow=(*plan.flow, FlowChange(vessel="long 2", from_=day("05-01"), setting=FlowSetting.STILL)),
    )


@mutation(Rule.FLOW)
def _no_setting(plan: Plan) -> Plan:
    return with_(plan, flow=tuple(change for change in plan.flow if change.vessel != "ten 1"))


@mutation(Rule.STAGE)
def _rearing_skipped(plan: Plan) -> Plan:
    plan = with_(
        plan,
        stays=tuple(s for s in plan.stays if (s.lot, s.vessel) != ("K1", "ten 1")),
        moves=tuple(m for m in plan.moves if (m.brood, m.from_) != ("K1", "ten 1")),
    )
    plan = rehouse(plan, "K1", "ten 1", "long 1")
    return retime(plan, "K1", day("03-06"), day("01-16"))


@mutation(Rule.STAGE)
def _eggs_in_a_rearing_tank(plan: Plan) -> Plan:
    return rehouse(plan, "B1", "box 3", "ten 8")


@mutation(Rule.WINDOW)
def _moved_too_small(plan: Plan) -> Plan:
    return retime(plan, "K1", day("03-06"), day("02-27"))


@mutation(Rule.WINDOW)
def _moved_too_long(plan: Plan) -> Plan:
    return retime(plan, "K1", day("03-06"), day("05-22"))


@mutation(Rule.LINE)
def _two_lines_in_one_tank(plan: Plan) -> Plan:
    return rehouse(plan, "B1", "ten 4", "ten 1")


@mutation(Rule.SIZE)
def _hatch_beside_a_big_one(plan: Plan) -> Plan:
    # from 19 to 22 January K1 has 12.0 to 12.6 mm and P1 5.0 to 5.6 mm: 2.4 to 2.25 times as long
    return retime(rehouse(plan, "P1", "box 2", "box 1"), "K1", day("01-16"), day("01-23"))


@mutation(Rule.FRY)
def _fry_with_the_trio(plan: Plan) -> Plan:
    return rehouse(plan, "K1", "ten 1", "ten 5")


@mutation(Rule.SNAIL)
def _eggs_with_snails(plan: Plan) -> Plan:
    return rehouse(plan, "P1", "box 2", "box 4")


@mutation(Rule.ALONE)
def _guest_in_the_mop_tank(plan: Plan) -> Plan:
    stays = tuple(s for s in plan.stays if (s.lot, s.vessel) != ("K1", "box 1"))
    moves = tuple(m for m in plan.moves if (m.brood, m.to) != ("K1", "ten 1"))
    return with_(
        plan,
        stays=(
            *stays,
            stay("K1", "box 1", TODAY, day("01-09"), 24),
            stay("K1", "ten 6", day("01-09"), day("01-16"), 24),
        ),
        moves=(
            *moves,
            move(day("01-09"), "K1", "box 1", "ten 6", 24),
            move(day("01-16"), "K1", "ten 6", "ten 1", 24),
        ),
    )


@mutation(Rule.VESSEL)
def _tank_gone_by_then(plan: Plan) -> Plan:
    return rehouse(plan, "K1", "ten 1", "ten 7")


@mutation(Rule.VESSEL)
def _no_such_tank(plan: Plan) -> Plan:
    return rehouse(plan, "K1", "ten 1", "ten 99")


@mutation(Rule.CLEAN)
def _no_days_to_clean(plan: Plan) -> Plan:
    return retime(rehouse(plan, "B1", "ten 4", "ten 1"), "B1", day("01-30"), day("03-06"))


@mutation(Rule.MOVE_DAY)
def _moved_on_a_sunday(plan: Plan) -> Plan:
    return retime(plan, "K1", day("01-16"), day("01-17"))


@mutation(Rule.MOVE_DAY)
def _moved_on_a_day_away(plan: Plan) -> Plan:
    return retime(plan, "K1", day("03-06"), day("03-13"))


@mutation(Rule.MOST_MOVES)
def _fifth_move_of_the_day(plan: Plan) -> Plan:
    return retime(plan, "K1", day("03-06"), day("04-10"))


@mutation(Rule.PINNED)
def _in_the_tank_it_must_not_be_in(plan: Plan) -> Plan:
    return rehouse(plan, "K1", "ten 1", "ten 8")


@mutation(Rule.TODAY)
def _begins_elsewhere(plan: Plan) -> Plan:
    return rehouse(plan, "K1", "box 1", "box 5")


@mutation(Rule.AGREE)
def _move_forgotten(plan: Plan) -> Plan:
    return with_(plan, moves=tuple(m for m in plan.moves if (m.brood, m.to) != ("K1", "ten 1")))


@mutation(Rule.AGREE)
def _move_of_fewer_fish(plan: Plan) -> Plan:
    return with_(
        plan,
        moves=tuple(
            m.model_copy(update={"fish": 10}) if (m.brood, m.to) == ("K1", "ten 1") else m for m in plan.moves
        ),
    )


@mutation(Rule.AGREE)
def _move_shifted_without_its_stays(plan: Plan) -> Plan:
    return with_(
        plan,
        moves=tuple(
            m.model_copy(update={"on": day("01-23")}) if (m.brood, m.to) == ("K1", "ten 1") else m
            for m in plan.moves
        ),
    )


@mutation(Rule.AGREE)
def _eggs_never_set_up(plan: Plan) -> Plan:
    return with_(plan, moves=tuple(m for m in plan.moves if (m.brood, m.from_) != ("P1", None)))


@mutation(Rule.AGREE)
def _wrong_verdict(plan: Plan) -> Plan:
    return with_(plan, verdict=Verdict.DOES_NOT_FIT)


@mutation(Rule.AGREE)
def _two_settings_at_once(plan: Plan) -> Plan:
    return with_(plan, flow=(*plan.flow, FlowChange(vessel="ten 1", from_=TODAY, setting=FlowSetting.GENTLE)))


@mutation(Rule.AGREE)
def _made_up_brood(plan: Plan) -> Plan:
    return with_(plan, stays=(*plan.stays, stay("X1", "ten 8", day("02-06"), day("03-06"), 5)))


PINS = (
    Pin(kind=PinKind.NOT_IN, brood="K1", vessel="ten 8"),
    Pin(kind=PinKind.IN, brood="P1", vessel="ten 2", span=Span(start=day("01-30"), end=day("04-10"))),
    Pin(kind=PinKind.MOVE_ON, brood="K1", span=Span(start=day("07-03"), end=day("07-04"))),
)


def pinned_room() -> Room:
    """Return the small room with pins that the small plan keeps and only their own mutations break."""
    return small_room(pins=PINS[:2])


def test_the_small_plan_breaks_no_rule() -> None:
    assert check_plan(pinned_room(), small_plan()) == []


@pytest.mark.parametrize(("rule", "change"), [pytest.param(r, c, id=f"{r}-{n}") for r, n, c in MUTATIONS])
def test_a_mutation_is_caught_by_exactly_its_rule(rule: Rule, change: Mutation) -> None:
    breaches = check_plan(pinned_room(), change(small_plan()))
    assert codes(breaches) == {rule}, [b.text for b in breaches]
    assert not any(breach.as_found for breach in breaches)


def test_every_rule_has_a_mutation() -> None:
    """All fish of the small plan are sold when they are ready: `test_orders` breaks the rule of orders by itself."""
    assert {rule for rule, _, _ in MUTATIONS} | {Rule.ORDERED} == set(Rule)


def test_one_room_sum_worked_by_hand() -> None:
    # P1 unsplit in ten 2: 40 fish reach 15 mm at age 50, on 10 March. From 15 mm on the limit is 1 fish per
    # litre and the tank holds 50 x 25 x 24 cm = 30 litres: 40 / 30 = 133 %, until the day before 10 April.
    # Weight stays within its cap: at 21 mm 0.01 x 2.1^3 = 0.093 g, 40 fish 3.7 g of the 60 g allowed.
    (breach,) = check_plan(small_room(), _not_split(small_plan()))
    assert (breach.rule, breach.vessel, breach.brood) == (Rule.ROOM, "ten 2", "P1")
    assert breach.day == day("03-10")
    assert "fish per litre: 133% of the limit" in breach.text
    assert "from 2027-03-10 to 2027-04-09" in breach.text
    assert "40 of P1 at 15 mm" in breach.text


def test_each_cap_is_named() -> None:
    # 24 fish in a tank 30 cm long: from 30 mm on a run of 40 cm is the least, so it is 40 / 30 = 133 %
    short = long("long 1", length_mm=300, width_mm=300, depth_mm=1600)
    room = small_room(vessels=tuple(short if v.name == "long 1" else v for v in small_room().vessels))
    texts = [b.text for b in check_plan(room, small_plan()) if b.rule is Rule.ROOM]
    assert texts
    assert all("length of run: 133% of the limit" in text for text in texts)


def test_a_pinned_move_and_a_pinned_tank_that_do_not_hold() -> None:
    room = small_room(pins=PINS)
    assert check_plan(room, small_plan()) == []
    assert codes(check_plan(room, retime(small_plan(), "K1", day("07-03"), day("07-10")))) == {Rule.PINNED}
    elsewhere = rehouse(small_plan(), "P1", "ten 2", "ten 8")
    (breach,) = check_plan(room, elsewhere)
    assert (breach.rule, breach.day, breach.vessel) == (Rule.PINNED, day("01-30"), "ten 2")


def test_a_keeper_may_be_out_by_one_fish_a_lot() -> None:
    plan = small_plan()
    stays = tuple(s.model_copy(update={"fish": 25}) if s.lot == "P1 a" else s for s in plan.stays)
    assert check_plan(small_room(), with_(plan, stays=stays)) == []
    stays = tuple(s.model_copy(update={"fish": 28}) if s.lot == "P1 a" else s for s in plan.stays)
    assert Rule.FISH in codes(check_plan(small_room(), with_(plan, stays=stays)))


def test_a_part_may_stay_in_place() -> None:
    """A brood is split on the day of a move, and one part stays where it is, with no move of its own."""
    plan = small_plan()
    stays = tuple(s for s in plan.stays if s.brood != "B1" or s.vessel == "box 3")
    moves = tuple(m for m in plan.moves if m.brood != "B1" or m.to in ("box 3", None))
    plan = with_(
        plan,
        stays=(
            *stays,
            stay("B1", "ten 4", day("01-30"), day("02-06"), 20),
            stay("B1 a", "ten 4", day("02-06"), day("04-10"), 12),
            stay("B1 b", "ten 8", day("02-06"), day("04-10"), 8),
            stay("B1", "long 2", day("04-10"), day("08-07"), 20),
        ),
        moves=(
            *moves,
            move(day("01-30"), "B1", "box 3", "ten 4", 20),
            move(day("02-06"), "B1 b", "ten 4", "ten 8", 8),
            move(day("04-10"), "B1", "ten 4", "long 2", 12),
            move(day("04-10"), "B1", "ten 8", "long 2", 8),
        ),
    )
    keeper = small_room().keeper.model_copy(update={"most_moves_a_day": 5})
    assert check_plan(small_room(keeper=keeper), plan) == []
    assert codes(check_plan(small_room(), plan)) == {Rule.MOST_MOVES}


def test_the_slowest_way_decides_when_a_lot_is_ready() -> None:
    # B1 is 40 mm at age 175, on 13 July, and 40.2 mm on the 14th: longer than 40 mm. In a grow-out tank of
    # 60 cm it grows 0.1 mm a day from then on: 48 days for the last 4.8 mm, so 31 August, not 7 August.
    short = long("long 2", length_mm=600, width_mm=600)
    room = small_room(vessels=tuple(short if v.name == "long 2" else v for v in small_room().vessels))
    (breach,) = check_plan(room, small_plan())
    assert breach.rule is Rule.READY
    assert "only on 2027-08-31" in breach.text
    assert check_plan(room, retime(small_plan(), "B1", day("08-07"), day("09-04"))) == []


def homeless_plan() -> Plan:
    """Return a plan in which B1 loses its home on 6 March, in the tank in which it lives by then."""
    plan = small_plan()
    stays = tuple(s for s in plan.stays if s.brood != "B1")
    moves = tuple(m for m in plan.moves if m.brood != "B1")
    return with_(
        plan,
        verdict=Verdict.DOES_NOT_FIT,
        stays=(
            *stays,
            stay("B1", "box 3", day("01-09"), day("01-30"), 20),
            stay("B1", "ten 4", day("01-30"), day("03-06"), 20),
        ),
        moves=(
            *moves,
            move(day("01-09"), "B1", None, "box 3", 20),
            move(day("01-30"), "B1", "box 3", "ten 4", 20),
        ),
        homeless=(Homeless(brood="B1", from_=day("03-06"), until=day("08-07"), fish=20),),
    )


def test_fish_that_lose_their_home_are_listed() -> None:
    assert check_plan(small_room(), homeless_plan()) == []


@pytest.mark.parametrize(
    ("row", "rule"),
    [
        (Homeless(brood="B1", from_=day("03-06"), until=day("08-07"), fish=5), Rule.FISH),
        (Homeless(brood="B1", from_=day("03-06"), until=day("05-01"), fish=20), Rule.HOUSED),
        (Homeless(brood="B1", from_=day("03-13"), until=day("08-07"), fish=20), Rule.HOUSED),
        (Homeless(brood="X9", from_=day("03-06"), until=day("08-07"), fish=20), Rule.AGREE),
    ],
)
def test_a_wrong_homeless_row_is_caught(row: Homeless, rule: Rule) -> None:
    rows = homeless_plan().homeless if rule is Rule.AGREE else ()
    assert codes(check_plan(small_room(), with_(homeless_plan(), homeless=(*rows, row)))) == {rule}


def test_a_lot_left_homeless_too_big_for_its_stage_was_overdue() -> None:
    plan = homeless_plan()
    stays = tuple(s for s in plan.stays if (s.brood, s.vessel) != ("B1", "ten 4"))
    moves = tuple(m for m in plan.moves if (m.brood, m.to) != ("B1", "ten 4"))
    plan = with_(plan, stays=stays, moves=moves)
    ends = retime(plan, "B1", day("01-30"), day("04-10"))
    rows = (Homeless(brood="B1", from_=day("04-10"), until=day("08-07"), fish=20),)
    room = small_room(
        lines=tuple(
            line.model_copy(update={"rules": small_pack(room=small_pack().room[:1])})
            for line in small_room().lines
        )
    )
    (breach,) = check_plan(room, with_(ends, homeless=rows))
    assert breach.rule is Rule.WINDOW
    # 15 mm at age 50, on 10 March, a Wednesday; 13 March is a day away and so is 20 March: 27 March
    assert "by 2027-03-27" in breach.text


def test_a_brood_found_in_two_stages_may_be_put_together_in_the_earlier() -> None:
    """22 mm long: the half in a tank for both stages could be in grow-out, but need not; the other half is not."""
    both = (VesselKind.REARING, VesselKind.GROW_OUT)
    room = small_room(
        vessels=(ten("ten 1"), ten("ten 2"), ten("either", kinds=both), long("long 1")),
        groups=(),
        broods=(in_being("K", "red", date(2026, 9, 29), 20, "ten 1", "either"),),
        could_add=(),
    )
    plan = Plan(
        verdict=Verdict.FITS,
        proven=False,
        stays=(
            stay("K a", "either", TODAY, day("01-09"), 10),
            stay("K b", "ten 1", TODAY, day("01-09"), 10),
            stay("K", "ten 2", day("01-09"), day("01-30"), 20),
            stay("K", "long 1", day("01-30"), day("05-01"), 20),
        ),
        moves=(
            move(day("01-09"), "K", "either", "ten 2", 10),
            move(day("01-09"), "K", "ten 1", "ten 2", 10),
            move(day("01-30"), "K", "ten 2", "long 1", 20),
            move(day("05-01"), "K", "long 1", None, 20),
        ),
        flow=tuple(
            FlowChange(vessel=vessel.name, from_=TODAY, setting=max(vessel.flow_lowest, FlowSetting.STILL))
            for vessel in room.vessels
        ),
    )
    assert check_plan(room, plan) == []
    only = room.model_copy(update={"broods": (in_being("K", "red", date(2026, 9, 29), 20, "either"),)})
    stays = (stay("K", "either", TODAY, day("01-09"), 20), *plan.stays[2:])
    moves = (move(day("01-09"), "K", "either", "ten 2", 20), *plan.moves[2:])
    assert codes(check_plan(only, with_(plan, stays=stays, moves=moves))) == {Rule.STAGE}


def test_a_planned_brood_may_have_no_home_from_its_first_day() -> None:
    plan = _brood_forgotten(small_plan())
    rows = (Homeless(brood="B1", from_=day("01-09"), until=day("08-07"), fish=20),)
    assert check_plan(small_room(), with_(plan, verdict=Verdict.DOES_NOT_FIT, homeless=rows)) == []


def added_plan(like: str = "long", copies: int = 1, from_: date = date(2027, 4, 10)) -> Plan:
    """Return the small plan with B1 in an added tank."""
    plan = rehouse(small_plan(), "B1", "long 2", "new long 1")
    flow = FlowChange(vessel="new long 1", from_=day("04-10"), setting=FlowSetting.GENTLE)
    return with_(
        plan,
        verdict=Verdict.NEEDS_MORE_TANKS,
        added=(Added(like=like, copies=copies, from_=from_),),
        flow=(*plan.flow, flow),
    )


@pytest.mark.parametrize(
    ("plan", "rules"),
    [
        (added_plan(), set()),
        (added_plan(from_=day("03-27")), {Rule.AGREE}),
        (added_plan(copies=2), {Rule.AGREE}),
        (added_plan(copies=3), {Rule.AGREE, Rule.VESSEL}),
        (added_plan(like="wide"), {Rule.AGREE, Rule.VESSEL}),
        (with_(added_plan(), added=()), {Rule.AGREE, Rule.VESSEL}),
        (with_(added_plan(), verdict=Verdict.FITS), {Rule.AGREE}),
        (with_(small_plan(), verdict=Verdict.NEEDS_MORE_TANKS), {Rule.AGREE}),
    ],
)
def test_added_tanks_are_those_in_use(plan: Plan, rules: set[Rule]) -> None:
    room = small_room(could_add=(Addable(like="long", price=100, most=2),))
    assert codes(check_plan(room_for(room, plan), plan)) == rules


def test_lines_that_may_share_need_no_clean_out() -> None:
    lines = tuple(
        line.model_copy(update={"may_share": ("blue",)}) if line.name == "red" else line
        for line in small_room().lines
    )
    room = small_room(lines=lines)
    assert check_plan(room, _two_lines_in_one_tank(small_plan())) == []
    assert check_plan(room, _no_days_to_clean(small_plan())) == []


def test_a_tank_is_cleaned_out_after_a_group_of_another_line() -> None:
    group = (
        small_room()
        .groups[0]
        .model_copy(update={"line": "blue", "vessel": "ten 1", "lives_there": Span(end=day("01-10"))})
    )
    (breach,) = check_plan(small_room(groups=(group,)), small_plan())
    assert (breach.rule, breach.vessel, breach.day) == (Rule.CLEAN, "ten 1", day("01-16"))
    earlier = group.model_copy(update={"lives_there": Span(end=day("01-09"))})
    assert check_plan(small_room(groups=(earlier,)), small_plan()) == []


def crowded_room(**changes: object) -> Room:
    """Return the small room with K1 found in a rearing tank of 1 litre."""
    tiny_tank = ten("ten 1", length_mm=100, width_mm=100, depth_mm=100)
    vessels = tuple(tiny_tank if v.name == "ten 1" else v for v in small_room().vessels)
    broods = (in_being("K1", "red", date(2026, 12, 5), 24, "ten 1"), *small_room().broods[1:])
    return small_room(vessels=vessels, broods=broods, **changes)


def crowded_plan() -> Plan:
    """Return the small plan with K1 in ten 1 from today until it moves to ten 8 on 9 January."""
    plan = small_plan()
    stays = tuple(s for s in plan.stays if s.brood != "K1" or s.vessel == "long 1")
    moves = tuple(m for m in plan.moves if m.brood != "K1" or "long 1" in (m.to, m.from_))
    return with_(
        plan,
        stays=(
            *stays,
            stay("K1", "ten 1", TODAY, day("01-09"), 24),
            stay("K1", "ten 8", day("01-09"), day("03-06"), 24),
        ),
        moves=(
            *(m.model_copy(update={"from_": "ten 8"}) if m.from_ == "ten 1" else m for m in moves),
            move(day("01-09"), "K1", "ten 1", "ten 8", 24),
        ),
    )


def test_a_tank_that_is_too_full_today_is_not_the_plans_fault() -> None:
    # 24 fish in 1 litre that may hold 20
    (breach,) = check_plan(crowded_room(), crowded_plan())
    assert (breach.rule, breach.vessel, breach.day, breach.as_found) == (Rule.ROOM, "ten 1", TODAY, True)
    assert "120% of the limit" in breach.text


def test_it_is_the_plans_fault_once_fish_are_added() -> None:
    plan = rehouse(crowded_plan(), "M1", "ten 6", "ten 1")
    plan = retime(plan, "K1", day("01-09"), day("01-16"))
    breaches = [b for b in check_plan(crowded_room(), plan) if b.rule is Rule.ROOM]
    assert [(b.day, b.as_found) for b in breaches[:2]] == [(TODAY, True), (day("01-09"), False)]


def test_fish_in_an_impossible_place_today_are_named_as_found() -> None:
    """K1 is found with the trio, and B2 of the other line in its box; the first move day puts it right."""
    broods = (in_being("K1", "red", date(2026, 12, 5), 24, "ten 5"), *small_room().broods[1:])
    blue = in_being("B2", "blue", date(2026, 12, 5), 10, "ten 5")
    room = small_room(broods=(*broods, blue))
    plan = rehouse(retime(small_plan(), "K1", day("01-16"), day("01-09")), "K1", "box 1", "ten 5")
    plan = with_(
        plan,
        verdict=Verdict.DOES_NOT_FIT,
        stays=(*plan.stays, stay("B2", "ten 5", TODAY, day("01-09"), 10)),
        homeless=(Homeless(brood="B2", from_=day("01-09"), until=day("07-03"), fish=10),),
    )
    breaches = check_plan(room, plan)
    assert {(b.rule, b.as_found) for b in breaches} == {(Rule.FRY, True), (Rule.LINE, True)}
    stays_on = check_plan(room, rehouse(plan, "K1", "ten 1", "ten 5"))
    assert codes(stays_on) == {Rule.FRY, Rule.LINE, Rule.AGREE}


def test_fish_may_be_moved_today_and_those_that_stay_have_not_just_come() -> None:
    """Two lines are found in one tank; one leaves it today, the other was there and needs no clean-out."""
    broods = (
        in_being("K1", "red", date(2026, 11, 15), 20, "ten 1"),
        in_being("K2", "blue", date(2026, 11, 15), 5, "ten 1"),
    )
    d = day
    plan = Plan(
        verdict=Verdict.FITS,
        proven=False,
        stays=(
            stay("K1", "ten 1", TODAY, TODAY, 20),
            stay("K1", "ten 2", TODAY, d("02-20"), 20),
            stay("K1", "long 1", d("02-20"), d("06-19"), 20),
            stay("K2", "ten 1", TODAY, d("02-20"), 5),
            stay("K2", "long 2", d("02-20"), d("06-19"), 5),
        ),
        moves=(
            move(TODAY, "K1", "ten 1", "ten 2", 20),
            move(d("02-20"), "K1", "ten 2", "long 1", 20),
            move(d("02-20"), "K2", "ten 1", "long 2", 5),
            move(d("06-19"), "K1", "long 1", None, 20),
            move(d("06-19"), "K2", "long 2", None, 5),
        ),
        flow=tuple(
            FlowChange(vessel=name, from_=TODAY, setting=FlowSetting.GENTLE)
            for name in ("ten 1", "ten 2", "long 1", "long 2")
        ),
    )
    assert check_plan(small_room(broods=broods), plan) == []
    # one that does come today, into the tank that the other line leaves today, has no clean-out days
    elsewhere = (broods[0], in_being("K2", "blue", date(2026, 11, 15), 5, "ten 3"))
    comes = with_(
        plan,
        stays=(*plan.stays, stay("K2", "ten 3", TODAY, TODAY, 5)),
        moves=(*plan.moves, move(TODAY, "K2", "ten 3", "ten 1", 5)),
    )
    (breach,) = check_plan(small_room(broods=elsewhere), comes)
    assert (breach.rule, breach.vessel, breach.brood) == (Rule.CLEAN, "ten 1", "K2")


def test_a_ready_brood_is_sold_on_the_first_move_day() -> None:
    """K1 hatched 300 days ago and is still in a rearing tank: it need not see a grow-out tank any more."""
    broods = (in_being("K1", "red", date(2026, 2, 28), 20, "ten 1"),)
    plan = Plan(
        verdict=Verdict.FITS,
        proven=False,
        stays=(stay("K1", "ten 1", TODAY, day("01-09"), 20),),
        moves=(move(day("01-09"), "K1", "ten 1", None, 20),),
        flow=(FlowChange(vessel="ten 1", from_=TODAY, setting=FlowSetting.NORMAL),),
    )
    room = small_room(broods=broods)
    assert check_plan(room, plan) == []
    assert codes(check_plan(room, retime(plan, "K1", day("01-09"), day("01-16")))) == {Rule.STAGE}


def test_a_late_brood_may_still_be_moved_on_the_first_move_day() -> None:
    # hatched on 1 August 2026, 35.8 mm on 2 January: past the last size for the grow-out stage, 35 mm
    room = small_room(broods=(in_being("K1", "red", date(2026, 7, 22), 20, "ten 1"),))
    flow = tuple(
        FlowChange(vessel=name, from_=TODAY, setting=FlowSetting.NORMAL) for name in ("ten 1", "long 1")
    )
    plan = Plan(
        verdict=Verdict.FITS,
        proven=False,
        stays=(
            stay("K1", "ten 1", TODAY, day("01-09"), 20),
            stay("K1", "long 1", day("01-09"), day("02-20"), 20),
        ),
        moves=(
            move(day("01-09"), "K1", "ten 1", "long 1", 20),
            move(day("02-20"), "K1", "long 1", None, 20),
        ),
        flow=flow,
    )
    assert check_plan(room, plan) == []
    assert codes(check_plan(room, retime(plan, "K1", day("01-09"), day("01-16")))) == {Rule.WINDOW}


def test_stays_and_moves_that_cannot_be_are_told_not_crashed_on() -> None:
    plan = small_plan()
    odd = with_(
        plan,
        stays=(*plan.stays, stay("K1 z", "ten 8", day("03-01"), day("02-01"), 0)),
        moves=(*plan.moves, move(day("03-06"), "K1 y", "ten 8", "ten 4", -3)),
    )
    assert codes(check_plan(small_room(), odd)) >= {Rule.AGREE}
    empty = Plan(verdict=Verdict.FITS, proven=False)
    assert codes(check_plan(small_room(), empty)) == {Rule.TODAY, Rule.HOUSED}


def test_the_order_of_rows_does_not_matter() -> None:
    plan = _not_split(small_plan())
    turned = with_(
        plan, stays=plan.stays[::-1], moves=plan.moves[::-1], flow=plan.flow[::-1], homeless=plan.homeless
    )
    assert check_plan(small_room(), turned) == check_plan(small_room(), plan)


def test_the_checker_never_imports_what_it_checks() -> None:
    code = (
        "import sys, allocator.check\n"
        "bad = ('ortools', 'allocator.needs', 'allocator.model', 'allocator.planner')\n"
        "print([name for name in sys.modules if name.startswith(bad)])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_club_room_is_checked_in_three_seconds() -> None:
    """150 broods, 65 vessels, 550 days: every fifth vessel-day is shared."""
    boxes = 30
    vessels = (
        *(ten(f"box {n}", kinds=(VesselKind.HATCHERY,), snail_free=True) for n in range(boxes)),
        *(ten(f"ten {n}") for n in range(25)),
        *(long(f"long {n}", length_mm=4000) for n in range(10)),
    )
    stays, moves, broods = [], [], []
    for number in range(150):
        name = f"R{number}"
        collected = later(day("01-09"), 7 * (number // 3))
        days = [collected, later(collected, 21), later(collected, 91), later(collected, 210)]
        homes = [f"box {number % boxes}", f"ten {number % 25}", f"long {number % 10}", None]
        broods.append(planned(name, "red", collected, 10))
        moves.append(move(collected, name, None, homes[0], 10))
        for place in range(3):
            stays.append(stay(name, str(homes[place]), days[place], days[place + 1], 10))
            moves.append(move(days[place + 1], name, homes[place], homes[place + 1], 10))
    flow = tuple(
        FlowChange(vessel=vessel.name, from_=TODAY, setting=FlowSetting.GENTLE) for vessel in vessels
    )
    room = small_room(vessels=vessels, broods=tuple(broods), groups=(), keeper=Keeper(move_days=(SATURDAY,)))
    plan = Plan(verdict=Verdict.FITS, proven=False, stays=tuple(stays), moves=tuple(moves), flow=flow)
    begun = process_time()
    breaches = check_plan(room, plan)
    assert process_time() - begun < 3
    assert codes(breaches) <= {Rule.SIZE}
    assert (max(s.until for s in stays) - TODAY).days > 550


# -- collections that are taken only if they fit -----------------------------------------------------------


def without(plan: Plan, brood: str, *listed: NotTaken) -> Plan:
    """Return the plan without a brood, but with others listed as not taken."""
    return with_(
        plan,
        stays=tuple(s for s in plan.stays if s.brood != brood),
        moves=tuple(m for m in plan.moves if m.brood != brood),
        not_taken=listed,
    )


def with_b1_optional() -> Room:
    room = small_room()
    broods = (b.model_copy(update={"optional": b.name == "B1"}) for b in room.broods)
    return room.model_copy(update={"broods": tuple(broods)})


B1_LEFT_OUT = NotTaken(brood="B1", on=day("01-09"), eggs=20)


def test_only_a_collection_that_is_taken_if_it_fits_may_be_left_out() -> None:
    left_out = without(small_plan(), "B1", B1_LEFT_OUT)
    assert check_plan(with_b1_optional(), left_out) == []
    assert check_plan(with_b1_optional(), small_plan()) == []
    (breach,) = check_plan(small_room(), left_out)
    assert breach.rule is Rule.HOUSED
    assert breach.text == "B1 is listed as not taken, but it is always taken"


def test_what_is_left_out_must_be_listed() -> None:
    (breach,) = check_plan(with_b1_optional(), without(small_plan(), "B1"))
    assert breach.rule is Rule.HOUSED
    assert breach.brood == "B1"


def test_fish_that_are_there_are_not_left_out_even_if_somebody_says_so() -> None:
    room = with_b1_optional()
    broods = tuple(b.model_copy(update={"optional": True}) for b in room.broods)
    plan = without(small_plan(), "K1", NotTaken(brood="K1", on=date(2026, 12, 5), eggs=24))
    assert codes(check_plan(room.model_copy(update={"broods": broods}), plan)) == {Rule.HOUSED, Rule.TODAY}


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ((B1_LEFT_OUT,), "has rows of its fish"),
        ((B1_LEFT_OUT.model_copy(update={"on": day("01-16")}),), "is to be collected on 2027-01-09 with 20"),
        ((B1_LEFT_OUT.model_copy(update={"eggs": 21}),), "is to be collected on 2027-01-09 with 20"),
        ((B1_LEFT_OUT, B1_LEFT_OUT), "twice"),
        ((NotTaken(brood="Z9", on=day("01-09"), eggs=20),), "no brood called Z9"),
    ],
    ids=["taken too", "other day", "other eggs", "twice", "unknown"],
)
def test_the_list_of_what_is_left_out_agrees_with_the_rest(rows: tuple[NotTaken, ...], words: str) -> None:
    of_b1 = all(row.brood == "B1" for row in rows) and words != "has rows of its fish"
    plan = without(small_plan(), "B1", *rows) if of_b1 else with_(small_plan(), not_taken=rows)
    breaches = check_plan(with_b1_optional(), plan)
    assert codes(breaches) == {Rule.AGREE}
    assert any(words in breach.text for breach in breaches)


def test_a_pin_of_what_is_left_out_asks_for_nothing() -> None:
    pins = (
        Pin(kind=PinKind.IN, brood="B1", vessel="box 3", span=Span()),
        Pin(kind=PinKind.MOVE_ON, brood="B1", span=Span(start=day("01-30"))),
    )
    room = with_b1_optional().model_copy(update={"pins": pins})
    assert check_plan(room, without(small_plan(), "B1", B1_LEFT_OUT)) == []
