"""The unit of every figure of a rule pack, by its name."""

UNIT_IN_NAME = {
    "incubation_days": "days",
    "until_age_days": "days",
    "hatch_mm": "mm",
    "age_days": "days",
    "from_mm": "mm",
    "fish_per_litre": "fish a litre",
    "grams_per_litre": "g a litre",
    "surface_cm2": "cm2 a fish",
    "unfiltered_surface_cm2": "cm2 a fish",
    "run_cm": "cm",
    "percent_of_weight": "% of weight a day",
    "from_days": "days",
    "better_from_mm": "mm",
    "better_until_mm": "mm",
    "until_mm": "mm",
    "clean_out_days": "days",
    "sale_mm": "mm",
    "sell_within_days": "days",
    "mop_out_days": "days",
    "spawns_from_days": "days",
    "eggs_a_day": "eggs a female a day",
    "degree_days": "degree-days",
    "base_c": "degrees C",
    "from_c": "degrees C",
    "until_c": "degrees C",
    "bottom_cm2": "cm2 a fish",
    "un_ionised_limit_mg_per_l": "mg N a litre",
    "least_oxygen_mg_per_l": "mg a litre",
    "from_collection_days": "days",
    "until_days": "days",
    "every_days": "days",
    "minutes": "minutes",
    "egg_picking_minutes_a_week": "minutes a week",
    "feeding_minutes_a_day": "minutes a day",
    "water_change_minutes_a_week": "minutes a week",
}
"""Fields whose name says the unit; the file need not repeat it."""

UNIT_TO_SAY = {
    "hatch_share": "share",
    "share": "share",
    "monthly_survival_after": "share a month",
    "slow": "mm",
    "typical": "mm",
    "fast": "mm",
    "weight_a": "g at 1 cm",
    "weight_b": "power of length",
    "slowed_to": "share of full pace",
    "slowed_when_full": "share of full pace",
    "feed_protein_share": "share",
    "length_ratio_warn": "longest to shortest",
    "length_ratio_limit": "longest to shortest",
}
"""Fields whose unit the file must say."""

SETTING = "setting"

UNITS = {*UNIT_IN_NAME.values(), *UNIT_TO_SAY.values(), SETTING}


def unit_of(path: str) -> tuple[str, bool]:
    """Return the unit of a figure by its dotted name, and whether a pack file must say it."""
    if path.startswith("flow.") and path.endswith((".comfort", ".limit")):
        return SETTING, False
    for name in reversed(path.split(".")):
        if name in UNIT_IN_NAME:
            return UNIT_IN_NAME[name], False
        if name in UNIT_TO_SAY:
            return UNIT_TO_SAY[name], True
    raise KeyError(path)
