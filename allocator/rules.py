"""What a rule pack says: the figures of one kind of fish, each with its evidence beside it.

All lengths are total length in mm, all ages in days after hatch unless the name says otherwise.
"""

from collections.abc import Iterator
from enum import IntEnum, StrEnum
from functools import cached_property

from allocator.frozen import Frozen


class Evidence(StrEnum):
    """Where a number comes from, from the strongest to the weakest."""

    PUBLISHED = "published"
    DERIVED = "derived"
    COMMON = "common practice"
    MEMORY = "from memory"
    KEEPER = "keeper's own"


class FlowSetting(IntEnum):
    """How strongly the water moves, in steps a keeper can set at an air valve."""

    STILL = 0
    GENTLE = 1
    NORMAL = 2
    STRONG = 3

    @property
    def word(self) -> str:
        """The setting in one plain word."""
        return self.name.lower()


class VesselKind(StrEnum):
    """What a vessel is for."""

    HATCHERY = "hatchery"
    REARING = "rearing"
    GROW_OUT = "grow-out"
    BREEDING = "breeding"
    EGG_STORE = "egg store"


class Estimate(StrEnum):
    """Which end of a band the keeper plans on."""

    LOW = "low"
    EXPECTED = "expected"
    HIGH = "high"


class GrowthPace(StrEnum):
    """Which of the three growth curves the keeper plans on."""

    SLOW = "slow"
    TYPICAL = "typical"
    FAST = "fast"


class Figure(Frozen):
    """One number with its unit and its evidence.

    `origin` names the file that the number came from: a pack, the keeper's own pack or the room file.
    """

    value: float
    unit: str
    evidence: Evidence
    source: str
    origin: str


def _value_of(part: Frozen, word: Estimate | GrowthPace) -> float:
    figure: Figure = getattr(part, word.value)
    return figure.value


class Band(Frozen):
    """A low, an expected and a high value of the same quantity (low <= expected <= high)."""

    low: Figure
    expected: Figure
    high: Figure

    def at(self, estimate: Estimate) -> float:
        """Return the value at one end of the band or in its middle."""
        return _value_of(self, estimate)


class Level(Frozen):
    """A comfort level and a limit. The limit is a planning limit, never a target."""

    comfort: Figure
    limit: Figure


class SurvivalStep(Frozen):
    """The share that lives through the days since the step before (or since hatch)."""

    until_age_days: Figure
    share: Band


class LengthPoint(Frozen):
    """Length on one age, on three curves: slow <= typical <= fast, each rising with age."""

    age_days: Figure
    slow: Figure
    typical: Figure
    fast: Figure

    def at(self, pace: GrowthPace) -> float:
        """Return the length in mm on one of the curves."""
        return _value_of(self, pace)


class Adult(Frozen):
    """The length towards which fish of each curve go on growing: slow <= typical <= fast."""

    slow: Figure
    typical: Figure
    fast: Figure

    def at(self, pace: GrowthPace) -> float:
        """Return the adult length in mm on one of the curves."""
        return _value_of(self, pace)


class DegreeDays(Frozen):
    """The warmth that eggs need until they hatch: days times degrees above `base_c`.

    Holds between `from_c` and `until_c` only; nothing is known outside.
    """

    low: Figure
    expected: Figure
    high: Figure
    base_c: Figure
    from_c: Figure
    until_c: Figure


class RoomStep(Frozen):
    """Caps for fish from one length up to the next step. A cap that is None does not apply.

    fish_per_litre
        Fish (or eggs) in a litre of water, at most.
    grams_per_litre
        Wet weight in a litre of water, at most.
    surface_cm2
        Water surface for each fish, at least.
    unfiltered_surface_cm2
        The same, where the vessel has no filter.
    bottom_cm2
        Floor of the vessel for each fish, at least: for fish that live on it.
    run_cm
        Inside length of the vessel, at least.
    """

    from_mm: Figure
    fish_per_litre: Level | None = None
    grams_per_litre: Level | None = None
    surface_cm2: Level | None = None
    unfiltered_surface_cm2: Level | None = None
    bottom_cm2: Level | None = None
    run_cm: Level | None = None


class FeedStep(Frozen):
    """Dry feed a day, in percent of wet weight, for fish from this length up to the next step."""

    from_mm: Figure
    percent_of_weight: Figure


class FlowStep(Frozen):
    """The strongest setting that fish from this length up to the next step bear.

    `comfort` and `limit` hold FlowSetting values, unit "setting".
    """

    from_mm: Figure
    comfort: Figure
    limit: Figure


class StageRule(Frozen):
    """One stage of a life in the room, and when a lot may move into it.

    The first stage is entered on the day of collection and has no window. A lot moves into a later stage
    no earlier than `from_mm` and `from_days`, better between `better_from_mm` and `better_until_mm`, and no
    later than `until_mm`. `alone` keeps other broods out for the whole stage. Only the first stage can be spent
    `with_parents`: in the vessel of the breeding group, which guards its young.
    """

    name: str
    kinds: tuple[VesselKind, ...]
    alone: bool
    may_skip: bool
    with_parents: bool = False
    from_days: Figure | None = None
    from_mm: Figure | None = None
    better_from_mm: Figure | None = None
    better_until_mm: Figure | None = None
    until_mm: Figure | None = None


