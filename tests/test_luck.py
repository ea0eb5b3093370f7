"""Replays of a plan against closed forms, against trying every outcome, and against the checker's own account."""

import json
import os
import re
import subprocess
import sys
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from datetime import date, timedelta
from itertools import product
from math import ceil, prod, sqrt
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from allocator.check.walk import Walk
from allocator.cli import main
from allocator.husbandry.life import Life, lives
from allocator.husbandry.stocking import SUMMED_CAPS, Cap
from allocator.plan import Added, Plan, Verdict
from allocator.questions import luck_replan
from allocator.questions.luck import BATCH, luck_of, quantile, sweep
from allocator.questions.luck_draws import Fate, between, fate_of
from allocator.questions.luck_play import Batch, fates_of, play
from allocator.questions.luck_replan import follow, quick_answer, whole
from allocator.questions.luck_script import Script
from allocator.reading import read_room
from allocator.replies.luck import Chance, Luck
from allocator.reports.luck import luck_text
from allocator.reports.tables import display_width
from allocator.room import BreedingGroup, Brood, CollectedBy, Count, Home, Line, Room
from allocator.rules import LengthPoint, RoomStep, RulePack, SurvivalStep, VesselKind
from tests.small_rooms import (
    TODAY,
    band,
    box,
    day,
    figure,
    in_being,
    level,
    long,
    move,
    planned,
    small_pack,
    small_plan,
    small_room,
    stay,
    ten,
)

MANY = 20_000
ERRORS = 4.5
"""So many standard errors a mean may be away: one in 150 000 by chance, and the seeds are fixed."""

ROOT = Path(__file__).parent.parent


def seed(number: int = 3) -> np.random.SeedSequence:
    return np.random.SeedSequence(number)


def life_of(brood: Brood, pack: RulePack) -> Life:
    room = small_room(lines=(Line(name="red", species="made up", rules=pack),), broods=(brood,), groups=())
    return lives(room)[brood.name]


def eggs_in_being(eggs: int, name: str = "K") -> Brood:
    """Return a brood of eggs collected today, whose number is known."""
    return Brood(
        name=name,
        line="red",
        collected=TODAY,
        by=CollectedBy.PICKING,
        eggs=eggs,
        homes=(Home(vessel="box 1"),),
    )


def mean_square(low: float, expected: float, high: float) -> float:
    """Return E[x^2] of a band drawn evenly on either side: each half is uniform, (a^2 + a b + b^2) / 3."""
    halves = (low**2 + low * expected + expected**2) / 3, (expected**2 + expected * high + high**2) / 3
    return sum(halves) / 2


# What is drawn for one brood


def test_a_band_is_met_at_its_ends_and_in_its_middle() -> None:
    assert list(between(np.array([0, 0.25, 0.5, 1]), 2.0, 4.0, 10.0)) == [2, 3, 4, 10]


def test_hatched_and_surviving_fish_are_binomial() -> None:
    """Source: thinning a binomial number leaves a binomial one; its distribution is that of scipy.stats.binom."""
    pack = small_pack(
        hatch_share=band(0.6), survival=(SurvivalStep(until_age_days=figure(30), share=band(0.5)),)
    )
    fate = fate_of(life_of(eggs_in_being(12), pack), TODAY, 80, MANY, seed())
    hatch_day = np.minimum(fate.hatched, 40)
    for heads, chance in (
        (fate.heads[np.arange(MANY), hatch_day], 0.6),  # the day of hatch
        (fate.heads[:, -1], 0.6 * 0.5),  # 30 days and more after the last possible one
    ):
        expected = stats.binom.pmf(np.arange(13), 12, chance) * MANY
        often = expected >= 5
        found = np.bincount(heads, minlength=13)
        assert (
            stats.chisquare(
                [*found[often], found[~often].sum()], [*expected[often], expected[~often].sum()]
            ).pvalue
            > 1e-4
        )
        assert abs(heads.mean() - 12 * chance) < ERRORS * sqrt(12 * chance * (1 - chance) / MANY)
    assert (np.diff(fate.heads, axis=1) <= 0).all()


