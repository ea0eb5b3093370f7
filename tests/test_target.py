"""Backwards from a date: days against a scan of every day, chances against closed forms, homes against the checker."""

import json
from datetime import date, timedelta
from math import comb
from random import Random
from typing import Any

import numpy as np
import pytest
from random_rooms import random_pack
from room_files import SCENARIOS
from small_rooms import (
    TODAY,
    band,
    box,
    day,
    figure,
    long,
    planned,
    small_pack,
    small_room,
    ten,
)
from test_fit import crowded, first_plan, planned_rooms, together, ways

from allocator.check import Checked, check_plan
from allocator.cli import main
from allocator.codes import Rule
from allocator.husbandry.life import Life, lives
from allocator.plan import Plan
from allocator.questions.held import Held, TooShortError
from allocator.questions.target import LIKELY, target_of
from allocator.questions.target_chance import Hoped, odds_of
from allocator.questions.target_days import Spawning, Want, ready_alone
from allocator.questions.target_there import already_there, life_of, sold_before
from allocator.replies.refusal import Snag
from allocator.replies.target import Aim, TargetReply
from allocator.reports.target import target_text
from allocator.room import BreedingGroup, Keeper, Line, Room, Span
from allocator.rules import Estimate, GrowthPace, LengthPoint, RulePack, SurvivalStep

DAY = timedelta(days=1)
TRIO = BreedingGroup(name="red trio", line="red", males=1, females=2, vessel="ten 5")


def mortal_pack(**changes: Any) -> RulePack:
    """Return the small pack with deaths, and slow fish that need 400 days for what takes the typical ones 200."""
    fields: dict[str, Any] = {
        "hatch_share": band(0.5, 0.8, 0.9),
        "survival": (SurvivalStep(until_age_days=figure(30), share=band(0.4, 0.7, 0.9)),),
        "length": (
            LengthPoint(age_days=figure(500), slow=figure(55), typical=figure(105), fast=figure(130)),
        ),
    }
    return small_pack(**(fields | changes))


def roomy(pack: RulePack | None = None, **changes: Any) -> Room:
    """Return a room of one line in which there is place for a few broods, and nobody yet."""
    fields: dict[str, Any] = {
        "vessels": (
            *(box(f"box {n}") for n in range(1, 4)),
            *(ten(f"ten {n}") for n in range(1, 6)),
            *(long(f"long {n}") for n in range(1, 3)),
        ),
        "lines": (Line(name="red", species="made up", rules=pack or mortal_pack()),),
        "groups": (TRIO,),
        "broods": (),
        "could_add": (),
    }
    return small_room(**(fields | changes))


def planned_room(room: Room) -> tuple[Room, Plan]:
    plan = first_plan(room)
    assert plan is not None
    return room, plan


def way_of(reply: TargetReply, aim: Aim) -> Any:
    return next((way for way in reply.ways if way.aim is aim), None)


@pytest.mark.parametrize("growth", [GrowthPace.TYPICAL, GrowthPace.SLOW])
@pytest.mark.parametrize("by", [date(2027, 10, 9), date(2028, 3, 1), date(2028, 8, 12)])
def test_the_last_day_is_that_of_a_scan_of_every_day(growth: GrowthPace, by: date) -> None:
    away = Keeper(move_days=(5,), away=(Span(start=day("03-13"), end=day("04-21")),))
    spawning = Spawning(roomy(keeper=away, broods=(planned("P", "red", day("06-01"), 30),)), "red")
    days = spawning.days(by)
    found = spawning.last_day(days, by, growth)
    scanned = None
    on = TODAY
    while on <= by:
        gone = day("03-13") <= on < day("04-21")
        # two females lay 5 eggs each at the least, so 30 eggs take three days
        near = abs((on - day("06-01")).days) < 3
        life = spawning.life(on, growth, Estimate.EXPECTED)
        if not gone and not near and life.ready_for_sale([(1e9, on, on + DAY)]) <= by:  # type: ignore[operator]
            scanned = on
        on += DAY
    assert found == scanned


