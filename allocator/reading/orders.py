"""Fish that are promised for a day, and the broods that are kept for it. What cannot be kept is warned of."""

from dataclasses import dataclass
from datetime import timedelta
from math import floor

from allocator.husbandry.life import Life, lives
from allocator.husbandry.stages import sale_day
from allocator.reading.gather import Parts, Placed
from allocator.reading.shape import RawOrder
from allocator.reading.wishes import may_be_planned
from allocator.room import Brood, Order, Room
from allocator.units import DUST

FURTHEST_AHEAD = timedelta(days=3 * 366)
"""Nobody orders fish further ahead; a later day is a slip of the pen (judgement)."""

IF_GONE = "if its fish are gone, take it out of the order"


@dataclass(frozen=True)
class Promise:
    """An order and where it stands in the file."""

    order: Order
    part: Placed[RawOrder]


def promises_of(parts: Parts, broods: dict[str, Brood], left_out: dict[str, str]) -> list[Promise]:
    """Return the orders of which everything that they name is in the room."""
    found: list[Promise] = []
    whose: dict[str, str] = {}
    names: set[str] = set()
    for part in parts.each(RawOrder):
        raw = part.raw
        if raw.name in names:
            parts.add(part, "the name is used twice", "name")
        names.add(raw.name)
        kept = []
        for place, brood in enumerate(raw.from_):
            where = ("from", place)
            if brood in left_out:
                what = f"its brood {brood!r} is left out, and not kept for it"
                parts.add(part, what, *where, found=left_out[brood], warn=True)
            elif brood in whose:
                twice = "names it twice" if whose[brood] == raw.name else f"order {whose[brood]!r} has it"
                hint = "a brood is kept as a whole: for one order"
                parts.add(part, f"{brood!r} cannot be promised again", *where, found=twice, hint=hint)
            elif may_be_planned(parts, brood) or parts.knows(
                part, "broods", brood, broods, *where, otherwise=IF_GONE
            ):
                whose[brood] = raw.name
                kept.append(brood)
        lines = sorted({broods[brood].line for brood in kept if brood in broods})
        if len(lines) > 1:
            hint = "write an order for each line"
            parts.add(part, "an order is for one line", "from", found=", ".join(lines), hint=hint)
        if kept:
            found.append(Promise(Order(name=raw.name, fish=raw.fish, on=raw.on, broods=tuple(kept)), part))
    return found


def kept_orders(promises: list[Promise], room: Room, parts: Parts) -> tuple[Order, ...]:
    """Return the orders for which fish can be kept, each with the broods that can be long enough by its day."""
    forecast = lives(room)
    kept = (_kept(promise, room, forecast, parts) for promise in promises)
    return tuple(order for order in kept if order is not None)


def _kept(promise: Promise, room: Room, forecast: dict[str, Life], parts: Parts) -> Order | None:
    order, part = promise.order, promise.part
    if order.on <= room.today:
        hint = "no fish are kept for it; take it out of the file"
        parts.add(part, "its day is over", "on", found=f"today is {room.today}", hint=hint, warn=True)
        return None
    if order.on > room.today + FURTHEST_AHEAD:
        found = f"got {order.on}, today is {room.today}"
        parts.add(part, "its day is more than three years ahead", "on", found=found, hint="check the year")
        return None
    broods = []
    for brood in order.broods:
        ready = sale_day(forecast[brood])
        if ready > order.on:
            found = f"long enough on {ready} at the earliest"
            hint = "it is not kept for this order; `allocator target` tells what can be had by when"
            parts.add(
                part, f"{brood!r} is too late for {order.on}", "from", found=found, hint=hint, warn=True
            )
            continue
        if room.brood_named[brood].optional:
            what, hint = f"{brood!r} may be left out", "promise it with take: always"
            parts.add(part, what, "from", found="take: if it fits", hint=hint, warn=True)
        broods.append(brood)
    there = floor(sum(forecast[brood].heads(order.on) for brood in broods) + DUST)
    if broods and there < order.fish:
        found = f"{there} can be expected on {order.on}"
        hint = "promise more broods; `allocator target` tells when to spawn"
        parts.add(part, f"fewer than {order.fish} fish", "fish", found=found, hint=hint, warn=True)
    return order.model_copy(update={"broods": tuple(broods)}) if broods else None
