"""What may become of one brood: eggs, day of hatch, numbers and lengths by day, in many replays at once.

A band of a pack (low, expected, high) says nothing of how rare its ends are. Taken here, for all of them alike: half
of the broods lie below what is expected and half above, spread evenly on either side, and none beyond the ends
(judgement: packs give the ends as the worst and the best that is planned for). Each brood has a draw of its own for its
eggs, its hatch, its survival and its growth, which it keeps for life; broods are drawn apart from each other.

Within a brood every egg and every fish lives or dies on its own: numbers are binomial.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from allocator.frozen import kept_in_it
from allocator.husbandry.growth import growth_curve
from allocator.husbandry.life import Life
from allocator.husbandry.survival import LONGEST_DAYS, surviving_by_day
from allocator.rules import Estimate, GrowthPace, RulePack

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def between(u: Floats, low: float | Floats, expected: float | Floats, high: float | Floats) -> Floats:
    """Return the value of a band at u: low at 0, expected at a half, high at 1, on straight lines.

    For u drawn evenly from 0 to 1 its mean is (low + 2 expected + high) / 4.

    Parameters
    ----------
    u
        0 to 1, any shape that goes with that of the band.
    """
    down, up = np.minimum(2 * u - 1, 0.0), np.maximum(2 * u - 1, 0.0)
    found: Floats = expected + down * (expected - low) + up * (high - expected)
    return found


@dataclass(frozen=True)
class Lengths:
    """How long the fish of one brood are in each of many replays, with room to grow.

    Days are counted from today; `first` is that of the first column.

    Attributes
    ----------
    hatched
        The day of hatch, shape (replays,); below 0 if that has been.
    mm
        Length, 0 for eggs and never beyond that at sale, shape (replays, days).
    """

    first: int
    hatched: Ints
    mm: Floats

    @property
    def until(self) -> int:
        """The day after the last one that is followed."""
        return self.first + int(self.mm.shape[1])

    def first_day_at(self, mm: float) -> Ints:
        """Return the day, from `first` on, on which a length is reached; the day after the last where it is not."""
        there = self.mm >= mm - 1e-9
        found = np.where(there.any(axis=1), there.argmax(axis=1), self.mm.shape[1])
        days: Ints = (found + self.first).astype(np.int64)
        return days


@dataclass(frozen=True)
class Fate(Lengths):
    """What becomes of one brood in each of many replays.

    Attributes
    ----------
    heads
        Eggs or fish alive, shape (replays, days).
    """

    heads: Ints | Floats

    def from_day(self, day: int, replay: int, share: float) -> "Fate":
        """Return the fate in one replay from a day on, for so much of the brood, with days counted from that day."""
        cut = min(max(day - self.first, 0), self.mm.shape[1] - 1)
        one = slice(replay, replay + 1)
        return Fate(
            first=max(self.first - day, 0),
            hatched=self.hatched[one] - day,
            mm=self.mm[one, cut:],
            heads=self.heads[one, cut:] * np.float64(share),
        )


def fate_of(life: Life, today: date, until: int, replays: int, seed: np.random.SeedSequence) -> Fate:
    """Return what becomes of a brood from today, or from its collection, until a day (excluded).

    Numbers begin from the last real count, or from the eggs; those of a planned collection are Poisson about the
    planned number (judgement: no record of how collections vary was found; those of pairs that lay in spells vary more).
    Lengths begin from the last measured one. The day of hatch is drawn for eggs that have not hatched by now.

    Parameters
    ----------
    until
        Days from today.
    seed
        Of this brood in these replays alone.
    """
    rng = np.random.default_rng(seed)
    u_hatch, u_alive, u_growth, u_incubation = rng.random((4, replays))
    brood, collected = life.brood, (life.brood.collected - today).days
    first = max(collected, 0) if brood.planned else 0
    hatched = _hatched(life, today, u_incubation)
    mm = _mm(life, today, hatched, np.arange(first, max(until, first + 1)), u_growth)
    count = max((c for c in brood.counts if c.on <= today), key=lambda c: c.on, default=None)
    if brood.planned:
        now, start = rng.poisson(brood.eggs, replays), first
    elif count is not None:
        now, start = np.full(replays, count.fish), (count.on - today).days
    else:
        now, start = np.full(replays, brood.eggs), collected
    counted_as_fish = count is not None and not life.is_egg(count.on)
    hatch = between(u_hatch, *_band(life.rules.hatch_share))
    chances = _lives_on(life.rules, np.arange(start, first + mm.shape[1]) - hatched[:, None], hatch, u_alive)
    heads = np.empty((replays, mm.shape[1]), dtype=np.int64)
    for place, day in enumerate(range(start, first + mm.shape[1])):
        if day > start or not counted_as_fish:
            now = rng.binomial(now, chances[:, place])
        if day >= first:
            heads[:, day - first] = now
    return Fate(first, hatched, mm, heads)


def on_one_day(
    life: Life, since: date, day: int, replays: int, seed: np.random.SeedSequence, *, lengths_from: int
) -> tuple[Ints, Lengths]:
    """Return the fish of a brood on one day, and their lengths from another until then: drawn as in `fate_of`.

    Whoever lives through many days does so with the product of the chances of each: one draw does for all of them.

    Parameters
    ----------
    since
        The day from which others are counted; that of collection for a brood that is still to come.
    """
    rng = np.random.default_rng(seed)
    u_hatch, u_alive, u_growth, u_incubation = rng.random((4, replays))
    hatched = _hatched(life, since, u_incubation)
    mm = _mm(life, since, hatched, np.arange(lengths_from, day + 1), u_growth)
    brood = life.brood
    count = max((c for c in brood.counts if c.on <= since), key=lambda c: c.on, default=None)
    counted_as_fish = count is not None and not life.is_egg(count.on)
    begun = ((brood.collected if count is None else count.on) - since).days
    number = brood.eggs if count is None else count.fish
    now = rng.poisson(number, replays) if brood.planned else np.full(replays, number)
    before = begun if counted_as_fish else begun - 1
    most = max(LONGEST_DAYS, int((day - hatched).max()) + 1, int((before - hatched).max()) + 1)
    tables = [surviving_by_day(life.rules, estimate, most) for estimate in Estimate]
    then, at_first = (
        between(u_alive, *(table[np.maximum(on - hatched, 0)] for table in tables)) for on in (day, before)
    )
    hatches = (not counted_as_fish) & (before < hatched) & (hatched <= day)
    share = np.where(hatches, between(u_hatch, *_band(life.rules.hatch_share)), 1.0)
    alive = np.where(hatched <= day, np.clip(then / at_first, 0.0, 1.0), 1.0)
    return rng.binomial(now, share * alive), Lengths(lengths_from, hatched, mm)


def _band(band: object) -> tuple[float, float, float]:
    low, expected, high = (getattr(band, estimate.value).value for estimate in Estimate)
    return low, expected, high


def _hatched(life: Life, today: date, u: Floats) -> Ints:
    """Return the days of hatch, counted from today: the one of the forecast for broods that have hatched."""
    planned: int = (life.hatched - today).days
    if planned <= 0 or life.wetted is not None:
        return np.full(len(u), planned)
    laid_before = (life.brood.laid_over_days - 1) // 2
    days = np.floor(between(u, *_band(life.rules.incubation_days)) + 0.5) - laid_before
    found = (life.brood.collected - today).days + np.maximum(days, 0)
    days_of: Ints = np.maximum(found, 0 if life.brood.planned else 1).astype(np.int64)
    return days_of


def _lives_on(rules: RulePack, ages: Ints, hatch: Floats, u: Floats) -> Floats:
    """Return the chance of an egg or a fish to be alive on each day, if it was on the day before.

    Parameters
    ----------
    ages
        Days after hatch, shape (replays, days).
    hatch, u
        The share that hatches, and the draw of survival, shape (replays,).
    """
    since = np.maximum(np.concatenate([ages[:, :1] - 1, ages], axis=1), 0)
    tables = [
        surviving_by_day(rules, estimate, max(LONGEST_DAYS, int(since.max()) + 1)) for estimate in Estimate
    ]
    low, expected, high = (table[since] for table in tables)
    alive = between(u[:, None], low, expected, high)
    onward = np.clip(alive[:, 1:] / alive[:, :-1], 0.0, 1.0)
    return np.where(ages < 0, 1.0, np.where(ages == 0, hatch[:, None], onward))


@kept_in_it
def _by_age(rules: RulePack, pace: GrowthPace, days: int) -> Floats:
    return growth_curve(rules, pace).mm_of(np.arange(days, dtype=np.float64))


def _mm(life: Life, today: date, hatched: Ints, days: Ints, u: Floats) -> Floats:
    """Return lengths by replay and day, between the slow and the fast curve; from the last one that was measured."""
    rules, most = life.rules, life.rules.sale_mm.value
    measured = [count for count in life.brood.counts if count.mm is not None and count.on <= today]
    ages = days[None, :] - hatched[:, None]
    if not measured:
        longest = 1 << int(max(ages.max(), 1)).bit_length()
        found = [_by_age(rules, pace, longest)[np.maximum(ages, 0)] for pace in GrowthPace]
    else:
        last = max(measured, key=lambda count: count.on)
        since = days - (last.on - today).days
        found = [
            _goes_on(rules, pace, min(float(last.mm or 0.0), most), since)[None, :] for pace in GrowthPace
        ]
    slow, typical, fast = found
    return np.where(ages < 0, 0.0, np.minimum(between(u[:, None], slow, typical, fast), most))


def _goes_on(rules: RulePack, pace: GrowthPace, mm: float, since: Ints) -> Floats:
    """Return the lengths so many days after fish were so long; those that are as long as the curve gets stay so."""
    curve = growth_curve(rules, pace)
    age = curve.age(mm)
    if age is None:
        return np.full(len(since), mm)
    return np.maximum(curve.mm_of(age + np.maximum(since, 0).astype(np.float64)), mm)
