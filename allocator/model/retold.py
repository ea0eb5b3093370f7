"""A plan read back into how each brood is settled: unfolding the other way round."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import combinations, pairwise, product

from allocator.model.settled import MILLIONTHS, Place, Settled, home_parts, never_housed, sales_of
from allocator.model.unfold import share_out
from allocator.needs import BroodNeeds, Needs, VesselClass
from allocator.plan import Plan, Stay


@dataclass(frozen=True)
class _Stretch:
    """The vessels in which a brood lives from one slot to another, with the fish in each."""

    start: int
    end: int
    fish: dict[str, int]


def retold(needs: Needs, plan: Plan, kinds: Mapping[str, VesselClass] | None = None) -> dict[int, Settled]:
    """Return how a plan settles the broods of a room, by index.

    Parameters
    ----------
    needs
        The tables of the room, or of the same room with more broods.
    plan
        Checked already, or made for the room as it was.
    kinds
        The class of each vessel by name, where there may be more than those of the room.

    Returns
    -------
    dict
        Without the broods of which the plan says nothing, or tells a story that the search has no words for (a plan
        edited by hand may move a half of a brood at a time).
    """
    slot_of = {day: slot for slot, day in enumerate(needs.days)}
    stays: dict[str, list[Stay]] = {}
    for stay in plan.stays:
        stays.setdefault(stay.brood, []).append(stay)
    lost = {row.brood: (slot_of.get(row.from_), slot_of.get(row.until)) for row in plan.homeless}
    left_out = {row.brood for row in plan.not_taken}
    told = {}
    for brood in needs.broods:
        if brood.name in left_out:
            told[brood.index] = never_housed(brood)
            continue
        since, until = lost.get(brood.name, (None, None))
        stretches = _stretches(stays.get(brood.name, []), slot_of)
        if stretches is None or (brood.name in lost and (since is None or until is None)):
            continue
        settled = _settled(needs, kinds or needs.class_of, brood, stretches, since, until)
        if settled is not None:
            told[brood.index] = settled
    return told


def _stretches(stays: list[Stay], slot_of: dict[date, int]) -> list[_Stretch] | None:
    """Return the stretches of one brood in order of time; None where its parts do not move on together."""
    spans: dict[tuple[int, int], dict[str, int]] = {}
    for stay in stays:
        span = slot_of.get(stay.from_, -1), slot_of.get(stay.until, -1)
        if min(span) < 0:
            return None
        spans.setdefault(span, {})[stay.vessel] = stay.fish
    stretches = [_Stretch(*span, fish) for span, fish in sorted(spans.items())]
    joined = all(one.end == other.start for one, other in pairwise(stretches))
    return stretches if joined else None


def _settled(
    needs: Needs,
    kinds: Mapping[str, VesselClass],
    brood: BroodNeeds,
    stretches: list[_Stretch],
    since: int | None,
    until: int | None,
) -> Settled | None:
    """Return a brood settled as its stretches say, homeless from a slot on where one is given."""
    if not stretches:
        return None if since is None or until is None else Settled((since,) * len(brood.phases), until, (), 0)
    found = list(_readings(kinds, brood, stretches, since, stretches[-1].end if until is None else until))
    on_time = (one for one in found if one.sale in sales_of(needs, kinds, brood, one))
    return next(on_time, found[0] if found else None)


def _readings(
    kinds: Mapping[str, VesselClass],
    brood: BroodNeeds,
    stretches: list[_Stretch],
    since: int | None,
    sale: int,
) -> Iterator[Settled]:
    """Yield each way in which the story of a brood can be read: it does not say when a stage begins in place."""
    homes = {vessel for vessel, _ in brood.phases[0].homes}
    if homes and homes != stretches[0].fish.keys():
        return  # the keeper has moved it meanwhile
    for begun in _ways(brood, stretches, since):
        homeless = begun.pop() if since is not None else None
        last = brood.last_stage_phase
        turns = [0, *(() if last in begun else brood.phases[last].entries)]
        for turn, skip in product(turns, (False, True)):
            end = sale if since is None else since
            entries = _entries(brood, begun, stretches, end, homeless, turn, skip=skip)
            places = tuple(_places(begun, stretches, entries, brood))
            if all(_may_live(kinds, brood, place) for place in places):
                yield Settled(entries, sale, places, homeless)


def _ways(brood: BroodNeeds, stretches: list[_Stretch], since: int | None) -> Iterator[list[int]]:
    """Yield with which phase each stretch (and then the time without a home) may begin: most likely first.

    Likely is what passes over few phases that cannot be left out, and uses few of those that can. A home may be
    lost on any day.
    """
    starts = [stretch.start for stretch in stretches[1:]]
    later = range(1, len(brood.phases))
    must = {number for number in later if not brood.phases[number].optional}
    ways = [
        [0, *way]
        for way in combinations(later, len(starts) + (since is not None))
        if all(slot in brood.phases[number].entries for number, slot in zip(way, starts, strict=False))
    ]
    yield from sorted(ways, key=lambda way: (len(must - set(way)), way))


def _entries(
    brood: BroodNeeds,
    begun: list[int],
    stretches: list[_Stretch],
    end: int,
    homeless: int | None,
    turn: int,
    *,
    skip: bool,
) -> tuple[int, ...]:
    """Return the slot in which each phase begins.

    Those passed over begin in place as soon as they may, the last stage not before `turn`; or are left out, where
    they can be and `skip` says so.
    """
    known = dict(zip(begun, (stretch.start for stretch in stretches), strict=True))
    count = len(brood.phases)
    if homeless is not None:
        known |= dict.fromkeys(range(homeless, count), end)
    following, entries = end, []
    for number in reversed(range(count)):
        phase = brood.phases[number]
        if number in known:
            following = known[number]
        elif not (phase.optional or (skip and brood.life.rules.stages[phase.stage].may_skip)):
            earliest = max(known[before] for before in known if before < number)
            soonest = max(phase.entries[0], turn) if number == brood.last_stage_phase else phase.entries[0]
            following = min(max(soonest, earliest), following)
        entries.append(following)
    return tuple(reversed(entries))


def _places(
    begun: list[int], stretches: list[_Stretch], entries: tuple[int, ...], brood: BroodNeeds
) -> Iterator[Place]:
    """Yield where the parts of a brood live, phase by phase."""
    for place, (number, stretch) in enumerate(zip(begun, stretches, strict=True)):
        after = begun[place + 1] if place + 1 < len(begun) else len(entries)
        inside = [n for n in range(number, after) if n == number or stretch.start < entries[n] < stretch.end]
        for one, n in enumerate(inside):
            start = stretch.start if n == number else entries[n]
            end = entries[inside[one + 1]] if one + 1 < len(inside) else stretch.end
            for vessel, (parts, of) in _parts(brood, n, stretch.fish).items():
                yield Place(n, vessel, start, end, parts, of)


def _parts(brood: BroodNeeds, number: int, fish: dict[str, int]) -> dict[str, tuple[int, int]]:
    """Return which part of a brood is in each vessel: equal portions if they make these numbers, else millionths."""
    phase = brood.phases[number]
    if phase.homes:
        return {vessel: home_parts(share) for vessel, share in phase.homes}
    total, of = sum(fish.values()), phase.portions
    parts = {vessel: round(count * of / total) for vessel, count in fish.items()} if total else {}
    if parts and sum(parts.values()) == of and min(parts.values()) > 0 and share_out(total, parts) == fish:
        return {vessel: (count, of) for vessel, count in parts.items()}
    if len(fish) == 1:
        return dict.fromkeys(fish, (of, of))
    return {vessel: (-(-count * MILLIONTHS // max(total, 1)), MILLIONTHS) for vessel, count in fish.items()}


def _may_live(kinds: Mapping[str, VesselClass], brood: BroodNeeds, place: Place) -> bool:
    """Tell whether the fish may be in that stage there; what they are found in today is not asked about."""
    phase = brood.phases[place.phase]
    kind = kinds.get(place.vessel)
    if phase.homes:
        return True
    return kind is not None and bool(brood.allowed[phase.stage][kind.index][place.start : place.end].all())
