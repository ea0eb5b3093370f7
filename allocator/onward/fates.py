"""What becomes of each brood until a day, if all is done as planned but for what the keeper tells.

What falls before the day has been done; what falls on it is still to be done, as on the first day of any plan.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date, timedelta
from enum import StrEnum
from math import ceil

from allocator.frozen import Frozen
from allocator.husbandry.homes import fish_today
from allocator.husbandry.life import Life, lives
from allocator.husbandry.peat import holds_water
from allocator.onward.told import NotPossibleError, Told, refuse
from allocator.plan import Plan, Stay
from allocator.problems import nearest
from allocator.room import Brood, Room
from allocator.rules import VesselKind

DAY = timedelta(days=1)


class Became(StrEnum):
    """What became of a brood."""

    AS_IT_WAS = "as it was"
    MOVED = "moved"
    COLLECTED = "collected"
    SOLD = "sold"
    GONE = "gone"
    NO_HOME = "no home"
    NOT_TAKEN = "not taken"
    NOT_COLLECTED = "not collected"
    STILL_TO_COME = "still to come"


IN_BEING = (Became.AS_IT_WAS, Became.MOVED, Became.COLLECTED, Became.NO_HOME)


class Part(Frozen):
    """A part of a brood in one vessel; the plan's fish tell how large it is beside the others."""

    vessel: str
    fish: int


class Fate(Frozen):
    """One brood on the day that the room is carried to.

    Attributes
    ----------
    on
        When it became so: the day of the last move, of the collection or of the sale.
    parts
        Where it is; empty where it is nowhere.
    since
        The day on which it came to where it is; None where it did not move, or nobody knows.
    fish
        How many eggs or fish are expected of it on that day, or on the day of its sale.
    eggs_are_planned
        Whether the number of eggs is that of the plan.
    counted
        Whether the keeper counted it on that day: then `fish` is that count.
    by_keeper
        Whether the keeper told it so, and not the plan.
    """

    brood: Brood
    became: Became
    on: date
    parts: tuple[Part, ...] = ()
    fish: int = 0
    is_egg: bool = False
    since: date | None = None
    eggs_are_planned: bool = False
    counted: bool = False
    by_keeper: bool = False

    @property
    def name(self) -> str:
        """The name of the brood."""
        return self.brood.name

    @property
    def is_there(self) -> bool:
        """Whether it is in the room: fish or eggs, with a home or without."""
        return self.became in IN_BEING and bool(self.parts)

    @property
    def vessels(self) -> tuple[str, ...]:
        """Where it is."""
        return tuple(part.vessel for part in self.parts)


def fates_of(room: Room, plan: Plan, day: date, told: Told) -> tuple[Fate, ...]:
    """Return what becomes of every brood of a room until a day, in the order of the room.

    Raises
    ------
    NotPossibleError
        If what is told cannot be.
    """
    refuse(wrong_in(room, told))
    wrong: list[NotPossibleError] = []
    stays: dict[str, list[Stay]] = {}
    for stay in plan.stays:
        stays.setdefault(stay.brood, []).append(stay)
    sold = {move.brood: move.on for move in plan.moves if move.to is None}
    not_taken = {row.brood for row in plan.not_taken}
    forecast = lives(room)
    fates = []
    for brood in room.broods:
        life = forecast[brood.name]
        fate = _fate(room, life, stays.get(brood.name, []), sold.get(brood.name), day)
        if fate.became is Became.NO_HOME and not fate.parts and brood.name in not_taken:
            fate = fate.model_copy(update={"became": Became.NOT_TAKEN})
        try:
            fate = _as_told(room, fate, _homes(life, room.today), told, day)
        except NotPossibleError as error:
            wrong.append(error)
            continue
        when = fate.on if fate.became is Became.SOLD else day
        count = told.counts.get(brood.name)
        fish = ceil(_heads(life, told, when) - 1e-6) if count is None else count.fish
        changes = {"fish": fish, "is_egg": life.is_egg(when), "counted": count is not None}
        fates.append(fate.model_copy(update=changes))
    refuse(wrong)
    return tuple(fates)


