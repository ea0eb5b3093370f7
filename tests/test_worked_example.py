"""One brood through a year: every sum of the page is worked out anew and held to what the tool says."""

from datetime import date
from math import ceil

import pytest
from worked_example import Answers, Row, day_of_sum, day_words, rows, tool_values, tool_words, value_of_sum

PAPER = 0.005
"""By how much sums with rounded numbers may be off, in parts of the outcome."""

ANSWERS: Answers = tool_values()


@pytest.mark.parametrize("row", rows(), ids=lambda row: row.what)
def test_a_sum_of_the_page_comes_to_what_it_says_and_to_what_the_tool_says(row: Row) -> None:
    tool = ANSWERS[row.what]
    if isinstance(tool, date):
        assert day_of_sum(row.sum) == tool
        assert row.by_hand == day_words(tool) == row.tool
        return
    by_hand = value_of_sum(row.sum)
    decimals = len(row.by_hand.partition(".")[2])
    assert row.by_hand == f"{by_hand:.{decimals}f}"
    assert row.tool == tool_words(tool, decimals)
    if isinstance(tool, int):
        assert ceil(by_hand) == tool  # the first whole day
    else:
        assert by_hand == pytest.approx(tool, rel=PAPER)


def test_the_page_asks_everything_once() -> None:
    asked = [row.what for row in rows()]
    assert len(asked) == len(set(asked))
    assert set(asked) == set(ANSWERS)


@pytest.mark.parametrize("row", rows(), ids=lambda row: row.what)
def test_a_sum_goes_on_with_numbers_that_stand_above(row: Row) -> None:
    """The fish, weights and feeds in a sum are outcomes of earlier rows, not numbers out of nowhere."""
    if not row.what.startswith(("box on", "ten on", "long on", "feed", "ammonia", "share of comfort")):
        return
    day = row.what.partition("day ")[2].partition(",")[0]
    earlier = {found.what: found.by_hand for found in rows()}
    first = row.sum.removeprefix("100 x ").split(" x ")[0].split(" / ")[0]
    wanted = f"feed on day {day}" if row.what.startswith("ammonia") else f"fish on day {day}"
    assert first == earlier[wanted]
    if row.what.startswith("feed") or "weight" in row.what:
        assert f" x {earlier[f'weight on day {day}']} " in row.sum


def test_a_wrong_sum_is_noticed() -> None:
    assert value_of_sum("150 x 0.75") == 112.5
    assert value_of_sum("2 x 3 ^ 2 / (1 + 5)") == 3
    with pytest.raises(AssertionError):
        value_of_sum("length_mm(7)")
    assert day_of_sum("17 January + 20 days") == date(2027, 2, 6)
