"""Whether a pair can be started: no answer but from the planner and the checker."""

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from random_rooms import random_room
from small_rooms import SATURDAY, TODAY, band, box, day, long, planned, small_pack, small_room, ten
from test_fit import first_plan
from typer.testing import CliRunner

from allocator.changes import with_broods, with_group
from allocator.check import check_plan
from allocator.cli import app, main
from allocator.commands.pair import _days_of_collection
from allocator.plan import Plan, Verdict
from allocator.planner import plan_room
from allocator.questions.held import Held, strain_of
from allocator.questions.pair import Pairing, pair_of, usual_days, ways_to_take
from allocator.reading import read_room
from allocator.replies.pair import LeftOut, NobodyMoved, PairReply
from allocator.replies.refusal import Unfit
from allocator.reports.pair import pair_text
from allocator.room import Addable, BreedingGroup, Brood, CollectedBy, Keeper, Line, Room, Span
from allocator.rules import VesselKind

WEEK = timedelta(days=7)
TINY = Path(__file__).parent.parent / "scenarios" / "tiny.yaml"


def breeder(name: str) -> object:
    return ten(name, declared_as="breeder", kinds=(VesselKind.BREEDING,))


def rack(longs: int = 2, **changes: object) -> tuple[Room, Plan]:
    """Return a rack of three boxes, three tens and some long tanks, with a breeding tank and one brood to come."""
    fields: dict[str, object] = {
        "keeper": Keeper(move_days=(SATURDAY,)),
        "vessels": (
            *(box(f"box {number}") for number in (1, 2, 3)),
            *(ten(f"ten {number}", snail_free=True) for number in (1, 2, 3)),
            *(long(f"long {number}") for number in range(1, longs + 1)),
            breeder("breeder 1"),
        ),
        "groups": (),
        "broods": (planned("P", "red", day("01-09"), 15),),
        "could_add": (Addable(like="long", price=100, most=2),),
    }
    room = small_room(**(fields | changes))
    plan = first_plan(room)
    assert plan is not None
    return room, plan


def asked(*days: str, eggs: int = 15, vessel: str = "breeder 1", by: str = "picking") -> Pairing:
    collections = tuple(day(text) for text in days)
    return Pairing(
        group=BreedingGroup(
            name="new pair",
            line="blue",
            males=1,
            females=1,
            vessel=vessel,
            lives_there=Span(start=collections[0] - WEEK),
        ),
        collections=collections,
        eggs=eggs,
        by=(CollectedBy(by),),
        every_days=7,
    )


def coming(reply: PairReply, later: timedelta = timedelta()) -> list[Brood]:
    way = reply.ways[0]
    return [
        planned(f"new pair {on + later}", reply.pair.line, on + later, way.eggs, way.by)
        for on in way.collections
    ]


def test_a_yes_is_a_checked_plan_in_which_nobody_else_moves() -> None:
    room, plan = rack()
    reply = pair_of(room, plan, asked("01-16"))
    assert reply.yes
    nobody = reply.ways[0].nobody_moved
    assert nobody is not None
    assert (nobody.taken, nobody.left_out) == (1, ())
    assert reply.ways[0].earliest == reply.pair.lives_there.start
    beside = Held(with_group(room, reply.pair), plan, coming(reply)).settle()
    assert not check_plan(beside.room, beside.plan)
    assert "Yes, and nobody else has to move (eggs picked)." in pair_text(reply)


def test_where_some_find_no_room_the_weeks_the_reason_and_the_cheapest_addition_are_told() -> None:
    """One long tank for 144 fish; the red brood has it from the day it is 20 mm to the day it is sold."""
    room, plan = rack(longs=1)
    reply = pair_of(room, plan, asked("01-16"))
    way = reply.ways[0]
    assert not reply.yes
    assert way.nobody_moved is not None
    assert way.nobody_moved.taken == 0
    assert way.nobody_moved.first is not None
    assert way.nobody_moved.first.stage == "grow-out"
    assert way.others_moved is not None
    assert way.others_moved.verdict is Verdict.NEEDS_MORE_TANKS
    assert way.others_moved.price == 100
    assert way.others_moved.price_proven
    text = pair_text(reply)
    assert "No, not one of its collections finds room." in text
    assert "Do not collect in the week of Mon 11 Jan 2027 (with nobody else moved" in text
    assert "long 1: P" in text
    assert "1 more long by" in text
    assert "(price 100, proven least)" in " ".join(text.split())


def test_the_cheapest_addition_is_what_planning_that_room_says() -> None:
    room, plan = rack(longs=1)
    reply = pair_of(room, plan, asked("01-16", "01-30"))
    whole = plan_room(with_broods(with_group(room, reply.pair), coming(reply)))
    others = reply.ways[0].others_moved
    assert others is not None
    assert {(row.like, row.copies) for row in others.added} == {
        (row.like, row.copies) for row in whole.best.plan.added
    }


