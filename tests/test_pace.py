"""What a room can sustain: rooms solved in the head, Little's law, another solver, and what is said of it."""

import json
import os
import subprocess
import sys
from collections import Counter
from datetime import timedelta
from math import inf
from random import Random
from threading import Event

import highspy
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from room_files import SCENARIOS
from small_rooms import TODAY, box, figure, level, long, planned, small_pack, small_room, ten

from allocator.check import check_plan
from allocator.model.steady import Way, steady_pace
from allocator.plan import Verdict
from allocator.questions import pace_run
from allocator.questions.pace import Asked, pace_of
from allocator.questions.pace_bound import Living
from allocator.questions.pace_room import (
    Collection,
    emptied,
    in_turn,
    typical,
    weights_of,
    with_collections,
    with_one_more,
)
from allocator.questions.pace_run import Search, Stream, most_possible, period_for
from allocator.quickly import plan_quickly, surely_short
from allocator.reading import read_room
from allocator.replies.pace import MONTH_DAYS, PaceReply, Seen
from allocator.reports.pace import pace_text
from allocator.reports.tables import display_width
from allocator.room import BreedingGroup, CollectedBy, Keeper, Line, Span
from allocator.rules import RoomStep, VesselKind

EVERY_DAY = tuple(range(7))


def alone_in_boxes(**changes):
    """Return the small pack, but a brood has its box to itself for 20 days; later stages take next to nothing."""
    pack = small_pack()
    stages = (pack.stages[0].model_copy(update={"alone": True}), *pack.stages[1:])
    roomy = (RoomStep(from_mm=figure(0), fish_per_litre=level(1000)),)
    return small_pack(stages=stages, room=roomy, **{"length_ratio_limit": figure(100), **changes})


def long_tanks_for(kind):
    """Return the last stage of the small pack, but in vessels of another kind."""
    return small_pack().stages[2].model_copy(update={"kinds": (kind,)})


def plain_room(boxes=2, tens=2, longs=2, rules=None, **changes):
    """Return a room without broods whose keeper moves fish on every day."""
    fields = {
        "keeper": Keeper(move_days=EVERY_DAY),
        "vessels": (
            *(box(f"box {n}") for n in range(1, boxes + 1)),
            *(ten(f"ten {n}") for n in range(1, tens + 1)),
            *(long(f"long {n}") for n in range(1, longs + 1)),
        ),
        "lines": (Line(name="red", species="made up", rules=rules or alone_in_boxes()),),
        "groups": (),
        "broods": (),
    }
    return small_room(**{**fields, **changes})


def search():
    return Search(Event(), None, 0.0, lambda _: None)


def way(age, stage, kind, *loads, line=0):
    return Way(line, age, stage, kind, loads or (1.0,))


class TestLittle:
    """Little (1961), Operations Research 9(3):383-387: broods there = broods a day times days each."""

    def test_ten_tanks(self):
        """One brood a week that stays ten weeks takes ten tanks: so ten tanks carry one a week."""
        steady = steady_pace([1.0], [way(age, 0, 0) for age in range(70)], [10])
        assert steady.pace == pytest.approx(1 / 7)

    def test_stages_add_up(self):
        """Half a brood a week: 1.5 weeks to hatch, 6 to rear, 14 to grow on take 0.75 + 3 + 7 = 10.75 tanks."""
        weeks = ((0, 1.5), (1, 6.0), (2, 14.0))
        ways = [way(stage, stage, 0, 7 * length) for stage, length in weeks]
        assert steady_pace([1.0], ways, [43]).pace == pytest.approx(4 * 0.5 / 7)  # four times 10.75
        assert sum(steady_pace([1.0], ways, [43]).binding.values()) == pytest.approx(1.0)

    def test_the_smallest_of_the_kinds_binds(self):
        ways = [way(0, 0, 0, 20.0), way(1, 1, 1, 50.0)]
        steady = steady_pace([1.0], ways, [2, 4])
        assert steady.pace == pytest.approx(4 / 50)
        assert steady.binding == pytest.approx({(0, 1, 1): 1.0})

    def test_one_kind_takes_what_the_other_cannot(self):
        ways = [way(0, 0, 0, 10.0), way(0, 0, 1, 10.0)]
        assert steady_pace([1.0], ways, [1, 2]).pace == pytest.approx(3 / 10)

    def test_nothing_is_limited(self):
        assert steady_pace([1.0], [way(0, 0, 0)], [None]).pace == inf
        assert steady_pace([1.0], [way(0, 0, 0), way(0, 0, 1)], [1, None]).pace == inf

    def test_no_vessel(self):
        assert steady_pace([1.0], [way(0, 0, 0)], [0]).pace == 0


