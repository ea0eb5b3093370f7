"""Stopping, running out of time, first fit alone, a plan in hand, and what may be called proven."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from threading import Event
from typing import Any

import pytest
from small_rooms import SATURDAY, TODAY, box, in_being, later, long, planned, small_pack, small_room, ten
from tiny_rooms import tiny_room

from allocator import answering, asked_by_name, least_cost
from allocator.check import check_plan, room_for
from allocator.model import improving, quick
from allocator.model import run as run_module
from allocator.model.first_fit import FirstFit
from allocator.model.run import Run
from allocator.model.search import Found, search
from allocator.needs import needs_of
from allocator.plan import Verdict
from allocator.planner import PlannerFault, plan_room
from allocator.reading import read_room
from allocator.reading.plan_file import read_plan
from allocator.reports.text import plan_text
from allocator.result import Answer, FoundBy, Result
from allocator.room import Keeper, Line, Room

LINES = ("red", "blue", "green")


def holds(room: Room, answer: Answer) -> None:
    """Every rule is kept by an answer."""
    breaches = check_plan(room_for(room, answer.plan), answer.plan)
    assert [breach for breach in breaches if not breach.as_found] == []


# -- stopped from outside ----------------------------------------------------------------------------------


def busy_file(folder: Path) -> Path:
    """Write a room of 27 broods in too few vessels, which takes the planner longer than the tests wait."""
    broods = "\n".join(
        f"  - {{name: {line}{week}, line: {line}, collected: {later(TODAY, 7 * week + place)}, eggs: 60}}"
        for week in range(9)
        for place, line in enumerate(LINES)
    )
    lines = "\n".join(
        f"  - {{name: {line}, species: Melanotaenia lacustris, rules: rainbowfish-large}}" for line in LINES
    )
    file = folder / "busy.yaml"
    file.write_text(
        f"""fish_room: Busy
today: {TODAY}
keeper: {{move_days: [wednesday, saturday], most_moves_a_day: 6}}
vessels:
  - {{name: box, copies: 6, kind: hatchery, inside: 20 x 12 cm, water_depth: 10 cm, flow: [still, gentle],
     snail_free: true}}
  - {{name: ten, copies: 6, kind: rearing, inside: 50 x 25 cm, water_depth: 27 cm, flow: [still, normal],
     filter: sponge filter}}
  - {{name: long, copies: 3, kind: grow-out, inside: 90 x 45 cm, water_depth: 36 cm, flow: [gentle, strong],
     filter: box filter}}
lines:
{lines}
broods:
{broods}
could_add:
  - {{like: ten, price: 30, most: 6}}
  - {{like: long, price: 120, most: 6}}
