"""The rooms of the benchmark are legal and always the same, and its command leaves nothing out."""

import json
import subprocess
import sys
from collections import defaultdict
from dataclasses import replace
from itertools import combinations
from math import ceil
from pathlib import Path

import pytest
from benchmark import children, frozen, many, replan, weekly_milp
from benchmark.children import Task, outcome_of
from benchmark.frozen import (
    SEEDS,
    ContradictionError,
    Known,
    better,
    digest_of,
    names,
    read_known,
    room_named,
)
from benchmark.one_room import COST, Outcome
from benchmark.room_file import as_file
from benchmark.rooms import CHARACTERS, SIZES, bench_room
from benchmark.weekly_milp import solve
from small_rooms import box, day, long, planned, small_pack, small_room, ten

from allocator.husbandry.homes import fish_today
from allocator.husbandry.life import lives
from allocator.husbandry.stages import is_alone, latest_entry, stage_today
from allocator.husbandry.stocking import flow_step, shares_of_one, totals
from allocator.planner import plan_room
from allocator.reading import read_room
from allocator.room import Addable, Line, Room

ROOT = Path(__file__).parent.parent
EVERY = [
    *((character, "home") for character in CHARACTERS),
    *((character, "club") for character in ("unlike", "half-full", "pins")),
]
"""Every character; the larger rooms only of those that are the most odd, since they take a second each to read."""


@pytest.fixture(scope="module")
def rooms() -> dict[tuple[str, str], Room]:
    return {(character, size): bench_room(character, size, 1) for character, size in EVERY}


@pytest.mark.parametrize("character", CHARACTERS)
def test_the_same_seed_gives_the_same_room(rooms, character):
    assert bench_room(character, "home", 1) == rooms[character, "home"]
    assert bench_room(character, "home", 2) != rooms[character, "home"]


@pytest.mark.parametrize(("character", "size"), EVERY)
def test_a_room_file_says_the_same_and_nothing_is_odd(rooms, tmp_path, character, size):
    file = tmp_path / "room.yaml"
    file.write_text(as_file(rooms[character, size]), encoding="utf-8")
    reading = read_room(file)
    assert [str(warning) for warning in reading.warnings] == []
    assert reading.room == rooms[character, size]


@pytest.mark.parametrize(("character", "size"), EVERY)
def test_rooms_are_as_large_as_is_said(rooms, character, size):
    room, wanted = rooms[character, size], SIZES[size]
    assert len(room.broods) == wanted.broods
    assert 0.85 * wanted.vessels <= len(room.vessels) <= 1.05 * wanted.vessels
    assert {offer.like for offer in room.could_add} == {vessel.declared_as for vessel in room.vessels}


@pytest.mark.parametrize(("character", "size"), EVERY)
def test_fish_fit_where_they_are_found(rooms, character, size):
    room = rooms[character, size]
    forecast = lives(room)
    found = defaultdict(list)
    for brood in room.broods:
        assert brood.planned == (not brood.homes)
        if not brood.planned:
            for name, fish in fish_today(forecast[brood.name], room.today).items():
                found[room.vessel_named[name]].append((forecast[brood.name], fish))
    assert found
    for vessel, lots in found.items():
        mm = {life.brood.name: life.length_mm(room.today) for life, _ in lots}
        taken = [(fish, shares_of_one(mm[life.brood.name], vessel, life.rules)) for life, fish in lots]
        assert max(limit for _, limit in totals(taken).values()) <= 1
        assert len({life.brood.line for life, _ in lots}) == 1
        for life, _ in lots:
            stage = stage_today(life, vessel, room.today)
            assert set(vessel.kinds) & set(life.rules.stages[stage].kinds)
            assert len(lots) == 1 or not is_alone(life, stage)
            assert vessel.flow_lowest <= flow_step(mm[life.brood.name], life.rules).limit.value
            later = life.rules.stages[stage + 1 : stage + 2]
            assert all(latest_entry(life, rule) >= room.today for rule in later)
        for (one, _), (other, _) in combinations(lots, 2):
            short, tall = sorted((mm[one.brood.name], mm[other.brood.name]))
            assert tall <= one.rules.length_ratio_limit.value * short


