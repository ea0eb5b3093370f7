"""Random small rooms of every shape the planner must stand, each from one seed."""

from datetime import date, timedelta
from random import Random
from typing import Any

from small_rooms import SATURDAY, TODAY, band, box, figure, level, long, small_pack, ten

from allocator.room import (
    Addable,
    BreedingGroup,
    Brood,
    CollectedBy,
    Count,
    Home,
    Keeper,
    Line,
    Pin,
    PinKind,
    Room,
    Span,
    Vessel,
)
from allocator.rules import Estimate, FlowSetting, GrowthPace, GrowthRoom, RoomStep, RulePack, SurvivalStep
from allocator.rules import VesselKind as Kind


def chance(random: Random, share: float) -> bool:
    """Return True in about this share of calls."""
    return random.random() < share


def random_pack(random: Random) -> RulePack:  # noqa: C901 - one whim after another
    """Return the small pack with some of its rules changed."""
    pack = small_pack()
    changes: dict[str, Any] = {}
    stages = list(pack.stages)
    if chance(random, 0.2):
        stages[0] = stages[0].model_copy(update={"alone": True})
    if chance(random, 0.15):
        stages[2] = stages[2].model_copy(update={"alone": True})
    if chance(random, 0.2):
        stages[1] = stages[1].model_copy(update={"may_skip": True})
        stages[2] = stages[2].model_copy(update={"from_mm": figure(12), "until_mm": figure(35)})
    if chance(random, 0.3):
        stages[1] = stages[1].model_copy(update={"until_mm": figure(random.choice([8, 9, 11]))})
    if chance(random, 0.3):
        stages[2] = stages[2].model_copy(update={"better_from_mm": figure(22), "better_until_mm": figure(26)})
    changes["stages"] = tuple(stages)
    if chance(random, 0.4):
        changes["survival"] = (SurvivalStep(until_age_days=figure(30), share=band(0.5, 0.7, 0.9)),)
        changes["monthly_survival_after"] = band(0.9, 0.95, 1)
        changes["hatch_share"] = band(0.6, 0.8, 0.9)
    if chance(random, 0.3):
        changes["clean_out_days"] = figure(random.choice([0, 1, 3, 14]))
    if chance(random, 0.4):
        changes["sell_within_days"] = figure(random.choice([0, 3, 7, 60]))
    if chance(random, 0.5):
        changes["growth_room"] = GrowthRoom(
            from_mm=figure(random.choice([10, 20, 30])),
            run_cm=figure(random.choice([60, 100])),
            slowed_to=figure(random.choice([0.4, 0.8])),
            slowed_when_full=figure(random.choice([1, 0.9, 0.6])),
        )
    if chance(random, 0.3):
        changes["room"] = (
            RoomStep(from_mm=figure(0), fish_per_litre=level(20), unfiltered_surface_cm2=level(20, 40)),
            RoomStep(from_mm=figure(15), fish_per_litre=level(2), surface_cm2=level(30, 60)),
            RoomStep(from_mm=figure(30), fish_per_litre=level(1), grams_per_litre=level(2)),
        )
    return small_pack(**changes)


def _vessels(random: Random) -> list[Vessel]:  # noqa: C901
    found: list[Vessel] = []
    groups = ((box, random.randint(1, 4)), (ten, random.randint(1, 4)), (long, random.randint(1, 3)))
    for make, copies in groups:
        for number in range(1, copies + 1):
            changes: dict[str, Any] = {}
            if chance(random, 0.15):
                start = TODAY + timedelta(days=random.randint(1, 120))
                changes["available"] = random.choice([Span(start=start), Span(end=start)])
            if chance(random, 0.15):
                changes["length_mm"] = random.choice([300, 700, 1200])
            if chance(random, 0.1):
                changes["depth_mm"] = random.choice([80, 200])
            if chance(random, 0.1):
                changes["kinds"] = (Kind.REARING, Kind.GROW_OUT)
            if make is ten and chance(random, 0.4):
                changes["snail_free"] = True
            if chance(random, 0.1):
                changes["feed_g_per_day"] = random.choice([0.5, 2.0, 5.0])
            if chance(random, 0.2):
                changes["filtered"] = True
            if make is long and chance(random, 0.2):
                changes["flow_lowest"] = FlowSetting.STILL
            name = f"{make('x').declared_as} {number}"
            found.append(make(name, **changes))
    return found


