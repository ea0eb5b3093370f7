"""Vessels over time: a row a vessel, a bar a stay, a join a move."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta

from allocator.in_use import declared, new_names
from allocator.plan import Move, Plan, Stay
from allocator.reports.page.facts import Join, StayShown, TimeFacts, VesselRow
from allocator.reports.tables import clean
from allocator.reports.text import list_ends
from allocator.reports.words import WEEK, ranged
from allocator.room import BreedingGroup, Room, Span, Vessel

SHARE_BEFORE_TODAY = 0.025
"""How much of the picture shows the days before today, so that the line of today stands inside it (judgement)."""


def time_facts(room: Room, plan: Plan) -> TimeFacts:
    """Return every vessel that a stay, or a breeding group for a while, has a bar in."""
    last = max((stay.until for stay in plan.stays), default=room.today + WEEK) + timedelta(days=1)
    before = max(4, round((last - room.today).days * SHARE_BEFORE_TODAY))
    first = room.today - timedelta(days=before)
    rows, left_out = _rows(room, plan, first, last)
    away = [_cut(span, first, last) for span in room.keeper.away]
    return TimeFacts(
        first=first,
        last=last,
        today=room.today,
        list_ends=list_ends(room),
        lines=tuple(clean(line.name) for line in room.lines),
        rows=tuple(rows),
        joins=tuple(_joins(room, plan, rows)),
        away=tuple((start, end) for start, end in away if start < end),
        left_out=tuple(left_out),
    )


def _cut(span: Span, first: date, last: date) -> tuple[date, date]:
    return max(span.start or first, first), min(span.end or last, last)


def _rows(room: Room, plan: Plan, first: date, last: date) -> tuple[list[VesselRow], list[str]]:
    stays: dict[str, list[Stay]] = defaultdict(list)
    for stay in plan.stays:
        stays[stay.vessel].append(stay)
    groups: dict[str, list[BreedingGroup]] = defaultdict(list)
    for group in room.groups:
        groups[group.vessel].append(group)
    new = {name for kind in declared(room) for name in new_names(plan, kind)}
    rows, unused, breeding = [], [], []
    for vessel in room.vessels:
        name = vessel.name
        always = [g for g in groups[name] if _cut(g.lives_there, first, last) == (first, last)]
        if not stays[name] and always:
            breeding.append(name)
        elif stays[name] or groups[name]:
            bars = _bars(room, plan, stays[name], groups[name], first, last)
            rows.append(_row(vessel, bars, first, last, new=name in new))
        else:
            unused.append(name)
    left_out = [f"With a breeding group all the time: {ranged(breeding)}."] if breeding else []
    left_out += [f"Not used by any brood: {ranged(unused)}."] if unused else []
    return rows, left_out


def _bars(
    room: Room, plan: Plan, stays: list[Stay], groups: list[BreedingGroup], first: date, last: date
) -> list[StayShown]:
    sales = {(move.brood, move.from_, move.on) for move in plan.moves if move.to is None}
    bars = []
    for stay in stays:
        brood = room.brood_named.get(stay.brood)
        here = brood is not None and not brood.planned and stay.from_ == room.today
        before = here and brood is not None and stay.vessel in {home.vessel for home in brood.homes}
        line = "" if brood is None else clean(brood.line)
        bars.append(
            StayShown(
                lot=clean(stay.lot),
                line=line,
                group=False,
                start=first if before else stay.from_,
                end=stay.until,
                fish=stay.fish,
                lane=0,
                from_before=before,
                sold=(stay.brood, stay.vessel, stay.until) in sales,
            )
        )
    for group in groups:
        start, end = _cut(group.lives_there, first, last)
        if start < end:
            bars.append(
                StayShown(
                    lot=clean(group.name),
                    line=clean(group.line),
                    group=True,
                    start=start,
                    end=end,
                    fish=group.males + group.females,
                    lane=0,
                    from_before=start == first,
                    sold=False,
                )
            )
    return sorted(bars, key=lambda bar: (bar.start, bar.end, bar.lot))


def _row(vessel: Vessel, bars: list[StayShown], first: date, last: date, *, new: bool) -> VesselRow:
    """Return a row in which no two bars of a lane overlap: each takes the first lane that is free."""
    free: list[date] = []
    placed = []
    for bar in bars:
        lane = next((lane for lane, end in enumerate(free) if end <= bar.start), len(free))
        free[lane : lane + 1] = [bar.end]
        placed.append(replace(bar, lane=lane))
    there = _cut(vessel.available, first, last)
    return VesselRow(
        clean(vessel.name), clean(vessel.declared_as), new, max(len(free), 1), there, tuple(placed)
    )


def _joins(room: Room, plan: Plan, rows: Iterable[VesselRow]) -> list[Join]:
    """Return the moves from vessel to vessel whose both ends have a bar."""
    ends: dict[tuple[str, str, date], list[tuple[int, int]]] = defaultdict(list)
    starts: dict[tuple[str, str, date], tuple[int, int]] = {}
    company: dict[int, list[StayShown]] = {}
    for place, row in enumerate(rows):
        company[place] = [bar for bar in row.stays if not bar.group]
        for bar in row.stays:
            ends[row.vessel, bar.lot, bar.end].append((place, bar.lane))
            starts[row.vessel, bar.lot, bar.start] = place, bar.lane
    of_brood: dict[tuple[str, str], set[str]] = defaultdict(set)
    for stay in plan.stays:
        of_brood[stay.vessel, stay.brood].add(clean(stay.lot))
    joins = []
    for move in plan.moves:
        goal = starts.get((clean(move.to or ""), clean(move.lot), move.on))
        source = _source(move, ends, of_brood, rows)
        if goal is None or source is None:
            continue
        others = [b for b in company[goal[0]] if b.lot != clean(move.lot) and b.start <= move.on < b.end]
        brood = room.brood_named.get(move.brood)
        joins.append(Join(move.on, "" if brood is None else clean(brood.line), source, goal, bool(others)))
    return joins


def _source(
    move: Move,
    ends: dict[tuple[str, str, date], list[tuple[int, int]]],
    of_brood: dict[tuple[str, str], set[str]],
    rows: Iterable[VesselRow],
) -> tuple[int, int] | None:
    """Return the bar that a move comes from: the lot's own, or that of the part of its brood it is split off."""
    if move.from_ is None:
        return None
    vessel = clean(move.from_)
    lots = [clean(move.lot), *sorted(of_brood[move.from_, move.brood])]
    for lot in lots:
        found = ends.get((vessel, lot, move.on))
        if found:
            return found[0]
    for place, row in enumerate(rows):  # the rest of the brood stays where it was
        for bar in row.stays:
            if row.vessel == vessel and bar.lot in lots and bar.start < move.on < bar.end:
                return place, bar.lane
    return None
