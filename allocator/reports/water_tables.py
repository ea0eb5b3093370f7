"""The tables of the water report: feed and ammonia, water changes, limits used up, the water itself."""

from collections.abc import Callable, Sequence
from typing import NamedTuple

from allocator.husbandry.stocking import Cap
from allocator.husbandry.tank_water import Binds, FilterState, TankWater
from allocator.reports.tables import Column, clean, table
from allocator.reports.words import lengths_words, warmth_words
from allocator.room import Vessel
from allocator.units import Gallon, litres_and_gallons, need_up

UNKNOWN, UNDER = "?", "under "
SMALLEST_SHOWN, LARGEST_SHOWN = 0.001, 99_999
MOST_PERCENT_SHOWN = 999


class CapWords(NamedTuple):
    """What a cap is called: as the heading of a column, and in a sentence."""

    heading: str
    name: str


CAP_WORDS = {
    Cap.FISH: CapWords("fish", "number of fish"),
    Cap.WEIGHT: CapWords("weight", "weight of fish"),
    Cap.SURFACE: CapWords("surface", "water surface"),
    Cap.BOTTOM: CapWords("bottom", "room on the bottom"),
    Cap.FEED: CapWords("feed", "feed"),
    Cap.RUN: CapWords("length", "length to swim"),
}


def load_table(tanks: Sequence[TankWater], gallon: Gallon | None) -> str:
    """Return the fish of each vessel, what they are fed and give off, and what the filter takes of it."""
    columns = (
        Column("vessel"),
        Column("water", least=19),
        Column("fish", right=True, least=5),
        Column("length", least=14),
        Column("feed g a day", right=True, least=7),
        Column("ammonia mg a day", right=True, least=7),
        Column("filter takes", least=8),
    )
    rows = [
        (
            clean(tank.vessel.name),
            litres_and_gallons(tank.vessel.litres, gallon),
            f"{tank.fish:.0f}",
            _lengths(tank),
            amount(tank.feed_g_per_day),
            amount(tank.ammonia_mg_per_day),
            _filter_words(tank),
        )
        for tank in tanks
    ]
    return f"What the fish are fed (dry) and give off\n{table(columns, rows, indent='  ')}"


def _lengths(tank: TankWater) -> str:
    lengths = sorted(lot.mm for lot in tank.swimming)
    return lengths_words(lengths[0], lengths[-1])


def _filter_words(tank: TankWater) -> str:
    feed = tank.vessel.feed_g_per_day
    if tank.filter_state is FilterState.RATED and feed is not None:
        return "all" if tank.left_mg_per_day == 0 else f"that of {amount(feed)} g"
    words = {
        FilterState.NONE: "none",
        FilterState.YOUNG: "none yet",
        FilterState.UNRATED: "unknown",
    }
    return words[tank.filter_state]


def changes_table(tanks: Sequence[TankWater]) -> str:
    """Return what the keeper's changes make of the ammonia, and what would be needed."""
    if all(tank.before_change_mg_per_l is None and tank.un_ionised_share is None for tank in tanks):
        return ""
    columns = (
        Column("vessel"),
        Column("you change", least=17),
        Column("before a change", right=True, least=10),
        Column("un-ionised", right=True, least=11),
        Column("limit", right=True, least=5),
        Column("change needed", least=17),
    )
    rows = [
        (
            clean(tank.vessel.name),
            own_changes(tank.vessel),
            _at_most(tank, tank.before_change_mg_per_l, amount),
            _at_most(tank, tank.un_ionised_mg_per_l, amount),
            f"{tank.un_ionised_limit_mg_per_l:g}",
            needed_words(tank),
        )
        for tank in tanks
    ]
    return f"What your water changes make of the ammonia, mg a litre\n{table(columns, rows, indent='  ')}"


def _at_most(tank: TankWater, value: float | None, words: Callable[[float], str]) -> str:
    if value is None:
        return UNKNOWN
    shown = words(value)
    return f"{shown} at most" if _up_to(tank) and shown.startswith(UNDER) else f"{_up_to(tank)}{shown}"


def _up_to(tank: TankWater) -> str:
    return "up to " if tank.filter_state is FilterState.UNRATED else ""


def own_changes(vessel: Vessel) -> str:
    """Return what the keeper changes: `30 % every 7 days`, with a question mark for what was not said."""
    share, days = vessel.conditions.change_share, vessel.conditions.change_days
    if share is None and days is None:
        return UNKNOWN
    how_much = UNKNOWN if share is None else percent(share)
    return f"{how_much}, how often?" if days is None else f"{how_much} {_every(days)}"


def _every(days: int) -> str:
    return "every day" if days == 1 else f"every {days} days"