@pytest.mark.parametrize("seed", range(8))
def test_another_solver_finds_the_same_bound(seed):
    """HiGHS, on the same problem written out in full, without taking days together on which there is no choice."""
    random = Random(seed)  # noqa: S311 - no secret
    kinds, caps, lines = 3, 2, 2
    copies = [random.randint(1, 6) for _ in range(kinds)]
    weights = [0.25, 0.75]
    ways = [
        Way(line, age, 0, kind, tuple(round(random.uniform(0, 1), 3) for _ in range(caps)))
        for line in range(lines)
        for age in range(12)
        for kind in sorted(random.sample(range(kinds), random.randint(1, kinds)))
    ]
    solver = highspy.Highs()
    solver.silent()
    solver.addVar(0.0, highspy.kHighsInf)
    for _ in ways:
        solver.addVar(0.0, highspy.kHighsInf)
    for key in {(w.line, w.age) for w in ways}:
        mine = [n + 1 for n, w in enumerate(ways) if (w.line, w.age) == key]
        solver.addRow(
            0.0, 0.0, len(mine) + 1, np.array([0, *mine]), np.array([-weights[key[0]], *([1.0] * len(mine))])
        )
    for kind in range(kinds):
        for cap in range(caps):
            mine = [n for n, w in enumerate(ways) if w.kind == kind]
            solver.addRow(
                -highspy.kHighsInf,
                float(copies[kind]),
                len(mine),
                np.array([n + 1 for n in mine]),
                np.array([ways[n].loads[cap] for n in mine]),
            )
    solver.changeColCost(0, -1.0)
    solver.run()
    steady = steady_pace(weights, ways, copies)
    assert steady.pace == pytest.approx(-solver.getObjectiveValue(), rel=1e-6)
    assert sum(steady.binding.values()) == pytest.approx(
        1.0
    )  # strong duality: prices times vessels are the pace


@pytest.fixture(scope="module")
def two_boxes():
    """Return the answer for the room whose two boxes bind, with ten eggs in a collection."""
    return pace_of(plain_room(), eggs=10)


class TestInTheHead:
    def test_boxes_for_twenty_days_each(self, two_boxes):
        """Two boxes, a brood alone in one for 20 days: 2 / 20 a day, 33.6 in 336 days, and 33 fit: 10 or 11 days apart.

        Every other brood takes the same box: 20 days and more apart. So no more is possible, and it is proven.
        """
        (row,) = two_boxes.each
        assert row.at_most == pytest.approx(2 / 20 * MONTH_DAYS)
        assert (row.count, row.possible, row.period_days, row.proven) == (33, 33, 336, True)
        assert row.found == pytest.approx(33 / 336 * MONTH_DAYS)
        assert row.bottleneck is not None
        assert (row.bottleneck.stage, row.bottleneck.vessels) == ("hatchery", "box")
        assert row.bottleneck.seen is Seen.ONE_MORE
        assert [(part.stage, part.vessels) for part in row.binding] == [("hatchery", "box")]

    def test_what_one_more_buys(self, two_boxes):
        """A third box: 3 / 20 a day at most. More tens and longs buy nothing."""
        (row,) = two_boxes.each
        more = {part.vessels: part for part in row.vessels}
        assert more["box"].one_more_at_most == pytest.approx(3 / 20 * MONTH_DAYS)
        assert more["box"].one_more_found == pytest.approx(50 / 336 * MONTH_DAYS, rel=pace_run.COARSE)
        for name in ("ten", "long"):
            assert more[name].one_more_at_most == pytest.approx(2 / 20 * MONTH_DAYS)
            assert more[name].one_more_found == pytest.approx(row.found)

    def test_long_tanks_by_their_litres(self):
        """Fish of the small pack weigh 0.01 x cm^3 grams; a litre holds 2 grams, or one fish; 48 tens, 24 boxes.

        In the long tank of 144 litres 72 fish that never die, one a litre, take half of it from day 85 (20 mm) at the
        earliest to day 160 (35 mm) at the latest, and are sold on day 210: at least 50 days in it, so at most
        1 / (0.5 x 50) a day for each tank; the weight at 45 mm, 0.9 g, is within 2 g a litre.
        """
        room = plain_room(24, 48, 1, rules=small_pack())
        bound = Living(emptied(room), [Collection("red", 72, CollectedBy.PICKING, 1, None, "")]).bound([1.0])
        assert bound.pace == pytest.approx(1 / (0.5 * 50))

    def test_chance(self, two_boxes):
        """Two boxes, 33 broods in 336 days for 20 days each: a = 1.964, B = 0.394."""
        (row,) = two_boxes.each
        (luck,) = row.unplanned
        assert (luck.vessels, luck.copies, luck.days_each) == ("box", 2, pytest.approx(20, abs=0.5))
        offered = 33 / 336 * luck.days_each
        exact = (offered**2 / 2) / (1 + offered + offered**2 / 2)
        assert luck.turned_away == pytest.approx(exact)

    def test_a_stage_without_a_vessel(self):
        (row,) = pace_of(plain_room(longs=0)).each
        assert (row.at_most, row.found, row.count) == (0.0, None, 0)
        assert row.lacking is not None
        assert (row.lacking.line, row.lacking.stage) == ("red", "grow-out")


