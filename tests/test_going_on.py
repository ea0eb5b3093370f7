"""Planning again with a plan in hand: only what changed is settled anew, and what is known is not asked again."""

from collections import Counter
from dataclasses import replace
from threading import Event
from typing import Any

import pytest
from benchmark.replan import with_one_more
from room_files import SCENARIOS

from allocator import afresh, level_one
from allocator.afresh import strain_afresh
from allocator.answering import answer_of
from allocator.model import improving
from allocator.model.in_hand import answered, change_by_name, in_hand
from allocator.model.quick import quick_plan
from allocator.model.run import Found, Run
from allocator.model.settling import Settler
from allocator.needs import needs_of
from allocator.plan import Added, Plan
from allocator.planner import plan_room
from allocator.reading import read_room
from allocator.reports.answers import sure_text
from allocator.result import Answer, LevelOutcome
from allocator.room import Room


def level(answer: Answer, name: str) -> LevelOutcome:
    return next(one for one in answer.levels if one.name == name)


def one_more(name: str, tmp_path: Any, seed: int) -> tuple[Room, Room]:
    """Return a scenario, and the same with one more brood."""
    file, more = SCENARIOS / name, tmp_path / "more.yaml"
    room = read_room(file).room
    more.write_text(with_one_more(file.read_text(encoding="utf-8"), room, seed), encoding="utf-8")
    return room, read_room(more).room


def run_of(room: Room, against: Plan | None) -> Run:
    needs = needs_of(room)
    keep, prefer = in_hand(needs, against)
    return Run(room, needs, needs, Event(), None, 0.0, lambda _: None, keep, prefer, against)


def planned(run: Run) -> tuple[Found, Plan]:
    found = quick_plan(run, {}, "test")
    return found, answer_of(run, found, ())[0].plan


def counting(monkeypatch: pytest.MonkeyPatch, owner: Any, name: str) -> Counter[str]:
    calls: Counter[str] = Counter()
    plain = getattr(owner, name)

    def call(*args: Any, **more: Any) -> Any:
        calls[name] += 1
        return plain(*args, **more)

    monkeypatch.setattr(owner, name, call)
    return calls


# -- large rooms -------------------------------------------------------------------------------------------


