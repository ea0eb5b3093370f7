"""What work no plan that houses all can do without: handlings, days with moves, days on which vessels are in use."""

from collections.abc import Iterator
from itertools import groupby

from allocator.model.bounds import slices
from allocator.needs import BroodNeeds, Needs, Phase


def _moved_for_sure(needs: Needs, brood: BroodNeeds) -> Iterator[Phase]:
    """Yield the phases for which a brood must be carried into another vessel, whatever the plan.

    Each stage after the first that it must go through is one, unless a vessel that serves both this and the one before
    lets it stay; or one further back, where those between may be left out.
    """
    before: list[set[int]] = []  # the classes it may come from
    for phase in (p for p in brood.phases if not p.optional):
        here = {kind.index for kind in needs.classes if brood.allowed[phase.stage][kind.index].any()}
        here |= {needs.class_of[name].index for name, _ in phase.homes}  # wrong or not, that is where it is
        may_skip = bool(before) and brood.life.rules.stages[phase.stage].may_skip
        if before and not may_skip and not any(here & classes for classes in before):
            yield phase
        before = [*before, here] if may_skip else [here]


def least_handlings(needs: Needs) -> int:
    """Return how many handlings no plan that houses all can do without."""
    return sum(1 for brood in needs.broods for _ in _moved_for_sure(needs, brood))


def least_move_days(needs: Needs) -> int:
    """Return on how many days something is moved or sold at least.

    Moves whose windows have no day in common need a day each; and a keeper has so many hands a day. Fish may be sold
    as late as company holds them back, so a sale has no last day here.
    """
    windows = [
        (phase.entries[0], phase.entries[-1])
        for brood in needs.broods
        for phase in _moved_for_sure(needs, brood)
    ]
    windows += [(brood.sale_slots[0], needs.slots) for brood in needs.broods]
    days, latest = 0, -1
    for first, last in sorted(windows, key=lambda window: window[1]):
        if first > latest:
            days, latest = days + 1, last
    hands = needs.room.keeper.most_moves_a_day
    return days if hands is None else max(days, -(-len(windows) // max(hands, 1)))


def least_vessel_days(needs: Needs) -> int:
    """Return on how many days vessels are in use at least, by those who must be in some on each day."""
    total = 0
    for slot, found in groupby(slices(needs), key=lambda one: one.slot):
        seen: frozenset[int] = frozenset()
        for one in sorted(found, key=lambda one: -one.needed):
            classes = frozenset(kind.index for kind in one.classes)
            if not classes & seen:
                seen |= classes
                total += one.needed * int(needs.slot_days[slot])
    return total
