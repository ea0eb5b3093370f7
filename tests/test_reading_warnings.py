"""What is odd in a room file is told with both sides named, and the rest is planned."""

from datetime import date

import pytest
from room_files import EVERYTHING, SIZE, everything_with, small_room, write

from allocator.problems import Severity
from allocator.reading import read_room

LABEL = "a label of exactly eighty characters, which is as long as a name of a brood may!"
K1 = """    collected: 2026-12-05
    by: picking
    eggs: 34
    lives_in: 1E2 1
    since: 2026-12-05
    counted: {on: 2027-01-09, fish: 17, mm: 9.5}
"""


def test_a_pin_on_a_collection_that_is_left_out_is_only_warned_of(tmp_path):
    path = everything_with(
        tmp_path, "from: 2027-01-16, until: 2027-03-13", "from: 2026-12-19, until: 2027-03-13"
    )
    path.write_text(
        path.read_text(encoding="utf-8").replace("K 2027-01-16, move", "K 2026-12-19, move"), encoding="utf-8"
    )
    reading = read_room(path)
    assert len(reading.room.pins) == 2
    assert [w.what for w in reading.warnings] == [
        "pin of 'K 2026-12-19': its brood is left out, and so is this pin"
    ]


@pytest.mark.parametrize(
    ("pins", "kept", "wish", "against"),
    [
        (
            ["{brood: K1, in: =x 2, from: 2027-02-06}", "{brood: K1, in: '[R4] 2', from: 2027-03-01}"],
            1,
            "in '[R4] 2' from 2027-03-01", "line FIRST wants it in '=x 2' from 2027-02-06",
        ),
        (
            ["{brood: K1, not_in: =x 2}", "{brood: K1, in: =x 2, from: 2027-02-06}"],
            1,
            "in '=x 2' from 2027-02-06", "line FIRST wants it not in '=x 2'",
        ),
        (
            ["{brood: K1, in: '[R4] 3', from: 2027-04-01, until: 2027-06-01}"],
            0,
            "in '[R4] 3' from 2027-04-01 until 2027-06-01", "the vessel is there until 2027-05-01",
        ),
        (
            ["{brood: K1, in: חדש, from: 2027-01-30}"],
            0,
            "in 'חדש' from 2027-01-30", "the vessel is there from 2027-02-06",
        ),
        (
            ["{brood: K1, in: =x 2, from: 2027-02-06}", "{brood: Größe 3, in: =x 2, from: 2027-02-06}"],
            1,
            "in '=x 2' from 2027-02-06", "line FIRST wants 'K1' in '=x 2' from 2027-02-06",
        ),
        (["{brood: K1, in: =x 2, until: 2027-01-16}"], 0, "in '=x 2' until 2027-01-16",
         "today it is in '1E2 1', and fish are not moved before 2027-01-16"),
        (["{brood: K1, not_in: 1E2 1, until: 2027-01-12}"], 0, "not in '1E2 1' until 2027-01-12",
         "today it is in '1E2 1', and fish are not moved before 2027-01-16"),
        (
            ["{brood: K1, in: breeder 1, from: 2027-02-06}"],
            0,
            "in 'breeder 1' from 2027-02-06", "breeding group 'kutubu trio' lives there",
        ),
        (["{brood: K1, move_on: 2027-02-08}"], 0, "move on 2027-02-08", "no fish are moved on a monday"),
        (["{brood: K1, move_on: 2027-04-10}"], 0, "move on 2027-04-10", "the keeper is away"),
        (["{brood: K1, not_in: =x 2, until: 2027-01-02}"], 0,
         "not in '=x 2' until 2027-01-02", "it is over, today is 2027-01-09"),
    ],
    ids=[
        "two-vessels", "in-and-not-in", "vessel-gone", "vessel-not-yet", "two-lines", "elsewhere-today",
        "there-today", "with-group", "no-move-day", "away", "over",
    ],
)  # fmt: skip
def test_contradictory_pins_name_both_sides_and_the_rest_is_kept(tmp_path, pins, kept, wish, against):
    text = EVERYTHING.read_text(encoding="utf-8")
    old = text[text.index("pins:") :]
    path = everything_with(tmp_path, old, "pins:\n" + "".join(f"  - {pin}\n" for pin in pins))
    if "are not moved before" in against:  # a Monday
        path.write_text(
            path.read_text(encoding="utf-8").replace("2027-01-09", "2027-01-11"), encoding="utf-8"
        )
    reading = read_room(path)
    assert len(reading.room.pins) == kept
    (warning,) = reading.warnings
    assert warning.severity is Severity.WARNING
    assert warning.what.split(": ", 1)[1] == f"{wish} cannot be kept"
    first = text[: text.index("pins:")].count("\n") + 2
    assert warning.found == against.replace("FIRST", str(first))


