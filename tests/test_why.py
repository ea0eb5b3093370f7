"""Why there, why not here: what is said is held against trying everything, and read as a keeper would."""

import json
from collections.abc import Iterator
from pathlib import Path
from threading import Event
from time import monotonic

import pytest
from agreement import may_shift
from brute_force import best_of
from room_files import SCENARIOS
from tiny_rooms import tiny_room

from allocator import changes
from allocator.check import check_plan
from allocator.cli import main
from allocator.codes import Rule
from allocator.housing import can_house
from allocator.questions.asking import Asking
from allocator.questions.by_hand import broken, moved_into, moved_on
from allocator.questions.causes import smallest_causes, with_only
from allocator.questions.why import why
from allocator.reading import read_room
from allocator.replies.why import Asked, Cause, CauseKind, Causes, Outcome, WayKind
from allocator.room import Order, Pin, PinKind, Room, Span
from tests.small_rooms import day, small_plan, small_room

TINY = str(SCENARIOS / "tiny.yaml")

UNFIT = (2, 5, 7, 13, 18)
"""Tiny rooms that cannot house all, with pins and limits of moves among what is in the way."""

FIT = (10, 23)
"""Tiny rooms in which everything fits."""


def fits(room: Room) -> bool:
    """Tell whether some way for every brood keeps every rule: all of them are tried, without the solver."""
    return best_of(room, adding=False, homeless=False) is not None


def agrees(room: Room, *, said: bool) -> None:
    """Hold a yes or no against trying everything; where a brood may shift within a stage, a no of that is no proof."""
    if fits(room) or not may_shift(room):
        assert said == fits(room)


def asking() -> Asking:
    return Asking(Event(), lambda _: None, None, monotonic())


def check_causes(room: Room, brood: str, wish: tuple[Pin, ...], causes: Causes) -> None:
    """Hold what is said of a set of causes against trying everything."""
    assert causes.together
    agrees(with_only(room, [brood], causes.causes, wish), said=False)
    for cause in causes.causes:
        without = [other for other in causes.causes if other != cause]
        agrees(with_only(room, [brood], without, wish), said=cause in causes.each)
    agrees(with_only(room, [brood] if wish else [], causes.causes, ()), said=causes.spared)


@pytest.mark.parametrize("seed", range(15))
def test_all_can_be_housed_where_trying_everything_says_so(seed: int) -> None:
    room = tiny_room(seed, most=3).model_copy(update={"could_add": ()})
    found = can_house(room)
    assert found.housed is not None
    agrees(room, said=found.housed)
    if found.plan is not None:
        assert [breach for breach in check_plan(room, found.plan) if not breach.as_found] == []
        assert found.plan.homeless == ()


@pytest.mark.parametrize("seed", UNFIT)
def test_causes_cannot_be_together_and_can_with_any_one_dropped(seed: int) -> None:
    room = tiny_room(seed, most=4).model_copy(update={"could_add": ()})
    for brood in room.brood_named:
        causes = smallest_causes(asking(), room, brood)
        assert causes is not None
        check_causes(room, brood, (), causes)
        assert causes.each == causes.causes


def questions(room: Room) -> Iterator[tuple[str, str, Asked]]:
    for brood in room.brood_named:
        for vessel in room.vessel_named:
            try:
                reply = why(room, brood, vessel=vessel)
            except changes.UnchangeableError:
                continue  # it stays where it is today
            assert reply.asked is not None
            yield brood, vessel, reply.asked


@pytest.mark.parametrize("seed", FIT)
def test_what_could_be_and_what_not_is_what_trying_everything_says(seed: int) -> None:
    room = tiny_room(seed, most=3).model_copy(update={"could_add": ()})
    for brood, vessel, asked in questions(room):
        wish = Pin(kind=PinKind.IN, brood=brood, vessel=vessel, span=Span(start=asked.from_, end=asked.until))
        alone = changes.with_pins(changes.only_broods(room, [brood]), [wish])
        together = changes.with_pins(room, (*room.pins, wish))
        if asked.outcome is Outcome.FORBIDDEN:
            agrees(alone, said=False)
            assert asked.breaks_alone
        elif asked.outcome is Outcome.CLASHES:
            assert asked.causes is not None
            check_causes(room, brood, (wish,), asked.causes)
        else:
            assert asked.outcome in (Outcome.COULD_BE, Outcome.SO_ALREADY)
            agrees(together, said=True)


