"""The rainbowfish packs against what keepers do and say. Each statement is common practice: no document measures it."""

from datetime import date, timedelta
from functools import cache
from pathlib import Path

import pytest

from allocator.husbandry.growth import age_at_mm, length_mm
from allocator.husbandry.life import Life
from allocator.husbandry.stocking import SUMMED_CAPS, Cap, flow_step, shares_of_one
from allocator.problems import Problems
from allocator.reading.packs import change_figure, load_pack
from allocator.room import Brood, CollectedBy, Keeper, Vessel
from allocator.rules import CareStep, Figure, FlowSetting, GrowthPace, RulePack, VesselKind

RAINBOWFISH = ["rainbowfish-large", "rainbowfish-medium", "rainbowfish-small"]
LARGER = RAINBOWFISH[:2]
COLLECTED = date(2027, 1, 2)
DAYS_A_MONTH = 30.44
MONTH = 28
"""Days in what a keeper calls about a month, at the least."""


@cache
def pack(name: str) -> RulePack:
    loaded = load_pack(name, relative_to=Path(), problems=Problems("test"), line=1)
    assert loaded is not None
    return loaded[0]


def life(rules: RulePack, growth: GrowthPace = GrowthPace.TYPICAL) -> Life:
    brood = Brood(name="b", line="l", collected=COLLECTED, by=CollectedBy.PICKING, eggs=50)
    return Life(brood, rules, Keeper(move_days=(5,), growth=growth))


def vessel(length_cm: float, width_cm: float, depth_cm: float) -> Vessel:
    return Vessel(
        name="v",
        declared_as="v",
        kinds=tuple(VesselKind),
        length_mm=length_cm * 10,
        width_mm=width_cm * 10,
        depth_mm=depth_cm * 10,
        flow_lowest=FlowSetting.STILL,
        flow_highest=FlowSetting.STRONG,
        filtered=True,
    )


TEN = vessel(50, 25, 27)
FORTY_BREEDER = vessel(91, 46, 31)


def care(name: str, step: str) -> CareStep:
    return next(found for found in pack(name).care if found.name == step)


def value(figure: Figure | None) -> float:
    assert figure is not None
    return figure.value


def typical_mm(name: str, day: float) -> float:
    return length_mm(day, pack(name), GrowthPace.TYPICAL)


@pytest.mark.parametrize("name", RAINBOWFISH)
def test_of_fifty_eggs_35_to_40_hatch_and_about_25_pass_the_first_week(name):
    """Common practice."""
    brood = life(pack(name))
    assert 35 <= brood.heads(brood.hatched) <= 40
    assert brood.heads(brood.hatched + timedelta(days=7)) == pytest.approx(25, abs=1)


@pytest.mark.parametrize("name", RAINBOWFISH)
def test_eggs_of_one_day_hatch_on_different_days_within_a_week_or_two(name):
    """Common practice: mostly within 7 to 14 days."""
    brood = life(pack(name))
    days = [(day - COLLECTED).days for day in (brood.hatch_from, brood.hatched, brood.hatch_until)]
    assert 7 <= days[0] < days[1] < days[2] <= 14
    # Nobody moves them before the last has hatched.
    assert value(pack(name).stages[1].from_days) >= days[2] - days[1]


@pytest.mark.parametrize("name", RAINBOWFISH)
def test_for_a_month_fry_live_at_the_surface_with_next_to_no_flow(name):
    """Common practice: in the top 6 to 12 mm of water; the surface of a tank runs out before its depth does."""
    for day in range(MONTH):
        mm = typical_mm(name, day)
        flow = flow_step(mm, pack(name))
        assert flow.comfort.value <= flow.limit.value <= FlowSetting.GENTLE
        shares = shares_of_one(mm, TEN, pack(name))
        for level in (0, 1):
            assert max(shares, key=lambda cap: shares[cap][level]) is Cap.SURFACE
    # A litre that reaches no deeper than they live holds them as well as a deep one: depth adds nothing.
    deep, shallow = (shares_of_one(6, vessel(50, 25, cm), pack(name)) for cm in (40, 10))
    assert deep[Cap.SURFACE] == shallow[Cap.SURFACE]


@pytest.mark.parametrize("name", RAINBOWFISH)
def test_a_filter_at_three_quarters_for_the_second_month_and_then_full(name):
    """Common practice: normal flow in the second month, strong from then on."""
    for day in range(45, 61):
        assert flow_step(typical_mm(name, day), pack(name)).comfort.value == FlowSetting.NORMAL
    for day in range(80, 200):
        assert flow_step(typical_mm(name, day), pack(name)).comfort.value == FlowSetting.STRONG


@pytest.mark.parametrize("name", RAINBOWFISH)
def test_three_to_five_small_feeds_a_day_until_brine_shrimp_at_about_two_weeks(name):
    """Common practice."""
    first, shrimp = care(name, "first food"), care(name, "brine shrimp")
    assert first.task.startswith("three to five small feeds")
    assert value(first.from_days) == 0
    assert value(first.every_days) == value(shrimp.every_days) == 1
    assert value(first.until_days) == value(shrimp.from_days) == pytest.approx(14, abs=1)


@pytest.mark.parametrize("name", RAINBOWFISH)
def test_out_of_the_hatchery_at_about_a_month(name):
    """Common practice: a month after the hatch lies in the days on which they had better move."""
    stage = pack(name).stages[1]
    begin, end = (
        age_at_mm(value(mm), pack(name), GrowthPace.TYPICAL)
        for mm in (stage.better_from_mm, stage.better_until_mm)
    )
    assert begin <= 30 <= end


