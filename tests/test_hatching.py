"""Days to hatch by degree-days: sums worked by hand, and where they are put into the rules of a line."""

import pytest
from room_files import small_room, write
from small_rooms import figure, small_pack

from allocator.husbandry.hatching import incubation_at
from allocator.reading import read_room
from allocator.rules import DegreeDays, Evidence

SUMS = DegreeDays(
    low=figure(112),
    expected=figure(204),
    high=figure(357),
    base_c=figure(0),
    from_c=figure(24),
    until_c=figure(29),
)
PACK = small_pack(degree_days=SUMS)


def test_days_are_the_sum_over_the_warmth():
    """At 25.5 degrees C: 204 / 25.5 = 8 and 357 / 25.5 = 14, without float dust."""
    band = incubation_at(25.5, PACK, "room.yaml")
    assert band.expected.value == 8
    assert band.high.value == 14
    assert band.low.value == pytest.approx(112 / 25.5)


def test_each_figure_says_how_it_was_worked_out():
    figures = incubation_at(26, PACK, "room.yaml").expected
    assert figures.source == "204 degree-days / (26 - 0) C = 7.8 days"
    assert (figures.evidence, figures.origin) == (Evidence.DERIVED, "room.yaml")


def test_a_base_is_taken_off():
    """120 / (26 - 11) = 8 days."""
    sums = SUMS.model_copy(update={"base_c": figure(11), "low": figure(120)})
    assert incubation_at(26, small_pack(degree_days=sums), "x").low.value == 8


@pytest.mark.parametrize("celsius", [23.9, 29.1])
def test_nothing_is_carried_beyond_the_range(celsius):
    assert incubation_at(celsius, PACK, "x") is None


@pytest.mark.parametrize("celsius", [24, 29])
def test_the_ends_of_the_range_belong_to_it(celsius):
    assert incubation_at(celsius, PACK, "x").expected.value == pytest.approx(204 / celsius)


def test_at_the_base_nothing_hatches():
    sums = SUMS.model_copy(update={"base_c": figure(24)})
    assert incubation_at(24, small_pack(degree_days=sums), "x") is None


def test_a_pack_without_degree_days_has_none():
    assert incubation_at(26, small_pack(), "x") is None


def room_at(tmp_path, conditions, line="{name: blue, species: M. lacustris, rules: rainbowfish-large}"):
    text = small_room().replace("keeper:", f"conditions: {conditions}\nkeeper:")
    old = "{name: blue, species: Melanotaenia lacustris, rules: rainbowfish-large}"
    assert old in text
    reading = read_room(write(tmp_path, text.replace(old, line)))
    return reading.room.line_named["blue"].rules.incubation_days, [str(w) for w in reading.warnings]


def test_a_warm_room_hatches_sooner(tmp_path):
    """The pack has 204 degree-days: 204 / 28 = 7.29; 8 days stand in the pack."""
    days, warnings = room_at(tmp_path, "{temperature_c: 28}")
    assert days.expected.value == pytest.approx(204 / 28)
    assert (days.expected.evidence, days.expected.origin) == (Evidence.DERIVED, "room.yaml")
    assert warnings == []


def test_without_a_temperature_the_days_are_those_of_the_pack(tmp_path):
    days, _ = room_at(tmp_path, "{ph: 7.4}")
    assert (days.expected.value, days.expected.origin) == (8, "rainbowfish-large")


def test_outside_the_range_the_pack_is_kept_and_that_is_told(tmp_path):
    days, warnings = room_at(tmp_path, "{temperature_c: 21}")
    assert days.expected.value == 8
    (warning,) = (said for said in warnings if "days to hatch" in said)  # the water rule has its own
    assert "line 'blue': the days to hatch stay as in the rules" in warning
    assert "24 to 29 degrees C only (the room has 21 degrees C)" in warning


OWN = "{name: blue, species: M. lacustris, rules: rainbowfish-large, change: {%s}}"


def test_a_keepers_own_days_stay(tmp_path):
    line = OWN % "incubation_days.expected: {value: 9, why: counted in four broods}"
    days, warnings = room_at(tmp_path, "{temperature_c: 28}", line)
    assert (days.low.value, days.expected.value) == (7, 9)
    assert warnings == []


def test_a_keepers_own_degree_days_count(tmp_path):
    line = OWN % "degree_days.expected: {value: 224, why: counted in four broods}"
    assert room_at(tmp_path, "{temperature_c: 28}", line)[0].expected.value == 8


def test_an_own_pack_with_its_own_days_keeps_them(tmp_path):
    """The degree-days of the pack that it is based on are of other eggs."""
    (tmp_path / "own.yaml").write_text(
        "name: own\nabout: another fish\nbased_on: rainbowfish-large\n"
        "incubation_days: {low: 5, expected: 6, high: 7, evidence: from memory, source: five years of notes}\n"
    )
    line = "{name: blue, species: M. lacustris, rules: own.yaml}"
    assert room_at(tmp_path, "{temperature_c: 28}", line)[0].expected.value == 6
