"""Rule packs: reading, linting, a keeper's own pack, single changes, and the reference page."""

from collections.abc import Iterator
from copy import deepcopy
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from allocator.problems import Problems, Severity
from allocator.reading.pack_homes import home_faults
from allocator.reading.pack_lint import lint, window_days
from allocator.reading.pack_shape import PackReader
from allocator.reading.packs import change_figure, load_pack, packs_dir, shipped_packs
from allocator.reading.source import load_yaml
from allocator.reports.pack_page import page
from allocator.rule_rows import count_by_evidence, rule_rows
from allocator.rules import Evidence, GrowthPace, RulePack, VesselKind
from tests.sums import sums

ROOT = Path(__file__).parent.parent
SWIMMERS = ("rainbowfish-large", "rainbowfish-medium", "madagascar-rainbow")
LARGE = (packs_dir() / "rainbowfish-large.yaml").read_text(encoding="utf-8")


@cache
def pack(name: str) -> RulePack:
    loaded, problems = load(name, Path())
    assert loaded is not None, problems.found
    return loaded


def load(name: str, folder: Path) -> tuple[RulePack | None, Problems]:
    problems = Problems("room.yaml")
    loaded = load_pack(name, relative_to=folder, problems=problems, line=7)
    return (None if loaded is None else loaded[0]), problems


# ---- the shipped packs -----------------------------------------------------------------------------------


def test_eleven_packs_are_shipped():
    assert shipped_packs() == [
        "annual-killifish",
        "blue-eye",
        "bottom-catfish",
        "dwarf-cichlid",
        "livebearer",
        "madagascar-rainbow",
        "rainbowfish-large",
        "rainbowfish-medium",
        "rainbowfish-small",
        "threadfin",
        "zebrafish",
    ]


@pytest.mark.parametrize("name", shipped_packs())
def test_a_shipped_pack_has_no_faults(name):
    loaded, problems = load(name, Path())
    assert loaded is not None
    assert problems.found == []
    assert lint(loaded) == []
    assert loaded.name == name
    assert {figure.origin for _, figure in loaded.figures()} == {name}
    assert Evidence.KEEPER not in {figure.evidence for _, figure in loaded.figures()}


HASTY = {
    ("annual-killifish", "hatchery"): 0,
    ("annual-killifish", "rearing"): 7,
    ("dwarf-cichlid", "rearing"): 7,
}
"""Days for stages that wait for less than three weeks: fry wetted, fry that grow 2 mm a day, fry under guard."""


@pytest.mark.parametrize("name", shipped_packs())
@pytest.mark.parametrize("pace", list(GrowthPace))
def test_three_weekly_move_days_lie_in_every_window(name, pace):
    for stage in pack(name).stages[1:]:
        least = HASTY.get((name, stage.name), 21)
        assert window_days(stage, pack(name), pace) >= least, stage.name


FIRST = {"annual-killifish": VesselKind.EGG_STORE, "dwarf-cichlid": VesselKind.BREEDING}


@pytest.mark.parametrize("name", shipped_packs())
def test_every_pack_can_do_without_a_long_tank_or_needs_it_for_swimmers(name):
    kinds = [stage.kinds for stage in pack(name).stages]
    assert FIRST.get(name, VesselKind.HATCHERY) in kinds[0]
    assert VesselKind.REARING in kinds[2 if name == "annual-killifish" else 1]
    assert (kinds[-1] == (VesselKind.GROW_OUT,)) == (name in SWIMMERS)


def test_numbers_are_read_with_what_stands_beside_them():
    figure = dict(pack("rainbowfish-large").figures())
    low = figure["incubation_days.low"]
    assert (low.value, low.unit, low.evidence) == (7, "days", Evidence.PUBLISHED)
    assert low.source.startswith("Reid & Holdway 1995")
    # A figure with its own source stands in a row with another one.
    assert figure["length.2.fast"].evidence is Evidence.PUBLISHED
    assert figure["length.2.slow"].evidence is Evidence.MEMORY
    assert figure["flow.1.limit"].value == 1
    assert figure["flow.1.limit"].unit == "setting"


@pytest.mark.parametrize("name", shipped_packs())
def test_every_derived_figure_has_its_own_sum_and_every_sum_is_right(name):
    for dotted, figure in pack(name).figures():
        if figure.evidence is not Evidence.DERIVED:
            continue
        written = sums(figure.source)
        assert [each for each in written if not each.right] == [], dotted
        # Rounded: 9.0 x 1.2 = 10.8 makes a step at 11 mm.
        assert any(each.said == pytest.approx(figure.value, rel=0.02) for each in written), dotted