def random_room(seed):
    random = Random(seed)  # noqa: S311 - no secret
    rules = small_pack() if seed % 2 else alone_in_boxes()
    return plain_room(
        random.randint(1, 4),
        random.randint(1, 4),
        random.randint(1, 3),
        rules=rules,
        keeper=Keeper(move_days=random.choice([(5,), (5, 6), (2, 5), EVERY_DAY])),
    )


@pytest.fixture(params=range(3), scope="module")
def looked_at(request):
    """Return a random room with what was found in it, in coarse steps."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pace_run, "FINE_STEPS", 4)
        asked = Asked(
            emptied(random_room(request.param)),
            [Collection("red", 20, CollectedBy.PICKING, 1, None, "")],
            [1.0],
        )
        asked.find(search())
    return asked


def test_what_is_found_is_checked_and_within_the_bound(looked_at):
    """Whatever is found keeps every rule of the checker, and is no more than Little's law allows."""
    plan = looked_at.plan
    assert plan is not None
    assert plan.verdict is Verdict.FITS
    assert not plan.homeless
    assert check_plan(looked_at.stream.with_broods(looked_at.count), plan) == []
    assert looked_at.count <= looked_at.stream.bound * looked_at.stream.period
    assert looked_at.count <= looked_at.possible <= looked_at.stream.most


def test_littles_law_holds_in_the_plan(looked_at):
    """L = a W (Little 1961) on a long run: off by what the ends of the measured days cut off, no more.

    Broods that come in the measured days and are there after them stand for those that were there before.
    """
    assert looked_at.measured is not None
    run = looked_at.measured.run
    assert run.broods_mean == pytest.approx(run.a_day * run.days_each, rel=0.05, abs=0.3)
    assert sum(use.broods_mean for use in run.stages) >= run.broods_mean - 1e-9
    for use in run.stages:
        assert use.broods_mean == pytest.approx(run.a_day * use.days_each, rel=0.15, abs=0.5)


@pytest.mark.parametrize("like", ["box", "ten", "long"])
def test_one_more_vessel_never_lowers_the_bound(like):
    collections = [Collection("red", 20, CollectedBy.PICKING, 1, None, "")]
    for seed in range(4):
        room = emptied(random_room(seed))
        before = Living(room, collections).bound([1.0]).pace
        assert Living(with_one_more(room, like), collections).bound([1.0]).pace >= before - 1e-9


def test_surely_short_is_no_false_alarm():
    """Three broods at once in two boxes, a box each, are short on their first day; two are not."""
    room = plain_room()
    start = TODAY + timedelta(days=7)

    def with_broods(count):
        broods = tuple(planned(f"P{n}", "red", start, 10) for n in range(count))
        return room.model_copy(update={"broods": broods})

    assert surely_short(with_broods(3))
    assert not surely_short(with_broods(2))
    assert plan_quickly(with_broods(3), stop=Event()) is None
    assert plan_quickly(with_broods(2), stop=Event()) is not None


