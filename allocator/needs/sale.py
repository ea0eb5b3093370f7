"""When a brood may be sold, by where and when it came to its last vessel."""

from bisect import bisect_left, bisect_right
from datetime import date, timedelta
from math import ceil, floor

from allocator.husbandry.life import Dwelling, Life
from allocator.needs.frame import Frame
from allocator.needs.tables import DUST, Phase

DAY = timedelta(days=1)


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

    def table(
        self, start_day: date, phases: tuple[Phase, ...]
    ) -> dict[tuple[bool, bool, int], tuple[int, ...]]:
        """Return the slots of sale by (slow before, slow in the last stage, slot of entry into it)."""
        life = self.life
        last = phases[-1].stage
        entry_phase = next(p for p in phases if p.stage == last)
        sale = {}
        for slow_before in (False, True):
            grown = grown_until(life, start_day, self.days[entry_phase.entries[-1]], slow=slow_before)
            for slow_after in (False, True):
                for slot in entry_phase.entries:
                    day = self.days[slot]
                    ready = day + timedelta(
                        days=days_to_sale(life, grown[(day - start_day).days], slow=slow_after)
                    )
                    sale[slow_before, slow_after, slot] = self._slots(ready, slot)
        return sale

    def after_shift(self, phases: tuple[Phase, ...]) -> dict[tuple[bool, int], tuple[int, ...]]:
        """Return the slots of sale by (slow after the shift, slot of the shift) within the last stage."""
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
                sale[slow_after, slot] = self._slots(day + timedelta(days=left), slot)
        return sale

    def _slots(self, ready: date, entered: int) -> tuple[int, ...]:
        ready += self.held_back
        days = self.frame.move_days
        if self.wanted_on is not None:
            wanted = bisect_left(days, self.wanted_on)
            after = wanted >= bisect_right(self.move_slots, entered)
            return self.move_slots[wanted : wanted + 1] if ready <= self.wanted_on and after else ()
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
