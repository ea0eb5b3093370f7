"""Whether the fish of each brood have one unbroken story from the first day to the sale."""

from collections.abc import Iterator
from datetime import date
from math import ceil, inf

from allocator.check.breach import Breach
from allocator.check.walk import Boundary, Walk, Walked
from allocator.codes import Rule
from allocator.husbandry.homes import fish_today
from allocator.husbandry.life import Dwelling
from allocator.husbandry.stages import sale_day

EPSILON = 1e-6
"""Head counts are real numbers; this much is rounding of the arithmetic, not fish."""


def check_housed(walk: Walk) -> Iterator[Breach]:
    """Every fish has a home every day until it is ready to sell, or is listed as homeless, or not taken if it may be."""
    for brood in walk.room.broods:
        name, start = brood.name, walk.start_day(brood.name)
        listed = name in walk.not_taken
        if listed and not (brood.planned and brood.optional):
            why = "is always taken" if brood.planned else "is here already"
            text = f"{name} is listed as not taken, but it {why}"
            yield Breach(rule=Rule.HOUSED, day=start, brood=name, vessel=None, text=text)
        elif brood.planned and not (listed or walk.starts.get(name) or walk.homeless_at_start(name)):
            text = f"{name} is collected on {start} but has no home from that day on"
            yield Breach(rule=Rule.HOUSED, day=start, brood=name, vessel=None, text=text)
        if name in walk.gaps and name not in walk.in_two_places:
            day = walk.gaps[name]
            last = next(b for b in walk.boundaries[name] if b.day == day).ending[0].stay
            text = (
                f"{name} leaves {last.vessel} on {day} and is then "
                f"neither housed, nor sold, nor listed as homeless"
            )
            yield Breach(rule=Rule.HOUSED, day=day, brood=name, vessel=last.vessel, text=text)
    for row in walk.plan.homeless:
        if row.brood in walk.lives and row.until < (ready := sale_day(walk.lives[row.brood])):
            text = f"{row.brood} is listed as homeless until {row.until}, but cannot be sold before {ready}"
            yield Breach(rule=Rule.HOUSED, day=row.until, brood=row.brood, vessel=None, text=text)


def check_ready(walk: Walk) -> Iterator[Breach]:
    """No fish are sold before they are long enough, where and in the company they have lived."""
    for walked, day in _sold(walk):
        ready = ready_day(walk, walked)
        if day >= ready:
            continue  # fish that are ready may be kept for longer
        stay, goal = walked.stay, walked.rules.sale_mm.value
        text = f"{stay.lot} is sold from {stay.vessel} on {day}, but reaches {goal:g} mm only on {ready}"
        yield Breach(rule=Rule.READY, day=day, brood=stay.brood, vessel=stay.vessel, text=text)


def days_too_soon(walk: Walk) -> dict[str, int]:
    """Return the broods that are sold too soon, each with the days that its slowest fish lack."""
    lacking: dict[str, int] = {}
    for walked, day in _sold(walk):
        days = (ready_day(walk, walked) - day).days
        if days > 0:
            lacking[walked.brood] = max(days, lacking.get(walked.brood, 0))
    return lacking


def ready_days(walk: Walk) -> dict[str, date]:
    """Return the day on which the slowest fish of each brood that is sold are long enough."""
    ready: dict[str, date] = {}
    for walked, _ in _sold(walk):
        day = ready_day(walk, walked)
        ready[walked.brood] = max(day, ready.get(walked.brood, day))
    return ready


def slowest_paths(walk: Walk) -> dict[str, tuple[Dwelling, ...]]:
    """Return where the slowest fish of each brood that is sold have lived."""
    slowest: dict[str, Walked] = {}
    for walked, _ in _sold(walk):
        known = slowest.setdefault(walked.brood, walked)
        if ready_day(walk, walked) > ready_day(walk, known):
            slowest[walked.brood] = walked
    return {brood: tuple(slowest_path(walk, walked)) for brood, walked in slowest.items()}


def _sold(walk: Walk) -> Iterator[tuple[Walked, date]]:
    """Yield each stay that ends with a sale, and its day."""
    for brood in walk.room.broods:
        for boundary in walk.boundaries.get(brood.name, ()):
            sold_from = {move.from_ for move in boundary.sales}
            yield from (
                (walked, boundary.day) for walked in boundary.ending if walked.stay.vessel in sold_from
            )


