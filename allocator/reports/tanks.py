"""How many vessels of each kind are in use week by week, when they run short, and what to add."""

from datetime import date, timedelta
from math import ceil

from allocator.plan import Plan, Verdict
from allocator.reports.answers import addition_text, as_it_is_text, homeless_table, sure_text, verdict_line
from allocator.reports.caution_list import Page, Situation
from allocator.reports.cautions import cautions_text
from allocator.reports.tables import Column, clean, paragraph, table
from allocator.reports.weights import weights_text
from allocator.reports.words import WEEK, count_of, day_words, week_start
from allocator.result import Result
from allocator.room import Room, Vessel, new_vessel_name
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


def declared(room: Room) -> list[str]:
    """Return the names under which vessels are declared, in the order of the room."""
    return list(dict.fromkeys(vessel.declared_as for vessel in room.vessels))


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


def new_names(plan: Plan, kind: str) -> set[str]:
    """Return the names of the vessels of a kind that are not there yet."""
    return {
        new_vessel_name(added.like, number)
        for added in plan.added
        if added.like == kind
        for number in range(1, added.copies + 1)
    }


def weekly_use(room: Room, plan: Plan, vessels: list[Vessel]) -> list[tuple[date, int, int]]:
    """Return (Monday, most in use on a day of that week, how many stand there) until the last fish are sold.

    Vessels that the plan adds are in use but do not stand there.
    """
    end = max((stay.until for stay in plan.stays), default=room.today + WEEK)
    new = {name for vessel in vessels for name in new_names(plan, vessel.declared_as)}
    names = {vessel.name for vessel in vessels}
    spans = [(s.vessel, s.from_, s.until) for s in plan.stays if s.vessel in names]
    weeks, week = [], week_start(room.today)
    while week < end:
        days = [
            max(week, room.today) + timedelta(days=n)
            for n in range((week + WEEK - max(week, room.today)).days)
        ]
        used = max(len(_used(room, spans, names, day)) for day in days)
        ready = max(sum(v.available.holds(day) for v in vessels if v.name not in new) for day in days)
        weeks.append((week, used, ready))
        week += WEEK
    return weeks


def _used(room: Room, spans: list[tuple[str, date, date]], names: set[str], day: date) -> set[str]:
    broods = {vessel for vessel, start, end in spans if start <= day < end}
    return broods | {g.vessel for g in room.groups if g.vessel in names and g.lives_there.holds(day)}


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