def test_broods_differ_by_the_law_of_total_variance() -> None:
    """Source: E[N] = n E[p], Var N = n E[p (1 - p)] + n^2 Var p, for a share p that is drawn anew for each brood."""
    low, expected, high, eggs = 0.2, 0.5, 0.9, 30
    fate = fate_of(
        life_of(eggs_in_being(eggs), small_pack(hatch_share=band(low, expected, high))),
        TODAY,
        20,
        MANY,
        seed(),
    )
    heads = fate.heads[:, -1]
    mean, square = (low + 2 * expected + high) / 4, mean_square(low, expected, high)
    variance = eggs * (mean - square) + eggs**2 * (square - mean**2)
    assert abs(heads.mean() - eggs * mean) < ERRORS * sqrt(variance / MANY)
    assert heads.var() == pytest.approx(variance, rel=0.05)


def test_planned_collections_are_poisson() -> None:
    fate = fate_of(life_of(planned("P", "red", day("01-09"), 9), small_pack()), TODAY, 12, MANY, seed())
    found = np.bincount(fate.heads[:, 0], minlength=26)[:26]
    expected = stats.poisson.pmf(np.arange(26), 9) * MANY
    often = expected >= 5
    assert (
        stats.chisquare(
            [*found[often], MANY - found[often].sum()], [*expected[often], MANY - expected[often].sum()]
        ).pvalue
        > 1e-4
    )


def test_the_day_of_hatch_stays_in_the_window_and_has_the_planned_day_as_its_middle() -> None:
    fate = fate_of(
        life_of(eggs_in_being(5), small_pack(incubation_days=band(8, 10, 14))), TODAY, 20, MANY, seed()
    )
    assert (fate.hatched.min(), np.median(fate.hatched), fate.hatched.max()) == (8, 10, 14)


def test_fish_that_were_counted_and_measured_begin_from_that() -> None:
    pack = small_pack(
        length=(LengthPoint(age_days=figure(300), slow=figure(35), typical=figure(65), fast=figure(95)),),
        monthly_survival_after=band(0.5, 0.7, 0.9),
    )
    brood = in_being("K", "red", date(2026, 10, 1), 30, "ten 1").model_copy(
        update={"counts": (Count(on=TODAY, fish=30, mm=20.0),)}
    )
    fate = fate_of(life_of(brood, pack), TODAY, 60, 500, seed())
    assert set(fate.heads[:, 0]) == {30}
    assert fate.mm[:, 0] == pytest.approx(20)
    # 0.1, 0.2 and 0.3 mm a day on straight curves
    assert 20 + 59 * 0.1 <= fate.mm[:, -1].min() < 26.5
    assert 37 < fate.mm[:, -1].max() <= 20 + 59 * 0.3
    assert len(set(fate.heads[:, -1])) > 5


def test_lengths_lie_between_the_slow_and_the_fast_curve_with_the_typical_one_in_the_middle() -> None:
    pack = small_pack(
        length=(LengthPoint(age_days=figure(300), slow=figure(35), typical=figure(65), fast=figure(95)),),
        incubation_days=band(10),
    )
    fate = fate_of(life_of(eggs_in_being(5), pack), TODAY, 61, MANY, seed())
    assert (fate.mm[:, 9] == 0).all()
    at_50 = fate.mm[:, 60]
    assert (at_50.min(), np.median(at_50), at_50.max()) == pytest.approx((10, 15, 20), abs=0.1)


# A plan that is replayed


def room_of_eggs(*broods: Brood, limit: float, pack: RulePack | None = None, **changes: object) -> Room:
    """Return a room with one box of 4 litres, and eggs or fish of which so many a litre are the limit."""
    pack = pack or small_pack(
        hatch_share=band(0.6),
        incubation_days=band(10),
        room=(RoomStep(from_mm=figure(0), fish_per_litre=level(limit)),),
    )
    fields = {
        "lines": (Line(name="red", species="made up", rules=pack),),
        "broods": broods,
        "groups": (),
        "vessels": (box("box 1"),),
    }
    return small_room(**{**fields, **changes})


def plan_of(*stays: object, moves: tuple[object, ...] = ()) -> Plan:
    return Plan(verdict=Verdict.FITS, proven=False, stays=stays, moves=moves)