def test_what_would_help_does_when_everything_is_tried() -> None:
    room = tiny_room(5, most=4).model_copy(update={"could_add": ()})
    assert not fits(room)
    refused = [reply for reply in (why(room, name) for name in room.brood_named) if reply.refusal is not None]
    assert len(refused) == 1  # one of the two is left out
    reply = refused[0]
    assert reply.refusal is not None
    assert reply.refusal.ways_out
    for way in reply.refusal.ways_out:
        if way.kind is WayKind.MORE:
            assert fits(changes.with_more(room, way.name, 1))
        elif way.kind is WayKind.LATER:
            assert fits(changes.with_collected_later(room, way.name, int(way.amount)))
            assert not fits(changes.with_collected_later(room, way.name, int(way.amount) - 7))
        elif way.kind is WayKind.SMALLER:
            assert fits(changes.sold_at(room, way.amount, way.name))
        else:
            assert fits(changes.with_fish_kept(room, way.name, int(way.amount)))
            assert not fits(changes.with_fish_kept(room, way.name, int(way.amount) + 1))


def test_a_collection_that_is_left_out_is_asked_about_as_if_it_had_to_be_taken() -> None:
    room = changes.without_vessel(read_room(SCENARIOS / "tiny.yaml").room, "box 2")
    room = room.model_copy(
        update={"broods": tuple(b.model_copy(update={"optional": b.name == "B"}) for b in room.broods)}
    )
    refusal = why(room, "B").refusal
    assert refusal is not None
    assert refusal.not_taken
    assert refusal.causes is not None
    assert refusal.causes.verified
    assert [cause.name for cause in refusal.causes.causes] == ["A"]  # in the only box until 30 January
    with pytest.raises(changes.UnchangeableError, match="left out"):
        why(room, "B", vessel="ten 1")


# -- plans changed by hand -------------------------------------------------------------------------------


def rules_of(room: Room, plan: object) -> set[Rule]:
    return {one.rule for one in broken(room, plan)}  # type: ignore[arg-type] # a plan, made just before


def test_a_plan_that_is_not_changed_breaks_nothing() -> None:
    assert broken(small_room(), small_plan()) == ()


def test_fish_that_are_put_into_a_tank_of_another_kind_break_just_that_rule() -> None:
    from allocator.husbandry.life import lives  # noqa: PLC0415 - beside its only use

    life = lives(small_room())["B1"]
    changed = moved_into(small_plan(), life, "long 2", day("01-30"), day("04-10"))
    assert Rule.STAGE in rules_of(small_room(), changed)  # from the box to the grow-out tank
    changed = moved_into(small_plan(), life, "ten 1", day("01-30"), day("04-10"))
    assert Rule.LINE in rules_of(small_room(), changed)  # K1 of the red line is there
    changed = moved_into(small_plan(), life, "ten 8", day("01-30"), day("04-10"))
    assert rules_of(small_room(), changed) == set()


def test_a_move_on_another_day_is_walked_anew() -> None:
    from allocator.husbandry.life import lives  # noqa: PLC0415 - beside its only use

    life = lives(small_room())["B1"]
    plan = small_plan()
    assert rules_of(small_room(), moved_on(plan, life, day("01-30"), day("02-06"))) == set()
    assert Rule.WINDOW in rules_of(small_room(), moved_on(plan, life, day("01-30"), day("01-23")))
    assert Rule.MOVE_DAY in rules_of(small_room(), moved_on(plan, life, day("01-30"), day("02-03")))
    assert Rule.READY in rules_of(small_room(), moved_on(plan, life, day("08-07"), day("07-31")))


# -- as a keeper asks ------------------------------------------------------------------------------------


def asked_of_tiny(capsys: pytest.CaptureFixture[str], *given: str) -> tuple[int, str]:
    code = main(["why", TINY, *given])
    return code, capsys.readouterr().out


def test_each_stay_is_explained(capsys: pytest.CaptureFixture[str]) -> None:
    code, text = asked_of_tiny(capsys, "B")
    assert code == 0
    for words in (
        "box 2, Sat 9 Jan 2027 to Sat 6 Feb 2027",
        "shares with  A",
        "may come in  from Wed 3 Feb 2027 (9 mm, 0.4 in) to Thu 11 Mar 2027 (20 mm, 0.8",
        "not sooner?  not on Sat 30 Jan 2027: B moves to ten 1 on 2027-01-30 at 7.6 mm;",
        "not box 1?   box 1: A must be alone, but B is there too",
        "not ten 2?   it could be: with all else the same no rule forbids it",
    ):
        assert words in text


