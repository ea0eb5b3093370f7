"""Whether the water is enough on one day: feed, ammonia, water changes and oxygen, and whether space runs out first."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta
from itertools import chain

from allocator.husbandry.exchange import FILTER_MATURES_DAYS
from allocator.husbandry.homes import fish_today
from allocator.husbandry.life import lives
from allocator.husbandry.tank_water import Binds, FilterState, Lot, TankWater, tank_water
from allocator.plan import Plan, Verdict
from allocator.reports.caution_list import Page
from allocator.reports.cautions import cautions_text
from allocator.reports.tables import clean, paragraph
from allocator.reports.water_tables import changes_table, load_table, shares_table, water_table
from allocator.reports.where import groups_in, lots_by_vessel
from allocator.reports.words import day_words, in_words, joined, ranged
from allocator.room import Room
from allocator.units import Gallon

KEYS = {
    "temperature_c": "temperature_c",
    "ph": "ph",
    "change_share": "water_change_percent",
    "change_days": "water_change_days",
}
"""Fields of conditions, and what they are called in a room file."""

NO_PLAN = Plan(verdict=Verdict.FITS, proven=False)
"""Stands for the plan where there is none: the caution of mains looks at the room alone."""

WAYS = {Binds.SPACE: "space", Binds.WATER: "water", Binds.FILTER: "the filter"}


def water_text(room: Room, plan: Plan | None, day: date, gallon: Gallon | None = None) -> str:
    """Return what the fish of one day do to the water of their vessels, and what the changes make of it.

    Parameters
    ----------
    room
        With the vessels that the plan adds.
    plan
        Where the fish are; None for where they are today, before any move.
    day
        Today where there is no plan.
    """
    tanks = waters(room, plan, day)
    whose = "as they are today, before any move" if plan is None else "as the plan has them"
    parts = [paragraph(f"Water on {day_words(day)}, fish {whose}: {clean(room.name)}")]
    if tanks:
        parts.append("\n".join(paragraph(sentence) for sentence in _answer(tanks)))
        parts += [load_table(tanks, gallon), changes_table(tanks), shares_table(tanks), water_table(tanks)]
    else:
        parts.append("No young fish swim in any vessel on this day; eggs are not fed.")
    notes = [paragraph(note, indent="  - ", hanging="    ") for note in _notes(room, tanks, day)]
    if notes:
        parts.append("\n".join(["What these sums rest on", *notes]))
    if tanks:
        parts.append(cautions_text(Page.WATER, room, plan or NO_PLAN, day, day + timedelta(days=1)))
    return "\n\n".join(part for part in parts if part)


def waters(room: Room, plan: Plan | None, day: date) -> list[TankWater]:
    """Return the vessels with swimming fish on a day, in the order of the room."""
    there = _lots_today(room) if plan is None else _lots_planned(room, plan, day)
    tanks = (tank_water(vessel, there[vessel.name], day) for vessel in room.vessels if there.get(vessel.name))
    return [tank for tank in tanks if tank.fish > 0]


def _lots_today(room: Room) -> dict[str, list[Lot]]:
    there: dict[str, list[Lot]] = {}
    for life in lives(room).values():
        for vessel, fish in fish_today(life, room.today).items():
            there.setdefault(vessel, []).append(Lot(fish, life.length_mm(room.today), life.rules))
    return there


def _lots_planned(room: Room, plan: Plan, day: date) -> dict[str, list[Lot]]:
    found = lots_by_vessel(room, plan, day)
    return {name: [Lot(lot.fish, lot.mm, lot.life.rules) for lot in lots] for name, lots in found.items()}


# The answer in a few sentences


def _answer(tanks: Sequence[TankWater]) -> Iterator[str]:
    short = [tank for tank in tanks if tank.changes_are_enough is False]
    surely = [tank for tank in short if tank.filter_state is not FilterState.UNRATED]
    perhaps = [tank for tank in short if tank.filter_state is FilterState.UNRATED]
    enough = [tank for tank in tanks if tank.changes_are_enough]
    unknown = [tank for tank in tanks if tank.changes_are_enough is None]
    if surely:
        need = "needs" if len(surely) == 1 else "need"
        yield f"{_many(surely)} {need} more water changes than you do: {_names(surely)}."
    if perhaps:
        more = " more" if surely else ""
        need = "needs" if len(perhaps) == 1 else "need"
        yield (
            f"{_many(perhaps, more)} {need} more water changes than you do unless filters take the ammonia, "
            f"and what these take is not stated: {_names(perhaps)}."
        )
    if enough:
        where = _all_of(len(tanks)) if len(enough) == len(tanks) > 1 else _names(enough)
        yield f"Your water changes are enough for ammonia in {where}."
    if unknown:
        keys = [key for key in KEYS.values() if any(key in _lacking(tank) for tank in unknown)]
        yield (
            f"Whether changes are enough cannot be said of {_names(unknown)}: add {joined(keys)} under "
            "conditions in the room file."
        )
    yield from _first(tanks)
    yield "A water test comes before all of these sums."


def _first(tanks: Sequence[TankWater]) -> Iterator[str]:
    """Say what runs out first, where that is known."""
    unsure = [t for t in tanks if t.binds is Binds.WATER and t.filter_state is FilterState.UNRATED]
    firsts = {way: [t for t in tanks if t.binds is way and t not in unsure] for way in Binds}
    said = [f"{WAYS[way]} in {_names(firsts[way])}" for way in Binds if firsts[way]]
    if unsure:
        said.append(f"water in {_names(unsure)} unless filters take the ammonia")
    if said:
        yield f"What runs out first: {'; '.join(said)}."


def _many(tanks: Sequence[TankWater], more: str = "") -> str:
    number = in_words(len(tanks))
    return f"{number[:1].upper()}{number[1:]}{more} {'vessel' if len(tanks) == 1 else 'vessels'}"


def _all_of(number: int) -> str:
    return "both vessels" if number == len(("one", "other")) else f"all {in_words(number)} vessels"


def _names(tanks: Iterable[TankWater]) -> str:
    return ranged(tank.vessel.name for tank in tanks)


def _lacking(tank: TankWater) -> tuple[str, ...]:
    """Return the keys of the room file that are missing for a vessel."""
    return tuple(key for field, key in KEYS.items() if getattr(tank.vessel.conditions, field) is None)


# What it rests on


def _notes(room: Room, tanks: Sequence[TankWater], day: date) -> Iterator[str]:
    if tanks:
        yield from _sum_notes(tanks)
        yield from chain(_filter_notes(tanks), _missing_notes(tanks), _range_notes(tanks))
    groups = [vessel for vessel in room.vessels if groups_in(room, vessel, day)]
    if groups:
        yield (
            "Grown fish of breeding groups are not counted, nor what they are fed: their sizes are not known "
            f"({ranged(vessel.name for vessel in groups)})."
        )


def _sum_notes(tanks: Sequence[TankWater]) -> Iterator[str]:
    yield (
        "Ammonia is feed x protein x 0.092, as nitrogen. Levels are those just before a change, once this feed "
        "and these changes have gone on for long, with new water that is free of ammonia. Food left over is not "
        "counted and adds to it. Changes must take out nitrate too, which a filter makes and leaves."
    )
    if any(tank.oxygen is not None for tank in tanks):
        words = (
            "Oxygen: what water holds in balance with air at sea level; fed fish use two to three times what "
            "resting ones do. How much air and flow bring in is not known here."
        )
        if any(tank.oxygen is not None and tank.oxygen.beyond_data for tank in tanks):
            words += (
                " * Fry and fish under 1 g are beyond the data of the formula (as is water above 30 C or 86 F): they "
                "may use more."
            )
        yield words


def _filter_notes(tanks: Sequence[TankWater]) -> Iterator[str]:
    unrated = [tank for tank in tanks if tank.filter_state is FilterState.UNRATED]
    if unrated:
        yield (
            f"What the filter takes is not stated of {_names(unrated)}: it may be anything from all of the "
            'ammonia to nothing. Counted is nothing, so that water changes carry all of it: hence "up to". Add '
            "feed_g_per_day to the filter once you know it; nothing is published for small filters."
        )
    for tank in tanks:
        ripe = tank.filter_counts_from
        if tank.filter_state is FilterState.YOUNG and ripe is not None:
            yield (
                f"The filter of {clean(tank.vessel.name)} is new and counts for nothing for "
                f"{FILTER_MATURES_DAYS} days, until {day_words(ripe)}."
            )


def _missing_notes(tanks: Sequence[TankWater]) -> Iterator[str]:
    by_keys: dict[tuple[str, ...], list[TankWater]] = {}
    for tank in tanks:
        by_keys.setdefault(_lacking(tank), []).append(tank)
    for keys, lacking in by_keys.items():
        if keys and len(by_keys) > 1:
            yield f"Not stated for {_names(lacking)}: {joined(keys)}; of the room or of the vessel."
    odd = [
        tank
        for tank in tanks
        if tank.un_ionised_share is not None and tank.vessel.conditions.change_days is None
    ]
    if odd:
        yield (
            "Where you have not said how often you change water, the change needed is for once a week, or for "
            "every day where once a week is too seldom."
        )


def _range_notes(tanks: Sequence[TankWater]) -> Iterator[str]:
    outside = [tank for tank in tanks if tank.is_outside_packs]
    if outside:
        yield (
            f"Colder or warmer than the rules of the fish hold for: {_names(outside)}. What the fish eat and "
            "how they grow there is not known."
        )
    acid = [tank for tank in tanks if tank.ph_is_below_formula]
    if acid:
        yield (
            f"More acid than pH 6, where the table of un-ionised ammonia ends: {_names(acid)}. The share at pH 6 "
            "is used, and the true one is smaller; filters work badly in such water (from memory)."
        )
