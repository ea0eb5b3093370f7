"""Sets of slots as whole numbers: to cut one with another takes no time, and first fit does it a million times over."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

Slots = int
"""A set of slots: bit n stands for slot n."""


def slots_between(start: int, end: int) -> Slots:
    """Return the slots from one (included) to another (excluded); none where the other is not later."""
    return (1 << end) - (1 << start) if start < end else 0


def slots_where(so: NDArray[np.bool_]) -> Slots:
    """Return the slots for which an array, shape (slots,), says yes."""
    return int.from_bytes(np.packbits(so, bitorder="little").tobytes(), "little")


def array_of(sets: Iterable[Slots], slots: int) -> NDArray[np.bool_]:
    """Return sets of slots as an array of yes and no, shape (sets, slots)."""
    size = -(-slots // 8)
    packed = np.frombuffer(b"".join(each.to_bytes(size, "little") for each in sets), dtype=np.uint8)
    return np.unpackbits(packed.reshape(-1, size), axis=1, count=slots, bitorder="little").view(np.bool_)
