"""A sample of what `agreement` compares, beyond the rooms of the other tests."""

from collections import Counter

import pytest
from agreement import case_of, compared, run


@pytest.mark.parametrize(("seed", "rooms"), [(5000, 10), (5010, 10), (5030, 7), (5042, 10)])
def test_the_planner_and_the_others_agree(seed: int, rooms: int) -> None:
    """Seeds for which nobody takes long to answer."""
    done, tally, disagree = run(rooms, seed)
    assert disagree == []
    assert done == tally["planned twice"] == rooms
    assert sum(count for what, count in tally.items() if what.endswith(": equal")) >= rooms


def test_a_wrong_answer_is_told() -> None:
    """An answer from outside that is one too small, one too large: both are seen."""
    case = case_of(5003)
    for wrong in (-1, 1):
        others = tuple((name, lambda a, h, ask=ask: ask(a, h) + wrong) for name, ask in case.others)  # noqa: B023
        tally: Counter[str] = Counter()
        assert list(compared(type(case)(case.name, case.room, others), tally))
