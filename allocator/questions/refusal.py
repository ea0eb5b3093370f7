"""Where a brood founders that finds no room beside those who are settled."""

from collections.abc import Iterable, Sequence

import numpy as np

from allocator.husbandry.stages import fits_stage, stage_kinds
from allocator.model.option import NEVER
from allocator.model.rank import Slotted
from allocator.model.settling import Settler
from allocator.needs import Bools, BroodNeeds, VesselClass
from allocator.replies.refusal import InTheWay, Refusal, Snag, Unfit
from allocator.room import Span


def refusal(fit: Settler, brood: BroodNeeds) -> Refusal:
    """Return what is in the way of a brood; it is on the board without a home, or not at all.

    Its stages are gone through from the first to the last: it founders on the first that it can enter and not
    leave again in time, because no vessel is free for it through the stage; through the last, until it may be sold.
    """
    needed = fit.heads(brood)
    starts = list(brood.phases[0].entries)
    for place, number in enumerate(needed[:-1]):
        ends = list(brood.phases[needed[place + 1]].entries)
        after = reached(fit, brood, number, starts, ends)
        if not after:
            return _founders(fit, brood, number, starts, ends)
        starts = after
    number = needed[-1]
    if not reached(fit, brood, number, starts, brood.sale_slots):
        return _founders(fit, brood, number, starts, brood.sale_slots)
    if not _sold(fit, brood, number, starts):
        ends = _sales(fit, brood, number, starts, _paces(fit, brood, number))
        return (
            _founders(fit, brood, number, starts, ends) if ends else Refusal(brood=brood.name, snag=Snag.SALE)
        )
    return Refusal(brood=brood.name, snag=_no_stage(fit, brood))


def _no_stage(fit: Settler, brood: BroodNeeds) -> Snag:
    """Return what a brood founders on that finds a vessel for each stage: hands, room for its parts, or its pace.

    The vessels that are free in one stage may be so short that those of the next are not free for as long as it takes.
    """
    most, before = fit.most_moves, fit.board.settled.get(brood.index)
    if before is not None:
        fit.board.take(brood.index)
    fit.most_moves = None
    housed = fit.settle(brood).homeless is None
    fit.board.take(brood.index)
    whole = fit.dates(brood).homeless is None
    fit.most_moves = most
    if before is not None:
        fit.board.put(brood.index, before)
    if housed:
        return Snag.HANDS
    return Snag.PARTS if whole else Snag.SALE


def reached(
    fit: Settler, brood: BroodNeeds, number: int, starts: Sequence[int], ends: Sequence[int]
) -> list[int]:
    """Return the slots in which a brood can leave a phase that it enters in one of the first slots, or leaves out."""
    phase = brood.phases[number]
    may_skip = brood.life.rules.stages[phase.stage].may_skip and not phase.homes
    found: set[int] = set(starts).intersection(ends) if may_skip else set()
    for option in fit.offers.within(brood, number, list(starts), list(ends)):
        cost, _ = option.between(list(starts), list(ends))
        found |= {end for column, end in enumerate(ends) if (cost[..., column] < NEVER).any()}
    return sorted(found)


def _sold(fit: Settler, brood: BroodNeeds, number: int, starts: Sequence[int]) -> bool:
    """Tell whether some vessel is free from one of the slots of entry until a day on which a brood may be sold."""
    ends = list(brood.sale_slots)
    sales = {
        slow: np.array([np.isin(ends, _sales(fit, brood, number, [start], (slow,))) for start in starts])
        for slow in (False, True)
    }
    for option in fit.offers.within(brood, number, list(starts), ends):
        cost, _ = option.between(list(starts), ends)
        if ((cost < NEVER) & sales[option.slow]).any():
            return True
    return False


def _sales(
    fit: Settler,
    brood: BroodNeeds,
    number: int,
    starts: Sequence[int],
    paces: Iterable[bool],
) -> list[int]:
    """Return when a brood may be sold that enters its last vessel in one of some slots, slowed before or not."""
    return sorted(
        {
            end
            for start in starts
            for slow in paces
            for slowed in (False, True)
            for end in fit.sales_after(brood, start, number, slow=slow, slowed=slowed)
            if end > start
        }
    )


