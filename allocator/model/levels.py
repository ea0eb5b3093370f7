"""The levels as they are told: what each search counts, and what came of it."""

from allocator.result import LevelOutcome

COUNTED: dict[str, tuple[tuple[int, str, str, str, int], ...]] = {
    "homeless": ((1, "fish without a home", "fish-days", "homeless_fish_days", 1),),
    "cost": ((1, "cost of added tanks", "price", "added_cost", 1),),
    "strain": ((2, "strain", "points", "strain", 1),),
    "change": ((3, "change to the plan in hand", "points", "change", 1),),
    "handling": (
        (4, "handlings", "moves", "handlings", 10**9),
        (4, "days with moves", "days", "move_days", 10**6),
        (4, "vessel-days in use", "days", "vessel_days", 1),
    ),
}
"""What each search counts: level, name, unit, field of `Score`, weight. Within level 4 the weights are so far
apart that no sum of a lower count reaches one of the next (a year of 1,000 vessels is 365,000 vessel-days), so
that one search settles all three in order."""


def outcome(
    level: int, name: str, unit: str, value: float, bound: float, *, proven: bool | None = None
) -> LevelOutcome:
    """Return one level as it is told; proven where value and bound meet, unless that is said."""
    return LevelOutcome(
        level=level,
        name=name,
        unit=unit,
        value=value,
        bound=min(bound, value),
        proven=bound >= value if proven is None else proven,
    )