def test_in_a_large_room_only_a_new_brood_and_its_neighbours_are_settled(
    tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    room, more = one_more("club-room.yaml", tmp_path, 1)
    calls = counting(monkeypatch, Settler, "settle")
    first = plan_room(room)
    cold = calls.pop("settle")
    again = plan_room(more, against=first.best.plan)
    assert level(again.best, "fish without a home").value == 0
    assert calls["settle"] < cold / 3
    calls.clear()
    same = plan_room(room, against=first.best.plan)
    assert calls["settle"] == 0
    assert same.best.plan.stays == first.best.plan.stays
    assert level(same.best, "change to the plan in hand").value == 0


def test_what_level_1_answered_is_not_searched_in_depth_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """A small room is called large, so that it takes a moment; its plan in hand has to add vessels."""
    monkeypatch.setattr(improving, "MOST_BROODS_FOR_ALL_LEVELS", 1)
    room = read_room(SCENARIOS / "too-small.yaml").room
    calls = counting(monkeypatch, level_one, "quick_plan")
    settled = counting(monkeypatch, Settler, "settle")
    first = plan_room(room)
    assert first.best.plan.added
    calls.clear()
    cold = settled.pop("settle")
    again = plan_room(room, against=first.best.plan)
    assert calls["quick_plan"] == 2  # with what is there, with tanks added; not begun anew with fewer
    assert settled["settle"] < cold / 2
    before, after = (level(one.best, "cost of added tanks") for one in (first, again))
    assert after.value <= before.value
    assert not after.proven or after.bound == after.value


def test_level_1_is_asked_anew_where_more_must_be_added_or_a_brood_is_gone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(improving, "MOST_BROODS_FOR_ALL_LEVELS", 1)
    room = read_room(SCENARIOS / "too-small.yaml").room
    found, plan = planned(run_of(room, None))
    kind = next(kind for kind in run_of(room, None).needs.classes if kind.most)
    with_one = plan.model_copy(
        update={"added": (Added(**{"like": kind.like, "copies": 1, "from": room.today}),)}
    )
    run = run_of(room, with_one)
    cheap, dear = (
        replace(found.score, homeless_fish_days=0, added_cost=kind.price + more) for more in (0, 1)
    )
    assert answered(run, cheap, {kind.index: 1})
    assert not answered(run, dear, {kind.index: 1})
    assert not answered(run_of(room, None), cheap, {kind.index: 1})
    short = replace(found.score, homeless_fish_days=5)
    assert answered(run, short, {})
    assert not answered(run, short, {kind.index: 1})
    fewer = room.model_copy(update={"broods": room.broods[1:]})
    assert not answered(run_of(fewer, with_one), cheap, {kind.index: 1})
    monkeypatch.undo()
    assert not answered(run, cheap, {kind.index: 1})  # a small room is asked anew each time


# -- small rooms -------------------------------------------------------------------------------------------


def test_where_a_new_brood_does_not_fit_its_neighbours_make_room_and_not_everybody(tmp_path: Any) -> None:
    """Settling everybody anew changes far more (nearly twice as much when this was written)."""
    room, more = one_more("home-rack.yaml", tmp_path, 3)
    _, plan = planned(run_of(room, None))
    run = run_of(more, plan)
    on, anew = quick_plan(run, {}, "test"), quick_plan(run_of(more, None), {}, "test")
    assert run.keep is not None
    changes = [
        change_by_name(run.needs, found.solution.settled, run.keep, run.prefer) for found in (on, anew)
    ]
    assert on.score.homeless_fish_days == 0
    assert changes[0] < 0.7 * changes[1]


# -- what it would be afresh -------------------------------------------------------------------------------


def test_strain_afresh_is_told_where_it_is_clearly_less(monkeypatch: pytest.MonkeyPatch) -> None:
    room = read_room(SCENARIOS / "home-rack.yaml").room
    cold = run_of(room, None)
    found = quick_plan(cold, {}, "test")
    found.levels += [LevelOutcome(level=2, name="strain", unit="points", value=0, bound=0, proven=False)]
    answer, _ = answer_of(cold, found, ())
    reached = level(answer, "strain").value
    assert reached > 0
    run = run_of(room, answer.plan)
    assert strain_afresh(run, answer) is None  # no less afresh

    def with_strain(times: float) -> Answer:
        row = level(answer, "strain").model_copy(update={"value": reached * times})
        return answer.model_copy(update={"levels": (row,)})

    assert strain_afresh(run, with_strain(1 / afresh.MUCH_LESS + 0.01)) == reached
    assert strain_afresh(run, with_strain(1 / afresh.MUCH_LESS - 0.01)) is None
    assert strain_afresh(cold, with_strain(2)) is None  # there is no plan in hand
    *others, last = room.broods
    chosen = room.model_copy(
        update={"broods": (*others, last.model_copy(update={"optional": True, "priority": 1}))}
    )
    assert last.planned
    assert strain_afresh(run_of(chosen, answer.plan), with_strain(2)) is None  # others might be taken
    monkeypatch.setattr(improving, "MOST_BROODS_FOR_ALL_LEVELS", 1)
    assert strain_afresh(run, with_strain(2)) is None  # a large room takes too long


def test_the_answer_tells_both_figures() -> None:
    result = plan_room(read_room(SCENARIOS / "tiny.yaml").room)
    assert "Planned afresh" not in sure_text(result)
    told = " ".join(sure_text(result.model_copy(update={"strain_afresh": 1234.0})).split())
    assert "Planned afresh, strain would be 1 234 points or less" in told
    assert "--against" in told
