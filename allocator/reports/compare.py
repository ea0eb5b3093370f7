"""Only what is different between the plans of two rooms, under the assumption that made it so."""

from collections.abc import Sequence
from datetime import date

from allocator.plan import Verdict
from allocator.replies.compare import Comparison, Elsewhere, OtherMove, OtherSale, OtherUse, Side, Use
from allocator.reports.answers import MOST_NAMES, figure
from allocator.reports.assumed import assumed_words
from allocator.reports.tables import Column, clean, paragraph, table
from allocator.reports.words import count_of, day_words, joined, listed, money

MOST_ROWS = 20
NO_HOME = "no home"
POINTS = "One point of strain: a tank one percent above comfort for one day, or what is held as bad as that."
CHECKED = "Both plans have been checked day by day against all rules."


def compare_text(reply: Comparison) -> str:
    """Return what is different, part by part, each under the assumption that made it so."""
    heading = f"{assumed_words(reply.assumptions)}, else the same"
    verdicts = _verdicts(reply)
    looks = _looks(reply)
    if reply.same:
        told = f"{heading}: nothing differs. {verdicts[:1].upper()}{verdicts[1:]}"
        return "\n\n".join(part for part in (paragraph(told), looks) if part)
    parts = [
        f"{paragraph(f'{heading}:')}\n{verdicts}",
        looks,
        _counts(reply),
        _part(f"{heading}: collections left out", [_left_out(reply.before, reply.after)]),
        _part(f"{heading}: other homes", [_elsewhere(reply.elsewhere)]),
        _part(f"{heading}: moves before {day_words(reply.moves_until)}", [_moves(reply.moves)]),
        _part(f"{heading}: sales", [_sales(reply.sales)]),
        _part(f"{heading}: tanks in use", [_use(reply.use)]),
        _sure(reply),
    ]
    return "\n\n".join(part for part in parts if part)


def _part(heading: str, texts: Sequence[str]) -> str:
    body = [text for text in texts if text]
    return "\n".join([paragraph(heading), *body]) if body else ""


def _verdicts(reply: Comparison) -> str:
    """Return the answer of each side; one line where it is the same."""
    now, then = (_verdict(side) for side in (reply.before, reply.after))
    if now == then:
        return now if reply.same else paragraph(f"Either way {now}", indent="  ")
    return "\n".join(
        paragraph(f"{word} {text}", indent="  ", hanging="         ")
        for word, text in (("Now:  ", now), ("Then: ", then))
    )


def _verdict(side: Side) -> str:
    if side.verdict is Verdict.FITS:
        return "everything fits."
    if side.verdict is Verdict.NEEDS_MORE_TANKS:
        least = "" if side.least_price else "; less may do"
        return f"needs more tanks: {_added(side)} (price {money(side.price)}{least})."
    names = listed(dict.fromkeys(row.brood for row in side.homeless), most=MOST_NAMES)
    first = min((row.from_ for row in side.homeless), default=None)
    when = f" from {day_words(first)} on" if first is not None else ""
    even = f", even with {_added(side)}" if side.added else ""
    return f"does not fit: no home at some time{when} for {names}{even}."


def _added(side: Side) -> str:
    return joined(
        [f"{a.copies} more like {clean(a.like)}, in use from {day_words(a.from_)}" for a in side.added]
    )


def _looks(reply: Comparison) -> str:
    """Return what is to be looked at on one side only."""
    lines = []
    for word, side, other in (
        ("now", reply.before, reply.after),
        ("then", reply.after, reply.before),
    ):
        lines += [f"{word}: {clean(text)}" for text in side.remarks if text not in other.remarks]
    bullets = [paragraph(text, indent="  - ", hanging="    ") for text in lines]
    return "\n".join(["Please look at", *bullets]) if bullets else ""


def _counts(reply: Comparison) -> str:
    """Return the counts that differ."""
    one, other = reply.before, reply.after
    told = (
        ("price of the tanks to add", money(one.price), money(other.price)),
        (
            "fish-days without a home",
            figure(one.fish_days_without_home),
            figure(other.fish_days_without_home),
        ),
        ("times that fish are moved", str(one.handlings), str(other.handlings)),
        ("points of strain", figure(one.strain), figure(other.strain)),
    )
    rows = [row for row in told if row[1] != row[2]]
    if not rows:
        return ""
    columns = (
        Column("what counts", least=16),
        Column("now", right=True),
        Column("then", right=True),
    )
    notes = []
    if one.strain != other.strain:
        notes.append(paragraph(POINTS, indent="  "))
    return "\n".join([table(columns, rows, indent="  "), *notes])