def test_rooms_of_pins_have_pins_and_half_full_rooms_have_fish(rooms):
    assert len(rooms["pins", "club"].pins) == SIZES["club"].broods // 4
    assert len({pin.brood for pin in rooms["pins", "club"].pins}) == SIZES["club"].broods // 4
    there = {name for brood in rooms["half-full", "club"].broods for name in (h.vessel for h in brood.homes)}
    assert len(there) >= ceil(0.35 * SIZES["club"].vessels)


# -- the frozen set ---------------------------------------------------------------------------------------


def test_the_frozen_set_has_forty_rooms_in_four_sizes():
    assert len(names()) == len(set(names())) == sum(SEEDS.values()) == 40
    assert list(read_known()) == names()


def test_no_bound_is_above_a_value_and_proven_means_that_they_meet():
    for row in read_known().values():
        assert bool(row.value) == bool(row.value_by)
        assert bool(row.bound) == bool(row.bound_by)
        if row.value and row.bound:
            assert float(row.bound) <= float(row.value) + 0.005
        met = row.value and row.bound and abs(float(row.value) - float(row.bound)) <= 0.005
        assert row.proven == ("yes" if met else "no" if row.value else "")


@pytest.mark.parametrize("name", [name for name in names() if name.startswith("home-")])
def test_what_is_known_is_known_of_these_rooms(name):
    said = "the room or its packs have changed: run python -m tests.benchmark --set all --keep"
    assert read_known()[name].digest in ("", digest_of(room_named(name))), said


def test_what_is_kept_only_ever_gets_better():
    first = Known("a", "x", value="100", bound="20", value_by="one", bound_by="one", proven="no")
    worse = replace(first, value="120", bound="10", value_by="two", bound_by="two")
    assert better(first, worse) == first
    best = better(first, replace(first, value="60", bound="60", value_by="two", bound_by="two"))
    assert (best.value, best.bound, best.proven, best.value_by) == ("60", "60", "yes", "two")
    assert better(first, replace(first, value="", bound="", value_by="", bound_by="")) == first
    with pytest.raises(ContradictionError):
        better(first, replace(first, bound="110"))
    other = replace(worse, digest="y")
    assert (better(first, other).value, better(first, other).bound) == ("120", "10")


# -- the command -------------------------------------------------------------------------------------------