@pytest.mark.parametrize(
    ("today", "start", "told"),
    [
        ("2027-01-09", None, []),  # a Saturday: fish can be moved today
        (
            "2027-01-11",
            date(2027, 1, 16),
            ["pin of 'K1': not in '1E2 1' cannot hold today (today it is in '1E2 1')"],
        ),
    ],
)
def test_a_pin_against_today_holds_from_the_first_move_day(tmp_path, today, start, told):
    text = EVERYTHING.read_text(encoding="utf-8")
    path = everything_with(tmp_path, text[text.index("pins:") :], "pins: [{brood: K1, not_in: 1E2 1}]\n")
    path.write_text(path.read_text(encoding="utf-8").replace("2027-01-09", today), encoding="utf-8")
    reading = read_room(path)
    assert [pin.span.start for pin in reading.room.pins] == [start]
    assert [f"{w.what} ({w.found})" for w in reading.warnings] == told


def test_fish_can_be_pinned_to_move_today(tmp_path):
    text = EVERYTHING.read_text(encoding="utf-8")
    path = everything_with(
        tmp_path, text[text.index("pins:") :], "pins: [{brood: K1, move_on: 2027-01-09}]\n"
    )
    reading = read_room(path)
    assert (len(reading.room.pins), reading.warnings) == (1, [])


def test_lines_that_may_share_may_be_pinned_together(tmp_path):
    text = EVERYTHING.read_text(encoding="utf-8")
    pin = "{brood: NAME, in: =x 2, from: 2027-03-06}"
    pins = "pins:\n" + "".join(f"  - {pin.replace('NAME', name)}\n" for name in ("K1", "'1.10'"))
    reading = read_room(everything_with(tmp_path, text[text.index("pins:") :], pins))
    assert len(reading.room.pins) == 2
    assert reading.warnings == []


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("lives_in: 1E2 1", "lives_in: breeder 1", {
            "it lives in 'breeder 1' with grown fish (breeding group 'kutubu trio' lives there too)",
            "it lives in a vessel that is for no stage of its life ('breeder 1' is for breeding)",
        }),
        (K1, "    collected: 2027-01-08\n    eggs: 34\n    lives_in: =x 2\n",
         {"eggs in '=x 2', which is not snail-free (snails eat eggs)"}),
        ("lives_in: 1E2 1", "lives_in: long 1", {
            "it is shorter than fish should be in 'long 1' (10 mm, grow-out begins at 20 mm)",
        }),
        ("lives_in: 1E2 1", "lives_in: '[R4] 1'", {
            f"it shares '[R4] 1' with fish of very different length ('K1' 10 mm, {LABEL!r} 35 mm)",
        }),
        ("lives_in: [=x 1]", "lives_in: ['[R4] 2']", {
            f"it shares '[R4] 2' with another line ({LABEL!r} is 'kutubu', 'Größe 3' is '🐟 hill')",
        }),
        ("fish: 25, mm: 34}", "fish: 25, mm: 57}", {"it is long enough to be sold (57 mm, sale size 55 mm)"}),
    ],
    ids=["with-group", "snails", "too-short", "lengths", "lines", "sale"],
)  # fmt: skip
def test_what_cannot_be_today_is_told_and_still_planned(tmp_path, old, new, told):
    reading = read_room(everything_with(tmp_path, old, new))
    assert "K1" in reading.room.brood_named
    shown = {f"{w.what.split(': ', 1)[1]} ({w.found or w.hint})" for w in reading.warnings}
    assert told <= shown


def test_too_many_fish_today_is_told(tmp_path):
    path = write(
        tmp_path, small_room(broods="{name: b, line: blue, collected: 2026-10-01, eggs: 900, lives_in: a}")
    )
    (warning,) = read_room(path).warnings
    assert warning.what == "brood 'b': there is more in 'a' than the rules allow"
    assert warning.found is not None
    assert "of the limit" in warning.found


def test_too_strong_a_flow_today_is_told(tmp_path):
    vessel = f"{{name: a, kind: hatchery, {SIZE}, flow: strong, snail_free: true}}"
    path = write(tmp_path, small_room(vessel=vessel))
    (warning,) = read_room(path).warnings
    assert str(warning.what) == "brood 'b': the water in 'a' moves too strongly"