@pytest.mark.parametrize("seed", range(8))
def test_eggs_are_the_fewest_that_give_so_many_fish(seed: int) -> None:
    """Held against trying one egg after another in a brood of its own, numbers by day as `Life` has them."""
    spawning = Spawning(roomy(random_pack(Random(seed)), groups=()), "red")  # noqa: S311 - no secret
    by, last = date(2027, 12, 4), day("02-06")
    for survival in (Estimate.LOW, Estimate.EXPECTED):
        want = Want(by, 13, GrowthPace.TYPICAL, survival)
        chosen = spawning.collections(spawning.days(by), last, want)
        fewest = next(
            eggs
            for eggs in range(1, 1000)
            if spawning.life(last, GrowthPace.TYPICAL, survival, eggs).heads(by) >= 13 - 1e-6
        )
        assert chosen == [(last, fewest)]


def test_more_eggs_than_one_collection_gives_are_taken_in_several() -> None:
    """100 eggs of which 30 come at a time, three days apart: two females lay 5 a day each at the least."""
    pack = small_pack()
    spawning = Spawning(roomy(pack, broods=(planned("P", "red", day("01-30"), 30),)), "red")
    by = date(2027, 12, 4)
    want = Want(by, 100, GrowthPace.TYPICAL, Estimate.EXPECTED)
    assert spawning.collections(spawning.days(by), day("03-28"), want) == [
        (day("03-12"), 10),  # the keeper is away from the 13th to the 20th
        (day("03-22"), 30),
        (day("03-25"), 30),
        (day("03-28"), 30),
    ]


def hoped(pack: RulePack, collected: date, eggs: int) -> Hoped:
    spawning = Spawning(roomy(pack), "red")
    life = spawning.life(collected, GrowthPace.TYPICAL, Estimate.EXPECTED, eggs)
    sure = Life(life.brood.model_copy(update={"planned": False}), life.rules, life.keeper)
    return Hoped(sure, collected)


def at_least(n: int, fish: int, p: float) -> float:
    """Return the chance of so many of n or more: the binomial distribution written out."""
    return sum(comb(n, k) * p**k * (1 - p) ** (n - k) for k in range(max(fish, 0), n + 1))


@pytest.mark.parametrize("fish", [18, 20, 23, 26])
def test_without_spread_the_chance_is_the_binomial_one(fish: int) -> None:
    """Each egg is a fish on the day with chance 0.8 x 0.7: hatched, and alive after 30 days."""
    pack = mortal_pack(
        hatch_share=band(0.8),
        survival=(SurvivalStep(until_age_days=figure(30), share=band(0.7)),),
        length=small_pack().length,
        incubation_days=band(10),
    )
    odds = odds_of([hoped(pack, TODAY, 40)], date(2027, 12, 4), fish, replays=6_000)
    assert odds.share == pytest.approx(at_least(40, fish, 0.56), abs=4 * odds.standard_error)


def test_two_broods_add_up_as_their_distributions_do() -> None:
    """The sum of two binomials of the same chance is a binomial of both numbers together."""
    pack = mortal_pack(
        hatch_share=band(0.8),
        survival=(SurvivalStep(until_age_days=figure(30), share=band(0.7)),),
        length=small_pack().length,
        incubation_days=band(10),
    )
    pair = [hoped(pack, TODAY, 25), hoped(pack, day("01-16"), 15)]
    odds = odds_of(pair, date(2027, 12, 4), 24, replays=6_000)
    assert odds.share == pytest.approx(at_least(40, 24, 0.56), abs=4 * odds.standard_error)


def test_the_spread_between_broods_is_a_mixture_of_binomials() -> None:
    """Hatch 0.5, 0.8 or 0.9: half of the broods evenly below 0.8 and half above; the integral by 4000 strips."""
    pack = mortal_pack(survival=small_pack().survival, length=small_pack().length, incubation_days=band(10))
    u = (np.arange(4000) + 0.5) / 4000
    hatch = np.where(u < 0.5, 0.5 + 0.6 * u, 0.8 + 0.2 * (u - 0.5))
    mixture = float(np.mean([at_least(30, 22, float(p)) for p in hatch]))
    odds = odds_of([hoped(pack, TODAY, 30)], date(2027, 12, 4), 22, replays=6_000)
    assert odds.share == pytest.approx(mixture, abs=4 * odds.standard_error)


