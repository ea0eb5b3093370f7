"""Sets of slots as whole numbers, held against Python's own sets."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from allocator.needs.slots import array_of, slots_between, slots_where

SLOTS = 75

sets = st.sets(st.integers(0, SLOTS - 1))


@given(st.lists(sets, min_size=1, max_size=4))
def test_sets_and_arrays_tell_the_same(given_sets: list[set[int]]) -> None:
    arrays = np.array([[slot in each for slot in range(SLOTS)] for each in given_sets])
    numbers = [slots_where(array) for array in arrays]
    assert numbers == [sum(2**slot for slot in each) for each in given_sets]
    assert np.array_equal(array_of(numbers, SLOTS), arrays)


@given(st.integers(0, SLOTS), st.integers(0, SLOTS))
def test_slots_between(start: int, end: int) -> None:
    (array,) = array_of([slots_between(start, end)], SLOTS)
    assert np.flatnonzero(array).tolist() == list(range(start, end))
