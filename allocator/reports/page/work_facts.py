"""The move list and the care, day by day: what fits on the first sheet, and what comes after it."""

from collections.abc import Iterable
from datetime import date
from itertools import groupby

from allocator.plan import Plan
from allocator.reports.due import Due
from allocator.reports.lost import NO_HOME
from allocator.reports.moves import Schedule
from allocator.reports.not_taken import TO_DO
from allocator.reports.page.facts import CareDay, MoveDay, MoveLine, MoveWeek
from allocator.reports.tables import display_width
from allocator.reports.text import list_ends
from allocator.reports.words import WEEK, day_words, week_start
from allocator.room import Room

LINES_OF_A_SHEET = 40
"""Lines of the move list that stand on a sheet of Letter paper below the verdict (counted on printed sheets)."""

SOLD = "sold"
NOWHERE = {SOLD, NO_HOME, *TO_DO.values()}
"""What may stand in the place of a vessel."""

WEEK_LINES, DAY_LINES = 1.6, 1.2
LETTERS_OF_LOT, LETTERS_OF_WAY, LETTERS_OF_WHY, LETTERS_OF_TEXT = 18, 19, 32, 95
"""Headings in lines, and the letters after which a line goes on in another (counted on printed sheets)."""


def move_weeks(room: Room, plan: Plan) -> list[MoveWeek]:
    """Return this week (the seven days from today on), and the weeks after it as the calendar has them.

    Where the plan is a draft, moves and sales are told and lines about nothing but flow are not.
    """
    schedule = Schedule(room, plan)
    after, ends = room.today + WEEK, list_ends(room)
    weeks = [MoveWeek("This week", draft=False, days=_days(schedule, room.today, after))]
    for frm, until, draft in ((after, ends, False), (ends, None, True)):
        days = schedule.days(frm, until)
        for monday, of_week in groupby(days, key=lambda entry: week_start(entry[0])):
            shown = tuple(_day(day, rows, flow=not draft) for day, rows in of_week)
            lively = tuple(day for day in shown if day.lines)
            if lively:
                weeks.append(MoveWeek(f"Week of {day_words(monday)}", draft=draft, days=lively))
    return weeks


def first_sheet(weeks: list[MoveWeek]) -> tuple[tuple[MoveWeek, ...], tuple[MoveWeek, ...]]:
    """Return the weeks that stand on the first sheet, at least this week, and those that come later."""
    used, number = 0.0, 0
    for week in weeks:
        used += lines_of(week)
        if week.draft or (number and used > LINES_OF_A_SHEET):
            break
        number += 1
    return tuple(weeks[:number]), tuple(weeks[number:])


def lines_of(week: MoveWeek) -> float:
    """Return how many lines of paper a week of the list takes, about."""
    return WEEK_LINES + sum(DAY_LINES + sum(map(_lines, day.lines)) for day in week.days)


def care_days(room: Room, plan: Plan, until: date) -> tuple[tuple[str, ...], tuple[CareDay, ...]]:
    """Return the care that is under way today, and what begins or is due once on the days before another."""
    due = Due(room, plan)
    shown = []
    for day in sorted(due.days()):
        if room.today <= day < until:
            lines = (*due.picking_lines(day), *due.task_lines(day))
            shown.append(CareDay(day_words(day), lines))
    return tuple(due.going_on_lines(room.today)), tuple(day for day in shown if day.lines)


def _days(schedule: Schedule, frm: date, until: date) -> tuple[MoveDay, ...]:
    return tuple(_day(day, rows) for day, rows in schedule.days(frm, until))


def _day(day: date, rows: Iterable[tuple[str, ...] | str], *, flow: bool = True) -> MoveDay:
    lines = (
        MoveLine(text=row) if isinstance(row, str) else MoveLine(cells=row[1:], joint=_joint(row))
        for row in rows
        if flow or not isinstance(row, str)
    )
    return MoveDay(day_words(day), tuple(lines))


def _joint(row: tuple[str, ...]) -> str:
    """Return the word between where fish come from and where they go to; none where they go nowhere."""
    came, goes = row[3], row[4]
    if goes in NOWHERE:
        return ""
    return "into" if came == "new" else "to"


def _lines(line: MoveLine) -> int:
    """Return the lines of paper that a line of the list takes: as many as its longest cell."""
    if line.text:
        return _wrapped(line.text, LETTERS_OF_TEXT)
    lot, _, came, goes, _, why = line.cells
    return max(
        _wrapped(lot, LETTERS_OF_LOT),
        _wrapped(f"{came} to {goes}", LETTERS_OF_WAY),
        _wrapped(why, LETTERS_OF_WHY),
    )


def _wrapped(text: str, letters: int) -> int:
    return 1 + max(display_width(text) - 1, 0) // letters
