"""The smallest set of causes: dropped one by one, and asked anew without each.

Deletion filter (Chinneck and Dravnieks 1991, ORSA Journal on Computing 3(2):157-168, from memory): what can be dropped,
with the rest still impossible, is no cause. Here whole halves are tried first, since most broods are no cause.
"""

from collections.abc import Iterable, Sequence

from allocator import changes
from allocator.questions.asking import Asking
from allocator.replies.why import Cause, CauseKind, Causes
from allocator.room import Pin, Room

STAGE = "what is in the way?"


def candidates(room: Room, brood: str) -> tuple[Cause, ...]:
    """Return all that could be in the way of a brood: the keeper's wishes and the other broods."""
    wishes = [Cause(kind=CauseKind.PIN, name=pin.brood) for pin in room.pins if pin.brood != brood]
    wishes += [Cause(kind=CauseKind.PIN, name=brood)] if any(pin.brood == brood for pin in room.pins) else []
    wishes += [Cause(kind=CauseKind.ORDER, name=order.name) for order in room.orders]
    if room.keeper.away:
        wishes.append(Cause(kind=CauseKind.AWAY, name=""))
    if room.keeper.most_moves_a_day is not None:
        wishes.append(Cause(kind=CauseKind.MOST_MOVES, name=str(room.keeper.most_moves_a_day)))
    others = [Cause(kind=CauseKind.BROOD, name=other.name) for other in room.broods if other.name != brood]
    return (*dict.fromkeys(wishes), *others)


def with_only(room: Room, broods: Iterable[str], kept: Sequence[Cause], wish: Iterable[Pin]) -> Room:
    """Return the room with some broods and, of all that could be in their way, only some causes.

    Parameters
    ----------
    broods
        The brood that is asked about; none to see whether the causes by themselves get on.
    wish
        What is asked for it, as pins beside those of the room.
    """
    names = {kind: {cause.name for cause in kept if cause.kind is kind} for kind in CauseKind}
    mine = set(broods)
    pins = [pin for pin in room.pins if pin.brood in names[CauseKind.PIN]]
    room = changes.with_pins(room, [*pins, *wish])
    room = changes.only_broods(room, mine | names[CauseKind.BROOD])
    orders = tuple(order for order in room.orders if order.name in names[CauseKind.ORDER])
    room = room.model_copy(update={"orders": orders})
    if not names[CauseKind.AWAY]:
        room = changes.with_away(room, ())
    return room if names[CauseKind.MOST_MOVES] else changes.with_most_moves(room, None)


def smallest_causes(asking: Asking, room: Room, brood: str, wish: tuple[Pin, ...] = ()) -> Causes | None:
    """Return the smallest set of causes that is found, and how far it is verified; None where nothing is proven.

    Parameters
    ----------
    room
        In which not everybody can be housed as asked.
    brood
        The brood that is asked about. It is no cause, and never dropped.
    wish
        Pins that ask for what cannot be; none where the brood has no home at all.
    """

    def impossible(kept: Sequence[Cause]) -> bool:
        return asking.can_house(with_only(room, [brood], kept, wish), STAGE).housed is False

    kept = list(candidates(room, brood))
    if not impossible(kept):
        return None
    others = [cause for cause in kept if cause.kind is CauseKind.BROOD]
    wishes = [cause for cause in kept if cause.kind is not CauseKind.BROOD]
    chunks = [wishes, *_halves(others)]
    while chunks:
        chunk = chunks.pop(0)
        rest = [cause for cause in kept if cause not in chunk]
        if not chunk:
            continue
        if impossible(rest):
            kept = rest
        elif len(chunk) > 1:
            chunks = [*_halves(chunk), *chunks]
    return _verified(asking, room, brood, wish, kept)


def _halves(causes: list[Cause]) -> list[list[Cause]]:
    middle = (len(causes) + 1) // 2
    return [causes[:middle], causes[middle:]]


def _verified(asking: Asking, room: Room, brood: str, wish: tuple[Pin, ...], kept: list[Cause]) -> Causes:
    """Ask anew for all of the causes together, for all but each one, and for them alone."""
    rooms = {cause: with_only(room, [brood], [c for c in kept if c != cause], wish) for cause in kept}
    alone = with_only(room, [brood] if wish else [], kept, ())
    return Causes(
        causes=tuple(kept),
        together=asking.can_house(with_only(room, [brood], kept, wish), STAGE).housed is False,
        each=tuple(c for c, smaller in rooms.items() if asking.can_house(smaller, STAGE).housed),
        spared=bool(asking.can_house(alone, STAGE).housed),
    )
