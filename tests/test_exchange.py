"""Water changes against stepping day by day, and filters that do or do not count yet."""

from datetime import date, timedelta
from math import inf, nan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from allocator.husbandry.ammonia import total_ammonia_mg_per_day
from allocator.husbandry.exchange import (
    after_change_mg_per_l,
    before_change_mg_per_l,
    change_share_needed,
    filter_counts,
    untreated_mg_per_day,
)

AMOUNTS = st.floats(0.01, 1000)
LITRES = st.floats(1, 1000)
SHARES = st.floats(0.05, 1)
DAYS = st.integers(1, 30)


def stepped(mg_per_day: float, litres: float, share: float, every_days: int) -> tuple[float, float]:
    """Keep the tank for 500 changes; return the level before and after the last one."""
    mg = before = 0.0
    for _ in range(500):
        for _ in range(every_days):
            mg += mg_per_day
        before = mg / litres
        mg -= share * litres * before
    return before, mg / litres


# ---- what builds up --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("share", "every_days", "before", "after"),
    [(0.25, 1, 2.4303, 1.8227), (0.50, 7, 8.5060, 4.2530), (0.10, 1, 6.0757, 5.4682)],
)
def test_level_of_a_ten_gallon_tank(share, every_days, before, after):
    # 20.7 mg a day in 34.07 litres (nine tenths of ten US gallons), worked out apart from this package.
    assert before_change_mg_per_l(20.7, 34.07, share, every_days) == pytest.approx(before, abs=5e-5)
    assert after_change_mg_per_l(20.7, 34.07, share, every_days) == pytest.approx(after, abs=5.5e-5)


@settings(deadline=None)
@given(AMOUNTS, LITRES, SHARES, DAYS)
def test_level_is_where_stepping_ends(mg, litres, share, every_days):
    before, after = stepped(mg, litres, share, every_days)
    # 500 changes of a twentieth leave 0.95^500 = 7e-12 of the way; the rest is float dust.
    assert before_change_mg_per_l(mg, litres, share, every_days) == pytest.approx(before, rel=1e-8)
    expected = after_change_mg_per_l(mg, litres, share, every_days)
    assert expected == pytest.approx(after, rel=1e-8, abs=1e-10 * before)


@given(AMOUNTS, LITRES, SHARES, DAYS)
def test_more_changing_more_water_and_less_waste_help(mg, litres, share, every_days):
    level = before_change_mg_per_l(mg, litres, share, every_days)
    assert before_change_mg_per_l(mg, litres, min(1, share * 1.5), every_days) <= level
    assert before_change_mg_per_l(mg, litres * 2, share, every_days) <= level
    assert before_change_mg_per_l(mg / 2, litres, share, every_days) <= level
    assert before_change_mg_per_l(mg, litres, share, every_days + 1) >= level
    assert after_change_mg_per_l(mg, litres, share, every_days) < level


# ---- how much must be changed ----------------------------------------------------------------------------


@settings(deadline=None)
@given(AMOUNTS, LITRES, st.floats(0.01, 100), DAYS)
def test_share_needed_just_keeps_the_limit(mg, litres, limit, every_days):
    share = change_share_needed(mg, litres, limit, every_days)
    if share is None:
        # Stepping agrees: all of the water, and still above.
        assert stepped(mg, litres, 1.0, every_days)[0] > limit
    else:
        assert 0 < share <= 1
        assert before_change_mg_per_l(mg, litres, share, every_days) == pytest.approx(limit, rel=1e-8)


def test_share_needed_at_its_ends():
    assert change_share_needed(0, 34, 0.5, 7) == 0
    # 10 mg a day for 5 days in 50 litres is 1 mg a litre: all of the water, or not enough.
    assert change_share_needed(10, 50, 1.0, 5) == 1
    assert change_share_needed(10, 50, 0.99, 5) is None
    # Tenths are not exact in binary: 0.1 x 3 / 0.3 comes out a trace above 1 and is not refused for it.
    assert change_share_needed(0.1, 1, 0.3, 3) == 1