def test_a_chance_is_that_of_trying_every_outcome() -> None:
    """Of 5 and 4 eggs each hatches with 0.6; more than 6 fish are too many. All 2^9 outcomes are added up."""
    pack = small_pack(
        hatch_share=band(0.6),
        incubation_days=band(10),
        room=(
            RoomStep(from_mm=figure(0), fish_per_litre=level(100)),
            RoomStep(from_mm=figure(5), fish_per_litre=level(6 / 4)),
        ),
    )
    room = room_of_eggs(eggs_in_being(5, "A"), eggs_in_being(4, "B"), limit=0, pack=pack)
    plan = plan_of(*(stay(name, "box 1", TODAY, day("01-22"), n) for name, n in (("A", 5), ("B", 4))))
    outcomes = list(product((True, False), repeat=9))
    chances = [prod(0.6 if hatches else 0.4 for hatches in outcome) for outcome in outcomes]
    exact = sum(chance for outcome, chance in zip(outcomes, chances, strict=True) if sum(outcome) > 6)
    too_many = sum(
        chance * (sum(outcome) - 6)
        for outcome, chance in zip(outcomes, chances, strict=True)
        if sum(outcome) > 6
    )
    found = luck_of(room, plan, replays=5000)
    assert abs(found.overfull.share - exact) < ERRORS * sqrt(exact * (1 - exact) / 5000)
    assert found.overfull.standard_error == pytest.approx(sqrt(exact * (1 - exact) / 5000), rel=0.05)
    assert found.without_home.mean == pytest.approx(too_many, rel=0.1)
    assert found.worst_week is not None
    assert found.worst_week.monday == date(2027, 1, 11)  # hatched on Tuesday 12 January
    assert found.worst_week.overfull == found.overfull


def test_loads_are_those_of_the_checker_where_nothing_is_left_to_luck() -> None:
    """All shares of the small pack are 1; only the numbers of planned eggs differ, and loads go with them."""
    pack = small_pack(incubation_days=band(10))
    room = small_room(lines=tuple(Line(name=name, species="made up", rules=pack) for name in ("red", "blue")))
    plan = small_plan()
    walk, script = Walk(room, plan), Script(room, plan)
    fates = fates_of(script, seed(), 6)
    batch = Batch(script, fates, 6)
    planned_eggs = {brood.name: brood.eggs for brood in room.broods}
    alone = {
        "box 1": "K1",
        "ten 1": "K1",
        "box 2": "P1",
        "ten 2": "P1",
        "ten 3": "P1",
        "long 2": "B1",
        "ten 6": "M1",
    }
    for name, brood in alone.items():
        expected = walk.filled[name].limit[[list(Cap).index(cap) for cap in SUMMED_CAPS]].max(axis=0)
        place = [b.name for b in room.broods].index(brood)
        times = fates[place].heads[:, -1:] / planned_eggs[brood]
        held = batch.held([vessel.name for vessel in room.vessels].index(name))
        assert held.share[:, : len(expected)] == pytest.approx(times * expected)
        assert not held.fish[:, len(expected) :].any()
    assert not batch.too_small.any()
    assert not batch.late.any()


@pytest.mark.parametrize("number", range(3))
def test_no_fish_are_lost_or_made_up_while_some_wait(number: int) -> None:
    """From the last collection to the first sale every fish alive is in just one vessel, whoever must wait."""
    pack = small_pack(
        # so slow that some are not fit to enter a ten before they should leave it
        length=(LengthPoint(age_days=figure(300), slow=figure(8), typical=figure(65), fast=figure(95)),),
        hatch_share=band(0.5, 1, 1),
        survival=(SurvivalStep(until_age_days=figure(30), share=band(0.5, 1, 1)),),
    )
    lines = tuple(Line(name=name, species="made up", rules=pack) for name in ("red", "blue"))
    script = Script(small_room(lines=lines), small_plan())
    fates = fates_of(script, seed(number), 40)
    batch = Batch(script, fates, 40)
    begin, end = (day("01-09") - TODAY).days, (day("07-03") - TODAY).days
    there = np.zeros((40, script.days))
    for vessel in batch.segments:
        held = batch.held(vessel)
        there[:, held.first : held.first + held.fish.shape[1]] += held.fish + held.outgrown
    alive = sum(fate.heads[:, begin - fate.first : end - fate.first] for fate in fates)
    assert batch.too_small.any()
    assert there[:, begin:end] == pytest.approx(alive)


