"""A room with one thing changed: what is changed, what stays, and what is refused."""

from collections.abc import Callable
from datetime import date, timedelta

import pytest

from allocator import changes
from allocator.changes import UnchangeableError
from allocator.husbandry.life import lives
from allocator.husbandry.stages import sale_day
from allocator.room import BreedingGroup, Home, Pin, PinKind, Room, Span
from tests.small_rooms import TODAY, day, in_being, planned, small_room


def group(name: str, vessel: str, line: str = "red") -> BreedingGroup:
    return BreedingGroup(name=name, line=line, males=1, females=2, vessel=vessel)


def test_more_vessels_are_called_as_the_next_copies_would_be() -> None:
    room = small_room()
    more = changes.with_more(room, "long", 2)
    assert [v.name for v in more.vessels[len(room.vessels) :]] == ["long 3", "long 4"]
    assert more.vessels[: len(room.vessels)] == room.vessels
    assert {v.declared_as for v in more.vessels if v not in room.vessels} == {"long"}


def test_a_name_that_is_taken_is_not_given_again() -> None:
    room = small_room()
    odd = room.vessels[0].model_copy(update={"name": "long 3"})
    room = room.model_copy(update={"vessels": (*room.vessels, odd)})
    assert changes.names_of_more(room, "long", 2) == ("long 4", "long 5")


def test_an_empty_vessel_is_gone_from_today_on_with_its_pins() -> None:
    pin = Pin(kind=PinKind.IN, brood="P1", vessel="ten 2")
    room = changes.without_vessel(small_room(pins=(pin,)), "ten 2")
    assert not room.vessel_named["ten 2"].available.holds(TODAY)
    assert room.pins == ()


def test_a_vessel_with_fish_goes_on_the_first_day_on_which_they_can_be_moved() -> None:
    room = changes.without_vessel(small_room(), "box 1")
    assert room.vessel_named["box 1"].available == Span(end=TODAY + timedelta(days=7))  # Saturdays only


def test_without_a_group_its_collections_are_left_out_and_those_of_others_are_not() -> None:
    own = planned("R1", "red", day("02-06"), 20).model_copy(update={"parents": "red trio"})
    room = small_room()
    room = changes.without_group(changes.with_broods(room, [own]), "red trio")
    assert room.groups == ()
    assert [brood.name for brood in room.broods] == ["K1", "P1", "B1", "M1"]


def test_without_a_brood_its_pins_go_too() -> None:
    pins = tuple(Pin(kind=PinKind.NOT_IN, brood=name, vessel="ten 2") for name in ("P1", "B1"))
    room = changes.without_brood(small_room(pins=pins), "P1")
    assert "P1" not in room.brood_named
    assert [pin.brood for pin in room.pins] == ["B1"]


def test_fish_kept_of_a_brood_in_being_are_counted_anew_today() -> None:
    room = changes.with_fish_kept(small_room(), "K1", 10)
    life = lives(room)["K1"]
    assert life.heads(TODAY) == pytest.approx(10)
    assert life.length_mm(TODAY) == lives(small_room())["K1"].length_mm(TODAY)


def test_fish_kept_are_shared_out_as_before() -> None:
    brood = in_being("K2", "red", date(2026, 12, 5), 24, "ten 1", "ten 2")
    homes = (Home(vessel="ten 1", fish=16), Home(vessel="ten 2", fish=8))
    room = small_room(broods=(brood.model_copy(update={"homes": homes}),))
    assert [h.fish for h in changes.with_fish_kept(room, "K2", 12).broods[0].homes] == [8, 4]


def test_a_planned_collection_is_put_off_and_smaller() -> None:
    room = changes.with_collected_later(changes.with_fish_kept(small_room(), "P1", 30), "P1", 7)
    assert (room.brood_named["P1"].collected, room.brood_named["P1"].eggs) == (day("01-16"), 30)


def test_fish_that_are_sold_smaller_are_sold_sooner() -> None:
    # The small pack grows 0.2 mm a day: 5 mm less are 25 days.
    room = small_room()
    before, after = (sale_day(lives(r)["P1"]) for r in (room, changes.sold_at(room, 40, "red")))
    assert before - after == timedelta(days=25)
    assert sale_day(lives(changes.sold_at(room, 40, "red"))["B1"]) == sale_day(lives(room)["B1"])


def test_all_collections_are_taken_if_that_is_asked() -> None:
    optional = planned("R1", "red", day("02-06"), 20).model_copy(update={"optional": True})
    room = changes.with_all_taken(changes.with_broods(small_room(), [optional]))
    assert not any(brood.optional for brood in room.broods)


def test_a_room_is_as_it_was() -> None:
    room = small_room()
    text = room.model_dump_json()
    changes.sold_at(changes.without_brood(changes.with_more(room, "ten", 1), "P1"), 40)
    assert room.model_dump_json() == text


REFUSED: dict[str, tuple[Callable[[Room], Room], str]] = {
    "kind": (lambda r: changes.with_more(r, "lnog", 1), "'long'"),
    "vessel": (lambda r: changes.without_vessel(r, "ten"), "'ten'"),
    "lived in by a group": (lambda r: changes.without_vessel(r, "ten 5"), "red trio lives in ten 5"),
    "brood": (lambda r: changes.without_brood(r, "Q"), "no brood 'Q'"),
    "group": (lambda r: changes.without_group(r, "trio"), "no breeding group"),
    "name taken": (lambda r: changes.with_broods(r, [planned("P1", "red", TODAY, 5)]), "two broods"),
    "line": (lambda r: changes.with_broods(r, [planned("P9", "rde", TODAY, 5)]), "no line"),
    "group's name": (lambda r: changes.with_group(r, group("red trio", "ten 4")), "already"),
    "group's vessel": (lambda r: changes.with_group(r, group("two", "ten 99")), "no vessel"),
    "group's home": (lambda r: changes.with_group(r, group("two", "ten 5")), "red trio lives in"),
    "no fish": (lambda r: changes.with_fish_kept(r, "P1", 0), "no fish"),
    "collected": (lambda r: changes.with_collected_later(r, "K1", 7), "collected already"),
    "never so long": (lambda r: changes.sold_at(r, 200, "red"), "never reach"),
    "sold smaller already": (lambda r: changes.sold_at(r, 45), "less than 45 mm"),
    "sold before a stage": (lambda r: changes.sold_at(r, 20), "grow-out"),
    "no move day": (lambda r: changes.with_move_days(r, ()), "no day"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_changed_is_refused_in_plain_words(case: str) -> None:
    change, words = REFUSED[case]
    with pytest.raises(UnchangeableError) as refused:
        change(small_room())
    assert words in f"{refused.value.what} {refused.value.hint}"
