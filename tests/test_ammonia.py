"""The un-ionised share of ammonia against printed tables and an independent library; what feed gives off."""

from functools import cache
from math import log10, nan

import PyCO2SYS
import pytest
from hypothesis import given
from hypothesis import strategies as st

from allocator.husbandry.ammonia import (
    most_total_ammonia,
    pka,
    total_ammonia_mg_per_day,
    un_ionised_share,
)

COLD_TO_WARM = st.floats(0, 50)
SOUR_TO_BASIC = st.floats(6, 10)

# ---- printed tables --------------------------------------------------------------------------------------

FA16_DEGREES = range(6, 34, 2)
FA16 = {
    7.0: ".0013 .0016 .0018 .0022 .0025 .0029 .0034 .0039 .0046 .0052 .0060 .0069 .0080 .0093",
    7.2: ".0021 .0025 .0029 .0034 .0040 .0046 .0054 .0062 .0072 .0083 .0096 .0110 .0126 .0150",
    7.4: ".0034 .0040 .0046 .0054 .0063 .0073 .0085 .0096 .0114 .0131 .0150 .0173 .0198 .0236",
    7.6: ".0053 .0063 .0073 .0086 .0100 .0116 .0134 .0155 .0179 .0206 .0236 .0271 .0310 .0369",
    7.8: ".0084 .0099 .0116 .0135 .0157 .0182 .0211 .0244 .0281 .0322 .0370 .0423 .0482 .0572",
    8.0: ".0133 .0156 .0182 .0212 .0247 .0286 .0330 .0381 .0438 .0502 .0574 .0654 .0743 .0877",
    8.2: ".0210 .0245 .0286 .0332 .0385 .0445 .0514 .0590 .0676 .0772 .0880 .0998 .1129 .1322",
    8.4: ".0328 .0383 .0445 .0517 .0597 .0688 .0790 .0904 .1031 .1171 .1326 .1495 .1678 .1948",
}
"""
University of Florida extension sheet FA-16 (Ammonia in Aquatic Systems), "calculated from data in Emmerson et al.
(1975)", as reprinted in Fundamentals of Aquatic Veterinary Medicine, table 1.4: shares by pH and degrees C.
"""


def misprinted(degrees: int, ph: float) -> bool:
    """Tell the cells that do not follow from Emerson et al.

    The whole column for 32 degrees fits a temperature between 32.3 and 32.7; 20 degrees at pH 7.4 should end in 98.
    """
    return degrees == 32 or (degrees, ph) == (20, 7.4)


FA16_CELLS = [
    (degrees, ph, float(share))
    for ph, row in FA16.items()
    for degrees, share in zip(FA16_DEGREES, row.split(), strict=True)
    if not misprinted(degrees, ph)
]


@pytest.mark.parametrize(("degrees", "ph", "share"), FA16_CELLS)
def test_share_is_that_of_the_extension_sheet(degrees, ph, share):
    # Half of the last printed place, and a tenth of that for the zero of the kelvin scale (273.2 in old tables).
    assert un_ionised_share(degrees, ph) == pytest.approx(share, abs=5.5e-5)


def test_worked_example_of_the_extension_sheet():
    # FA-16: total ammonia 1.0 mg a litre, 24 degrees C, pH 8.0 -> .0502 mg a litre, four places printed.
    assert 1.0 * un_ionised_share(24, 8.0) == pytest.approx(0.0502, abs=5e-5)
    assert most_total_ammonia(0.0502, 24, 8.0) == pytest.approx(1.0, rel=1e-3)


TRUSSELL_DEGREES = (10, 15, 20, 25)
TRUSSELL = """
0.19 0.27 0.40 0.55
0.23 0.34 0.50 0.70
0.29 0.43 0.63 0.88
0.37 0.54 0.79 1.10
0.47 0.68 0.99 1.38
0.59 0.85 1.24 1.73
0.74 1.07 1.56 2.17
0.92 1.35 1.96 2.72
1.16 1.69 2.45 3.39
1.46 2.12 3.06 4.24
1.83 2.65 3.83 5.28
2.29 3.32 4.77 6.55
2.86 4.14 5.94 8.11
3.58 5.16 7.36 10.00
4.46 6.41 9.09 12.27
5.55 7.98 11.18 14.97
"""
"""Trussell 1972, per cent un-ionised in fresh water, as printed in a test kit's manual; pH 7.0, 7.1, ... 8.5."""

TRUSSELL_CELLS = [
    (degrees, 7 + step / 10, float(percent))
    for step, row in enumerate(TRUSSELL.split("\n")[1:-1])
    for degrees, percent in zip(TRUSSELL_DEGREES, row.split(), strict=True)
]


@pytest.mark.parametrize(("degrees", "ph", "percent"), TRUSSELL_CELLS)
def test_share_is_near_that_of_an_older_table(degrees, ph, percent):
    # Other measurements of the same thing: 2.5 %, and half of the last printed place.
    assert 100 * un_ionised_share(degrees, ph) == pytest.approx(percent, abs=0.025 * percent + 0.005)


