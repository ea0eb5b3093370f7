"""The allocator's core on published instances with known optima, and the code that reads and checks them.

The files are other people's research data and no part of this project. Lay them out in two folders, called
`fixed-interval` and `shared-tank`, and name the folder of both in ALLOCATOR_INSTANCES. Without
them those tests are skipped. See docs/explanation/published-instances.md.
"""

import csv
import os
from itertools import product
from pathlib import Path
from random import Random

import pytest
from benchmark.fish_tables import meetings, tables_of
from benchmark.instances import row_of, run, solve
from benchmark.published import Instance, InstanceError, faults, read_instance

from allocator.model.stretches import Lot, Stretches

NAMED = os.environ.get("ALLOCATOR_INSTANCES", "")
FOLDER = Path(NAMED)

published = pytest.mark.skipif(
    not (NAMED and FOLDER.is_dir()),
    reason="name the folder of the published instances in ALLOCATOR_INSTANCES",
)

FIXED = ("data_1_23_40_66.dat", "data_4_23_59_33.dat", "data_13_25_120_33.dat")
SHARED = ("b1_10/I_1.txt", "b1_20/I_37.txt", "b1_50/I_5.txt", "a1/cap100_n50_t60_LonLr_2.txt")
OPEN = ("a1/cap100_n50_t50_LonSm_2.txt", "a1/cap100_n50_t60_LonSm_5.txt")
SECONDS = 60.0


def known(file: Path, column: str) -> dict[str, int]:
    """Return a column of a table of known values, by instance."""
    with file.open(encoding="utf-8", newline="") as rows:
        return {row["instance"]: int(row[column]) for row in csv.DictReader(rows)}


@published
@pytest.mark.parametrize("name", FIXED)
def test_fixed_intervals_need_as_few_tanks_as_is_known(name: str) -> None:
    """On data_13 the plain search for the least sticks one above (on data_29 too, which takes three times as long)."""
    folder = FOLDER / "fixed-interval"
    row = row_of(folder / name, name, SECONDS)
    assert row["proven"], row
    assert row["upper"] == known(folder / "optimum.csv", "optimum")[name]


@published
@pytest.mark.parametrize("name", SHARED)
def test_shared_tanks_are_as_few_as_is_known(name: str) -> None:
    folder = FOLDER / "shared-tank"
    assert known(folder / "bounds.csv", "closed")[name] == 1
    row = row_of(folder / name, name, SECONDS)
    assert row["proven"], row
    assert row["upper"] == known(folder / "bounds.csv", "upper")[name]


@published
@pytest.mark.parametrize("name", OPEN)
def test_what_was_open_is_closed_by_whole_stays_through_time(name: str) -> None:
    folder = FOLDER / "shared-tank"
    before, best = (known(folder / "bounds.csv", column)[name] for column in ("lower", "upper"))
    row = row_of(folder / name, name, SECONDS)
    assert before <= row["lower"] == row["upper"] <= best
    assert row["proven"]


# -- made-up instances, small enough to try everything -----------------------------------------------------


def shared(seed: int) -> Instance:
    """Return a few items in tanks that they share."""
    random = Random(seed)  # noqa: S311
    spans = [(start, start + random.randint(1, 9)) for start in (random.randint(0, 9) for _ in range(7))]
    return Instance(tuple(spans), tuple(random.choice((20, 25, 34, 50, 51, 70)) for _ in spans), 100)


def fixed(seed: int) -> Instance:
    """Return a few tasks and four unlike workers."""
    random = Random(seed)  # noqa: S311
    spans = [(start, start + random.randint(1, 5)) for start in (random.randint(0, 9) for _ in range(6))]
    suits = [{job for job in range(6) if random.random() < 0.6} for _ in range(4)]
    for job in range(6):
        suits[random.randrange(4)].add(job)
    return Instance(tuple(spans), (1,) * 6, 1, tuple(map(frozenset, suits)))


def by_trying(instance: Instance) -> int | None:
    """Return the fewest tanks by trying every way to fill them; None where there is no way."""
    count = len(instance.spans)
    there = list(range(count if instance.suits is None else len(instance.suits)))
    best = None
    for choice in product(there, repeat=count):
        tanks = [[i for i in range(count) if choice[i] == tank] for tank in sorted(set(choice))]
        if instance.suits is None and [choice.index(tank) for tank in sorted(set(choice))] != sorted(
            choice.index(tank) for tank in set(choice)
        ):
            continue  # equal tanks, in order of their first
        places = [None if instance.suits is None else tank for tank in sorted(set(choice))]
        if (best is None or len(tanks) < best) and not faults(instance, tanks, places):
            best = len(tanks)
    return best


@pytest.mark.parametrize("seed", range(12))
def test_shared_tanks_are_as_few_as_trying_finds(seed: int) -> None:
    instance = Instance(shared(seed).spans[:6], shared(seed).sizes[:6], 100)
    row = solve(instance, SECONDS)
    assert row["proven"], row
    assert row["upper"] == by_trying(instance)


@pytest.mark.parametrize("seed", range(12))
def test_fixed_intervals_are_as_few_as_trying_finds(seed: int) -> None:
    instance = fixed(seed)
    best = by_trying(instance)
    row = solve(instance, SECONDS)
    if best is None:
        assert row["upper"] is None
    else:
        assert row["proven"], row
        assert row["upper"] == best


