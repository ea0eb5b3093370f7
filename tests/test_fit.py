"""Where a coming brood will live: whatever is answered, the checker and a search through everything agree."""

from collections.abc import Iterator
from datetime import date, timedelta
from itertools import product
from math import ceil
from pathlib import Path

import pytest
from random_rooms import random_room
from room_files import SCENARIOS
from small_rooms import (
    SATURDAY,
    box,
    day,
    figure,
    long,
    move,
    planned,
    small_pack,
    small_room,
    stay,
    ten,
)

from allocator.check import check_plan
from allocator.cli import main
from allocator.codes import Rule
from allocator.husbandry.life import Life, lives
from allocator.husbandry.stages import fits_stage
from allocator.model.board import Board
from allocator.model.company import Company
from allocator.model.first_fit import FirstFit
from allocator.model.naming import Solution
from allocator.model.unfold import unfold
from allocator.needs import needs_of
from allocator.plan import Plan, Verdict
from allocator.questions.fit import fit_of
from allocator.questions.held import Held
from allocator.replies.refusal import Snag, Unfit
from allocator.reports.fit import fit_text
from allocator.room import Brood, Pin, PinKind, Room, Span


def first_plan(room: Room) -> Plan | None:
    """Return the plan of first fit, if the checker passes it."""
    needs = needs_of(room)
    fit = FirstFit(needs, {})
    fit.run()
    plan = unfold(needs, Solution(fit.board.solution(), {}), proven=False)
    return None if any(not breach.as_found for breach in check_plan(room, plan)) else plan


def planned_rooms(seeds: range) -> Iterator[tuple[int, Room, Plan]]:
    for seed in seeds:
        room = random_room(seed)
        plan = first_plan(room)
        if plan is not None:
            yield seed, room, plan


def without(room: Room, plan: Plan, name: str) -> tuple[Room, Plan]:
    left = {
        "stays": tuple(s for s in plan.stays if s.brood != name),
        "moves": tuple(m for m in plan.moves if m.brood != name),
        "homeless": tuple(h for h in plan.homeless if h.brood != name),
    }
    broods = tuple(brood for brood in room.broods if brood.name != name)
    pins = tuple(pin for pin in room.pins if pin.brood != name)
    return room.model_copy(update={"broods": broods, "pins": pins}), plan.model_copy(update=left)


def test_a_brood_that_is_taken_out_finds_room_again_and_nobody_else_moves() -> None:
    tried = 0
    for seed, room, plan in planned_rooms(range(24)):
        lost = {row.brood for row in plan.homeless}
        for brood in room.broods:
            if not brood.planned or brood.name in lost:
                continue
            there, rest = without(room, plan, brood.name)
            beside = Held(there, rest, [brood]).settle()
            assert beside.taken == (brood.name,), f"room {seed}, {brood.name}: {beside.refused}"
            assert not [b for b in check_plan(beside.room, beside.plan) if not b.as_found]
            if not beside.sold_later:
                kept = [stay for stay in beside.plan.stays if stay.brood != brood.name]
                assert kept == list(rest.stays)
            tried += 1
    assert tried > 20