def test_sums_are_found_and_worked_out_anew():
    def said(source: str) -> list[tuple[float, float, bool]]:
        return [(round(each.worked_out, 3), each.said, each.right) for each in sums(source)]

    assert said("a mop, 1,410 / 12 / 30 = 3.9 and 2 cm x 51 = 102") == [(3.917, 3.9, True), (102, 102, True)]
    assert said("at 25 degrees C: (7 + 9) / 2 = 8.5") == [(8, 8.5, False)]
    assert said("of 2009: 3.2 / 7^3 = 0.0093, power fixed") == [(0.009, 0.0093, True)]
    assert said("0.7, 40 / 28 = 1.4 and 1 - (4 - 2) / 8 = 0.7") == [(1.429, 1.4, True), (0.75, 0.7, True)]
    assert said("no sum") == []
    with pytest.raises(ValueError, match="no sum before"):
        sums("of the length = 12")


# ---- files that are wrong --------------------------------------------------------------------------------

FAULTY = [
    # what stands in the pack, what is put in its place, what is said
    (
        "sale_mm: {value: 60,",
        "sale_mn: {value: 60,",
        "unknown key (got 'sale_mn'). Hint: did you mean 'sale_mm'?",
    ),
    ("sale_mm: {value: 60,", "sale_mm: {value: 99,", "sale_mm (99 mm) is never reached by the slow curve"),
    (
        "sale_mm: {value: 60,",
        "sale_mm: {valeu: 60,",
        "unknown key (got 'valeu'). Hint: did you mean 'value'?",
    ),
    ("sale_mm: {value: 60,", "sale_mm: {value: 60 mm,", "sale_mm must be a number (got '60 mm')"),
    ("sale_mm: {value: 60,", "sale_mm: {value: .inf,", "sale_mm must be a number (got inf)"),
    ("sale_mm: {value: 60,", "sale_mm: {value: yes,", "sale_mm must be a number (got 'yes')"),
    ("sale_mm: {value: 60,", "sale_mm: {value: true,", "sale_mm must be a number (got True)"),
    (
        "sale_mm: {value: 60,",
        "sale_mm: {value: 60, unit: cm,",
        "sale_mm is in the wrong unit (got 'cm'). Hint: write it in mm",
    ),
    (
        "sale_mm: {value: 60, evidence: common practice,",
        "sale_mm: {value: 60, evidence: hearsay,",
        "unknown kind of evidence (got 'hearsay'). Hint: use one of: published, derived",
    ),
    (
        "sale_mm: {value: 60, evidence: common practice,",
        "sale_mm: {value: 60, evidence: publised,",
        "unknown kind of evidence (got 'publised'). Hint: did you mean 'published'?",
    ),
    (
        "sale_mm: {value: 60, evidence: common practice,",
        "sale_mm: {value: 60, evidence: published,",
        "sale_mm is published but its source has no year",
    ),
    (
        "sale_mm: {value: 60, evidence: common practice,",
        "sale_mm: {value: 60, evidence: derived,",
        "sale_mm is derived but its source has no sum",
    ),
    (
        'sale_mm: {value: 60, evidence: common practice, source: "sold',
        'sale_mm: {value: 60, evidence: published, source: "from memory, in a book of 1999, sold',
        "sale_mm is published but its source speaks of figures from memory",
    ),
    (
        "sale_mm: {value: 60, evidence: common practice,",
        "sale_mm: {value: 60,",
        "a source needs its kind of evidence beside it",
    ),
    (
        "hatch_share: {low: 0.55, expected: 0.75, high: 0.90, unit: share, source: dense}",
        "hatch_share: {low: 0.55, expected: 0.75, high: 0.90, unit: share}",
        "hatch_share.low has no evidence and source beside it",
    ),
    (
        "hatch_share: {low: 0.55, expected: 0.75, high: 0.90, unit: share, source: dense}",
        "hatch_share: {low: 0.55, expected: 0.75, high: 0.90, unit: share, source: dens}",
        "(got 'dens'). Hint: did you mean 'dense'?",
    ),
    (
        "hatch_share: {low: 0.55, expected: 0.75, high: 0.90, unit: share, source: dense}",
        "hatch_share: {low: 0.55, expected: 0.75, high: 0.90, source: dense}",
        "hatch_share.low has no unit beside it. Hint: write: unit: share",
    ),
    (
        "hatch_share: {low: 0.55, expected: 0.75, high: 0.90, unit: share, source: dense}",
        "hatch_share: {low: 0.55, expected: 0.75, high: 0.90, unit: percent, source: dense}",
        "unknown unit (got 'percent')",
    ),
    ("hatch_share: {low: 0.55,", "hatch_share: {low: 0.85,", "hatch_share must rise from low to high"),
    (
        "hatch_share: {low: 0.55, expected: 0.75, high: 0.90",
        "hatch_share: {low: 0.55, expected: 0.75, high: 90",
        "hatch_share.high must be a share above 0 and up to 1 (got 90). Hint: write 0.9 for 90 %",
    ),
    ("hatch_share: {low: 0.55,", "hatch_share: {low: -0.5,", "hatch_share.low is below 0"),
    ("incubation_days:", "incubation_days: 8\nxx:", "incubation_days must be a row (got 8)"),
    (
        "{until_age_days: {value: 30, source: dense}, share",
        "{until_age_days: 7, share",
        "survival.2.until_age_days must be above 7 (got 7)",
    ),
    ("{age_days: 61, slow: 16,", "{age_days: 30, slow: 16,", "length.4.age_days must be above 30 (got 30)"),
    ("{age_days: 61, slow: 16,", "{age_days: 61, slow: 9,", "length.4.slow must be above 9 (got 9)"),
    (
        "slow: 16, typical: 22, fast: 30",
        "slow: 16, typical: 22, fast: 21",
        "length.4 must rise from slow to fast",
    ),
    ("hatch_mm: {value: 4.5,", "hatch_mm: {value: 5.2,", "length.1.slow must be above 5.2 (got 5)"),
    ("hatch_mm: {value: 4.5,", "hatch_mm: {value: 0,", "hatch_mm must be above 0"),
    ("weight_b: {value: 3.04,", "weight_b: {value: 30.4,", "weight_b must lie between 2 and 4"),
    (
        "  - from_mm: 15\n    source: nolimit\n    fish_per_litre: {comfort: 2,",
        "  - from_mm: 15\n    source: nolimit\n    fish_per_litre: {comfort: 5,",
        "room.5.fish_per_litre must allow less in comfort (5) than at the limit (3)",
    ),
    (
        "run_cm: {comfort: {value: 75,",
        "run_cm: {comfort: {value: 40,",
        "room.7.run_cm must ask for more in comfort (40)",
    ),
    (
        "surface_cm2: {comfort: 5, limit: 4,",
        "surface_cm2: {comfort: 5, limit: 0,",
        "room.2.surface_cm2 must be above 0",
    ),
    ("{from_mm: 12, fish_per_litre", "{from_mm: 9, fish_per_litre", "room.4.from_mm must be above 9 (got 9)"),
    ("{from_mm: 0, fish_per_litre", "{from_mm: 1, fish_per_litre", "room.1.from_mm must be 0"),
    ("  - from_mm: 3\n", "  - from_mm: 5\n", "room.1 holds for eggs and for newly hatched fry alike"),
    (
        "{from_mm: 15, comfort: normal, limit: normal",
        "{from_mm: 15, comfort: norml, limit: normal",
        "flow.6.comfort must be a flow setting (got 'norml'). Hint: did you mean 'normal'?",
    ),
    (
        "{from_mm: 15, comfort: normal, limit: normal",
        "{from_mm: 15, comfort: strong, limit: normal",
        "flow.6.comfort must not be stronger than the limit",
    ),
    ("kinds: [rearing]", "kinds: [raering]", "is unknown (got 'raering'). Hint: did you mean 'rearing'?"),
    ("kinds: [rearing]", "kinds: rearing", "stages.rearing.kinds must be a list"),
    ("alone: true", "alone: often", "stages.hatchery.alone must be true or false (got 'often')"),
    (
        "name: hatchery, kinds: [hatchery], alone: true, may_skip: false",
        "name: hatchery, kinds: [hatchery], alone: true, may_skip: true",
        "stages.hatchery is the first stage and cannot be skipped",
    ),
    (
        "name: hatchery, kinds: [hatchery], alone: true, may_skip: false",
        "name: hatchery, kinds: [hatchery], alone: true, may_skip: false, until_mm: 9, source: dense",
        "stages.hatchery is the first stage and has no window",
    ),
    (
        "from_days: {value: 14,",
        "from_days: {value: 200,",
        "stages.rearing leaves no day to move in on the slow curve",
    ),
    ("until_mm: {value: 20,", "until_mm: {value: 12,", "stages.rearing.until_mm (12 mm) must not be below"),
    (
        "until_mm: {value: 45,",
        "until_mm: {value: 45, source: grade}\n    untill_mm: {value: 45,",
        "unknown key (got 'untill_mm'). Hint: did you mean 'until_mm'?",
    ),
    (
        "slowed_to: {value: 0.67,",
        "slowed_to: {value: 67,",
        "growth_room.slowed_to must be above 0 and up to 1",
    ),
    (
        "length_ratio_limit: {value: 2,",
        "length_ratio_limit: {value: 1.2,",
        "length_ratio_warn must lie between 1",
    ),
    (
        "  grade: {evidence: from memory, source:",
        "  grade: {evidence: from memory, sauce:",
        "source 'grade' must have evidence and source, and nothing else",
    ),
    ("clean_out_days: {value: 1,", "clean_days: {value: 1,", "clean_out_days is missing"),
    ("name: rainbowfish-large", "name: 12", "name must be text (got 12)"),
    (
        "eggs_a_day: {low: 5,",
        "eggs_a_day: {low: 16,",
        "eggs_a_day must rise from low to high (got 16, 15, 30)",
    ),
    (
        "survival:\n  - {until_age_days: 7, share: {low: {value: 0.45, source: dense}, expected: 0.67",
        "survival:\n  - {until_age_days: 7, share: {low: {value: 0.45, source: dense}, expected: 1.67",
        "survival.1.share.expected must be a share above 0 and up to 1 (got 1.67)",
    ),
    (
        "adult_mm: {slow: 90, typical: 105,",
        "adult_mm: {slow: 60, typical: 105,",
        "adult_mm.slow (60 mm) must be above the last length of the slow curve (60 mm)",
    ),
    ("typical: 105, fast: 120", "typical: 105, fast: 104", "adult_mm must rise from slow to fast"),
    (
        "slowed_when_full: {value: 0.89,",
        "slowed_when_full: {value: 89,",
        "growth_room.slowed_when_full must be above 0 and up to 1 (got 89). Hint: write 0.89 for 89 %",
    ),
    (
        "feed_protein_share: {value: 0.45,",
        "feed_protein_share: {value: 45,",
        "water.feed_protein_share must be above 0 and up to 1 (got 45). Hint: write 0.45 for 45 %",
    ),
    ("water:\n  from_c: {value: 22,", "water:\n  from_c: {value: 30,", "water.from_c must be below until_c"),
    (
        "  low: {value: 112, evid",
        "  low: {value: 205, evid",
        "degree_days must rise from low to high (got 205, 204",
    ),
    (
        "base_c: {value: 0,",
        "base_c: {value: 24,",
        "degree_days.from_c must lie above base_c and below until_c",
    ),
    (
        "  from_c: {value: 24, evidence",
        "  from_c: {value: 21, evidence",
        "degree_days.from_c and until_c (21 to 29) must lie within those of the water (22 to 30)",
    ),
    (
        "base_c: {value: 0,",
        "base_c: {value: 20,",
        "incubation_days.expected (8) does not agree with degree_days, which make it 12.4 to 89.2 days",
    ),
    (
        'food", from_days: 0, until_days: 14,',
        'food", until_days: 14,',
        "care.first food must have just one beginning (has none)",
    ),
    (
        'food", from_days: 0, until_days: 14,',
        'food", from_days: 0, from_mm: 5, until_days: 14,',
        "care.first food must have just one beginning (has from_days and from_mm)",
    ),
    (
        "from_days: 14, until_mm: 15, every_days: 1",
        "from_days: 40, until_mm: 15, every_days: 1",
        "care.brine shrimp must end after it begins (day 40 to 33.9 after hatch, typical growth)",
    ),
    (
        "from_collection_days: 1, until_days: 0,",
        "from_collection_days: 8, until_days: 0,",
        "care.eggs must end after it begins (day 0 to 0 after hatch",
    ),
    (
        "from_days: 14, until_mm: 15, every_days: 1",
        "from_days: 14, until_mm: 15, every_days: 0.5",
        "care.brine shrimp.every_days must be at least 1 (got 0.5)",
    ),
    ("{name: grade 25,", "{name: grade 15,", "care.grade 15 is named twice"),
    ("{name: grade 25,", "{name: grade 2.5,", "care.grade 2.5 must have a name, without a dot"),
    (
        "from_days: 14, until_mm: 15, every_days: 1",
        "from_days: 14, until_mm: 15, every_days: 1, with_parents: true",
        "care.brine shrimp is due with the parents, but the young do not begin with them",
    ),
    ('task: "newly hatched brine shrimp"', 'task: " "', "care.brine shrimp has no task"),
    (
        "kinds: [rearing]\n    alone: false",
        "kinds: [rearing]\n    with_parents: true\n    alone: false",
        "stages.rearing is not the first stage: only there can young be with their parents",
    ),
    (
        "    run_cm: {comfort: {value: 75, source: tank}, limit: 45, source: run}",
        """    run_cm: {comfort: {value: 75, source: tank}, limit: 45, source: run}
    bottom_cm2: {comfort: 3, limit: 4, source: run}""",
        "room.7.bottom_cm2 must ask for more in comfort (3)",
    ),
]


