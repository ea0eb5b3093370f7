"""Formulas hold where they were fitted; outside they are refused, with the reason in a sentence."""

from math import inf, isfinite


def must_lie(what: str, value: float, low: float, high: float = inf, unit: str = "") -> None:
    """Refuse a value outside a range, ends included; what is no number at all is refused too.

    Parameters
    ----------
    what
        The quantity in plain words, such as `temperature`.
    value, low, high
        In the same unit; `high` may be left out when there is no upper end.
    unit
        As it is to be printed, such as `degrees C`; empty for a pure number.

    Raises
    ------
    ValueError
        Names the quantity, the value and the range.
    """
    if isfinite(value) and low <= value <= high:
        return
    after = f" {unit}" if unit else ""
    wanted = f"from {low:g} to {high:g}{after}" if isfinite(high) else f"{low:g}{after} or more"
    raise ValueError(f"{what} must be {wanted} (got {value:g})")


def must_be_above(what: str, value: float, low: float, unit: str = "") -> None:
    """Refuse a value that is not above a bound, or no number at all.

    Raises
    ------
    ValueError
        Names the quantity, the value and the bound.
    """
    if isfinite(value) and value > low:
        return
    raise ValueError(f"{what} must be above {low:g}{f' {unit}' if unit else ''} (got {value:g})")
