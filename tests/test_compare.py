"""What is different between two plans: held against the plans themselves, day by day, and told in a keeper's words."""

import json
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from room_files import SCENARIOS

from allocator import changes
from allocator.check import check_plan
from allocator.cli import main
from allocator.plan import Added, Plan
from allocator.questions import compare as asked
from allocator.questions.assumed import assumed
from allocator.reading import read_room
from allocator.replies.assumed import Differs
from allocator.replies.compare import Comparison
from allocator.reports.compare import compare_text
from allocator.result import Result
from allocator.room import Room, Span
from tests.small_rooms import planned, rehouse, small_plan, small_room

TINY = str(SCENARIOS / "tiny.yaml")


@pytest.fixture(scope="module")
def tiny() -> Room:
    return read_room(SCENARIOS / "tiny.yaml").room


@pytest.fixture
def compared(monkeypatch: pytest.MonkeyPatch) -> Callable[[Room, Room], tuple[Comparison, Plan, Plan]]:
    """Return the comparison with the two plans behind it."""

    def run(room: Room, other: Room) -> tuple[Comparison, Plan, Plan]:
        plans: list[Plan] = []
        real = asked.plan_room

        def listening(*arguments: Any, **options: Any) -> Result:
            result = real(*arguments, **options)
            plans.append(result.best.plan)
            return result

        with monkeypatch.context() as patch:
            patch.setattr(asked, "plan_room", listening)
            reply = asked.compare(room, other)
        return reply, plans[0], plans[1]

    return run


def there(plan: Plan, brood: str, day: date) -> set[str] | None:
    """Return the vessels of a brood on a day, from nothing but the rows of a plan; None: not in the room."""
    vessels = {s.vessel for s in plan.stays if s.brood == brood and s.from_ <= day < s.until}
    lost = any(h.brood == brood and h.from_ <= day < h.until for h in plan.homeless)
    return vessels if vessels or lost else None


@pytest.mark.parametrize(
    "change",
    [
        lambda room: changes.without_vessel(room, "box 2"),
        lambda room: changes.sold_at(room, 45),
        lambda room: changes.with_collected_later(room, "B", 14),
    ],
    ids=["no box", "sold smaller", "later"],
)
def test_other_homes_are_told_for_just_the_days_on_which_the_plans_differ(
    compared: Callable[[Room, Room], tuple[Comparison, Plan, Plan]],
    tiny: Room,
    change: Callable[[Room], Room],
) -> None:
    reply, before, after = compared(tiny, change(tiny))
    days = [tiny.today + timedelta(days=n) for n in range(400)]
    for brood in tiny.brood_named:
        for day in days:
            one, other = there(before, brood, day), there(after, brood, day)
            told = [row for row in reply.elsewhere if row.brood == brood and row.from_ <= day < row.until]
            if one is None or other is None or one == other:
                assert told == []
            else:
                assert [(set(row.before), set(row.after)) for row in told] == [(one, other)]


def test_what_differs_by_chance_is_not_told(
    compared: Callable[[Room, Room], tuple[Comparison, Plan, Plan]], tiny: Room
) -> None:
    reply, before, after = compared(tiny, changes.without_vessel(tiny, "ten 2"))
    assert before.stays != after.stays
    assert check_plan(tiny, after) == []  # so the second plan could have been that of the first room too
    assert (reply.elsewhere, reply.sales) == ((), ())


@pytest.mark.parametrize(("strain", "told"), [(1.9, 1.9), (3000.0, 60.0)], ids=["like it", "far less"])
def test_a_plan_made_afresh_is_told_where_it_has_far_less_strain(
    monkeypatch: pytest.MonkeyPatch, tiny: Room, strain: float, told: float
) -> None:
    # The search that goes on from the plan in hand is made to stop at some strain, in a room planned afresh at 60.
    real = asked.plan_room

    def stuck(room: Room, **options: Any) -> Result:
        result = real(room, **options)
        if options.get("against") is None:
            return result
        levels = tuple(
            level.model_copy(update={"value": strain, "bound": 0.0, "proven": False})
            if level.name == "strain"
            else level
            for level in result.best.levels
        )
        return result.model_copy(update={"best": result.best.model_copy(update={"levels": levels})})

    monkeypatch.setattr(asked, "plan_room", stuck)
    # Sold smaller, so that a plan made for the one room is not told of the other.
    reply = asked.compare(tiny, changes.sold_at(tiny, 55))
    assert reply.after.strain == told


def test_a_vessel_that_nobody_needs_changes_nothing_but_the_count_of_free_ones(tiny: Room) -> None:
    reply = asked.compare(tiny, changes.with_more(tiny, "ten", 1))
    assert (reply.elsewhere, reply.moves, reply.sales) == ((), (), ())
    assert [use.kind for use in reply.use] == ["ten"]


def test_a_room_and_itself_do_not_differ_and_one_line_says_so(tiny: Room) -> None:
    reply = asked.compare(tiny, tiny)
    assert reply.same
    assert compare_text(reply).replace("\n", " ") == (
        "With nothing changed, else the same: nothing differs. Everything fits."
    )