@pytest.mark.parametrize(("old", "new", "said"), FAULTY, ids=[said[:50] for _, _, said in FAULTY])
def test_a_faulty_pack_is_refused_with_file_line_and_hint(tmp_path, old, new, said):
    assert LARGE.count(old) >= 1
    before, after = LARGE.split(old, 1)
    (tmp_path / "own.yaml").write_text(before + new + after, encoding="utf-8")
    loaded, problems = load("own.yaml", tmp_path)
    assert loaded is None
    matching = [problem for problem in problems.found if said in str(problem)]
    assert matching, [str(problem) for problem in problems.found]
    assert matching[0].file == "own.yaml" or matching[0].file.endswith("/own.yaml")
    assert matching[0].severity is Severity.ERROR


def test_a_problem_stands_on_the_line_of_its_number(tmp_path):
    rows = LARGE.splitlines()
    number = next(n for n, row in enumerate(rows, start=1) if "age_days: 91" in row)
    rows[number - 1] = rows[number - 1].replace("typical: 30", "typical: 300")
    (tmp_path / "own.yaml").write_text("\n".join(rows), encoding="utf-8")
    _, problems = load("own.yaml", tmp_path)
    assert {problem.line for problem in problems.found} == {number, number + 1}


def test_all_problems_are_told_at_once(tmp_path):
    text = LARGE.replace("sale_mm: {value: 60", "sale_mm: {value: lots").replace(
        "kinds: [rearing]", "kinds: [pond]"
    )
    text = text.replace("eggs_need_snail_free: true", "eggs_need_snail_free: 1")
    (tmp_path / "own.yaml").write_text(text, encoding="utf-8")
    _, problems = load("own.yaml", tmp_path)
    assert len(problems.errors) == 3