def test_what_single_days_rule_out_is_the_depth_of_the_stays():
    """Fish moved on Saturdays only, two boxes: a box is taken from collection to the first Saturday 20 days on.

    Equal vessels and whole stays: as many are needed as are in use at once, no fewer (interval partitioning, Kleinberg
    and Tardos, Algorithm Design, section 4.1, from memory). The count of that is made here, from the calendar alone.
    """
    room = emptied(plain_room(keeper=Keeper(move_days=(5,))))
    asked = Asked(room, [Collection("red", 10, CollectedBy.PICKING, 1, None, "")], [1.0])
    stream = asked.stream

    def most_at_once(count):
        stays = []
        for number in range(count * stream.days // stream.period):
            first = number * stream.period // count
            last = first + 20
            stays.append((first, last + -last % 7))  # the first day is a Saturday
        return max(sum(start <= day < end for start, end in stays) for day, _ in stays)

    possible = most_possible(stream, search(), 1)
    assert possible < stream.most
    assert all(most_at_once(count) > 2 for count in range(possible + 1, stream.most + 1))
    assert most_at_once(possible) <= 2


class TestSteadyRoom:
    def test_what_is_left_out(self):
        room = emptied(small_room())
        assert room.broods == room.pins == room.could_add == room.keeper.away == ()
        assert "ten 7" not in room.vessel_named  # goes on 1 February
        assert room.groups[0].vessel == "ten 5"

    def test_a_group_that_comes_later_has_come(self):
        group = BreedingGroup(
            name="g",
            line="red",
            males=1,
            females=1,
            vessel="ten 5",
            lives_there=Span(start=TODAY + timedelta(days=9)),
        )
        assert emptied(small_room(groups=(group,))).groups[0].lives_there == Span()

    def test_a_group_that_left_has_left(self):
        group = BreedingGroup(
            name="g", line="red", males=1, females=1, vessel="ten 5", lives_there=Span(end=TODAY)
        )
        assert emptied(small_room(groups=(group,))).groups == ()

    def test_a_collection(self):
        room = small_room()
        red = room.line_named["red"]
        assert typical(room, red)[1] == 20  # of 20 and 40, the lower of the middle ones
        assert typical(room, red, 7)[1] == 7
        being = room.model_copy(update={"broods": room.broods[:1]})
        assert typical(being, red)[1] == 24
        assert "rule pack" in typical(room.model_copy(update={"broods": ()}), red).why

    def test_shares(self):
        room = small_room()
        assert weights_of(room) == {"red": 2 / 3, "blue": 1 / 3}
        assert weights_of(room.model_copy(update={"broods": ()})) == {"red": 0.5, "blue": 0.5}

    def test_collections_come_evenly(self):
        room = emptied(plain_room())
        kind = Collection("red", 12, CollectedBy.PICKING, 1, None, "")
        days = [
            (brood.collected - TODAY).days
            for brood in with_collections(room, [kind], [1.0], 4, 30, 60).broods
        ]
        assert days == [0, 7, 15, 22, 30, 37, 45, 52]


@given(st.lists(st.integers(1, 9), min_size=1, max_size=5), st.integers(1, 60))
def test_turns_keep_to_the_shares(parts, count):
    """Nobody is ever as much as one turn behind its share for each line there is."""
    weights = [part / sum(parts) for part in parts]
    turns = in_turn(weights, count)
    had = Counter(turns)
    for line, weight in enumerate(weights):
        assert abs(had[line] - weight * count) < len(parts)
    assert len(turns) == count


def test_the_period_grows_until_steps_are_small():
    assert [period_for(pace) for pace in (1.0, 0.2, 0.1, 0.001)] == [84, 168, 336, 336]
    room = emptied(plain_room())
    stream = Stream(room, [], [], 210, 0.1, "red", 336)
    assert stream.most == 33
    assert stream.days == 672  # two lives are 420 days, a life and a period 546: whole periods


class TestStopped:
    def test_the_bound_is_told_at_once(self):
        reply = pace_of(plain_room(), eggs=10, seconds=1e-6)
        (row,) = reply.each
        assert reply.stopped
        assert row.found is None
        assert not row.proven
        assert row.at_most == pytest.approx(2 / 20 * MONTH_DAYS)
        text = pace_text(reply)
        assert "ended early" in text
        assert "not looked for" in text

    def test_progress_is_told(self):
        told = []
        pace_of(plain_room(), eggs=10, line="red", seconds=0.5, progress=told.append)
        assert any("broods in 336 days" in progress.stage for progress in told)


class TestText:
    def test_mixed_lines(self):
        rules = alone_in_boxes()
        lines = tuple(Line(name=name, species="made up", rules=rules) for name in ("red", "E1\u202e"))
        reply = pace_of(plain_room(lines=lines, could_add=()), eggs=10, seconds=4)
        assert reply.mixed is not None
        assert [part.share for part in reply.mixed.collected] == [0.5, 0.5]
        text = pace_text(reply)
        assert "\u202e" not in text.replace("\u2068E1\u202e\u2069", "")
        assert "all lines mixed (red 50%" in text
        assert all(display_width(line) <= 80 for line in text.splitlines())

    def test_without_a_vessel(self):
        text = pace_text(pace_of(plain_room(longs=0)))
        assert "Nothing for ever" in text
        assert "in the stage grow-out" in text
        assert "proven" not in text.partition("For ever means")[0]

    def test_one_line_without_a_vessel(self):
        """The other is answered for, and nothing is mixed."""
        stuck = small_pack(stages=(*small_pack().stages[:2], long_tanks_for(VesselKind.EGG_STORE)))
        lines = (
            Line(name="stuck", species="made up", rules=stuck),
            Line(name="red", species="made up", rules=alone_in_boxes()),
        )
        reply = pace_of(plain_room(lines=lines), eggs=10, seconds=3)
        assert reply.mixed is None
        assert [row.lacking is None for row in reply.each] == [False, True]
        text = pace_text(reply)
        assert "line red alone" in text
        assert "in which stuck could live in the stage grow-out" in " ".join(text.split())

    def test_proven_is_said_where_it_is(self, two_boxes):
        text = pace_text(two_boxes)
        assert "proven" in text.partition("Found is")[0]

    def test_chance_is_left_out_where_it_says_nothing(self):
        """Boxes that hold older fish too are no vessels of their own kind."""
        both = (VesselKind.HATCHERY, VesselKind.REARING)
        vessels = tuple(
            vessel.model_copy(update={"kinds": both}) if vessel.declared_as == "box" else vessel
            for vessel in plain_room().vessels
        )
        asked = Asked(
            emptied(plain_room(vessels=vessels)),
            [Collection("red", 10, CollectedBy.PICKING, 1, None, "")],
            [1.0],
        )
        asked.find(search())
        row = asked.sustained()
        assert row.found is not None
        assert row.unplanned == ()
        assert "is not told" in pace_text(PaceReply(room="r", today=TODAY, each=(row,)))


def test_young_with_their_parents_and_eggs_in_peat():
    """The bag of peat holds one collection, the parents' tank one brood: they bind, whatever else there is."""
    room = read_room(SCENARIOS / "three-ways.yaml").room
    reply = pace_of(room, seconds=1e-6)
    rows = {row.collected[0].line: row for row in reply.each}
    assert [(part.stage, part.vessels) for part in rows["puddle"].binding] == [("egg store", "bag")]
    bags = sum(vessel.declared_as == "bag" for vessel in room.vessels)
    wait = room.line_named["puddle"].rules.incubation_days.expected.value
    assert rows["puddle"].at_most == pytest.approx(bags / wait * MONTH_DAYS, rel=0.1)
    assert {part.vessels for part in rows["cave"].vessels} >= {"cave tank"}


def run(*arguments):
    return subprocess.run(
        [sys.executable, "-m", "allocator", "pace", *arguments],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "NO_COLOR": "1"},
        encoding="utf-8",
    )


class TestCommand:
    def test_json(self):
        done = run(str(SCENARIOS / "tiny.yaml"), "--eggs", "30", "--time", "3", "--json")
        reply = json.loads(done.stdout)
        assert reply["room"] == "First winter"
        assert reply["each"][0]["collected"][0]["eggs"] == 30
        assert done.returncode == (0 if reply["each"][0]["found"] else 1)

    def test_a_line_that_is_not_there(self):
        done = run(str(SCENARIOS / "tiny.yaml"), "--line", "bleu")
        assert done.returncode == 2
        assert "there is no such line" in done.stderr
        assert "'blue'" in done.stderr

    def test_eggs_that_are_none(self):
        done = run(str(SCENARIOS / "tiny.yaml"), "--eggs", "0")
        assert done.returncode == 2
        assert "--eggs must be" in done.stderr
