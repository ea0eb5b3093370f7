"""The shape of a room file, key by key. It says nothing of how the parts fit together."""

from datetime import date
from enum import StrEnum
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from allocator.reading.fields import (
    DAY,
    DAYS,
    LENGTH,
    NAME,
    SIZE,
    TEXT,
    TRUTH,
    VOLUME,
    WEEKDAY,
    Reads,
    WrongValueError,
    choice,
    number,
    read_choice,
    read_number,
)
from allocator.reading.measured import CHANGE_DAYS, CHANGE_PERCENT, LAID_OVER, PARENTS, PH, TEMPERATURE
from allocator.room import CollectedBy
from allocator.rules import Estimate, FlowSetting, GrowthPace, VesselKind

# Bounds that no real room leaves (judgement): they catch a slipped decimal point, nothing finer.
MOST_COPIES = 500
MOST_EGGS = 100_000
LONGEST_FISH_MM = 1_000
HEAVIEST_KG = 5_000
MOST_MONEY = 1_000_000
HIGHEST_PRIORITY = 100

FLOW_WORDS = [setting.word for setting in FlowSetting]


class FilterKind(StrEnum):
    """What cleans the water. The rules ask whether there is a filter, and how much feed a day it takes."""

    NONE = "none"
    SPONGE = "sponge filter"
    BOX = "box filter"
    HANG_ON = "hang-on box"
    INTERNAL = "internal filter"
    EXTERNAL = "external filter"
    UNDERGRAVEL = "undergravel filter"
    CENTRAL = "central filter"


class GallonKind(StrEnum):
    """What a bare gallon means."""

    US = "us"
    IMPERIAL = "imperial"


