"""Stage windows worked out by hand on the small pack: 5 mm at hatch, 0.2 mm a day."""

from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_rooms import TODAY, box, day, figure, in_being, long, planned, small_pack, ten

from allocator.husbandry.homes import fish_today
from allocator.husbandry.life import Life
from allocator.husbandry.stages import (
    better_span,
    earliest_entry,
    first_stage_kinds,
    is_alone,
    latest_entry,
    may_follow,
    sale_day,
    stage_today,
)
from allocator.problems import Problems
from allocator.reading.packs import load_pack, shipped_packs
from allocator.room import Brood, CollectedBy, Count, Home, Keeper, Span
from allocator.rules import Estimate, GrowthPace, StageRule, VesselKind

KEEPER = Keeper(move_days=(5,))


def life(by: CollectedBy = CollectedBy.PICKING, **changes: object) -> Life:
    """Return a brood collected on 9 January: eggs hatch on 17 to 21 January, counted from 19 January."""
    return Life(planned("P1", "red", day("01-09"), 40, by), small_pack(**changes), KEEPER)


def with_stage(number: int, **changes: object) -> tuple[StageRule, ...]:
    stages = small_pack().stages
    return (*stages[:number], stages[number].model_copy(update=changes), *stages[number + 1 :])


def test_the_windows_of_the_small_pack() -> None:
    found = life()
    hatchery, rearing, grow_out = found.rules.stages
    assert (earliest_entry(found, hatchery), latest_entry(found, hatchery)) == (day("01-09"), day("01-09"))
    # 7 mm and 10 days old on the same day; 15 mm at age 50
    assert (earliest_entry(found, rearing), latest_entry(found, rearing)) == (day("01-29"), day("03-10"))
    # 20 mm at age 75, 35 mm at age 150, 45 mm at age 200
    assert (earliest_entry(found, grow_out), latest_entry(found, grow_out)) == (day("04-04"), day("06-18"))
    assert sale_day(found) == day("08-07")


@pytest.mark.parametrize(
    ("changes", "by", "expected"),
    [
        ({"from_mm": figure(6), "from_days": figure(0)}, CollectedBy.PICKING, "01-24"),  # 6 mm at age 5
        (
            {"from_mm": figure(5), "from_days": figure(0)},
            CollectedBy.PICKING,
            "01-21",
        ),  # all hatched
        ({"from_mm": figure(5), "from_days": figure(0)}, CollectedBy.MOP, "01-23"),  # the mop is taken out
        ({"from_mm": figure(5), "from_days": figure(30)}, CollectedBy.MOP, "02-18"),  # 30 days old
        ({"from_mm": figure(7.1), "from_days": None}, CollectedBy.PICKING, "01-30"),  # 7.1 mm at age 10.5
    ],
)
def test_the_latest_of_its_conditions_opens_a_window(
    changes: dict[str, object], by: CollectedBy, expected: str
) -> None:
    found = life(by, stages=with_stage(1, **changes))
    assert earliest_entry(found, found.rules.stages[1]) == day(expected)


def test_a_window_that_never_closes_is_open_until_the_sale() -> None:
    found = life(stages=with_stage(2, until_mm=None))
    assert latest_entry(found, found.rules.stages[2]) == sale_day(found)
    found = life(stages=with_stage(2, until_mm=figure(60)))
    assert latest_entry(found, found.rules.stages[2]) == sale_day(found)


def test_a_brood_too_young_to_be_handled_is_not_late() -> None:
    found = life(stages=with_stage(1, until_mm=figure(6)))
    assert latest_entry(found, found.rules.stages[1]) == earliest_entry(found, found.rules.stages[1])


def test_the_better_days_lie_within_those_allowed() -> None:
    found = life(stages=with_stage(1, better_from_mm=figure(8), better_until_mm=figure(12)))
    # 8 mm at age 15, 12 mm at age 35, that day included
    assert better_span(found, found.rules.stages[1]) == Span(start=day("02-03"), end=day("02-24"))
    open_ended = life()
    assert better_span(open_ended, open_ended.rules.stages[1]) == Span(start=day("01-29"), end=day("03-11"))
    odd = life(stages=with_stage(1, better_from_mm=figure(40), better_until_mm=figure(1)))
    assert better_span(odd, odd.rules.stages[1]) == Span(start=day("03-10"), end=day("03-11"))


def test_a_mop_begins_in_a_rearing_tank_and_is_alone_there() -> None:
    mop, eggs = life(CollectedBy.MOP), life()
    assert first_stage_kinds(mop.brood, mop.rules) == (VesselKind.REARING,)
    assert first_stage_kinds(eggs.brood, eggs.rules) == (VesselKind.HATCHERY,)
    assert is_alone(mop, 0)
    assert not is_alone(eggs, 0)
    assert is_alone(life(stages=with_stage(1, alone=True)), 1)