def _fate(room: Room, life: Life, stays: list[Stay], sold: date | None, day: date) -> Fate:
    """Return what becomes of a brood by the plan alone."""
    brood = life.brood
    if brood.planned and brood.collected >= day:
        return Fate(brood=brood, became=Became.STILL_TO_COME, on=brood.collected)
    if sold is not None and sold < day and day > room.today:
        return Fate(brood=brood, became=Became.SOLD, on=sold)
    tell = _collected if brood.planned else _in_being
    return tell(room, life, stays, day)


def _collected(room: Room, life: Life, stays: list[Stay], day: date) -> Fate:
    """Return what becomes of a brood that is to be collected before the day, and not sold."""
    brood, parts = life.brood, parts_on(stays, day - DAY)
    if not parts:
        return _without_home(room, life, stays, (), brood.collected)
    on, since = _came(room, life, stays, day)
    return Fate(brood=brood, became=Became.COLLECTED, on=on, parts=parts, since=since, eggs_are_planned=True)


def _in_being(room: Room, life: Life, stays: list[Stay], day: date) -> Fate:
    """Return what becomes of a brood in being that is not sold."""
    brood = life.brood
    homes = _homes(life, room.today)
    if day <= room.today:
        return Fate(brood=brood, became=Became.AS_IT_WAS, on=room.today, parts=homes)
    parts = parts_on(stays, day - DAY)
    if not parts:
        return _without_home(room, life, stays, homes, room.today)
    if {part.vessel for part in parts} == {part.vessel for part in homes} and not _reshared(stays, room, day):
        return Fate(brood=brood, became=Became.AS_IT_WAS, on=room.today, parts=homes)
    on, since = _came(room, life, stays, day)
    return Fate(brood=brood, became=Became.MOVED, on=on, parts=parts, since=since)


def _came(room: Room, life: Life, stays: list[Stay], day: date) -> tuple[date, date | None]:
    """Return the day of the last move before a day, and what is to be written of it.

    Where eggs wait in peat it is taken for the day on which they were wetted, so that of any other move nothing is
    written.
    """
    on = max(stay.from_ for stay in stays if stay.from_ < day)
    before = [room.vessel_named.get(stay.vessel) for stay in stays if stay.until == on]
    in_peat = life.rules.stages[0].kinds == (VesselKind.EGG_STORE,)
    was_dry = bool(before) and not any(vessel is None or holds_water(vessel) for vessel in before)
    return on, None if in_peat and not was_dry else on


def _without_home(room: Room, life: Life, stays: list[Stay], homes: tuple[Part, ...], start: date) -> Fate:
    """Return a brood that the plan has no home for, left where it was last."""
    until = max((stay.until for stay in stays), default=start)
    parts = parts_on(stays, until - DAY)
    return Fate(
        brood=life.brood,
        became=Became.NO_HOME,
        on=until,
        parts=parts or homes,
        since=_came(room, life, stays, until)[1] if parts else None,
        eggs_are_planned=life.brood.planned,
    )


def _homes(life: Life, today: date) -> tuple[Part, ...]:
    fish = fish_today(life, today)
    return tuple(Part(vessel=home.vessel, fish=fish[home.vessel]) for home in life.brood.homes)


def _reshared(stays: list[Stay], room: Room, day: date) -> bool:
    """Tell whether any stay begins between the room's today and the day: a move out and back is one too."""
    return any(room.today < stay.from_ < day for stay in stays)


def parts_on(stays: Iterable[Stay], day: date) -> tuple[Part, ...]:
    """Return where the parts of a brood are at the end of a day, in order of name; parts in one vessel are one."""
    fish: dict[str, int] = {}
    for stay in stays:
        if stay.from_ <= day < stay.until:
            fish[stay.vessel] = fish.get(stay.vessel, 0) + stay.fish
    return tuple(Part(vessel=vessel, fish=fish[vessel]) for vessel in sorted(fish))


