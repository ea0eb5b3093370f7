"""When fish are ready for sale: reckoned in strides, and day by day as the rule is written down."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_rooms import TODAY, box, long, planned, small_pack, ten

from allocator.husbandry.growth import age_at_mm, growth_factor
from allocator.husbandry.life import DUST, Dwelling, Life
from allocator.husbandry.stocking import ROW, shares_by_day, shares_of_one
from allocator.room import Count, Keeper, Vessel
from allocator.rules import GrowthRoom

DAY = timedelta(days=1)


def day_by_day(life: Life, stays: list[Dwelling]) -> date:
    """Return the first day on which the fish are long enough: one day after another."""
    goal = age_at_mm(life.rules.sale_mm.value, life.rules, life.pace)
    day = stays[0].start
    grown = life.growth_age(day)
    for place, stay in enumerate(stays):
        last = place == len(stays) - 1
        lately = 0.0
        while last or day < stay.until:
            if grown >= goal - DUST:
                return day
            mm = life.curve.mm(max(grown, 0.0))
            lately = stay.crowding.get(day, 0.0 if day < stay.until else lately)
            before, day = day, day + DAY
            if before < life.hatched <= day:
                grown = life.growth_age(day)
            else:
                grown += growth_factor(mm, stay.run_cm, life.rules.growth_room, lately)
    return day


@st.composite
def paths(draw: st.DrawFn) -> list[Dwelling]:
    """Draw one to four stays, one after another, in short and long vessels, some of them crowded."""
    day, found = TODAY, []
    for days in draw(st.lists(st.integers(1, 120), min_size=1, max_size=4)):
        crowded = draw(st.dictionaries(st.integers(0, days + 20), st.floats(0.01, 1), max_size=5))
        run = draw(st.sampled_from([30.0, 60.0, 90.0]))
        by_day = {day + n * DAY: far for n, far in crowded.items()}
        found.append(Dwelling(run, day, day + days * DAY, by_day))
        day += days * DAY
    return found


@settings(max_examples=150, deadline=None)
@given(paths(), st.sampled_from([0.4, 0.8, 1.0]), st.sampled_from([0.5, 1.0]), st.sampled_from([10, 25]))
def test_strides_come_to_the_same_day_as_single_steps(
    path: list[Dwelling], slowed: float, full: float, turn: float
) -> None:
    rules = small_pack()
    figure = rules.growth_room.from_mm
    room = GrowthRoom(
        from_mm=figure.model_copy(update={"value": turn}),
        run_cm=figure.model_copy(update={"value": 60}),
        slowed_to=figure.model_copy(update={"value": slowed}),
        slowed_when_full=figure.model_copy(update={"value": full}),
    )
    brood = planned("K1", "k", TODAY, 30)
    life = Life(brood, rules.model_copy(update={"growth_room": room}), Keeper(move_days=(5,)))
    assert life.ready_for_sale(path) == day_by_day(life, path)


def test_measured_fish_go_on_from_their_length() -> None:
    rules = small_pack()
    count = Count(on=TODAY + 60 * DAY, fish=20, mm=21.3)
    brood = planned("K1", "k", TODAY, 30).model_copy(update={"counts": (count,)})
    life = Life(brood, rules, Keeper(move_days=(5,)))
    path = [Dwelling(30.0, TODAY, TODAY + 100 * DAY), Dwelling(90.0, TODAY + 100 * DAY, date.max)]
    assert life.ready_for_sale(path) == day_by_day(life, path)
    assert life.ready_for_sale([]) is None


@pytest.mark.parametrize("vessel", [box("b"), ten("t", filtered=True), long("l", feed_g_per_day=2.0)])
def test_what_a_fish_takes_as_it_grows_is_what_it_takes_at_each_length(vessel: Vessel) -> None:
    mm = np.arange(0.0, 46.0, 0.5)
    comfort, limit = shares_by_day(mm, vessel, small_pack())
    for day, length in enumerate(mm):
        one = shares_of_one(float(length), vessel, small_pack())
        taken = {cap: (comfort[row, day], limit[row, day]) for cap, row in ROW.items()}
        assert taken == {cap: pytest.approx(one.get(cap, (0.0, 0.0))) for cap in ROW}


@pytest.mark.parametrize("days", [0, 5, 40])
def test_forecasts_by_day_are_those_of_single_days(days: int) -> None:
    life = Life(planned("K1", "k", TODAY, 30), small_pack(), Keeper(move_days=(5,)))
    first = TODAY + days * DAY
    heads, lengths = life.heads_by_day(first, 300), life.lengths_by_day(first, 300)
    for n in range(300):
        assert heads[n] == life.heads(first + n * DAY)
        assert lengths[n] == pytest.approx(life.length_mm(first + n * DAY), abs=1e-12)
