"""The integer tables against the husbandry functions they come from, day by day."""

from datetime import date, timedelta
from math import ceil

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_rooms import random_room
from small_rooms import TODAY, box, day, figure, in_being, long, planned, small_pack, small_room, ten

from allocator.husbandry.life import Life
from allocator.husbandry.stocking import SUMMED_CAPS, Cap, flow_step, shares_of_one
from allocator.needs import FULL, needs_of
from allocator.needs.sale import days_to_sale
from allocator.room import Addable, Keeper, Pin, PinKind, Span, Vessel
from allocator.rules import GrowthRoom, LengthPoint

DAY = timedelta(days=1)

LENGTHS = st.lists(st.integers(6, 80), min_size=1, max_size=4, unique=True).map(sorted)


@settings(deadline=None, derandomize=True, max_examples=150)
@given(
    lengths=LENGTHS,
    steps=st.lists(st.integers(5, 90), min_size=4, max_size=4),
    sale_share=st.floats(0.3, 1.0),
    turn_mm=st.integers(5, 80),
    slowed_to=st.floats(0.2, 1.0),
    age=st.integers(0, 250),
    run_cm=st.sampled_from([40.0, 120.0]),
)
def test_days_to_sale_are_those_of_a_walk_through_the_days(
    lengths: list[int],
    steps: list[int],
    sale_share: float,
    turn_mm: int,
    slowed_to: float,
    age: int,
    run_cm: float,
) -> None:
    """`Life.ready_for_sale` walks day by day; the table has a closed form, on any curve."""
    ages = [sum(steps[: number + 1]) for number in range(len(lengths))]
    pack = small_pack(
        length=tuple(
            LengthPoint(age_days=figure(a), slow=figure(mm), typical=figure(mm), fast=figure(mm))
            for a, mm in zip(ages, lengths, strict=True)
        ),
        sale_mm=figure(round(5 + sale_share * (lengths[-1] - 5), 3)),
        growth_room=GrowthRoom(
            from_mm=figure(turn_mm),
            run_cm=figure(80),
            slowed_to=figure(slowed_to),
            slowed_when_full=figure(1),
        ),
    )
    life = Life(planned("P", "red", TODAY, 10), pack, Keeper(move_days=(5,)))
    start = life.hatched + age * DAY
    ready = life.ready_for_sale([(run_cm, start, start + DAY)])
    assert ready is not None
    assert days_to_sale(life, float(age), slow=run_cm < 80) == (ready - start).days


@pytest.mark.parametrize("seed", range(10))
def test_the_fullest_day_of_each_slot_is_the_most_of_its_days(seed: int) -> None:
    """Needs are rounded up, never by more than one part in ten thousand, and never down."""
    room = random_room(seed, broods=(1, 4), pins=False)
    needs = needs_of(room)
    for brood in needs.broods:
        for kind in needs.classes:
            for slot in range(brood.start, needs.slots):
                days = [needs.days[slot] + n * DAY for n in range(int(needs.slot_days[slot]))]
                shares = [_shares(brood.life, kind.sample, on) for on in days]
                for place, cap in enumerate(SUMMED_CAPS):
                    limit = max(share.get(cap, NONE)[1] for share in shares) * FULL
                    comfort = max(share.get(cap, NONE)[0] for share in shares) * 100
                    assert limit - 1e-6 <= brood.load[kind.index][place, slot] < limit + 1 + 1e-6
                    assert comfort - 1e-6 <= brood.comfort[kind.index][place, slot] < comfort + 1 + 1e-6
        for slot in range(brood.start, needs.slots):
            days = [needs.days[slot] + n * DAY for n in range(int(needs.slot_days[slot]))]
            heads = max(brood.life.heads(on) for on in days)
            assert brood.fish_days[slot] == ceil(heads - 1e-9) * len(days)
            bears = [flow_step(brood.life.length_mm(on), brood.life.rules).comfort.value for on in days]
            assert brood.flow[slot] == min(bears)


NONE = (0.0, 0.0)


def _shares(life: Life, vessel: Vessel, on: date) -> dict[Cap, tuple[float, float]]:
    """Return what all fish take of a vessel on a day, by cap: shares of comfort and of the limit."""
    heads, one = life.heads(on), shares_of_one(life.length_mm(on), vessel, life.rules)
    return {cap: (comfort * heads, limit * heads) for cap, (comfort, limit) in one.items()}


