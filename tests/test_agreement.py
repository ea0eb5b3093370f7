"""A sample of what `agreement` compares, beyond the rooms of the other tests."""

from collections import Counter

import pytest
from agreement import case_of, compared, run

ROOMS_EACH = 10


@pytest.mark.parametrize("seed", [5000, 5010, 5020, 5030])
def test_the_planner_and_the_others_agree(seed: int) -> None:
    done, tally, disagree = run(ROOMS_EACH, seed)
    assert disagree == []
    assert done == tally["planned twice"] == ROOMS_EACH
    assert sum(count for what, count in tally.items() if what.endswith(": equal")) >= ROOMS_EACH


def test_a_wrong_answer_is_told() -> None:
    """An answer from outside that is one too small, one too large: both are seen."""
    case = case_of(5003)
    for wrong in (-1, 1):
        others = tuple((name, lambda a, h, ask=ask: ask(a, h) + wrong) for name, ask in case.others)  # noqa: B023
        tally: Counter[str] = Counter()
        assert list(compared(type(case)(case.name, case.room, others), tally))
