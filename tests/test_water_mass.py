"""The weight of water against an independent library and a printed table."""

from math import nan

import gsw
import pytest
from hypothesis import given
from hypothesis import strategies as st

from allocator.husbandry.water_mass import density_kg_per_l

# Kg a cubic metre by degrees C: a table reprinted in many places (here from a public question page); its own rounding and
# an older scale of temperature put it up to 0.0034 away from Tanaka et al. 2001.
PRINTED = {
    0: 999.8395,
    4: 999.9720,
    10: 999.7026,
    15: 999.1026,
    20: 998.2071,
    22: 997.7735,
    25: 997.0479,
    30: 995.6502,
}


@pytest.mark.parametrize(("degrees", "kg_per_m3"), PRINTED.items())
def test_density_is_that_of_a_printed_table(degrees, kg_per_m3):
    assert 1000 * density_kg_per_l(degrees) == pytest.approx(kg_per_m3, abs=3.5e-3)


@pytest.mark.parametrize("degrees", range(41))
def test_density_is_that_of_another_library(degrees):
    # gsw: TEOS-10, fitted apart from Tanaka et al.; they differ by up to 0.0012 kg a cubic metre.
    theirs = gsw.rho_t_exact(0, degrees, 0)
    assert 1000 * density_kg_per_l(degrees) == pytest.approx(theirs, abs=1.5e-3)


def test_a_gallon_weighs_what_people_say():
    # From memory: 8.34 lb a US gallon in cool water; the imperial gallon was made to hold 10 lb at 62 F (16.67 C),
    # weighed in air, which takes off 0.1 %.
    lb_per_us_gal = density_kg_per_l(4) * 3.785411784 / 0.45359237
    assert lb_per_us_gal == pytest.approx(8.34, abs=6e-3)
    lb_per_imperial_gal = density_kg_per_l(16.67) * 4.54609 / 0.45359237
    assert lb_per_imperial_gal == pytest.approx(10, rel=2e-3)


@given(st.floats(0, 40))
def test_a_kilogram_a_litre_is_never_too_little_and_not_far_too_much(degrees):
    # So weights reckoned with 1.0 kg a litre err on the heavy side, by less than 0.8 %.
    assert 0.992 < density_kg_per_l(degrees) <= 1.0


@given(st.floats(4, 40), st.floats(4, 40))
def test_warm_water_is_lighter(a, b):
    cool, warm = sorted((a, b))
    assert density_kg_per_l(warm) <= density_kg_per_l(cool)


@pytest.mark.parametrize("degrees", [-0.1, 40.1, nan])
def test_outside_its_range_the_formula_is_refused(degrees):
    with pytest.raises(ValueError, match=r"water temperature must be from 0 to 40 degrees C \(got "):
        density_kg_per_l(degrees)
