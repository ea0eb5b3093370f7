"""Looking at vessels side by side must come to the same as looking at each of them."""

from collections.abc import Iterator
from functools import reduce
from operator import or_

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from random_rooms import random_room
from room_files import SCENARIOS

from allocator.check import check_plan
from allocator.model import offers
from allocator.model.first_fit import FirstFit
from allocator.model.offers import Offers
from allocator.model.option import NEVER, Alike, Option
from allocator.model.rank import each, rows_of
from allocator.needs import Bools, BroodNeeds, Ints, needs_of
from allocator.planner import plan_room
from allocator.reading import read_room


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
        first = option.first if isinstance(option, Alike) else 0
        slots = [[slot - first for slot in one] for one in (starts, ends)]
        for name, blocked in _blocked(option):
            found[name] = _fits(blocked, *slots)
    return found


def _blocked(option: Option | Alike) -> Iterator[tuple[str, Ints]]:
    """Yield each vessel that is offered with the running sum of slots in which it is not free."""
    if isinstance(option, Option):
        yield from zip((vessel.name for vessel in option.vessels), option.blocked, strict=True)
        return
    for row in each(reduce(or_, option.free, 0)):
        taken = [not free >> row & 1 for free in option.free]
        yield option.vessels[row].name, np.concatenate(([0], np.cumsum(taken)))


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
                alone = fit.offers.free_in(brood, number, 1, brood.phases[number].portions, vessel)
                true = _fits(np.concatenate(([0], np.cumsum(~alone))), starts, ends)
                free += int(true.sum())
                assert np.array_equal(offered.get(name, np.zeros_like(true)), true), (brood.name, name)
        fit.board.put(brood.index, before)
    assert free


SLOTS = 6


@given(
    st.lists(st.sets(st.integers(0, 90)), min_size=SLOTS, max_size=SLOTS),
    st.lists(st.floats(0, 9), min_size=SLOTS, max_size=SLOTS),
)
def test_of_vessels_alike_the_first_that_is_free_all_the_time_is_taken(
    free: list[set[int]], costs: list[float]
) -> None:
    """By looking at each vessel in turn."""
    first, once = 3, 60.0
    alike = Alike(
        vessels=[],
        first=first,
        free=[rows_of(rows) for rows in free],
        cost=np.concatenate(([0.0], np.cumsum(costs))),
        once=once,
        slow=False,
    )
    slots = list(range(first, first + SLOTS + 1))
    (cost,), (row,) = alike.between(slots, slots)
    pairs = [(start, end) for start in slots for end in slots if start < end]
    (beside,), (row_beside,) = alike.from_to(*(np.array(each) for each in zip(*pairs, strict=True)))
    for place, (start, end) in enumerate(pairs):
        here = slice(start - first, end - first)
        there = set.intersection(*free[here])
        at = start - first, end - first
        if not there:
            assert cost[at] == beside[place] == NEVER
        else:
            assert row[at] == row_beside[place] == min(there)
            assert cost[at] == beside[place] == pytest.approx(once + sum(costs[here]))
    assert all(cost[at, to] == NEVER for at in range(SLOTS + 1) for to in range(at + 1))


@pytest.mark.parametrize("seed", [3005, 3013])
def test_sets_of_vessels_tell_of_each_what_its_counts_tell(seed: int) -> None:
    """However often broods are taken out and put back."""
    fit = _settled(seed)
    fit.improve(10, seed)
    for rank in fit.board.ranks.values():
        for row, vessel in enumerate(rank.vessels):
            assert bool(rank.used >> row & 1) == bool(vessel.occupants)
            for slot in range(fit.needs.slots):
                there = sum(place.start <= slot < place.end for _, place, _ in vessel.occupants)
                assert vessel.heads[slot] == there
                assert bool(rank.vacant[slot] >> row & 1) == (there == 0)
                assert bool(rank.open_to_all[slot] >> row & 1) == (rank.kept[row, slot] == 0)


def test_of_many_vessels_of_its_own_line_some_are_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    """A few of those that are looked at otherwise, and the others are not taken for vessels of strangers."""
    fit = FirstFit(needs_of(read_room(SCENARIOS / "club-room.yaml").room), {})
    fit.run()
    left_out = 0
    for brood in fit.needs.broods[::5]:
        before = fit.board.take(brood.index)
        for number, starts, ends in _moves(fit, brood):
            ever, surely = (starts[0], ends[-1]), (starts[-1], ends[0])
            for rank in fit.board.ranks.values():
                monkeypatch.setattr(offers, "MOST_OF_OWN", 10**6)
                mine, strange = fit.offers._possible(rank, brood, number, ever, surely)
                monkeypatch.setattr(offers, "MOST_OF_OWN", 4)
                likely, strange_still = fit.offers._possible(rank, brood, number, ever, surely)
                assert set(likely) <= set(mine)
                assert len(likely) <= 4
                assert strange_still == strange
                left_out += len(mine) - len(likely)
        fit.board.put(brood.index, before)
    assert left_out


def test_a_plan_made_by_looking_at_few_vessels_keeps_all_rules(monkeypatch: pytest.MonkeyPatch) -> None:
    """The club has one line in many of its vessels; with all of them looked at it is the plan of the scenario."""
    monkeypatch.setattr(offers, "MOST_OF_OWN", 4)
    room = read_room(SCENARIOS / "club-room.yaml").room
    result = plan_room(room)
    assert not [b for b in check_plan(result.room, result.best.plan) if not b.as_found]