# ---- filters ---------------------------------------------------------------------------------------------


def test_filter_takes_the_ammonia_of_its_feed():
    # 2 g a day at 45 % protein; a filter for 0.5 g leaves what the other 1.5 g give off.
    whole = total_ammonia_mg_per_day(2.0, 0.45)
    left = untreated_mg_per_day(whole, 0.5, 2.0, matured=True)
    assert left == pytest.approx(total_ammonia_mg_per_day(1.5, 0.45))
    assert untreated_mg_per_day(whole, 2.0, 2.0, matured=True) == 0
    assert untreated_mg_per_day(whole, 3.0, 2.0, matured=True) == 0
    assert untreated_mg_per_day(whole, 0.0, 2.0, matured=True) == whole
    assert untreated_mg_per_day(whole, 3.0, 2.0, matured=False) == whole


def test_ammonia_without_feed_is_taken_by_a_filter_only():
    assert untreated_mg_per_day(5.0, 1.0, 0.0, matured=True) == 0
    assert untreated_mg_per_day(5.0, 0.0, 0.0, matured=True) == 5.0


@given(AMOUNTS, st.floats(0, 50), st.floats(0, 50), st.floats(0, 50))
def test_a_bigger_filter_leaves_less(mg, a, b, feed):
    small, big = sorted((a, b))
    by_small = untreated_mg_per_day(mg, small, feed, matured=True)
    assert 0 <= untreated_mg_per_day(mg, big, feed, matured=True) <= by_small <= mg


def test_a_filter_counts_after_seven_weeks():
    # Mnyoro et al. 2022, abstract: full capacity after six weeks with local media, seven with plastic.
    started = date(2027, 1, 9)
    assert filter_counts(None, started)
    assert not filter_counts(started, started)
    assert not filter_counts(started, started + timedelta(weeks=6))
    assert not filter_counts(started, started + timedelta(days=48))
    assert filter_counts(started, started + timedelta(weeks=7))
    assert not filter_counts(started, started - timedelta(days=100))


# ---- outside the ranges ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (
            lambda: before_change_mg_per_l(-1, 34, 0.25, 7),
            r"what is given off must be 0 mg a day or more \(got -1\)",
        ),
        (lambda: before_change_mg_per_l(1, 0, 0.25, 7), r"water must be above 0 litres \(got 0\)"),
        (lambda: before_change_mg_per_l(1, 34, 0, 7), r"share of the water changed .* \(got 0\)"),
        (lambda: before_change_mg_per_l(1, 34, 25, 7), r"share of the water changed .* \(got 25\)"),
        (lambda: after_change_mg_per_l(1, 34, 1.1, 7), r"share of the water changed .* \(got 1.1\)"),
        (lambda: before_change_mg_per_l(1, 34, 0.25, 0), r"days between changes must be above 0 \(got 0\)"),
        (lambda: change_share_needed(nan, 34, 1, 7), r"what is given off .* \(got nan\)"),
        (lambda: change_share_needed(1, inf, 1, 7), r"water .* \(got inf\)"),
        (lambda: change_share_needed(1, 34, 0, 7), r"limit must be above 0 mg a litre \(got 0\)"),
        (lambda: change_share_needed(1, 34, 1, -7), r"days between changes .* \(got -7\)"),
        (lambda: untreated_mg_per_day(-1, 1, 1, matured=True), r"what is given off .* \(got -1\)"),
        (lambda: untreated_mg_per_day(1, -1, 1, matured=True), r"feed that the filter takes .* \(got -1\)"),
        (lambda: untreated_mg_per_day(1, 1, nan, matured=True), r"feed must be .* \(got nan\)"),
    ],
)
def test_outside_its_range_a_formula_is_refused(call, said):
    with pytest.raises(ValueError, match=said):
        call()