def test_fish_that_must_leave_are_counted_in_whole_ones() -> None:
    """6 fish where 4 may be: 6 x (1 - 4 / 6) = 2 leave; the month and what runs out are told."""
    room = room_of_eggs(in_being("K", "red", date(2026, 12, 1), 6, "box 1"), limit=1)
    found = luck_of(room, plan_of(stay("K", "box 1", TODAY, day("02-01"), 6)), replays=7)
    assert (found.without_home.at_80, found.without_home.at_95, found.without_home.mean) == (2, 2, 2.0)
    months = {row.month: row for row in found.by_vessel}
    assert months[day("01-01")].overfull == Chance.of(7, 7)
    assert months[day("01-01")].runs_out == "fish per litre"
    assert found.overfull.standard_error == 0


SLOW = LengthPoint(age_days=figure(300), slow=figure(35), typical=figure(65), fast=figure(95))
"""Straight curves from 5 mm: 0.1, 0.2 and 0.3 mm a day."""


def test_fish_that_are_not_long_enough_are_sold_later_and_take_up_room_till_then() -> None:
    """On the day of the sale, at 220 days, L = 49 - 22 (1 - 2u) below u = 0.5: under 45 mm for u < 0.409."""
    pack = small_pack(
        length=(SLOW,), incubation_days=band(10), room=(RoomStep(from_mm=figure(0), fish_per_litre=level(1)),)
    )
    hatched = TODAY - timedelta(days=100)
    first = in_being("K", "red", hatched - timedelta(days=10), 100, "long 1")
    after = in_being("A", "red", TODAY - timedelta(days=60), 100, "ten 1")
    sale = hatched + timedelta(days=220)
    room = room_of_eggs(
        first, after, limit=0, pack=pack, vessels=(long("long 1"), ten("ten 1", depth_mm=2400))
    )
    plan = plan_of(
        stay("K", "long 1", TODAY, sale, 100),
        stay("A", "ten 1", TODAY, sale, 100),
        stay("A", "long 1", sale, sale + timedelta(days=100), 100),
        moves=(move(sale, "K", "long 1", None, 100), move(sale, "A", "ten 1", "long 1", 100)),
    )
    found = luck_of(room, plan, replays=4000)
    slips = {slip.brood: slip for slip in found.slips}
    exact = (1 - 4 / 22) / 2
    assert abs(slips["K"].not_ready.share - exact) < ERRORS * sqrt(exact * (1 - exact) / 4000)
    in_long = {row.month: row.overfull.times for row in found.by_vessel if row.vessel == "long 1"}
    assert max(in_long.values()) >= slips["K"].not_ready.times > 0  # both broods, 200 fish in 144 litres
    assert slips["K"].late_at_95 > slips["K"].late_at_80 > 0
    assert slips["A"].not_ready.times == 0


def test_fish_that_are_too_small_wait_where_they_are() -> None:
    """10 days after hatch 7 mm are asked for; slow fish have only 6 mm and reach 7 after 20 days."""
    pack = small_pack(length=(SLOW,), incubation_days=band(10))
    room = room_of_eggs(eggs_in_being(10), limit=0, pack=pack, vessels=(box("box 1"), ten("ten 1")))
    leaves = day("01-23")  # 11 days old: L = 7.2 - 1.1 (1 - 2u), under 7 mm for u < 0.409
    plan = plan_of(
        stay("K", "box 1", TODAY, leaves, 10),
        stay("K", "ten 1", leaves, day("02-20"), 10),
        moves=(move(leaves, "K", "box 1", "ten 1", 10),),
    )
    found = luck_of(room, plan, replays=4000)
    exact = (1 - 0.2 / 1.1) / 2
    assert abs(found.slips[0].too_small.share - exact) < ERRORS * sqrt(exact * (1 - exact) / 4000)
    assert found.waits == found.slips[0].too_small
    batch = Batch(Script(room, plan), fates_of(Script(room, plan), seed(), 50), 50)
    in_box, in_ten = batch.held(0), batch.held(1)
    slow = batch.too_small[0]
    there = (leaves - TODAY).days
    assert (in_box.fish[slow, there] == 10).all()
    assert (in_ten.fish[slow, there - in_ten.first] == 0).all()
    assert (in_ten.fish[~slow, there - in_ten.first] == 10).all()
    assert (in_ten.fish[:, -1] == 10).all()


