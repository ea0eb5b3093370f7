"""How many fish, how long and how much of a vessel, for each day since collection: once for each rule pack.

The planner's own tables are not used: rooms must stay the same when these change.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from pathlib import Path

from allocator.husbandry.life import Life
from allocator.husbandry.stages import earliest_entry, latest_entry, sale_day
from allocator.husbandry.stocking import SUMMED_CAPS, shares_of_one
from allocator.problems import Problems
from allocator.reading.packs import load_pack
from allocator.room import Brood, CollectedBy, Keeper, Vessel
from allocator.rules import RulePack, VesselKind

SATURDAY = 5
TODAY = date(2030, 1, 5)
"""A Saturday, on which all rooms of the benchmark begin."""

INTO_WINDOW = 0.35
"""How far into the window of a stage a brood is taken to move when vessels are counted (judgement)."""

DAYS_AFTER_READY = 7
"""Days for which fish stay after they are long enough, when vessels are counted (judgement)."""

DAYS_UNTIL_MOVED = 14
"""Days after the first on which young could leave their box, for which they must fit it (a holiday: 12 days)."""

NEARLY_FULL = 0.95

KINDS = (VesselKind.HATCHERY, VesselKind.REARING, VesselKind.GROW_OUT)


@cache
def pack_named(name: str) -> RulePack:
    """Return a shipped rule pack."""
    problems = Problems("benchmark")
    loaded = load_pack(name, relative_to=Path(), problems=problems, line=1)
    assert loaded is not None, [str(problem) for problem in problems.found]
    return loaded[0]


def life_of(brood: Brood, rules: RulePack) -> Life:
    """Return the forecast of a brood, for a keeper who plans on what is expected."""
    return Life(brood, rules, Keeper(move_days=(SATURDAY,)))


@dataclass(frozen=True)
class Ages:
    """One kind of fish by days since collection.

    Attributes
    ----------
    enters
        The day on which each stage is taken to begin.
    kinds
        The kind of vessel that each stage is counted for: the first that the pack names.
    sale_days
        Days until fish with room are long enough to sell.
    mm
        Length on each day.
    share
        For each kind of vessel and day: how much of one the fish of a single egg take.
    """

    enters: tuple[int, ...]
    kinds: tuple[VesselKind, ...]
    sale_days: int
    mm: tuple[float, ...]
    share: dict[VesselKind, tuple[float, ...]]

    def stage_on(self, days: int) -> int:
        """Return the stage so many days after collection."""
        return max(stage for stage, begins in enumerate(self.enters) if begins <= days)


def ages_of(rules: RulePack, vessels: dict[VesselKind, Vessel]) -> Ages:
    """Return the ages of one kind of fish, with a vessel to count in for each kind."""
    eggs = 1000
    brood = Brood(name="any", line="any", collected=TODAY, by=CollectedBy.PICKING, eggs=eggs, planned=True)
    life = life_of(brood, rules)
    sale_days = (sale_day(life) - TODAY).days
    days = [TODAY + timedelta(days=n) for n in range(sale_days + DAYS_AFTER_READY + 1)]
    mm = tuple(life.length_mm(day) for day in days)
    heads = [life.heads(day) / eggs for day in days]
    return Ages(
        enters=tuple((nominal_entry(life, number) - TODAY).days for number in range(len(rules.stages))),
        kinds=tuple(stage.kinds[0] for stage in rules.stages),
        sale_days=sale_days,
        mm=mm,
        share={
            kind: tuple(
                head * share_of_one(length, vessel, rules) for head, length in zip(heads, mm, strict=True)
            )
            for kind, vessel in vessels.items()
        },
    )


def most_eggs(rules: RulePack, box: Vessel) -> int:
    """Return how many eggs may be collected at once, so that the young fit one box until they can be moved."""
    eggs = 1000
    brood = Brood(name="any", line="any", collected=TODAY, by=CollectedBy.PICKING, eggs=eggs, planned=True)
    life = life_of(brood, rules)
    days = (earliest_entry(life, rules.stages[1]) - TODAY).days + DAYS_UNTIL_MOVED
    there = [TODAY + timedelta(days=n) for n in range(days)]
    fullest = max(life.heads(day) * share_of_one(life.length_mm(day), box, rules) for day in there)
    return int(NEARLY_FULL * eggs / fullest)


def nominal_entry(life: Life, stage: int) -> date:
    """Return the day on which a brood is taken to enter a stage when vessels are counted."""
    rule = life.rules.stages[stage]
    first, last = earliest_entry(life, rule), latest_entry(life, rule)
    return first + timedelta(days=round(INTO_WINDOW * (last - first).days))


def share_of_one(mm: float, vessel: Vessel, rules: RulePack) -> float:
    """Return how much of a vessel one fish takes, by the cap that it uses up most (run left out)."""
    shares = shares_of_one(mm, vessel, rules)
    return max((shares[cap][1] for cap in SUMMED_CAPS if cap in shares), default=0.0)
