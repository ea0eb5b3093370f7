"""What cannot be true of a room today, or should not be: both sides are named, and it is still planned."""

from collections.abc import Iterator
from itertools import combinations

from allocator.husbandry.homes import fish_today
from allocator.husbandry.life import Life, lives
from allocator.husbandry.stages import fits_stage, is_alone, stage_today
from allocator.husbandry.stocking import SUMMED_CAPS, Cap, flow_step, shares_of_one
from allocator.reading.wishes import may_share
from allocator.room import Brood, Room, Vessel
from allocator.rules import FlowSetting

DUST = 1e-9


def oddities(room: Room) -> Iterator[tuple[str, str, str, str | None]]:
    """Yield (brood, what is odd, what was found, hint) for the broods that are somewhere today."""
    forecast = lives(room)
    housed: dict[str, list[Brood]] = {}
    for brood in room.broods:
        for home in brood.homes:
            housed.setdefault(home.vessel, []).append(brood)
        if not brood.planned:
            yield from _grown(brood, forecast[brood.name], room)
    for name, broods in housed.items():
        vessel = room.vessel_named[name]
        for brood in broods:
            yield from _alone_there(brood, forecast[brood.name], vessel, room)
        for one, other in combinations(broods, 2):
            yield from _together(one, other, forecast, vessel, room)
        yield from _full(broods, forecast, vessel, room)


def _grown(brood: Brood, life: Life, room: Room) -> Iterator[tuple[str, str, str, str | None]]:
    longest = max((count.mm or 0 for count in brood.counts), default=0)
    mm = max(life.length_mm(room.today), longest)
    sale = life.rules.sale_mm.value
    if mm >= sale:
        yield brood.name, "it is long enough to be sold", f"{mm:g} mm, sale size {sale:g} mm", None


def _alone_there(
    brood: Brood, life: Life, vessel: Vessel, room: Room
) -> Iterator[tuple[str, str, str, str | None]]:
    today = room.today
    place = repr(vessel.name)
    if not vessel.available.holds(today):
        there = vessel.available
        days = f"there from {there.start or 'ever'} until {there.end or 'ever'}, today is {today}"
        yield brood.name, f"it lives in {place}, which is not there today", days, None
    for group in room.groups:
        if group.vessel == vessel.name and group.lives_there.holds(today):
            found = f"breeding group {group.name!r} lives there too"
            yield brood.name, f"it lives in {place} with grown fish", found, "grown fish eat fry"
    if life.is_egg(today) and life.rules.eggs_need_snail_free and not vessel.snail_free:
        yield brood.name, f"eggs in {place}, which is not snail-free", "snails eat eggs", None
    bears = FlowSetting(int(flow_step(life.length_mm(today), life.rules).limit.value))
    if vessel.flow_lowest > bears:
        found = f"weakest there is {vessel.flow_lowest.word}, the fish bear {bears.word}"
        yield brood.name, f"the water in {place} moves too strongly", found, None
    number = stage_today(life, vessel, today)
    if not fits_stage(life, number, vessel):
        kinds = ", ".join(kind.value for kind in vessel.kinds)
        found = f"{place} is for {kinds}"
        yield brood.name, "it lives in a vessel that is for no stage of its life", found, None
    stage, mm = life.rules.stages[number], life.length_mm(today)
    if stage.from_mm is not None and mm < stage.from_mm.value:
        found = f"{mm:.0f} mm, {stage.name} begins at {stage.from_mm.value:g} mm"
        yield brood.name, f"it is shorter than fish should be in {place}", found, None


def _together(
    one: Brood, other: Brood, forecast: dict[str, Life], vessel: Vessel, room: Room
) -> Iterator[tuple[str, str, str, str | None]]:
    place, today = repr(vessel.name), room.today
    first, second = forecast[one.name], forecast[other.name]
    if not may_share(room, one, other):
        found = f"{one.name!r} is {one.line!r}, {other.name!r} is {other.line!r}"
        yield other.name, f"it shares {place} with another line", found, None
    for life, company in ((first, second), (second, first)):
        if is_alone(life, stage_today(life, vessel, today)):
            found = f"{company.brood.name!r} lives there too"
            yield life.brood.name, f"it should be alone in {place}", found, None
    lengths = sorted((first.length_mm(today), second.length_mm(today)))
    limit = min(life.rules.length_ratio_limit.value for life in (first, second))
    if 0 < lengths[0] * limit < lengths[1] - DUST:
        found = (
            f"{one.name!r} {first.length_mm(today):.0f} mm, {other.name!r} {second.length_mm(today):.0f} mm"
        )
        yield other.name, f"it shares {place} with fish of very different length", found, None


def _full(
    broods: list[Brood], forecast: dict[str, Life], vessel: Vessel, room: Room
) -> Iterator[tuple[str, str, str, str | None]]:
    totals = dict.fromkeys(Cap, 0.0)
    for brood in broods:
        life = forecast[brood.name]
        fish = fish_today(life, room.today)[vessel.name]
        for cap, (_, share) in shares_of_one(life.length_mm(room.today), vessel, life.rules).items():
            totals[cap] = max(totals[cap], share) if cap not in SUMMED_CAPS else totals[cap] + fish * share
    cap, share = max(totals.items(), key=lambda item: item[1])
    if share > 1 + DUST:
        names = ", ".join(repr(brood.name) for brood in broods)
        found = f"{names}: {share:.0%} of the limit, {cap.value}"
        yield broods[0].name, f"there is more in {vessel.name!r} than the rules allow", found, None
