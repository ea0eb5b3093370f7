"""Can the keeper do it, does it keep what was pinned, and do the parts of the plan agree?"""

from collections import Counter
from collections.abc import Iterator
from datetime import date

from allocator.check.breach import Breach
from allocator.check.story import check_moves_agree
from allocator.check.walk import Walk, days_between, runs
from allocator.codes import Rule
from allocator.plan import Verdict
from allocator.room import Pin, PinKind, new_vessel_name


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
    """What the keeper has pinned holds."""
    for pin in walk.room.pins:
        if pin.kind is PinKind.MOVE_ON:
            day = pin.span.start
            if day is not None and not any(
                move.brood == pin.brood and move.on == day and move.from_ is not None
                for move in walk.plan.moves
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
                text=f"{pin.brood} is pinned to be {pin.kind.value} {pin.vessel}, which does not hold from {first} to {last}",
                as_found=in_being and first < walk.first_free,
            )


def _days_against(walk: Walk, pin: Pin) -> list[date]:
    """Return the days of a pin on which the brood is in the room but not as pinned."""
    there: set[date] = set()
    anywhere: set[date] = set()
    for walked in walk.walked:
        if walked.brood == pin.brood:
            days = {day for day in days_between(walked.stay.from_, walked.stay.until) if pin.span.holds(day)}
            anywhere |= days
            if walked.stay.vessel == pin.vessel:
                there |= days
    return sorted(anywhere - there if pin.kind is PinKind.IN else there)


def check_agree(walk: Walk) -> Iterator[Breach]:
    """Stays, moves, flow settings, added tanks and homeless fish tell one story."""
    for day, brood, vessel, text in (
        *_names(walk),
        *check_moves_agree(walk),
        *_set_ups(walk),
        *_flow_twice(walk),
        *_added(walk),
        *_verdict(walk),
    ):
        yield Breach(rule=Rule.AGREE, day=day, brood=brood, vessel=vessel, text=text)


Odd = tuple[date, str | None, str | None, str]


def _names(walk: Walk) -> Iterator[Odd]:
    for stay in walk.plan.stays:
        if stay.brood not in walk.lives:
            yield stay.from_, stay.brood, stay.vessel, f"a stay of {stay.brood}, but there is no such brood"
        elif not walk.can_be_walked(stay):
            text = f"the stay of {stay.lot} in {stay.vessel} ends on {stay.until}, not after it begins on {stay.from_}"
            yield stay.from_, stay.brood, stay.vessel, text
        if stay.fish <= 0:
            yield stay.from_, stay.brood, stay.vessel, f"{stay.lot} is in {stay.vessel} with {stay.fish} fish"
    lots = {(stay.brood, stay.lot) for stay in walk.plan.stays}
    for move in walk.plan.moves:
        if move.brood not in walk.lives:
            yield move.on, move.brood, move.from_, f"a move of {move.brood}, but there is no such brood"
        elif (move.brood, move.lot) not in lots:
            yield (
                move.on,
                move.brood,
                move.from_,
                f"a move of {move.lot}, but no stay of {move.brood} is called so",
            )
        if move.fish <= 0:
            yield move.on, move.brood, move.from_, f"a move of {move.fish} fish of {move.lot}"
    for row in walk.plan.homeless:
        if row.brood not in walk.lives:
            yield row.from_, row.brood, None, f"{row.brood} is listed as homeless, but there is no such brood"


def _set_ups(walk: Walk) -> Iterator[Odd]:
    """Yield what is odd about eggs being set up: once, on the day of collection, as the first stays say."""
    for brood, life in walk.lives.items():
        moves = [move for move in walk.plan.moves if move.brood == brood and move.from_ is None]
        starts = walk.starts.get(brood, []) if life.brood.planned else []
        if brood in walk.in_two_places:
            continue
        start = walk.start_day(brood)
        for move in moves:
            if not life.brood.planned or move.on != start or move.to not in {s.stay.vessel for s in starts}:
                yield (
                    move.on,
                    brood,
                    move.to,
                    f"{move.lot} is to be set up in {move.to} on {move.on}, where no stay of it begins",
                )
        for vessel in sorted({walked.stay.vessel for walked in starts}):
            there = sum(walked.stay.fish for walked in starts if walked.stay.vessel == vessel)
            brought = sum(move.fish for move in moves if move.on == start and move.to == vessel)
            if brought == 0 or abs(there - brought) > 1:
                yield (
                    start,
                    brood,
                    vessel,
                    f"{brood} begins in {vessel} with {there}, but {brought} are set up there",
                )


def _flow_twice(walk: Walk) -> Iterator[Odd]:
    settings: dict[tuple[str, date], int] = {}
    for change in walk.plan.flow:
        if settings.setdefault((change.vessel, change.from_), change.setting) != change.setting:
            text = f"{change.vessel} has two flow settings from {change.from_} on"
            yield change.from_, None, change.vessel, text


def _added(walk: Walk) -> Iterator[Odd]:
    first: dict[str, date] = {}
    for stay in walk.plan.stays:
        first[stay.vessel] = min(stay.from_, first.get(stay.vessel, date.max))
    told: set[str] = set()
    for added in walk.plan.added:
        names = [new_vessel_name(added.like, number) for number in range(1, added.copies + 1)]
        if told & set(names):
            yield added.from_, None, None, f"tanks like {added.like} are listed twice among those to be added"
        told.update(names)
        idle = [name for name in names if name not in first]
        if idle or not names:
            yield (
                added.from_,
                None,
                idle[0] if idle else None,
                (
                    f"{added.copies} more like {added.like} are to be added, but {len(names) - len(idle)} are used"
                ),
            )
        used = min((first[name] for name in names if name in first), default=added.from_)
        if used != added.from_:
            text = f"the first added {added.like} is needed from {used} on, but listed from {added.from_} on"
            yield added.from_, None, None, text
    for name in sorted(set(first) - told):
        if _is_new(walk, name):
            yield first[name], None, name, f"{name} is used but not listed among the tanks to be added"


def _is_new(walk: Walk, name: str) -> bool:
    """Tell whether a vessel in the room is one that the plan would have to add."""
    vessel = walk.room.vessel_named.get(name)
    return vessel is not None and name.rpartition(" ")[0] == f"new {vessel.declared_as}"


def _verdict(walk: Walk) -> Iterator[Odd]:
    plan, today = walk.plan, walk.room.today
    if plan.homeless and plan.verdict is not Verdict.DOES_NOT_FIT:
        row = min(plan.homeless, key=lambda row: (row.from_, row.brood))
        yield (
            row.from_,
            row.brood,
            None,
            f"the verdict is {plan.verdict.value!r}, but {row.brood} has no home",
        )
    if not plan.homeless and plan.verdict is Verdict.DOES_NOT_FIT:
        yield today, None, None, "the verdict is 'does not fit', but no fish are listed as homeless"
    if plan.added and plan.verdict is Verdict.FITS:
        yield today, None, None, "the verdict is 'fits', but tanks are to be added"
    if not plan.added and plan.verdict is Verdict.NEEDS_MORE_TANKS:
        yield today, None, None, "the verdict is 'needs more tanks', but none are to be added"