@pytest.mark.parametrize("age", [190, 220, 260])
def test_growth_puts_so_many_broods_in_time_as_its_lines_say(age: int) -> None:
    """Slow 5 to 55 mm in 500 days, typical to 105, fast to 130; long enough at 45 mm: the share of u with that length."""
    pack = mortal_pack(hatch_share=band(1), survival=small_pack().survival, incubation_days=band(10))
    u = (np.arange(100_000) + 0.5) / 100_000
    slow, typical, fast = (5 + (end - 5) * age / 500 for end in (55, 105, 130))
    mm = np.where(u < 0.5, typical + (2 * u - 1) * (typical - slow), typical + (2 * u - 1) * (fast - typical))
    odds = odds_of([hoped(pack, TODAY, 5)], TODAY + timedelta(days=10 + age), 5, replays=6_000)
    assert odds.share == pytest.approx(float((mm >= 45).mean()), abs=4 * odds.standard_error)


@pytest.mark.parametrize("by", ["07-31", "08-07", "09-25"])
def test_who_is_wanted_on_a_day_finds_room_exactly_where_trying_every_way_does(by: str) -> None:
    """One box, one ten and one long tank, held by one brood of another line; every way is tried that ends on the day.

    Ways that `test_fit.ways` lists are those whose fish are sold before they are 290 days old.
    """
    room = small_room(
        vessels=(box("box 1"), ten("ten 1"), long("long 1")),
        groups=(),
        broods=(planned("P", "red", day("01-30"), 15),),
        could_add=(),
    )
    plan = first_plan(room)
    assert plan is not None
    for collected in ("01-03", "01-16"):
        coming = planned("X", "blue", day(collected), 15)
        whole = room.model_copy(update={"broods": (*room.broods, coming)})
        some_way = any(
            all(b.rule is Rule.FLOW for b in check_plan(whole, together(plan, way)))
            for way in ways(room, coming)
            if way.stays[-1].until == day(by)
        )
        try:
            taken = Held(room, plan, [coming], wanted=day(by)).settle().taken == ("X",)
        except TooShortError:
            taken = False
        assert taken == some_way, (collected, by)


def test_what_is_promised_keeps_every_rule_and_is_long_enough_on_the_day() -> None:
    tried = 0
    for seed, room, plan in planned_rooms(range(4)):
        line = room.lines[0].name
        by = room.today + timedelta(days=340)
        if room.lines[0].rules.guards_young:
            continue
        reply = target_of(room, plan, line, 6, by)
        for way in reply.ways:
            if not way.homes:
                assert way.refusals
                continue
            spawning = Spawning(room, line)
            coming = [spawning.brood(row.brood, row.on, row.eggs) for row in way.collections]
            _, kept = already_there(room, Checked(room, plan), line, by)
            beside = Held(room, kept, coming, wanted=by).settle()
            checked = Checked(beside.room, beside.plan)
            assert all(breach.as_found for breach in checked.breaches), f"room {seed}"
            for home in way.homes:
                assert checked.ready[home.brood] == home.ready <= by
                stays = [stay for stay in beside.plan.stays if stay.brood == home.brood]
                assert {stay.until for stay in stays if stay.until >= by} == {reply.leaves}
                assert [(s.vessel, s.from_, s.until) for s in home.steps] == [
                    (s.vessel, s.from_, s.until) for s in stays
                ]
                tried += 1
    assert tried > 3


def test_fish_that_are_there_anyway_count_first() -> None:
    """P hatches on 19 January and is long enough on 7 August; it is kept for a fortnight, and 5 more are spawned."""
    room, plan = planned_room(roomy(small_pack(), broods=(planned("P", "red", day("01-09"), 20),)))
    reply = target_of(room, plan, "red", 25, day("08-21"))
    assert [(row.brood, row.fish, row.ready, row.kept_days) for row in reply.already] == [
        ("P", 20, day("08-07"), 14)
    ]
    way = way_of(reply, Aim.EXPECTED)
    assert way.eggs == 5
    assert way.homes
    assert "P        20" in target_text(reply)
    enough = target_of(room, plan, "red", 20, day("08-21"))
    assert enough.can_be
    assert way_of(enough, Aim.EXPECTED) is None
    assert "As expected: there are 20, and nothing more has to be spawned." in target_text(enough)


