"""Where a brood founders that finds no room beside those who are settled."""

from collections.abc import Sequence

from allocator.husbandry.stages import fits_stage, stage_kinds
from allocator.model.option import NEVER
from allocator.model.rank import Slotted
from allocator.model.settling import Settler
from allocator.needs import BroodNeeds, VesselClass
from allocator.replies.refusal import InTheWay, Refusal, Snag, Unfit


def refusal(fit: Settler, brood: BroodNeeds) -> Refusal:
    """Return what is in the way of a brood; it is on the board without a home, or not at all.

    Its stages are gone through from the first to the last: it founders on the first that it can enter and not
    leave again in time, because no vessel is free for it through the stage.
    """
    needed = fit.heads(brood)
    starts = list(brood.phases[0].entries)
    for place, number in enumerate(needed):
        last = place == len(needed) - 1
        ends = list(brood.sale_slots) if last else list(brood.phases[needed[place + 1]].entries)
        after = reached(fit, brood, number, starts, ends)
        if not after:
            return _founders(fit, brood, number, starts, ends)
        starts = after
    return Refusal(brood=brood.name, snag=_no_stage(fit, brood))


def _no_stage(fit: Settler, brood: BroodNeeds) -> Snag:
    """Return what a brood founders on that finds a vessel for each stage: hands to move it, or room for its parts."""
    most, before = fit.most_moves, fit.board.settled.get(brood.index)
    if before is not None:
        fit.board.take(brood.index)
    fit.most_moves = None
    housed = fit.settle(brood).homeless is None
    fit.board.take(brood.index)
    fit.most_moves = most
    if before is not None:
        fit.board.put(brood.index, before)
    return Snag.HANDS if housed else Snag.PARTS


def reached(
    fit: Settler, brood: BroodNeeds, number: int, starts: Sequence[int], ends: Sequence[int]
) -> list[int]:
    """Return the slots in which a brood can leave a phase that it enters in one of the first slots."""
    found: set[int] = set()
    for option in fit.offers.within(brood, number, list(starts), list(ends)):
        cost, _ = option.between(list(starts), list(ends))
        found |= {end for column, end in enumerate(ends) if (cost[:, column] < NEVER).any()}
    return sorted(found)


def _founders(
    fit: Settler, brood: BroodNeeds, number: int, starts: Sequence[int], ends: Sequence[int]
) -> Refusal:
    phase, days = brood.phases[number], fit.needs.days
    since, latest = starts[0], starts[-1]
    until = max(ends[0], since + 1)
    stage = brood.life.rules.stages[phase.stage].name
    way = [
        _in_the_way(fit, brood, phase.stage, vessel, (since, latest, until))
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
    )


def _in_the_way(
    fit: Settler, brood: BroodNeeds, stage: int, vessel: Slotted, slots: tuple[int, int, int]
) -> InTheWay:
    """Return who is in a vessel in the days that count at least, or why it does not do for a brood at all."""
    since, latest, until = slots
    last = max(since + 1, min(latest, until - 1))
    kind = vessel.kind
    if not brood.allowed[stage][kind.index][last - 1 : until].all():
        return InTheWay(vessel=vessel.name, unfit=_unfit(brood, stage, kind, since, until))
    there = [
        (place.start, fit.needs.broods[index].name)
        for index, place, _ in vessel.occupants
        if place.start < until and min(latest, until - 1) < place.end
    ]
    return InTheWay(vessel=vessel.name, broods=tuple(dict.fromkeys(name for _, name in sorted(there))))


def _unfit(brood: BroodNeeds, stage: int, kind: VesselClass, since: int, until: int) -> Unfit:
    if stage == 0 and brood.life.rules.eggs_need_snail_free and not kind.sample.snail_free:
        return Unfit.SNAILS
    return Unfit.OTHER if kind.there[since:until].all() else Unfit.AWAY