def _heads(life: Life, told: Told, day: date) -> float:
    """Return how many eggs or fish are expected on a day, from the eggs that were really collected."""
    eggs = told.eggs.get(life.brood.name, life.brood.eggs)
    return replace(life, brood=life.brood.model_copy(update={"eggs": eggs})).heads(day)


def is_shared_evenly(parts: tuple[Part, ...]) -> bool:
    """Tell whether a brood is shared out evenly, but for odd fish."""
    fish = [part.fish for part in parts]
    return max(fish, default=0) - min(fish, default=0) <= 1


# -- what the keeper tells ---------------------------------------------------------------------------------


def wrong_in(room: Room, told: Told) -> Iterator[NotPossibleError]:
    """Yield what cannot be so in what is told, whatever the plan."""
    known = list(room.brood_named)
    for name in told.named:
        if name in room.brood_named:
            yield from _wrong_of(room.brood_named[name], told)
        else:
            yield NotPossibleError(f"there is no brood {name!r}", nearest(name, known))


def _wrong_of(brood: Brood, told: Told) -> Iterator[NotPossibleError]:
    name = brood.name
    others = (told.not_done, told.eggs, told.counts, told.homes)
    if name in told.gone:
        if any(name in other for other in others):
            yield NotPossibleError(f"{name} is told to be gone, and something else too", "tell one of them")
        return
    if name in told.not_done and name in told.homes:
        what = f"{name} is told to be where it was and to be in {told.homes[name]}"
        yield NotPossibleError(what, "tell one of them")
    if name in told.not_done and brood.planned and (name in told.eggs or name in told.counts):
        what = f"{name} is told to be not collected, and its eggs or fish are told"
        yield NotPossibleError(what, "tell one of them")
    counted = max((count.fish for count in brood.counts), default=0)
    if (eggs := told.eggs.get(name, brood.eggs)) < counted:
        yield NotPossibleError(f"{name}: {eggs} eggs are fewer than the {counted} fish counted of it")
    if name in told.counts and (fish := told.counts[name].fish) > eggs:
        hint = f'add --eggs "{name}=..." if there were more'
        yield NotPossibleError(f"{name}: {fish} are more than its {eggs} eggs", hint)


def _as_told(room: Room, fate: Fate, homes: tuple[Part, ...], told: Told, day: date) -> Fate:
    """Return what became of a brood when what the keeper tells comes before what the plan says."""
    brood, name = fate.brood, fate.brood.name
    if name not in told.named:
        return fate
    if fate.became is Became.STILL_TO_COME:
        what = f"{name} is to be collected on {brood.collected}, and the room is brought to {day} only"
        raise NotPossibleError(what, "give a later day, or change the room file")
    changes: dict[str, object] = {"by_keeper": True}
    if name in told.gone:
        if brood.planned and not fate.parts:
            raise NotPossibleError(f"{name} was never there", "leave it out")
        changes |= {"became": Became.GONE, "on": day, "parts": ()}
    elif name in told.not_done:
        became = Became.NOT_COLLECTED if brood.planned else Became.AS_IT_WAS
        changes |= {"became": became, "on": room.today, "parts": homes}
    elif name in told.homes:
        vessel = told.homes[name]
        part = (Part(vessel=vessel, fish=0),)
        there = {part.vessel for part in homes} == {vessel}
        became = Became.COLLECTED if brood.planned else Became.AS_IT_WAS if there else Became.MOVED
        changes |= {"became": became, "on": day, "parts": homes if there else part}
        changes |= {"eggs_are_planned": brood.planned, "since": None}
    elif not fate.parts:
        gone = "is sold by then" if fate.became is Became.SOLD else "has no home by then"
        raise NotPossibleError(
            f"by the plan {name} {gone}", f'add --home "{name}=..." if it is there, with its vessel'
        )
    if name in told.eggs or name in told.counts:
        changes["eggs_are_planned"] = False
    return fate.model_copy(update=changes)