def test_fish_that_were_ready_long_before_are_taken_to_be_sold() -> None:
    """Buyers are found within 28 days: on 4 September P still counts, on 5 September not."""
    room, plan = planned_room(roomy(small_pack(), broods=(planned("P", "red", day("01-09"), 20),)))
    checked = Checked(room, plan)
    assert [row.brood for row in already_there(room, checked, "red", day("09-04"))[0]] == ["P"]
    assert already_there(room, checked, "red", day("09-05"))[0] == []
    assert already_there(room, checked, "red", day("08-06"))[0] == []
    assert [sold_before(room, checked, "red", day(on)) for on in ("08-06", "09-04", "09-05")] == [
        [],
        [],
        ["P"],
    ]
    assert "P: their time to find buyers is over by then" in target_text(
        target_of(room, plan, "red", 5, day("09-05"))
    )


def test_fish_do_not_count_whose_place_is_promised_to_others() -> None:
    """One long tank: Q, of another line, comes into it a week after P is sold."""
    room = small_room(
        vessels=(box("box 1"), box("box 2"), ten("ten 1"), ten("ten 2"), long("long 1")),
        groups=(),
        broods=(planned("P", "red", day("01-09"), 15), planned("Q", "blue", day("04-10"), 15)),
        could_add=(),
    )
    room, plan = planned_room(room)
    into_long = min(stay.from_ for stay in plan.stays if (stay.brood, stay.vessel) == ("Q", "long 1"))
    by = into_long + timedelta(days=7)
    (row,), kept = already_there(room, Checked(room, plan), "red", by)
    assert not row.counts
    assert kept == plan
    reply = target_of(room, plan, "red", 10, by)
    assert reply.there == 0
    assert "not counted" in target_text(reply)


def test_too_late_is_told_with_the_earliest_honest_dates() -> None:
    """Eggs of today hatch after 10 days; 40 mm take 200 days typically and 400 slowly (100 or 50 mm in 500)."""
    room, plan = planned_room(roomy())
    reply = target_of(room, plan, "red", 5, day("07-01"))
    assert not reply.can_be
    assert not reply.ways
    spawning = Spawning(room, "red")
    for one in reply.earliest:
        if one.aim is Aim.LIKELY:
            continue
        growth = GrowthPace.SLOW if one.aim is Aim.WORST else GrowthPace.TYPICAL
        assert one.first == TODAY
        assert one.day == ready_alone(spawning.life(TODAY, growth, Estimate.EXPECTED))
        sooner = target_of(room, plan, "red", 5, one.day - DAY)
        assert way_of(sooner, one.aim) is None
        assert way_of(target_of(room, plan, "red", 5, one.day), one.aim) is not None
    assert [(one.aim, one.day) for one in reply.earliest if one.aim is not Aim.LIKELY] == [
        (Aim.EXPECTED, TODAY + timedelta(days=210)),
        (Aim.WORST, TODAY + timedelta(days=410)),
    ]
    text = target_text(reply)
    assert "As expected: too late. The earliest honest date is Sat 31 Jul 2027" in text
    assert reply.next_room == day("07-31")


def test_fairly_sure_is_so_with_the_fewest_eggs() -> None:
    room, plan = planned_room(roomy())
    by = date(2028, 6, 3)
    reply = target_of(room, plan, "red", 8, by)
    way = way_of(reply, Aim.LIKELY)
    assert way.odds.share >= LIKELY
    assert way_of(reply, Aim.EXPECTED).odds.share < LIKELY <= way_of(reply, Aim.WORST).odds.share
    (row,) = way.collections
    fewer = hoped(room.lines[0].rules, row.on, row.eggs - 1)
    assert odds_of([fewer], by, 8).share < LIKELY
    assert (
        way_of(reply, Aim.WORST).collections[-1].on
        <= row.on
        <= way_of(reply, Aim.EXPECTED).collections[-1].on
    )