@pytest.mark.parametrize(
    ("collected", "vessel", "stage"),
    [
        (date(2026, 12, 5), box("b"), 0),  # 8.6 mm, still in its box
        (date(2026, 12, 5), ten("t"), 1),
        (date(2026, 12, 5), long("l"), 2),  # too small for it, but there it is
        (date(2026, 12, 28), ten("t"), 1),  # eggs in a rearing tank
        (date(2026, 7, 1), ten("t", kinds=(VesselKind.REARING, VesselKind.GROW_OUT)), 2),
        (date(2026, 11, 1), ten("t", kinds=(VesselKind.REARING, VesselKind.GROW_OUT)), 1),  # 15.4 mm
        (date(2026, 11, 1), ten("t", kinds=(VesselKind.BREEDING,)), 1),  # by length alone
    ],
)
def test_the_stage_of_a_brood_in_being_follows_from_where_it_is(
    collected: date, vessel: object, stage: int
) -> None:
    found = Life(in_being("K1", "red", collected, 20, "x"), small_pack(), KEEPER)
    assert stage_today(found, vessel, TODAY) == stage


def test_a_mop_in_its_tank_is_in_the_first_stage_until_it_may_go_on() -> None:
    found = life(CollectedBy.MOP)
    assert stage_today(found, ten("t"), day("01-28")) == 0
    assert stage_today(found, ten("t"), day("01-29")) == 1


def test_only_stages_that_may_be_skipped_are_skipped() -> None:
    assert may_follow(small_pack(), 0, 1)
    assert not may_follow(small_pack(), 0, 2)
    assert not may_follow(small_pack(), 1, 0)
    assert may_follow(small_pack(stages=with_stage(1, may_skip=True)), 0, 2)


@pytest.mark.parametrize(
    ("homes", "expected"),
    [
        ({"a": None}, {"a": 23}),  # 22.5 fish, rounded up
        ({"a": None, "b": None}, {"a": 12, "b": 11}),
        ({"a": 20, "b": None}, {"a": 20, "b": 3}),
        ({"a": 20, "b": 9}, {"a": 20, "b": 9}),
        ({"a": 30, "b": None}, {"a": 30, "b": 0}),
    ],
)
def test_the_fish_of_a_brood_are_shared_out_over_its_homes(
    homes: dict[str, int | None], expected: dict[str, int]
) -> None:
    brood = planned("P1", "red", day("01-09"), 30).model_copy(
        update={"homes": tuple(Home(vessel=name, fish=fish) for name, fish in homes.items())}
    )
    pack = small_pack(hatch_share=small_pack().hatch_share.model_copy(update={"expected": figure(0.75)}))
    assert fish_today(Life(brood, pack, KEEPER), day("01-19")) == expected


@settings(deadline=None)
@given(
    pack=st.sampled_from(shipped_packs()),
    pace=st.sampled_from(GrowthPace),
    by=st.sampled_from(CollectedBy),
    collected=st.dates(date(2026, 1, 1), date(2026, 12, 31)),
    measured=st.none() | st.tuples(st.integers(20, 200), st.floats(3, 120)),
)
def test_windows_agree_with_the_lengths_day_by_day(
    pack: str, pace: GrowthPace, by: CollectedBy, collected: date, measured: tuple[int, float] | None
) -> None:
    """The closed forms against a plain walk over the days, on every shipped pack."""
    loaded = load_pack(pack, relative_to=Path(), problems=Problems("x"), line=1)
    assert loaded is not None
    rules = loaded[0]
    counts = ()
    if measured is not None:
        on = date.fromordinal(collected.toordinal() + 30 + measured[0])
        counts = (Count(on=on, fish=10, mm=measured[1]),)
    brood = Brood(
        name="P1", line="red", collected=collected, by=by, eggs=30, counts=counts, planned=not counts
    )
    found = Life(brood, rules, Keeper(move_days=(5,), growth=pace, survival=Estimate.EXPECTED))
    days = [date.fromordinal(found.hatched.toordinal() + n) for n in range(1500)]
    mm = {d: found.length_mm(d) for d in days}
    tiny = 1e-9
    sale = next(d for d in days if mm[d] >= rules.sale_mm.value - tiny)
    assert sale_day(found) == sale
    for stage in rules.stages[1:]:
        earliest = earliest_entry(found, stage)
        assert earliest >= found.hatch_until
        if stage.from_mm is not None:
            assert mm[earliest] >= min(stage.from_mm.value, rules.sale_mm.value) - tiny
        latest = latest_entry(found, stage)
        assert latest >= earliest
        if stage.until_mm is not None and latest > earliest and latest != sale:
            assert mm[latest] <= stage.until_mm.value + tiny
            assert mm[date.fromordinal(latest.toordinal() + 1)] > stage.until_mm.value - tiny