class GrowthRoom(Frozen):
    """What slows growth: a short vessel and company.

    Fish longer than `from_mm` grow at `slowed_to` of their pace in a vessel shorter than `run_cm`. Up to the
    comfort level company slows nobody; from there on growth falls evenly, to `slowed_when_full` at the limit.
    """

    from_mm: Figure
    run_cm: Figure
    slowed_to: Figure
    slowed_when_full: Figure


class WaterRule(Frozen):
    """What the water must be like.

    Attributes
    ----------
    from_c, until_c
        Temperatures between which the figures of the pack hold.
    un_ionised_limit_mg_per_l
        The most un-ionised ammonia that is planned for, as nitrogen.
    least_oxygen_mg_per_l
        Dissolved oxygen, at least.
    feed_protein_share
        Protein in the dry feed.
    """

    from_c: Figure
    until_c: Figure
    un_ionised_limit_mg_per_l: Figure
    least_oxygen_mg_per_l: Figure
    feed_protein_share: Figure


class CareStep(Frozen):
    """A task that a brood needs, apart from moves: once, or every so many days.

    It begins `from_collection_days` after collection, `from_days` after hatch or at `from_mm`, and goes on
    until `until_days` after hatch or `until_mm`, or until the brood is sold. The days are those of the plan.

    Attributes
    ----------
    name
        Short, by which a keeper changes its figures.
    task
        What to do, as it is printed in the schedule.
    every_days
        None: once.
    minutes
        Each time, for each vessel that the brood lives in. None: it takes no time of its own.
    with_parents
        Only for as long as the young are with the parents that guard them, as in a stage `with_parents`.
    """

    name: str
    task: str
    from_collection_days: Figure | None = None
    from_days: Figure | None = None
    from_mm: Figure | None = None
    until_days: Figure | None = None
    until_mm: Figure | None = None
    every_days: Figure | None = None
    minutes: Figure | None = None
    with_parents: bool = False


class Upkeep(Frozen):
    """The keeper's time for what goes on all the year: each breeding group, each vessel in use."""

    egg_picking_minutes_a_week: Figure
    feeding_minutes_a_day: Figure
    water_change_minutes_a_week: Figure


class RulePack(Frozen):
    """All the figures of one kind of fish."""

    name: str
    about: str
    origin: str
    eggs_need_snail_free: bool
    eggs_a_day: Band
    spawns_from_days: Figure
    incubation_days: Band
    hatch_share: Band
    survival: tuple[SurvivalStep, ...]
    monthly_survival_after: Band
    hatch_mm: Figure
    length: tuple[LengthPoint, ...]
    adult_mm: Adult
    weight_a: Figure
    weight_b: Figure
    room: tuple[RoomStep, ...]
    feed: tuple[FeedStep, ...]
    flow: tuple[FlowStep, ...]
    stages: tuple[StageRule, ...]
    growth_room: GrowthRoom
    length_ratio_warn: Figure
    length_ratio_limit: Figure
    clean_out_days: Figure
    sale_mm: Figure
    sell_within_days: Figure
    mop_out_days: Figure
    water: WaterRule
    care: tuple[CareStep, ...]
    upkeep: Upkeep
    degree_days: DegreeDays | None = None

    @cached_property
    def hashed(self) -> int:
        """The hash of figures and stages, worked out once: curves and tables are kept by pack."""
        shape = tuple((stage.name, stage.kinds, stage.alone, stage.may_skip) for stage in self.stages)
        return hash((self.name, shape, tuple(self.figures())))

    def __hash__(self) -> int:
        """Return the hash of figures and stages: packs that share it are told apart figure by figure, slowly."""
        return self.hashed

    @property
    def guards_young(self) -> bool:
        """Tell whether the young begin in the vessel of the breeding group, which guards them."""
        return self.stages[0].with_parents

    def figures(self) -> Iterator[tuple[str, Figure]]:
        """Yield every number of the pack with its dotted name, in the order of the pack."""
        yield from _figures("", self)


def label_of(part: object, number: int) -> str:
    """Return what an entry of a list is called in a dotted name: by its own name, else by its place from 1."""
    return part.name if isinstance(part, StageRule | CareStep) else str(number)


def _figures(path: str, node: object) -> Iterator[tuple[str, Figure]]:
    if isinstance(node, Figure):
        yield path, node
    elif isinstance(node, Frozen):
        for name in type(node).model_fields:
            yield from _figures(f"{path}.{name}" if path else name, getattr(node, name))
    elif isinstance(node, tuple):
        for number, part in enumerate(node, start=1):
            yield from _figures(f"{path}.{label_of(part, number)}", part)
