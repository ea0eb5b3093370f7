"""Whether each vessel, on each day, is fit for what lives in it."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterator
from datetime import date
from itertools import combinations

from allocator.check.breach import Breach
from allocator.check.walk import DAY, Walk, Walked, runs
from allocator.codes import Rule
from allocator.husbandry.stages import latest_entry
from allocator.husbandry.stocking import Cap, flow_step
from allocator.room import BreedingGroup, Line, Room
from allocator.rules import FlowSetting

EPSILON = 1e-6
"""A share over 1 by less than this is rounding of the arithmetic, not fish."""


def check_room(walk: Walk) -> Iterator[Breach]:
    """No vessel holds more than the limit of any cap on any day."""
    for vessel, days in walk.daily.items():
        over = walk.filled[vessel].over(1 + EPSILON)
        if not any(over.values()):
            continue
        added = _first_addition(walk, vessel)
        for cap in Cap:
            # what was too much today is the plan's own fault once it adds to it or could have helped it
            excused = [day for day in over[cap] if day < added and walk.found(days[day], day)]
            others = [day for day in over[cap] if day not in excused]
            for first, last in (*runs(excused), *runs(others)):
                worst = max((d for d in over[cap] if first <= d <= last), key=lambda d: over[cap][d])
                yield Breach(
                    rule=Rule.ROOM,
                    day=first,
                    brood=days[first][0].brood if len(days[first]) == 1 else None,
                    vessel=vessel,
                    text=f"{vessel}, {cap.value}: {over[cap][worst]:.0%} of the limit on {worst} "
                    f"(too full from {first} to {last}) with {_who(walk, days[worst], worst)}",
                    as_found=first in excused,
                )


def _first_addition(walk: Walk, vessel: str) -> date:
    """Return the first day on which the plan itself puts fish into a vessel."""
    brought = [move.on for move in walk.plan.moves if move.to == vessel]
    begun = [
        lot.stay.from_ for lot in walk.by_vessel[vessel] if lot.since != walk.room.today and not lot.parents
    ]
    return min(brought + begun, default=date.max)


def _who(walk: Walk, lots: list[Walked], day: date) -> str:
    return ", ".join(
        f"{walk.heads_in(lot, day):.0f} of {lot.stay.lot} at {walk.mm(lot.brood, day):.0f} mm" for lot in lots
    )


def check_flow(walk: Walk) -> Iterator[Breach]:
    """No vessel runs stronger than its weakest fish bear, nor outside its own range."""
    changes: dict[str, list[tuple[date, FlowSetting]]] = defaultdict(list)
    for change in sorted(walk.plan.flow, key=lambda change: (change.from_, change.setting)):
        changes[change.vessel].append((change.from_, change.setting))
    for name, days in walk.daily.items():
        vessel = walk.room.vessel_named[name]
        low, high = vessel.flow_lowest, vessel.flow_highest
        faults: dict[tuple[str | None, str, bool], list[date]] = defaultdict(list)
        for day, lots in days.items():
            place = bisect_right(changes[name], (day, FlowSetting.STRONG))
            if place == 0:
                faults[None, f"{name} holds fish but has no flow setting", False].append(day)
                continue
            setting = changes[name][place - 1][1]
            if not low <= setting <= high:
                text = f"{name} is set to {setting.word}, but can only run from {low.word} to {high.word}"
                faults[None, text, False].append(day)
            for brood in sorted({lot.brood for lot in lots}):
                limit = int(flow_step(walk.mm(brood, day), walk.lives[brood].rules).limit.value)
                if setting > limit:
                    text = (
                        f"{name} is set to {setting.word}, "
                        f"but {brood} bears no more than {FlowSetting(limit).word}"
                    )
                    faults[brood, text, setting == low].append(day)
        for (who, text, weakest), bad in faults.items():
            excused = [day for day in bad if weakest and walk.found(days[day], day)]
            for first, last in (*runs(excused), *runs(day for day in bad if day not in excused)):
                yield Breach(
                    rule=Rule.FLOW,
                    day=first,
                    brood=who,
                    vessel=name,
                    text=f"{text} ({first} to {last})",
                    as_found=first in excused,
                )


def may_live_together(first: Line, second: Line) -> bool:
    """Tell whether two lines may share a vessel."""
    return first.name == second.name or first.name in second.may_share or second.name in first.may_share


def _pairs(walk: Walk, rule: Rule, fault: Callable[[Walked, Walked, date], str | None]) -> Iterator[Breach]:
    """Yield a breach for each run of days on which two broods in one vessel do not go together."""
    for vessel, days in walk.daily.items():
        bad: dict[tuple[str, str], dict[date, str]] = defaultdict(dict)
        for day, lots in days.items():
            if len(lots) == 1:
                continue
            for one, other in combinations(lots, 2):
                if one.brood != other.brood and (text := fault(one, other, day)) is not None:
                    bad[min(one.brood, other.brood), max(one.brood, other.brood)][day] = text
        for pair, texts in bad.items():
            excused = [d for d in texts if walk.found([lot for lot in days[d] if lot.brood in pair], d)]
            for first, last in (*runs(excused), *runs(d for d in texts if d not in excused)):
                yield Breach(
                    rule=rule,
                    day=first,
                    brood=pair[0],
                    vessel=vessel,
                    text=f"{vessel}: {texts[first]} ({first} to {last})",
                    as_found=first in excused,
                )


def check_line(walk: Walk) -> Iterator[Breach]:
    """One line in a vessel unless the lines may share."""
    lines = walk.room.line_named

    def fault(one: Walked, other: Walked, _: date) -> str | None:
        first, second = one.life.brood.line, other.life.brood.line
        if may_live_together(lines[first], lines[second]):
            return None
        return f"{one.brood} is {first} and {other.brood} is {second}, and these lines may not share"

    yield from _pairs(walk, Rule.LINE, fault)


def check_size(walk: Walk) -> Iterator[Breach]:
    """No fish in a vessel is too long for the shortest there."""

    def fault(one: Walked, other: Walked, day: date) -> str | None:
        short, long = sorted((one, other), key=lambda lot: walk.mm(lot.brood, day))
        small, big = walk.mm(short.brood, day), walk.mm(long.brood, day)
        limit = min(lot.rules.length_ratio_limit.value for lot in (one, other))
        if small <= 0 or big <= small * limit * (1 + EPSILON):
            return None
        return (
            f"{long.brood} at {big:.1f} mm is {big / small:.2f} times as long as "
            f"{short.brood} at {small:.1f} mm; the limit is {limit:g}"
        )

    yield from _pairs(walk, Rule.SIZE, fault)


def check_fry(walk: Walk) -> Iterator[Breach]:
    """No brood in a vessel in which a breeding group lives, but its own young while it guards them."""
    for group in walk.room.groups:
        for lot in walk.by_vessel.get(group.vessel, ()):
            if _guarded(walk, lot, group):
                continue
            start = max(lot.stay.from_, group.lives_there.start or lot.stay.from_)
            end = min(lot.stay.until, group.lives_there.end or lot.stay.until)
            if start < end:
                text = (
                    f"{lot.stay.lot} is in {group.vessel} from {start} to {end - DAY}, "
                    f"where {group.name} lives"
                )
                found = walk.found([lot], end - DAY)
                yield Breach(
                    rule=Rule.FRY,
                    day=start,
                    brood=lot.brood,
                    vessel=group.vessel,
                    text=text,
                    as_found=found,
                )


def _guarded(walk: Walk, lot: Walked, group: BreedingGroup) -> bool:
    """Tell whether a lot is with its parents, and leaves them no later than it must move on."""
    life = lot.life
    if life.nursery != group.vessel or group.line != life.brood.line:
        return False
    after = next((stage for stage in lot.rules.stages[1:] if not stage.may_skip), None)
    last = date.max if after is None else walk.room.next_move_day(latest_entry(life, after))
    return lot.stay.until <= last or walk.found([lot], lot.stay.until - DAY)


def check_snail(walk: Walk) -> Iterator[Breach]:
    """Eggs only where there are no snails, if the pack asks for it."""
    for lot in walk.walked:
        day = lot.stay.from_
        if (
            lot.vessel is not None
            and lot.rules.eggs_need_snail_free
            and not lot.vessel.snail_free
            and lot.life.is_egg(day)
            and day < lot.stay.until
        ):
            yield Breach(
                rule=Rule.SNAIL,
                day=day,
                brood=lot.brood,
                vessel=lot.vessel.name,
                text=(
                    f"{lot.vessel.name} is not free of snails, "
                    f"and {lot.stay.lot} is still eggs until {lot.life.hatched}"
                ),
                as_found=walk.found([lot], day),
            )


def check_alone(walk: Walk, alone_until: dict[Walked, date]) -> Iterator[Breach]:
    """Neither a mop in its tank nor a stage that must be alone shares with another brood."""

    def fault(one: Walked, other: Walked, day: date) -> str | None:
        for lot, intruder in ((one, other), (other, one)):
            if lot in alone_until and day < alone_until[lot]:
                return f"{lot.stay.lot} must be alone, but {intruder.stay.lot} is there too"
        return None

    yield from _pairs(walk, Rule.ALONE, fault)


def check_vessel(walk: Walk) -> Iterator[Breach]:
    """Only vessels that are there, on the days they are there."""
    for lot in walk.walked:
        day, text = _not_there(lot)
        if day is not None:
            yield Breach(
                rule=Rule.VESSEL,
                day=day,
                brood=lot.brood,
                vessel=lot.stay.vessel,
                text=f"{lot.stay.lot} is to live in {lot.stay.vessel} from {lot.stay.from_} "
                f"until {lot.stay.until}, but {text}",
                as_found=lot.vessel is not None and walk.found([lot], lot.stay.until - DAY),
            )
    for change in walk.plan.flow:
        if change.vessel not in walk.room.vessel_named:
            text = f"a flow setting for {change.vessel}, but there is no such vessel"
            yield Breach(rule=Rule.VESSEL, day=change.from_, brood=None, vessel=change.vessel, text=text)
    most = {addable.like: addable.most for addable in walk.room.could_add}
    for added in walk.plan.added:
        could = most.get(added.like, 0)
        if added.copies > could:
            text = f"{added.copies} more like {added.like} are to be added, but {could} could be"
            yield Breach(rule=Rule.VESSEL, day=added.from_, brood=None, vessel=None, text=text)


def _not_there(lot: Walked) -> tuple[date | None, str]:
    """Return the first day of a stay on which its vessel is not there, and why."""
    stay = lot.stay
    if lot.vessel is None:
        return stay.from_, "there is no such vessel"
    there = lot.vessel.available
    if there.start is not None and stay.from_ < there.start:
        return stay.from_, f"it is there only from {there.start} on"
    if there.end is not None and stay.until > there.end:
        return max(stay.from_, there.end), f"it is there only until {there.end}"
    return None, ""


def check_clean(walk: Walk) -> Iterator[Breach]:
    """Between two lines a vessel stands empty for the clean-out days."""
    lines = walk.room.line_named
    for vessel, lots in walk.by_vessel.items():
        leavings = [(lot.stay.until, lines[lot.life.brood.line], lot.stay.lot) for lot in lots]
        leavings += _groups_leaving(walk.room, vessel)
        arrivals = [
            (lot.stay.from_, lines[lot.life.brood.line], lot.stay.lot, lot.brood)
            for lot in lots
            if lot.since == lot.stay.from_ and not _was_there(lot)
        ]
        for arrived, line, lot_name, brood in arrivals:
            for left, before, who in leavings:
                days, needed = (arrived - left).days, before.rules.clean_out_days.value
                if 0 <= days < needed and not may_live_together(line, before):
                    text = (
                        f"{vessel}: {lot_name} ({line.name}) comes {days} days after {who} "
                        f"({before.name}) left; "
                        f"{needed:g} days are needed to clean it out"
                    )
                    yield Breach(rule=Rule.CLEAN, day=arrived, brood=brood, vessel=vessel, text=text)


def _was_there(lot: Walked) -> bool:
    """Tell whether a lot is where it was found: it has not come from anywhere."""
    return not lot.life.brood.planned and not lot.parents


def _groups_leaving(room: Room, vessel: str) -> list[tuple[date, Line, str]]:
    return [
        (group.lives_there.end, room.line_named[group.line], group.name)
        for group in room.groups
        if group.vessel == vessel and group.lives_there.end is not None
    ]
