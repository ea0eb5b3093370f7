"""What a room can sustain, in words: broods a month by line and mixed, the bottleneck, what one more of each buys."""

from collections.abc import Iterator

from allocator.replies.pace import MONTH_DAYS, PaceReply, Sustained, Unplanned, VesselsPace
from allocator.reports.tables import Column, clean, paragraph, table
from allocator.reports.words import count_of, joined, listed

LINES = (
    Column("line"),
    Column("found", right=True),
    Column("one every", right=True),
    Column("at most, evenly", right=True),
    Column("at most", right=True),
    Column("bottleneck", least=12),
)
VESSELS = (
    Column("vessels", least=8),
    Column("there", right=True),
    Column("in use", right=True),
    Column("fullest day", right=True),
    Column("one more: found", right=True),
    Column("at most", right=True),
)
STAGES = (
    Column("stage", least=8),
    Column("in", least=8),
    Column("days each", right=True),
    Column("broods there", right=True),
    Column("by Little's law", right=True),
)

MEANING = (
    "Found is the pace of a plan that was made and checked day by day, by the same rules as any other plan here. "
    "At most is what no plan can go beyond: evenly spread collections (some day would be too full), and collections on "
    "any days (Little's law). What lies between is not known."
)
A_TENTH = 0.1
TOO_FEW = 0.05
"""Broods in a stage on average that would be printed as none."""

NO_LUCK = (
    "What chance would do to unplanned spawns is not told: the vessels in which broods begin hold older ones too, or "
    "parents."
)

FOR_EVER = (
    "For ever means: the fish that are here now, days away, pins and tanks that you could add are left out, breeding "
    "groups keep their tanks, collections come evenly spread, every collection is reared and sold as soon as it is "
    "long enough. The plan is a long run and not endless: that it goes on like this is likely, not proven."
)
LUCK = (
    "That is Erlang's loss formula. It takes for granted that no spawn knows of another, that none waits, and that no "
    "two broods share. You choose your days and can leave a spawn out, so this is the dark side of it."
)


def pace_text(reply: PaceReply) -> str:
    """Return the whole answer."""
    rows = [*reply.each, *([reply.mixed] if reply.mixed is not None else [])]
    focus = _focus(reply)
    parts = [f"What this room can sustain: {clean(reply.room)}", *_verdicts(reply)]
    parts.append("Broods a month, for ever\n" + table(LINES, [_row(row) for row in rows], indent="  "))
    parts += [_lacking(row) for row in rows if row.lacking is not None]
    parts += [paragraph(MEANING), _collected(reply), *_one_more(reply, focus), *_little(focus)]
    parts += [_luck(focus, chance) for chance in focus.unplanned]
    if focus.unplanned:
        parts.append(paragraph(LUCK))
    elif focus.run is not None:
        parts.append(paragraph(NO_LUCK))
    if reply.mixed is not None:
        parts.append(paragraph("What one more of each buys for one line alone: give --line and its name."))
    parts.append(paragraph(FOR_EVER))
    return "\n\n".join(parts)


def _focus(reply: PaceReply) -> Sustained:
    """Return what is told at length: all lines mixed, else the first that the room has vessels for."""
    return reply.mixed or next((row for row in reply.each if row.lacking is None), reply.each[0])


def _name(row: Sustained) -> str:
    return clean(row.collected[0].line) if len(row.collected) == 1 else "mixed"


def _verdicts(reply: PaceReply) -> Iterator[str]:
    """Yield the answer in a sentence or two."""
    focus = _focus(reply)
    whom = f"all lines mixed ({_shares(focus)})" if reply.mixed is not None else f"line {_name(focus)} alone"
    if focus.lacking is not None:
        yield paragraph("Nothing for ever: there is a stage for which the room has no vessel.")
    elif focus.found is None:
        yet = " yet, before the search was ended," if reply.stopped else ""
        yield paragraph(f"No pace was found{yet} that this room keeps up for ever, {whom}.")
    else:
        every = _days(focus.period_days / focus.count)
        found = paragraph(
            f"{_pace(focus.found)} broods a month for ever, one every {every}, {whom}."
            + (" Evenly spread, no more is possible: proven." if focus.proven else "")
        )
        yield found
        if focus.bottleneck is not None:
            where = f"{clean(focus.bottleneck.stage)}, in {clean(focus.bottleneck.vessels)}"
            yield paragraph(f"The bottleneck is {where}: {focus.bottleneck.seen.value}.")
    if focus.binding and focus.found is not None:
        yield paragraph(
            f"On whatever days they come, no plan goes beyond {_pace(focus.at_most)} a month: that is set by "
            f"{_set_by(focus)}."
        )
    if reply.stopped:
        what = "of what one more tank buys " if focus.proven else ""
        yield paragraph(f"The search was ended early: more {what}may be found, with more time.")


