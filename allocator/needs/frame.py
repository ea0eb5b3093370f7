"""The frame of the tables: the days at which slots begin, and the classes of vessels."""

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

import numpy as np

from allocator.needs.tables import Ints, VesselClass
from allocator.room import Room


@dataclass(frozen=True)
class Frame:
    """What the tables of all broods of a room have in common.

    Slot i runs from `days[i]` (included) to `days[i + 1]` (excluded); `move_slots` begin with a move day.
    """

    room: Room
    days: tuple[date, ...]
    move_slots: tuple[int, ...]
    classes: tuple[VesselClass, ...]

    @cached_property
    def move_days(self) -> tuple[date, ...]:
        """The days with which the move slots begin."""
        return tuple(self.days[slot] for slot in self.move_slots)

    @cached_property
    def slot_days(self) -> Ints:
        """How many days each slot has."""
        return np.diff([day.toordinal() for day in self.days]).astype(np.int64)

    @cached_property
    def starts(self) -> Ints:
        """The first day of each slot, counted from today."""
        return np.array([(day - self.room.today).days for day in self.days[:-1]], dtype=np.int64)

    @cached_property
    def day_list(self) -> tuple[date, ...]:
        """Every day from today to the end of the last slot."""
        return tuple(self.room.today + timedelta(days=n) for n in range(int(self.slot_days.sum())))
