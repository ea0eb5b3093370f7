"""How many vessels of each kind are in use week by week, when they run short, and what to add."""

from datetime import date
from math import ceil

from allocator.in_use import declared, new_names, weekly_use
from allocator.plan import Plan, Verdict
from allocator.reports.answers import addition_text, as_it_is_text, homeless_table, sure_text, verdict_line
from allocator.reports.caution_list import Page, Situation
from allocator.reports.cautions import cautions_text
from allocator.reports.tables import Column, clean, paragraph, table
from allocator.reports.weights import weights_text
from allocator.reports.words import count_of, day_words
from allocator.result import Result
from allocator.room import Room
from allocator.units import Gallon

LONGEST_BAR = 24
COLUMNS = (Column("weeks", least=24), Column("in use", right=True), Column("", least=LONGEST_BAR))


def tanks_text(result: Result, gallon: Gallon | None = None) -> str:
    """Return, for each kind of vessel as declared, how many are in use week by week, and what is short."""
    answers = []
    if result.best.plan.verdict is not Verdict.FITS:
        answers = [as_it_is_text(result), addition_text(result)]
    verdict = verdict_line(result.room, result.best.plan, result.remarks)
    page = _page(result.room, result.best.plan, verdict, answers, gallon, as_it_is=result.as_it_is.plan)
    return f"{page}\n\n{sure_text(result)}"


def tanks_of_plan_text(
    room: Room, plan: Plan, gallon: Gallon | None = None, *, as_it_is: Plan | None = None
) -> str:
    """Return the same for a plan out of a file, about whose search nothing is known.

    Parameters
    ----------
    room
        With the vessels that the plan adds.
    as_it_is
        What becomes of the broods with nothing added, if it is known.
    """
    answers = [homeless_table(plan)] if plan.homeless else []
    if as_it_is is not None and as_it_is.homeless:
        answers.append(f"With what you have\n{homeless_table(as_it_is)}")
    return _page(room, plan, verdict_line(room, plan), answers, gallon, as_it_is=as_it_is)


def _page(
    room: Room, plan: Plan, verdict: str, answers: list[str], gallon: Gallon | None, *, as_it_is: Plan | None
) -> str:
    parts = [f"Tanks in use, week by week: {clean(room.name)}", verdict, *answers]
    parts += [_kind_text(room, plan, kind) for kind in declared(room)]
    parts.append(
        paragraph(
            "Each figure is for the fullest day of the week. # is a tank in use, . a free one, + one "
            "that is not there "
            "yet. Tanks of breeding groups count as in use."
        )
    )
    lost = [Situation.HOMELESS] if as_it_is is not None and as_it_is.homeless else []
    parts += [weights_text(room, gallon), cautions_text(Page.TANKS, room, plan, also=lost)]
    return "\n\n".join(part for part in parts if part)


def _kind_text(room: Room, plan: Plan, kind: str) -> str:
    vessels = [vessel for vessel in room.vessels if vessel.declared_as == kind]
    new = new_names(plan, kind)
    use = weekly_use(room, plan, vessels)
    most = max((used for _, used, _ in use), default=0)
    there = len([v for v in vessels if v.name not in new])
    title = f"{clean(kind)}: {there} there, at most {most} in use at one time"
    if new:
        title += f", {len(new)} to add"
    scale = max(1, ceil(max(len(vessels), 1) / LONGEST_BAR))
    rows = []
    for first, last, used, ready in _runs(use):
        bar = _bar(used, ready, scale)
        rows.append((_weeks(first, last), f"{used} of {ready}", bar))
    if scale > 1:
        title += f" (each character stands for {scale})"
    return f"{paragraph(title)}\n{table(COLUMNS, rows, indent='  ')}"


def _bar(used: int, ready: int, scale: int) -> str:
    held, short, free = min(used, ready), max(used - ready, 0), max(ready - used, 0)
    return "#" * ceil(held / scale) + "+" * ceil(short / scale) + "." * (free // scale)


def _weeks(first: date, last: date) -> str:
    if first == last:
        return f"{day_words(first)}"
    weeks = (last - first).days // 7 + 1
    return f"{day_words(first)}, {count_of(weeks, 'week')}"


def _runs(use: list[tuple[date, int, int]]) -> list[tuple[date, date, int, int]]:
    """Join weeks in a row with the same figures."""
    runs: list[tuple[date, date, int, int]] = []
    for week, used, ready in use:
        if runs and runs[-1][2:] == (used, ready):
            runs[-1] = (runs[-1][0], week, used, ready)
        else:
            runs.append((week, week, used, ready))
    return runs


def use_at_a_glance(room: Room, plan: Plan) -> str:
    """Return one line for each kind: in use this week, the most in use later, and when that is."""
    rows = []
    for kind in declared(room):
        vessels = [vessel for vessel in room.vessels if vessel.declared_as == kind]
        use = weekly_use(room, plan, vessels)
        week, most, ready = max(use, key=lambda entry: (entry[1], -entry[0].toordinal()))
        now = use[0][1]
        full = f"{most} of {ready}"
        rows.append((clean(kind), str(now), full, f"week of {day_words(week)}" if most > now else "now"))
    columns = (
        Column("tanks"),
        Column("in use this week", right=True, least=8),
        Column("most in use", right=True, least=8),
        Column("first so"),
    )
    return f"Tanks in use\n{table(columns, rows, indent='  ')}" if rows else ""
