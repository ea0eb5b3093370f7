"""A plan as a workbook: verdict, moves to tick, who lives where, flow, tanks to add, and what has no place."""

from collections.abc import Iterator, Sequence
from hashlib import sha256

from openpyxl import Workbook
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from allocator.plan import FlowChange, Homeless, Move, Plan
from allocator.reports.answers import LEVEL_WORDS, PLAN_SPACE, added_price, verdict_line
from allocator.reports.caution_list import Page, Situation
from allocator.reports.cautions import cautions_for, words
from allocator.reports.moves import Schedule, first_into
from allocator.reports.weights import overload_words
from allocator.reports.words import WEEKDAYS
from allocator.result import Result
from allocator.room import Room, new_vessel_name
from allocator.workbook.cells import Heading, Value, write_table

MARK = "tank space allocator, plan "
"""By this, in a workbook's category, a plan is known to be ours; a fingerprint of its cells follows."""

DONE = "yes"
WHAT = {(True, False): "set up", (False, False): "move", (False, True): "sell", (True, True): "set up"}
"""What is done, by whether fish come from nowhere and go to nowhere."""

Rows = Sequence[Sequence[Value]]


def plan_book(result: Result, warnings: Sequence[str] = ()) -> Workbook:
    """
    Return the whole answer as a workbook.

    Parameters
    ----------
    result
        Plans that the checker has passed.
    warnings
        What was odd in the input, one sentence each.

    Notes
    -----
    Days are dates and counts are numbers. Every text, names of the keeper's included, is a text cell: nothing in
    the workbook is a formula.
    """
    room, plan = result.room, result.best.plan
    book = Workbook()
    first = book.active
    assert isinstance(first, Worksheet)  # noqa: S101 - a new workbook has one sheet
    first.title = "verdict"
    write_table(first, (Heading("what", 24), Heading("answer", 90)), list(_verdict(result, warnings)))
    _moves(book.create_sheet("moves"), room, plan)
    _table(book, "who lives where", STAYS, _stays(room, plan))
    _table(book, "flow", FLOW, [(f.vessel, f.from_, f.setting.word) for f in _by_day(plan)])
    _table(book, "tanks to add", ADD, list(_added(room, plan)))
    _table(book, "without a home", LOST, _lost(room, plan.homeless))
    if plan.added:
        _table(book, "with nothing added", LOST, _lost(room, result.as_it_is.plan.homeless))
    _table(book, "not taken", NOT_TAKEN, _not_taken(room, plan))
    _table(book, "how sure", SURE, _sure(result))
    book.properties.title = "Plan"
    book.properties.creator = "allocator"
    book.properties.category = MARK + fingerprint(book)
    return book


def is_untouched(book: Workbook) -> bool:
    """Tell whether a workbook is a plan that was made here, and nobody has written into it since."""
    return str(book.properties.category) == MARK + fingerprint(book)


def fingerprint(book: Workbook) -> str:
    """Return a fingerprint of what stands in the cells of a workbook, whichever program saved it last."""
    whole = sha256()
    for sheet in book.worksheets:
        whole.update(repr(sheet.title).encode())
        for row in sheet.iter_rows():
            for cell in row:
                if cell.value is not None:
                    whole.update(f"{cell.row} {cell.column} {_plain(cell.value)!r}".encode())
    return whole.hexdigest()[:16]


