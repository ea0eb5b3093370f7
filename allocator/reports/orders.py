"""Fish that are promised for a day: whether they will be there, where from, and when they leave."""

from collections.abc import Iterator
from datetime import date
from math import floor

from allocator.check import Checked
from allocator.husbandry.life import lives
from allocator.plan import Move, Plan
from allocator.reports.blocks import Block, Grid, blocks_text
from allocator.reports.tables import Column, clean
from allocator.reports.words import count_of, day_words, joined, listed
from allocator.room import Order, Room
from allocator.units import DUST

AS_WHOLES = (
    "A brood is kept as a whole until the day of its order; how many of it are really there (rounded down here), only "
    "a count tells. What is not wanted for the order is for other buyers."
)


def orders_text(room: Room, plan: Plan) -> str:
    """Return what becomes of the orders, as it is printed, or nothing; see `orders_blocks`."""
    blocks = orders_blocks(room, plan)
    return f"Orders\n{blocks_text(blocks, indent='  ')}" if blocks else ""


def orders_blocks(room: Room, plan: Plan) -> list[Block]:
    """Return a row for each order, and what is wrong with it; nothing where there are none.

    Parameters
    ----------
    room
        With the vessels that the plan adds.
    """
    if not room.orders:
        return []
    checked = Checked(room, plan)
    columns = (
        Column("order", least=12),
        Column("fish", right=True),
        Column("wanted on"),
        Column("there then", right=True, least=5),
        Column("from", least=12),
        Column("leave on"),
    )
    orders = sorted(room.orders, key=lambda order: (order.on, order.name))
    rows = [
        (
            clean(order.name),
            str(order.fish),
            day_words(order.on),
            str(_there(room, plan, order, checked.ready)),
            listed(order.broods),
            joined([day_words(on) for on in _leave(plan, order)]) or "never",
        )
        for order in orders
    ]
    wrong = [words for order in orders for words in _wrong(room, plan, order, checked.ready)]
    return [Grid(columns, tuple(rows)), *wrong, AS_WHOLES]


def _on_time(plan: Plan, order: Order, ready: dict[str, date]) -> list[str]:
    """Return the broods of an order that have a home and are long enough by its day."""
    lost = {row.brood for row in plan.homeless}
    return [b for b in order.broods if b not in lost and b in ready and ready[b] <= order.on]


def _there(room: Room, plan: Plan, order: Order, ready: dict[str, date]) -> int:
    """Return the whole fish of an order that can be expected on its day, and long enough."""
    forecast = lives(room)
    return floor(sum(forecast[brood].heads(order.on) for brood in _on_time(plan, order, ready)) + DUST)


def _leave(plan: Plan, order: Order) -> list[date]:
    return sorted({move.on for move in plan.moves if move.to is None and move.brood in order.broods})


def _wrong(room: Room, plan: Plan, order: Order, ready: dict[str, date]) -> Iterator[str]:
    """Yield what stands between an order and its fish."""
    name = clean(order.name)
    lost = {row.brood: row.from_ for row in plan.homeless}
    for brood in order.broods:
        if brood in lost:
            yield (
                f"{name}: {clean(brood)} has no home from {day_words(lost[brood])} on. Without the order it would not "
                "have to be kept so long."
            )
        elif brood in {row.brood for row in plan.not_taken}:
            yield f"{name}: {clean(brood)} is not taken, as there is no room for it."
        elif brood in ready and ready[brood] > order.on:
            yield f"{name}: {clean(brood)} is long enough only on {day_words(ready[brood])}."
    there = _there(room, plan, order, ready)
    if there < order.fish:
        yield f"{name}: {count_of(order.fish - there, 'fish', 'fish')} short."


def sale_words(room: Room, move: Move) -> str:
    """Return for which order a sale is; nothing where it is for none."""
    order = room.order_of.get(move.brood)
    if order is None:
        return ""
    wanted = "" if order.on == move.on else f", wanted on {day_words(order.on)}"
    return f"sale, for the order of {clean(order.name)} ({count_of(order.fish, 'fish', 'fish')}{wanted})"
