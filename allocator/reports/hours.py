"""The keeper's time in words: what goes into a week, and which week is the busiest."""

from dataclasses import dataclass
from datetime import date
from functools import cached_property

from allocator.husbandry.workload import MOVE_MINUTES, WeekOfWork, Work, busiest, work_by_week
from allocator.plan import Plan
from allocator.reports.tables import Column, paragraph, table
from allocator.reports.words import WEEK, day_words
from allocator.room import Room

ONE_HOUR = 60
STEP = 5
"""Minutes to which a week's work is rounded in a sentence: nobody plans closer (judgement)."""


def time_words(minutes: float) -> str:
    """Return `45 min`, `2 h` or `2 h 05 min`, to the minute."""
    hours, rest = divmod(round(minutes), ONE_HOUR)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest:02d} min" if rest else f"{hours} h"


def about(minutes: float) -> str:
    """Return the same, rounded to five minutes and with `about` before it."""
    return f"about {time_words(max(STEP * round(minutes / STEP), STEP))}" if minutes > 0 else "nothing"


@dataclass(frozen=True)
class Hours:
    """The keeper's time under a plan from one day (included) until another (excluded), added up once."""

    room: Room
    plan: Plan
    frm: date | None = None
    until: date | None = None

    @cached_property
    def weeks(self) -> list[WeekOfWork]:
        """The minutes of each week."""
        return work_by_week(self.room, self.plan, self.frm, self.until)

    def by_week(self) -> dict[date, str]:
        """Return for the Monday of each week how much work it has, in words."""
        return {week.monday: about(week.total) for week in self.weeks}

    def text(self) -> str:
        """Return a table of what the keeper's time goes into, and where the figures come from.

        Empty where the plan has nothing on these days: no fish are there, and none are moved.
        """
        if not self._anything():
            return ""
        days = sum(week.days for week in self.weeks)
        totals = {kind: sum(week.minutes[kind] for week in self.weeks) for kind in Work}
        top = busiest(self.weeks)
        short = days <= WEEK.days
        rows = [
            (kind.value, *_cells(totals[kind], days, top.minutes[kind], short=short))
            for kind in Work
            if totals[kind] > 0
        ]
        rows.append(("in all", *_cells(sum(totals.values()), days, top.total, short=short)))
        heads = ["these days"] if short else ["average week", "busiest week"]
        columns = [Column(""), *(Column(head, right=True) for head in heads)]
        lines = ["Your time, roughly", table(columns, rows, indent="  ")]
        if not short:
            lines.append(f"  The busiest is the week of {day_words(top.monday)}.")
        note = (
            "Minutes are those of the rules (`upkeep` and `care`, each with its evidence in `allocator rules`); "
            f"{MOVE_MINUTES:.0f} minutes for each move, set-up and sale are from memory. "
            "Only printed days count."
        )
        return "\n".join([*lines, paragraph(note)])

    def _anything(self) -> bool:
        start = self.room.today if self.frm is None else self.frm
        end = date.max if self.until is None else self.until
        stays = any(stay.from_ < end and start < stay.until for stay in self.plan.stays)
        return stays or any(start <= move.on < end for move in self.plan.moves)


def hours_line(room: Room, plan: Plan) -> str:
    """Return one sentence about the whole plan: hours in the busiest week, and on average."""
    weeks = Hours(room, plan).weeks
    top = busiest(weeks)
    mean = sum(week.total for week in weeks) / sum(week.days for week in weeks) * WEEK.days
    if top.total <= 0:
        return ""
    words = (
        f"Your time: {about(top.total)} a week at the most, in the week of {day_words(top.monday)}, and "
        f"{about(mean)} in an average week; the moves command says what goes into it."
    )
    return paragraph(words)


def _cells(total: float, days: int, most: float, *, short: bool) -> tuple[str, ...]:
    return (time_words(total),) if short else (time_words(total / days * WEEK.days), time_words(most))
