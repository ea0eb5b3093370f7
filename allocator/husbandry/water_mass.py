"""What water weighs."""

from allocator.husbandry.ranges import must_lie

COLDEST_C, WARMEST_C = 0.0, 40.0
"""Range of Tanaka et al. 2001, from its title."""

HEAVIEST_KG_PER_M3 = 999.974950
HEAVIEST_AT_C = 3.983035
_ADDED_C = 301.797
_DIVISOR_C2 = 522528.9
_DIVISOR_ADDED_C = 69.34881
"""
All five: Tanaka, Girard, Davis, Peuto & Bignell 2001, Metrologia 38:301-309, as transcribed in public
documentation (the paper itself not seen). Pure water without air, at 1 atm.
"""

LITRES_PER_M3 = 1000.0


def density_kg_per_l(temperature_c: float) -> float:
    """Return the weight of a litre of fresh water, kg: never above 1.

    Parameters
    ----------
    temperature_c
        0 to 40 degrees C.

    Raises
    ------
    ValueError
        Outside that range.

    Source
    ------
    Tanaka et al. 2001, see `HEAVIEST_KG_PER_M3`. Salts in tap water add less than a thousandth (from memory).
    """
    must_lie("water temperature", temperature_c, COLDEST_C, WARMEST_C, "degrees C")
    away = (temperature_c - HEAVIEST_AT_C) ** 2
    lost = away * (temperature_c + _ADDED_C) / (_DIVISOR_C2 * (temperature_c + _DIVISOR_ADDED_C))
    return HEAVIEST_KG_PER_M3 * (1 - lost) / LITRES_PER_M3
