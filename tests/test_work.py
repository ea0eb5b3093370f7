"""Work, not seconds, guards against the planner growing slow: it is the same on every machine.

What a plan took is held against what it took when it was last looked at, with a margin of a half. Less is welcome; if
more is worth it, put the new figures here and say in the commit what they buy.
"""

from collections import Counter
from typing import Any

import pytest
from room_files import SCENARIOS

from allocator.husbandry.life import Life
from allocator.model.board import Board
from allocator.model.settling import Settler
from allocator.planner import plan_room
from allocator.reading import read_room

MARGIN = 1.5

COUNTED = ((Settler, "settle"), (Board, "free_for"), (Life, "ready_for_sale"), (Life, "heads_by_day"))
"""What the time of large rooms goes into: broods settled, vessels looked at, growth reckoned, forecasts laid out."""

KNOWN = {
    "tiny.yaml": {"settle": 27, "free_for": 56, "ready_for_sale": 9, "heads_by_day": 27, "solver": 0.002},
    "too-small.yaml": {
        "settle": 1611,
        "free_for": 5076,
        "ready_for_sale": 339,
        "heads_by_day": 260,
        "solver": 1.711,
    },
    "club-room.yaml": {
        "settle": 1389,
        "free_for": 8475,
        "ready_for_sale": 1873,
        "heads_by_day": 776,
        "solver": 0.0,
    },
}
"""Measured on 27 November 2026."""


def counted(name: str, monkeypatch: pytest.MonkeyPatch) -> dict[str, float]:
    """Return how much of each sort of work the plan of a scenario takes; `solver` in the solver's own measure."""
    calls: Counter[str] = Counter()

    def counting(method: str, plain: Any) -> Any:
        def call(*args: Any, **more: Any) -> Any:
            calls[method] += 1
            return plain(*args, **more)

        return call

    for owner, method in COUNTED:
        monkeypatch.setattr(owner, method, counting(method, getattr(owner, method)))
    result = plan_room(read_room(SCENARIOS / name).room)
    return dict(calls) | {"solver": result.work}


@pytest.mark.parametrize("name", KNOWN)
def test_a_plan_takes_no_more_work_than_it_did(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    found = counted(name, monkeypatch)
    assert {sort: amount for sort, amount in found.items() if amount > MARGIN * KNOWN[name][sort] + 1} == {}