def test_a_vessel_that_is_not_there_today_is_told(tmp_path):
    vessel = (
        f"{{name: a, kind: rearing, {SIZE}, flow: still, snail_free: true, available: {{from: 2027-02-01}}}}"
    )
    (warning,) = read_room(write(tmp_path, small_room(vessel=vessel))).warnings
    assert warning.what == "brood 'b': it lives in 'a', which is not there today"


def test_two_broods_in_a_stage_that_must_be_alone_are_told(tmp_path):
    vessel = f"{{name: a, kind: hatchery, {SIZE}, flow: still, snail_free: true}}"
    broods = ", ".join(
        f"{{name: {n}, line: blue, collected: 2027-01-05, eggs: 9, lives_in: a}}" for n in "bc"
    )
    reading = read_room(write(tmp_path, small_room(vessel=vessel, broods=broods)))
    assert {f"{w.what} ({w.found})" for w in reading.warnings} == {
        "brood 'b': it should be alone in 'a' ('c' lives there too)",
        "brood 'c': it should be alone in 'a' ('b' lives there too)",
    }


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            "lives_in: breeder 3",
            "lives_in: long 2",
            "breeding group '007': 'long 2' is not for breeding (grow-out)",
        ),
        (
            "[{on: 2026-10-03, fish: 28, mm: 18}",
            "[{on: 2026-10-03, fish: 24, mm: 18}",
            f"brood {LABEL!r}: more fish than at an earlier count (24 on 2026-10-03, 25 on 2027-01-02)",
        ),
        (
            "{vessel: '[R4] 2', fish: 13}".replace("'", '"'),
            '{vessel: "[R4] 2", fish: 11}',
            f"brood {LABEL!r}: lives_in leaves fish out (23 of 25 counted on 2027-01-02)",
        ),
        (
            "laid_over_days: 2 ",
            "laid_over_days: 7 ",
            (
                "brood 'K1': the first may hatch before they are collected "
                "(laid over 7 days, hatch from 4.4 days on)"
            ),
        ),
        (
            "laid_over_days: 3",
            "laid_over_days: 8",
            (
                "breeding group '🐟 pair': the first may hatch before they are collected "
                "(laid over 8 days, hatch from 6 days on)"
            ),
        ),
    ],
    ids=["group-in-grow-out", "more-than-before", "fish-left-out", "laid-for-long", "laid-for-long-planned"],
)
def test_what_is_odd_in_the_file_is_told(tmp_path, old, new, told):
    reading = read_room(everything_with(tmp_path, old, new))
    assert [f"{w.what} ({w.found})" for w in reading.warnings] == [told]


def test_eggs_that_cannot_hatch_before_they_are_collected_are_no_matter(tmp_path):
    """At 25.5 degrees C the first hatch after 154 / 25.5 = 6.04 days: 5 days, the first 4 days old, are fine."""
    assert read_room(everything_with(tmp_path, "laid_over_days: 3", "laid_over_days: 5")).warnings == []


def shown(path):
    return [f"{w.line}: {w.what} ({w.found}). {w.hint}" for w in read_room(path).warnings]


NOT_SNAIL_FREE = f"{{name: a, kind: rearing, {SIZE}, flow: still}}"
HATCHERY = "{name: h, kind: hatchery, inside: 20 x 12 cm, water_depth: 10 cm, flow: still, snail_free: true}"
SAY_SO = "say snail_free: true of a tank in which no snails are"


@pytest.mark.parametrize(
    ("by", "vessels", "told"),
    [
        ("mop", f"{NOT_SNAIL_FREE}, {HATCHERY}",
         ["a whole mop goes into a snail-free vessel of the kind rearing, and there is none"]),
        ("mop", NOT_SNAIL_FREE.replace("still}", "still, snail_free: true}"), []),
        ("picking", f"{NOT_SNAIL_FREE}, {HATCHERY.replace(', snail_free: true', '')}",
         ["the eggs go into a snail-free vessel of the kind hatchery, and there is none"]),
        ("picking", f"{NOT_SNAIL_FREE}, {HATCHERY}", []),
    ],
    ids=["mop", "mop-snail-free", "picking", "picking-snail-free"],
)  # fmt: skip
def test_eggs_to_come_without_a_snail_free_vessel_are_told_beforehand(tmp_path, by, vessels, told):
    """Both where the brood stands in the file, and where a group's collection does."""
    broods = f"{{name: b, line: blue, collected: 2027-01-16, by: {by}, eggs: 30}}"
    path = write(tmp_path, small_room(vessel=vessels, broods=broods))
    assert shown(path) == [f"6: brood 'b': {what} (None). {SAY_SO}" for what in told]
    breeder = f"{{name: breeder, kind: breeding, {SIZE}, flow: still}}"
    text = small_room(vessel=f"{vessels}, {breeder}").split("broods:")[0] + (
        "breeding_groups:\n  - name: trio\n    line: blue\n    males: 1\n    females: 2\n    lives_in: breeder\n"
        f"    collect:\n      - {{by: {by}, from: 2027-01-16, eggs: 30}}\n"
    )
    assert shown(write(tmp_path, text)) == [
        f"13: breeding group 'trio': {what} (None). {SAY_SO}" for what in told
    ]


