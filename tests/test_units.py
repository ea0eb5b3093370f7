"""Quantities: exact definitions, round trips, and that nothing is guessed."""

from datetime import date, timedelta
from fractions import Fraction
from math import ceil, floor

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from allocator import units
from allocator.units import NotReadError


def test_inch_is_exactly_25_4_mm():
    """International yard and pound agreement of 1959: 1 yard = 0.9144 m, so 1 in = 0.9144 / 36 m."""
    assert Fraction("0.9144") / 36 * 1000 == Fraction("25.4")
    assert Fraction(str(units.MM_PER_IN)) == Fraction("25.4")


def test_us_gallon_is_231_cubic_inches():
    """NIST Handbook 44, appendix C: the gallon is 231 cubic inches."""
    assert 231 * Fraction("2.54") ** 3 / 1000 == Fraction(str(units.LITRES_PER_US_GAL))


def test_imperial_gallon_by_law():
    """Weights and Measures Act 1985 (United Kingdom), schedule 1: 4.54609 cubic decimetres."""
    assert Fraction("4.54609") == Fraction(str(units.LITRES_PER_IMPERIAL_GAL))


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("27 cm", 270.0),
        ("27cm", 270.0),
        ("270 mm", 270.0),
        ("0.27 m", 270.0),
        (".5 in", 12.7),
        ("10 inches", 254.0),
        ('1 "', 25.4),
        ("  8   in ", 203.2),
    ],
)
def test_lengths(text, mm):
    assert units.read_length_mm(text) == pytest.approx(mm, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("20 x 12 cm", (200, 120)),
        ("20x12cm", (200, 120)),
        ("20 × 12 cm", (200, 120)),  # noqa: RUF001 - the multiplication sign is what is read
        ("20 X 10 in", (508, 254)),
        ("500 x 250 mm", (500, 250)),
    ],
)
def test_sizes(text, size):
    assert units.read_size_mm(text) == pytest.approx(size, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "gallon", "litres"),
    [
        ("34 l", None, 34),
        ("34 L", None, 34),
        ("34 litres", "us", 34),
        ("1 US gal", "imperial", 3.785411784),
        ("1 us gallon", None, 3.785411784),
        ("2 imperial gallons", "us", 9.09218),
        ("1 gal", "us", 3.785411784),
        ("1 gallon", "imperial", 4.54609),
    ],
)
def test_volumes(text, gallon, litres):
    assert units.read_litres(text, gallon) == pytest.approx(litres, rel=1e-12)


def test_bare_gallon_asks_which():
    with pytest.raises(NotReadError, match="which gallon is meant") as caught:
        units.read_litres("9 gal", None)
    assert "gallon: us" in str(caught.value.hint)


@pytest.mark.parametrize(
    ("value", "days"), [(7, 7), ("7 days", 7), ("1 day", 1), ("2 weeks", 14), ("1 week", 7)]
)
def test_days(value, days):
    assert units.read_days(value) == days


@pytest.mark.parametrize(
    ("read", "text"),
    [
        (units.read_length_mm, "27"),
        (units.read_length_mm, "27,5 cm"),
        (units.read_length_mm, "-3 cm"),
        (units.read_length_mm, "3 miles"),
        (units.read_length_mm, ""),
        (units.read_length_mm, "1e9 cm"),
        (units.read_length_mm, "nan cm"),
        (units.read_size_mm, "20 x 12"),
        (units.read_size_mm, "20 cm"),
        (units.read_size_mm, "20 cm x 12 in"),
        (units.read_days, "fortnight"),
        (units.read_days, "-7 days"),
        (units.read_date, "03/04/2027"),
        (units.read_date, "3 April 2027"),
        (units.read_date, "20270403"),
        (units.read_date, "2027-W14-6"),
        (units.read_date, "2027-02-29"),
        (units.read_date, "27-04-03"),
        (units.read_weekday, "sat"),
        (units.read_weekday, "holiday"),
    ],
)
def test_nothing_is_guessed(read, text):
    with pytest.raises(NotReadError):
        read(text)


@pytest.mark.parametrize("text", ["9", "9 gallons dry", "UK", "9 US", "nine l", "9 usgal"])
def test_no_volume(text):
    with pytest.raises(NotReadError):
        units.read_litres(text, "us")


def test_printing_in_both_systems():
    assert units.cm_and_inches(500) == "50 cm (19.7 in)"
    assert units.litres_and_gallons(34) == "34 l (9.0 US gal)"
    assert units.litres_and_gallons(34, "imperial") == "34 l (7.5 imperial gal)"


@given(st.dates(date(2000, 1, 1), date(2199, 12, 31)))
@settings(deadline=None)
def test_every_iso_date_reads_back(day):
    assert units.read_date(day.isoformat()) == day


@given(st.integers(0, 6))
def test_weekdays_agree_with_the_calendar(number):
    day = date(2027, 1, 4) + timedelta(days=number)  # 4 January 2027 is a Monday
    assert units.read_weekday(units.WEEKDAYS[number].title()) == day.weekday()


@given(st.floats(0.001, 9999), st.sampled_from(["mm", "cm", "m", "in"]))
@settings(deadline=None)
def test_lengths_scale(number, unit):
    text = f"{number:.3f}"
    one = units.read_length_mm(f"1 {unit}")
    assert units.read_length_mm(f"{text} {unit}") == pytest.approx(float(text) * one)


@given(st.text(max_size=20))
@settings(deadline=None)
def test_readers_only_ever_refuse_or_read(text):
    for read in (
        units.read_length_mm,
        units.read_size_mm,
        units.read_days,
        units.read_date,
        units.read_weekday,
    ):
        try:
            read(text)
        except NotReadError as error:
            assert error.what  # noqa: PT017 - many readers, one promise
    try:
        assert units.read_litres(text, "us") >= 0
    except NotReadError as error:
        assert error.what  # noqa: PT017


@given(st.fractions(min_value=0, max_value=100_000, max_denominator=9999))
@settings(deadline=None)
def test_rounding_is_exact_up_to_dust(exact):
    """Against exact fractions: a need is never rounded below, a capacity never above, but for dust."""
    amount = float(exact)
    dust = Fraction(units.DUST) * max(1, exact)
    assert units.need_up(amount) in {ceil(exact), ceil(exact - dust)}
    assert units.capacity_down(amount) in {floor(exact), floor(exact + dust)}
    assert units.capacity_down(amount) <= exact + dust
    assert units.need_up(amount) >= exact - dust


def test_dust_is_not_rounded_up():
    assert 0.1 + 0.2 > 0.3
    assert units.need_up((0.1 + 0.2) * 10) == 3
    assert units.capacity_down(0.29 * 100) == 29
    assert floor(0.29 * 100) == 28  # what plain rounding would say


@pytest.mark.parametrize("amount", [float("nan"), float("inf")])
def test_rounding_refuses_what_is_no_number(amount):
    with pytest.raises(ValueError, match="must be a number"):
        units.need_up(amount)
    with pytest.raises(ValueError, match="must be a number"):
        units.capacity_down(amount)