def test_no_room_is_told_with_what_is_in_the_way() -> None:
    room, plan = crowded(groups=())
    reply = target_of(room, plan, "blue", 5, day("08-21"))
    way = way_of(reply, Aim.EXPECTED)
    assert way.collections[-1].on <= day("01-30")
    assert not way.homes
    assert way.refusals[0].snag is Snag.TAKEN
    assert not reply.can_be
    text = target_text(reply)
    assert "There is no room for all of them, with nobody else moved." in text
    assert "The first later day that was found" in text


def test_a_short_tank_makes_them_late_and_so_they_are_taken_sooner() -> None:
    """In 70 cm the last 24 of 200 days of growth, beyond 40 mm, take 48: four weeks sooner is the first that will do."""
    short = (box("box 1"), ten("ten 1"), long("long 1", length_mm=700))
    room, plan = planned_room(roomy(small_pack(), vessels=short, keeper=Keeper(move_days=(5,))))
    by = day("12-04")
    reply = target_of(room, plan, "red", 5, by)
    way = way_of(reply, Aim.EXPECTED)
    assert way.latest == by - timedelta(days=210)
    assert way.collections[-1].on == way.latest - timedelta(days=28)
    assert way.refusals[0].snag is Snag.LENGTH
    assert way.homes[0].ready == by - timedelta(days=28 - 24)
    assert "the fish grow too slowly to be long enough on the day" in " ".join(target_text(reply).split())


@pytest.mark.parametrize("by", [date(2028, 8, 12), date(2028, 9, 16)])
def test_an_aim_is_met_in_the_tanks_that_it_names(by: date) -> None:
    """In 70 cm slow fish lose twice the days that typical ones do: the checker is told that all are slow."""
    vessels = (
        *(box(f"box {n}") for n in range(1, 6)),
        *(ten(f"ten {n}") for n in range(1, 8)),
        *(long(f"long {n}", length_mm=700) for n in range(1, 4)),
    )
    room, plan = planned_room(roomy(vessels=vessels))
    reply = target_of(room, plan, "red", 5, by)
    likely, worst = way_of(reply, Aim.LIKELY), way_of(reply, Aim.WORST)
    assert likely.homes
    assert likely.odds.share >= LIKELY
    assert worst.homes
    slowly = room.model_copy(update={"keeper": room.keeper.model_copy(update={"growth": GrowthPace.SLOW})})
    spawning = Spawning(room, "red")
    coming = [spawning.brood(row.brood, row.on, row.eggs) for row in worst.collections]
    beside = Held(room, plan, coming, wanted=by).settle()
    whole = slowly.model_copy(update={"broods": beside.room.broods})
    ready = Checked(whole, beside.plan).ready
    assert all(ready[brood.name] <= by for brood in coming)


def test_slow_fish_of_the_plan_count_only_if_they_are_long_enough_where_they_live() -> None:
    """The slow curve has 45 mm after 400 days and 40 after 352, so 70 cm take 48 days more; typical fish lose 24."""
    vessels = (box("box 1"), ten("ten 1"), long("long 1", length_mm=700))
    brood = planned("P", "red", day("01-30"), 15)
    room, plan = planned_room(roomy(vessels=vessels, broods=(brood,), groups=()))
    ready = Checked(room, plan).ready["P"]
    alone = ready_alone(lives(room)["P"])
    slow = ready_alone(life_of(room, brood, growth=GrowthPace.SLOW))
    by = slow + (ready - alone) + DAY
    never_sold = room.lines[0].rules.model_copy(update={"sell_within_days": figure(600)})
    room = room.model_copy(update={"lines": (room.lines[0].model_copy(update={"rules": never_sold}),)})
    (row,), _ = already_there(room, Checked(room, plan), "red", by)
    assert row.fish > 0
    assert row.fish_low == 0


def test_a_group_that_comes_later_lays_later() -> None:
    late = TRIO.model_copy(update={"lives_there": Span(start=day("05-01"))})
    spawning = Spawning(roomy(groups=(late,)), "red")
    assert spawning.days(day("05-10"))[0] == day("05-01")


