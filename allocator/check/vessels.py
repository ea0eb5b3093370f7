"""Whether each vessel, on each day, is fit for what lives in it."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from datetime import date
from itertools import islice

import numpy as np

from allocator.check.breach import Breach
from allocator.check.walk import DAY, Walk, Walked, days_between, runs
from allocator.codes import Rule
from allocator.husbandry.stages import latest_entry
from allocator.husbandry.stocking import Cap
from allocator.room import BreedingGroup, Line, Room, Vessel
from allocator.rules import FlowSetting

NOT_SET = -1
"""Stands for a flow setting on days before the first."""

EPSILON = 1e-6
"""A share over 1 by less than this is rounding of the arithmetic, not fish."""


def check_room(walk: Walk) -> Iterator[Breach]:
    """No vessel holds more than the limit of any cap on any day."""
    for vessel, taken in walk.filled.items():
        over = taken.over(1 + EPSILON)
        if not any(over.values()):
            continue
        added = _first_addition(walk, vessel)
        days = {day: walk.there_on(vessel, day) for by_day in over.values() for day in by_day}
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
    for name in walk.by_vessel:
        for (who, text, weakest), bad in _flow_faults(walk, name, changes[name]).items():
            excused = [day for day in sorted(bad) if weakest and walk.found(walk.there_on(name, day), day)]
            for first, last in (*runs(excused), *runs(sorted(bad.difference(excused)))):
                yield Breach(
                    rule=Rule.FLOW,
                    day=first,
                    brood=who,
                    vessel=name,
                    text=f"{text} ({first} to {last})",
                    as_found=first in excused,
                )


FlowFault = tuple[str | None, str, bool]
"""For whom the flow is wrong (None: for all), what is wrong, and whether the vessel can run no weaker."""


def _flow_faults(
    walk: Walk, name: str, changes: list[tuple[date, FlowSetting]]
) -> dict[FlowFault, set[date]]:
    """Return what is wrong with the flow of a vessel, each with its days."""
    vessel, lots = walk.room.vessel_named[name], walk.by_vessel[name]
    start, end = min(lot.stay.from_ for lot in lots), max(lot.stay.until for lot in lots)
    settings = np.full((end - start).days, NOT_SET)
    for since, setting in changes:
        settings[max((since - start).days, 0) :] = setting
    faults: dict[FlowFault, set[date]] = defaultdict(set)
    for lot in lots:
        here = settings[(lot.stay.from_ - start).days : (lot.stay.until - start).days]
        limits = walk.forecast(lot.brood).flow_limits(lot.stay.from_, len(here))
        wrong = (here < vessel.flow_lowest) | (here > vessel.flow_highest) | (here > limits)
        for day in np.flatnonzero(wrong).tolist():
            for fault in _flow_fault(vessel, lot.brood, int(here[day]), int(limits[day])):
                faults[fault].add(lot.stay.from_ + day * DAY)
    return faults


def _flow_fault(vessel: Vessel, brood: str, value: int, limit: int) -> Iterator[FlowFault]:
    """Yield what is wrong with one setting for fish that bear no more than a limit."""
    if value == NOT_SET:
        yield None, f"{vessel.name} holds fish but has no flow setting", False
        return
    low, high, setting = vessel.flow_lowest, vessel.flow_highest, FlowSetting(value)
    if not low <= setting <= high:
        text = f"{vessel.name} is set to {setting.word}, but can only run from {low.word} to {high.word}"
        yield None, text, False
    if setting > limit:
        text = f"{vessel.name} is set to {setting.word}, but {brood} bears no more than {FlowSetting(limit).word}"
        yield brood, text, setting == low


def may_live_together(first: Line, second: Line) -> bool:
    """Tell whether two lines may share a vessel."""
    return first.name == second.name or first.name in second.may_share or second.name in first.may_share


Fault = Callable[[Walked, Walked, date, date], Iterable[tuple[date, str]]]
"""Tells of two lots that are together from a day until another on which days they do not go together, and why."""


def _pairs(walk: Walk, rule: Rule, fault: Fault) -> Iterator[Breach]:
    """Yield a breach for each run of days on which two broods in one vessel do not go together."""
    for vessel, lots in walk.by_vessel.items():
        bad: dict[tuple[str, str], dict[date, str]] = defaultdict(dict)
        for one, other, start, until in _together(lots):
            for day, text in fault(one, other, start, until):
                bad[min(one.brood, other.brood), max(one.brood, other.brood)][day] = text
        for pair, texts in bad.items():
            days = sorted(texts)
            excused = [
                d
                for d in days
                if walk.found([lot for lot in walk.there_on(vessel, d) if lot.brood in pair], d)
            ]
            for first, last in (*runs(excused), *runs(d for d in days if d not in excused)):
                yield Breach(
                    rule=rule,
                    day=first,
                    brood=pair[0],
                    vessel=vessel,
                    text=f"{vessel}: {texts[first]} ({first} to {last})",
                    as_found=first in excused,
                )


def _together(lots: list[Walked]) -> Iterator[tuple[Walked, Walked, date, date]]:
    """Yield each two lots of different broods that are in a vessel together, and from when until when."""
    for place, one in enumerate(lots):
        for other in islice(lots, place + 1, None):
            start, until = other.stay.from_, min(one.stay.until, other.stay.until)
            if start >= one.stay.until:
                break  # they are in order of time
            if start < until and one.brood != other.brood:
                yield one, other, start, until


def check_line(walk: Walk) -> Iterator[Breach]:
    """One line in a vessel unless the lines may share."""
    lines = walk.room.line_named

    def fault(one: Walked, other: Walked, start: date, until: date) -> Iterator[tuple[date, str]]:
        first, second = one.life.brood.line, other.life.brood.line
        if not may_live_together(lines[first], lines[second]):
            text = f"{one.brood} is {first} and {other.brood} is {second}, and these lines may not share"
            yield from ((day, text) for day in days_between(start, until))

    yield from _pairs(walk, Rule.LINE, fault)


def check_size(walk: Walk) -> Iterator[Breach]:
    """No fish in a vessel is too long for the shortest there."""

    def fault(one: Walked, other: Walked, start: date, until: date) -> Iterator[tuple[date, str]]:
        limit = min(lot.rules.length_ratio_limit.value for lot in (one, other))
        days = (until - start).days
        mm, others_mm = (walk.forecast(lot.brood).lengths(start, days) for lot in (one, other))
        small, big = np.minimum(mm, others_mm), np.maximum(mm, others_mm)
        for number in np.flatnonzero((small > 0) & (big > small * limit * (1 + EPSILON))).tolist():
            long, short = (one, other) if mm[number] > others_mm[number] else (other, one)
            text = (
                f"{long.brood} at {big[number]:.1f} mm is {big[number] / small[number]:.2f} times as long as "
                f"{short.brood} at {small[number]:.1f} mm; the limit is {limit:g}"
            )
            yield start + number * DAY, text

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

    def fault(one: Walked, other: Walked, start: date, until: date) -> Iterator[tuple[date, str]]:
        for lot, intruder in ((other, one), (one, other)):  # the first is told where both must be alone
            text = f"{lot.stay.lot} must be alone, but {intruder.stay.lot} is there too"
            last = min(until, alone_until.get(lot, start))
            yield from ((day, text) for day in days_between(start, last))

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
