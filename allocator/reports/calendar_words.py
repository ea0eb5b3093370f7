"""What is said when a calendar file has been written."""

from allocator.plan import Plan, Verdict
from allocator.reports.answers import verdict_line
from allocator.reports.calendar_file import CalendarFile
from allocator.reports.caution_list import Page
from allocator.reports.cautions import cautions_text
from allocator.reports.tables import paragraph
from allocator.reports.words import joined
from allocator.room import Room


def calendar_text(room: Room, plan: Plan, made: CalendarFile, file: str) -> str:
    """Return what has become of the entries of a calendar, with the cautions of the move schedule."""
    counts = {
        "new": made.new,
        "changed": made.changed,
        "cancelled": made.cancelled,
        "as before": made.same,
    }
    words = joined([f"{number} {word}" for word, number in counts.items() if number])
    parts = [
        verdict_line(room, plan) if plan.verdict is Verdict.DOES_NOT_FIT else "",
        paragraph(f"Wrote {file}. Entries: {words or 'none, for there is nothing to do'}."),
        cautions_text(Page.MOVES, room, plan),
    ]
    return "\n\n".join(part for part in parts if part)
