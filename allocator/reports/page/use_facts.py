"""Room used by kind of vessel, week by week, and when it runs short."""

from datetime import date

from allocator.in_use import declared, weekly_use
from allocator.plan import Plan
from allocator.reports.page.facts import Homeless, KindUse, UseFacts, UseWeek
from allocator.reports.tables import clean
from allocator.reports.text import list_ends
from allocator.reports.words import WEEK, day_words, week_start
from allocator.room import Room


def use_facts(room: Room, plan: Plan, as_it_is: Plan | None) -> UseFacts:
    """Return what each kind has in use, and the fish that have no home: in this plan, or with nothing added."""
    kinds = tuple(_kind(room, plan, kind) for kind in declared(room))
    homeless = None
    if plan.homeless:
        homeless = _homeless("Fish without a home", room, plan)
    elif as_it_is is not None and as_it_is.homeless:
        homeless = _homeless("Fish without a home with what you have, if nothing is added", room, as_it_is)
    return UseFacts(room.today, list_ends(room), kinds, homeless)


def _kind(room: Room, plan: Plan, kind: str) -> KindUse:
    vessels = [vessel for vessel in room.vessels if vessel.declared_as == kind]
    weeks = [
        UseWeek(monday, used, there, max(used - there, 0))
        for monday, used, there in weekly_use(room, plan, vessels)
    ]
    top = max(weeks, key=lambda week: (week.short, week.used, -week.monday.toordinal()))
    when = f"first in the week of {day_words(top.monday)}"
    if not top.short:
        return KindUse(clean(kind), tuple(weeks), f"at most {top.used} of {top.there} in use, {when}", "")
    first = next(week.monday for week in weeks if week.short)
    worst = f"{top.used} needed at the most, and {top.there} there, {when}"
    return KindUse(clean(kind), tuple(weeks), worst, f"too few from the week of {day_words(first)}")


def _homeless(title: str, room: Room, plan: Plan) -> Homeless:
    """Return the most fish without a home on any day of each week."""
    last = max(gap.until for gap in plan.homeless)
    end = max([last, *(stay.until for stay in plan.stays)])
    weeks: list[tuple[date, int]] = []
    monday = week_start(room.today)
    while monday < end:
        days = {monday, *(gap.from_ for gap in plan.homeless if monday <= gap.from_ < monday + WEEK)}
        fish = max(sum(gap.fish for gap in plan.homeless if gap.from_ <= day < gap.until) for day in days)
        weeks.append((monday, fish))
        monday += WEEK
    return Homeless(title, tuple(weeks))
