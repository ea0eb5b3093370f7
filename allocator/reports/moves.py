"""The move schedule: what to do on which day, with a box to tick, to be printed and taken to the rack."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

from allocator.husbandry.life import Life, lives
from allocator.husbandry.peat import may_hold_water
from allocator.plan import Move, Plan, Stay, Verdict
from allocator.reports.answers import verdict_line
from allocator.reports.caution_list import Page
from allocator.reports.cautions import cautions_text
from allocator.reports.due import Due
from allocator.reports.hours import Hours
from allocator.reports.lost import Lost, lost_by_day
from allocator.reports.orders import sale_words
from allocator.reports.tables import Column, clean, grouped_table, paragraph
from allocator.reports.words import (
    WEEK,
    count_of,
    day_words,
    in_words,
    length_words,
    listed,
    ranged,
    week_start,
)
from allocator.room import Brood, CollectedBy, PinKind, Room
from allocator.rules import FlowSetting

TICK = "[ ]"
COLUMNS = (
    Column("", least=len(TICK)),
    Column("lot"),
    Column("fish", right=True, least=4),
    Column("from"),
    Column("to"),
    Column("flow", least=7),
    Column("why", least=16),
)
SET_UP = {
    CollectedBy.PICKING: "set up eggs",
    CollectedBy.MOP: "set up the whole mop",
    CollectedBy.YOUNG: "set up the new young",
}

Row = tuple[str, ...] | str


def moves_text(
    room: Room, plan: Plan, frm: date | None = None, until: date | None = None, *, care: bool = False
) -> str:
    """Return the move schedule from one day (included) until another (excluded).

    Parameters
    ----------
    care
        Tell beside the moves what else is due for the fish, and what all of it takes of the keeper's time.
    """
    title = f"Moves for {clean(room.name)}"
    if frm is not None and frm < room.today:
        title += f", from {day_words(room.today)} (today: the plan begins then)"
        frm = room.today
    elif frm is not None:
        title += f", from {day_words(frm)}"
    if until is not None:
        title += f", before {day_words(until)}"
    fits = "" if plan.verdict is not Verdict.DOES_NOT_FIT else verdict_line(room, plan)
    title = "\n\n".join(part for part in (paragraph(title), fits) if part)
    due = Due(room, plan) if care else None
    time = Hours(room, plan, frm, until) if care else None
    body = work_text(room, plan, frm, until, due, time)
    going_on = due.going_on(frm or room.today) if due else ""
    hours = time.text() if time else ""
    if not body:
        nothing = f"Nothing to move {_these_days(frm or room.today, until)}."
        return "\n\n".join(part for part in (title, going_on, nothing, hours) if part)
    note = (
        'Flow: "set gentle" means turn it to gentle on that day; "gentle" alone means it runs so already. '
        "Lengths are what the plan expects: measure a few fish first, and wait if they are behind."
    )
    cautions = cautions_text(Page.MOVES, room, plan, frm, until)
    parts = [title, going_on, body, hours, paragraph(note), cautions]
    return "\n\n".join(part for part in parts if part)


def work_text(
    room: Room,
    plan: Plan,
    frm: date | None = None,
    until: date | None = None,
    due: Due | None = None,
    hours: Hours | None = None,
) -> str:
    """Return the moves, set-ups, sales and flow changes of some days, week by week; empty if none.

    With `due`, also what else is due for the fish, and with `hours`, how much work each week has.
    """
    by_week = hours.by_week() if hours else {}
    groups, week = [], None
    for day, rows in Schedule(room, plan, due).days(frm, until):
        title = f"  {day_words(day)}"
        if week_start(day) != week:
            week = week_start(day)
            work = f": {by_week[week]} of work" if week in by_week else ""
            title = f"\nWeek of {day_words(week)}{work}\n{title}"
        groups.append((title, [ticked(row) if isinstance(row, str) else row for row in rows]))
    return grouped_table(COLUMNS, groups).removeprefix("\n") if groups else ""


def count_words(moves: Iterable[Move]) -> str:
    """Return `3 moves, 1 set-up and 2 sales`."""
    kinds = {"move": 0, "set-up": 0, "sale": 0}
    for move in moves:
        kinds["set-up" if move.from_ is None else "sale" if move.to is None else "move"] += 1
    return listed(count_of(number, kind) for kind, number in kinds.items() if number) or "nothing to move"


def flow_on(plan: Plan, vessel: str, day: date) -> FlowSetting | None:
    """Return the setting at which a vessel runs on a day, or None before the plan sets any."""
    past = [change for change in plan.flow if change.vessel == vessel and change.from_ <= day]
    return max(past, key=lambda change: change.from_).setting if past else None


@dataclass(frozen=True)
class Schedule:
    """The days of a plan on which there is something to do."""

    room: Room
    plan: Plan
    due: Due | None = None

    @cached_property
    def lives(self) -> dict[str, Life]:
        """The forecast of every brood."""
        return lives(self.room)

    @cached_property
    def lost(self) -> dict[date, list[Lost]]:
        """Who loses its home, or has none to begin with, by day."""
        return lost_by_day(self.room, self.plan, self.lives)

    @cached_property
    def stays_in(self) -> dict[str, list[Stay]]:
        """The stays of the plan, by vessel."""
        stays: dict[str, list[Stay]] = defaultdict(list)
        for stay in self.plan.stays:
            stays[stay.vessel].append(stay)
        return stays

    @cached_property
    def changes(self) -> dict[tuple[str, date], FlowSetting]:
        """The settings that really change (or are set for the first time), by vessel and day."""
        running: dict[str, FlowSetting] = {}
        changes = {}
        for change in sorted(self.plan.flow, key=lambda change: change.from_):
            if running.get(change.vessel) != change.setting and may_hold_water(self.room, change.vessel):
                changes[change.vessel, change.from_] = change.setting
                running[change.vessel] = change.setting
        return changes

    @cached_property
    def changes_by_day(self) -> dict[date, list[tuple[str, FlowSetting]]]:
        """The same by day."""
        found: dict[date, list[tuple[str, FlowSetting]]] = defaultdict(list)
        for (vessel, day), setting in self.changes.items():
            found[day].append((vessel, setting))
        return found

    @cached_property
    def moves_by_day(self) -> dict[date, list[Move]]:
        """The moves of the plan, by day."""
        found: dict[date, list[Move]] = defaultdict(list)
        for move in self.plan.moves:
            found[move.on].append(move)
        return found

    def days(self, frm: date | None, until: date | None) -> list[tuple[date, list[Row]]]:
        """Return (day, rows) in order."""
        return [(day, self.rows(day)) for day in self.busy_days(frm, until)]

    def busy_days(self, frm: date | None, until: date | None) -> list[date]:
        """Return the days on which there is something to do, in order."""
        days = {move.on for move in self.plan.moves} | {day for _, day in self.changes}
        days |= set(self.lost)
        days |= {day for day in self.due.days() if day >= self.room.today} if self.due else set()
        return [day for day in sorted(days) if _within(day, frm, until)]

    def rows(self, day: date) -> list[Row]:
        """Return picking and sales first, then moves of the oldest fish (they make room), set-ups, valves, care.

        Moves have the cells of `COLUMNS`; what is no move is one text, without its box.
        """
        moves = self.moves_on(day)
        rows: list[Row] = list(self.due.picking_lines(day) if self.due else ())
        rows += [(TICK, *line.cells) for line in self.lost.get(day, ())]
        rows += [self.move_row(move, first=move is first_into(moves, move.to)) for move in moves]
        rows += self.flow_lines(day)
        return rows + list(self.due.task_lines(day) if self.due else ())

    def moves_on(self, day: date) -> list[Move]:
        """Return the moves of a day in the order in which they are done."""
        return sorted(
            self.moves_by_day.get(day, ()),
            key=lambda m: (m.to is not None, m.from_ is None, self.age_order(m), m.to or "", m.lot),
        )

    def flow_alone(self, day: date) -> dict[tuple[FlowSetting, str], list[str]]:
        """Return the vessels whose valve is turned with no fish going in, by setting and reason."""
        touched = {move.to for move in self.moves_by_day.get(day, ())}
        alone: dict[tuple[FlowSetting, str], list[str]] = defaultdict(list)
        for vessel, setting in self.changes_by_day.get(day, ()):
            if vessel not in touched:
                alone[setting, self.why_flow(vessel, day, setting)].append(vessel)
        return {key: self.in_order(vessels) for key, vessels in sorted(alone.items())}

    def flow_lines(self, day: date) -> list[str]:
        """Return those in words, a line for each setting and reason."""
        return [
            f"set flow to {setting.word}: {ranged(vessels)} ({why})"
            for (setting, why), vessels in self.flow_alone(day).items()
        ]

    def age_order(self, move: Move) -> date:
        """Return the day of hatch: who is older goes first, so that vessels are free when they are filled."""
        life = self.lives.get(move.brood)
        return date.max if life is None else life.hatched

    def in_order(self, vessels: Iterable[str]) -> list[str]:
        """Return names in the order of the room."""
        order = {vessel.name: place for place, vessel in enumerate(self.room.vessels)}
        return sorted(vessels, key=lambda name: order.get(name, -1))

    def move_row(self, move: Move, *, first: bool) -> Row:
        """Return one line of the schedule."""
        came = "new" if move.from_ is None else clean(move.from_)
        goes = "sold" if move.to is None else clean(move.to)
        heads, flow = self.heads_words(move), self.flow_words(move, first=first)
        return (TICK, clean(move.lot), heads, came, goes, flow, self.why(move))

    def heads_words(self, move: Move) -> str:
        """Return how many are moved: `26`, or `34 eggs`."""
        life = self.lives.get(move.brood)
        eggs = life is not None and move.from_ is None and life.is_egg(move.on)
        return f"{move.fish} eggs" if eggs else str(move.fish)

    def flow_words(self, move: Move, *, first: bool) -> str:
        """Return the setting of the vessel that fish go into, and whether the first of them has it set."""
        if move.to is None:
            return ""
        setting = flow_on(self.plan, move.to, move.on)
        word = "" if setting is None or not may_hold_water(self.room, move.to) else setting.word
        return f"set {word}" if first and (move.to, move.on) in self.changes else word

    def why(self, move: Move) -> str:
        """Return the reason for a move in a few words."""
        brood, life = self.room.brood_named.get(move.brood), self.lives.get(move.brood)
        if brood is None or life is None:
            return ""
        if move.to is None:
            return sale_words(self.room, move) or f"ready to sell at {length_words(life.rules.sale_mm.value)}"
        wetted = (
            move.from_ is not None
            and not may_hold_water(self.room, move.from_)
            and may_hold_water(self.room, move.to)
        )
        grown = "the peat is wetted, and they hatch" if wetted else reached(life, move.on)
        reasons = [set_up_words(brood, life) if move.from_ is None else grown]
        asked = [*self.pinned(move), *self.gone(move)]
        return "; ".join([*reasons, *asked, *self.split(move), *self.company(move)])

    def pinned(self, move: Move) -> list[str]:
        """Tell whether the keeper asked for this move: into a vessel, out of one, or on this day."""
        asked_for = {(PinKind.IN, move.to), (PinKind.NOT_IN, move.from_)}
        here = [pin for pin in self.room.pins if pin.brood == move.brood and pin.span.start == move.on]
        if any(pin.kind is PinKind.MOVE_ON or (pin.kind, pin.vessel) in asked_for for pin in here):
            return ["as you pinned it"]
        return []

    def gone(self, move: Move) -> list[str]:
        """Tell whether the vessel that is left will be taken away, or given to a group, before the next chance."""
        vessel = self.room.vessel_named.get(move.from_ or "")
        if vessel is None:
            return []
        name, end = clean(vessel.name), vessel.available.end
        if end is not None and self.last_chance(move.on, end):
            return [f"{name} is gone from {day_words(end)}"]
        for group in self.room.groups:
            start = group.lives_there.start
            if group.vessel == vessel.name and start is not None and self.last_chance(move.on, start):
                return [f"{clean(group.name)} moves into {name} on {day_words(start)}"]
        return []

    def last_chance(self, day: date, end: date) -> bool:
        """Tell whether no later day on which fish are moved would still be in time."""
        later = (day + timedelta(days=n) for n in range(1, (end - day).days + 1))
        return day <= end and not any(self.room.keeper.moves_fish_on(day) for day in later)

    def split(self, move: Move) -> list[str]:
        """Tell whether a brood is shared out over several vessels by this move."""
        if move.from_ is None:
            siblings = {m.to for m in self.plan.moves if self.same_hour(m, move) and m.from_ is None}
            return [f"shared over {in_words(len(siblings))} vessels"] if len(siblings) > 1 else []
        goals = {m.to for m in self.plan.moves if self.same_hour(m, move) and m.from_ == move.from_}
        left = [s for s in self.stays_in[move.from_] if s.brood == move.brood and _there(s, move.on)]
        if left:
            return [f"thinned: the rest stays in {clean(move.from_)}"]
        return [f"split over {in_words(len(goals))} vessels"] if len(goals) > 1 else []

    @staticmethod
    def same_hour(one: Move, other: Move) -> bool:
        """Tell whether two moves carry fish of one brood on one day."""
        return one.on == other.on and one.brood == other.brood

    def company(self, move: Move) -> list[str]:
        """Name the broods that are in the vessel already, and those that go in on the same day."""
        assert move.to is not None  # noqa: S101 - a sale has no company
        here = [s for s in self.stays_in[move.to] if _there(s, move.on) and s.lot != move.lot]
        there = sorted({s.brood for s in here if s.from_ < move.on})
        others = sorted({s.brood for s in here} - set(there) - {move.brood})
        words = []
        if there:
            words.append(f"joins {listed(there)}")
        if others:
            words.append(f"together with {listed(others)}")
        return words

    def why_flow(self, vessel: str, day: date, setting: FlowSetting) -> str:
        """Return the reason for turning a valve with no fish going in."""
        before = [s for (v, on), s in self.changes.items() if v == vessel and on < day]
        if not before:
            return "to start with"
        return "the fish there bear more now" if setting > before[-1] else "calmer for the fish there"


def set_up_words(brood: Brood, life: Life) -> str:
    """Return what is done with a brood on its first day: nothing, where the parents guard it."""
    if life.nursery is None:
        return SET_UP[brood.by]
    laid = "young born" if brood.by is CollectedBy.YOUNG else "eggs laid"
    return f"{laid}: leave them with their parents"


def ticked(text: str) -> str:
    """Return a line across all columns, with its box."""
    return paragraph(f"{TICK}  {text}", hanging="     ")


def first_into(moves: list[Move], vessel: str | None) -> Move:
    """Return the first of a day's moves that goes into a vessel."""
    return next(move for move in moves if move.to == vessel)


def reached(life: Life, day: date) -> str:
    """Return `reached 25 mm (1.0 in), 71 days old`."""
    if life.is_egg(day):
        return "still eggs"
    return f"reached {length_words(life.length_mm(day))}, {age_words(life, day)} old"


def age_words(life: Life, day: date) -> str:
    """Return the age after hatch: `71 days`."""
    return count_of((day - life.hatched).days, "day")


def _these_days(frm: date, until: date | None) -> str:
    if until is None:
        return "from then on"
    return "on these days" if until - frm <= WEEK else "in this time"


def _within(day: date, frm: date | None, until: date | None) -> bool:
    return (frm is None or frm <= day) and (until is None or day < until)


def _there(stay: Stay, day: date) -> bool:
    return stay.from_ <= day < stay.until