def test_spare_vessels_take_what_is_too_much() -> None:
    """24 fish in a ten that holds 10 need two more of its kind; one stands empty, so one spare is enough."""
    pack = small_pack(room=(RoomStep(from_mm=figure(0), fish_per_litre=level(1 / 3)),))
    vessels = (ten("ten 1"), ten("ten 2"), box("box 1"))
    room = room_of_eggs(
        in_being("K", "red", date(2026, 12, 1), 24, "ten 1"), limit=0, pack=pack, vessels=vessels
    )
    found = luck_of(room, plan_of(stay("K", "ten 1", TODAY, day("02-01"), 24)), replays=3)
    too_few = {(row.like, row.spares): row.too_few.share for row in found.spares}
    assert too_few["ten", 0] == 1
    assert too_few["ten", 1] == too_few["ten", 2] == 0
    assert too_few[None, 0] == 1
    assert too_few[None, 1] == 0
    assert dict(found.spares_at_95) == {"ten": 1}


def test_a_tank_of_a_breeding_group_is_not_free() -> None:
    """As above, but a trio lives in the other ten: now two spare ones are needed."""
    pack = small_pack(room=(RoomStep(from_mm=figure(0), fish_per_litre=level(1 / 3)),))
    room = room_of_eggs(
        in_being("K", "red", date(2026, 12, 1), 24, "ten 1"),
        limit=0,
        pack=pack,
        vessels=(ten("ten 1"), ten("ten 2"), box("box 1")),
        groups=(BreedingGroup(name="trio", line="red", males=1, females=2, vessel="ten 2"),),
    )
    found = luck_of(room, plan_of(stay("K", "ten 1", TODAY, day("02-01"), 24)), replays=3)
    assert dict(found.spares_at_80) == {"ten": 2}


@pytest.mark.parametrize("with_long", [True, False])
def test_fish_that_outgrow_their_vessel_ask_for_a_longer_one(*, with_long: bool) -> None:
    """At 30 mm a swim of 80 cm is asked for, and a ten has 50."""
    pack = small_pack(
        length=(SLOW,),
        room=(
            RoomStep(from_mm=figure(0), fish_per_litre=level(1)),
            RoomStep(from_mm=figure(30), fish_per_litre=level(1), run_cm=level(80, comfort=80)),
        ),
    )
    vessels = (ten("ten 1"), long("long 1")) if with_long else (ten("ten 1"),)
    brood = in_being("K", "red", TODAY - timedelta(days=150), 6, "ten 1")
    found = luck_of(
        room_of_eggs(brood, limit=0, pack=pack, vessels=vessels),
        plan_of(stay("K", "ten 1", TODAY, day("03-01"), 6)),
        replays=200,
    )
    assert found.overfull.times > 0
    assert found.too_short.times == (0 if with_long else found.overfull.times)
    assert {row.runs_out for row in found.by_vessel if row.overfull.times} == {"length of run"}
    assert {row.too_few.times for row in found.spares} == {0}
    assert found.without_home.at_95 == 6


# The same numbers, wherever they are worked out


def uncertain() -> tuple[Room, Plan]:
    """Return the small room with luck in everything."""
    pack = small_pack(
        length=(SLOW,),
        hatch_share=band(0.5, 0.7, 0.9),
        survival=(SurvivalStep(until_age_days=figure(30), share=band(0.5, 0.7, 0.9)),),
        monthly_survival_after=band(0.9, 0.95, 1),
    )
    lines = tuple(Line(name=name, species="made up", rules=pack) for name in ("red", "blue"))
    return small_room(lines=lines), small_plan()


def test_the_same_seed_gives_the_same_numbers_and_another_one_others() -> None:
    room, plan = uncertain()
    assert luck_of(room, plan, replays=150) == luck_of(room, plan, replays=150)
    assert luck_of(room, plan, replays=150).by_vessel != luck_of(room, plan, replays=150, seed=2).by_vessel


