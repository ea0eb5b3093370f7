"""Fish for a date, read out."""

from collections.abc import Iterator

from allocator.replies.fit import Step
from allocator.replies.luck import Chance
from allocator.replies.target import Aim, Already, Earliest, TargetReply, Way
from allocator.reports.refusal import lacking_already, refusal_text, sold_later_text
from allocator.reports.room_lines import to_write
from allocator.reports.tables import Column, clean, paragraph, table
from allocator.reports.words import count_of, day_words, give_or_take, joined, length_words, listed
from allocator.room import CollectedBy

WHAT = {CollectedBy.PICKING: "eggs", CollectedBy.MOP: "eggs in a whole mop", CollectedBy.YOUNG: "young"}
TITLE = {
    Aim.EXPECTED: "As expected",
    Aim.LIKELY: "To be fairly sure",
    Aim.WORST: "Even if they grow slowly and few survive",
}
MOST_MATES = 3
MOST_SOLD = 8
ALREADY = (
    Column("brood"),
    Column("fish", right=True),
    Column("if slow and few", right=True, least=8),
    Column("long enough from", least=15),
    Column("kept"),
)
STEPS = (
    Column("vessel"),
    Column("from", least=15),
    Column("until", least=15),
    Column("fish", right=True),
    Column("how full", least=10),
    Column("with", least=10),
)


def target_text(reply: TargetReply) -> str:
    """Return what is there by the day, what to take when, where it lives, with what chance; or that it is too late."""
    who = f"{reply.fish} fish of {clean(reply.line)} of {length_words(reply.mm)} on {day_words(reply.by)}"
    parts = [paragraph(f"Wanted: {who}"), _already(reply)]
    parts += [_asked(reply, aim) for aim in Aim]
    if not reply.can_be:
        parts.append(_next_room(reply))
    parts.append(to_write(reply))
    parts += lacking_already(reply.added, reply.homeless)
    parts.append("What this takes for granted:\n" + "\n".join(_point(note) for note in _notes(reply)))
    return "\n\n".join(part for part in parts if part)


def _already(reply: TargetReply) -> str:
    if not reply.already:
        return paragraph("Nothing in the room or planned is long enough by then and still to be had.")
    rows = [
        (
            clean(row.brood),
            str(row.fish),
            str(row.fish_low),
            day_words(row.ready),
            _kept(row),
        )
        for row in reply.already
    ]
    return "In the room or planned already:\n" + table(ALREADY, rows, indent="  ")


def _kept(row: Already) -> str:
    if not row.counts:
        return f"not counted: its place is promised to others after {day_words(row.sold)}"
    return f"{count_of(row.kept_days, 'day')} longer than planned" if row.kept_days else "as planned"


def _chance(reply: TargetReply, odds: Chance) -> str:
    error = f" ({give_or_take()} {odds.standard_error * 100:.1f})"
    share = f"{odds.share * 100:.0f} in 100{error}"
    if odds.times == odds.replays:
        share = "more than 99 in 100"
    elif not odds.times:
        share = "less than 1 in 100"
    return paragraph(f"Chance that {reply.fish} or more are there and long enough: {share}.", indent="  ")


def _what(reply: TargetReply) -> str:
    return "young" if reply.born else WHAT[reply.taken]


def _asked(reply: TargetReply, aim: Aim) -> str:
    """Return the answer for one aim."""
    title = TITLE[aim]
    if reply.enough(aim):
        there = reply.there_low if aim is Aim.WORST else reply.there
        what = "nothing more has to be spawned."
        text = what if aim is Aim.LIKELY else f"there are {there}, and {what}"
        return "\n".join([paragraph(f"{title}: {text}"), _chance(reply, reply.odds_already)])
    way = next((way for way in reply.ways if way.aim is aim), None)
    if way is not None:
        return _way(reply, way)
    one = next((one for one in reply.earliest if one.aim is aim), None)
    if one is None:
        return paragraph(f"{title}: not to be had with all eggs that can be taken within a year.")
    return paragraph(f"{title}: too late. {_earliest(reply, one)}")


def _earliest(reply: TargetReply, one: Earliest) -> str:
    what = "with what is there and planned"
    if one.first is not None:
        what = f"with {one.eggs} {_what(reply)} from {day_words(one.first)} on"
    return f"The earliest honest date is {day_words(one.day)}, {what}."