@pytest.mark.parametrize("name", LARGER)
def test_a_ten_until_an_inch_or_an_inch_and_a_half_at_about_half_a_year(name):
    """Common practice: 25 to 38 mm; the typical curve, slowed in a tank of 50 cm, is at 38 mm after 5 to 6 months."""
    rules = pack(name)
    stage = rules.stages[2]
    assert stage.kinds == (VesselKind.GROW_OUT,)
    assert (value(stage.better_from_mm), value(stage.better_until_mm)) == (25, 38)
    smaller = change_figure(rules, "sale_mm", 38, "test", "until it leaves the ten")
    assert smaller is not None
    brood = life(smaller)
    ready = brood.ready_for_sale([(TEN.run_cm, COLLECTED, date.max)])
    assert ready is not None
    assert (ready - brood.hatched).days / DAYS_A_MONTH == pytest.approx(5.5, abs=0.5)


def test_a_forty_breeder_takes_the_fish_of_three_or_four_tens():
    """Common practice: 91 x 46 cm inside, about 130 litres, until they are sold; within a twentieth for four."""
    assert FORTY_BREEDER.litres == pytest.approx(130, abs=1)
    rules = pack("rainbowfish-large")
    brood = life(rules)
    sold_at = rules.sale_mm.value
    one_ten = brood.heads(brood.hatched + timedelta(days=round(age_at_mm(sold_at, rules, brood.pace))))

    def fullness(tens: int) -> float:
        shares = shares_of_one(sold_at, FORTY_BREEDER, rules)
        return max(
            (tens * one_ten if cap in SUMMED_CAPS else 1) * share for cap, (_, share) in shares.items()
        )

    assert fullness(3) < 0.85
    assert fullness(4) == pytest.approx(1, abs=0.05)
    assert fullness(5) > 1.2


def months_to_75_mm(growth: GrowthPace, *, room: bool) -> float:
    larger = change_figure(pack("rainbowfish-large"), "sale_mm", 75, "test", "how long until they are 75 mm")
    assert larger is not None
    brood = life(larger, growth)
    moved = brood.hatched + timedelta(days=round(age_at_mm(25, larger, growth)))
    begin, later = (TEN.run_cm, COLLECTED, moved), FORTY_BREEDER.run_cm if room else TEN.run_cm
    ready = brood.ready_for_sale([begin, (later, moved, date.max)])
    assert ready is not None
    return (ready - brood.hatched).days / DAYS_A_MONTH


def test_75_mm_in_nine_months_with_room_and_a_year_without():
    """Common practice: the fast curve says so. The typical curve is slower, and is at 75 mm after a year with room."""
    assert months_to_75_mm(GrowthPace.FAST, room=True) == pytest.approx(9, abs=0.5)
    assert months_to_75_mm(GrowthPace.FAST, room=False) == pytest.approx(12, abs=1)
    assert months_to_75_mm(GrowthPace.TYPICAL, room=True) == pytest.approx(12, abs=0.5)
    # Both are kept, and the pack says that they disagree.
    assert "That is the fast curve" in " ".join(pack("rainbowfish-large").about.split())


def test_sold_in_colour_after_nine_months_with_room_and_a_year_without():
    """Common practice, by the typical curve at the length at which the pack sells."""
    for name in LARGER:
        brood = life(pack(name))
        moved = brood.hatched + timedelta(days=round(age_at_mm(25, pack(name), brood.pace)))
        start = (TEN.run_cm, COLLECTED, moved)
        with_room, without = (
            brood.ready_for_sale([start, (run, moved, date.max)])
            for run in (FORTY_BREEDER.run_cm, TEN.run_cm)
        )
        assert with_room is not None
        assert without is not None
        assert (with_room - brood.hatched).days / DAYS_A_MONTH == pytest.approx(9, abs=0.6)
        assert (without - brood.hatched).days / DAYS_A_MONTH == pytest.approx(12, abs=0.6)


@pytest.mark.parametrize("name", RAINBOWFISH)
def test_colour_tells_the_sexes_at_nine_months(name):
    """Common practice. The larger are sold then on the typical curve, so they are told apart up to seven weeks before."""
    step = care(name, "sex")
    rules = pack(name)
    if name in LARGER:
        sexed, sold = (
            age_at_mm(mm, rules, GrowthPace.TYPICAL) for mm in (value(step.from_mm), rules.sale_mm.value)
        )
        assert 9 * DAYS_A_MONTH - 49 <= sexed < sold
        # Colour comes late: not long before they are sold.
        assert sold - sexed <= 35
    else:
        # At nine months at the latest, on every curve.
        for pace in GrowthPace:
            assert age_at_mm(value(step.from_mm), pack(name), pace) <= 9 * DAYS_A_MONTH


@pytest.mark.parametrize("name", RAINBOWFISH)
def test_spawning_from_six_months_and_the_mop_out_a_month_after_the_hatch(name):
    """Common practice."""
    rules = pack(name)
    assert rules.spawns_from_days.value == pytest.approx(6 * DAYS_A_MONTH, abs=1)
    after_hatch = rules.mop_out_days.value - rules.incubation_days.expected.value
    assert after_hatch == pytest.approx(30, abs=1)


@pytest.mark.parametrize("name", [*LARGER, "madagascar-rainbow"])
def test_hatchery_then_rearing_tank_then_long_tank(name):
    """Common practice."""
    kinds = [stage.kinds for stage in pack(name).stages]
    assert kinds == [(VesselKind.HATCHERY,), (VesselKind.REARING,), (VesselKind.GROW_OUT,)]
    assert [stage.name for stage in pack(name).stages] == ["hatchery", "rearing", "grow-out"]