def test_fish_that_are_sold_smaller_are_told_though_the_old_plan_would_do(tiny: Room) -> None:
    # Kept until 60 mm they would break no rule: but whoever sells at 45 mm does not keep them.
    reply = asked.compare(tiny, changes.sold_at(tiny, 45))
    assert {row.brood for row in reply.sales} == {"A", "B", "C"}
    assert all(max(row.after) < min(row.before) for row in reply.sales)


def test_a_tank_that_the_first_plan_would_add_is_not_called_by_another_name() -> None:
    room = small_room()
    plan = rehouse(small_plan(), "P1", "long 1", "new long 1").model_copy(
        update={"added": (Added(like="long", copies=1, from_=room.today),)}
    )
    called = asked.called_as_in(changes.with_more(room, "long", 1), room, plan)
    assert called.stays == rehouse(small_plan(), "P1", "long 1", "long 3").stays
    assert asked.called_as_in(changes.with_more(room, "ten", 1), room, plan) == plan


def test_rooms_of_different_days_are_not_compared(tiny: Room) -> None:
    with pytest.raises(ValueError, match="different days"):
        asked.compare(tiny, tiny.model_copy(update={"today": date(2027, 1, 3)}))


KINDS: dict[str, tuple[Callable[[Room], Room], list[Differs]]] = {
    "vessel": (lambda r: changes.with_more(r, "long", 2), [Differs.MORE_VESSELS]),
    "no vessel": (lambda r: changes.without_vessel(r, "ten 1"), [Differs.NO_VESSEL]),
    "brood": (lambda r: changes.with_broods(r, [planned("X", "red", r.today, 9)]), [Differs.MORE_BROODS]),
    "no brood": (lambda r: changes.without_brood(r, "P1"), [Differs.NO_BROODS]),
    "no group": (lambda r: changes.without_group(r, "red trio"), [Differs.NO_GROUPS]),
    "fish": (lambda r: changes.with_fish_kept(r, "P1", 9), [Differs.FISH]),
    "later": (lambda r: changes.with_collected_later(r, "P1", 9), [Differs.COLLECTED]),
    "sold": (lambda r: changes.sold_at(r, 40), [Differs.FIGURE]),
    "move days": (lambda r: changes.with_move_days(r, [2, 5]), [Differs.MOVE_DAYS]),
    "moves": (lambda r: changes.with_most_moves(r, 2), [Differs.MOST_MOVES]),
    "away": (lambda r: changes.with_away(r, [Span(start=r.today)]), [Differs.AWAY]),
    "nothing": (lambda r: r, []),
}


@pytest.mark.parametrize("case", KINDS)
def test_each_difference_is_named_once(case: str) -> None:
    change, kinds = KINDS[case]
    room = small_room()
    assert [one.kind for one in assumed(room, change(room))] == kinds


def test_the_heading_repeats_the_assumption_over_every_part(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", TINY, "--without", "box 2"]) == 1
    parts = capsys.readouterr().out.split("\n\n")
    assert all(part.startswith("Without box 2, else the same:") for part in parts if "\n  brood" in part)
    assert "  Then:  does not fit: no home at some time from Sat 9 Jan 2027 on for A." in parts[0]


def test_a_second_file_is_compared(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = Path(TINY).read_text(encoding="utf-8")
    other = tmp_path / "other.yaml"
    other.write_text(text.replace("most_moves_a_day: 4", "most_moves_a_day: 2"), encoding="utf-8")
    assert main(["compare", TINY, str(other), "--json"]) == 0
    reply = json.loads(capsys.readouterr().out)
    assert reply["assumptions"][0] | {"names": []} == {
        "kind": "most moves",
        "names": [],
        "what": "",
        "before": "4",
        "after": "2",
        "on": None,
    }


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ((), "nothing to compare with"),
        (("--with", "one"), "not understood"),
        (("--with", "some tens"), "not a number"),
        (("--with", "0 tens"), "from 1 to 100"),
        (("--with", "one more tne"), "did you mean 'ten'?"),
        (("--without", "ten"), "say which one, such as 'ten 1'"),
        (("--without", "D"), "no vessel, brood or breeding group"),
        (("--sell-at", "45"), "a length needs its unit. Hint: write 45 mm\n"),
        (("--sell-at", "bleu 45 mm"), "did you mean 'blue'?"),
        (("--sell-at", "20 mm"), "give more than"),
        ((TINY, "--with", "a ten"), "not both"),
    ],
)
def test_what_is_not_understood_is_said_with_a_hint(
    given: tuple[str, ...], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["compare", TINY, *given]) == 2
    assert words in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("one more ten", "ten 3"),
        ("1 ten", "ten 3"),
        ("another ten", "ten 3"),
        ("a box", "box 3"),
        ("2 boxes", "box 4"),
    ],
)
def test_more_vessels_in_plain_words(text: str, name: str, tiny: Room) -> None:
    from allocator.commands.what_if import with_more_told  # noqa: PLC0415 - beside its only use

    assert name in with_more_told(tiny, [text]).vessel_named