def _next_room(reply: TargetReply) -> str:
    if reply.next_room is None:
        return paragraph("No later day was found, within a year, on which there is room for them either.")
    return paragraph(
        f"The first later day that was found, with a home for all of them in this plan: "
        f"{day_words(reply.next_room)}."
    )


def _way(reply: TargetReply, way: Way) -> str:
    what, last = _what(reply), day_words(way.collections[-1].on)
    several = len(way.collections) > 1
    when = (
        f"in {count_of(len(way.collections), 'collection')}, the last on {last}" if several else f"on {last}"
    )
    lines = [
        paragraph(
            f"{TITLE[way.aim]}: take {way.eggs} {what} {when}. "
            f"{count_of(way.fish, 'fish', 'fish')} in all can be expected on the day."
        ),
        _chance(reply, way.odds),
    ]
    if way.homes:
        homes = {home.brood: home.steps for home in way.homes}
        for row in way.collections:
            lines.append(f"  {day_words(row.on)}: {row.eggs} {what} ({clean(row.brood)})")
            lines.append(table(STEPS, [_step(step) for step in homes[row.brood]], indent="    "))
        if way.sold_later:
            lines.append(sold_later_text(way.sold_later, "  "))
        if way.collections[-1].on < way.latest:
            text = f"With room to grow, {day_words(way.latest)} would do as the last day, but not here:"
            lines.append(paragraph(text, indent="  "))
            lines.append(refusal_text(way.refusals[0], "  "))
    else:
        if several:
            rows = [f"{row.eggs} on {day_words(row.on)}" for row in way.collections]
            lines.append(paragraph(f"That is {joined(rows)}.", indent="  "))
        lines.append("  There is no room for all of them, with nobody else moved.")
        lines.append(refusal_text(way.refusals[0], "  "))
    return "\n".join(lines)


def _step(step: Step) -> tuple[str, ...]:
    first, last = step.full_at_first, step.full_at_last
    return (
        clean(step.vessel),
        day_words(step.from_),
        day_words(step.until),
        str(step.fish),
        f"{first} %" if first == last else f"{first} to {last} %",
        listed(step.mates, most=MOST_MATES) or "nobody",
    )


def _point(note: str) -> str:
    return paragraph(note, indent="  - ", hanging="    ")


def _notes(reply: TargetReply) -> Iterator[str]:
    if reply.leaves > reply.by:
        yield (
            f"The fish are wanted on {day_words(reply.by)}; you move fish again on {day_words(reply.leaves)}, "
            "and their vessels are kept for them until then."
        )
    else:
        yield f"The fish stay in their vessels until {day_words(reply.by)}."
    if reply.sold:
        yield (
            f"{listed(reply.sold, most=MOST_SOLD)}: their time to find buyers is over by then, and they are taken "
            "to be sold. What you keep back of them comes on top."
        )
    if reply.promised:
        are = "is" if len(reply.promised) == 1 else "are"
        yield f"{listed(reply.promised, most=MOST_SOLD)} {are} promised for an order, and not counted."
    if not reply.groups:
        yield f"No breeding group of {clean(reply.line)} is in the room file: eggs come from elsewhere, on any day."
    elif reply.usual is not None:
        yield (
            f"One collection gives {reply.usual} {_what(reply)}, and "
            f"{joined([clean(name) for name in reply.groups])} can give as many again "
            f"{count_of(reply.apart_days, 'day')} later, by the lowest figure of the rule pack."
        )
    yield (
        "The chance draws hatching, deaths, the day of hatch and the pace of growth anew 2,000 times: half of the "
        "broods below the expected figure of the pack and half above, none beyond its ends (judgement). "
        f"{give_or_take()} is the standard error. Adults that do not lay are not in it, nor is illness."
    )
    yield (
        "As expected is the middle and no more: about half of all broods grow more slowly, and about half lose more."
    )
    yield (
        f"Fairly sure is {reply.likely * 100:.0f} times in 100, with the fewest eggs, from the last day on which nine "
        "broods in ten are long enough in time. There may then be more fish than are wanted: have a home for them."
    )
