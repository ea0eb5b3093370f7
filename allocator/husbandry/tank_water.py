"""One tank on one day: what its fish give off, what filter and water changes make of it, and what runs out first.

The levels are those that set in when the fish of that day, their feed and the changes go on for long. All ammonia
is as nitrogen. What the keeper has not said is not made up: whatever rests on it is None.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from functools import cached_property
from typing import NamedTuple

from allocator.husbandry.ammonia import (
    LOWEST_PH,
    most_total_ammonia,
    total_ammonia_mg_per_day,
    un_ionised_share,
)
from allocator.husbandry.exchange import (
    FILTER_MATURES_DAYS,
    before_change_mg_per_l,
    change_share_needed,
    filter_counts,
    untreated_mg_per_day,
)
from allocator.husbandry.growth import weight_g
from allocator.husbandry.oxygen import demand_mg_per_hour, is_extrapolated, saturation_mg_per_l
from allocator.husbandry.stocking import SUMMED_CAPS, Cap, feed_g_per_day, shares_of_one, totals
from allocator.room import Vessel
from allocator.rules import RulePack
from allocator.units import DUST

USUAL_CHANGE_DAYS = 7
"""
Where the keeper has not said how often, the change that is needed is worked out for once a week: arithmetic for an
example, and named as such where it is printed.
"""


class Lot(NamedTuple):
    """Some fish of one length in the tank; length 0 for eggs, which are not fed."""

    fish: float
    mm: float
    rules: RulePack


class FilterState(StrEnum):
    """What is known of a filter on a day."""

    NONE = "no filter"
    YOUNG = "has not matured"
    UNRATED = "capacity not stated"
    RATED = "capacity stated"


class Binds(StrEnum):
    """What runs out first in a tank."""

    SPACE = "space"
    WATER = "water"
    FILTER = "filter"


@dataclass(frozen=True)
class Oxygen:
    """What the water holds in balance with air, what resting fish use, and what they should have at least.

    `beyond_data` is true where the demand of some of the fish lies beyond the data that it was drawn from.
    """

    holds_mg_per_l: float
    demand_mg_per_hour: float
    least_mg_per_l: float
    beyond_data: bool


@dataclass(frozen=True)
class TankWater:
    """A vessel with its fish on one day; everything else follows."""

    vessel: Vessel
    lots: tuple[Lot, ...]
    on: date

    @property
    def swimming(self) -> tuple[Lot, ...]:
        """The lots that have hatched."""
        return tuple(lot for lot in self.lots if lot.mm > 0)

    @property
    def fish(self) -> float:
        """Fish that have hatched."""
        return sum(lot.fish for lot in self.swimming)

    @cached_property
    def feed_g_per_day(self) -> float:
        """Dry feed of all fish, grams a day."""
        return sum(lot.fish * feed_g_per_day(lot.mm, lot.rules) for lot in self.swimming)

    @cached_property
    def ammonia_mg_per_day(self) -> float:
        """Total ammonia from that feed, mg a day; each lot's feed has its own protein."""
        return sum(
            total_ammonia_mg_per_day(
                lot.fish * feed_g_per_day(lot.mm, lot.rules), lot.rules.water.feed_protein_share.value
            )
            for lot in self.swimming
        )

    @property
    def filter_state(self) -> FilterState:
        """What is known of the filter on this day."""
        if not self.vessel.filtered:
            return FilterState.NONE
        if not filter_counts(self.vessel.filter_since, self.on):
            return FilterState.YOUNG
        return FilterState.UNRATED if self.vessel.feed_g_per_day is None else FilterState.RATED

    @property
    def filter_counts_from(self) -> date | None:
        """The first day on which a new filter counts; None where it never was said to be new."""
        since = self.vessel.filter_since
        return None if since is None else since + timedelta(days=FILTER_MATURES_DAYS)

    @property
    def left_mg_per_day(self) -> float:
        """Ammonia that the filter leaves for the water changes, mg a day.

        A filter of which no capacity is stated is taken to leave all of it: the most that can be. The least
        is then 0.
        """
        return untreated_mg_per_day(
            self.ammonia_mg_per_day,
            self.vessel.feed_g_per_day or 0.0,
            self.feed_g_per_day,
            matured=self.filter_state is FilterState.RATED,
        )

    @property
    def before_change_mg_per_l(self) -> float | None:
        """Total ammonia just before a change under the keeper's own changes, mg a litre."""
        conditions = self.vessel.conditions
        if conditions.change_share is None or conditions.change_days is None:
            return None
        return before_change_mg_per_l(
            self.left_mg_per_day, self.vessel.litres, conditions.change_share, conditions.change_days
        )

    @property
    def ph_is_below_formula(self) -> bool:
        """Whether the water is more acid than the formula reaches: then the share at its end is the most."""
        ph = self.vessel.conditions.ph
        return ph is not None and ph < LOWEST_PH

    @property
    def un_ionised_share(self) -> float | None:
        """The share of total ammonia that is un-ionised; None where temperature or pH is not stated."""
        celsius, ph = self.vessel.conditions.temperature_c, self.vessel.conditions.ph
        if celsius is None or ph is None:
            return None
        return un_ionised_share(celsius, max(ph, LOWEST_PH))

    @property
    def un_ionised_limit_mg_per_l(self) -> float:
        """The strictest limit of all lots, mg a litre."""
        return min(lot.rules.water.un_ionised_limit_mg_per_l.value for lot in self.lots)

    @property
    def total_limit_mg_per_l(self) -> float | None:
        """Total ammonia at which its un-ionised part is at the limit, mg a litre."""
        celsius, ph = self.vessel.conditions.temperature_c, self.vessel.conditions.ph
        if celsius is None or ph is None:
            return None
        return most_total_ammonia(self.un_ionised_limit_mg_per_l, celsius, max(ph, LOWEST_PH))

    @property
    def un_ionised_mg_per_l(self) -> float | None:
        """Un-ionised ammonia just before a change, mg a litre."""
        share, level = self.un_ionised_share, self.before_change_mg_per_l
        return None if share is None or level is None else share * level

    @property
    def ammonia_share(self) -> float | None:
        """Un-ionised ammonia just before a change as a share of its limit."""
        level, limit = self.before_change_mg_per_l, self.total_limit_mg_per_l
        if level is None or limit is None:
            return None
        return level / limit if limit > 0 else float("inf") if level > 0 else 0.0

    @property
    def change_days(self) -> int:
        """Days between changes: the keeper's, or once a week for an example."""
        return self.vessel.conditions.change_days or USUAL_CHANGE_DAYS

    def change_needed(self, every_days: float) -> float | None:
        """Return the share to change each time so that ammonia stays within its limit, 0 to 1.

        Returns
        -------
        float or None
            None when even all of the water is not enough.

        Raises
        ------
        ValueError
            Where temperature or pH is not stated.
        """
        limit = self.total_limit_mg_per_l
        if limit is None:
            raise ValueError("temperature and pH must be stated")
        if self.left_mg_per_day == 0:
            return 0.0
        if limit <= 0:
            return None
        return change_share_needed(self.left_mg_per_day, self.vessel.litres, limit, every_days)

    @property
    def changes_are_enough(self) -> bool | None:
        """Whether the keeper's changes keep ammonia within its limit; None where that cannot be said."""
        share = self.ammonia_share
        return None if share is None else share <= 1 + DUST

    @cached_property
    def cap_shares(self) -> dict[Cap, float]:
        """How much of the limit of each cap is used up; only caps that apply. For run: what the longest need."""
        taken = ((lot.fish, shares_of_one(lot.mm, self.vessel, lot.rules)) for lot in self.lots)
        return {cap: limit for cap, (_, limit) in totals(taken).items()}

    @property
    def binding_cap(self) -> Cap | None:
        """The cap that is nearest to its limit; run counts only where the tank is too short."""
        shares = {
            cap: share
            for cap, share in self.cap_shares.items()
            if share > 0 and (cap in SUMMED_CAPS or share > 1 + DUST)
        }
        return max(shares, key=lambda cap: shares[cap], default=None)

    @property
    def binds(self) -> Binds | None:
        """Whether water or space runs out first; None where the share for ammonia cannot be said."""
        water, cap = self.ammonia_share, self.binding_cap
        if water is None:
            return None
        if cap is None or water > self.cap_shares[cap]:
            return Binds.WATER if water > 0 else None
        return Binds.FILTER if cap is Cap.FEED else Binds.SPACE

    @property
    def oxygen(self) -> Oxygen | None:
        """What there is of oxygen, and what the fish use; None where the temperature is not stated."""
        celsius = self.vessel.conditions.temperature_c
        if celsius is None:
            return None
        grams = [(lot.fish, weight_g(lot.mm, lot.rules)) for lot in self.swimming]
        return Oxygen(
            holds_mg_per_l=saturation_mg_per_l(celsius),
            demand_mg_per_hour=sum(fish * demand_mg_per_hour(weight, celsius) for fish, weight in grams),
            least_mg_per_l=max(lot.rules.water.least_oxygen_mg_per_l.value for lot in self.lots),
            beyond_data=any(is_extrapolated(weight, celsius) for _, weight in grams),
        )

    @property
    def is_outside_packs(self) -> bool:
        """Whether the water is colder or warmer than the figures of one of the packs hold for."""
        celsius = self.vessel.conditions.temperature_c
        waters = [lot.rules.water for lot in self.lots]
        return celsius is not None and any(not w.from_c.value <= celsius <= w.until_c.value for w in waters)


def tank_water(vessel: Vessel, lots: Sequence[Lot], on: date) -> TankWater:
    """Return a vessel with its fish on a day.

    Parameters
    ----------
    lots
        At least one.

    Raises
    ------
    ValueError
        Without any lot: then there is nothing to say.
    """
    if not lots:
        raise ValueError(f"{vessel.name}: no fish")
    return TankWater(vessel, tuple(lots), on)
