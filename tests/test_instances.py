"""The planner on published instances with known optima, read as fish rooms.

The files are other people's research data and no part of this project. Lay them out in two folders, called
`fixed-interval` and `shared-tank`, and name the folder of both in ALLOCATOR_INSTANCES. Without
them the tests are skipped.

Fixed intervals: Krishnamoorthy, Ernst, Baatar (2012), European Journal of Operational Research 219(1):34-48.
A task is a brood that must be alone, a worker a tank, its tasks the broods that suit it; fewest tanks.

Shared tanks, called temporal bin packing: Dell'Amico, Furini, Iori (2020), Computers & Operations Research
114:104825; Aydin, Muter, Birbil (2020), Computers & Operations Research 121:104959. An item is a brood of so
many fish at one fish a litre, a bin a tank of so many litres; fewest tanks.
"""

import csv
import os
from collections import Counter
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from small_rooms import TODAY, band, figure, level, planned, small_pack, ten

from allocator import needs, planner
from allocator.needs import Needs, grid, phases
from allocator.plan import Verdict
from allocator.planner import plan_room
from allocator.room import Addable, Keeper, Line, Room, Span
from allocator.rules import GrowthRoom, LengthPoint, RoomStep, RulePack, StageRule, VesselKind

NAMED = os.environ.get("ALLOCATOR_INSTANCES", "")
FOLDER = Path(NAMED)

pytestmark = pytest.mark.skipif(
    not (NAMED and FOLDER.is_dir()),
    reason="name the folder of the published instances in ALLOCATOR_INSTANCES",
)

FIXED = ("data_1_23_40_66.dat", "data_2_24_40_33.dat", "data_4_23_59_33.dat")
SHARED = ("b1_10/I_1.txt", "b1_10/I_2.txt", "b1_10/I_4.txt", "b1_10/I_5.txt", "b1_10/I_7.txt")

Job = tuple[int, int, int]
"""First day, day after the last, fish."""