def test_the_earliest_start_is_the_first_week_that_does() -> None:
    room, plan = rack(longs=1)
    reply = pair_of(room, plan, asked("01-16"))
    start, earliest = reply.pair.lives_there.start, reply.ways[0].earliest
    assert start is not None
    assert earliest is not None
    for number in range((earliest - start).days // 7 + 1):
        later = number * WEEK
        group = reply.pair.model_copy(update={"lives_there": Span(start=start + later)})
        taken = Held(with_group(room, group), plan, coming(reply, later)).settle().taken
        assert bool(taken) == (start + later >= earliest)


def test_the_pair_needs_a_tank_of_its_own() -> None:
    room, plan = rack()
    busy = with_group(room, asked("01-16").group.model_copy(update={"name": "there already", "line": "red"}))
    reply = pair_of(busy, plan, asked("01-16", vessel=""))
    assert reply.own_vessel_new
    assert reply.pair.vessel == "breeder 2"
    assert not reply.yes
    assert "No tank for breeding is free for the pair itself" in " ".join(pair_text(reply).split())


def test_a_tank_that_broods_are_planned_for_is_taken() -> None:
    """Ten 1 to 3 are for breeding too; the plan has a brood in one of them, and moves it to another for the pair."""
    both = (VesselKind.REARING, VesselKind.BREEDING)
    tens = tuple(ten(f"ten {number}", kinds=both) for number in (1, 2))
    room, plan = rack(vessels=(box("box 1"), box("box 2"), *tens, long("long 1"), long("long 2")))
    used = next(stay.vessel for stay in plan.stays if stay.vessel.startswith("ten"))
    reply = pair_of(room, plan, asked("08-07", vessel=used))
    way = reply.ways[0]
    assert reply.own_vessel_taken == ("P",) or way.nobody_moved is not None
    early = pair_of(room, plan, asked("01-16", vessel=used))
    assert early.own_vessel_taken == ("P",)
    assert early.ways[0].nobody_moved is None
    assert early.ways[0].others_moved is not None
    assert early.ways[0].others_moved.displaced


EMPTY = """
fish_room: Nobody there
today: 2027-01-02
keeper: {move_days: [saturday]}
vessels:
  - {name: box, kind: hatchery, inside: 20 x 12 cm, water_depth: 10 cm, flow: [still, gentle], snail_free: true}
  - {name: ten, kind: rearing, inside: 50 x 25 cm, water_depth: 27 cm, flow: [still, normal], filter: sponge filter}
  - {name: long, kind: grow-out, inside: 90 x 45 cm, water_depth: 36 cm, flow: [gentle, strong], filter: box filter}
  - {name: breeder, kind: breeding, inside: 60 x 30 cm, water_depth: 30 cm, flow: gentle}
lines:
  - {name: blue, species: Melanotaenia lacustris, rules: rainbowfish-large}
"""


def test_in_an_empty_room_nobody_has_to_move(tmp_path: Path) -> None:
    """Eggs every 28 days, just what a box takes: one after another two find room, settled together all three."""
    (tmp_path / "room.yaml").write_text(EMPTY)
    room = read_room(tmp_path / "room.yaml").room
    group = asked("01-30", vessel="breeder").group
    days = (day("01-30"), day("02-27"), day("03-27"))
    question = Pairing(group=group, collections=days, eggs=20, by=(CollectedBy.PICKING,), every_days=28)
    reply = pair_of(room, plan_room(room).best.plan, question)
    way = reply.ways[0]
    assert way.others_moved is not None
    assert way.others_moved.taken == 3
    assert way.nobody_moved is not None
    assert way.nobody_moved.taken == 3
    assert way.earliest == group.lives_there.start
    assert "Yes, and nobody else has to move" in pair_text(reply)


def test_a_vessel_that_is_not_there_yet_is_not_one_that_never_does(tmp_path: Path) -> None:
    """The box comes in March, so the first of two collections finds none, and the second one does."""
    (tmp_path / "room.yaml").write_text(
        EMPTY.replace("snail_free: true", "snail_free: true, available: {from: 2027-03-01}")
    )
    room = read_room(tmp_path / "room.yaml").room
    group = asked("01-30", vessel="breeder").group
    days = (day("01-30"), day("03-27"))
    question = Pairing(group=group, collections=days, eggs=20, by=(CollectedBy.PICKING,), every_days=56)
    reply = pair_of(room, plan_room(room).best.plan, question)
    way = reply.ways[0]
    assert way.nobody_moved is not None
    assert way.nobody_moved.first is not None
    assert [one.unfit for one in way.nobody_moved.first.in_the_way] == [Unfit.AWAY]
    assert not way.nobody_moved.first.never
    assert way.others_moved is not None
    assert way.others_moved.taken == 1
    assert way.earliest is not None
    assert way.earliest > day("02-01")
    assert "No; but 1 of the 2 collections finds room" in pair_text(reply)


def test_a_pair_in_a_hatchery_box_is_cautioned_about() -> None:
    room, plan = rack()
    boxed = " ".join(pair_text(pair_of(room, plan, asked("08-07", vessel="box 3"))).split())
    assert (
        "box 3 is not for breeding in your room file, but for hatchery: whether grown fish can live" in boxed
    )
    assert "is not for breeding" not in pair_text(pair_of(room, plan, asked("08-07")))


@pytest.mark.parametrize(
    "question",
    [["fit", "--by"], ["pair", "--by"], ["target", "--fish", "5", "--by", "2027-12-11", "--taken"]],
)
def test_young_are_not_taken_of_fish_that_lay(question: list[str], capfd: pytest.CaptureFixture[str]) -> None:
    name, *options = question
    extra = ["--in", "long"] if name == "pair" else []
    assert main([name, str(TINY), *extra, *options, "young"]) == 2
    assert f"{options[-1]} young is not for blue" in capfd.readouterr().err


def test_a_mop_where_no_tank_is_free_of_snails_is_never_possible() -> None:
    room, plan = rack()
    snails = tuple(v.model_copy(update={"snail_free": v.name.startswith("box")}) for v in room.vessels)
    reply = pair_of(room.model_copy(update={"vessels": snails}), plan, asked("01-16", by="mop"))
    first = reply.ways[0].nobody_moved.first if reply.ways[0].nobody_moved else None
    assert first is not None
    assert first.never
    assert {way.unfit for way in first.in_the_way} == {Unfit.SNAILS}
    assert "ten 1: eggs must be out of reach of snails" in pair_text(reply)


def test_ways_to_take_are_those_of_the_fish() -> None:
    room, _ = rack()
    assert ways_to_take(room, "red") == (CollectedBy.PICKING, CollectedBy.MOP)
    young = Line(name="red", species="made up", rules=small_pack(incubation_days=band(0)))
    assert ways_to_take(room.model_copy(update={"lines": (young,)}), "red") == (CollectedBy.YOUNG,)


def test_the_fry_of_a_mop_may_be_sold_from_the_tank_it_was_hung_in() -> None:
    """A line of two stages, so that the last one begins in place."""
    pack = small_pack(stages=small_pack().stages[:2], eggs_need_snail_free=False)
    room = small_room(
        lines=(Line(name="red", species="made up", rules=pack),),
        vessels=(ten("ten 1"),),
        groups=(),
        broods=(planned("M", "red", TODAY, 5, CollectedBy.MOP),),
    )
    plan = plan_room(room).best.plan
    assert plan.verdict is Verdict.FITS
    assert {stay.vessel for stay in plan.stays} == {"ten 1"}


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--males", "0", "--females", "0"], "nobody would lay"),
        (["--females", "0"], "nobody would lay"),
        (["--males", "two"], "must be a whole number"),
        (["--every", "often"], "this is not a number of days"),
        (["--every", "0"], "must be at least 1 day"),
        (["--from", "2020-01-01"], "is before today"),
        (["--until", "2027-01-05"], "leaves no time for a collection"),
        (["--in", "nowhere"], "there is no such vessel"),
        (["--eggs", "many"], "this is not a whole number"),
        (["--eggs", "0"], "must be from 1 to"),
        (["--by", "hand"], "this is not known"),
        (["--line", "nobody"], "there is no such line"),
        (["--every", "1", "--until", "2028-01-10"], "more than 60 collections"),
    ],
)
def test_what_cannot_be_meant_is_refused(
    options: list[str], said: str, capfd: pytest.CaptureFixture[str]
) -> None:
    assert main(["pair", str(TINY), *options]) == 2
    assert said in capfd.readouterr().err


