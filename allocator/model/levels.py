"""The levels as they are told: what each search counts, and what came of it."""

from collections.abc import Mapping

from allocator.model.settled import Score
from allocator.result import LevelOutcome

COST = "cost of added tanks"
NOT_TAKEN = "collections not taken"

COUNTED: dict[str, tuple[tuple[int, str, str, str, int], ...]] = {
    "homeless": ((1, "fish without a home", "fish-days", "homeless_fish_days", 1),),
    "cost": ((1, COST, "price", "added_cost", 1),),
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


def homeless_outcome(fish_days: int) -> LevelOutcome:
    """Return level 1 as it is told where nothing is known of a bound: proven only when nobody is without a home."""
    level, name, unit, _, _ = COUNTED["homeless"][0]
    return outcome(level, name, unit, fish_days, 0)


def not_taken_outcome(number: int, bound: int = 0) -> LevelOutcome:
    """Return as it is told how many collections are not taken, of those that need not be."""
    return outcome(1, NOT_TAKEN, "collections", number, bound)


def as_counted(
    levels: list[LevelOutcome], score: Score, not_taken: int = 0, *, proven: bool
) -> list[LevelOutcome]:
    """Return the levels with the values of a solution: of one that is not the one they were found with, maybe.

    What was proven stays so only where `proven` is asked for and the value still meets the bound.
    """
    fields = {name: value for rows in COUNTED.values() for _, name, _, value, _ in rows}
    counted = []
    for level in levels:
        if level.name == NOT_TAKEN:
            value = float(not_taken)
        else:
            value = getattr(score, fields[level.name]) / (100 if level.name == COST else 1)
        same = proven and level.proven and value <= level.value
        counted.append(
            level.model_copy(update={"value": value, "bound": min(level.bound, value), "proven": same})
        )
    return counted


def without_bounds(
    levels: list[LevelOutcome], least_cost: float, at_least: Mapping[str, int]
) -> list[LevelOutcome]:
    """Return the levels with only what holds for every plan: nothing below zero, a least cost, and `at_least`.

    For what was found with sales put off: its bounds hold for plans that sell as late, not for all.
    """
    known = {
        name: float(at_least.get(value, 0)) for rows in COUNTED.values() for _, name, _, value, _ in rows
    }
    known[COST] = max(least_cost, at_least.get("added_cost", 0) / 100)
    return [
        outcome(level.level, level.name, level.unit, level.value, known.get(level.name, 0.0))
        for level in levels
    ]
