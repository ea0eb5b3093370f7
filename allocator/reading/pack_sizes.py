"""Whether the figures of a rule pack are of a likely size: mm or cm, percent or share, C or F.

The ranges are judgement: wide enough for any fish that is bred in a fish room, narrow enough to catch a figure in
the wrong unit. Outside them a figure is only warned of.
"""

from collections.abc import Iterator
from typing import NamedTuple

from allocator.reading.pack_fault import Fault
from allocator.rules import RulePack


class Likely(NamedTuple):
    """From least to most; what may be the matter with a figure beyond each end."""

    least: float
    most: float
    if_less: str | None = None
    if_more: str | None = None


MM = Likely(1, 300, "is it in cm? write it in mm", "write it in mm, for small fish")
CELSIUS = Likely(4, 40, None, "is it in degrees F? write it in degrees C")
ZERO_MM = MM._replace(least=0)
DAYS = Likely(0, 1500, None, "write it in days")
SQUARE_CM = Likely(0.5, 2500, None, "is it in mm2? write it in cm2 for each fish")

LIKELY = {
    "hatch_mm": Likely(1, 15, "is it in cm? write it in mm", "write it in mm, at hatch or at birth"),
    "sale_mm": MM,
    "slow": MM,
    "typical": MM,
    "fast": MM,
    "from_mm": ZERO_MM,
    "better_from_mm": MM,
    "better_until_mm": MM,
    "until_mm": MM,
    "incubation_days": Likely(0, 730, None, "is it in hours? write it in days"),
    "age_days": DAYS,
    "until_age_days": DAYS,
    "from_days": DAYS,
    "until_days": DAYS,
    "spawns_from_days": DAYS,
    "clean_out_days": Likely(0, 60),
    "sell_within_days": Likely(0, 365),
    "mop_out_days": Likely(0, 365),
    "eggs_a_day": Likely(0.01, 2000, None, "is it a clutch? write it for each female and day"),
    "monthly_survival_after": Likely(0.05, 1, "is it the share that dies? write the share that lives"),
    "weight_a": Likely(0.001, 0.1, "write grams at a length of 1 cm", "write grams at a length of 1 cm"),
    "percent_of_weight": Likely(
        0.5, 60, "is it a share? write percent: 8 for 8 %", "percent of weight a day"
    ),
    "fish_per_litre": Likely(0.02, 1000, "is it litres for each fish? write fish a litre"),
    "grams_per_litre": Likely(0.05, 20, None, "write grams of fish in a litre of water"),
    "surface_cm2": SQUARE_CM,
    "unfiltered_surface_cm2": SQUARE_CM,
    "bottom_cm2": SQUARE_CM,
    "run_cm": Likely(10, 300, "write it in cm", "is it in mm? write it in cm"),
    "un_ionised_limit_mg_per_l": Likely(0.001, 0.1, None, "fish are harmed from about 0.05 mg a litre"),
    "least_oxygen_mg_per_l": Likely(2, 10, None, "is it in percent? write mg a litre"),
    "from_c": CELSIUS,
    "until_c": CELSIUS,
    "minutes": Likely(0, 240, None, "write minutes"),
    "length_ratio_limit": Likely(1, 4),
}
"""By the last word of a figure's name that is in the list."""


def size_faults(pack: RulePack) -> Iterator[Fault]:
    """Yield the figures of a pack that are unlikely, each with what may be the matter."""
    for name, figure in pack.figures():
        likely = next((LIKELY[part] for part in reversed(name.split(".")) if part in LIKELY), None)
        # What is not above 0 is an error elsewhere, or stands for none.
        if (name.startswith("flow.") and name.endswith((".comfort", ".limit"))) or likely is None:
            continue
        if 0 < figure.value < likely.least:
            yield _fault(name, figure.value, figure.unit, likely, likely.if_less)
        elif figure.value > likely.most:
            yield _fault(name, figure.value, figure.unit, likely, likely.if_more)


def _fault(name: str, value: float, unit: str, likely: Likely, hint: str | None) -> Fault:
    usual = f"usual is {likely.least:g} to {likely.most:g}"
    return Fault(name, f"is an unlikely {value:g} {unit} ({usual})", hint, mild=True)
