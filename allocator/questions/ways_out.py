"""The smallest ways out: each change is tried, and told only where a checked plan comes of it."""

from collections.abc import Iterable, Iterator
from datetime import timedelta

from allocator import changes
from allocator.husbandry.life import lives
from allocator.husbandry.stages import stage_kinds
from allocator.questions.asking import Asking
from allocator.replies.why import WayKind, WayOut
from allocator.room import Pin, PinKind, Room, Span

STAGE = "what would help?"
LATER_DAYS = tuple(range(7, 85, 7))
"""Days by which a collection is put off, tried in turn (judgement: after a season it is another collection)."""

MOST_CAUSES = 3
"""So many other broods are tried later (judgement: each takes a dozen plans)."""

STEP_MM = 5.0
MOST_STEPS = 6
FEWEST_SHARE = 0.25
"""Fewer than a quarter of the fish are not suggested (judgement): then rather leave the brood out."""


def ways_out(
    asking: Asking, room: Room, brood: str, wish: tuple[Pin, ...] = (), causes: Iterable[str] = ()
) -> tuple[WayOut, ...]:
    """Return what of each kind is the least change that lets a brood be housed as asked.

    Parameters
    ----------
    room
        In which not everybody can be housed as asked.
    wish
        Pins that ask for it; none where the brood has no home at all.
    causes
        Broods that are in the way. Where nothing else is found, some of them are tried later.
    """
    tries = (_more, _later, _fewer, _smaller)
    found = [way for attempt in tries for way in attempt(asking, room, brood, wish)]
    if not any(way.kind is not WayKind.MORE for way in found):
        planned = [name for name in causes if room.brood_named[name].planned]
        found += [way for name in planned[:MOST_CAUSES] for way in _put_off(asking, room, name, wish, ())]
    return tuple(found)


def _does(asking: Asking, room: Room, wish: tuple[Pin, ...]) -> bool:
    return bool(asking.can_house(changes.with_pins(room, (*room.pins, *wish)), STAGE).housed)


def _more(asking: Asking, room: Room, brood: str, wish: tuple[Pin, ...]) -> Iterator[WayOut]:
    """Yield the kinds of vessel of which one more is enough: those that could be added, else all that are there."""
    life = lives(room)[brood]
    stages = range(len(life.rules.stages))
    useful = {kind for number in stages for kind in stage_kinds(life, number)}
    prices = {offer.like: offer.price for offer in room.could_add if offer.most}
    there = dict.fromkeys(v.declared_as for v in room.vessels if useful & set(v.kinds))
    for like in [like for like in prices if like in there] or there:
        if _does(asking, changes.with_more(room, like, 1), wish):
            yield WayOut(kind=WayKind.MORE, name=like, amount=1, price=prices.get(like))


def _later(asking: Asking, room: Room, brood: str, wish: tuple[Pin, ...]) -> Iterator[WayOut]:
    """Yield the fewest weeks by which a planned collection is put off; a wish goes with it."""
    if not room.brood_named[brood].planned or any(pin.kind is PinKind.MOVE_ON for pin in wish):
        return
    yield from _put_off(asking, room, brood, (), wish)


def _put_off(
    asking: Asking, room: Room, brood: str, fixed: tuple[Pin, ...], moving: tuple[Pin, ...]
) -> Iterator[WayOut]:
    """Yield the fewest weeks by which a collection is put off, some pins kept as they are and some put off with it."""
    for days in LATER_DAYS:
        moved = tuple(pin.model_copy(update={"span": _later_span(pin.span, days)}) for pin in moving)
        if _does(asking, changes.with_collected_later(room, brood, days), (*fixed, *moved)):
            yield WayOut(kind=WayKind.LATER, name=brood, amount=days)
            return


def _later_span(span: Span, days: int) -> Span:
    start, end = (day and day + timedelta(days=days) for day in (span.start, span.end))
    return Span(start=start, end=end)


def _fewer(asking: Asking, room: Room, brood: str, wish: tuple[Pin, ...]) -> Iterator[WayOut]:
    """Yield the most fish of a brood that could be kept, found by halving what is in doubt."""
    there, kind = room.brood_named[brood].eggs, WayKind.FEWER_EGGS
    if not room.brood_named[brood].planned:
        kind = WayKind.FEWER_FISH
        there = round(lives(room)[brood].heads(room.today))
    most, too_many = max(int(there * FEWEST_SHARE), 1), there
    if too_many <= most or not _does(asking, changes.with_fish_kept(room, brood, most), wish):
        return
    while too_many - most > 1:
        middle = (most + too_many) // 2
        if _does(asking, changes.with_fish_kept(room, brood, middle), wish):
            most = middle
        else:
            too_many = middle
    yield WayOut(kind=kind, name=brood, amount=most)


def _smaller(asking: Asking, room: Room, brood: str, wish: tuple[Pin, ...]) -> Iterator[WayOut]:
    """Yield the greatest length at which the brood's line could be sold instead."""
    line = room.brood_named[brood].line
    mm = room.line_named[line].rules.sale_mm.value
    for _ in range(MOST_STEPS):
        mm -= STEP_MM
        try:
            smaller = changes.sold_at(room, mm, line)
        except changes.UnchangeableError:
            return
        if _does(asking, smaller, wish):
            yield WayOut(kind=WayKind.SMALLER, name=line, amount=mm)
            return
