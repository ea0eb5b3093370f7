"""Until when a brood is kept though it could be sold: for an order, for a day on which it is asked for, or as pinned."""

from bisect import bisect_left
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

from allocator.husbandry.life import Life
from allocator.needs.frame import Frame
from allocator.needs.tables import FULL, Bools, Ints, Phase, VesselClass
from allocator.room import PinKind

A_WEEK = timedelta(days=7)


class Kept(NamedTuple):
    """A day by which fish must be long enough, the slots in which they then leave, and what if they are not.

    Those that are `never_late` are not sold at all where they are not long enough; others are sold later, but fish of an
    order (`not_before`) never sooner.
    """

    day: date
    slots: tuple[int, ...]
    never_late: bool = False
    not_before: bool = False


def kept_until(
    frame: Frame, life: Life, phases: tuple[Phase, ...], wanted_on: date | None = None
) -> Kept | None:
    """Return until when a brood is kept; None where nobody asked for that.

    Parameters
    ----------
    wanted_on
        The day for which it is asked; it comes before what the room says.
    """
    name, days, room = life.brood.name, frame.move_days, frame.room
    if wanted_on is not None:
        return Kept(wanted_on, _leaving(frame, wanted_on, one=True), never_late=True)
    order = room.order_of.get(name)
    if order is not None:
        one = room.keeper.most_moves_a_day is None
        return Kept(order.on, _leaving(frame, order.on, one=one), not_before=True)
    for pin in room.pins:
        day = pin.span.start
        if pin.brood != name or pin.kind is not PinKind.MOVE_ON or day is None or day not in days:
            continue
        slot = frame.move_slots[days.index(day)]
        if not any(slot in phase.entries and not phase.optional for phase in phases[1:]):
            return Kept(day, (slot,))
    return None


def _leaving(frame: Frame, day: date, *, one: bool) -> tuple[int, ...]:
    """Return the move days on which fish of an order leave: the first from its day on, or those of a week.

    A week, where so many could have to leave together that the keeper has not hands enough.
    """
    days = frame.move_days
    first = bisect_left(days, day)
    last = first + 1 if one or first == len(days) else bisect_left(days, days[first] + A_WEEK)
    return frame.move_slots[first:last]


@dataclass(frozen=True)
class Housing:
    """Where one brood may live, were it alone in the room: asked to tell what can be from what is only in a table."""

    frame: Frame
    life: Life
    load: tuple[Ints, ...]
    allowed: tuple[tuple[Bools, ...], ...]
    phases: tuple[Phase, ...]
    slowing_stages: frozenset[int]

    def has_room(self, slot: int, until: int, *, slow: bool) -> bool:
        """Tell whether vessels of one pace take the brood in its last stage from one slot to another."""
        last = self.phases[-1].stage
        return any(
            self._slow(kind) is slow
            and kind.copies > 0
            and bool(self.allowed[last][kind.index][slot:until].all())
            and int(self.load[kind.index][:, slot:until].max(initial=0)) <= FULL * kind.copies
            for kind in self.frame.classes
        )

    def stays_at_home(self, *, slow: bool) -> bool:
        """Tell whether a brood that is found in its last stage lives in vessels of one pace."""
        return bool(self._homes()) and any(map(self._slow, self._homes())) is slow

    def grows(self, *, slow: bool) -> bool:
        """Tell whether the brood may have been slowed (or not) before its last stage."""
        paces = [
            {
                self._slow(kind)
                for kind in self.frame.classes
                if kind in self._homes() or (kind.copies and self.allowed[stage][kind.index].any())
            }
            for stage in self.slowing_stages
        ]
        return any(True in pace for pace in paces) if slow else all(False in pace for pace in paces)

    def _homes(self) -> list[VesselClass]:
        homes = {name for name, _ in self.phases[0].homes}
        return [kind for kind in self.frame.classes if homes & set(kind.names)]

    def _slow(self, kind: VesselClass) -> bool:
        return kind.sample.run_cm < self.life.rules.growth_room.run_cm.value
