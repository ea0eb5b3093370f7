"""The move sheet: what to do week by week, with room to write down what was really counted and measured."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

from allocator.plan import Move, Plan, Verdict
from allocator.reports.answers import verdict_line
from allocator.reports.caution_list import Page
from allocator.reports.cautions import cautions_for, cautions_text, words
from allocator.reports.due import Due
from allocator.reports.moves import TICK, Schedule, first_into, ticked
from allocator.reports.tables import Column, clean, grouped_table, paragraph
from allocator.reports.where import fish_left
from allocator.reports.words import count_of, day_words, week_start
from allocator.room import Room

NOTHING = "Nothing to do on these days."
HOW_TO = (
    'Flow: "set gentle" means turn it to gentle on that day; "gentle" alone means it runs so already. Fish and '
    "lengths are what the plan expects: measure a few first, and wait if they are behind. Write what you counted "
    "and measured into the room file, and plan again."
)
BLANK = "______"
COLUMNS = (
    Column("", least=len(TICK)),
    Column("lot"),
    Column("fish", right=True, least=4),
    Column("out of"),
    Column("into"),
    Column("flow", least=7),
    Column("counted", least=len("counted")),
    Column("mm", least=len(BLANK)),
)


@dataclass(frozen=True)
class MoveLine:
    """One line of the sheet.

    `left` and `then` are how many stay in the one tank, and are in the other, once the day's moves are done; None
    where there is no such tank.
    """

    lot: str
    fish: str
    out_of: str
    left: int | None
    into: str
    then: int | None
    flow: str
    why: str

    @property
    def heads(self) -> str:
        """How many, and of what: `26 fish`, `34 eggs`."""
        return count_of(int(self.fish), "fish", "fish") if self.fish.isdigit() else self.fish

    @property
    def left_words(self) -> str:
        """How many stay behind, in words; empty where there is no such tank."""
        return "" if self.left is None else f"{self.left or 'none'} {'stays' if self.left == 1 else 'stay'}"

    @property
    def then_words(self) -> str:
        """How many are in the other tank then, in words; empty where there is no such tank."""
        return "" if self.then is None else f"then {self.then}"

    @property
    def note(self) -> str:
        """Why the fish are moved, and what should then be in both tanks."""
        parts = [self.why] if self.why else []
        parts += [f"{self.left_words} in {self.out_of}"] if self.left_words else []
        parts += [f"{self.then_words} in {self.into}"] if self.then_words else []
        return "; ".join(parts)


@dataclass(frozen=True)
class SheetDay:
    """A day: what comes before the moves, the moves, and what comes after them."""

    day: date
    before: tuple[str, ...]
    moves: tuple[MoveLine, ...]
    after: tuple[str, ...]

    @property
    def title(self) -> str:
        """The day in words."""
        return day_words(self.day)


@dataclass(frozen=True)
class Sheet:
    """Everything that stands on the sheet, in words.

    Attributes
    ----------
    room, days, made
        Which room, which days, and the day of the plan.
    alert
        That not all fish have a home, if it is so.
    going_on
        Care that began before the first day.
    weeks
        The Monday in words, and the days of that week with something to do.
    """

    room: str
    days: str
    made: str
    alert: str
    going_on: tuple[str, ...]
    weeks: tuple[tuple[str, tuple[SheetDay, ...]], ...]
    cautions: tuple[str, ...]


def sheet_of(room: Room, plan: Plan, frm: date, until: date, *, care: bool = True) -> Sheet:
    """Return the sheet from one day (included) until another (excluded).

    Parameters
    ----------
    room
        With the vessels that the plan adds.
    frm
        Today or later.
    care
        With the care of the fish.
    """
    due = Due(room, plan) if care else None
    schedule = Schedule(room, plan, due)
    weeks: dict[date, list[SheetDay]] = {}
    for day in schedule.busy_days(frm, until):
        weeks.setdefault(week_start(day), []).append(_day(schedule, day))
    cautions = cautions_for(Page.MOVES, room, plan, frm, until) if weeks else []
    return Sheet(
        room=clean(room.name),
        days=f"{'Moves and care' if care else 'Moves'} from {day_words(frm)}, before {day_words(until)}",
        made=f"Plan of {day_words(room.today)}. A later plan takes the place of this sheet.",
        alert=verdict_line(room, plan) if plan.verdict is Verdict.DOES_NOT_FIT else "",
        going_on=tuple(due.going_on_lines(frm)) if due else (),
        weeks=tuple((f"Week of {day_words(monday)}", tuple(days)) for monday, days in weeks.items()),
        cautions=tuple(words(caution, room) for caution in cautions),
    )


def sheet_text(room: Room, plan: Plan, frm: date, until: date, *, care: bool = True) -> str:
    """Return the sheet for a terminal, 80 columns wide; see `sheet_of`."""
    sheet = sheet_of(room, plan, frm, until, care=care)
    groups: list[tuple[str, Sequence[Sequence[str] | str]]] = []
    for week, days in sheet.weeks:
        for day in days:
            title = f"  {day.title}"
            groups.append((f"\n{week}\n{title}" if day is days[0] else title, _rows(day)))
    body = grouped_table(COLUMNS, groups).removeprefix("\n") if groups else NOTHING
    going_on = [f"Under way on {day_words(frm)}", *map(bullet, sheet.going_on)] if sheet.going_on else []
    parts = [
        paragraph(f"{sheet.days}: {sheet.room}"),
        paragraph(sheet.made),
        sheet.alert,
        "\n".join(going_on),
        body,
        paragraph(HOW_TO) if groups else "",
        cautions_text(Page.MOVES, room, plan, frm, until) if groups else "",
    ]
    return "\n\n".join(part for part in parts if part)


def bullet(text: str) -> str:
    """Return one point of a list."""
    return paragraph(text, indent="  - ", hanging="    ")


def _rows(day: SheetDay) -> list[Sequence[str] | str]:
    rows: list[Sequence[str] | str] = [ticked(line) for line in day.before]
    for move in day.moves:
        rows.append((TICK, move.lot, move.fish, move.out_of, move.into, move.flow, BLANK, BLANK))
        rows.append(paragraph(move.note, indent=" " * (len(TICK) + 2)))
    return [*rows, *(ticked(line) for line in day.after)]


def _day(schedule: Schedule, day: date) -> SheetDay:
    due, moves = schedule.due, schedule.moves_on(day)
    lines = [
        MoveLine(clean(row.brood), row.fish, row.came, None, row.to, None, "", row.why)
        for row in schedule.lost.get(day, ())
    ]
    lines += [move_line(schedule, move, first=move is first_into(moves, move.to)) for move in moves]
    after = [*schedule.flow_lines(day), *(due.task_lines(day) if due else ())]
    return SheetDay(day, tuple(due.picking_lines(day) if due else ()), tuple(lines), tuple(after))


def move_line(schedule: Schedule, move: Move, *, first: bool) -> MoveLine:
    """Return a move in words; `first` of its day into its vessel."""
    came = "new" if move.from_ is None else clean(move.from_)
    goes = "sold" if move.to is None else clean(move.to)
    left = None if move.from_ is None else _left(schedule, move, move.from_)
    then = None if move.to is None else _there(schedule, move.to, move.on)
    flow = schedule.flow_words(move, first=first)
    return MoveLine(
        clean(move.lot), schedule.heads_words(move), came, left, goes, then, flow, schedule.why(move)
    )


def _left(schedule: Schedule, move: Move, vessel: str) -> int:
    """Return how many stay behind, without those that came in on the same day."""
    came_in = [(m.lot, m.brood) for m in schedule.plan.moves if m.on == move.on and m.to == vessel]
    return _there(schedule, vessel, move.on, came_in)


def _there(schedule: Schedule, vessel: str, day: date, without: Collection[tuple[str, str]] = ()) -> int:
    """Return how many fish are in a vessel once the moves of a day are done, without those of some lots."""
    return round(
        sum(
            fish_left(stay, schedule.lives[stay.brood], day)
            for stay in schedule.stays_in[vessel]
            if stay.from_ <= day < stay.until
            and stay.brood in schedule.lives
            and (stay.lot, stay.brood) not in without
        )
    )
