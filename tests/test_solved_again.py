"""A sample of what `solved_again` compares."""

from solved_again import run


def test_what_finds_room_finds_room_as_a_whole() -> None:
    tally, disagree = run(2, 0)
    assert disagree == []
    assert tally["rooms"] == 2
    assert sum(count for what, count in tally.items() if what != "rooms") == 4