def _paces(fit: Settler, brood: BroodNeeds, number: int) -> set[bool]:
    """Return whether the vessels that are there for a phase slow the fish: never, always or some of them."""
    stage = brood.phases[number].stage
    ranks = fit.board.ranks.values()
    kinds = [r.kind for r in ranks if r.vessels and fits_stage(brood.life, stage, r.kind.sample)]
    return {fit.needs.slow(kind, brood) for kind in kinds}


def _founders(
    fit: Settler, brood: BroodNeeds, number: int, starts: Sequence[int], ends: Sequence[int]
) -> Refusal:
    phase, days = brood.phases[number], fit.needs.days
    since, latest = starts[0], starts[-1]
    until = max(ends[0], since + 1)
    stage = brood.life.rules.stages[phase.stage].name
    way = [
        _in_the_way(fit, brood, phase.stage, vessel, starts, ends)
        for rank in fit.board.ranks.values()
        for vessel in rank.vessels
        if fits_stage(brood.life, phase.stage, vessel.kind.sample)
    ]
    return Refusal(
        brood=brood.name,
        snag=Snag.TAKEN if way else Snag.NO_VESSEL,
        stage=stage,
        kinds=tuple(kind.value for kind in stage_kinds(brood.life, phase.stage)),
        since=days[since],
        latest=days[latest],
        until=days[until],
        in_the_way=tuple(way),
        nowhere=_nowhere(fit, brood, number),
    )


def _nowhere(fit: Settler, brood: BroodNeeds, number: int) -> bool:
    """Tell whether no vessel, there or added, does for a phase whoever is moved, whenever it begins and ends."""
    phase, needed = brood.phases[number], fit.heads(brood)
    after = next((later for later in needed if later > number), None)
    ends = brood.sale_slots if after is None else brood.phases[after].entries
    may_skip = any(stage.may_skip for stage in brood.life.rules.stages)
    if may_skip or any(other.optional for other in brood.phases if other.stage == phase.stage):
        ends = tuple(slot + 1 for slot in phase.entries)  # it may be moved on sooner
    return not any(
        _ever_does(brood.allowed[phase.stage][kind.index], phase.entries, ends)
        for kind in fit.needs.classes
        if kind.copies or kind.most
    )


def _in_the_way(
    fit: Settler, brood: BroodNeeds, stage: int, vessel: Slotted, starts: Sequence[int], ends: Sequence[int]
) -> InTheWay:
    """Return who is in a vessel in the days that count at least, or why it does not do for a brood on any of them."""
    since, latest, until = starts[0], starts[-1], max(ends[0], starts[0] + 1)
    kind = vessel.kind
    if not _ever_does(brood.allowed[stage][kind.index], starts, ends):
        groups = _groups_in(fit, vessel.name, since, until)
        if groups:
            return InTheWay(vessel=vessel.name, broods=groups)
        return InTheWay(vessel=vessel.name, unfit=_unfit(brood, stage, kind, since, until))
    if not any(place.start < ends[-1] and since < place.end for _, place, _ in vessel.occupants):
        return InTheWay(vessel=vessel.name, unfit=Unfit.SMALL)
    there = [
        (place.start, fit.needs.broods[index].name)
        for index, place, _ in vessel.occupants
        if place.start < until and min(latest, until - 1) < place.end
    ]
    return InTheWay(vessel=vessel.name, broods=tuple(dict.fromkeys(name for _, name in sorted(there))))


def _groups_in(fit: Settler, vessel: str, since: int, until: int) -> tuple[str, ...]:
    """Return the breeding groups that live in a vessel in some slots."""
    days = Span(start=fit.needs.days[since], end=fit.needs.days[until])
    return tuple(g.name for g in fit.needs.room.groups if g.vessel == vessel and g.lives_there.meets(days))


def _ever_does(allowed: Bools, starts: Sequence[int], ends: Sequence[int]) -> bool:
    """Tell whether a vessel does for a brood from one of some slots until one of others, whoever else is in it."""
    blocked = np.concatenate(([0], np.cumsum(~allowed)))
    begin, end = np.array(starts)[:, None], np.array(ends)[None, :]
    return bool(((blocked[begin] == blocked[end]) & (end > begin)).any())


def _unfit(brood: BroodNeeds, stage: int, kind: VesselClass, since: int, until: int) -> Unfit:
    if stage == 0 and brood.life.rules.eggs_need_snail_free and not kind.sample.snail_free:
        return Unfit.SNAILS
    return Unfit.OTHER if kind.there[since:until].all() else Unfit.AWAY