@pytest.mark.parametrize(
    "workers", [lambda: ThreadPoolExecutor(3), lambda: ProcessPoolExecutor(2)], ids=["threads", "processes"]
)
def test_an_executor_changes_no_number(workers: "type[Executor]") -> None:
    room, plan = uncertain()
    with workers() as executor:
        found = luck_of(room, plan, replays=330, replan=1, executor=executor)
    assert found == luck_of(room, plan, replays=330, replan=1)
    assert found.replanned is not None


def test_more_replays_only_add_to_those_that_are_made() -> None:
    room, plan = uncertain()
    script = Script(room, plan)
    first = np.random.SeedSequence(1).spawn(1)[0]
    batch = play(script, first, BATCH)
    again = play(script, np.random.SeedSequence(1).spawn(9)[0], BATCH)
    assert (batch.without_home == again.without_home).all()
    assert luck_of(room, plan, replays=BATCH).without_home.at_95 == quantile(batch.without_home, 0.95)


def test_many_rooms_are_answered_in_their_order() -> None:
    room, plan = uncertain()
    rooms = [(room, plan), (room.model_copy(update={"name": "other"}), plan)]
    expected = [luck_of(one, plan, replays=20) for one, _ in rooms]
    assert sweep(rooms, replays=20) == expected
    with ThreadPoolExecutor(2) as executor:
        assert sweep(rooms, executor, replays=20) == expected


@pytest.mark.filterwarnings("default")  # what the engine's own modules warn of is not ours
def test_a_cluster_engine_gives_the_same_numbers() -> None:
    distributed = pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
    room, plan = uncertain()
    with (
        distributed.Client(
            processes=False, n_workers=2, threads_per_worker=1, dashboard_address=None
        ) as client,
        client.get_executor() as executor,
    ):
        assert luck_of(room, plan, replays=250, executor=executor) == luck_of(room, plan, replays=250)
        assert sweep([(room, plan)], executor, replays=20) == sweep([(room, plan)], replays=20)