def _set_by(row: Sustained) -> str:
    """Return which stages set the bound, those with more than a tenth of it."""
    told = [part for part in row.binding if part.part >= A_TENTH] or list(row.binding[:1])
    return joined([f"{clean(part.stage)} in {clean(part.vessels)}" for part in told])


def _shares(row: Sustained) -> str:
    return joined([f"{clean(part.line)} {part.share:.0%}" for part in row.collected])


def _row(row: Sustained) -> list[str]:
    found = "none" if row.found is None else _pace(row.found)
    every = "" if row.found is None else _days(row.period_days / row.count)
    neck = row.bottleneck
    where = f"{clean(neck.stage)} ({clean(neck.vessels)})" if neck is not None else ""
    evenly = f"{_pace(row.at_most_evenly)}{' (proven)' if row.proven and row.found is not None else ''}"
    return [_name(row), found, every, evenly, _pace(row.at_most), where]


def _lacking(row: Sustained) -> str:
    assert row.lacking is not None  # noqa: S101 - asked only where it is there
    line, stage = clean(row.lacking.line), clean(row.lacking.stage)
    return paragraph(
        f"There is no vessel in which {line} could live in the stage {stage}, on some day of it."
    )


def _collected(reply: PaceReply) -> str:
    said = [
        f"{clean(row.collected[0].line)} {row.collected[0].eggs} eggs ({row.collected[0].why})"
        for row in reply.each
    ]
    return paragraph(f"A collection is taken to be: {joined(said)}.")


def _one_more(reply: PaceReply, focus: Sustained) -> Iterator[str]:
    if not focus.vessels or focus.lacking is not None:
        return
    title = "The vessels, and what one more of each buys"
    title += f" ({_name(focus)})" if len(reply.each) > 1 else ""
    yield f"{title}\n" + table(VESSELS, [_vessels(focus, row) for row in focus.vessels], indent="  ")


def _vessels(focus: Sustained, row: VesselsPace) -> list[str]:
    found = "not looked for"
    if row.one_more_found is not None:
        found = _gain(row.one_more_found, focus.found or 0.0) if row.one_more_found else "none"
    return [
        clean(row.vessels),
        str(row.copies),
        "" if row.mean_in_use is None else f"{row.mean_in_use:.1f}",
        "" if row.most_in_use is None else str(row.most_in_use),
        found,
        _gain(row.one_more_at_most, focus.at_most),
    ]


def _little(focus: Sustained) -> Iterator[str]:
    run = focus.run
    if run is None:
        return
    rows = [
        [
            clean(use.stage),
            clean(use.vessels),
            f"{use.days_each:.1f}",
            f"{use.broods_mean:.1f}",
            f"{run.a_day * use.days_each:.1f}",
        ]
        for use in run.stages
        if use.broods_mean >= TOO_FEW
    ]
    total = run.a_day * run.days_each
    rows.append(["all", "", f"{run.days_each:.1f}", f"{run.broods_mean:.1f}", f"{total:.1f}"])
    yield (
        "Little's law, held against the plan\n"
        + table(STAGES, rows, indent="  ")
        + "\n\n"
        + paragraph(
            f"The plan takes {count_of(run.broods, 'collection')} in {run.days} days; the room had filled up by the "
            f"last {run.measured_days} of them, which are counted here: {run.a_day * MONTH_DAYS:.2f} broods a month "
            f"times the days of each are the broods that are there on average."
        )
    )


def _luck(focus: Sustained, chance: Unplanned) -> str:
    whose = f" of {listed(chance.lines)}" if len(chance.lines) < len(focus.collected) else ""
    all_taken = f"all {chance.copies} taken" if chance.copies > 1 else "it taken"
    return paragraph(
        f"If spawns{whose} came unplanned at the pace found, each with a {clean(chance.vessels)} of its own for "
        f"{chance.days_each:.0f} days, {_in_hundred(chance.turned_away)} would find {all_taken}. At "
        f"{_pace(chance.pace_for_one_in_twenty)} a month it would be one in twenty."
    )


def _in_hundred(share: float) -> str:
    number = round(share * 100)
    return f"{number} in a hundred" if number else "fewer than one in a hundred"


def _gain(now: float, before: float) -> str:
    return f"{_pace(now)} ({max(now - before, 0.0):+.1f})"


def _pace(a_month: float) -> str:
    return f"{a_month:.1f}" if a_month == 0 or a_month >= 0.1 else f"{a_month:.2f}"  # noqa: PLR2004 - as far as it is read


def _days(days: float) -> str:
    words = f"{days:.1f}".removesuffix(".0")
    return f"{words} day" if words == "1" else f"{words} days"
