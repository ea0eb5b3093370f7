"""When a brood may be sold, by where and when it came to its last vessel."""

from datetime import date, timedelta
from math import ceil, floor

from allocator.husbandry.growth import age_at_mm, growth_factor
from allocator.husbandry.life import Dwelling, Life
from allocator.needs.frame import Frame
from allocator.needs.tables import DUST, Phase

ENDLESS_RUN_CM = 1e9
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
    """

    def __init__(self, frame: Frame, life: Life, held_back_days: int = 0) -> None:
        self.held_back = timedelta(days=held_back_days)
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
        slots = [s for s in self.move_slots if self.days[s] >= ready and s > entered]
        last = ready + timedelta(days=ceil(self.life.rules.sell_within_days.value))
        inside = [s for s in slots if self.days[s] <= last]
        return tuple(inside or slots[:1] or self.move_slots[-1:])


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
    room = life.rules.growth_room
    run = 0.0 if slow else ENDLESS_RUN_CM
    grown = [life.growth_age(start)]
    day = start
    while day < end:
        tomorrow = day + timedelta(days=1)
        if day < life.hatched <= tomorrow:
            grown.append(life.growth_age(tomorrow))
        else:
            mm = life.curve.mm(max(grown[-1], 0.0))
            grown.append(grown[-1] + growth_factor(mm, run, room))
        day = tomorrow
    return grown


def days_to_sale(life: Life, grown: float, *, slow: bool) -> int:
    """Return the days until sale size from an age on the growth curve, in closed form.

    The same as walking with `Life.ready_for_sale` day by day, which a test holds it to.
    """
    goal = age_at_mm(life.rules.sale_mm.value, life.rules, life.pace)
    if grown >= goal:
        return 0
    if not slow:
        return ceil(goal - grown - DUST)
    room = life.rules.growth_room
    turn = age_at_mm(min(room.from_mm.value, life.rules.sale_mm.value), life.rules, life.pace)

    def at_full_pace(age: float) -> bool:
        mm = life.curve.mm(max(age, 0.0))
        return growth_factor(mm, 0.0, room) >= 1

    full_days = max(floor(turn - grown) - 1, 0)
    while at_full_pace(grown + full_days):  # a step or two, so that the turn is taken as the walk takes it
        full_days += 1
        if grown + full_days >= goal:
            return ceil(goal - grown - DUST)
    left = goal - grown - full_days
    return full_days + max(ceil(left / room.slowed_to.value - DUST), 0)
