"""One fish room as it stands today: vessels, lines, groups, broods, and what the keeper asks for.

A `Room` is complete: planned collections are already spelled out as broods, copies as single vessels, and
each line carries the rules in force for it. Nothing here knows about files.
"""

from datetime import date, timedelta
from enum import StrEnum
from functools import cached_property

from allocator.frozen import Frozen
from allocator.rules import Estimate, FlowSetting, GrowthPace, RulePack, VesselKind


class CollectedBy(StrEnum):
    """How a brood came into the room."""

    PICKING = "picking"
    MOP = "mop"
    YOUNG = "young"


class Span(Frozen):
    """Days from one (included) until another (excluded). None leaves that end open."""

    start: date | None = None
    end: date | None = None

    def holds(self, day: date) -> bool:
        """Tell whether a day lies in the span."""
        return (self.start is None or self.start <= day) and (self.end is None or day < self.end)

    def meets(self, other: "Span") -> bool:
        """Tell whether two spans have a day in common."""
        starts = [span.start for span in (self, other) if span.start is not None]
        ends = [span.end for span in (self, other) if span.end is not None]
        return not starts or not ends or max(starts) < min(ends)


class Conditions(Frozen):
    """The water as the keeper measures and changes it; None where it was not said.

    Attributes
    ----------
    temperature_c, ph
        As measured.
    change_share
        Share of the water that is changed each time, 0 to 1.
    change_days
        Days from one change to the next.
    """

    temperature_c: float | None = None
    ph: float | None = None
    change_share: float | None = None
    change_days: int | None = None


class Vessel(Frozen):
    """Anything that holds fish. Inside sizes; `depth_mm` is the depth of the water, not of the glass.

    `filter_since` is the day on which a new filter began to run; None where it has run for long. `conditions`
    are those of the room where nothing else was said of the vessel.
    """

    name: str
    declared_as: str
    kinds: tuple[VesselKind, ...]
    length_mm: float
    width_mm: float
    depth_mm: float
    flow_lowest: FlowSetting
    flow_highest: FlowSetting
    filtered: bool = False
    feed_g_per_day: float | None = None
    filter_since: date | None = None
    conditions: Conditions = Conditions()
    snail_free: bool = False
    available: Span = Span()
    rack: str | None = None
    shelf: str | None = None
    empty_kg: float | None = None

    @property
    def litres(self) -> float:
        """Water volume in litres."""
        return self.length_mm * self.width_mm * self.depth_mm / 1e6

    @property
    def surface_cm2(self) -> float:
        """Water surface in square centimetres."""
        return self.length_mm * self.width_mm / 100

    @property
    def bottom_cm2(self) -> float:
        """Floor of the vessel in square centimetres: walls are upright, so it is as large as the surface."""
        return self.surface_cm2

    @property
    def run_cm(self) -> float:
        """The longest straight swim in centimetres: the inside length."""
        return max(self.length_mm, self.width_mm) / 10


class Shelf(Frozen):
    """A shelf of a rack, and the load its maker gives for it, if the keeper knows."""

    rack: str
    name: str
    rated_kg: float | None = None


class Line(Frozen):
    """A species with its locality or strain, kept pure. `may_share` names lines that may live with it."""

    name: str
    species: str
    rules: RulePack
    may_share: tuple[str, ...] = ()


class BreedingGroup(Frozen):
    """A pair, trio or colony; it holds its vessel for the whole span."""

    name: str
    line: str
    males: int
    females: int
    vessel: str
    lives_there: Span = Span()


class Count(Frozen):
    """A real count of a brood, and its measured mean length where the keeper took one."""

    on: date
    fish: int
    mm: float | None = None


class Home(Frozen):
    """Where a part of a brood lives today. None for the fish means: shared out evenly."""

    vessel: str
    fish: int | None = None


class Brood(Frozen):
    """The fish of one collection. A planned brood has no home yet; one in being has at least one.

    Its eggs were laid over `laid_over_days`, the last on the day of collection. `parents` names the breeding
    group, where the keeper said which. A planned brood that is `optional` may be left out where there is no room
    for it: those of a higher `priority` are taken first.
    """

    name: str
    line: str
    collected: date
    by: CollectedBy
    eggs: int
    homes: tuple[Home, ...] = ()
    in_home_since: date | None = None
    counts: tuple[Count, ...] = ()
    planned: bool = False
    laid_over_days: int = 1
    parents: str | None = None
    optional: bool = False
    priority: int = 0


