"""What dual prices prove, in whole numbers: nothing here hangs on how well a linear programme was solved."""

from math import ceil, inf

import numpy as np

from allocator.needs import Floats, Ints
from benchmark.columns.lots import WHOLE
from benchmark.columns.master import Prices
from benchmark.columns.parts import Parts
from benchmark.columns.stretches import Vessel

SCALE = 1_000_000
"""Prices are cut to whole millionths of a hundredth before anything is proven of them."""

HARDER = 1.0000001
"""A touch more than needed, so that lowering ends."""

PADS = (0.0, 0.005)
"""Shares of the rents that are spread evenly, one try each (judgement): before the prices have settled, a stretch in
slots without rent would make them prove nothing."""

TRIES, MOST_LOWER = 12, 1000.0
"""When lowering is given up: the prices are no good then (judgement)."""


def item_prices(vessel: Vessel, prices: Prices) -> tuple[Floats, Floats]:
    """Return worth by item and slot and fee by item, as floats."""
    rows = [item.lot.brood.index for item in vessel.items]
    weights = np.array([item.weight / WHOLE for item in vessel.items])
    worth = prices.worth[rows] * weights[:, None]
    fees = [prices.fees.get((vessel.number, item.lot.index), 0.0) for item in vessel.items]
    return worth, np.array(fees) * weights


def whole_item_prices(vessel: Vessel, worth: Ints, fees: dict[tuple[int, int], int]) -> tuple[Ints, Ints]:
    """Return the same in whole numbers: worth rounded up, fees rounded down, so that no stretch looks too cheap."""
    rows = [item.lot.brood.index for item in vessel.items]
    weights = np.array([item.weight for item in vessel.items], dtype=np.int64)
    items = -(-worth[rows] * weights[:, None] // WHOLE)
    fee = np.array([fees.get((vessel.number, i.lot.index), 0) for i in vessel.items], dtype=np.int64)
    return items, fee * weights // WHOLE


def proven(
    parts: Parts,
    groups: dict[int, list[int]],
    prices: Prices,
    price: dict[int, int],
    at_least: dict[int, int],
    at_most: dict[int, int],
) -> int:
    """Return what the added vessels cost at least, times `SCALE` and rounded down, as far as these prices prove it.

    The rent is taken as it is. Where a stretch of a group is worth more than its rent, all that the group is worth is
    lowered until none is (never the other way round), so the sum holds whatever the prices are.
    """
    sure = 0
    for pad in PADS:
        rent = _padded(parts, prices, price, pad)
        total = 0
        for kind in parts.kinds:
            total -= int(rent[kind].sum()) * parts.needs.classes[kind].copies
            left = price.get(kind, 0) * SCALE - int(rent[kind].sum())
            total += min(left * at_least.get(kind, 0), left * at_most[kind])
        for group, broods in groups.items():
            mine = {k: v for (k, g), v in parts.vessels.items() if g == group}
            total += _gain(prices, group, broods, mine, rent)
        sure = max(sure, total)
    return sure


def _padded(parts: Parts, prices: Prices, price: dict[int, int], pad: float) -> Ints:
    """Return the rents in whole numbers, with a share of them spread evenly, so that no slot is for nothing."""
    rent = prices.rent * (1 - pad)
    for kind in parts.kinds:
        rent[kind] += pad * price.get(kind, 0) / max(rent.shape[1], 1)
    return np.floor(rent * SCALE).astype(np.int64)


def _gain(
    prices: Prices,
    group: int,
    broods: list[int],
    mine: dict[int, Vessel],
    rent: Ints,
) -> int:
    """Return what a group must pay in rent at least; 0 where these prices do not say."""
    lower = 1.0
    for _ in range(TRIES):
        worth = np.zeros(prices.worth.shape, dtype=np.int64)
        worth[broods] = np.floor(prices.worth[broods] * (SCALE / lower)).astype(np.int64)
        fees = {key: ceil(fee * SCALE / lower) for key, fee in prices.fees.items() if key[0] == group}
        gain = int(worth[broods].sum()) - sum(fees.values())
        if gain <= 0:
            return 0
        steeper = lower
        for kind, vessel in mine.items():
            item_worth, fee = whole_item_prices(vessel, worth, fees)
            for got, stretch in vessel.best(item_worth, fee, rent[kind]):
                paid = int(rent[kind][stretch.begin : stretch.end].sum())
                steeper = max(steeper, lower * (paid + int(got)) / paid * HARDER if paid else inf)
        if steeper == lower:  # no stretch is worth more than its rent
            return gain
        if steeper > MOST_LOWER:
            return 0
        lower = steeper
    return 0