@pytest.fixture(autouse=True)
def _level_one_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every day is a move day, no brood is split, and only the number of tanks counts."""
    monkeypatch.setattr(grid, "FINE_WEEKS", 500)
    monkeypatch.setattr(phases, "MOST_PORTIONS", 1)
    monkeypatch.setattr(planner, "MOST_BROODS_FOR_ALL_LEVELS", 0)


def pack(days: int, *, alone: bool) -> RulePack:
    """Return a pack whose fish are set up and sold on fixed days, so many apart, and fill one litre each."""
    return small_pack(
        name=f"{days} days",
        eggs_need_snail_free=False,
        incubation_days=band(0),
        length=(LengthPoint(age_days=figure(days), slow=figure(45), typical=figure(45), fast=figure(45)),),
        room=(RoomStep(from_mm=figure(0), fish_per_litre=level(1, comfort=1)),),
        stages=(StageRule(name="all", kinds=(VesselKind.REARING,), alone=alone, may_skip=False),),
        growth_room=GrowthRoom(
            from_mm=figure(45), run_cm=figure(1), slowed_to=figure(1), slowed_when_full=figure(1)
        ),
        length_ratio_warn=figure(100),
        length_ratio_limit=figure(100),
        clean_out_days=figure(0),
        sell_within_days=figure(0),
    )


def room_of(jobs: list[Job], tanks: list[tuple[int, int]], *, alone: bool) -> Room:
    """Return a room without any tank, where tanks of (litres, most) could be added for a price of 1 each."""
    ranks = {moment: rank for rank, moment in enumerate(sorted({m for job in jobs for m in job[:2]}))}
    spans = [(ranks[start], ranks[end], fish) for start, end, fish in jobs]
    names = [f"line {number}" for number in range(len(jobs))]
    return Room(
        name="published",
        today=TODAY,
        keeper=Keeper(move_days=tuple(range(7))),
        vessels=tuple(
            ten(  # a model for those to come: it went before today
                f"tank {number}",
                declared_as=f"tank {number}",
                length_mm=1000 + number,
                width_mm=litres * 1e6 / (1000 + number) / 1000,
                depth_mm=1000,
                available=Span(end=TODAY),
            )
            for number, (litres, _) in enumerate(tanks)
        ),
        lines=tuple(
            Line(
                name=name,
                species="made up",
                rules=pack(end - start, alone=alone),
                may_share=() if alone else tuple(names),
            )
            for name, (start, end, _) in zip(names, spans, strict=True)
        ),
        broods=tuple(
            planned(f"brood {number}", name, TODAY + timedelta(days=start), fish)
            for number, (name, (start, _, fish)) in enumerate(zip(names, spans, strict=True))
        ),
        could_add=tuple(
            Addable(like=f"tank {number}", price=1, most=most) for number, (_, most) in enumerate(tanks)
        ),
    )


def fewest_tanks(room: Room) -> int:
    """Return the number of tanks of the cheapest plan, proven, and checked by the planner."""
    result = plan_room(room)
    assert result.best.plan.verdict is Verdict.NEEDS_MORE_TANKS
    assert result.best.plan.proven
    return sum(row.copies for row in result.best.plan.added)


def known(file: Path, column: str) -> dict[str, int]:
    """Return a column of a table of known values, by instance."""
    with file.open(encoding="utf-8", newline="") as rows:
        return {row["instance"]: int(row[column]) for row in csv.DictReader(rows)}


def read_fixed(file: Path) -> tuple[list[Job], list[tuple[frozenset[int], int]]]:
    """Return the tasks, and each set of tasks that workers are qualified for, with how many they are."""
    lines = [line for line in file.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    count = int(lines[1].split("=")[1])
    jobs: list[Job] = []
    for line in lines[2 : 2 + count]:
        start, end = map(int, line.split())
        jobs.append((start, end, 1))
    workers = [frozenset(map(int, line.split(":")[1].split())) for line in lines[3 + count :] if ":" in line]
    assert len(workers) == int(lines[2 + count].split("=")[1])
    return jobs, sorted(Counter(workers).items(), key=lambda row: sorted(row[0]))


@pytest.mark.parametrize("name", FIXED)
def test_fixed_intervals_need_as_few_tanks_as_is_known(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Which tank suits which brood is put into the tables, since no rule of a pack can say that."""
    folder = FOLDER / "fixed-interval"
    jobs, workers = read_fixed(folder / name)
    room = room_of(jobs, [(10, most) for _, most in workers], alone=True)
    build = needs.needs_of

    def suited(room: Room) -> Needs:
        found = build(room)
        suits = {f"tank {number}": jobs for number, (jobs, _) in enumerate(workers)}
        broods = tuple(
            replace(
                brood,
                allowed=(
                    tuple(
                        fits & (brood.index in suits[kind.like])
                        for kind, fits in zip(found.classes, brood.allowed[0], strict=True)
                    ),
                ),
            )
            for brood in found.broods
        )
        return replace(found, broods=broods)

    monkeypatch.setattr(planner, "needs_of", suited)
    assert fewest_tanks(room) == known(folder / "optimum.csv", "optimum")[name]


@pytest.mark.parametrize("name", SHARED)
def test_shared_tanks_are_as_few_as_is_known(name: str) -> None:
    folder = FOLDER / "shared-tank"
    assert known(folder / "bounds.csv", "closed")[name] == 1
    rows = [list(map(int, line.split())) for line in (folder / name).read_text(encoding="utf-8").splitlines()]
    count, capacity = rows[0][:2]
    jobs = [(start, end, size) for _, start, end, size in rows[1 : 1 + count]]
    assert (
        fewest_tanks(room_of(jobs, [(capacity, count)], alone=False))
        == known(folder / "bounds.csv", "upper")[name]
    )
