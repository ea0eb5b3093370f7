"""Whether stays, moves, flow settings, added tanks, homeless fish and collections not taken tell one story."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from allocator.check.breach import Breach
from allocator.check.story import EPSILON, balanced
from allocator.check.walk import Boundary, Walk
from allocator.codes import Rule
from allocator.plan import Verdict
from allocator.room import new_vessel_name

Odd = tuple[date, str | None, str | None, str]
"""Day, brood, vessel and what does not agree."""


def check_agree(walk: Walk) -> Iterator[Breach]:
    """Stays, moves, flow settings, added tanks, homeless fish and collections not taken tell one story."""
    for day, brood, vessel, text in (
        *_names(walk),
        *_moves(walk),
        *_set_ups(walk),
        *_flow_twice(walk),
        *_added(walk),
        *_not_taken(walk),
        *_verdict(walk),
    ):
        yield Breach(rule=Rule.AGREE, day=day, brood=brood, vessel=vessel, text=text)


def _names(walk: Walk) -> Iterator[Odd]:
    """Yield broods and lots that nobody knows, and stays and moves that cannot be."""
    rows = (
        *((stay.from_, stay.brood, stay.vessel, stay.fish) for stay in walk.plan.stays),
        *((move.on, move.brood, move.from_ or move.to, move.fish) for move in walk.plan.moves),
        *((row.from_, row.brood, None, row.fish) for row in walk.plan.homeless),
        *((row.on, row.brood, None, row.eggs) for row in walk.plan.not_taken),
    )
    for day, brood, vessel, fish in rows:
        if brood not in walk.lives:
            yield day, brood, vessel, f"there is no brood called {brood}"
        if fish <= 0:
            yield day, brood, vessel, f"{brood}: a row of {fish} fish"
    for stay in walk.plan.stays:
        if not walk.can_be_walked(stay):
            text = (
                f"the stay of {stay.lot} in {stay.vessel} ends on {stay.until}, "
                f"not after it begins on {stay.from_}"
            )
            yield stay.from_, stay.brood, stay.vessel, text
    lots = {(stay.brood, stay.lot) for stay in walk.plan.stays}
    for move in walk.plan.moves:
        if move.brood in walk.lives and (move.brood, move.lot) not in lots:
            text = f"a move of {move.lot}, but no stay of {move.brood} is called so"
            yield move.on, move.brood, move.from_, text
        if move.from_ == move.to:
            yield move.on, move.brood, move.from_, f"a move of {move.lot} from {move.from_} to {move.to}"


def _moves(walk: Walk) -> Iterator[Odd]:
    """Yield where the moves do not bring the fish that the stays tell of; lost fish are told by `fish`."""
    for brood in walk.boundaries:
        for boundary in walk.traceable(brood):
            if balanced(walk, brood, boundary):
                yield from _moves_of_a_day(walk, brood, boundary)


@dataclass
class _Tally:
    """What happens to one brood in one vessel on one day, in fish; `rows` counts stays and moves."""

    ending: float | None = None
    beginning: int | None = None
    out: int | None = None
    into: int | None = None
    rows: int = 0

    @property
    def left_over(self) -> float:
        """Fish that end their stay here and of whom nothing more is told."""
        return (self.ending or 0.0) - (self.out or 0) + (self.into or 0) - (self.beginning or 0)


def _tally(walk: Walk, boundary: Boundary) -> dict[str, _Tally]:
    found: dict[str, _Tally] = defaultdict(_Tally)
    for walked in boundary.ending:
        here = found[walked.stay.vessel]
        here.ending = (here.ending or 0.0) + walk.heads_in(walked, boundary.day)
        here.rows += 1
    for walked in boundary.beginning:
        here = found[walked.stay.vessel]
        here.beginning = (here.beginning or 0) + walked.stay.fish
        here.rows += 1
    for move in boundary.moves:
        if move.from_ is not None:
            here = found[move.from_]
            here.out = (here.out or 0) + move.fish
            here.rows += 1
        if move.to is not None:
            here = found[move.to]
            here.into = (here.into or 0) + move.fish
            here.rows += 1
    return dict(sorted(found.items()))


def _moves_of_a_day(walk: Walk, brood: str, boundary: Boundary) -> Iterator[Odd]:
    unhoused: float = sum(row.fish for row in boundary.homeless)
    for vessel, here in _tally(walk, boundary).items():
        if here.out is not None and here.ending is None:
            text = f"a move takes {here.out} of {brood} from {vessel}, where no stay of it ends that day"
        elif here.into is not None and here.beginning is None:
            text = f"a move brings {here.into} of {brood} to {vessel}, where no stay of it begins that day"
        elif here.beginning is not None and here.into is None and here.ending is None:
            text = f"{here.beginning} of {brood} are in {vessel} from that day on, but no move brings them"
        else:
            left_over = here.left_over
            if left_over > 0:  # those that are listed as homeless from this day on
                left_over, unhoused = max(0.0, left_over - unhoused), max(0.0, unhoused - left_over)
            if abs(left_over) <= here.rows + EPSILON:
                continue
            text = (
                f"{brood} in {vessel}: of {here.ending or 0:.1f} fish, {here.out or 0} are moved out and "
                f"{here.into or 0} in, but {here.beginning or 0} go on there"
            )
        yield boundary.day, brood, vessel, text


def _set_ups(walk: Walk) -> Iterator[Odd]:
    """Yield what is odd about eggs being set up: once, on the day of collection, as the first stays say."""
    for brood, life in walk.lives.items():
        moves = [move for move in walk.moves_of.get(brood, ()) if move.from_ is None]
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
                    (f"{move.lot} is to be set up in {move.to} on {move.on}, where no stay of it begins"),
                )
        for vessel in sorted({walked.stay.vessel for walked in starts}):
            there = sum(walked.stay.fish for walked in starts if walked.stay.vessel == vessel)
            brought = sum(move.fish for move in moves if move.on == start and move.to == vessel)
            if brought == 0 or abs(there - brought) > 1:
                yield (
                    start,
                    brood,
                    vessel,
                    (f"{brood} begins in {vessel} with {there}, but {brought} are set up there"),
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
                    f"{added.copies} more like {added.like} are to be added, "
                    f"but {len(names) - len(idle)} are used"
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


def _not_taken(walk: Walk) -> Iterator[Odd]:
    """Yield collections that are listed as not taken and yet live somewhere, are listed twice, or are other ones."""
    told: set[str] = set()
    taken = {row.brood for row in walk.plan.stays}
    taken |= {row.brood for row in walk.plan.moves} | {row.brood for row in walk.plan.homeless}
    for row in walk.plan.not_taken:
        brood = walk.room.brood_named.get(row.brood)
        if brood is None:
            continue  # told among the names
        if row.brood in told:
            yield row.on, row.brood, None, f"{row.brood} is listed twice among those not taken"
        told.add(row.brood)
        if row.brood in taken:
            yield (
                row.on,
                row.brood,
                None,
                f"{row.brood} is listed as not taken, but the plan has rows of its fish",
            )
        if (row.on, row.eggs) != (brood.collected, brood.eggs):
            yield (
                row.on,
                row.brood,
                None,
                (
                    f"{row.brood} is listed as not taken on {row.on} with {row.eggs} eggs, but it is to be "
                    f"collected on {brood.collected} with {brood.eggs}"
                ),
            )


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
