"""Which days the racks are drawn on, and why these."""

from collections.abc import Sequence
from datetime import date, timedelta

from allocator.plan import Plan
from allocator.reports.text import list_ends
from allocator.reports.words import WEEK
from allocator.room import Room

DAY = timedelta(days=1)
TODAY, AFTER_WEEK, FULLEST = "today", "after this week", "the fullest day"
NO_HOME, ADDED, LIST_ENDS = (
    "the first fish without a home",
    "the first added tank in use",
    "where the list ends",
)
ASKED = "as asked"


def chosen_days(room: Room, plan: Plan, asked: Sequence[date] = ()) -> list[tuple[date, str]]:
    """Return the days to draw, in order, each with the reason: those asked for, else about four that matter."""
    if asked:
        return [(day, TODAY if day == room.today else ASKED) for day in sorted(set(asked))]
    days = {room.today: TODAY}
    days.setdefault(room.today + WEEK - DAY, AFTER_WEEK)
    if plan.homeless:
        days.setdefault(max(min(gap.from_ for gap in plan.homeless), room.today), NO_HOME)
    elif plan.added:
        days.setdefault(max(min(added.from_ for added in plan.added), room.today), ADDED)
    elif any(stay.until > list_ends(room) for stay in plan.stays):
        days.setdefault(list_ends(room) - DAY, LIST_ENDS)
    days.setdefault(fullest_day(room, plan), FULLEST)
    return sorted(days.items())


def fullest_day(room: Room, plan: Plan) -> date:
    """Return the first day on which most vessels are in use."""
    starts = sorted({max(stay.from_, room.today) for stay in plan.stays} | {room.today})
    return max(starts, key=lambda day: (len(used_on(room, plan, day)), -day.toordinal()))


def used_on(room: Room, plan: Plan, day: date) -> set[str]:
    """Return the vessels that hold fish, eggs or a breeding group on a day."""
    broods = {stay.vessel for stay in plan.stays if stay.from_ <= day < stay.until}
    return broods | {group.vessel for group in room.groups if group.lives_there.holds(day)}
