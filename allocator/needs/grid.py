"""Where time is cut: at the keeper's move days, and where eggs are set up."""

from datetime import date, timedelta
from math import ceil

from allocator.husbandry.life import Dwelling, Life
from allocator.husbandry.stages import earliest_entry, latest_entry
from allocator.room import Brood, Order, PinKind, Room

FINE_WEEKS = 4
"""Weeks from today in which every move day is considered, however many there are in a week."""

MOST_MOVE_DAYS_A_WEEK = 2
"""Later weeks: so many move days a week are considered."""

LONGEST_PINNED = timedelta(days=366)
"""So long after fish are long enough a sale may be pinned; a later day is a slip of the pen (judgement)."""


def horizon(room: Room, life: Life, first: date) -> date:
    """Return a day by which a brood is sold on every path and in any company."""
    start = max(life.brood.collected, room.today) if life.brood.planned else room.today
    ready = life.ready_for_sale([Dwelling(0.0, start, start + timedelta(days=1), {start: 1.0})])
    assert ready is not None  # noqa: S101 - the path is not empty
    late = max(ready, first, *_kept_until(room, life.brood, ready)) + timedelta(
        days=ceil(life.rules.sell_within_days.value)
    )
    return room.next_move_day(late) + timedelta(days=1)


def order_leaves(room: Room, order: Order) -> date:
    """Return the day on which the fish of an order leave: the first one from its day on, on which fish are moved."""
    return room.next_move_day(order.on)


def _kept_until(room: Room, brood: Brood, ready: date) -> list[date]:
    """Return the days until which a brood may have to be kept though it could be sold: for an order, or as pinned."""
    pinned = [p.span.start for p in room.pins if p.brood == brood.name and p.kind is PinKind.MOVE_ON]
    kept = [day for day in pinned if day is not None and day <= ready + LONGEST_PINNED]
    order = room.order_of.get(brood.name)
    return kept if order is None else [*kept, order_leaves(room, order)]


def cut_time(
    room: Room, ends: dict[str, date], forecast: dict[str, Life]
) -> tuple[tuple[date, ...], tuple[date, ...]]:
    """Return the days at which slots begin (and the last ends), the move days among them.

    `ends` has the horizon of each brood.
    """
    end = max(ends.values(), default=room.today + timedelta(days=7))
    moves: list[date] = []
    fine_until = room.today + timedelta(weeks=FINE_WEEKS)
    this_week: tuple[int, int] = (0, 0)
    day = room.today
    while day <= end:
        if room.keeper.moves_fish_on(day):
            week = day.toordinal() // 7
            used = this_week[1] if this_week[0] == week else 0
            if day < fine_until or used < MOST_MOVE_DAYS_A_WEEK:
                moves.append(day)
                this_week = (week, used + 1)
        day += timedelta(days=1)
    pinned = {pin.span.start for pin in room.pins if pin.kind is PinKind.MOVE_ON and pin.span.start}
    moves += _window_days(room, forecast)
    moves += [last - timedelta(days=1) for last in ends.values()]
    pinned |= {order_leaves(room, order) for order in room.orders}
    moves = sorted({*moves, *(d for d in pinned if room.today <= d <= end and room.keeper.moves_fish_on(d))})
    starts = {brood.collected for brood in room.broods if brood.planned}
    days = sorted({room.today, *moves, *starts, end + timedelta(days=1)})
    return tuple(days), tuple(moves)


def _window_days(room: Room, forecast: dict[str, Life]) -> list[date]:
    """Return the first and last move day of every window, so that none is missed where days are left out."""
    days: set[date] = set()
    for life in forecast.values():
        for stage in life.rules.stages[1:]:
            for day in (earliest_entry(life, stage), latest_entry(life, stage)):
                days.add(room.next_move_day(max(day, room.today)))
    return sorted(days)