def test_the_command_plans_a_room_and_checks_it(tmp_path):
    file = tmp_path / "found.json"
    command = [sys.executable, "-m", "tests.benchmark", "--room", "home-bulk-1", "--seconds", "3"]
    run = subprocess.run(
        [*command, "--json", str(file)], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stdout + run.stderr
    (found,) = json.loads(file.read_text(encoding="utf-8"))
    assert (found["room"], found["broods"], found["breaches"], found["error"]) == ("home-bulk-1", 25, [], "")
    assert found["wall"] > 0
    assert found["peak_mb"] > 20
    assert "keeps all rules" in run.stdout
    assert run.stdout.splitlines()[-1].split()[:2] == ["home", "1"]


def test_a_room_that_fails_is_told_and_the_next_is_done(monkeypatch, tmp_path, capsys):
    broken = tmp_path / "broken.py"
    broken.write_text("raise SystemExit('no such thing as water')", encoding="utf-8")
    monkeypatch.setattr(children, "MAIN", broken)
    assert many.run(many.Asked(rooms=("home-bulk-1", "home-bulk-2"))) == 1
    said = capsys.readouterr().out
    assert said.count("failed (exit code 1: no such thing as water)") == 2
    assert said.splitlines()[-1].split()[:3] == ["home", "2", "0"]


def test_a_room_that_takes_too_long_is_given_up_and_told(monkeypatch, tmp_path):
    slow = tmp_path / "slow.py"
    slow.write_text("import time; time.sleep(60)", encoding="utf-8")
    monkeypatch.setattr(children, "MAIN", slow)
    assert outcome_of(Task("home-bulk-1", None, give_up=0.2)).status == "given up"


def test_a_stopped_run_shows_what_was_done_so_far(monkeypatch, capsys):
    def once(task: Task) -> Outcome:
        if task.room == "home-pins-1":
            raise KeyboardInterrupt
        return Outcome(task.room, vessels=20, broods=25, status="fits", cost=0.0, bound=0.0, wall=1.0)

    monkeypatch.setattr(many, "outcome_of", once)
    many.run(many.Asked(rooms=("home-bulk-1", "home-pins-1", "home-bulk-2")))
    last = capsys.readouterr().out.splitlines()[-1]
    assert last.split()[:3] == ["home", "1", "1"]


def test_a_plan_that_breaks_a_rule_is_never_kept(monkeypatch, tmp_path):
    bad = Outcome("home-bulk-1", "x", 20, 25, "fits", cost=0.0, bound=0.0, breaches=["room"], plan_digest="y")
    monkeypatch.setattr(many, "outcome_of", lambda _: bad)
    file = tmp_path / "frozen.csv"
    monkeypatch.setattr(many, "write_known", lambda known: frozen.write_known(known, file))
    assert many.run(many.Asked(rooms=("home-bulk-1",), keep=True)) == 1
    assert not file.exists()


# -- the weekly model per vessel -----------------------------------------------------------------------------


def two_lines_short_of_tanks(tens: int, longs: int) -> Room:
    """Return a small room in which two lines need a ten and a long tank each, and some are there."""
    broods = tuple(planned(f"{line} 1", line, day("01-09"), 22) for line in ("red", "blue"))
    pack = small_pack()
    return small_room(
        vessels=(
            *(box(f"box {n}") for n in range(1, 5)),
            *(ten(f"ten {n}") for n in range(1, tens + 1)),
            *(long(f"long {n}") for n in range(1, longs + 1)),
        ),
        lines=tuple(Line(name=name, species="made up", rules=pack) for name in ("red", "blue")),
        groups=(),
        broods=broods,
        could_add=(Addable(like="ten", price=40, most=4), Addable(like="long", price=120, most=2)),
    )


@pytest.mark.parametrize(("tens", "longs", "cost"), [(2, 2, 0), (1, 1, 160)])
def test_the_weekly_model_finds_what_must_be_added(monkeypatch, tens, longs, cost):
    monkeypatch.setattr(weekly_milp, "most_extra", lambda kind: kind.most)
    room, found = two_lines_short_of_tanks(tens, longs), Outcome("small")
    solve(room, 60, found)
    assert found.cost == pytest.approx(cost)
    assert found.bound == pytest.approx(cost)
    plan = plan_room(room, seconds=2).best
    level = next((level for level in plan.levels if level.name == COST), None)
    assert (level.value if level else 0) >= cost  # it is told less than the planner, so no plan can cost less


# -- planning again ---------------------------------------------------------------------------------------


def test_one_more_brood_is_drawn_from_the_seed_and_can_be_read(rooms, tmp_path):
    room = rooms["unlike", "home"]
    texts = [replan.with_one_more(as_file(room), room, seed) for seed in (1, 1, 2)]
    assert texts[0] == texts[1] != texts[2]
    file = tmp_path / "more.yaml"
    file.write_text(texts[0], encoding="utf-8")
    reading = read_room(file)
    assert [str(warning) for warning in reading.warnings] == []
    more = next(brood for brood in reading.room.broods if brood.name == replan.NEW)
    assert more.planned
    assert {brood.name for brood in reading.room.broods} == {brood.name for brood in room.broods} | {
        more.name
    }
    assert any((brood.line, brood.eggs) == (more.line, more.eggs) for brood in room.broods)


def test_the_figures_are_those_of_the_last_table_of_an_answer():
    answer = """
  what counts, most first   reached  best possible  proven
  1 fish without a home   1 200 fish-days  0 fish-days  no
  2 strain: above comfort, moved outside  95 794 points      not known  no
  with tanks added:
  what counts, most first   reached  best possible  proven
  1 cost of added tanks      120.50  not known  no
  2 strain: above comfort, moved outside  85 794 points      not known  no
  3 change to the plan in hand               973 points      not known  no
"""
    assert replan.figures_of(answer) == {"cost": 120.5, "strain": 85794, "change": 973}


def test_planning_again_is_timed_by_whole_commands():
    file = ROOT / "scenarios" / "tiny.yaml"
    found = replan.compared(str(file), runs=2, seed=1, seconds=None)
    assert len(found.cold.seconds) == len(found.again.seconds) == 2
    assert found.ratio == found.again.middle / found.cold.middle
    assert "change" in found.again.figures
    assert "change" not in found.cold.figures
    assert {"homeless", "strain"} <= found.again.figures.keys() or "cost" in found.again.figures
