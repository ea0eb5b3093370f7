"""The bound by columns is never above what is possible, and often just that; its parts do what they say."""

from math import inf

import numpy as np
import pytest
from benchmark.columns import column_bound
from benchmark.columns.lots import clash
from benchmark.columns.master import Prices
from benchmark.columns.parts import parts_of
from benchmark.columns.proof import SCALE, proven
from benchmark.columns.stretches import Stretch, Vessel
from ortools.sat.python import cp_model
from parted_rooms import least_parted, parted_room
from plain_milp import least
from random_rooms import random_room
from tiny_rooms import tiny_room

from allocator.model.bounds import cost_bound
from allocator.model.first_fit import FirstFit
from allocator.model.room_model import CohortModel
from allocator.needs import FULL, Ints, Needs, needs_of
from allocator.room import Room

ROUNDS = 40
"""So many do for rooms of a few broods; a bound that is not finished must hold all the same."""


def bound(room: Room, rounds: int = ROUNDS) -> float:
    """Return the bound in hundredths; infinite where no addition can do."""
    cost = column_bound(needs_of(room), budget=rounds).cost
    return inf if cost is None else cost


def reached(needs: Needs) -> float:
    """Return the least cost that the constraint model and first fit come to; infinite where they find no plan."""
    model = CohortModel(needs, adding=True, homeless=False)
    model.model.minimize(model.objectives["cost"])
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_deterministic_time = 2
    found = solver.solve(model.model) in {cp_model.OPTIMAL, cp_model.FEASIBLE}
    fit = FirstFit(needs, {kind.index: kind.most for kind in needs.classes if kind.most})
    fit.run()
    score = fit.board.score()
    return min(
        solver.objective_value if found else inf, inf if score.homeless_fish_days else score.added_cost
    )


@pytest.mark.parametrize("seed", range(48))
def test_never_above_what_trying_everything_finds_for_parted_broods(seed: int) -> None:
    room = parted_room(seed)
    assert bound(room) <= least_parted(room, adding=True, homeless=False)


@pytest.mark.parametrize("seed", range(100, 132))
def test_never_above_what_a_plain_integer_programme_finds(seed: int) -> None:
    room = tiny_room(seed, slow=False, most=5)
    cost = least(room, adding=True, homeless=False)
    if cost is not None:
        assert bound(room) <= cost


@pytest.mark.parametrize("seed", [4, 10, 16, 19, 25, 38])
def test_never_above_what_is_found_in_rooms_of_every_shape(seed: int) -> None:
    """Seed 19 has a vessel in which lines are found today that may not share."""
    room = random_room(seed)
    assert bound(room) <= reached(needs_of(room))


def test_often_just_what_is_possible_and_at_times_more_than_single_days_show() -> None:
    met = more = 0
    for seed in range(80):
        room = parted_room(seed)
        cost = least_parted(room, adding=True, homeless=False)
        if 0 < cost < inf:
            met += bound(room) == cost
            more += bound(room) > cost_bound(needs_of(room))
    assert met >= 5
    assert more >= 2


@pytest.mark.parametrize("rounds", [0, 1, 2, 3, 5, 8])
def test_holds_wherever_the_search_is_cut_short(rounds: int) -> None:
    for seed in (2, 3, 5, 8, 13):
        room = parted_room(seed)
        assert bound(room, rounds) <= least_parted(room, adding=True, homeless=False)


def test_ends_when_it_is_told_to() -> None:
    asked = []

    def go_on() -> bool:
        asked.append(True)
        return len(asked) < 3

    assert column_bound(needs_of(parted_room(3)), go_on=go_on).rounds == 2


def test_the_same_every_time() -> None:
    needs = needs_of(random_room(10))
    assert column_bound(needs, budget=12) == column_bound(needs, budget=12)


def prices_of(rng: np.random.Generator, vessel: Vessel, slots: int) -> tuple[Ints, Ints, Ints]:
    """Return random whole prices."""
    worth = rng.integers(0, 20, size=(len(vessel.items), slots))
    return worth, rng.integers(0, 60, size=len(vessel.items)), rng.integers(0, 40, size=slots)


def value_of(stretch: Stretch, worth: Ints, fee: Ints, rent: Ints) -> int:
    """Return what a stretch is worth above its rent."""
    gain = sum(int(worth[i, begin:end].sum()) - int(fee[i]) for i, begin, end in stretch.stays)
    return gain - int(rent[stretch.begin : stretch.end].sum())


def keeps_the_rules(needs: Needs, vessel: Vessel, stretch: Stretch) -> bool:
    """Tell whether a stretch keeps windows, caps and clashes, slot by slot."""
    for i, begin, end in stretch.stays:
        item = vessel.items[i]
        if begin not in item.entries or end not in item.leaves or not item.there[begin:end].all():
            return False
    for slot in range(stretch.begin, stretch.end):
        inside = [vessel.items[i] for i, begin, end in stretch.stays if begin <= slot < end]
        if inside and (sum(item.load[:, slot] for item in inside) > FULL).any():
            return False
        for n, one in enumerate(inside):
            if any(clash(needs, one.lot, other.lot)[slot] for other in inside[:n]):
                return False
    return True


@pytest.mark.parametrize("seed", [0, 4, 10, 16, 25, 31])
def test_the_best_stretch_keeps_the_rules_and_none_is_worth_more(seed: int) -> None:
    needs = needs_of(random_room(seed))
    rng = np.random.default_rng(seed)
    for vessel in parts_of(needs).vessels.values():
        tries = [prices_of(rng, vessel, needs.slots) for _ in range(6)]
        found = [vessel.best(*prices, most=4) for prices in tries]
        for prices, rows in zip(tries, found, strict=True):
            for got, stretch in rows:
                assert got == value_of(stretch, *prices)
                assert keeps_the_rules(needs, vessel, stretch)
            top = rows[0][0] if rows else 0
            assert all(value_of(other, *prices) <= top for others in found for _, other in others)


@pytest.mark.parametrize("seed", range(24))
def test_whatever_the_prices_they_prove_no_more_than_is_possible(seed: int) -> None:
    room = parted_room(seed)
    needs = needs_of(room)
    parts = parts_of(needs)
    least_cost = least_parted(room, adding=True, homeless=False)
    members = {g: [b.index for b in group.broods] for g, group in enumerate(parts.groups)}
    price = {kind.index: kind.price for kind in needs.classes}
    most = {kind.index: kind.most for kind in needs.classes}
    rng = np.random.default_rng(seed)
    for scale in (1.0, 30.0, 1000.0):
        worth = np.zeros((len(needs.broods), needs.slots))
        for brood, slots in parts.required.items():
            worth[brood, list(slots)] = rng.random(len(slots)) * scale
        rent = rng.random((len(needs.classes), needs.slots)) * scale
        assert proven(parts, members, Prices(worth, {}, rent), price, {}, most) <= least_cost * SCALE