class Addable(Frozen):
    """A vessel that the keeper could add: like one that is there, at a price, up to a number."""

    like: str
    price: float
    most: int


class PinKind(StrEnum):
    """What a pin asks for."""

    IN = "in"
    NOT_IN = "not in"
    MOVE_ON = "move on"


class Pin(Frozen):
    """A wish that the plan must keep: a brood in (or not in) a vessel for a while, or a move on a day."""

    kind: PinKind
    brood: str
    vessel: str | None = None
    span: Span = Span()


class Order(Frozen):
    """So many fish that are promised for a day. The broods they come from are kept, as wholes, until then."""

    name: str
    fish: int
    on: date
    broods: tuple[str, ...]


class Keeper(Frozen):
    """The person: weekdays (Monday is 0) on which fish are moved, days away, most moves a day."""

    move_days: tuple[int, ...]
    most_moves_a_day: int | None = None
    away: tuple[Span, ...] = ()
    survival: Estimate = Estimate.EXPECTED
    growth: GrowthPace = GrowthPace.TYPICAL

    def moves_fish_on(self, day: date) -> bool:
        """Tell whether fish may be moved on a day."""
        return day.weekday() in self.move_days and not any(span.holds(day) for span in self.away)


class Room(Frozen):
    """Everything the planner is told. `conditions` are those of every vessel for which no other are said."""

    name: str
    today: date
    keeper: Keeper
    vessels: tuple[Vessel, ...]
    lines: tuple[Line, ...]
    groups: tuple[BreedingGroup, ...] = ()
    broods: tuple[Brood, ...] = ()
    could_add: tuple[Addable, ...] = ()
    pins: tuple[Pin, ...] = ()
    orders: tuple[Order, ...] = ()
    notes: tuple[str, ...] = ()
    shelves: tuple[Shelf, ...] = ()
    conditions: Conditions = Conditions()

    @cached_property
    def vessel_named(self) -> dict[str, Vessel]:
        """Vessels by name."""
        return {vessel.name: vessel for vessel in self.vessels}

    @cached_property
    def brood_named(self) -> dict[str, Brood]:
        """Broods by name."""
        return {brood.name: brood for brood in self.broods}

    @cached_property
    def line_named(self) -> dict[str, Line]:
        """Lines by name."""
        return {line.name: line for line in self.lines}

    @cached_property
    def group_named(self) -> dict[str, BreedingGroup]:
        """Breeding groups by name."""
        return {group.name: group for group in self.groups}

    @cached_property
    def order_of(self) -> dict[str, Order]:
        """The order for which a brood is kept, by the name of the brood."""
        return {brood: order for order in self.orders for brood in order.broods}

    @cached_property
    def prices(self) -> dict[str, float]:
        """What one more vessel of a kind costs, by the declared name, where it could be added."""
        return {offer.like: offer.price for offer in self.could_add}

    def next_move_day(self, day: date) -> date:
        """Return the first day, from this one on, on which the keeper moves fish."""
        while not self.keeper.moves_fish_on(day):
            day += timedelta(days=1)
        return day

    def with_added(self, added: dict[str, int]) -> "Room":
        """Return the room with so many new vessels, by the declared name that each is like.

        New vessels are named `new NAME 1`, `new NAME 2` and so on, and stand in no rack yet. Their filters are
        new from today on.
        """
        models = {like: _usual([v for v in self.vessels if v.declared_as == like]) for like in added}
        new = tuple(
            models[like].model_copy(
                update={
                    "name": new_vessel_name(like, number),
                    "available": Span(start=self.today),
                    "filter_since": self.today if models[like].filtered else None,
                    "rack": None,
                    "shelf": None,
                }
            )
            for like, copies in sorted(added.items())
            for number in range(1, copies + 1)
        )
        return self.model_copy(update={"vessels": self.vessels + new})


def _usual(copies: list[Vessel]) -> Vessel:
    """Return a copy as most of them are: what is said of one copy alone is not said of a new one."""

    def build(vessel: Vessel) -> tuple[object, ...]:
        size = vessel.length_mm, vessel.width_mm, vessel.depth_mm
        return *size, vessel.flow_lowest, vessel.flow_highest, vessel.filtered, vessel.feed_g_per_day

    builds = [build(vessel) for vessel in copies]
    return copies[builds.index(max(builds, key=builds.count))]


def new_vessel_name(like: str, number: int) -> str:
    """Return the name of a vessel that is not there yet."""
    return f"new {like} {number}"