@pytest.mark.parametrize("seed", range(10))
def test_slots_are_cut_at_every_day_on_which_something_may_change(seed: int) -> None:
    room = random_room(seed, pins=False)
    needs = needs_of(room)
    assert needs.days[0] == room.today
    assert list(needs.days) == sorted(set(needs.days))
    assert all(room.keeper.moves_fish_on(needs.days[slot]) for slot in needs.move_slots)
    starts = {brood.collected for brood in room.broods if brood.planned}
    assert starts <= set(needs.days)
    soon = [room.today + n * DAY for n in range(28)]
    due = {on for on in soon if room.keeper.moves_fish_on(on) and on < needs.days[-1]}
    assert due <= {needs.days[slot] for slot in needs.move_slots}


def names(**changes) -> set[frozenset[str]]:
    """Return the vessels of the small room with some fields changed, grouped by class."""
    return {frozenset(kind.names) for kind in needs_of(small_room(**changes)).classes}


def test_equal_vessels_are_one_class_and_any_difference_makes_another() -> None:
    tens = (ten("ten 1"), ten("ten 2"), ten("ten 3", rack="left"))
    broods = (planned("P1", "red", day("01-09"), 10),)
    rest = (box("box 1"), long("long 1"))
    assert frozenset({"ten 1", "ten 2", "ten 3"}) in names(vessels=(*tens, *rest), broods=broods, groups=())
    for other in (
        ten("ten 3", length_mm=600),
        ten("ten 3", depth_mm=200),
        ten("ten 3", snail_free=True),
        ten("ten 3", filtered=True),
        ten("ten 3", feed_g_per_day=2.0),
        ten("ten 3", available=Span(end=day("03-01"))),
    ):
        found = names(vessels=(*tens[:2], other, *rest), broods=broods, groups=())
        assert {frozenset({"ten 1", "ten 2"}), frozenset({"ten 3"})} <= found


def test_a_pinned_vessel_and_one_with_a_breeding_group_are_classes_of_their_own() -> None:
    pin = Pin(kind=PinKind.NOT_IN, brood="P1", vessel="ten 2", span=Span(start=day("02-01")))
    found = names(pins=(pin,))
    assert frozenset({"ten 2"}) in found
    assert frozenset({"ten 1", "ten 3", "ten 4"}) in found
    assert frozenset({"ten 5"}) in found  # the red trio lives there
    assert frozenset({"ten 7"}) in found  # it goes on 1 February


def test_a_vessel_that_could_be_added_is_a_copy_of_those_that_are_there() -> None:
    needs = needs_of(small_room(could_add=(Addable(like="long", price=99.5, most=2),)))
    offered = [kind for kind in needs.classes if kind.most]
    assert [(kind.names, kind.price, kind.most) for kind in offered] == [(("long 1", "long 2"), 9950, 2)]


def test_a_vessel_that_comes_later_is_not_there_before() -> None:
    vessels = (*small_room().vessels, ten("ten 9", available=Span(start=day("03-03"))))
    needs = needs_of(small_room(vessels=vessels))
    kind = next(kind for kind in needs.classes if "ten 9" in kind.names)
    there = {needs.days[slot] for slot in range(needs.slots) if kind.there[slot]}
    assert min(there) == day("03-06")  # the first slot that begins on or after the day: a Saturday
    gone = next(kind for kind in needs.classes if "ten 7" in kind.names)
    last = max(slot for slot in range(needs.slots) if gone.there[slot])
    assert needs.days[last + 1] == day("01-30")  # gone on Monday 1 February: free until the Saturday before


def test_the_fish_of_a_brood_in_two_homes_are_all_counted() -> None:
    broods = (in_being("K1", "red", day("01-02") - 60 * DAY, 25, "ten 1", "ten 2"),)
    needs = needs_of(small_room(broods=broods))
    homes = needs.broods[0].phases[0].homes
    assert homes == (("ten 1", 13 / 25), ("ten 2", 12 / 25))


def test_classes_of_one_size_share_a_table_and_others_do_not() -> None:
    """A pin makes its tank a class of its own: a hundred pins must not take a hundred times the memory."""
    pin = Pin(brood="B1", kind=PinKind.NOT_IN, vessel="ten 1", span=Span())
    needs = needs_of(small_room(vessels=(box("box 1"), ten("ten 1"), ten("ten 2")), pins=(pin,)))
    kinds = {name: kind.index for name, kind in needs.class_of.items()}
    assert len(set(kinds.values())) == 3
    for brood in needs.broods:
        for table in (brood.load, brood.comfort, brood.one_fish):
            assert table[kinds["ten 1"]] is table[kinds["ten 2"]]
            assert table[kinds["box 1"]] is not table[kinds["ten 1"]]