""",
        encoding="utf-8",
    )
    return file


def command(room: Path, *more: str) -> list[str]:
    return [sys.executable, "-m", "allocator", "plan", str(room), *more]


def searching(process: "subprocess.Popen[str]") -> None:
    """Wait until a process has loaded the solver and is well into its search."""
    maps = Path(f"/proc/{process.pid}/maps")
    give_up = time.monotonic() + 30
    while maps.exists() and "ortools" not in maps.read_text(encoding="utf-8"):
        assert process.poll() is None
        assert time.monotonic() < give_up
        time.sleep(0.1)
    time.sleep(2.0)


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such signal for a single process")
def test_ctrl_c_ends_with_the_best_checked_plan_and_says_so(tmp_path: Path) -> None:
    file, plan_file = busy_file(tmp_path), tmp_path / "plan.json"
    with subprocess.Popen(
        command(file, "--json", str(plan_file)), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        searching(process)
        assert process.poll() is None, process.communicate()
        process.send_signal(signal.SIGINT)
        out, errors = process.communicate(timeout=60)
    assert process.returncode in {0, 1}, errors
    assert "The search was stopped, or its time was up" in " ".join(out.split())
    holds(read_room(file).room, _answer_of(plan_file))
    assert "Traceback" not in errors


def _answer_of(plan_file: Path) -> Answer:
    assert json.loads(plan_file.read_text(encoding="utf-8"))["stays"]
    return Answer(plan=read_plan(plan_file).plan, found_by=FoundBy.SOLVER, levels=())


def test_a_time_limit_gives_a_checked_plan_that_is_not_called_done(tmp_path: Path) -> None:
    room = read_room(busy_file(tmp_path)).room
    result = plan_room(room, seconds=3)
    assert result.stopped
    holds(room, result.best)
    holds(room, result.as_it_is)
    assert not all(level.proven for level in result.best.levels)
    assert "its time was up" in " ".join(plan_text(result, [], None).split())


# -- first fit alone ---------------------------------------------------------------------------------------


SEARCHING = (asked_by_name, least_cost, improving)
"""The modules that ask the solver for a plan."""


def nothing_found(*_: Any, **__: Any) -> Found:
    """Stand in for a search that comes to nothing in its time."""
    return Found(status="UNKNOWN", value=None, objective=0.0, bound=0.0, work=0.0)


@pytest.mark.parametrize("seed", [0, 1, 2, 4, 9])
def test_first_fit_is_given_and_labelled_where_the_solver_finds_nothing(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    room = tiny_room(seed)
    for module in SEARCHING:
        monkeypatch.setattr(module, "search", nothing_found)
    result = plan_room(room)
    for answer in (result.best, result.as_it_is):
        assert answer.found_by is FoundBy.FIRST_FIT
        holds(room, answer)
    if result.best.plan.homeless:
        assert not result.best.plan.proven
    assert "this is the first-fit plan" in " ".join(plan_text(result, [], None).split())


# -- what may be called proven -----------------------------------------------------------------------------


def no_home(fit: FirstFit, *_: Any, **__: Any) -> bool:
    """Stand in for a first fit that finds no home for any planned brood."""
    for brood in fit.needs.broods:
        fit.board.put(brood.index, fit.without_home(brood))
    return True


def roomy() -> Room:
    """Return a room in which two planned broods fit with ease, and no single day says otherwise."""
    return small_room(
        vessels=(box("box 1"), box("box 2"), ten("ten 1"), ten("ten 2"), long("long 1")),
        groups=(),
        broods=(planned("P1", "red", later(TODAY, 7), 10), planned("P2", "red", later(TODAY, 21), 10)),
        keeper=Keeper(move_days=(SATURDAY,)),
    )


@pytest.mark.parametrize("lie", ["OPTIMAL", "INFEASIBLE"])
def test_a_false_no_of_the_solver_is_not_believed(lie: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """With presolve the solver says that nothing beats having no home at all; it is asked again."""
    asked: list[bool] = []

    def false_no(model: Any, *args: Any, presolve: bool = True, **more: Any) -> Found:
        asked.append(presolve)
        if presolve:
            return Found(
                status=lie, value=None, objective=0.0, bound=1e9 if lie == "OPTIMAL" else 0.0, work=0.0
            )
        return search(model, *args, presolve=False, **more)

    for module in SEARCHING:
        monkeypatch.setattr(module, "search", false_no)
    monkeypatch.setattr(FirstFit, "run", no_home)
    monkeypatch.setattr(FirstFit, "go_on_from", no_home)
    monkeypatch.setattr(FirstFit, "improve", lambda *_, **__: None)
    result = plan_room(roomy())
    assert result.as_it_is.plan.homeless
    assert not result.as_it_is.plan.proven
    assert not result.best.plan.proven
    assert not result.as_it_is.levels[0].proven
    if lie == "OPTIMAL":
        assert False in asked


def test_a_true_no_is_confirmed_and_called_proven() -> None:
    """The same room without its box has no home for either brood, whoever is asked."""
    room = roomy()
    result = plan_room(room.model_copy(update={"vessels": room.vessels[2:]}))
    assert result.as_it_is.plan.verdict is Verdict.DOES_NOT_FIT
    assert result.as_it_is.plan.proven


def test_a_plan_that_breaks_a_rule_never_leaves(monkeypatch: pytest.MonkeyPatch) -> None:
    """With the dates of one brood spoilt on the way out, the checker stops the plan."""
    true_unfold = answering.unfold

    def spoilt(*args: Any, **more: Any) -> Any:
        plan = true_unfold(*args, **more)
        first = plan.stays[0].model_copy(update={"fish": plan.stays[0].fish + 50})
        return plan.model_copy(update={"stays": (first, *plan.stays[1:])})

    monkeypatch.setattr(answering, "unfold", spoilt)
    with pytest.raises(PlannerFault, match="fish"):
        plan_room(roomy())


# -- a plan in hand ----------------------------------------------------------------------------------------


def two_tens() -> Room:
    """Return a room where a brood may go to either of two tens that differ in water depth only."""
    return Room(
        name="two tens",
        today=TODAY,
        keeper=Keeper(move_days=(SATURDAY,)),
        vessels=(box("box 1"), ten("ten 1"), ten("ten 2", depth_mm=250, declared_as="deep"), long("long 1")),
        lines=(Line(name="red", species="made up", rules=small_pack()),),
        broods=(
            in_being("K1", "red", later(TODAY, -25), 10, "box 1"),
            planned("P1", "red", later(TODAY, 40), 10),
        ),
    )


def vessels_of(result: Result, brood: str) -> list[str]:
    return [stay.vessel for stay in result.best.plan.stays if stay.brood == brood]


@pytest.mark.parametrize("wanted", ["ten 1", "ten 2"])
def test_a_plan_in_hand_is_kept_where_it_is_as_good(wanted: str) -> None:
    """Either ten is as good for K1; the plan in hand decides, whichever it names."""
    room = two_tens()
    found = plan_room(room)
    other = next(name for name in vessels_of(found, "K1") if name.startswith("ten"))
    stays = tuple(
        stay.model_copy(update={"vessel": wanted}) if (stay.brood, stay.vessel) == ("K1", other) else stay
        for stay in found.best.plan.stays
    )
    in_hand = found.best.plan.model_copy(update={"stays": stays})
    again = plan_room(room, against=in_hand)
    assert vessels_of(again, "K1") == ["box 1", wanted, "long 1"]
    change = next(level for level in again.best.levels if level.level == 3)
    assert change.value == 0
    assert change.proven


def test_moves_of_this_week_are_kept_on_their_day_and_in_their_named_vessel() -> None:
    """Equal tens are told apart by the plan in hand, and the day of a move is kept too."""
    room = two_tens().model_copy(
        update={"vessels": (box("box 1"), ten("ten 1"), ten("ten 2"), ten("ten 3"), long("long 1"))}
    )
    first = plan_room(room)
    move = next(move for move in first.best.plan.moves if move.brood == "K1" and move.to is not None)
    stays = tuple(
        stay.model_copy(update={"vessel": "ten 3"}) if (stay.brood, stay.vessel) == ("K1", move.to) else stay
        for stay in first.best.plan.stays
    )
    again = plan_room(room, against=first.best.plan.model_copy(update={"stays": stays}))
    kept = next(move for move in again.best.plan.moves if move.brood == "K1" and move.to is not None)
    assert (kept.on, kept.to) == (move.on, "ten 3")


# -- large rooms, in the time given ------------------------------------------------------------------------


def test_a_large_room_leaves_time_for_what_comes_after(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of 100 seconds, with 10 to settle everybody once: the sums are in the docstring of `Run.tight`."""
    room = small_room()
    needs = needs_of(room)
    clock = [0.0]
    monkeypatch.setattr(run_module, "monotonic", lambda: clock[0])
    run = Run(room, needs, needs, Event(), 100.0, 0.0, lambda _: None, None, lambda _b, _s: None)
    clock[0] = 99.0
    assert not run.tight(3.0, 0.5)  # nothing is known of how long a pass takes: not a large room
    run.pass_seconds = 10.0
    clock[0] = 69.0
    assert not run.tight(3.0)
    assert not run.hurried
    assert run.tight(3.0, 0.5)  # half of the time is to be left
    assert run.hurried
    clock[0] = 71.0
    assert run.tight(3.0)
    assert not run.cut_short  # what comes after may still be done
    clock[0] = 100.0
    assert run.tight(0.0)
    assert run.cut_short


def test_a_large_room_that_hurried_is_told_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is not said to have been searched to the end."""
    room = read_room(Path(__file__).parent.parent / "scenarios" / "club-room.yaml").room
    monkeypatch.setattr(quick, "AFTER_WHAT_IS_ADDED", (1e9, 0.0))
    result = plan_room(room, seconds=1e6)
    holds(room, result.best)
    assert result.stopped
    assert not plan_room(room).stopped
