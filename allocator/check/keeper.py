"""Whether the keeper can do it, and what was pinned holds."""

from collections import Counter
from collections.abc import Iterator
from datetime import date

from allocator.check.breach import Breach
from allocator.check.walk import Walk, days_between, runs
from allocator.codes import Rule
from allocator.room import Pin, PinKind


def check_move_day(walk: Walk) -> Iterator[Breach]:
    """Fish are moved only on the keeper's move days, never on days away."""
    for move in walk.plan.moves:
        if move.from_ is not None and not walk.room.keeper.moves_fish_on(move.on):
            away = any(span.holds(move.on) for span in walk.room.keeper.away)
            why = "a day away" if away else f"a {move.on:%A}, not a move day"
            text = f"{move.lot} is to leave {move.from_} on {move.on}, {why}"
            yield Breach(rule=Rule.MOVE_DAY, day=move.on, brood=move.brood, vessel=move.from_, text=text)


def check_most_moves(walk: Walk) -> Iterator[Breach]:
    """No more moves on a day than the keeper can do."""
    most = walk.room.keeper.most_moves_a_day
    moves = Counter(move.on for move in walk.plan.moves if move.from_ is not None)
    for day, count in sorted(moves.items()):
        if most is not None and count > most:
            text = f"{count} moves on {day}, but the keeper can do {most}"
            yield Breach(rule=Rule.MOST_MOVES, day=day, brood=None, vessel=None, text=text)


def check_pinned(walk: Walk) -> Iterator[Breach]:
    """Whatever the keeper has pinned holds."""
    for pin in walk.room.pins:
        if pin.brood in walk.not_taken:
            continue  # there is nothing to pin
        if pin.kind is PinKind.MOVE_ON:
            day = pin.span.start
            if day is not None and not any(
                move.on == day and move.from_ is not None for move in walk.moves_of.get(pin.brood, ())
            ):
                text = f"{pin.brood} is pinned to be moved on {day}, but no move of it is planned that day"
                yield Breach(rule=Rule.PINNED, day=day, brood=pin.brood, vessel=pin.vessel, text=text)
            continue
        bad = _days_against(walk, pin)
        early = (day for day in bad if day < walk.first_free)
        late = (day for day in bad if day >= walk.first_free)
        in_being = pin.brood in walk.lives and not walk.lives[pin.brood].brood.planned
        for first, last in (*runs(early), *runs(late)):
            yield Breach(
                rule=Rule.PINNED,
                day=first,
                brood=pin.brood,
                vessel=pin.vessel,
                text=(
                    f"{pin.brood} is pinned to be {pin.kind.value} {pin.vessel}, "
                    f"which does not hold from {first} to {last}"
                ),
                as_found=in_being and first < walk.first_free,
            )


def check_ordered(walk: Walk) -> Iterator[Breach]:
    """Fish that are promised for an order are kept until its day."""
    for order in walk.room.orders:
        for brood in order.broods:
            kept_for = f"is promised for {order.name} on {order.on}"
            for move in walk.moves_of.get(brood, ()):
                if move.to is None and move.on < order.on:
                    text = f"{move.lot} is sold from {move.from_} on {move.on}, but {kept_for}"
                    yield Breach(rule=Rule.ORDERED, day=move.on, brood=brood, vessel=move.from_, text=text)
            for row in walk.plan.homeless:
                if row.brood == brood and row.until < order.on:
                    text = f"{brood} is listed as homeless until {row.until}, but {kept_for}"
                    yield Breach(rule=Rule.ORDERED, day=row.until, brood=brood, vessel=None, text=text)


def _days_against(walk: Walk, pin: Pin) -> list[date]:
    """Return the days of a pin on which the brood is in the room but not as pinned."""
    there: set[date] = set()
    anywhere: set[date] = set()
    for walked in walk.of_brood.get(pin.brood, ()):
        days = {day for day in days_between(walked.stay.from_, walked.stay.until) if pin.span.holds(day)}
        anywhere |= days
        if walked.stay.vessel == pin.vessel:
            there |= days
    return sorted(anywhere - there if pin.kind is PinKind.IN else there)