def nodes(data: object, loc: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Yield the place of everything below the top of a file."""
    inner = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, part in inner:
        yield (*loc, key)
        yield from nodes(part, (*loc, key))


@pytest.mark.parametrize(
    "odd", [None, [], {}, ["x"], {"x": 1}, "x", "", -1, 0, 1e9, True, float("nan")], ids=repr
)
def test_whatever_stands_in_a_pack_ends_in_a_problem_or_a_sound_pack(odd):
    source = load_yaml(packs_dir() / "zebrafish.yaml", Problems("zebrafish.yaml"))
    assert source is not None
    refused = 0
    for loc in list(nodes(source.data))[::3]:  # a third of them, to be quick
        data = deepcopy(source.data)
        around: Any = data
        for key in loc[:-1]:
            around = around[key]
        around[loc[-1]] = odd
        problems = Problems("zebrafish.yaml")
        read = PackReader(replace(source, data=data), problems, "zebrafish").read()
        assert (read is None) == bool(problems.errors), loc
        refused += read is None or any(not fault.mild for fault in lint(read))
    assert refused > 20


def test_a_window_of_a_few_days_is_only_warned_of(tmp_path):
    text = LARGE.replace("from_days: {value: 14,", "from_days: {value: 32,")
    (tmp_path / "own.yaml").write_text(text, encoding="utf-8")
    loaded, problems = load("own.yaml", tmp_path)
    assert loaded is not None
    assert problems.errors == []
    assert "leaves only 3.2 days to move in on the fast curve" in str(problems.warnings[0])


WARNED = [
    (
        "sale_mm: {value: 60,",
        "sale_mm: {value: 61,",
        "sale_mm (61 mm) lies beyond the last length of the slow",
    ),
    # Figures of an unlikely size are those of another unit.
    (
        "typical: 105, fast: 120",
        "typical: 105, fast: 600",
        "adult_mm.fast is an unlikely 600 mm (usual is 1 to 300). Hint: write it in mm, for small fish",
    ),
    (
        "sell_within_days: {value: 28,",
        "sell_within_days: {value: 400,",
        "sell_within_days is an unlikely 400 days (usual is 0 to 365)",
    ),
    (
        "{from_mm: 15, percent_of_weight: 8,",
        "{from_mm: 15, percent_of_weight: 0.08,",
        "an unlikely 0.08 % of weight a day (usual is 0.5 to 60). Hint: is it a share? write percent: 8 for 8 %",
    ),
    (
        "run_cm: {comfort: 90, limit: {value: 70",
        "run_cm: {comfort: 900, limit: {value: 70",
        "Hint: is it in mm? write it in cm",
    ),
    ("water:\n  from_c: {value: 22, ", "water:\n  from_c: {value: 2.2, ", "water.from_c is an unlikely 2.2"),
    (
        "until_c: {value: 30,",
        "until_c: {value: 86,",
        "an unlikely 86 degrees C (usual is 4 to 40). Hint: is it in",
    ),
    ("weight_a: {value: 0.01122,", "weight_a: {value: 11.22,", "weight_a is an unlikely 11.22 g at 1 cm"),
    # Care that is of no use.
    (
        'task: "grade by size", from_mm: 35',
        f'task: "{"grade " * 12}", from_mm: 35',
        "care.grade 35 has a task of 72 letters, of 70 at most",
    ),
    (
        'males from females", from_mm: 55',
        'males from females", from_days: 500',
        "care.sex begins only when the fish are sold",
    ),
    (
        'males from females", from_mm: 55',
        'males from females", from_days: 274',
        "care.sex begins on day 274 after hatch, but fish of typical growth may be sold from day 261",
    ),
    (
        'males from females", from_mm: 55',
        'males from females", from_days: 200, until_days: 210',
        "care.sex is due once and needs no end",
    ),
    # No stage without a home: kind, run, current, caps and windows of the usual tanks.
    (
        "  - {from_mm: 0, fish_per_litre: {comfort: 100, limit: 200}",
        "  - {from_mm: 0, fish_per_litre: {comfort: 5, limit: 7}",
        "stages.hatchery leaves 30 eggs without a home in any usual tank (fish per litre)",
    ),
    (
        "kinds: [rearing]",
        "kinds: [egg store]",
        "stages.rearing leaves 30 fish of 15 mm without a home in any usual tank",
    ),
    (
        "run_cm: {comfort: {value: 75, source: tank}, limit: 45, source: run}",
        "run_cm: {comfort: 140, limit: 130, source: run}",
        "stages.grow-out leaves 30 fish of 35 mm without a home in any usual tank (length of run)",
    ),
    (
        "  - from_mm: 45\n    source: nolimit\n    fish_per_litre: {comfort: 0.35, limit: 0.6}",
        "  - from_mm: 45\n    source: nolimit\n    fish_per_litre: {comfort: 0.05, limit: 0.1}",
        "stages.grow-out leaves 30 fish of 45 mm without a home in any usual tank (fish per litre)",
    ),
    (
        "from_mm: 15\n    source: nolimit\n    fish_per_litre: {comfort: 2, limit: 3}",
        "from_mm: 15\n    source: nolimit\n    fish_per_litre: {comfort: 0.1, limit: 0.4}",
        "stages.rearing leaves 30 fish of 15 mm without a home in any usual tank (fish per litre)",
    ),
]


@pytest.mark.parametrize(("old", "new", "said"), WARNED, ids=[said[:50] for _, _, said in WARNED])
def test_what_is_only_unlikely_is_warned_of_with_file_line_and_hint(tmp_path, old, new, said):
    assert LARGE.count(old) >= 1
    (tmp_path / "own.yaml").write_text(LARGE.replace(old, new, 1), encoding="utf-8")
    loaded, problems = load("own.yaml", tmp_path)
    assert loaded is not None, [str(problem) for problem in problems.found]
    matching = [problem for problem in problems.warnings if said in str(problem)]
    assert matching, [str(problem) for problem in problems.found]
    assert matching[0].file.endswith("own.yaml")
    assert matching[0].line > 1


def test_fish_that_outgrow_a_stage_before_the_next_is_open_are_told(tmp_path):
    late = LARGE.replace("from_mm: {value: 20, source: grade}", "from_mm: {value: 42, source: grade}")
    late = late.replace("from_mm: {value: 25, source: inch}", "from_mm: {value: 42, source: inch}")
    late = late.replace("until_mm: {value: 38, source: inch}", "until_mm: {value: 43, source: inch}")
    run = "run_cm: {comfort: {value: 75, source: tank}, limit: 45, source: run}"
    for limit, homeless in ((45, False), (76, True)):
        text = late.replace(run, f"run_cm: {{comfort: 80, limit: {limit}, source: run}}")
        (tmp_path / "own.yaml").write_text(text, encoding="utf-8")
        _, problems = load("own.yaml", tmp_path)
        said = " ".join(str(problem) for problem in problems.found)
        assert (
            "leaves 30 fish of 35 mm without a home in any usual tank (length of run)" in said
        ) == homeless


def test_a_current_that_no_usual_tank_is_set_so_low_as_is_told():
    # Only the twenty long, with its sponge filter, can be set still; it is 75 cm long.
    rules = pack("rainbowfish-large")
    for name, value in (("flow.8.comfort", 0), ("flow.8.limit", 0)):
        rules = change_figure(rules, name, value, "room.yaml", "x") or rules
    assert list(home_faults(rules)) == []
    rules = change_figure(rules, "room.8.run_cm.limit", 80, "room.yaml", "x") or rules
    assert [fault.what for fault in home_faults(rules)] == [
        "leaves 30 fish of 45 mm without a home in any usual tank (flow)"
    ]


def test_a_stage_that_can_never_be_reached_is_told():
    # The boxes take thirty fish to sale size, the stage after the first opens beyond it and cannot be skipped.
    rules = pack("threadfin")
    later = change_figure(rules, "sale_mm", 8.5, "room.yaml", "x")
    assert later is not None
    assert [fault.what for fault in home_faults(later)] == [
        "cannot be reached: in no usual tank do 30 fish live until they may move in"
    ]


@pytest.mark.parametrize("name", shipped_packs())
def test_no_stage_of_a_shipped_pack_is_without_a_home(name):
    assert list(home_faults(pack(name))) == []


# ---- packs that are not there ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "hint"),
    [
        ("rainbowfish-larg", "did you mean 'rainbowfish-large'?"),
        ("pike", "shipped packs: annual-killifish, blue-eye"),
        ("no-such.yaml", None),
        ("../rules", None),
        ("", None),
    ],
)
def test_a_pack_that_is_not_there(name, hint, tmp_path):
    loaded, problems = load(name, tmp_path)
    assert loaded is None
    assert (problems.found[0].file, problems.found[0].line) == ("room.yaml", 7)
    assert problems.found[0].what == "no such rule pack"
    assert hint is None or hint in str(problems.found[0])


# ---- a keeper's own pack ---------------------------------------------------------------------------------

OWN = """\
based_on: rainbowfish-large
sources:
  log: {evidence: "keeper's own", source: "my fish room log, 2024 to 2026"}
name: my rainbows
sale_mm: 50
incubation_days: {high: {value: 12, source: log}}
stages:
  - {name: hatchery}
  - {name: rearing, until_mm: 22, kinds: [rearing, grow-out]}
  - {name: grow-out}
figures:
  room.7.fish_per_litre.limit: 0.5
  care.sex.from_mm: 48
"""


def test_an_own_pack_says_only_what_differs(tmp_path):
    (tmp_path / "mine.yaml").write_text(OWN, encoding="utf-8")
    mine, problems = load("mine.yaml", tmp_path)
    assert problems.found == []
    assert mine is not None
    theirs = dict(pack("rainbowfish-large").figures())
    changed = {name: figure for name, figure in mine.figures() if figure != theirs[name]}
    assert {name: figure.value for name, figure in changed.items()} == {
        "incubation_days.high": 12,
        "room.7.fish_per_litre.limit": 0.5,
        "stages.rearing.until_mm": 22,
        "sale_mm": 50,
        "care.sex.from_mm": 48,
    }
    assert {figure.origin for figure in changed.values()} == {"mine.yaml"}
    assert {figure.evidence for figure in changed.values()} == {Evidence.KEEPER}
    assert changed["incubation_days.high"].source == "my fish room log, 2024 to 2026"
    assert mine.name == "my rainbows"
    assert mine.stages[1].kinds == (VesselKind.REARING, VesselKind.GROW_OUT)
    assert mine.about == pack("rainbowfish-large").about


def test_an_own_pack_can_be_based_on_an_own_pack(tmp_path):
    (tmp_path / "mine.yaml").write_text(OWN, encoding="utf-8")
    (tmp_path / "yours.yaml").write_text("based_on: mine.yaml\nclean_out_days: 3\n", encoding="utf-8")
    yours, problems = load("yours.yaml", tmp_path)
    assert problems.found == []
    assert yours is not None
    figures = dict(yours.figures())
    assert (figures["clean_out_days"].value, figures["clean_out_days"].origin) == (3, "yours.yaml")
    assert (figures["sale_mm"].value, figures["sale_mm"].origin) == (50, "mine.yaml")
    assert figures["hatch_mm"].origin == "rainbowfish-large"


def test_an_own_list_replaces_the_whole_list(tmp_path):
    text = "based_on: rainbowfish-large\nlength:\n  - {age_days: 30, slow: 10, typical: 15, fast: 19}\n"
    text += "  - {age_days: 300, slow: 60, typical: 65, fast: 70}\n"
    (tmp_path / "mine.yaml").write_text(text, encoding="utf-8")
    mine, problems = load("mine.yaml", tmp_path)
    assert problems.errors == []
    assert mine is not None
    assert [point.age_days.value for point in mine.length] == [30, 300]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("based_on: rainbowfish-larg\n", "mine.yaml:1: no such rule pack"),
        ("based_on: mine.yaml\n", "mine.yaml:1: a rule pack is based on itself"),
        ("based_on: rainbowfish-large\nfigures: {room.99.run_cm.limit: 4}\n", "mine.yaml:2: no such figure"),
        ("based_on: rainbowfish-large\nfigures: {sale_mn: 4}\n", "Hint: did you mean 'sale_mm'?"),
        ("based_on: rainbowfish-large\nfigures: {sale_mm: big}\n", "mine.yaml:2: sale_mm must be a number"),
        ("based_on: rainbowfish-large\nfigures: 5\n", "mine.yaml:2: figures must be a list"),
        (
            "based_on: rainbowfish-large\nfigures: {sale_mm: 95}\n",
            "mine.yaml:2: sale_mm (95 mm) is never reached",
        ),
        ("based_on: rainbowfish-large\nsale_mm: 95\n", "mine.yaml:2: sale_mm (95 mm) is never reached"),
        ("based_on: rainbowfish-large\ncolour: blue\n", "mine.yaml:2: unknown key"),
        ("sale_mm: 50\n", "sale_mm has no evidence and source beside it"),
        ("sale_mm: [50\n", "mine.yaml"),
        ("", "mine.yaml"),
    ],
)
def test_what_can_be_wrong_with_an_own_pack(text, said, tmp_path):
    (tmp_path / "mine.yaml").write_text(text, encoding="utf-8")
    mine, problems = load("mine.yaml", tmp_path)
    assert mine is None
    assert any(said in str(problem) for problem in problems.found), [str(p) for p in problems.found]


# ---- single changes --------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", shipped_packs())
def test_any_figure_can_be_changed_and_only_that_one(name):
    before = dict(pack(name).figures())
    for dotted, old in before.items():
        changed = change_figure(pack(name), dotted, 0.125, "room.yaml", "measured")
        assert changed is not None
        after = dict(changed.figures())
        assert {key for key in before if before[key] != after[key]} == {dotted}
        figure = after[dotted]
        assert (figure.value, figure.unit) == (0.125, old.unit)
        assert (figure.evidence, figure.origin, figure.source) == (Evidence.KEEPER, "room.yaml", "measured")


@pytest.mark.parametrize(
    "name", ["", "sale", "sale_mm.value", "room", "room.0.run_cm.limit", "origin", "room.1.run_cm"]
)
def test_an_unknown_figure_is_not_changed(name):
    assert change_figure(pack("rainbowfish-large"), name, 1, "room.yaml", "measured") is None


def test_a_change_is_linted_when_asked():
    problems = Problems("room.yaml")
    change_figure(pack("rainbowfish-large"), "sale_mm", 107, "room.yaml", "x", problems=problems, line=12)
    assert [str(problem)[:51] for problem in problems.errors] == [
        "room.yaml:12: sale_mm (107 mm) is never reached by "
    ] * 2
    # Beyond the last length, but short of the adult one: a guess, and warned of.
    problems = Problems("room.yaml")
    change_figure(pack("rainbowfish-large"), "sale_mm", 80, "room.yaml", "x", problems=problems, line=12)
    assert problems.errors == []
    assert "lies beyond the last length of the slow curve (60 mm)" in str(problems.warnings[0])


# ---- lists and the reference page ------------------------------------------------------------------------


def test_rows_by_evidence_add_up():
    rows = rule_rows(pack("zebrafish"))
    counted = count_by_evidence(rows)
    assert sum(counted.values()) == len(rows) == len(list(pack("zebrafish").figures()))
    for kind, number in counted.items():
        assert len(rule_rows(pack("zebrafish"), kind)) == number
    assert counted[Evidence.KEEPER] == 0


def test_a_flow_setting_is_shown_as_a_word():
    shown = {row.name: row.shown for row in rule_rows(pack("zebrafish"))}
    assert shown["flow.2.limit"] == "still"
    assert shown["length.3.typical"] == "22.75"


def test_the_reference_page_is_up_to_date():
    written = (ROOT / "docs/reference/rule-packs.md").read_text(encoding="utf-8")
    assert written == page(), "run: python -m allocator.reports.pack_page docs/reference/rule-packs.md"