def _left_out(now: Side, then: Side) -> str:
    """Return which collections are left out on each side, where that differs."""
    if now.not_taken == then.not_taken:
        return ""
    return "\n".join(
        paragraph(f"{word} {listed(side.not_taken) or 'none'}", indent="  ", hanging="         ")
        for word, side in (("Now:  ", now), ("Then: ", then))
    )


def _place(vessels: Sequence[str]) -> str:
    return listed(vessels) if vessels else NO_HOME


def _elsewhere(rows: Sequence[Elsewhere]) -> str:
    columns = (
        Column("brood", least=10),
        Column("from"),
        Column("until"),
        Column("now", least=8),
        Column("then", least=8),
    )
    cells = [
        (clean(row.brood), day_words(row.from_), day_words(row.until), _place(row.before), _place(row.after))
        for row in rows
    ]
    return _shown(columns, cells)


def _moves(rows: Sequence[OtherMove]) -> str:
    columns = (Column("on"), Column("brood", least=10), Column("now", least=12), Column("then", least=12))
    cells = [(day_words(row.on), clean(row.brood), _ways(row.before), _ways(row.after)) for row in rows]
    return _shown(columns, cells)


def _ways(moves: Sequence[tuple[str | None, str | None]]) -> str:
    """Return `box 1 to ten 4`, several joined; `not moved` where there is none."""
    if not moves:
        return "not moved"
    ways = []
    for start, goal in moves:
        assert goal is not None  # noqa: S101 - sales are told by themselves
        ways.append(f"set up in {clean(goal)}" if start is None else f"{clean(start)} to {clean(goal)}")
    return joined(ways)


def _sales(rows: Sequence[OtherSale]) -> str:
    columns = (
        Column("brood", least=10),
        Column("now", least=15),
        Column("then", least=15),
        Column("difference", least=12),
    )
    cells = [(clean(row.brood), _days(row.before), _days(row.after), _shift(row)) for row in rows]
    return _shown(columns, cells)


def _days(days: Sequence[date]) -> str:
    return joined([day_words(day) for day in days])


def _shift(row: OtherSale) -> str:
    """Return `14 days sooner`, and `3 fish fewer` where the number differs too."""
    days = (max(row.after) - max(row.before)).days
    words = [f"{count_of(abs(days), 'day')} {'later' if days > 0 else 'sooner'}"] if days else []
    fish = row.fish_after - row.fish_before
    if fish:
        words.append(f"{abs(fish)} fish {'more' if fish > 0 else 'fewer'}")
    return ", ".join(words) or "other days"


def _use(rows: Sequence[OtherUse]) -> str:
    columns = (
        Column("tanks"),
        Column(""),
        Column("most in use", right=True, least=8),
        Column("first week with all in use", least=15),
        Column("weeks with all in use", right=True, least=8),
        Column("weeks with none in use", right=True, least=8),
    )
    cells = []
    for row in rows:
        for word, use in (("now", row.before), ("then", row.after)):
            cells.append((clean(row.kind) if word == "now" else "", word, *_used(use)))
    return table(columns, cells, indent="  ") if cells else ""


def _used(use: Use | None) -> tuple[str, str, str, str]:
    if use is None:
        return ("none there", "", "", "")
    first = day_words(use.first_tight) if use.first_tight is not None else "never"
    return (f"{use.most} of {use.there}", first, str(use.weeks_tight), str(use.weeks_empty))


def _shown(columns: tuple[Column, ...], cells: Sequence[tuple[str, ...]]) -> str:
    if not cells:
        return ""
    lines = [table(columns, cells[:MOST_ROWS], indent="  ")]
    if len(cells) > MOST_ROWS:
        lines.append(f"  and {len(cells) - MOST_ROWS} more; --json has them all.")
    return "\n".join(lines)


def _sure(reply: Comparison) -> str:
    lines = [CHECKED]
    if not (reply.before.strain_proven and reply.after.strain_proven):
        lines.append(
            "Not everything is proven to be the best that can be: part of a difference can be that one search "
            "found more than the other."
        )
    if reply.before.stopped or reply.after.stopped:
        lines.append("The search was stopped, or its time was up, before it was done.")
    return paragraph(" ".join(lines))