def test_eggs_that_bear_snails_and_young_with_their_parents_are_no_matter(tmp_path):
    text = small_room(vessel=NOT_SNAIL_FREE, broods="{name: b, line: blue, collected: 2027-01-16, eggs: 30}")
    path = write(tmp_path, text.replace("rainbowfish-large", "dwarf-cichlid").replace("}]\nbroods", "}]\n"
        "breeding_groups: [{name: p, line: blue, males: 1, females: 1, lives_in: a}]\nbroods")
        .replace("kind: rearing", "kind: breeding").replace("eggs: 30", "eggs: 30, parents: p"))  # fmt: skip
    assert shown(path) == []


def test_water_that_the_rules_do_not_hold_for_is_told_once_for_each_line(tmp_path):
    """rainbowfish-large holds from 22 to 30 degrees C, and says so under `water`."""
    own = (
        ", conditions: {temperature_c: 21.5}, copies: 2, except: [{copy: 2, conditions: {temperature_c: 22}}]"
    )
    text = small_room(
        vessel=f"{{name: a, kind: rearing, {SIZE}, flow: still, snail_free: true{own}}}",
        broods="{name: b, line: blue, collected: 2026-12-01, eggs: 30, lives_in: a 1}",
    ).replace("vessels:", "conditions:\n  temperature_c: 30.5\nvessels:")
    what = "degrees C is outside the 22 to 30 for which the rules of line 'blue' hold (rainbowfish-large)"
    told = shown(write(tmp_path, text))
    hint = "a plan counts as if it were within: growth and losses may differ"
    assert [words for words in told if "outside" in words] == [
        f"5: the room file: 30.5 {what}. {hint}",
        f"6: vessel 'a': 21.5 {what}. {hint}",
    ]


@pytest.mark.parametrize(("since", "odd"), [("2027-01-09", False), ("2027-01-10", True)])
def test_a_filter_that_does_not_run_yet_is_told(tmp_path, since, odd):
    vessel = (
        f"{{name: a, kind: rearing, {SIZE}, flow: still, snail_free: true, copies: 2,\n"
        f" filter: {{kind: box filter,\n  since: {since}}},\n"
        f" except: [{{copy: 2, filter: {{kind: box filter, since: {since}}}}}]}}"
    )
    broods = "{name: b, line: blue, collected: 2026-12-01, eggs: 30, lives_in: a 1}"
    told = shown(write(tmp_path, small_room(vessel=vessel, broods=broods)))
    words = (
        "vessel 'a': the filter does not run yet (since 2027-01-10, today is 2027-01-09). `allocator water` counts "
        "it as nothing until it runs and has matured; plans count it as a filter already"
    )
    assert told == ([f"6: {words}", f"7: {words}"] if odd else [])


@pytest.mark.parametrize(
    ("by", "hint"),
    [
        ("mop", "hang the mop for at most 5 days, so that eggs and not fry are collected"),
        ("picking", "collect at least every 5 days, so that eggs and not fry are collected"),
        ("young", None),
    ],
)
def test_what_helps_against_fry_among_the_eggs_follows_the_way_of_collecting(tmp_path, by, hint):
    """K1 hatches from 112 / 25.5 = 4.4 days on: after 5 days the first are 4 days old, and all are eggs."""
    path = everything_with(tmp_path, "laid_over_days: 2 ", "laid_over_days: 7 ")
    text = path.read_text(encoding="utf-8").replace(
        "    by: picking\n    eggs: 34", f"    by: {by}\n    eggs: 34"
    )
    path.write_text(text, encoding="utf-8")
    told = [w.hint for w in read_room(path).warnings if "may hatch before" in w.what]
    assert told == ([] if hint is None else [hint])
