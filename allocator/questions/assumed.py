"""In what one room differs from another: the assumptions behind every difference between their plans."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from typing import TypeVar

from allocator.frozen import Frozen
from allocator.replies.assumed import Assumption, Differs
from allocator.room import Brood, Keeper, Line, Room, Span, Vessel
from allocator.units import WEEKDAYS

T = TypeVar("T", bound=Frozen)


def assumed(room: Room, other: Room) -> tuple[Assumption, ...]:
    """Return in what another room differs from a room, in whatever counts for a plan."""
    return (
        *_vessels(room, other),
        *_groups(room, other),
        *_broods(room, other),
        *_lines(room, other),
        *_rest(room, other),
    )


def _changed(before: Mapping[str, T], after: Mapping[str, T]) -> Iterator[tuple[T, T]]:
    """Yield what is of one name in both and not the same."""
    yield from ((one, after[name]) for name, one in before.items() if name in after and one != after[name])


def _only_in(one: Iterable[str], other: Iterable[str]) -> tuple[str, ...]:
    known = set(other)
    return tuple(name for name in one if name not in known)


def _vessels(room: Room, other: Room) -> Iterator[Assumption]:
    before, after = room.vessel_named, other.vessel_named
    more: dict[str, list[str]] = {}
    for name in _only_in(after, before):
        more.setdefault(after[name].declared_as, []).append(name)
    for kind, names in more.items():
        yield Assumption(kind=Differs.MORE_VESSELS, names=tuple(names), what=kind)
    gone = _only_in(before, after)
    if gone:
        yield Assumption(kind=Differs.NO_VESSEL, names=gone)
    for one, two in _changed(before, after):
        unseen = {"rack": None, "shelf": None, "empty_kg": None, "available": Span()}
        if one.model_copy(update=unseen) != two.model_copy(update=unseen):
            yield Assumption(kind=Differs.VESSEL, names=(one.name,))
        if one.available != two.available:
            yield _days_of(two, room.today)


def _days_of(vessel: Vessel, today: date) -> Assumption:
    start, end = vessel.available.start, vessel.available.end
    if end is not None and end <= today:
        return Assumption(kind=Differs.NO_VESSEL, names=(vessel.name,))
    if end is not None and start is None:
        return Assumption(kind=Differs.NO_VESSEL, names=(vessel.name,), on=end)
    return Assumption(kind=Differs.VESSEL_DAYS, names=(vessel.name,), after=_days(vessel.available))


def _days(span: Span) -> str:
    parts = [f"{word} {day}" for word, day in (("from", span.start), ("until", span.end)) if day is not None]
    return " ".join(parts) or "always"


def _groups(room: Room, other: Room) -> Iterator[Assumption]:
    before, after = room.group_named, other.group_named
    for kind, names in (
        (Differs.MORE_GROUPS, _only_in(after, before)),
        (Differs.NO_GROUPS, _only_in(before, after)),
    ):
        if names:
            yield Assumption(kind=kind, names=names)
    yield from (Assumption(kind=Differs.GROUP, names=(one.name,)) for one, _ in _changed(before, after))


def _broods(room: Room, other: Room) -> Iterator[Assumption]:
    before, after = room.brood_named, other.brood_named
    gone_groups = set(room.group_named) - set(other.group_named)
    gone = tuple(name for name in _only_in(before, after) if before[name].parents not in gone_groups)
    for kind, names in ((Differs.MORE_BROODS, _only_in(after, before)), (Differs.NO_BROODS, gone)):
        if names:
            yield Assumption(kind=kind, names=names)
    for one, two in _changed(before, after):
        yield from _brood(one, two)


def _brood(one: Brood, two: Brood) -> Iterator[Assumption]:
    if one.collected != two.collected:
        yield Assumption(
            kind=Differs.COLLECTED, names=(one.name,), before=str(one.collected), after=str(two.collected)
        )
    if _fish(one) != _fish(two):
        yield Assumption(kind=Differs.FISH, names=(one.name,), before=str(_fish(one)), after=str(_fish(two)))
    same = {"collected": one.collected, "eggs": one.eggs, "counts": one.counts}
    if two.model_copy(update=same) != one or (_fish(one) == _fish(two) and one.counts != two.counts):
        yield Assumption(kind=Differs.BROOD, names=(one.name,))


def _fish(brood: Brood) -> int:
    """Return the last count of a brood, or its eggs where it was never counted."""
    return max(brood.counts, key=lambda count: count.on).fish if brood.counts else brood.eggs


def _lines(room: Room, other: Room) -> Iterator[Assumption]:
    before, after = room.line_named, other.line_named
    for kind, names in (
        (Differs.MORE_LINES, _only_in(after, before)),
        (Differs.NO_LINES, _only_in(before, after)),
    ):
        if names:
            yield Assumption(kind=kind, names=names)
    changes: dict[tuple[str, str, str], list[str]] = {}
    for one, two in _changed(before, after):
        figures, others = (dict(line.rules.figures()) for line in (one, two))
        told = [(path, figures[path], others[path]) for path in figures if path in others]
        for path, was, now in told:
            if was.value != now.value:
                key = (path, f"{was.value:g} {was.unit}".rstrip(), f"{now.value:g} {now.unit}".rstrip())
                changes.setdefault(key, []).append(one.name)
        if set(figures) != set(others) or not _same_but_figures(one, two):
            yield Assumption(kind=Differs.LINE, names=(one.name,))
    for (path, was_value, now_value), lines in changes.items():
        yield Assumption(
            kind=Differs.FIGURE, names=tuple(lines), what=path, before=was_value, after=now_value
        )


def _same_but_figures(one: Line, two: Line) -> bool:
    def shape(line: Line) -> tuple[object, ...]:
        stages = tuple((s.name, s.kinds, s.alone, s.may_skip, s.with_parents) for s in line.rules.stages)
        return line.species, line.may_share, line.rules.eggs_need_snail_free, stages

    return shape(one) == shape(two)


def _rest(room: Room, other: Room) -> Iterator[Assumption]:
    one, two = room.keeper, other.keeper
    told = (
        (Differs.MOVE_DAYS, _weekdays(one), _weekdays(two)),
        (Differs.MOST_MOVES, str(one.most_moves_a_day or ""), str(two.most_moves_a_day or "")),
        (Differs.AWAY, _away(one), _away(two)),
        (Differs.PLANNED_ON, _planned_on(one), _planned_on(two)),
    )
    for kind, before, after in told:
        if before != after:
            yield Assumption(kind=kind, before=before, after=after)
    here = (
        {brood.name for brood in (*room.broods, *other.broods)}
        & room.brood_named.keys()
        & other.brood_named.keys()
    )
    pins, others = ([pin for pin in r.pins if pin.brood in here] for r in (room, other))
    if pins != others:
        yield Assumption(kind=Differs.PINS, before=str(len(pins)), after=str(len(others)))
    if room.orders != other.orders:
        yield Assumption(kind=Differs.ORDERS)
    if room.could_add != other.could_add:
        yield Assumption(kind=Differs.COULD_ADD)


def _weekdays(keeper: Keeper) -> str:
    return ", ".join(WEEKDAYS[number] for number in keeper.move_days)


def _away(keeper: Keeper) -> str:
    return ", ".join(_days(span) for span in keeper.away)


def _planned_on(keeper: Keeper) -> str:
    return f"{keeper.survival.value} survival and {keeper.growth.value} growth"
