"""A sample of what `solved_again` compares."""

from solved_again import run


def test_what_finds_room_is_not_called_impossible_as_a_whole() -> None:
    """A seed for which nobody takes long to answer."""
    tally, disagree = run(1, 6)
    assert disagree == []
    assert sum(count for what, count in tally.items() if what != "rooms") == 2