def _plain(value: object) -> object:
    """Return a value as it is after any program has saved and read it."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    shown = str(value)
    return shown.removesuffix(" 00:00:00").replace("\r", "")


def _table(book: Workbook, title: str, headings: Sequence[Heading], rows: Rows) -> None:
    write_table(book.create_sheet(title), headings, rows)


def _verdict(result: Result, warnings: Sequence[str]) -> Iterator[tuple[str, Value]]:
    room, plan = result.room, result.best.plan
    yield "room", room.name
    yield "the plan begins", room.today
    yield "verdict", " ".join(verdict_line(room, plan, result.remarks).split("\n"))
    yield "verdict is proven", f"Yes. {PLAN_SPACE}" if plan.proven else "No: a better plan may exist."
    yield "checked", "This plan has been checked day by day against all rules."
    yield "fish expected to be sold", sum(move.fish for move in plan.moves if move.to is None)
    if plan.added:
        yield "price of what is added", added_price(room, plan)
    for text in (*result.remarks, *overload_words(room), *warnings, *room.notes):
        yield "please look at", text
    lost = [Situation.HOMELESS] if result.as_it_is.plan.homeless else []
    for caution in cautions_for(Page.PLAN, room, plan, also=lost):
        yield "caution", words(caution, room)


MOVES = (
    Heading("done", 8, "Choose yes when it is done. This column is yours: the tool does not read it."),
    Heading("on", 12),
    Heading("day", 6),
    Heading(
        "what", 8, "set up: eggs or young go into their first vessel. sell: they are long enough to be sold."
    ),
    Heading("lot", 7),
    Heading("brood", 7),
    Heading("line", 7),
    Heading("fish", 8, "As many as the plan expects; eggs, where eggs are set up."),
    Heading("from", 7),
    Heading("to", 7),
    Heading("flow", 7, '"set gentle": turn it to gentle on that day. "gentle" alone: it runs so already.'),
    Heading("why", 20),
    Heading("counted", 9, "Write down how many there really were."),
    Heading("mm", 8, "Mean total length, in millimetres, where you measured it."),
)
STAYS = (
    Heading("vessel", 7),
    Heading("lot", 7, "Or the breeding group."),
    Heading("brood", 7),
    Heading("line", 7),
    Heading("fish", 8, "On the first day; the fish of a breeding group, males and females."),
    Heading("from", 7),
    Heading("until", 12, "The day on which they leave; they are no longer there that night."),
    Heading("days", 8),
)
FLOW = (Heading("vessel", 7), Heading("from", 7), Heading("setting", 7))
ADD = (
    Heading("called here", 16),
    Heading("like", 7),
    Heading("in use from", 12, "The day on which its first fish move in; nothing, where it is not used."),
    Heading("price", 10, "In your own money."),
)
LOST = (
    Heading("brood", 7),
    Heading("line", 7),
    Heading("from", 7),
    Heading("until", 12),
    Heading("fish", 8),
)
NOT_TAKEN = (Heading("brood", 7), Heading("line", 7), Heading("on", 12), Heading("eggs", 8))
SURE = (
    Heading("answer", 18),
    Heading("order", 8, "What counts most comes first."),
    Heading("what counts", 40),
    Heading("reached", 12),
    Heading("best possible", 14, "Empty: not known."),
    Heading("unit", 14),
    Heading("proven", 10),
)


def _moves(sheet: Worksheet, room: Room, plan: Plan) -> None:
    schedule = Schedule(room, plan)
    days = sorted({move.on for move in plan.moves})
    rows = [_move(schedule, move, moves) for moves in map(schedule.moves_on, days) for move in moves]
    write_table(sheet, MOVES, rows)
    if rows:
        tick = DataValidation("list", formula1=f'"{DONE}"', allow_blank=True, showErrorMessage=False)
        column = get_column_letter(1)
        tick.add(f"{column}2:{column}{len(rows) + 1}")
        sheet.add_data_validation(tick)


def _move(schedule: Schedule, move: Move, moves: list[Move]) -> Sequence[Value]:
    flow = schedule.flow_words(move, first=move is first_into(moves, move.to))
    what = WHAT[move.from_ is None, move.to is None]
    who = move.lot, move.brood, _line(schedule.room, move.brood)
    day = WEEKDAYS[move.on.weekday()]
    why = schedule.why(move)
    return None, move.on, day, what, *who, move.fish, move.from_, move.to, flow or None, why, None, None


def _stays(room: Room, plan: Plan) -> Rows:
    """Return a row for each stay, and one for each breeding group, in the order of the vessels."""
    order = {vessel.name: place for place, vessel in enumerate(room.vessels)}
    rows: list[tuple[Value, ...]] = []
    for s in sorted(plan.stays, key=lambda s: (s.from_, s.brood, s.lot)):
        days = (s.until - s.from_).days
        rows.append((s.vessel, s.lot, s.brood, _line(room, s.brood), s.fish, s.from_, s.until, days))
    for group in room.groups:
        span, fish = group.lives_there, group.males + group.females
        if span.end is None or span.end > room.today:
            since = max(span.start or room.today, room.today)
            stay = None if span.end is None else (span.end - since).days
            rows.append((group.vessel, group.name, None, group.line, fish, since, span.end, stay))
    return sorted(rows, key=lambda row: order.get(str(row[0]), -1))


def _by_day(plan: Plan) -> list[FlowChange]:
    return sorted(plan.flow, key=lambda f: (f.from_, f.vessel))


def _added(room: Room, plan: Plan) -> Iterator[Sequence[Value]]:
    prices = room.prices
    for added in plan.added:
        for number in range(1, added.copies + 1):
            name = new_vessel_name(added.like, number)
            first = min((stay.from_ for stay in plan.stays if stay.vessel == name), default=None)
            yield name, added.like, first, prices.get(added.like)


def _lost(room: Room, homeless: Sequence[Homeless]) -> Rows:
    rows = sorted(homeless, key=lambda h: (h.from_, h.brood, h.until))
    return [(h.brood, _line(room, h.brood), h.from_, h.until, h.fish) for h in rows]


def _not_taken(room: Room, plan: Plan) -> Rows:
    rows = sorted(plan.not_taken, key=lambda n: (n.on, n.brood))
    return [(n.brood, _line(room, n.brood), n.on, n.eggs) for n in rows]


def _sure(result: Result) -> Rows:
    answers = [("the plan", result.best)]
    if result.as_it_is != result.best:
        answers = [("with nothing added", result.as_it_is), ("with tanks added", result.best)]
    return [
        (
            title,
            number,
            LEVEL_WORDS.get(level.name, level.name),
            level.value,
            level.bound if level.proven or level.bound > 0 else None,
            level.unit,
            "yes" if level.proven else "no",
        )
        for title, answer in answers
        for number, level in enumerate(answer.levels, 1)
    ]


def _line(room: Room, brood: str) -> str | None:
    known = room.brood_named.get(brood)
    return None if known is None else known.line