class Raw(BaseModel):
    """A group of keys. No key is ever passed over in silence."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def _as_list(value: object) -> object:
    return [value] if isinstance(value, dict) else value


def _as_names(value: object) -> object:
    return value if isinstance(value, list) else [value]


def _as_filter(value: object) -> object:
    return {"kind": value} if isinstance(value, str) else value


def _as_homes(value: object) -> object:
    items = value if isinstance(value, list) else [value]
    return [item if isinstance(item, dict) else {"vessel": item} for item in items]


def _read_flow(value: object) -> tuple[FlowSetting, FlowSetting]:
    ends = value if isinstance(value, list) else [value]
    found = f"got [{', '.join(map(str, ends))}]"
    if len(ends) not in (1, 2):
        what = "must be the weakest and the strongest setting"
        raise WrongValueError(what, found=found, hint="write [still, gentle]")
    try:
        lowest, highest = read_choice(ends[0], FlowSetting), read_choice(ends[-1], FlowSetting)
    except WrongValueError as error:
        raise WrongValueError(error.what, found=found, hint=error.hint) from None
    if lowest > highest:
        hint = f"write [{highest.word}, {lowest.word}]"
        raise WrongValueError("must begin with the weakest setting", found=found, hint=hint)
    return lowest, highest


def _read_value(value: object) -> float:
    if isinstance(value, str) and value.strip().lower() in FLOW_WORDS:
        return float(FLOW_WORDS.index(value.strip().lower()))
    return read_number(value, 0, 1_000_000)


FLOW = Reads(
    _read_flow,
    {
        "description": "the weakest and the strongest setting: [still, gentle]; or the only one",
        "anyOf": [
            {"enum": FLOW_WORDS},
            {"type": "array", "items": {"enum": FLOW_WORDS}, "minItems": 1, "maxItems": 2},
        ],
    },
)
FIGURE = Reads(_read_value, {"anyOf": [{"type": "number", "minimum": 0}, {"enum": FLOW_WORDS}]})


class RawSpan(Raw):
    """Days from one (included) until another (excluded). Leave one out to leave that end open."""

    from_: Annotated[date | None, DAY] = Field(None, alias="from")
    until: Annotated[date | None, DAY] = None


class RawAway(Raw):
    """Days on which the keeper is away, until the day of coming back (on which fish can be moved again)."""

    from_: Annotated[date, DAY] = Field(alias="from")
    until: Annotated[date, DAY]


class RawPlanOn(Raw):
    """Which end of the figures the keeper plans on."""

    survival: Annotated[Estimate, choice(Estimate)] = Estimate.EXPECTED
    growth: Annotated[GrowthPace, choice(GrowthPace)] = GrowthPace.TYPICAL


class RawKeeper(Raw):
    """The person: when fish can be moved, and how many moves a day."""

    move_days: list[Annotated[int, WEEKDAY]] = Field(min_length=1)
    most_moves_a_day: Annotated[int | None, number(1, 1000, whole=True)] = None
    away: list[RawAway] = []
    plan_on: RawPlanOn = RawPlanOn()


class RawShelf(Raw):
    """A shelf of a rack, and what its maker says that it carries."""

    name: Annotated[str, NAME]
    rated_kg: Annotated[float | None, number(1, HEAVIEST_KG, unit="kg")] = None


class RawRack(Raw):
    """A rack with its shelves."""

    name: Annotated[str, NAME]
    shelves: list[RawShelf] = Field(min_length=1)


class RawPlace(Raw):
    """Where a vessel stands."""

    rack: Annotated[str, NAME]
    shelf: Annotated[str | None, NAME] = None


class RawConditions(Raw):
    """The water as it is measured and changed. What is left out of a vessel's is as in the room's."""

    temperature_c: Annotated[float | None, TEMPERATURE] = None
    ph: Annotated[float | None, PH] = None
    water_change_percent: Annotated[float | None, CHANGE_PERCENT] = None
    water_change_days: Annotated[int | None, CHANGE_DAYS] = None


class RawFilter(Raw):
    """A filter, how much dry feed a day it can deal with, if the keeper knows, and since when a new one runs."""

    kind: Annotated[FilterKind, choice(FilterKind)]
    feed_g_per_day: Annotated[float | None, number(0.01, 10_000, unit="g a day")] = None
    since: Annotated[date | None, DAY] = None


Filter = Annotated[
    RawFilter,
    BeforeValidator(_as_filter, json_schema_input_type=Annotated[str, choice(FilterKind)] | RawFilter),
]


class RawExcept(Raw):
    """What is different about one copy."""

    copy_: Annotated[int, number(1, MOST_COPIES, whole=True)] = Field(alias="copy")
    water_depth: Annotated[float | None, LENGTH] = None
    flow: Annotated[tuple[FlowSetting, FlowSetting] | None, FLOW] = None
    filter: Filter | None = None
    snail_free: Annotated[bool | None, TRUTH] = None
    conditions: RawConditions | None = None
    available: RawSpan | None = None
    place: RawPlace | None = None


class RawVessel(Raw):
    """One vessel, or several copies of it. More than one copy are named `box 1`, `box 2` and so on."""

    name: Annotated[str, NAME]
    copies: Annotated[int, number(1, MOST_COPIES, whole=True)] = 1
    kind: Annotated[VesselKind, choice(VesselKind)]
    also_for: list[Annotated[VesselKind, choice(VesselKind)]] = []
    inside: Annotated[tuple[float, float], SIZE]
    water_depth: Annotated[float | None, LENGTH] = None
    water: Annotated[str | None, VOLUME] = None
    flow: Annotated[tuple[FlowSetting, FlowSetting], FLOW]
    filter: Filter = RawFilter(kind=FilterKind.NONE)
    snail_free: Annotated[bool, TRUTH] = False
    conditions: RawConditions = RawConditions()
    available: RawSpan = RawSpan()
    place: RawPlace | None = None
    empty_weight_kg: Annotated[float | None, number(0.01, HEAVIEST_KG, unit="kg")] = None
    except_: list[RawExcept] = Field([], alias="except")


class RawChange(Raw):
    """A figure of the rules as the keeper knows it better."""

    value: Annotated[float, FIGURE]
    why: Annotated[str, TEXT]


class RawLine(Raw):
    """A species with its locality or strain, and the rules it follows."""

    name: Annotated[str, NAME]
    species: Annotated[str, NAME]
    rules: Annotated[str, NAME]
    may_share_with: list[Annotated[str, NAME]] = []
    change: dict[str, RawChange] = {}


class Take(StrEnum):
    """Whether a planned collection is raised whatever it takes."""

    ALWAYS = "always"
    IF_IT_FITS = "if it fits"


LaidOver = Annotated[int, LAID_OVER]
Taken = Annotated[Take, choice(Take)]
Priority = Annotated[int | None, number(0, HIGHEST_PRIORITY, whole=True)]


class RawCollect(Raw):
    """Planned collections: on the first day, then every so many days, up to the last day (included)."""

    by: Annotated[CollectedBy, choice(CollectedBy)] = CollectedBy.PICKING
    every: Annotated[int | None, DAYS] = None
    from_: Annotated[date, DAY] = Field(alias="from")
    until: Annotated[date | None, DAY] = None
    eggs: Annotated[int, number(1, MOST_EGGS, whole=True)]
    laid_over_days: LaidOver = 1
    take: Taken = Take.ALWAYS
    priority: Priority = None
    label: Annotated[str | None, NAME] = None


class RawGroup(Raw):
    """A pair, trio or colony. It holds its vessel from a day until another (excluded)."""

    name: Annotated[str, NAME]
    line: Annotated[str, NAME]
    males: Annotated[int, number(0, 1000, whole=True)]
    females: Annotated[int, number(0, 1000, whole=True)]
    lives_in: Annotated[str, NAME]
    from_: Annotated[date | None, DAY] = Field(None, alias="from")
    until: Annotated[date | None, DAY] = None
    collect: Annotated[
        list[RawCollect], BeforeValidator(_as_list, json_schema_input_type=RawCollect | list[RawCollect])
    ] = []


class RawHome(Raw):
    """A vessel in which a part of a brood lives today."""

    vessel: Annotated[str, NAME]
    fish: Annotated[int | None, number(1, MOST_EGGS, whole=True)] = None


class RawCount(Raw):
    """A real count, with the mean total length where it was measured."""

    on: Annotated[date, DAY]
    fish: Annotated[int, number(1, MOST_EGGS, whole=True)]
    mm: Annotated[float | None, number(1, LONGEST_FISH_MM, unit="mm")] = None


_Named = Annotated[str, NAME]


class RawBrood(Raw):
    """The fish of one collection, as they are today; or one still to come, which has no home yet."""

    name: Annotated[str, NAME]
    line: Annotated[str, NAME]
    collected: Annotated[date, DAY]
    by: Annotated[CollectedBy, choice(CollectedBy)] = CollectedBy.PICKING
    eggs: Annotated[int, number(1, MOST_EGGS, whole=True)]
    laid_over_days: LaidOver = 1
    parents: Annotated[str | None, PARENTS] = None
    take: Taken = Take.ALWAYS
    priority: Priority = None
    lives_in: Annotated[
        list[RawHome],
        BeforeValidator(_as_homes, json_schema_input_type=_Named | RawHome | list[_Named | RawHome]),
    ] = []
    since: Annotated[date | None, DAY] = None
    counted: Annotated[
        list[RawCount], BeforeValidator(_as_list, json_schema_input_type=RawCount | list[RawCount])
    ] = []


class RawAddable(Raw):
    """A vessel that could be added: like one that is there."""

    like: Annotated[str, NAME]
    price: Annotated[float, number(0, MOST_MONEY)]
    most: Annotated[int, number(1, MOST_COPIES, whole=True)]


class RawPin(Raw):
    """A wish that the plan must keep: `in` or `not_in` a vessel for a while, or `move_on` a day."""

    brood: Annotated[str, NAME]
    in_: Annotated[str | None, NAME] = Field(None, alias="in")
    not_in: Annotated[str | None, NAME] = None
    move_on: Annotated[date | None, DAY] = None
    from_: Annotated[date | None, DAY] = Field(None, alias="from")
    until: Annotated[date | None, DAY] = None


class RawOrder(Raw):
    """So many fish that are promised for a day, and the brood or broods that are kept for it."""

    name: Annotated[str, NAME]
    fish: Annotated[int, number(1, MOST_EGGS, whole=True)]
    on: Annotated[date, DAY]
    from_: Annotated[
        list[Annotated[str, NAME]],
        Field(alias="from", min_length=1),
        BeforeValidator(_as_names, json_schema_input_type=_Named | list[_Named]),
    ]


class RoomFile(Raw):
    """One fish room: what there is, what is planned, and what the keeper asks for."""

    fish_room: Annotated[str, NAME]
    gallon: Annotated[GallonKind | None, choice(GallonKind)] = Field(
        None, description="what a bare gallon means in this file"
    )
    today: Annotated[date | None, DAY] = None
    keeper: RawKeeper
    conditions: RawConditions = RawConditions()
    racks: list[RawRack] | None = None
    vessels: list[RawVessel] = Field(min_length=1)
    lines: list[RawLine] = Field(min_length=1)
    breeding_groups: list[RawGroup] | None = None
    broods: list[RawBrood] | None = None
    could_add: list[RawAddable] | None = None
    pins: list[RawPin] | None = None
    orders: list[RawOrder] | None = None


def room_schema() -> dict[str, Any]:
    """Return the JSON Schema of a room file, for editors to complete and check from."""
    schema = RoomFile.model_json_schema(by_alias=True)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema"} | schema
