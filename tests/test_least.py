"""What no plan can do without, against plans that are known to be best.

Outside: exhaustive enumeration (`brute_force`), which shares no code with the tables. Inside: the cohort model solved to
the end, which shares the tables but nothing of how the bounds are found.
"""

from threading import Event

import pytest
from brute_force import best_of
from random_rooms import random_room
from room_files import SCENARIOS
from tiny_rooms import tiny_room

from allocator.model.least_work import least_handlings, least_move_days, least_vessel_days
from allocator.model.room_model import CohortModel
from allocator.model.search import Budget, search
from allocator.model.sweep import MOST_STATES, least_strain
from allocator.needs import needs_of
from allocator.planner import plan_room
from allocator.reading import read_room

WITHOUT_END = 10**9

TINY = (0, 1, 4, 6, 9, 10, 23, 24, 27, 28, 29, 33, 34, 41, 42, 47, 62, 65, 70, 84, 119)
"""Rooms of which all plans are tried in a second."""

TINY_MET = {0, 1, 4, 10, 23, 27, 28, 29, 33, 34, 42, 84, 119}
"""Those where the bound is the truth; of the first 59 rooms that can house all it is in 39 of 55 with strain."""

RANDOM, RANDOM_MET = (1, 8, 13, 14, 36, 55, 56), {1, 8, 14, 55}


@pytest.mark.parametrize("seed", TINY)
def test_no_tiny_room_does_with_less(seed: int) -> None:
    """Every plan of a tiny room was tried: none has less strain, fewer moves, fewer days with moves or vessel-days."""
    room = tiny_room(seed, most=2)
    best = best_of(room, adding=False, homeless=False)
    assert best is not None
    needs = needs_of(room)
    strain = least_strain(needs, {}, enough=WITHOUT_END)
    assert strain <= best["strain"]
    assert seed not in TINY_MET or strain == best["strain"] > 0
    assert least_handlings(needs) <= best["handlings"]
    assert least_move_days(needs) <= best["move days"]
    assert least_vessel_days(needs) <= best["vessel-days"]


@pytest.mark.parametrize("seed", RANDOM)
def test_no_random_room_has_less_strain(seed: int) -> None:
    """The model's best plan has no less, however many lots are forgotten on the way."""
    needs = needs_of(random_room(seed, broods=(2, 5)))
    model = CohortModel(needs, adding=False, homeless=False)
    model.model.minimize(model.objectives["strain"])
    best = search(model.model, Budget(0.5, brief=True), stop=Event())
    assert best.optimal
    whole, brief = (
        least_strain(needs, {}, enough=WITHOUT_END, most_states=most) for most in (MOST_STATES, 2)
    )
    assert brief <= whole <= best.objective
    assert seed not in RANDOM_MET or whole == best.objective > 0


def test_the_sweep_ends_when_it_is_told_to() -> None:
    """Cut short, it shows less, and nothing that is not so."""
    needs = needs_of(random_room(1, broods=(2, 5)))
    whole = least_strain(needs, {}, enough=WITHOUT_END)
    assert least_strain(needs, {}, enough=WITHOUT_END, go_on=lambda: False) <= whole
    assert least_strain(needs, {}, enough=17) == 17 < whole
    more = dict.fromkeys((kind.index for kind in needs.classes), 3)
    assert least_strain(needs, more, enough=WITHOUT_END) <= whole


def test_the_home_rack_can_do_with_little_less() -> None:
    """What is shown is near to what is reached, and a search is no longer needed to say so."""
    result = plan_room(read_room(SCENARIOS / "home-rack.yaml").room)
    strain = next(level for level in result.best.levels if level.name == "strain")
    assert 0.85 * strain.value < strain.bound < strain.value
    assert result.work == 0