def test_worked_example_of_the_test_kit():
    # 1.0 mg a litre, 20 degrees C, pH 8.5: 0.1118 un-ionised, 0.8882 ionised (by Trussell's table).
    assert un_ionised_share(20, 8.5) == pytest.approx(0.1118, rel=0.025)
    assert 1 - un_ionised_share(20, 8.5) == pytest.approx(0.8882, rel=0.025)


# ---- an independent library ------------------------------------------------------------------------------


@cache
def library_pka(degrees: float) -> float:
    """Ask PyCO2SYS (Clegg & Whitfield 1995, -2 to 40 degrees C, good to 5 % in their words): no salt, free pH scale."""
    water = PyCO2SYS.sys(
        par1=8.0, par1_type=3, par2=100, par2_type=1, temperature=degrees, salinity=0, opt_pH_scale=3
    )
    return -log10(water["k_ammonia"])


@pytest.mark.parametrize("degrees", range(0, 41, 5))
@pytest.mark.parametrize("ph", [6.5, 7.0, 8.0, 9.0])
def test_share_is_that_of_another_model(degrees, ph):
    theirs = 1 / (1 + 10 ** (library_pka(degrees) - ph))
    # They differ by 0.45 % at freezing, by 0.3 to 0.4 % where fish rooms are. The misprinted 2727.92 fails.
    assert un_ionised_share(degrees, ph) == pytest.approx(theirs, rel=0.005)


# ---- what must always hold -------------------------------------------------------------------------------


@given(COLD_TO_WARM, COLD_TO_WARM, SOUR_TO_BASIC, SOUR_TO_BASIC)
def test_warmer_and_more_basic_water_has_more_of_the_harmful_form(a, b, c, d):
    cold, warm = sorted((a, b))
    sour, basic = sorted((c, d))
    assert un_ionised_share(cold, sour) <= un_ionised_share(warm, basic)
    assert 0 < un_ionised_share(cold, sour) < 1
    assert most_total_ammonia(0.02, cold, sour) >= most_total_ammonia(0.02, warm, basic)


@given(COLD_TO_WARM)
def test_half_is_un_ionised_where_ph_is_pka(degrees):
    ph = pka(degrees)
    if 6 <= ph <= 10:
        assert un_ionised_share(degrees, ph) == pytest.approx(0.5)


@given(st.floats(0, 5), COLD_TO_WARM, SOUR_TO_BASIC)
def test_most_total_ammonia_holds_just_the_limit(limit, degrees, ph):
    total = most_total_ammonia(limit, degrees, ph)
    assert total * un_ionised_share(degrees, ph) == pytest.approx(limit)


# ---- what feed gives off ---------------------------------------------------------------------------------


def test_ammonia_of_a_published_farm():
    # Losordo & DeLong, Flow rate estimation for recirculating systems: 4,000 kg of fish fed 1.5 % of a feed with 40 %
    # protein; times 0.092 by hand = 2.208 kg a day.
    feed_g = 4_000_000 * 1.5 / 100
    assert total_ammonia_mg_per_day(feed_g, 0.40) == pytest.approx(2.208e6)


def test_ammonia_of_small_amounts():
    # By hand: 0.5 x 0.45 x 0.092 g = 20.70 mg; 10 x 0.50 x 0.092 g = 460 mg; a tenth of it dry: a tenth.
    assert total_ammonia_mg_per_day(0.5, 0.45) == pytest.approx(20.70)
    assert total_ammonia_mg_per_day(10, 0.50) == pytest.approx(460)
    assert total_ammonia_mg_per_day(10, 0.50, 0.10) == pytest.approx(46)


@pytest.mark.parametrize("protein", [0.30, 0.35, 0.40])
def test_ammonia_lies_between_a_rule_of_thumb_and_all_the_nitrogen(protein):
    # Extension sheets reckon 25 mg a gram of (pond) feed; protein / 6.25 is nitrogen (common practice).
    assert 25 <= total_ammonia_mg_per_day(1, protein) < 1000 * protein / 6.25


# ---- outside the ranges ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: pka(-0.1), r"water temperature must be from 0 to 50 degrees C \(got -0.1\)"),
        (lambda: pka(50.1), r"water temperature must be from 0 to 50 degrees C \(got 50.1\)"),
        (lambda: pka(nan), r"water temperature .* \(got nan\)"),
        (lambda: un_ionised_share(25, 5.9), r"pH must be from 6 to 10 \(got 5.9\)"),
        (lambda: un_ionised_share(25, 10.1), r"pH must be from 6 to 10 \(got 10.1\)"),
        (lambda: total_ammonia_mg_per_day(-1, 0.4), r"feed must be 0 g a day or more \(got -1\)"),
        (lambda: total_ammonia_mg_per_day(1, 45), r"share of protein must be from 0 to 1 \(got 45\)"),
        (lambda: total_ammonia_mg_per_day(1, 0.4, 1.2), r"dry share of the feed .* \(got 1.2\)"),
        (lambda: most_total_ammonia(-0.1, 25, 7), r"limit of un-ionised ammonia .* \(got -0.1\)"),
    ],
)
def test_outside_its_range_a_formula_is_refused(call, said):
    with pytest.raises(ValueError, match=said):
        call()