@pytest.mark.parametrize(
    ("given", "code", "words"),
    [
        (("B", "--not", "long"), 0, "It is: the plan has it so."),
        (("B", "--not", "ten 2"), 0, "It could be, and the plan would be as good"),
        (("B", "--not-on", "2027-02-13"), 0, "points of strain more"),
        (("B", "--not-on", "2027-01-30"), 1, "may enter the rearing stage not"),
        (("A", "--not-on", "2027-02-03"), 1, "not a move day"),
        (("A", "--not", "long", "--not-on", "2027-02-06"), 1, "may enter the grow-out stage"),
        (
            ("A", "--not", "box 2"),
            1,
            "It clashes with the homes of B. No plan does it with all of these, and",
        ),
    ],
)
def test_a_question_is_answered(
    given: tuple[str, ...], code: int, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    found, text = asked_of_tiny(capsys, *given)
    assert found == code
    assert words in text


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (("Q",), "use one of: A, B, C"),
        (("A", "--not", "ten"), "say which one, such as 'ten 1'"),
        (("A", "--not-on", "2026-01-01"), "not there to be moved"),
        (("A", "--not", "long", "--not-on", "2029-01-01"), "not in the room"),
    ],
)
def test_what_is_not_in_the_room_is_said(
    given: tuple[str, ...], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["why", TINY, *given]) == 2
    assert words in capsys.readouterr().err


def test_the_keepers_own_wishes_can_be_causes() -> None:
    room = small_room()
    pins = (Pin(kind=PinKind.IN, brood="B1", vessel="ten 4"),)
    kept = [Cause(kind=CauseKind.PIN, name="B1"), Cause(kind=CauseKind.BROOD, name="B1")]
    left = with_only(room.model_copy(update={"pins": pins}), ["P1"], kept[1:], ())
    assert (left.pins, left.keeper.away, left.keeper.most_moves_a_day) == ((), (), None)
    assert with_only(room.model_copy(update={"pins": pins}), ["P1"], kept, ()).pins == pins


def test_an_answer_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    code, text = asked_of_tiny(capsys, "A", "--not", "long", "--not-on", "2027-02-06", "--json")
    asked = json.loads(text)["asked"]
    assert code == 1
    assert (asked["outcome"], asked["vessel"], asked["from"]) == (Outcome.FORBIDDEN, "long", "2027-02-06")
    assert [one["rule"] for one in asked["breaks_alone"]] == ["window"]


PINNED = "\npins:\n  - {brood: A, move_on: 2027-02-06}\n"


def test_a_pin_of_the_brood_itself_is_named_and_a_plan_in_hand_is_asked_about(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A is pinned to leave its box on 6 February: that is why it is not moved on the 13th."""
    room, plan = tmp_path / "room.yaml", tmp_path / "plan.json"
    room.write_text(Path(TINY).read_text(encoding="utf-8") + PINNED, encoding="utf-8")
    assert main(["plan", str(room), "--json", str(plan)]) == 0
    capsys.readouterr()

    def never(*_: object, **__: object) -> None:
        raise AssertionError("the room is planned anew")

    monkeypatch.setattr("allocator.questions.why.plan_room", never)
    asked = ["why", str(room), "A", "--plan", str(plan), "--not-on", "2027-02-13", "--json"]
    assert main(asked) == 1
    reply = json.loads(capsys.readouterr().out)["asked"]
    assert reply["outcome"] == Outcome.CLASHES
    assert reply["causes"]["causes"] == [{"kind": "pin", "name": "A"}]
    assert reply["causes"]["together"]
    assert reply["causes"]["spared"]
    assert main([*asked[:-1]]) == 1
    assert "It clashes with the pins of A itself." in capsys.readouterr().out


def test_an_order_is_named_where_it_is_what_is_in_the_way() -> None:
    """P1 is ready on 7 August, and kept for an order until 2 October."""
    order = Order(name="show", fish=5, on=day("10-02"), broods=("P1",))
    room = changes.only_broods(small_room(orders=(order,)), ["P1"])
    wish = Pin(kind=PinKind.MOVE_ON, brood="P1", span=Span(start=day("08-07"), end=day("08-08")))
    causes = smallest_causes(asking(), room, "P1", (wish,))
    assert causes is not None
    assert causes.causes == (Cause(kind=CauseKind.ORDER, name="show"),)
    assert causes.verified