@pytest.mark.parametrize("number", [0, 1], ids=["processes", "cluster"])
def test_the_scripts_of_the_page_on_many_rooms_print_what_it_says(number: int, tmp_path: Path) -> None:
    if number:
        pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
    page = (ROOT / "docs" / "how-to" / "many-rooms.md").read_text(encoding="utf-8")
    script = re.findall(r"```python\n(.*?)```", page, re.DOTALL)[number]
    (tmp_path / "scenarios").symlink_to(ROOT / "scenarios")
    (tmp_path / "many.py").write_text(script, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "many.py"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    shown = re.search(r"```text\n(.*?)```", page, re.DOTALL)
    assert shown is not None
    assert done.stdout == shown[1], done.stderr


def test_it_can_be_stopped_and_says_so() -> None:
    room, plan = uncertain()
    told: list[str] = []
    found = luck_of(
        room,
        plan,
        replays=1000,
        replan=1,
        over=lambda: len(told) >= 2,
        progress=lambda p: told.append(p.stage),
    )
    assert found.stopped
    assert (found.replays, found.replanned) == (2 * BATCH, None)
    assert told == ["replays: 100 of 1000", "replays: 200 of 1000"]
    assert "Stopped before a replay with new plans was done." in luck_text(found)
    assert "Stopped after 200 replays of 1,000" in luck_text(found)


@pytest.mark.parametrize("wrong", [{"replays": 0}, {"replays": 5, "replan": 6}, {"seed": -1}])
def test_nothing_is_made_of_numbers_that_make_no_sense(wrong: dict[str, int]) -> None:
    with pytest.raises(ValueError, match="replays must be 1 or more"):
        luck_of(*uncertain(), **wrong)


# Chances


@given(st.integers(1, 5000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_the_standard_error_is_that_of_a_binomial_share(numbers: tuple[int, int]) -> None:
    """Source: scipy.stats.binom."""
    times, n = numbers
    chance = Chance.of(times, n)
    assert chance.standard_error == pytest.approx(float(stats.binom(n, times / n).std()) / n, abs=1e-12)


@pytest.mark.parametrize("n", [10, 100, 1000, 100_000])
def test_the_rule_of_three_is_no_less_than_the_exact_limit(n: int) -> None:
    """Source: the exact (Clopper-Pearson) one-sided 95 % limit for none of n, by scipy.stats.beta."""
    exact = float(stats.beta.ppf(0.95, 1, n))
    assert exact <= Chance.of(0, n).below <= 1.2 * exact


@given(st.lists(st.integers(0, 50), min_size=1, max_size=60), st.sampled_from([0.8, 0.95]))
def test_a_percentile_is_the_least_number_that_is_enough(values: list[int], share: float) -> None:
    found = quantile(np.array(values), share)
    needed = ceil(share * len(values) - 1e-9)
    assert sorted(values)[needed - 1] == found


# With a new plan each month


@given(st.dictionaries(st.text(max_size=3), st.floats(0, 40), max_size=6))
def test_whole_parts_add_up(parts: dict[str, float]) -> None:
    found = whole(parts)
    assert abs(sum(found.values()) - sum(parts.values())) <= 0.5 + 1e-9
    assert all(abs(found[name] - part) < 1 + 1e-9 for name, part in parts.items())


def certain() -> tuple[Room, Plan]:
    """Return a room with one brood in being and nothing left to luck, and its plan."""
    room = small_room(broods=(in_being("K1", "red", date(2026, 12, 5), 24, "box 1"),))
    plan = quick_answer(room, plan_of())
    assert plan is not None
    assert plan.verdict is Verdict.FITS
    return room, plan


def test_where_nothing_is_left_to_luck_new_plans_change_nothing() -> None:
    room, plan = certain()
    found = luck_of(room, plan, replays=2, replan=2)
    assert found.overfull.times == 0
    assert found.replanned is not None
    assert (found.replanned.overfull.times, found.replanned.kept_old) == (0, 0)
    assert found.replanned.plans >= 2 * 6  # a life of eight months


def test_new_plans_know_the_vessels_that_the_first_one_adds() -> None:
    room = small_room(broods=(in_being("K1", "red", date(2026, 12, 5), 24, "box 1"),)).with_added({"ten": 1})
    d = day
    plan = plan_of(
        stay("K1", "box 1", TODAY, d("01-16"), 24),
        stay("K1", "new ten 1", d("01-16"), d("03-06"), 24),
        stay("K1", "long 1", d("03-06"), d("07-03"), 24),
        moves=(
            move(d("01-16"), "K1", "box 1", "new ten 1", 24),
            move(d("03-06"), "K1", "new ten 1", "long 1", 24),
            move(d("07-03"), "K1", "long 1", None, 24),
        ),
    ).model_copy(update={"added": (Added(like="ten", copies=1, from_=d("01-16")),)})
    found = luck_of(room, plan, replays=1, replan=1).replanned
    assert found is not None
    assert found.plans > 0
    assert (found.kept_old, found.overfull.times) == (0, 0)


def test_a_new_plan_mends_what_luck_has_broken() -> None:
    """Half as many again as planned hatch: the plan as it stands crowds one ten, and a new plan takes a second one."""
    pack = small_pack(
        hatch_share=band(0.5, 0.5, 1), incubation_days=band(10), clean_out_days=figure(0), sale_mm=figure(30)
    )
    pack = pack.model_copy(update={"stages": pack.stages[:2]})
    vessels = (box("box 1"), ten("ten 1", kinds=(VesselKind.REARING,)), ten("ten 2"), ten("ten 3"))
    brood = Brood(
        name="K",
        line="red",
        collected=day("01-02"),
        by=CollectedBy.PICKING,
        eggs=56,
        homes=(Home(vessel="box 1"),),
    )
    room = room_of_eggs(brood, limit=0, pack=pack, vessels=vessels)
    plan = plan_of(
        stay("K", "box 1", TODAY, day("01-30"), 56),
        stay("K", "ten 1", day("01-30"), day("05-22"), 28),
        moves=(move(day("01-30"), "K", "box 1", "ten 1", 28), move(day("05-22"), "K", "ten 1", None, 28)),
    )
    found = luck_of(room, plan, replays=12, replan=12)
    assert found.replanned is not None
    assert found.replanned.fixed_overfull.times > 0
    assert found.replanned.overfull.times < found.replanned.fixed_overfull.times
    assert found.replanned.fixed_overfull == found.overfull


def test_the_old_plan_is_kept_where_there_is_no_new_one(monkeypatch: pytest.MonkeyPatch) -> None:
    room, plan = uncertain()
    monkeypatch.setattr(luck_replan, "quick_answer", lambda _room, _plan: None)
    script = Script(room, plan)
    batch_seed = np.random.SeedSequence(1).spawn(1)[0]
    fixed = play(script, batch_seed, 5)
    for replay in range(5):
        found = follow(script, batch_seed, 5, replay)
        assert found is not None
        assert found.without_home == fixed.without_home[replay]
        assert found.kept_old == found.plans > 0


def test_new_plans_are_broken_off_without_half_a_replay() -> None:
    room, plan = certain()
    assert follow(Script(room, plan), seed(), 1, 0, lambda: True) is None


# What is printed


def text_of(**changes: object) -> tuple[Luck, str]:
    room, plan = uncertain()
    found = luck_of(room.model_copy(update=changes), plan, replays=100)
    return found, luck_text(found)


def test_the_text_fits_the_page_and_has_an_error_beside_each_chance() -> None:
    found, text = text_of()
    assert max(display_width(line) for line in text.splitlines()) <= 80
    answers = text.partition("How to read it")[0]
    assert answers.count(" %") == answers.count(" % ±") > 10
    assert f"{found.overfull.share * 100:.1f} % ± {found.overfull.standard_error * 100:.1f}" in text


def test_names_do_no_harm() -> None:
    _, text = text_of(name="evil\x1b[2Jroom")
    assert "\x1b" not in text


@pytest.fixture(scope="module")
def tiny(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str]:
    folder = tmp_path_factory.mktemp("luck")
    room, plan = str(ROOT / "scenarios" / "tiny.yaml"), str(folder / "plan.json")
    assert main(["plan", room, "--json", plan]) == 0
    return room, plan


def test_the_command_prints_text_and_json(tiny: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    room, plan = tiny
    capsys.readouterr()
    assert main(["luck", room, "--plan", plan, "--replays", "40"]) == 0
    assert capsys.readouterr().out.startswith("How often the plan holds: ")
    assert main(["luck", room, "--plan", plan, "--replays", "40", "--json"]) == 0
    found = Luck.model_validate(json.loads(capsys.readouterr().out))
    assert (found.replays, found.seed) == (40, 1)
    assert found.room == read_room(Path(room)).room.name


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--replays", "0"], "--replays must be from 1 to 1000000 (got 0)"),
        (["--replays", "5", "--replan", "6"], "--replan must be from 0 to 5 (got 6)"),
        (["--seed", "-1"], "--seed must be from 0"),
    ],
)
def test_the_command_refuses_what_makes_no_sense(
    options: list[str], said: str, tiny: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["luck", tiny[0], "--plan", tiny[1], *options]) == 2
    assert said in capsys.readouterr().err


@settings(deadline=None, max_examples=20)
@given(st.integers(0, 60), st.floats(0, 1), st.integers(0, 10_000))
def test_nothing_comes_back_to_life(eggs: int, share: float, number: int) -> None:
    pack = small_pack(
        hatch_share=band(share), survival=(SurvivalStep(until_age_days=figure(30), share=band(0.3, 0.5, 1)),)
    )
    fate: Fate = fate_of(life_of(eggs_in_being(eggs), pack), TODAY, 60, 20, seed(number))
    assert fate.heads[:, 0].max() <= eggs
    assert (np.diff(fate.heads, axis=1) <= 0).all()
    assert (np.diff(fate.mm, axis=1) >= 0).all()


def test_a_room_without_broods_has_nothing_that_could_go_wrong() -> None:
    room = small_room(broods=(), groups=())
    luck = luck_of(room, small_plan().model_copy(update={"stays": (), "moves": ()}), replays=10)
    assert luck.overfull.times == 0
    assert "No vessel is overfull on any day, in any of 10 replays." in luck_text(luck)