@pytest.fixture(scope="module")
def tiny_plan(tmp_path_factory: pytest.TempPathFactory) -> str:
    file = str(tmp_path_factory.mktemp("plan") / "plan.json")
    assert main(["plan", str(SCENARIOS / "tiny.yaml"), "--json", file]) == 0
    return file


def asked(plan: str, *options: str) -> int:
    return main(["target", str(SCENARIOS / "tiny.yaml"), "--plan", plan, *options])


def test_the_command_prints_text_and_json(tiny_plan: str, capsys: pytest.CaptureFixture[str]) -> None:
    code = asked(tiny_plan, "--fish", "5", "--by", "2028-06-03")
    text = capsys.readouterr().out
    assert code == asked(tiny_plan, "--fish", "5", "--by", "2028-06-03", "--json")
    found = json.loads(capsys.readouterr().out)
    assert text.startswith("Wanted: 5 fish of")
    assert all(len(line) <= 80 for line in text.splitlines())
    assert found["fish"] == 5
    assert all(0 <= way["odds"]["standard_error"] < 0.02 for way in found["ways"])


def test_too_late_ends_with_one(tiny_plan: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert asked(tiny_plan, "--fish", "5000", "--by", "2027-02-01") == 1
    assert "As expected: " in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "complaint"),
    [
        (["--fish", "none", "--by", "2028-06-03"], "--fish none: this is not a whole number"),
        (["--fish", "0", "--by", "2028-06-03"], "--fish 0: must be from 1 to 10000"),
        (["--fish", "9" * 6000, "--by", "2028-06-03"], "must be from 1 to 10000"),
        (["--fish", "5", "--by", "2020-01-01"], "is not after today"),
        (["--fish", "5", "--by", "2050-01-01"], "is more than three years from today"),
        (["--fish", "5", "--by", "soon"], "--by soon: "),
        (["--fish", "5", "--by", "2028-06-03", "--taken", "net"], "--taken net: this is not known"),
        (["--fish", "5", "--by", "2028-06-03", "--line", "none"], "--line none: there is no such line"),
        (["--by", "2028-06-03"], "--fish"),
        (["--fish", "5"], "--by"),
    ],
)
def test_bad_options(
    tiny_plan: str, options: list[str], complaint: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert asked(tiny_plan, *options) == 2
    assert complaint in capsys.readouterr().err


def test_what_the_plan_lacks_already_is_told_too() -> None:
    """With no long tank P loses its home; a brood more would lose it too."""
    room, plan = planned_room(
        roomy(
            small_pack(),
            vessels=(box("box 1"), ten("ten 1")),
            broods=(planned("P", "red", day("01-09"), 20),),
        )
    )
    reply = target_of(room, plan, "red", 5, day("08-21"))
    assert "Without a home in your plan, and still so: P." in " ".join(target_text(reply).split())
    bought = target_text(reply.model_copy(update={"added": ("1 more long",)}))
    words = "needs more tanks even without this; they are counted here as there: 1 more long."
    assert words in " ".join(bought.split())


def test_the_earliest_day_on_which_it_is_fairly_sure_is_so_and_the_day_before_is_not() -> None:
    """Asked anew for that day there is a way at 80 in 100; for the day before there is none."""
    room, plan = planned_room(roomy(mortal_pack()))
    (one,) = (one for one in target_of(room, plan, "red", 5, day("07-01")).earliest if one.aim is Aim.LIKELY)
    way = way_of(target_of(room, plan, "red", 5, one.day), Aim.LIKELY)
    assert way is not None
    assert way.odds.share >= LIKELY
    assert (way.collections[0].on, way.eggs) == (one.first, one.eggs)
    assert way_of(target_of(room, plan, "red", 5, one.day - DAY), Aim.LIKELY) is None


def test_more_fish_than_all_eggs_of_a_year_give_are_never_to_be_had() -> None:
    room, plan = planned_room(roomy())
    reply = target_of(room, plan, "red", 9_000, day("12-04"))
    assert reply.earliest == ()
    assert "To be fairly sure: not to be had with all eggs that can be taken within a year." in target_text(
        reply
    ).replace("\n", " ")
