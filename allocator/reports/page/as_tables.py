"""The pictures as tables: the same facts, for whoever reads figures better, or cannot see a picture."""

from itertools import groupby

from allocator.reports.blocks import Grid
from allocator.reports.page.facts import Homeless, KindUse, RackDay, TimeFacts, VesselShown
from allocator.reports.tables import Column
from allocator.reports.words import WEEK, day_words

RACK = tuple(
    map(Column, ("vessel", "lot", "line", "fish", "length", "age", "flow", "how full", "what fills it first"))
)
STAYS = (Column("vessel"), Column("lot"), Column("fish", right=True), *map(Column, ("from", "until", "then")))
USE = (
    Column("weeks from"),
    Column("until"),
    *(Column(head, right=True) for head in ("in use", "there", "short")),
)
HOMELESS = (Column("weeks from"), Column("until"), Column("fish without a home", right=True))
DRAFT, END_DRAFT = "draft", "end is a draft"


def rack_grid(rack_day: RackDay) -> Grid:
    """Return a row a lot, and one a breeding group; vessels without either are named in the notes of the day."""
    rows = [
        row
        for rack in rack_day.racks
        for shelf in rack.shelves
        for vessel in shelf.vessels
        for row in _vessel_rows(vessel)
    ]
    return Grid(RACK, tuple(rows))


def _vessel_rows(vessel: VesselShown) -> list[tuple[str, ...]]:
    lots: list[tuple[str, ...]] = [
        (
            vessel.name,
            lot.name,
            lot.line,
            lot.heads,
            lot.length,
            lot.age,
            vessel.flow,
            vessel.fullness,
            vessel.fills,
        )
        for lot in vessel.lots
    ]
    return lots + [
        (vessel.name, name, "", people, "", "", vessel.flow, "breeding", "") for name, people in vessel.groups
    ]


def stays_grid(facts: TimeFacts) -> Grid:
    """Return a row a stay, vessel by vessel; what begins or ends after the list ends is called a draft."""
    rows = []
    for row in facts.rows:
        for bar in row.stays:
            start = "already there" if bar.from_before else day_words(bar.start)
            drafted = (
                DRAFT if bar.start >= facts.list_ends else END_DRAFT if bar.end >= facts.list_ends else ""
            )
            then = ", ".join(part for part in ("sold" if bar.sold else "", drafted) if part)
            rows.append((row.vessel, bar.lot, str(bar.fish), start, day_words(bar.end), then))
    return Grid(STAYS, tuple(rows))


def use_grid(kind: KindUse) -> Grid:
    """Return the weeks of a kind, those with the same figures in one row."""
    rows = []
    for figures, run in groupby(kind.weeks, key=lambda week: (week.used, week.there, week.short)):
        weeks = list(run)
        span = day_words(weeks[0].monday), day_words(weeks[-1].monday + WEEK)
        rows.append((*span, *map(str, figures)))
    return Grid(USE, tuple(rows))


def homeless_weeks_grid(homeless: Homeless) -> Grid:
    """Return the weeks with the most fish that are without a home on one of their days."""
    rows = []
    for fish, run in groupby(homeless.weeks, key=lambda week: week[1]):
        weeks = [monday for monday, _ in run]
        rows.append((day_words(weeks[0]), day_words(weeks[-1] + WEEK), str(fish)))
    return Grid(HOMELESS, tuple(rows))
