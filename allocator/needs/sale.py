"""When a brood may be sold, by where and when it came to its last vessel."""

from bisect import bisect_left, bisect_right
from datetime import date, timedelta
from math import ceil, floor

from allocator.husbandry.life import Dwelling, Life
from allocator.needs.frame import Frame
from allocator.needs.kept import Housing, Kept, kept_until
from allocator.needs.tables import DUST, Phase

DAY = timedelta(days=1)

SaleTable = dict[tuple[bool, bool, int], tuple[int, ...]]
ShiftTable = dict[tuple[bool, int], tuple[int, ...]]


class Sales:
    """Works out the sale tables of one brood.

    Parameters
    ----------
    frame
        Days, move days and classes.
    life
        The forecast of the brood.
    held_back_days
        Days by which company is taken to put off the sale, wherever the brood lives.
    wanted_on
        The day for which the fish are wanted, if there is one: they are kept until the first day on or after it on
        which fish are moved, and not sold at all where they are not long enough on it.
    """

    def __init__(
        self, frame: Frame, life: Life, held_back_days: int = 0, wanted_on: date | None = None
    ) -> None:
        self.wanted_on = wanted_on
        self.held_back = timedelta(days=held_back_days)
        self.frame = frame
        self.room = frame.room
        self.days = frame.days
        self.move_slots = frame.move_slots
        self.life = life

    def tables(self, start_day: date, housing: Housing) -> tuple[SaleTable, ShiftTable]:
        """Return the slots of sale as in `BroodNeeds.sale` and `BroodNeeds.shift_sale`.

        Where fish are kept for an order, or their sale is pinned to a day, and they can be long enough by then were they
        alone in the room, the ways of living in which they are not allow no sale at all. Where they cannot, they are sold
        when they are long enough.
        """
        phases = housing.phases
        ready = self._ready(start_day, phases)
        shifted = self._ready_after_shift(phases)
        kept = kept_until(self.frame, self.life, phases, self.wanted_on)
        if kept is None:
            return (
                {key: self._slots(day, key[2]) for key, day in ready.items()},
                {key: self._slots(day, key[1]) for key, day in shifted.items()},
            )
        asked = kept.never_late or any(
            self._is_on_time(kept, day, key[2]) and self._can_be(housing, kept, *key)
            for key, day in ready.items()
        )
        asked |= any(
            self._is_on_time(kept, day, slot) and housing.has_room(slot, kept.slots[0], slow=slow)
            for (slow, slot), day in shifted.items()
        )

        def slots(day: date, entered: int) -> tuple[int, ...]:
            if asked:
                return kept.slots if self._is_on_time(kept, day, entered) else ()
            return self._slots(max(day, kept.day) if kept.not_before else day, entered)

        return (
            {key: slots(day, key[2]) for key, day in ready.items()},
            {key: slots(day, key[1]) for key, day in shifted.items()},
        )

    def _is_on_time(self, kept: Kept, ready: date, entered: int) -> bool:
        """Tell whether fish are long enough by a day until which they are kept, and in their last vessel by then."""
        return ready + self.held_back <= kept.day and bool(kept.slots) and entered < kept.slots[0]

    @staticmethod
    def _can_be(housing: Housing, kept: Kept, slow_before: bool, slow: bool, slot: int) -> bool:  # noqa: FBT001
        """Tell whether a brood can come to its last stage in a slot, and live there until it leaves, at this pace."""
        if housing.phases[0].homes and housing.phases[0].stage == housing.phases[-1].stage:
            return housing.stays_at_home(slow=slow)
        return housing.grows(slow=slow_before) and housing.has_room(slot, kept.slots[0], slow=slow)

    def _ready(self, start_day: date, phases: tuple[Phase, ...]) -> dict[tuple[bool, bool, int], date]:
        """Return when fish are long enough, by (slow before, slow in the last stage, slot of entry into it)."""
        life = self.life
        last = phases[-1].stage
        entry_phase = next(p for p in phases if p.stage == last)
        sale = {}
        for slow_before in (False, True):
            grown = grown_until(life, start_day, self.days[entry_phase.entries[-1]], slow=slow_before)
            for slow_after in (False, True):
                for slot in entry_phase.entries:
                    day = self.days[slot]
                    left = days_to_sale(life, grown[(day - start_day).days], slow=slow_after)
                    sale[slow_before, slow_after, slot] = day + timedelta(days=left)
        return sale

    def _ready_after_shift(self, phases: tuple[Phase, ...]) -> dict[tuple[bool, int], date]:
        """Return when fish are long enough, by (slow after the shift, slot of the shift) within the last stage."""
        life = self.life
        if not phases[0].homes or phases[0].stage != phases[-1].stage or len(phases) == 1:
            return {}
        run = life.rules.growth_room.run_cm.value
        slow = any(self.room.vessel_named[name].run_cm < run for name, _ in phases[0].homes)
        grown = grown_until(life, self.room.today, self.days[phases[1].entries[-1]], slow=slow)
        sale = {}
        for slot in phases[1].entries:
            day = self.days[slot]
            for slow_after in (False, True):
                left = days_to_sale(life, grown[(day - self.room.today).days], slow=slow_after)
                sale[slow_after, slot] = day + timedelta(days=left)
        return sale

    def _slots(self, ready: date, entered: int) -> tuple[int, ...]:
        ready += self.held_back
        days = self.frame.move_days
        first = max(bisect_left(days, ready), bisect_right(self.move_slots, entered))
        last = ready + timedelta(days=ceil(self.life.rules.sell_within_days.value))
        inside = self.move_slots[first : bisect_right(days, last)]
        return inside or self.move_slots[first : first + 1] or self.move_slots[-1:]


def most_held_back(life: Life, start: date) -> int:
    """Return the days by which company can put off the sale at the very most: at the limit all the time.

    Reckoned in a short vessel, where growth takes longest and every day of it is put off.
    """
    alone = life.ready_for_sale([Dwelling(0.0, start, start + DAY)])
    crowded = life.ready_for_sale([Dwelling(0.0, start, start + DAY, {start: 1.0})])
    assert alone is not None  # noqa: S101 - the path is not empty
    assert crowded is not None  # noqa: S101 - the path is not empty
    return (crowded - alone).days + 1  # days are whole: on another path it can be one more


def grown_until(life: Life, start: date, end: date, *, slow: bool) -> list[float]:
    """Return the age on the growth curve for each day from start to end, in short vessels or with room."""
    slowed_to = life.rules.growth_room.slowed_to.value if slow else 1.0
    hatched = max((life.hatched - start).days, 0)
    days = (end - start).days
    grown = [life.growth_age(start + n * DAY) for n in range(min(hatched, days) + 1)]
    age = grown[-1]
    for _ in range(days - hatched):
        age += slowed_to if age > life.slowed_from else 1.0
        grown.append(age)
    return grown


def days_to_sale(life: Life, grown: float, *, slow: bool) -> int:
    """Return the days until sale size from an age on the growth curve, in closed form.

    The same as walking with `Life.ready_for_sale` day by day, which a test holds it to.
    """
    if grown >= life.goal:
        return 0
    slowed_to = life.rules.growth_room.slowed_to.value
    if not slow or life.goal <= life.slowed_from:
        return ceil(life.goal - grown - DUST)
    full_days = max(floor(life.slowed_from - grown) + 1, 0)  # the last of them begins at full pace
    if grown + full_days >= life.goal - DUST:
        return ceil(life.goal - grown - DUST)
    return full_days + max(ceil((life.goal - grown - full_days) / slowed_to - DUST), 0)