def test_sizes_that_do_not_come_out_even_are_never_called_proven_wrongly() -> None:
    """Three thirds of a tank fit, though each is a little more than 3,333 of 10,000."""
    instance = Instance(((0, 2),) * 3, (1, 1, 1), 3)
    row = solve(instance, SECONDS)
    assert row["lower"] <= 1 <= row["upper"]


@pytest.mark.parametrize("seed", range(20))
def test_times_are_made_fewer_without_changing_who_meets_whom(seed: int) -> None:
    spans = (*shared(seed).spans, (5, 5))
    fewer = meetings(spans)
    for one, other in product(range(len(spans) - 1), repeat=2):
        for old, new in ((spans, fewer),):
            meet = [max(s[one][0], s[other][0]) < min(s[one][1], s[other][1]) for s in (old, new)]
            assert meet[0] == meet[1]
    assert fewer[-1] == (0, 0)


@pytest.mark.parametrize("seed", range(20))
def test_the_best_stretch_is_what_trying_every_set_finds(seed: int) -> None:
    instance, random = shared(seed), Random(seed)  # noqa: S311
    tables, _, _ = tables_of(instance)
    lots = [Lot(b.name, b.start, b.sale_slots[0], b.load[0]) for b in tables.broods]
    apart = frozenset({(0, 1), (2, 5)})
    graph = Stretches(lots, apart, most_states=10**6)
    points = [random.randint(0, 9) for _ in lots]

    def possible(chosen: tuple[int, ...]) -> bool:
        met = [{i for i in chosen if lots[i].start <= slot < lots[i].end} for slot in range(tables.slots)]
        return all(
            sum(instance.sizes[i] for i in inside) <= 100 and not any({*pair} <= inside for pair in apart)
            for inside in met
        )

    sets = [tuple(i for i in range(7) if bits >> i & 1) for bits in range(128)]
    value, served = graph.best(points)
    assert possible(served)
    assert sum(points[i] for i in served) == value
    assert value == max(sum(points[i] for i in chosen) for chosen in sets if possible(chosen))


# -- files -------------------------------------------------------------------------------------------------

GOOD = "Type = 1\nJobs = 2\n 0 5\n 3 8\nQualifications = 2\n2: 0 1\n1: 1\n"


def test_a_folder_of_both_formats_with_a_broken_file_in_it(tmp_path: Path, capsys) -> None:
    (tmp_path / "deep").mkdir()
    (tmp_path / "deep" / "a.dat").write_text("# made up\n" + GOOD, encoding="utf-8")
    (tmp_path / "b.txt").write_text("2 10 0 0\n0 1 4 6\n1 2 5 6\n", encoding="utf-8")
    (tmp_path / "c.txt").write_text("2 10 0 0\n0 1 4 6\n", encoding="utf-8")
    (tmp_path / "known.csv").write_text("instance,optimum\n", encoding="utf-8")
    rows = {row["file"]: row for row in run(tmp_path, SECONDS, as_json=True)}
    assert set(rows) == {"b.txt", "c.txt", str(Path("deep") / "a.dat")}
    assert rows["b.txt"]["lower"] == rows["b.txt"]["upper"] == 2
    assert rows[str(Path("deep") / "a.dat")]["proven"]
    assert "2 items are announced, 1 are there" in rows["c.txt"]["error"]
    assert "skipped: known.csv" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ("", "nothing in it"),
        ("hello there\n", "not whole numbers"),
        ("7\n", "neither of the known formats"),
        ("1 10 0 0\n0 1 4\n", "line 2: 3 numbers where 4"),
        ("1 10 0 0\n0 1 4 11\n", "size 11 does not fit"),
        ("1 10 0 0\n0 4 1 6\n", "ends at 1, before"),
        (GOOD.replace("Jobs = 2", "Jobs = 3"), "3 jobs are announced"),
        (GOOD.replace("2: 0 1", "2: 0 7"), "not there: \\[7\\]"),
        (GOOD.replace("2: 0 1", "1: 1"), "nobody is qualified for jobs \\[0\\]"),
        (GOOD.replace("Type = 1", "Type = 2"), "Type = 2"),
    ],
)
def test_a_broken_file_is_told_from_a_sound_one(tmp_path: Path, text: str, wrong: str) -> None:
    file = tmp_path / "x.txt"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InstanceError, match=wrong):
        read_instance(file)


def test_a_wrong_solution_is_found_out() -> None:
    two = Instance(((0, 4), (3, 6)), (6, 6), 10)
    assert faults(two, [[0], [1]], [None, None]) == []
    assert "at 3 there is not room" in faults(two, [[0, 1]], [None])[0]
    assert "not everybody" in faults(two, [[0]], [None])[0]
    workers = Instance(((0, 4), (3, 6)), (1, 1), 1, (frozenset({0}), frozenset({0, 1})))
    assert faults(workers, [[0], [1]], [0, 1]) == []
    assert "tank 0 does not suit" in faults(workers, [[1], [0]], [0, 1])[0]
    assert "used twice" in faults(workers, [[1], [0]], [1, 1])[0]
