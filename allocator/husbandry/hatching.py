"""How long eggs take to hatch at the temperature of the room."""

from allocator.rules import Band, Evidence, Figure, RulePack

DAYS_KEPT = 9
"""Decimals of a number of days that are kept: what is beyond is float dust, and would cost a whole day."""


def incubation_at(temperature_c: float, rules: RulePack, origin: str) -> Band | None:
    """Return the days from laying to hatch at a temperature, by the degree-days of the pack.

    Parameters
    ----------
    temperature_c
        Of the water that the eggs are in, degrees C.
    rules
        A pack; its `incubation_days` are not looked at.
    origin
        The file that states the temperature.

    Returns
    -------
    Band or None
        None where the pack has no degree-days, or the temperature lies outside those for which they hold: what
        is known of eggs is not carried further.

    Source
    ------
    Derived: days = degree-days / (temperature - base). The degree-days as in the pack.
    """
    sums = rules.degree_days
    if sums is None or not sums.from_c.value <= temperature_c <= sums.until_c.value:
        return None
    base = sums.base_c.value
    if temperature_c <= base:
        return None

    def days(degree_days: Figure) -> Figure:
        value = round(degree_days.value / (temperature_c - base), DAYS_KEPT)
        source = f"{degree_days.value:g} degree-days / ({temperature_c:g} - {base:g}) C = {value:.1f} days"
        unit = rules.incubation_days.expected.unit
        return Figure(value=value, unit=unit, evidence=Evidence.DERIVED, source=source, origin=origin)

    return Band(low=days(sums.low), expected=days(sums.expected), high=days(sums.high))
