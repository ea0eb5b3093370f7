"""The rack as it hangs on one day, shelf by shelf: a picture, or a line for each vessel where nothing can be drawn."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from allocator.husbandry.peat import holds_water
from allocator.paper import paper
from allocator.plan import Plan
from allocator.reports.caution_list import Page
from allocator.reports.cautions import cautions_text
from allocator.reports.moves import flow_on
from allocator.reports.tables import Column, clean, cut, display_width, paragraph, table, wrap
from allocator.reports.where import (
    EXPECTED,
    Fullness,
    LotThere,
    after_its_end,
    fullness,
    group_row,
    groups_in,
    lot_row,
    lots_by_vessel,
    without_home,
)
from allocator.reports.words import count_of, day_words
from allocator.room import Room, Vessel

INSIDE = 22
"""Columns inside a box: three boxes fill 80 columns, and `19 fish 54 mm (2.1 in)` just goes in."""

OUTSIDE = INSIDE + 4
BAR = 10
MOST_LOTS = 4
"""More lots than this in one box are counted and not named (judgement)."""

SHORTENED = "Names with ... in them are shortened; the where command has them in full."
EMPTY = "empty"
NO_PLACE = "No place given"
LINES = (Column("", least=8), Column("", right=True, least=5), Column("", least=BAR), Column("", least=30))


@dataclass(frozen=True)
class Inside:
    """What is in a vessel on one day: (name, fish, their length or sexes) of each lot, and how it stands."""

    name: str
    state: str
    lots: tuple[tuple[str, str, str], ...] = ()
    flow: str = ""
    full: Fullness | None = None

    def bar(self, used: str, free: str) -> str:
        """Return how full it is as a bar, rounded down from its percent: a whole one means the limit, or more."""
        if self.full is None or not self.full.percent:
            return ""
        blocks = min(BAR, max(1, round(self.full.share * 100) * BAR // 100))
        return used * blocks + free * (BAR - blocks)

    @property
    def percent(self) -> str:
        """How full it is in figures, where that can be said."""
        return "" if self.full is None else self.full.percent

    @property
    def names(self) -> tuple[str, ...]:
        """The names that a box shows."""
        return (self.name, *(name for name, _, _ in self.lots[:MOST_LOTS]))


def rack_text(room: Room, plan: Plan, day: date) -> str:
    """Return every shelf with its vessels on one day: boxes side by side, or a line each where nothing is drawn."""
    boxes = paper().boxes
    parts = [paragraph(f"The rack on {day_words(day)}: {clean(room.name)}", hanging="  ")]
    shelves = list(_shelves(room, plan, day))
    for place, insides in shelves:
        heading = paragraph(f"{place}: {_counted(insides)}", hanging="  ")
        parts.append("\n".join([heading, *(_drawn(insides) if boxes else _told(insides))]))
    names = [name for _, insides in shelves for inside in insides for name in inside.names]
    if boxes and any(display_width(name) > INSIDE for name in names):
        parts.append(paragraph(SHORTENED))
    parts += [without_home(plan, day), after_its_end(plan, day), paragraph(EXPECTED)]
    parts.append(cautions_text(Page.WHERE, room, plan, day, day + timedelta(days=1)))
    return "\n\n".join(part for part in parts if part)


def _shelves(room: Room, plan: Plan, day: date) -> Iterator[tuple[str, list[Inside]]]:
    """Yield (place, vessels) in the order of the room file: the shelves of each rack, then what has no place."""
    there = lots_by_vessel(room, plan, day)
    places: dict[tuple[str, str], list[Inside]] = {(shelf.rack, shelf.name): [] for shelf in room.shelves}
    for vessel in sorted(room.vessels, key=lambda vessel: vessel.rack is None):
        place = vessel.rack or "", vessel.shelf or ""
        places.setdefault(place, []).append(_inside(room, plan, vessel, day, there.get(vessel.name, [])))
    for (rack, shelf), insides in places.items():
        names = [f"Rack {clean(rack)}"] if rack else []
        names += [f"shelf {clean(shelf)}"] if shelf else []
        yield ", ".join(names) or NO_PLACE, insides


def _counted(insides: Sequence[Inside]) -> str:
    empty = sum(inside.state == EMPTY for inside in insides)
    return count_of(len(insides), "vessel") + (f", {empty} empty" if empty else "")


def _inside(room: Room, plan: Plan, vessel: Vessel, day: date, lots: list[LotThere]) -> Inside:
    """Return what a vessel holds on a day."""
    groups = groups_in(room, vessel, day)
    name = clean(vessel.name)
    if not lots and not groups:
        return Inside(name, EMPTY if vessel.available.holds(day) else "not there on this day")
    rows = [lot_row(room, lot, day) for lot in lots] + [group_row(group) for group in groups]
    setting = flow_on(plan, vessel.name, day) if holds_water(vessel) else None
    full = fullness(vessel, lots) if lots else None
    return Inside(
        name=name,
        state=full.word if full else "breeding",
        lots=tuple((lot, heads, size) for lot, _, heads, size, _ in rows),
        flow="" if setting is None else f"flow {setting.word}",
        full=full,
    )


def _drawn(insides: Sequence[Inside]) -> Iterator[str]:
    """Yield the lines of a shelf: boxes side by side, as many as fit, in rows of one height each."""
    across = max(1, (paper().width + 1) // (OUTSIDE + 1))
    for first in range(0, len(insides), across):
        row = insides[first : first + across]
        tops, bottoms = [_lots(inside) for inside in row], [_gauge(inside) for inside in row]
        height = max(len(top) + len(bottom) for top, bottom in zip(tops, bottoms, strict=True))
        yield " ".join(_border(inside.name) for inside in row)
        filled = [
            [*top, *[""] * (height - len(top) - len(bottom)), *bottom]
            for top, bottom in zip(tops, bottoms, strict=True)
        ]
        for lines in zip(*filled, strict=True):
            yield " ".join(f"│ {line}{' ' * (INSIDE - display_width(line))} │" for line in lines)
        yield " ".join(f"└{'─' * (OUTSIDE - 2)}┘" for _ in row)


def _border(name: str) -> str:
    shown = cut(name, INSIDE)
    return f"┌ {shown} {'─' * (INSIDE - display_width(shown))}┐"


def _lots(inside: Inside) -> list[str]:
    lines = []
    for name, heads, size in inside.lots[:MOST_LOTS]:
        together = f"{heads} {size}"
        fish = [together] if display_width(together) <= INSIDE else [heads, *wrap(size, INSIDE)]
        lines += [cut(name, INSIDE), *fish]
    more = len(inside.lots) - MOST_LOTS
    return [*lines, f"and {count_of(more, 'more lot')}"] if more > 0 else lines


def _gauge(inside: Inside) -> list[str]:
    bar = inside.bar("█", "░")
    return [
        *([inside.flow] if inside.flow else []),
        *([f"{bar} {inside.percent:>6}"] if bar else []),
        *wrap(inside.state, INSIDE),
    ]


def _told(insides: Sequence[Inside]) -> Iterator[str]:
    """Yield a line for each vessel, which can be read aloud: the name, how full, and then what is in it."""
    rows = [(inside.name, inside.percent, inside.bar("#", "."), _sentence(inside)) for inside in insides]
    if rows:
        yield table(LINES, rows, indent="  ")


def _sentence(inside: Inside) -> str:
    state = ", ".join(part for part in (inside.state, inside.flow) if part)
    lots = "; ".join(", ".join(lot) for lot in inside.lots)
    return f"{state}: {lots}" if lots else state
