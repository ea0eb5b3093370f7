"""A valid plan passes; each rule catches its own mutations, and no other rule does."""

import subprocess
import sys
from collections.abc import Callable
from datetime import date
from itertools import groupby
from time import perf_counter

import pytest
from small_rooms import (
    TODAY,
    day,
    in_being,
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
from allocator.plan import Added, FlowChange, Homeless, Plan, Verdict
from allocator.room import Addable, CollectedBy, Keeper, Line, Pin, PinKind, Room, Span
from allocator.rules import FlowSetting

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


@mutation(Rule.HOUSED)
def _sold_too_small(plan: Plan) -> Plan:
    return retime(plan, "K1", day("07-03"), day("06-26"))


@mutation(Rule.HOUSED)
def _sold_too_late(plan: Plan) -> Plan:
    return retime(plan, "K1", day("07-03"), day("08-14"))


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


def pinned_room() -> Room:
    return small_room(
        pins=(
            Pin(kind=PinKind.NOT_IN, brood="K1", vessel="ten 8"),
            Pin(kind=PinKind.IN, brood="P1", vessel="ten 2", span=Span(start=day("01-30"), end=day("04-10"))),
            Pin(kind=PinKind.MOVE_ON, brood="B1", span=Span(start=day("01-09"), end=day("01-10"))),
        )[:2]
    )


def test_the_small_plan_breaks_no_rule() -> None:
    assert check_plan(pinned_room(), small_plan()) == []


@pytest.mark.parametrize(("rule", "change"), [pytest.param(r, c, id=f"{r}-{n}") for r, n, c in MUTATIONS])
def test_a_mutation_is_caught_by_exactly_its_rule(rule: Rule, change: Mutation) -> None:
    breaches = check_plan(pinned_room(), change(small_plan()))
    assert codes(breaches) == {rule}, [b.text for b in breaches]
    assert not any(breach.as_found for breach in breaches)


def test_every_rule_has_a_mutation() -> None:
    assert {rule for rule, _, _ in MUTATIONS} == set(Rule)