@pytest.mark.parametrize("even_before", [True, False])
def test_nobody_is_said_to_be_sold_later_who_need_not_be(
    *, even_before: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The quick reckoning of company errs on the late side: here by a week."""
    room, plan = crowded(vessels=(box("box 1"), ten("ten 1"), long("long 1"), long("long 2")))
    sale = max(s.until for s in plan.stays)

    def reckoned(_: Company, board: Board) -> dict[str, int]:
        settled, coming = board.settled[0], board.settled.get(1)
        if not even_before and (coming is None or coming.homeless is not None):
            return {}
        late = (sale + timedelta(days=7) - board.needs.days[settled.sale]).days
        return {"P": late} if late > 0 else {}

    monkeypatch.setattr(Company, "held_back_on", reckoned)
    beside = Held(room, plan, [planned("X", "blue", day("03-06"), 15)]).settle()
    assert beside.taken == ("X",)
    assert beside.sold_later == {}
    assert [s for s in beside.plan.stays if s.brood == "P"] == list(plan.stays)


def ways(room: Room, brood: Brood) -> Iterator[Plan]:
    """Yield every way of a whole brood through the room, one vessel a stage, on the days on which fish are moved.

    Fish of the small pack are never moved on before they are 10 days old, nor into a long one before 70, nor sold
    before 190 (see `small_rooms`); what is too late or wrong for another reason is left to the checker.
    """
    life = lives(room.model_copy(update={"broods": (*room.broods, brood)}))[brood.name]
    firsts, seconds, sales = (saturdays(brood.collected, *ages) for ages in ((10, 70), (80, 170), (200, 290)))
    by_stage = [[v.name for v in room.vessels if fits_stage(life, number, v)] for number in range(3)]
    for first, second, sale in product(firsts, seconds, sales):
        if first < second < sale:
            for vessels in product(*by_stage):
                yield story(brood, life, list(vessels), [brood.collected, first, second], sale)


def saturdays(collected: date, youngest: int, oldest: int) -> list[date]:
    days = (collected + timedelta(days=age) for age in range(youngest, oldest))
    return [on for on in days if on.weekday() == SATURDAY]


def story(brood: Brood, life: Life, vessels: list[str], since: list[date], sale: date) -> Plan:
    heads = [ceil(life.heads(on) - 1e-9) for on in (*since, sale)]
    stays = [
        stay(brood.name, vessel, begin, end, fish)
        for vessel, begin, end, fish in zip(vessels, since, [*since[1:], sale], heads, strict=False)
    ]
    moves = [
        move(on, brood.name, source, target, fish)
        for on, source, target, fish in zip(
            [*since, sale], [None, *vessels], [*vessels, None], heads, strict=True
        )
    ]
    return Plan(verdict=Verdict.FITS, proven=False, stays=tuple(stays), moves=tuple(moves))


def together(one: Plan, other: Plan) -> Plan:
    return one.model_copy(
        update={
            "stays": one.stays + other.stays,
            "moves": one.moves + other.moves,
            "flow": tuple(change for change in one.flow),
        }
    )


@pytest.mark.parametrize("collected", ["01-09", "03-06", "04-10", "08-07"])
def test_it_is_a_yes_exactly_where_trying_every_way_finds_one(collected: str) -> None:
    """One box, one ten and one long tank, held by one brood of another line from the first day to the last."""
    room = small_room(
        vessels=(box("box 1"), ten("ten 1"), long("long 1")),
        groups=(),
        broods=(planned("P", "red", day("01-30"), 15),),
        could_add=(),
    )
    plan = first_plan(room)
    assert plan is not None
    coming = planned("X", "blue", day(collected), 15)
    whole = room.model_copy(update={"broods": (*room.broods, coming)})
    some_way = any(
        all(b.rule is Rule.FLOW for b in check_plan(whole, together(plan, way))) for way in ways(room, coming)
    )
    assert (Held(room, plan, [coming]).settle().taken == ("X",)) == some_way


def crowded(**changes: object) -> tuple[Room, Plan]:
    """Return a room with one vessel of each kind, and one brood in it until August."""
    fields: dict[str, object] = {
        "vessels": (box("box 1"), ten("ten 1"), long("long 1")),
        "groups": (),
        "broods": (planned("P", "red", day("01-09"), 15),),
        "could_add": (),
    }
    room = small_room(**(fields | changes))
    plan = first_plan(room)
    assert plan is not None
    return room, plan


def test_a_refusal_names_the_stage_the_days_and_who_is_in_the_way() -> None:
    reply = fit_of(*crowded(), planned("X", "blue", day("01-10"), 15))
    assert reply.refusal is not None
    assert reply.refusal.snag is Snag.TAKEN
    assert reply.refusal.stage == "hatchery"
    assert [(way.vessel, way.broods) for way in reply.refusal.in_the_way] == [("box 1", ("P",))]
    text = fit_text(reply)
    assert "There is no room for it, with nobody else moved." in text
    assert "box 1: P" in text


def test_a_refusal_for_want_of_litres_says_so() -> None:
    """Box 1 has 4 litres, and nobody is in it: it is not that it is taken."""
    reply = fit_of(*crowded(broods=()), planned("X", "blue", day("01-10"), 100_000))
    assert reply.refusal is not None
    assert [way.unfit for way in reply.refusal.in_the_way] == [Unfit.SMALL]
    assert not reply.refusal.never
    assert "box 1: too small for so many, even with nobody else in it" in fit_text(reply)


def test_what_the_room_lacks_without_the_brood_is_said() -> None:
    """One box, and two broods a day apart: one of them has no home, and a yes to a third one is not room to spare."""
    room, plan = crowded(
        broods=(planned("P", "red", day("01-09"), 15), planned("Q", "blue", day("01-10"), 15))
    )
    lost = {row.brood for row in plan.homeless}
    assert len(lost) == 1
    reply = fit_of(room, plan, planned("X", "blue", day("08-07"), 5))
    assert f"Without a home in your plan, and still so: {lost.pop()}." in fit_text(reply)
    short = " ".join(fit_text(reply.model_copy(update={"added": ("2 more long",)})).split())
    assert "they are counted here as there: 2 more long." in short
    fits = fit_text(fit_of(*crowded(), planned("X", "blue", day("08-07"), 5)))
    assert "without this brood" not in fits
    assert "Without a home" not in fits


def test_a_refusal_for_want_of_a_vessel_says_so() -> None:
    room, plan = crowded(vessels=(box("box 1"), ten("ten 1"), long("long 1")), broods=())
    room = room.model_copy(update={"vessels": room.vessels[:2]})
    reply = fit_of(room, plan, planned("X", "blue", day("01-10"), 15))
    assert reply.refusal is not None
    assert reply.refusal.snag is Snag.NO_VESSEL
    assert "there is no grow-out vessel" in fit_text(reply)


def test_a_refusal_for_want_of_hands_says_so() -> None:
    """P fills the only move of its Saturdays; X, of the same line and day, would be moved on the same ones."""
    keeper = small_room().keeper.model_copy(update={"most_moves_a_day": 0})
    room, plan = crowded(broods=())
    room = room.model_copy(update={"keeper": keeper})
    reply = fit_of(room, plan, planned("X", "blue", day("01-10"), 15))
    assert reply.refusal is not None
    assert reply.refusal.snag is Snag.HANDS
    assert "no move day has a hand free" in fit_text(reply)


def test_the_way_through_is_told_with_how_full_each_vessel_is() -> None:
    """15 fish of the small pack: 20 to a litre below 15 mm in 4 litres; 1 to a litre after that in 30 and 144 litres."""
    room, plan = crowded(broods=())
    reply = fit_of(room, plan, planned("X", "blue", day("01-10"), 15))
    assert reply.refusal is None
    assert [(step.stage, step.vessel) for step in reply.steps] == [
        ("hatchery", "box 1"),
        ("rearing", "ten 1"),
        ("grow-out", "long 1"),
    ]
    assert [(step.full_at_first, step.full_at_last) for step in reply.steps][1:] == [(3, 50), (11, 11)]
    assert reply.sold == reply.steps[-1].until
    assert reply.sold_later == {}
    assert "It finds room, with nobody else moved" in fit_text(reply)


def test_every_home_that_is_offered_is_one() -> None:
    """Each offer is tried: the brood is pinned there, and finds room with nobody else moved."""
    tried = 0
    for seed, room, plan in planned_rooms(range(12)):
        line = room.lines[0].name
        coming = planned("X", line, room.today + timedelta(days=40), 10)
        for homes in fit_of(room, plan, coming).stages:
            for offer in homes.offers:
                where = {"kind": PinKind.IN, "brood": "X", "vessel": offer.vessel}
                span = Span(start=offer.from_, end=offer.from_ + timedelta(days=1))
                pinned = room.model_copy(update={"pins": (*room.pins, Pin(**where, span=span))})
                beside = Held(pinned, plan, [coming]).settle()
                if not beside.refused:
                    tried += 1
                    assert any(s.vessel == offer.vessel for s in beside.plan.stays if s.brood == "X")
                else:  # a later stage may have no room for who comes so late or so soon
                    assert beside.refused[0].stage != homes.stage, f"room {seed}: {offer}"
    assert tried > 10


def test_a_last_vessel_that_is_gone_before_the_sale_is_what_is_in_the_way() -> None:
    """Beyond 40 mm 70 cm take twice as long: 48 days for 24. So 200 days become 224, and no sale is before 22 August."""
    short = long("long 1", length_mm=700, available=Span(end=day("08-15")))
    room, plan = crowded(vessels=(box("box 1"), ten("ten 1"), short), broods=())
    refusal = fit_of(room, plan, planned("X", "blue", day("01-10"), 15)).refusal
    assert refusal is not None
    assert (refusal.snag, refusal.stage) == (Snag.TAKEN, "grow-out")
    assert refusal.until is not None
    assert refusal.until >= day("01-10") + timedelta(days=224)
    assert [(way.vessel, way.unfit) for way in refusal.in_the_way] == [("long 1", Unfit.AWAY)]


def test_a_vessel_that_does_for_late_comers_is_not_said_never_to_do() -> None:
    """With nobody else in the room X lives in ten 1 from 6 March on, the first day that the tank is there."""
    late = ten("ten 1", available=Span(start=day("03-06")))
    room, plan = crowded(
        vessels=(box("box 1"), box("box 2"), late, long("long 1"), long("long 2")),
        broods=(planned("P", "red", day("01-30"), 15),),
    )
    coming = planned("X", "blue", day("01-23"), 15)
    refusal = fit_of(room, plan, coming).refusal
    assert refusal is not None
    assert not refusal.never
    assert [(way.vessel, way.broods, way.unfit) for way in refusal.in_the_way] == [("ten 1", ("P",), None)]
    assert fit_of(*without(room, plan, "P"), coming).refusal is None


def test_a_stage_that_may_be_left_out_is_not_what_is_in_the_way() -> None:
    """No ten, and X may go from its box to a long tank at once; but that is taken by P until it is sold."""
    pack = small_pack()
    box_stage, rearing, growing = pack.stages
    stages = (
        box_stage,
        rearing.model_copy(update={"may_skip": True}),
        growing.model_copy(update={"from_mm": figure(12)}),
    )
    lines = tuple(line.model_copy(update={"rules": small_pack(stages=stages)}) for line in small_room().lines)
    room, plan = crowded(vessels=(box("box 1"), box("box 2"), long("long 1")), lines=lines)
    refusal = fit_of(room, plan, planned("X", "blue", day("01-16"), 15)).refusal
    assert refusal is not None
    assert refusal.stage == "grow-out"
    assert [(way.vessel, way.broods) for way in refusal.in_the_way] == [("long 1", ("P",))]


def test_nothing_is_collected_on_a_day_away(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    room = tmp_path / "room.yaml"
    text = (SCENARIOS / "tiny.yaml").read_text(encoding="utf-8")
    away = "most_moves_a_day: 4, away: [{from: 2027-02-20, until: 2027-03-06}]"
    room.write_text(text.replace("most_moves_a_day: 4", away), encoding="utf-8")
    assert main(["fit", str(room), "--on", "2027-03-05"]) == 2
    said = " ".join(capfd.readouterr().err.split())
    assert "you are away on 2027-03-05" in said
    assert "such as 2027-03-06" in said
    assert main(["fit", str(room), "--on", "2027-03-06"]) in {0, 1}
