"""When fish are long enough in many replays at once, where they live and in the company they live in.

A short vessel slows fish from a length on, and slow fish take longer from that length to that at sale: their delay is
longer than that of typical ones. So each replay grows on its own curve, a day at a time as `Life.ready_for_sale` does.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from allocator.husbandry.life import Dwelling
from allocator.questions.luck_draws import Floats, Ints, Lengths
from allocator.rules import RulePack
from allocator.units import DUST


@dataclass(frozen=True)
class Pace:
    """At what share of their full pace fish grow on each day: `small` before a short vessel slows them, `long` then."""

    small: Floats
    long: Floats

    @property
    def full(self) -> bool:
        """Whether nothing ever slows them."""
        return bool((self.small == 1).all() and (self.long == 1).all())


def pace_of(path: Sequence[Dwelling], rules: RulePack, since: date, days: int) -> Pace:
    """Return the pace on each of so many days.

    Parameters
    ----------
    path
        Where the fish live, in order of time; the last stay goes on for as long as it takes, as crowded as on its last
        day. Without any they have room to grow.
    since
        The first of the days.
    """
    room = rules.growth_room
    crowding, short = np.zeros(days), np.zeros(days, dtype=np.bool_)
    for place, stay in enumerate(path):
        begin, end = (min(max((on - since).days, 0), days) for on in (stay.start, stay.until))
        last = days if place == len(path) - 1 else end
        short[begin:last] = stay.run_cm < room.run_cm.value
        for on, share in stay.crowding.items():
            if 0 <= (day := (on - since).days) < days:
                crowding[day] = share
        if 0 < end < last:
            crowding[end:last] = crowding[end - 1]
    small = 1.0 - (1.0 - room.slowed_when_full.value) * crowding
    return Pace(small, np.where(short, small * room.slowed_to.value, small))


def ready_days(lengths: Lengths, rules: RulePack, pace: Pace) -> Ints:
    """Return the day on which the fish are long enough to sell in each replay; the day after the last where they are not.

    Parameters
    ----------
    lengths
        Of fish that have room to grow.
    pace
        For as many days as there are lengths, from day 0 on.
    """
    goal = _reached(lengths, rules.sale_mm.value)
    if pace.full:
        return lengths.first_day_at(rules.sale_mm.value)
    turn_mm = rules.growth_room.from_mm.value * (1 + DUST)
    turn = _reached(lengths, turn_mm) if turn_mm <= rules.sale_mm.value else np.full(len(goal), np.inf)
    small, long = (np.concatenate([[0.0], np.cumsum(share)]) for share in (pace.small, pace.long))
    born = np.clip(lengths.hatched, 0, len(pace.small))
    begun = small[born] - born  # what is grown by a day is the sum until then, less this
    turned = np.maximum(np.searchsorted(small, turn + begun, side="right"), born)
    while_small = np.maximum(np.searchsorted(small, goal + begun - DUST), born)
    after = np.minimum(turned, len(pace.small))
    left = goal - (small[after] - begun)
    slowed = np.searchsorted(long, long[after] + left - DUST)
    found = np.where(while_small <= turned, while_small, slowed)
    days: Ints = np.minimum(np.where(np.isfinite(goal), found, lengths.until), lengths.until).astype(np.int64)
    return days


def _reached(lengths: Lengths, mm: float) -> Floats:
    """Return when fish with room to grow reach a length, in parts of a day; infinite where they never do.

    Lengths run on straight lines from day to day. Those beyond the length at sale are not known: a day's growth is then
    taken to be that of the day before.
    """
    there = lengths.mm >= mm - DUST
    place = there.argmax(axis=1)
    rows = np.arange(len(place))
    one, two = np.maximum(place - 1, 0), np.maximum(place - 2, 0)
    grown = np.maximum(lengths.mm[rows, place] - lengths.mm[rows, one], 0.0)
    before = lengths.mm[rows, one] - lengths.mm[rows, two]
    grown = np.where(lengths.mm[rows, two] > 0, np.maximum(grown, before), grown)
    lacking = mm - lengths.mm[rows, one]
    part = np.clip(lacking / np.maximum(grown, DUST), 0.0, 1.0)
    on_the_way = (place > 0) & (lengths.mm[rows, one] > 0)
    found: Floats = np.where(on_the_way, place - 1 + part, place) + lengths.first
    return np.where(there.any(axis=1), found, np.inf)