def _in_being(random: Random, name: str, line: Line, vessels: list[Vessel], *, odd: bool) -> Brood | None:
    days = random.randint(0, 215)
    collected = TODAY - timedelta(days=days)
    mm = 5 + 0.2 * max(0, days - 10)
    wanted = Kind.HATCHERY if mm < 9 else Kind.REARING if mm < 24 else Kind.GROW_OUT
    fitting = [v for v in vessels if wanted in v.kinds and v.available.holds(TODAY)]
    if odd and chance(random, 0.3):
        fitting = [v for v in vessels if v.available.holds(TODAY)]
    if not fitting:
        return None
    fish = random.choice([3, 10, 20, 40, 60])
    homes = random.sample(fitting, k=2 if len(fitting) > 1 and days > 14 and chance(random, 0.2) else 1)
    counts: tuple[Count, ...] = ()
    if days > 14 and chance(random, 0.6):
        on = TODAY - timedelta(days=random.randint(0, min(10, days - 13)))
        measured = round(max(4.0, mm * random.choice([0.8, 1.0, 1.2])), 1) if chance(random, 0.6) else None
        counts = (Count(on=on, fish=fish, mm=measured),)
    elif days > 14 and not odd:
        counts = (Count(on=TODAY, fish=fish),)
    return Brood(
        name=name,
        line=line.name,
        collected=collected,
        by=CollectedBy.PICKING,
        eggs=fish + random.randint(0, 10),
        homes=tuple(Home(vessel=v.name) for v in homes),
        counts=counts,
    )


def random_room(seed: int, *, broods: tuple[int, int] = (1, 7), pins: bool = True, odd: bool = True) -> Room:
    """Return a room made from a seed.

    Parameters
    ----------
    broods
        Fewest and most broods.
    pins
        Whether the keeper may have pinned something.
    odd
        Whether fish may be found where they should not be.
    """
    random = Random(seed)  # noqa: S311 - made-up rooms, no secrets
    packs = [random_pack(random) for _ in range(2)]
    names = ["red", "blue", "green"][: random.randint(1, 3)]
    share = chance(random, 0.2) and len(names) > 1
    lines = [
        Line(
            name=name,
            species="made up",
            rules=packs[place % 2] if chance(random, 0.5) else packs[0],
            may_share=("blue",) if share and place == 0 else (),
        )
        for place, name in enumerate(names)
    ]
    vessels = _vessels(random)
    every_day = chance(random, 0.25)
    move_days = tuple(range(7)) if every_day else random.choice([(SATURDAY,), (SATURDAY, 6), (2,)])
    away = ()
    if chance(random, 0.4):
        start = TODAY + timedelta(days=random.randint(1, 100))
        away = (Span(start=start, end=start + timedelta(days=random.randint(3, 30))),)
    keeper = Keeper(
        move_days=move_days,
        most_moves_a_day=random.choice([None, None, 1, 2, 3, 4]),
        away=away,
        survival=random.choice(list(Estimate)),
        growth=random.choice(list(GrowthPace)),
    )
    found: list[Brood] = []
    for number in range(random.randint(*broods)):
        line = random.choice(lines)
        if chance(random, 0.35):
            brood = _in_being(random, f"K{number}", line, vessels, odd=odd)
            if brood is not None:
                found.append(brood)
                continue
        collected = TODAY + timedelta(days=random.randint(0, 60))
        by = CollectedBy.MOP if chance(random, 0.2) else CollectedBy.PICKING
        eggs = random.choice([5, 15, 30, 60, 120])
        found.append(
            Brood(name=f"P{number}", line=line.name, collected=collected, by=by, eggs=eggs, planned=True)
        )
    groups = ()
    if chance(random, 0.25):
        free = [v for v in vessels if v.available.start is None and not _lives_in(found, v)]
        if free:
            vessel = random.choice(free)
            end = TODAY + timedelta(days=random.randint(5, 90)) if chance(random, 0.6) else None
            place = vessels.index(vessel)
            vessels[place] = vessel.model_copy(update={"kinds": (*vessel.kinds, Kind.BREEDING)})
            groups = (
                BreedingGroup(
                    name="trio",
                    line=random.choice(lines).name,
                    males=1,
                    females=2,
                    vessel=vessel.name,
                    lives_there=Span(end=end),
                ),
            )
    offers = ()
    if chance(random, 0.7):
        likes = [like for like in ("box", "ten", "long") if chance(random, 0.6)]
        offers = tuple(
            Addable(like=like, price=random.choice([5, 30, 99.5]), most=random.randint(1, 3))
            for like in likes
        )
    wishes: tuple[Pin, ...] = ()
    if pins and found and chance(random, 0.25):
        wishes = (_pin(random, random.choice(found), random.choice(vessels)),)
    return Room(
        name=f"room {seed}",
        today=TODAY,
        keeper=keeper,
        vessels=tuple(vessels),
        lines=tuple(lines),
        groups=groups,
        broods=tuple(found),
        could_add=offers,
        pins=wishes,
    )


def _lives_in(broods: list[Brood], vessel: Vessel) -> bool:
    return any(home.vessel == vessel.name for brood in broods for home in brood.homes)


def _pin(random: Random, brood: Brood, vessel: Vessel) -> Pin:
    start: date = max(brood.collected, TODAY) + timedelta(days=random.randint(0, 60))
    kind = random.choice([PinKind.IN, PinKind.NOT_IN])
    span = Span(start=start, end=start + timedelta(days=random.randint(5, 40)))
    return Pin(kind=kind, brood=brood.name, vessel=vessel.name, span=span)
