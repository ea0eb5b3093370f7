"""The whole answer on one page: verdict, both answers, this week's work, moves, homes, sales, proof."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, timedelta

from allocator.in_use import declared, new_names
from allocator.plan import Move, Plan, Verdict
from allocator.reports.answers import addition_text, as_it_is_text, sure_text, verdict_line
from allocator.reports.caution_list import Page, Situation
from allocator.reports.cautions import cautions_text
from allocator.reports.hours import hours_line
from allocator.reports.lost import NO_HOME
from allocator.reports.moves import count_words, work_text
from allocator.reports.not_taken import NOT_TAKEN, not_taken_text
from allocator.reports.orders import orders_text
from allocator.reports.tables import Column, clean, paragraph, table
from allocator.reports.tanks import use_at_a_glance
from allocator.reports.weights import overload_words, weights_text
from allocator.reports.where import LotThere, groups_in, lots_by_vessel
from allocator.reports.words import WEEK, count_of, day_words, listed, month_words, ranged
from allocator.result import Result
from allocator.room import Room, Vessel
from allocator.units import Gallon

WEEKS_SHOWN = 8


def plan_text(
    result: Result, warnings: Sequence[str] = (), gallon: Gallon | None = None, *, every_move: bool = False
) -> str:
    """Return the whole answer as plain text.

    Parameters
    ----------
    result
        Plans that the checker has passed.
    warnings
        What was odd in the input, one sentence each.
    gallon
        Which gallon to print beside the litres; None prints the US one and says so.
    every_move
        Print all moves and not only those of the next eight weeks.
    """
    room, plan = result.room, result.best.plan
    parts = [verdict_line(room, plan, result.remarks)]
    looks = (*result.remarks, *overload_words(room), *warnings, *room.notes)
    if looks:
        parts.append("\n".join(["Please look at", *(_bullet(clean(text)) for text in looks)]))
    if plan.verdict is not Verdict.FITS:
        parts += [as_it_is_text(result), addition_text(result)]
    parts.append(not_taken_text(room, plan, result.as_it_is.plan))
    parts.append(orders_text(room, plan))
    parts += [_this_week(room, plan), _later(room, plan, every_move=every_move), _homes(room, plan)]
    parts += [use_at_a_glance(room, plan), _sales(room, plan), hours_line(room, plan)]
    parts.append(sure_text(result))
    parts.append(weights_text(room, gallon))
    lost = [Situation.HOMELESS] if result.as_it_is.plan.homeless else []
    parts.append(cautions_text(Page.PLAN, room, plan, also=lost))
    return "\n\n".join(part for part in parts if part)


def _bullet(text: str) -> str:
    return paragraph(text, indent="  - ", hanging="    ")


def _to_do(moves: list[Move], rows: str) -> str:
    """Return `3 moves and 1 sale`; where rows are printed all the same, fish have no home, or flow is to be set."""
    if not moves and NO_HOME in rows:
        return "no fish to move, but some without a home"
    if not moves and NOT_TAKEN in rows:
        return "no fish to move, but a collection to leave out"
    if not moves and rows:
        return "no fish to move, only flow to set"
    return count_words(moves)


def _this_week(room: Room, plan: Plan) -> str:
    rows = work_text(room, plan, room.today, room.today + WEEK)
    return "\n".join(part for part in (this_week_words(room, plan, rows), rows) if part)


def this_week_words(room: Room, plan: Plan, rows: str) -> str:
    """Return `This week, Fri 8 Jan 2027 to Thu 14 Jan 2027: 1 move`; `rows` are those of `work_text`."""
    until = room.today + WEEK
    moves = [move for move in plan.moves if room.today <= move.on < until]
    span = f"{day_words(room.today)} to {day_words(until - timedelta(days=1))}"
    return f"This week, {span}: {_to_do(moves, rows)}"


def list_ends(room: Room) -> date:
    """Return the first day whose moves are not on the list of the coming weeks: from there on a plan is a draft."""
    return room.today + WEEK + WEEKS_SHOWN * WEEK


def _later(room: Room, plan: Plan, *, every_move: bool) -> str:
    start = room.today + WEEK
    until = None if every_move else start + WEEKS_SHOWN * WEEK
    coming = [move for move in plan.moves if move.on >= start]
    lost = any(row.from_ >= start for row in plan.homeless) or any(row.on >= start for row in plan.not_taken)
    shown = [move for move in coming if until is None or move.on < until]
    if not coming and not lost:
        return "After that: nothing more to move."
    span = "After that" if until is None else f"The {WEEKS_SHOWN} weeks after that"
    rows = work_text(room, plan, start, until)
    lines = [f"{span}: {_to_do(shown, rows)}", rows]
    if len(shown) < len(coming):
        last = max(move.on for move in coming)
        more = f"{len(coming) - len(shown)} more until {day_words(last)}; the moves command shows them all."
        lines.append(f"\n  {more}")
    return "\n".join(line for line in lines if line)


def _homes(room: Room, plan: Plan) -> str:
    """Return one line a vessel: who is there today, and who after this week's moves."""
    later = room.today + WEEK - timedelta(days=1)
    today_lots, later_lots = (lots_by_vessel(room, plan, day) for day in (room.today, later))
    new = {name for kind in declared(room) for name in new_names(plan, kind)}
    rows, empty, away = [], [], []
    for vessel in room.vessels:
        now = _lots(room, vessel, room.today, today_lots)
        then = _lots(room, vessel, later, later_lots)
        if now or then:
            rows.append((clean(vessel.name), now or "empty", "the same" if now == then else then or "empty"))
        elif vessel.name in new:
            continue
        elif any(vessel.available.holds(room.today + timedelta(days=n)) for n in range(WEEK.days)):
            empty.append(vessel.name)
        else:
            away.append(vessel.name)
    if not rows:
        return ""
    columns = (Column("vessel"), Column("today", least=16), Column(f"after {day_words(later)}", least=16))
    lines = ["Who lives where (fish or eggs in brackets)", table(columns, rows, indent="  ")]
    if empty:
        lines.append(paragraph(f"Empty all week: {ranged(empty)}.", indent="  "))
    if away:
        lines.append(paragraph(f"Not there all week: {ranged(away)}.", indent="  "))
    return "\n".join(lines)


def _lots(room: Room, vessel: Vessel, day: date, lots: dict[str, list[LotThere]]) -> str:
    groups = [clean(group.name) for group in groups_in(room, vessel, day)]
    return ", ".join(
        [*groups, *(f"{clean(lot.stay.lot)} ({lot.fish:.0f})" for lot in lots.get(vessel.name, []))]
    )


def _sales(room: Room, plan: Plan) -> str:
    """Return the expected sales by month and line."""
    months: dict[tuple[date, str], list[tuple[str, int]]] = defaultdict(list)
    for move in plan.moves:
        if move.to is None:
            month = move.on.replace(day=1)
            months[month, room.brood_named[move.brood].line].append((move.brood, move.fish))
    if not months:
        return ""
    rows = [
        (month_words(month), clean(line), str(sum(n for _, n in sold)), listed(sorted({b for b, _ in sold})))
        for (month, line), sold in sorted(months.items())
    ]
    total = sum(n for sold in months.values() for _, n in sold)
    columns = (
        Column("month", least=8),
        Column("line"),
        Column("fish", right=True),
        Column("broods", least=12),
    )
    title = f"Expected sales: {count_of(total, 'fish', 'fish')}"
    return f"{title}\n{table(columns, rows, indent='  ')}"