def test_the_command_answers_in_words_and_as_json(tmp_path: Path) -> None:
    room = tmp_path / "room.yaml"
    kind = "kind: rearing, inside: 50 x 25 cm"
    text = TINY.read_text(encoding="utf-8").replace(kind, f"{kind}, also_for: [breeding]")
    room.write_text(text.replace("copies: 2, kind: rearing", "copies: 3, kind: rearing"), encoding="utf-8")
    command = ["pair", str(room), "--until", "2027-03-01", "--every", "28", "--eggs", "10"]
    shown = CliRunner().invoke(app, command)
    assert "Can this pair be started?" in shown.output
    whole = CliRunner().invoke(app, [*command, "--json"])
    reply = PairReply.model_validate_json(whole.stdout)
    assert pair_text(reply) in shown.output


def test_days_away_have_no_collection() -> None:
    room, _ = rack()
    away = room.keeper.model_copy(update={"away": (Span(start=date(2027, 1, 20), end=date(2027, 2, 20)),)})
    days = _days_of_collection(
        room.model_copy(update={"keeper": away}), (day("01-09"), day("03-06")), "2 weeks"
    )
    assert days == (day("01-09"), 14, (day("02-20"), day("03-06")))


def test_a_pair_puts_out_no_collection_that_the_plan_takes_if_it_fits() -> None:
    """One long tank, and P is in it until August; P need not be taken, but the plan takes it."""
    first = planned("P", "red", day("01-09"), 15).model_copy(update={"optional": True})
    room, plan = rack(longs=1, broods=(first,), could_add=())
    assert not plan.not_taken
    reply = pair_of(room, plan, asked("01-16"))
    others = reply.ways[0].others_moved
    assert others is not None
    assert (others.taken, others.verdict) == (0, Verdict.DOES_NOT_FIT)
    assert "No, not one of its collections finds room." in pair_text(reply)


