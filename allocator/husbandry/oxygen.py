"""Oxygen: how much water holds, how much resting fish use, and what a fall in it does to a load of fish."""

from math import exp

from allocator.husbandry.ranges import must_be_above, must_lie

KELVIN_AT_0_C = 273.15
"""Exact by definition of the degree Celsius."""

COLDEST_C, WARMEST_C = 0.0, 40.0
"""Range of Benson & Krause 1984, as stated in documentation of public code that uses it."""

LOWEST_ATM, HIGHEST_ATM = 0.5, 1.1
"""Range of the pressure form, as stated in documentation of public code that uses Benson & Krause 1984."""

SATURATION = (-139.34411, 1.575701e5, -6.642308e7, 1.243800e10, -8.621949e11)
"""
ln of mg a litre against 1/T, T in kelvin, fresh water, air at 1 atm and full of water vapour: Benson & Krause
1984, Limnol. Oceanogr. 29:620-632, as transcribed alike in several public documents (the paper itself not seen).
"""

VAPOUR = (11.8571, -3840.70, -216961.0)
"""ln of the pressure of water vapour in atm against 1/T, T in kelvin: as for `SATURATION`."""

NON_IDEAL = (0.000975, -1.426e-5, 6.436e-8)
"""How far oxygen departs from an ideal gas, for each atm, against degrees C: as for `SATURATION`."""

DEMAND_FIXED, DEMAND_PER_KILOKELVIN = 15.7, 5.02
"""
ln of mmol of oxygen an hour = 15.7 - 5.02 / T, T in thousands of kelvin, for a resting fish of 50 g: Clarke &
Johnston 1999, J. Anim. Ecol. 68:893-905 (abstract): 69 species of bony fish past the larva.
"""

DEMAND_WEIGHT_G = 50.0
"""The weight to which Clarke & Johnston 1999 brought all fish before fitting the temperature (abstract)."""

DEMAND_EXPONENT = 0.80
"""
Demand goes with weight to this power, all fish taken together: Clarke & Johnston 1999 (abstract), who give 0.79 as
the mean of the species. For reef fish of 0.04 to 40 g at 28 to 30 degrees C 0.633 was found (Nilsson &
Ostlund-Nilsson 2004, in J. Exp. Biol. 210:1673, figure 9, legend): then fry use more than is said here.
"""

DEMAND_COLDEST_C, DEMAND_WARMEST_C = 0.0, 30.0
"""Range for which Clarke & Johnston 1999 state what their formula gives (abstract); the fish spanned about 40."""

DEMAND_SMALLEST_G = 1.0
"""Judgement: the abstract says "post-larval" and no smallest weight, so smaller fish count as beyond the data."""

MG_PER_MMOL = 31.9988
"""Mass of O2 from the standard atomic weight of oxygen, 15.9994 (IUPAC), times 2."""


def saturation_mg_per_l(temperature_c: float, pressure_atm: float = 1.0) -> float:
    """Return the oxygen that fresh water holds when it is in balance with damp air, mg a litre.

    Water with fish in it holds less.

    Parameters
    ----------
    temperature_c
        0 to 40 degrees C.
    pressure_atm
        Pressure of the air where the tank stands (not brought to sea level), 0.5 to 1.1 atm.

    Raises
    ------
    ValueError
        Outside these ranges.

    Source
    ------
    Benson & Krause 1984, see `SATURATION`.
    """
    must_lie("water temperature", temperature_c, COLDEST_C, WARMEST_C, "degrees C")
    must_lie("air pressure", pressure_atm, LOWEST_ATM, HIGHEST_ATM, "atm")
    per_kelvin = 1 / (temperature_c + KELVIN_AT_0_C)
    at_1_atm = exp(sum(part * per_kelvin**power for power, part in enumerate(SATURATION)))
    vapour = exp(sum(part * per_kelvin**power for power, part in enumerate(VAPOUR)))
    bent = sum(part * temperature_c**power for power, part in enumerate(NON_IDEAL))
    # Oxygen follows the pressure of the dry air, and a trace less, since it is no ideal gas.
    dry_air = (pressure_atm - vapour) / (1 - vapour)
    return float(at_1_atm * dry_air * (1 - bent * pressure_atm) / (1 - bent))


def demand_mg_per_hour(weight_g: float, temperature_c: float) -> float:
    """Return the oxygen that one resting fish uses, mg an hour.

    Fed and active fish use two to three times as much (from memory). The mean of many species: one species can
    differ by half and more. Fry, and small fish in general, are beyond the data: see `is_extrapolated`, and say
    so wherever the figure is shown.

    Parameters
    ----------
    weight_g
        Wet weight of one fish, above 0.
    temperature_c
        0 to 40 degrees C; between 30 and 40 the figure is beyond what the source states.

    Raises
    ------
    ValueError
        Outside these ranges.

    Source
    ------
    Clarke & Johnston 1999, see `DEMAND_FIXED`. That temperature and weight act apart from each other is ours.
    """
    must_be_above("weight of a fish", weight_g, 0, "g")
    must_lie("water temperature", temperature_c, COLDEST_C, WARMEST_C, "degrees C")
    kilokelvin = (temperature_c + KELVIN_AT_0_C) / 1000
    mmol = exp(DEMAND_FIXED - DEMAND_PER_KILOKELVIN / kilokelvin)
    return float(mmol * (weight_g / DEMAND_WEIGHT_G) ** DEMAND_EXPONENT * MG_PER_MMOL)


def is_extrapolated(weight_g: float, temperature_c: float) -> bool:
    """Return whether a demand for oxygen lies beyond the data that it was drawn from.

    Parameters
    ----------
    weight_g
        Wet weight of one fish; below 1 g counts as beyond, see `DEMAND_SMALLEST_G`.
    temperature_c
        Degrees C; outside 0 to 30 counts as beyond, see `DEMAND_COLDEST_C`.
    """
    warm_enough = DEMAND_COLDEST_C <= temperature_c <= DEMAND_WARMEST_C
    return not (weight_g >= DEMAND_SMALLEST_G and warm_enough)


def load_factor(oxygen_now: float, oxygen_before: float, oxygen_least: float) -> float:
    """Return the share of a load of fish that the oxygen above a least level still carries.

    1 is as much as before, 0 is nothing: the oxygen is at the least level or under it. Above 1 when there is
    more oxygen than before.

    Parameters
    ----------
    oxygen_now, oxygen_before
        Oxygen in the water that comes in, mg a litre, now and when the load was right.
    oxygen_least
        The least that the fish are to have, mg a litre, below `oxygen_before`.

    Raises
    ------
    ValueError
        If a level is below 0, or there was nothing above the least level before.

    Source
    ------
    The correction of a flow index in Piper et al. 1982, Fish Hatchery Management, US Fish and Wildlife Service,
    p. 70: for trout in flowing water, where oxygen comes in with the water.
    """
    must_lie("oxygen now", oxygen_now, 0, unit="mg a litre")
    must_lie("least oxygen", oxygen_least, 0, unit="mg a litre")
    must_be_above("oxygen before", oxygen_before, oxygen_least, "mg a litre")
    return max(0.0, (oxygen_now - oxygen_least) / (oxygen_before - oxygen_least))