def needed_words(tank: TankWater) -> str:
    """Return the change that keeps ammonia within its limit: `42 % every 7 days`."""
    if tank.un_ionised_share is None:
        return UNKNOWN
    if tank.left_mg_per_day == 0:
        return "none for ammonia"
    days = tank.change_days
    share = tank.change_needed(days)
    if share is not None:
        return f"{_up_to(tank)}{_percent_up(share)} {_every(days)}"
    daily = tank.change_needed(1)
    if daily is None:
        return "even all of it every day is not enough"
    often = f"{_up_to(tank)}{_percent_up(daily)} every day"
    stated = tank.vessel.conditions.change_days is not None
    return f"even all of it is not enough; {often} is" if stated else often


def shares_table(tanks: Sequence[TankWater]) -> str:
    """Return how much of each limit is used up, and which runs out first."""
    caps = [cap for cap in Cap if any(cap in tank.cap_shares for tank in tanks)]
    columns = [
        Column("vessel"),
        *(Column(CAP_WORDS[cap].heading, right=True, least=7) for cap in caps),
        Column("ammonia", right=True, least=7),
        Column("first", least=12),
    ]
    rows = [
        [
            clean(tank.vessel.name),
            *(percent(tank.cap_shares[cap]) if cap in tank.cap_shares else "" for cap in caps),
            _at_most(tank, tank.ammonia_share, percent),
            first_words(tank),
        ]
        for tank in tanks
    ]
    return f"How much of each limit is used up\n{table(columns, rows, indent='  ')}"


def first_words(tank: TankWater) -> str:
    """Return what runs out first: `space: number of fish`, or `number of fish, or ammonia` if nobody knows."""
    cap = tank.binding_cap
    if tank.binds is Binds.WATER:
        return "water: ammonia" if tank.filter_state is not FilterState.UNRATED else "water, or space"
    if cap is None:
        return UNKNOWN
    name = CAP_WORDS[cap].name
    return f"{name}, or ammonia" if tank.binds is None else f"{tank.binds.value}: {name}"


def water_table(tanks: Sequence[TankWater]) -> str:
    """Return what is known of the water itself: warmth, pH, share un-ionised, and oxygen."""
    known = [(tank, tank.oxygen) for tank in tanks]
    if all(found is None and tank.vessel.conditions.ph is None for tank, found in known):
        return ""
    columns = (
        Column("vessel"),
        Column("at", right=True, least=15),
        Column("pH", right=True, least=3),
        Column("un-ionised share", right=True, least=13),
        Column("oxygen, mg/l", right=True, least=7),
        Column("should have", right=True, least=6),
        Column("resting fish use, mg/h", right=True, least=12),
    )
    rows = []
    for tank, found in known:
        conditions, share = tank.vessel.conditions, tank.un_ionised_share
        under = UNDER if tank.ph_is_below_formula else ""
        rows.append(
            (
                clean(tank.vessel.name),
                UNKNOWN if conditions.temperature_c is None else warmth_words(conditions.temperature_c),
                UNKNOWN if conditions.ph is None else f"{conditions.ph:g}",
                UNKNOWN if share is None else f"{under}{_fine_percent(share)}",
                UNKNOWN if found is None else f"{found.holds_mg_per_l:.1f}",
                UNKNOWN if found is None else f"{found.least_mg_per_l:g}",
                UNKNOWN
                if found is None
                else f"{amount(found.demand_mg_per_hour)}{' *' if found.beyond_data else ''}",
            )
        )
    return f"The water itself (oxygen: for information)\n{table(columns, rows, indent='  ')}"


def amount(value: float) -> str:
    """Return a quantity with the figures that mean something."""
    if value > LARGEST_SHOWN:
        return f"over {LARGEST_SHOWN:,}"
    if value >= 100:  # noqa: PLR2004 - three figures are enough
        return f"{value:,.0f}"
    if value >= 10:  # noqa: PLR2004 - likewise
        return f"{value:.1f}"
    if value >= 1:
        return f"{value:.2f}"
    if value >= SMALLEST_SHOWN:
        return f"{value:.3f}"
    return "0" if value == 0 else f"{UNDER}{SMALLEST_SHOWN:g}"


def percent(share: float) -> str:
    """Return a share as a percentage, without false precision at either end."""
    per_cent = share * 100
    if per_cent > MOST_PERCENT_SHOWN:
        return f"over {MOST_PERCENT_SHOWN} %"
    return f"{per_cent:.0f} %" if per_cent >= 1 or per_cent == 0 else f"{UNDER}1 %"


def _fine_percent(share: float) -> str:
    """Return a small share with two figures: `1.5 %`, `0.027 %`."""
    per_cent = share * 100
    if per_cent >= 10:  # noqa: PLR2004 - two figures
        return f"{per_cent:.0f} %"
    return f"{per_cent:.1f} %" if per_cent >= 1 else f"{per_cent:.2g} %"


def _percent_up(share: float) -> str:
    """Return a share that is needed: rounded up, so that it is never too little."""
    return f"{need_up(share * 100)} %"
