"""A brood that is to come, as the keeper would take it: what is not said is as with the last of its line."""

from datetime import date, timedelta

from allocator.room import Brood, CollectedBy, Room

A_MONTH = timedelta(days=28)


def typical(room: Room, line: str) -> Brood | None:
    """Return the brood of a line that was or will be collected last; None where there is none to go by."""
    broods = [brood for brood in room.broods if brood.line == line]
    return max(broods, key=lambda brood: brood.collected, default=None)


def coming_brood(
    room: Room,
    line: str,
    *,
    on: date | None = None,
    eggs: int | None = None,
    by: CollectedBy | None = None,
    parents: str | None = None,
) -> Brood | None:
    """Return a brood that is to come; None where nothing says how many eggs it has.

    Parameters
    ----------
    line
        One of the room's.
    on
        The day of collection; four weeks from today if left out.
    eggs, by
        As with the last brood of the line if left out.
    parents
        The breeding group, where it matters.
    """
    like = typical(room, line)
    if eggs is None and like is None:
        return None
    day = on or room.today + A_MONTH
    how = by or (like.by if like is not None else usual_way(room, line))
    return Brood(
        name=_free_name(room, f"{line} {day.isoformat()}"),
        line=line,
        collected=day,
        by=how,
        eggs=eggs if eggs is not None or like is None else like.eggs,
        planned=True,
        parents=parents or (like.parents if like is not None else None),
    )


def usual_way(room: Room, line: str) -> CollectedBy:
    """Return how broods of a line come into the room if nothing is said: young where they are guarded, else picked."""
    guarded = room.line_named[line].rules.guards_young
    return CollectedBy.YOUNG if guarded else CollectedBy.PICKING


def _free_name(room: Room, name: str) -> str:
    taken = room.brood_named
    if name not in taken:
        return name
    return next(
        f"{name} {letter}" for letter in map(str, range(2, len(taken) + 3)) if f"{name} {letter}" not in taken
    )
