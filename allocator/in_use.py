"""How many vessels of a plan are in use, week by week."""

from datetime import date, timedelta

from allocator.plan import Plan
from allocator.room import Room, Vessel, new_vessel_name

WEEK = timedelta(days=7)


def declared(room: Room) -> list[str]:
    """Return the names under which vessels are declared, in the order of the room."""
    return list(dict.fromkeys(vessel.declared_as for vessel in room.vessels))


def new_names(plan: Plan, kind: str) -> set[str]:
    """Return the names of the vessels of a kind that are not there yet."""
    return {
        new_vessel_name(added.like, number)
        for added in plan.added
        if added.like == kind
        for number in range(1, added.copies + 1)
    }


def weekly_use(
    room: Room, plan: Plan, vessels: list[Vessel], until: date | None = None
) -> list[tuple[date, int, int]]:
    """Return (Monday, most in use on a day of that week, how many stand there), by default until the last sale.

    Vessels that the plan adds are in use but do not stand there.
    """
    end = until or max((stay.until for stay in plan.stays), default=room.today + WEEK)
    new = {name for vessel in vessels for name in new_names(plan, vessel.declared_as)}
    names = {vessel.name for vessel in vessels}
    spans = [(s.vessel, s.from_, s.until) for s in plan.stays if s.vessel in names]
    weeks, week = [], room.today - timedelta(days=room.today.weekday())
    while week < end:
        days = [
            max(week, room.today) + timedelta(days=n)
            for n in range((week + WEEK - max(week, room.today)).days)
        ]
        used = max(len(_used(room, spans, names, day)) for day in days)
        ready = max(sum(v.available.holds(day) for v in vessels if v.name not in new) for day in days)
        weeks.append((week, used, ready))
        week += WEEK
    return weeks


def _used(room: Room, spans: list[tuple[str, date, date]], names: set[str], day: date) -> set[str]:
    broods = {vessel for vessel, start, end in spans if start <= day < end}
    return broods | {g.vessel for g in room.groups if g.vessel in names and g.lives_there.holds(day)}
