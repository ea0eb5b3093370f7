"""Looking at vessels side by side must come to the same as looking at each of them."""

from collections.abc import Iterator

import numpy as np
import pytest
from random_rooms import random_room

from allocator.model.first_fit import FirstFit
from allocator.model.offers import Offers
from allocator.needs import Bools, BroodNeeds, Ints, needs_of


def _settled(seed: int) -> FirstFit:
    fit = FirstFit(needs_of(random_room(seed, broods=(4, 12))), {})
    fit.run()
    return fit


def _moves(fit: FirstFit, brood: BroodNeeds) -> Iterator[tuple[int, list[int], list[int]]]:
    """Yield each phase that begins with a move, with the slots in which it may begin and end."""
    heads = fit.heads(brood)
    for place, number in enumerate(heads):
        phase = brood.phases[number]
        last = place == len(heads) - 1
        ends = list(brood.sale_slots if last else brood.phases[heads[place + 1]].entries)
        if not phase.homes:
            yield number, list(phase.entries), ends


def _fits(blocked: Ints, starts: list[int], ends: list[int]) -> Bools:
    begin, end = np.array(starts)[:, None], np.array(ends)[None, :]
    fits: Bools = (blocked[end] == blocked[begin]) & (end > begin)
    return fits


def _offered(
    offers: Offers, brood: BroodNeeds, number: int, starts: list[int], ends: list[int]
) -> dict[str, Bools]:
    found = {}
    for option in offers.within(brood, number, starts, ends):
        slots = [[slot - option.first for slot in one] for one in (starts, ends)]
        for vessel, blocked in zip(option.vessels, option.blocked, strict=True):
            found[vessel.name] = _fits(blocked, *slots)
    return found


@pytest.mark.parametrize("seed", [3005, 3009, 3011, 3013])
def test_what_is_offered_is_what_is_free(seed: int) -> None:
    # In 3005 and 3009 a mate has just left and its vessel is being cleaned; in 3013 mates come to the tank
    # of a mop once the mop is out.
    fit = _settled(seed)
    free = 0
    for brood in fit.needs.broods:
        before = fit.board.take(brood.index)
        for number, starts, ends in _moves(fit, brood):
            offered = _offered(fit.offers, brood, number, starts, ends)
            for name, vessel in fit.board.vessels.items():
                alone = fit.offers._free(brood, number, 1, brood.phases[number].portions, vessel)
                true = _fits(np.concatenate(([0], np.cumsum(~alone))), starts, ends)
                free += int(true.sum())
                assert np.array_equal(offered.get(name, np.zeros_like(true)), true), (brood.name, name)
        fit.board.put(brood.index, before)
    assert free
