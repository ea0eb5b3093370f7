"""Water changes and filters: what builds up between two changes, and how much must be changed.

One tank, well mixed, changed by the same share each time, with new water that is free of what builds up; nothing
else takes it away. Under these assumptions the sums are exact, once the changes have gone on for long enough.
"""

from datetime import date

from allocator.husbandry.ranges import must_be_above, must_lie
from allocator.units import DUST

FILTER_MATURES_DAYS = 49
"""
Seven weeks. Filters reached full capacity after six weeks with five local media, after seven with plastic media:
Mnyoro et al. 2022, J. Clean. Prod. 366:132929 (abstract), Nile tilapia, after ammonium and nitrite had been given
for four weeks; whether these four are counted in, the abstract does not say. So a young filter is tested, not
trusted.
"""


def before_change_mg_per_l(mg_per_day: float, litres: float, change_share: float, every_days: float) -> float:
    """Return the level just before a change, once the changes have gone on for long, mg a litre.

    Parameters
    ----------
    mg_per_day
        What is given off, mg a day, 0 or more.
    litres
        Water in the tank, above 0.
    change_share
        Share of the water that is changed each time, above 0 to 1.
    every_days
        Days from one change to the next, above 0.

    Raises
    ------
    ValueError
        Outside these ranges: without changes the level has no end.

    Source
    ------
    Derived: what comes in between two changes, mg_per_day x every_days, equals what a change takes out,
    level x litres x change_share.
    """
    must_lie("what is given off", mg_per_day, 0, unit="mg a day")
    must_be_above("water", litres, 0, "litres")
    must_be_above("share of the water changed", change_share, 0)
    must_lie("share of the water changed", change_share, 0, 1)
    must_be_above("days between changes", every_days, 0)
    return mg_per_day * every_days / (litres * change_share)


def after_change_mg_per_l(mg_per_day: float, litres: float, change_share: float, every_days: float) -> float:
    """Return the level just after a change, once the changes have gone on for long, mg a litre.

    Parameters, errors and source as for `before_change_mg_per_l`; a change leaves 1 - change_share of the level.
    """
    return (1 - change_share) * before_change_mg_per_l(mg_per_day, litres, change_share, every_days)


def change_share_needed(
    mg_per_day: float, litres: float, limit_mg_per_l: float, every_days: float
) -> float | None:
    """Return the share of the water to change each time so that the level stays at or under a limit.

    Returns
    -------
    float or None
        0 to 1; 0 when nothing is given off. None when even changing all the water each time is not enough: then
        change more often, or feed or keep less.

    Parameters
    ----------
    mg_per_day
        What is given off, mg a day, 0 or more.
    litres
        Water in the tank, above 0.
    limit_mg_per_l
        Most just before a change, mg a litre, above 0.
    every_days
        Days from one change to the next, above 0.

    Raises
    ------
    ValueError
        Outside these ranges.

    Source
    ------
    Derived: `before_change_mg_per_l` solved for the share.
    """
    must_lie("what is given off", mg_per_day, 0, unit="mg a day")
    must_be_above("water", litres, 0, "litres")
    must_be_above("limit", limit_mg_per_l, 0, "mg a litre")
    must_be_above("days between changes", every_days, 0)
    share = mg_per_day * every_days / (litres * limit_mg_per_l)
    return min(share, 1.0) if share <= 1 + DUST else None


def untreated_mg_per_day(
    mg_per_day: float, filter_feed_g_per_day: float, feed_g_per_day: float, *, matured: bool
) -> float:
    """Return the ammonia that a filter leaves for the water changes, mg a day.

    A filter takes the ammonia of as much feed as it is rated for, and a filter that has not matured takes nothing.
    It turns ammonia into nitrate, which water changes must still take out.

    Parameters
    ----------
    mg_per_day
        Ammonia given off, mg a day, 0 or more.
    filter_feed_g_per_day
        Feed whose ammonia the filter takes, grams a day, 0 or more: the keeper's figure, since nothing is
        published for small filters.
    feed_g_per_day
        Feed that the ammonia comes from, grams a day, 0 or more.
    matured
        Whether the filter counts, see `filter_counts`.

    Raises
    ------
    ValueError
        Outside these ranges.

    Source
    ------
    Derived: ammonia goes with feed.
    """
    must_lie("what is given off", mg_per_day, 0, unit="mg a day")
    must_lie("feed that the filter takes", filter_feed_g_per_day, 0, unit="g a day")
    must_lie("feed", feed_g_per_day, 0, unit="g a day")
    if not matured or filter_feed_g_per_day == 0:
        return mg_per_day
    if filter_feed_g_per_day >= feed_g_per_day:
        return 0.0
    return mg_per_day * (1 - filter_feed_g_per_day / feed_g_per_day)


def filter_counts(started: date | None, on: date) -> bool:
    """Return whether a filter has matured by a day and may be counted on.

    Parameters
    ----------
    started
        The day from which it has run and been fed; None when it has run since long.
    on
        The day in question; before `started` the filter does not count.

    Source
    ------
    Mnyoro et al. 2022, see `FILTER_MATURES_DAYS`.
    """
    return started is None or (on - started).days >= FILTER_MATURES_DAYS
