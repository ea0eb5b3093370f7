"""The rooms that are shipped: each is planned, keeps every rule and has the answer that its comment promises."""

from datetime import date, timedelta
from functools import cache
from math import ceil

import pytest
from room_files import SCENARIOS

from allocator.check import check_plan
from allocator.husbandry.life import lives
from allocator.model import improving
from allocator.model.bounds import cost_bound
from allocator.needs import needs_of
from allocator.plan import Verdict
from allocator.planner import plan_room
from allocator.reading import read_room
from allocator.reports.answers import added_price
from allocator.result import Result

WANTED = {
    "tiny.yaml": Verdict.FITS,
    "home-rack.yaml": Verdict.FITS,
    "everything.yaml": Verdict.FITS,
    "club-room.yaml": Verdict.FITS,
    "three-ways.yaml": Verdict.FITS,
    "too-small.yaml": Verdict.NEEDS_MORE_TANKS,
}

SHORT = {"home-rack.yaml", "everything.yaml"}
"""Planned with a small budget of work: what is tested here is not how good the plan is."""


@cache
def full(name: str) -> Result:
    """Return the plan of a scenario with the whole budget; several tests look at one."""
    return plan_room(read_room(SCENARIOS / name).room)


def test_every_scenario_has_a_verdict_here() -> None:
    assert {path.name for path in SCENARIOS.glob("*.yaml")} == set(WANTED)


@pytest.mark.parametrize("name", WANTED)
def test_each_is_planned_within_the_rules(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    if name in SHORT:
        monkeypatch.setattr(improving, "WORK", dict.fromkeys(improving.WORK, 0.2))
        result = plan_room(read_room(SCENARIOS / name).room)
    else:
        result = full(name)
    plain = read_room(SCENARIOS / name).room
    for room, answer in ((result.room, result.best), (plain, result.as_it_is)):
        assert not [breach for breach in check_plan(room, answer.plan) if not breach.as_found]
    assert result.best.plan.verdict is WANTED[name]


def test_too_small_needs_tanks_of_no_less_than_single_days_demand() -> None:
    result = full("too-small.yaml")
    cost = next(level for level in result.best.levels if level.level == 1)
    assert cost.proven
    assert cost.value == added_price(result.room, result.best.plan)
    floor = cost_bound(needs_of(read_room(SCENARIOS / "too-small.yaml").room)) / 100
    assert 0 < floor <= cost.value
    assert result.as_it_is.plan.homeless


def test_tiny_is_solved_as_in_its_comment() -> None:
    """Two moves and a sale of each brood, none split; at most one box is taken when C comes."""
    plan = full("tiny.yaml").best.plan
    for brood, set_up in (("A", 0), ("B", 1), ("C", 1)):
        own = [move for move in plan.moves if move.brood == brood]
        assert len(own) == 3 + set_up
        assert own[-1].to is None
        assert own[-1].fish == 12
    others = [s for s in plan.stays if s.brood != "C" and s.from_ <= date(2027, 2, 6) < s.until]
    assert sum(s.vessel.startswith("box") for s in others) <= 1


def test_tiny_has_thirteen_of_each_when_they_must_be_in_the_long_tank() -> None:
    for life in lives(read_room(SCENARIOS / "tiny.yaml").room).values():
        day = next(d for d in range(400) if life.length_mm(life.hatched + timedelta(days=d)) >= 45)
        assert ceil(life.heads(life.hatched + timedelta(days=day))) == 13