def ready_day(walk: Walk, walked: Walked) -> date:
    """Return the day on which the slowest fish of a stay are long enough to sell."""
    if walked not in walk.ready:
        ready = walked.life.ready_for_sale(slowest_path(walk, walked))
        assert ready is not None  # noqa: S101 - the path has at least this stay
        walk.ready[walked] = ready
    return walk.ready[walked]


def slowest_path(walk: Walk, walked: Walked) -> list[Dwelling]:
    """Return where the slowest fish of a stay have lived."""
    stay = walked.stay
    crowded = walk.crowded.get(stay.vessel, {})
    own = Dwelling(walked.vessel.run_cm if walked.vessel else inf, stay.from_, stay.until, crowded)
    paths = [slowest_path(walk, parent) for parent in walked.parents]
    if not paths:
        return [own]
    if len(paths) > 1:
        paths.sort(key=lambda path: walked.life.ready_for_sale([*path, own]) or date.max)
    return [*paths[-1], own]


def check_one_place(walk: Walk) -> Iterator[Breach]:
    """Every lot is in one vessel at a time."""
    for brood, (first, second) in walk.in_two_places.items():
        day = second.stay.from_
        text = (
            f"{second.stay.lot} is in {first.stay.vessel} until {first.stay.until} "
            f"and in {second.stay.vessel} from {day} on"
        )
        yield Breach(rule=Rule.ONE_PLACE, day=day, brood=brood, vessel=second.stay.vessel, text=text)


def check_fish(walk: Walk) -> Iterator[Breach]:
    """No fish are lost or made up when lots split, join or move."""
    for brood in walk.boundaries:
        if brood not in walk.in_two_places:
            yield from _fish_at_start(walk, brood)
        for boundary in walk.traceable(brood):
            if not balanced(walk, brood, boundary):
                before, after = _ending_heads(walk, boundary), _received(boundary)
                text = f"{brood}: {before:.1f} fish end their stays on {boundary.day}, {after} go on"
                yield Breach(rule=Rule.FISH, day=boundary.day, brood=brood, vessel=None, text=text)


def _fish_at_start(walk: Walk, brood: str) -> Iterator[Breach]:
    starts, life = walk.starts.get(brood, []), walk.lives[brood]
    day = walk.start_day(brood)
    homeless = walk.homeless_at_start(brood)
    if not starts and not homeless:
        return  # told by `housed` or `today`
    planned = life.brood.planned
    expected = ceil(walk.heads(brood, day) - EPSILON) if planned else sum(fish_today(life, day).values())
    there = sum(walked.stay.fish for walked in starts) + sum(row.fish for row in homeless)
    if abs(there - expected) > max(1, len(starts)):
        text = f"{brood}: the plan begins with {there} fish or eggs on {day}, but there are {expected}"
        yield Breach(rule=Rule.FISH, day=day, brood=brood, vessel=None, text=text)


def _ending_heads(walk: Walk, boundary: Boundary) -> float:
    return sum(walk.heads_in(walked, boundary.day) for walked in boundary.ending)


def _received(boundary: Boundary) -> int:
    return (
        sum(walked.stay.fish for walked in boundary.beginning)
        + sum(move.fish for move in boundary.sales)
        + sum(row.fish for row in boundary.homeless)
    )


def balanced(walk: Walk, brood: str, boundary: Boundary) -> bool:
    """Tell whether as many fish go on as end their stays; keepers may be out by one fish a lot."""
    after = _received(boundary)
    receivers = len(boundary.beginning) + len(boundary.sales) + len(boundary.homeless)
    tolerance = max(1, receivers) + EPSILON
    if not boundary.ending:
        return after == 0
    if abs(_ending_heads(walk, boundary) - after) <= tolerance:
        return True
    whole = ceil(walk.heads(brood, boundary.day))
    return abs(whole - after) <= tolerance and walk.whole_brood_begins(brood, boundary.day)


def check_today(walk: Walk) -> Iterator[Breach]:
    """Fish that are somewhere today are there today."""
    today = walk.room.today
    for brood in walk.room.broods:
        if brood.planned or brood.name in walk.in_two_places:
            continue
        homes = {home.vessel for home in brood.homes}
        there = {walked.stay.vessel for walked in walk.starts.get(brood.name, ())}
        for vessel in sorted(homes - there):
            text = f"{brood.name} is in {vessel} today, but the plan does not begin with it there"
            yield Breach(rule=Rule.TODAY, day=today, brood=brood.name, vessel=vessel, text=text)
        for vessel in sorted(there - homes):
            text = f"{brood.name} is not in {vessel} today, but the plan begins with it there"
            yield Breach(rule=Rule.TODAY, day=today, brood=brood.name, vessel=vessel, text=text)