@pytest.mark.parametrize("seed", [6, 18])
def test_strain_is_that_of_the_planner(seed: int) -> None:
    result = plan_room(random_room(seed))
    told = {level.name: level.value for level in result.best.levels}
    assert strain_of(result.room, result.best.plan) == told["strain"]


def test_strain_is_told_as_it_is_and_as_it_would_be() -> None:
    room, plan = rack(longs=1)
    reply = pair_of(room, plan, asked("01-16"))
    way = reply.ways[0]
    assert reply.strain_now == strain_of(room, plan)
    assert way.others_moved is not None
    assert way.others_moved.strain is not None
    row = next(line for line in pair_text(reply).splitlines() if "points of strain" in line)
    assert f"({reply.strain_now} now)" in row
    assert f"{way.strain}; {way.others_moved.strain} with all" in row


def line_with(**changes: Any) -> Room:
    room = small_room(groups=(), broods=())
    line = room.lines[0].model_copy(update={"rules": small_pack(**changes)})
    return room.model_copy(update={"lines": (line,)})


def test_collections_are_as_far_apart_as_such_fish_breed() -> None:
    """Guarded young leave on day 10 after the hatch, which is over on day 12: after three weeks or four."""
    assert usual_days(line_with(), "red") == 7
    assert usual_days(line_with(incubation_days=band(0)), "red") == 28
    first, *others = small_pack().stages
    guarded = (first.model_copy(update={"with_parents": True}), *others)
    assert usual_days(line_with(stages=guarded), "red") in {21, 28}


def test_young_that_are_born_cannot_be_left_untaken() -> None:
    """One box for both days: whoever comes second has no home, and the pair lives in the other box."""
    room, plan = rack(longs=1)
    reply = pair_of(room, plan, asked("01-16", "01-17", "01-18"))
    left = [LeftOut(brood="X 1", on=day("01-17"))]
    way = reply.ways[0].model_copy(update={"others_moved": None})
    nobody = NobodyMoved(taken=2, left_out=tuple(left), first=None, sold_later={})
    way = way.model_copy(update={"nobody_moved": nobody, "tight": None})
    told = {
        (born, guarded): pair_text(
            reply.model_copy(update={"ways": (way,), "born": born, "guarded": guarded})
        )
        for born, guarded in ((False, False), (True, False), (False, True))
    }
    assert "Do not collect in the week of Mon 11 Jan 2027" in told[False, False]
    assert "No home for the young born in the week of Mon 11 Jan 2027" in told[True, False]
    assert "have a taker for them" in told[True, False]
    assert "No home for the broods in the week of Mon 11 Jan 2027" in told[False, True]
    assert not any("do not take the young" in text.lower() for text in told.values())


def test_a_pair_is_named_in_its_own_vessel_and_that_is_no_tight_kind() -> None:
    """The pair has the one box, so no eggs can be set up in it."""
    vessels = (box("box 1"), ten("ten 1"), long("long 1"), breeder("breeder 1"))
    room, plan = rack(vessels=vessels, broods=(), could_add=())
    reply = pair_of(room, plan, asked("01-16", vessel="box 1"))
    (way,) = reply.ways
    assert way.nobody_moved is not None
    assert way.nobody_moved.first is not None
    assert [(one.vessel, one.broods) for one in way.nobody_moved.first.in_the_way] == [
        ("box 1", (reply.pair.name,))
    ]
    assert way.tight is None or way.tight.kind != "box"
