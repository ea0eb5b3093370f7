"""How water as it is measured and days of laying are read, with a hint for each usual slip."""

from contextlib import suppress

from allocator.reading.fields import (
    DAYS,
    NAME,
    Reads,
    WrongValueError,
    number,
    number_hint,
    read_name,
    read_number,
)
from allocator.units import NotReadError, read_days

# Bounds that no real room leaves (judgement): they catch a slipped decimal point, nothing finer.
COLDEST_C, WARMEST_C = 5.0, 40.0
LOWEST_PH, HIGHEST_PH = 4.0, 10.0
LEAST_CHANGE_PERCENT, MOST_CHANGE_PERCENT = 1.0, 100.0
MOST_LAID_OVER_DAYS = 14

LIKELY_FAHRENHEIT = (50.0, 104.0)
"""Water of a fish room in degrees F; the same numbers in degrees C would be far too warm (judgement)."""


def _read_temperature_c(value: object) -> float:
    if isinstance(value, str):
        hint = number_hint(value, "degrees C") or "write for example temperature_c: 25"
        raise WrongValueError("must be a number, in degrees C", hint=hint)
    try:
        return read_number(value, COLDEST_C, WARMEST_C, unit="degrees C")
    except WrongValueError as error:
        lowest, highest = LIKELY_FAHRENHEIT
        if isinstance(value, int | float) and lowest <= value <= highest:
            celsius = round((float(value) - 32) * 5 / 9, 1)
            hint = f"{value:g} degrees F are {celsius:g} degrees C"
            raise WrongValueError(error.what, hint=hint) from None
        raise


def _read_change_percent(value: object) -> float:
    try:
        return read_number(value, LEAST_CHANGE_PERCENT, MOST_CHANGE_PERCENT, unit="percent")
    except WrongValueError as error:
        if isinstance(value, float) and 0 < value < 1:
            hint = f"a part of {value:g} is {value * 100:.9g} percent"
            raise WrongValueError(error.what, hint=hint) from None
        if value == 0:
            raise WrongValueError(error.what, hint="if no water is changed, leave it out") from None
        raise


def _read_ph(value: object) -> float:
    try:
        return read_number(value, LOWEST_PH, HIGHEST_PH)
    except WrongValueError as error:
        hint = error.hint
        if isinstance(value, int | float) and not isinstance(value, bool):
            hint = "measure it again, or leave it out"
        raise WrongValueError(error.what, hint=hint) from None


def _read_change_days(value: object) -> object:
    try:
        return DAYS.read(value)
    except NotReadError as error:
        if value == 0:
            raise WrongValueError(error.what, hint="if no water is changed, leave it out") from None
        raise


def _read_laid_over(value: object) -> int:
    try:
        return int(read_number(value, 1, MOST_LAID_OVER_DAYS, whole=True, unit="days"))
    except WrongValueError as error:
        hint = error.hint
        if isinstance(value, str):
            with suppress(NotReadError):
                hint = f"write {read_days(value)}"
        elif isinstance(value, int) and not isinstance(value, bool):
            hint = f"enter what was laid over more than {MOST_LAID_OVER_DAYS} days as two collections"
            if value < 1:
                hint = "leave it out, or write 1, for eggs of one day"
        raise WrongValueError(error.what, hint=hint) from None


def _read_parents(value: object) -> str:
    if isinstance(value, list):
        raise WrongValueError("must be text", hint="name one group")
    return read_name(value)


TEMPERATURE = Reads(
    _read_temperature_c,
    {
        "type": "number",
        "minimum": COLDEST_C,
        "maximum": WARMEST_C,
        "description": "degrees Celsius",
    },
)
CHANGE_PERCENT = Reads(
    _read_change_percent,
    {"type": "number", "minimum": LEAST_CHANGE_PERCENT, "maximum": MOST_CHANGE_PERCENT},
)
CHANGE_DAYS = Reads(_read_change_days, DAYS.schema)
PH = Reads(_read_ph, number(LOWEST_PH, HIGHEST_PH).schema)
LAID_OVER = Reads(_read_laid_over, number(1, MOST_LAID_OVER_DAYS, whole=True).schema)
PARENTS = Reads(_read_parents, NAME.schema)
