"""What if? Two rooms planned, the second with as little changed as can be, and only what is different told."""

from collections import defaultdict
from collections.abc import Callable, Iterator
from collections.abc import Set as AbstractSet
from datetime import date, timedelta

from allocator.changes import names_of_more
from allocator.check import check_plan, room_for
from allocator.husbandry.life import lives
from allocator.in_use import WEEK, declared, weekly_use
from allocator.plan import Plan
from allocator.planner import plan_room
from allocator.questions.assumed import assumed
from allocator.replies.compare import (
    Comparison,
    Elsewhere,
    OtherMove,
    OtherSale,
    OtherUse,
    Side,
    Use,
)
from allocator.result import LevelOutcome, Progress, Result
from allocator.room import Room, new_vessel_name

MOVES_FOR = timedelta(days=30)
"""Moves are compared for a month ahead; what comes later is told by where the broods live."""

BRIEFLY = 2.0
"""Seconds for the second plan once the keeper has stopped the first (judgement)."""

MUCH_LESS = 0.5
"""A second plan made afresh is preferred with so much of the strain or less (judgement)."""

Place = tuple[str, ...]


def compare(
    room: Room,
    other: Room,
    *,
    seconds: float | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> Comparison:
    """Plan two rooms and return what is different.

    The second is planned against the plan of the first, so that nothing differs but what must, or what is better for it;
    and once more afresh where that is not proven, in case it is far better off so.

    Parameters
    ----------
    room, other
        Of the same day; see `allocator.reading` and `allocator.changes`.
    seconds
        Wall time to stay within, roughly, for each plan.
    progress
        Called often with how far the search is.

    Raises
    ------
    ValueError
        If the rooms are of different days.
    NoPlanInTime
        If there was no plan at all when the time ran out, or the keeper stopped the run.
    """
    if room.today != other.today:
        raise ValueError("the rooms are of different days")
    first = plan_room(room, seconds=seconds, progress=progress)
    before = called_as_in(other, room, first.best.plan)
    left = BRIEFLY if first.stopped and seconds is None else seconds
    second = plan_room(other, seconds=left, against=before, progress=progress)
    one, two = _side(first, room), _side(second, other)
    if not two.strain_proven and not second.stopped:
        # A search that goes on from the plan in hand may not find what the change is good for.
        afresh = plan_room(other, seconds=left, progress=progress)
        if _much_better(_side(afresh, other), two):
            second, two = afresh, _side(afresh, other)
    plans = before, second.best.plan
    if _live_alike(room, other):
        if _no_worse(one, two) and _does_for(other, first.best.plan):
            plans, two = (before, before), one.model_copy(update={"remarks": two.remarks})
        elif _no_worse(two, one) and _does_for(room, second.best.plan):
            plans, one = (plans[1], plans[1]), two.model_copy(update={"remarks": one.remarks})
    kept = room.brood_named.keys() & other.brood_named.keys()
    with_added = room_for(room, first.best.plan), room_for(other, plans[1])
    return Comparison(
        room=room.name,
        today=room.today,
        moves_until=room.today + MOVES_FOR,
        assumptions=assumed(room, other),
        before=one,
        after=two,
        elsewhere=tuple(elsewhere(kept, *plans)),
        moves=tuple(_moves(kept, *plans, room.today + MOVES_FOR)),
        sales=tuple(_sales(*plans)),
        use=tuple(_uses(*with_added, first.best.plan if plans[0] is before else plans[0], plans[1])),
    )


def _no_worse(one: Side, other: Side) -> bool:
    """Tell whether one plan is at least as good as another, by what counts most first."""

    def key(side: Side) -> tuple[float, ...]:
        return *_before_strain(side), side.strain, side.handlings

    return key(one) <= key(other)


def _much_better(one: Side, other: Side) -> bool:
    """Tell whether more find a home or are taken, or as many with far less strain: worth a room turned over."""
    counts, others = _before_strain(one), _before_strain(other)
    return counts < others or (counts == others and one.strain <= MUCH_LESS * other.strain)


def _before_strain(side: Side) -> tuple[float, ...]:
    return side.fish_days_without_home, side.price, len(side.not_taken)


def _live_alike(room: Room, other: Room) -> bool:
    """Tell whether the same broods grow, and are sold, alike in both rooms."""
    return lives(room) == lives(other)


def _does_for(room: Room, plan: Plan) -> bool:
    """Tell whether a plan made for another room keeps every rule in this one: then no difference is the room's."""
    there = {stay.vessel for stay in plan.stays}
    flow = tuple(change for change in plan.flow if change.vessel in there)
    whole = room_for(room, plan)
    return there <= whole.vessel_named.keys() and not any(
        not breach.as_found for breach in check_plan(whole, plan.model_copy(update={"flow": flow}))
    )


def called_as_in(other: Room, room: Room, plan: Plan) -> Plan:
    """Return a plan whose new vessels are called as those that the other room has more of the kind."""
    called: dict[str, str] = {}
    for added in plan.added:
        more = [
            name
            for name in names_of_more(room, added.like, added.copies)
            if name in other.vessel_named and other.vessel_named[name].declared_as == added.like
        ]
        called |= {new_vessel_name(added.like, n): name for n, name in enumerate(more, start=1)}
    if not called:
        return plan

    def name_of(vessel: str | None) -> str | None:
        return called.get(vessel, vessel) if vessel is not None else None

    return plan.model_copy(
        update={
            "stays": tuple(s.model_copy(update={"vessel": name_of(s.vessel)}) for s in plan.stays),
            "moves": tuple(
                m.model_copy(update={"from_": name_of(m.from_), "to": name_of(m.to)}) for m in plan.moves
            ),
            "flow": tuple(f.model_copy(update={"vessel": name_of(f.vessel)}) for f in plan.flow),
        }
    )


def _side(result: Result, room: Room) -> Side:
    plan, levels = result.best.plan, result.best.levels
    prices = room.prices
    lost, strain = (level_named(levels, name) for name in ("fish without a home", "strain"))
    return Side(
        verdict=plan.verdict,
        added=plan.added,
        price=sum(added.copies * prices.get(added.like, 0.0) for added in plan.added),
        least_price=plan.proven,
        homeless=tuple(sorted(plan.homeless, key=lambda row: (row.from_, row.brood))),
        not_taken=tuple(row.brood for row in sorted(plan.not_taken, key=lambda row: (row.on, row.brood))),
        fish_days_without_home=int(lost.value) if lost else 0,
        handlings=sum(move.from_ is not None and move.to is not None for move in plan.moves),
        strain=strain.value if strain else 0.0,
        strain_proven=strain is not None and strain.proven,
        stopped=result.stopped,
        remarks=result.remarks,
    )


def level_named(levels: tuple[LevelOutcome, ...], name: str) -> LevelOutcome | None:
    """Return one level of an answer by what it counts."""
    return next((level for level in levels if level.name == name), None)


# -- where broods live -----------------------------------------------------------------------------------


def elsewhere(broods: AbstractSet[str], before: Plan, after: Plan) -> Iterator[Elsewhere]:
    """Yield the days on which a brood lives elsewhere; days after its sale in one of the plans are left out."""
    rows = []
    for name in broods:
        one, two = (_places(plan, name) for plan in (before, after))
        rows += list(_stretches(name, one, two))
    yield from sorted(rows, key=lambda row: (row.from_, row.brood))


def _places(plan: Plan, brood: str) -> dict[date, Place]:
    """Return the vessels in which a brood lives on each day; none on days without a home."""
    there: dict[date, set[str]] = defaultdict(set)
    for stay in plan.stays:
        if stay.brood == brood:
            for day in _days(stay.from_, stay.until):
                there[day].add(stay.vessel)
    for row in plan.homeless:
        if row.brood == brood:
            for day in _days(row.from_, row.until):
                there[day] |= set()
    return {day: tuple(sorted(names)) for day, names in there.items()}


def _days(start: date, until: date) -> Iterator[date]:
    for number in range((until - start).days):
        yield start + timedelta(days=number)


def _stretches(brood: str, one: dict[date, Place], two: dict[date, Place]) -> Iterator[Elsewhere]:
    """Yield each run of days in a row on which two places differ in the same way."""
    run: Elsewhere | None = None
    for day in sorted(one.keys() & two.keys()):
        if one[day] == two[day]:
            continue
        if run is not None and (run.until, run.before, run.after) == (day, one[day], two[day]):
            run = run.model_copy(update={"until": day + timedelta(days=1)})
            continue
        if run is not None:
            yield run
        run = Elsewhere(
            brood=brood, from_=day, until=day + timedelta(days=1), before=one[day], after=two[day]
        )
    if run is not None:
        yield run


# -- moves and sales -------------------------------------------------------------------------------------


def _moves(broods: AbstractSet[str], before: Plan, after: Plan, until: date) -> Iterator[OtherMove]:
    """Yield the moves and set-ups of one plan that the other has not; sales are told by `_sales`."""
    one, two = (_moves_by_brood(plan, until) for plan in (before, after))
    for key in sorted(one.keys() | two.keys()):
        was, now = (tuple(sorted(moves.get(key, ()), key=str)) for moves in (one, two))
        if was != now and key[1] in broods:
            yield OtherMove(on=key[0], brood=key[1], before=was, after=now)


def _moves_by_brood(plan: Plan, until: date) -> dict[tuple[date, str], set[tuple[str | None, str | None]]]:
    found: dict[tuple[date, str], set[tuple[str | None, str | None]]] = defaultdict(set)
    for move in plan.moves:
        if move.on < until and move.to is not None:
            found[move.on, move.brood].add((move.from_, move.to))
    return found


def _sales(before: Plan, after: Plan) -> Iterator[OtherSale]:
    one, two = (_sold(plan) for plan in (before, after))
    rows = []
    for brood in one.keys() & two.keys():
        was, now = one[brood], two[brood]
        if was != now:
            rows.append(
                OtherSale(
                    brood=brood,
                    before=tuple(sorted(was)),
                    after=tuple(sorted(now)),
                    fish_before=sum(was.values()),
                    fish_after=sum(now.values()),
                )
            )
    yield from sorted(rows, key=lambda row: (row.before, row.brood))


def _sold(plan: Plan) -> dict[str, dict[date, int]]:
    """Return how many fish of each brood are sold on which days."""
    sold: dict[str, dict[date, int]] = defaultdict(lambda: defaultdict(int))
    for move in plan.moves:
        if move.to is None:
            sold[move.brood][move.on] += move.fish
    return {brood: dict(days) for brood, days in sold.items()}


# -- vessels in use --------------------------------------------------------------------------------------


def _uses(room: Room, other: Room, before: Plan, after: Plan) -> Iterator[OtherUse]:
    """Yield each kind of vessel whose use is different, over the same weeks in both plans."""
    until = max((stay.until for plan in (before, after) for stay in plan.stays), default=room.today + WEEK)
    for kind in dict.fromkeys([*declared(room), *declared(other)]):
        was, now = _use(room, before, kind, until), _use(other, after, kind, until)
        if was != now:
            yield OtherUse(kind=kind, before=was, after=now)


def _use(room: Room, plan: Plan, kind: str, until: date) -> Use | None:
    """Return how one kind of vessel is used; the room is the one with the vessels that the plan adds."""
    vessels = [vessel for vessel in room.vessels if vessel.declared_as == kind]
    if not vessels:
        return None
    weeks = weekly_use(room, plan, vessels, until)
    tight = [week for week, used, ready in weeks if ready and used >= ready]
    return Use(
        there=max(ready for *_, ready in weeks),
        most=max(used for _, used, _ in weeks),
        first_tight=tight[0] if tight else None,
        weeks_tight=len(tight),
        weeks_empty=sum(used == 0 for _, used, _ in weeks),
    )
