"""Whether a pair can be started, read out."""

from collections.abc import Sequence

from allocator.plan import Added, Verdict
from allocator.replies.compare import Elsewhere
from allocator.replies.pair import LeftOut, PairReply, PairWay
from allocator.reports.refusal import refusal_text, sold_later_text
from allocator.reports.tables import Column, clean, paragraph, table
from allocator.reports.words import count_of, day_words, joined, listed, money, week_start
from allocator.room import CollectedBy

WAYS = {
    CollectedBy.PICKING: "eggs picked",
    CollectedBy.MOP: "whole mop",
    CollectedBy.YOUNG: "young taken",
}
LEAVE_OUT = {
    CollectedBy.PICKING: "do not collect",
    CollectedBy.MOP: "leave the mop out",
    CollectedBy.YOUNG: "do not take the young",
}
STRAIN = (
    "A point of strain: a tank one percent above comfort for one day, or what is held as bad as that. Crowded fish "
    "leave no room for what goes wrong: `allocator luck` says how often a plan holds."
)
MOST_WEEKS = 12
MOST_DISPLACED = 8
MOST_NAMES = 6


def pair_text(reply: PairReply) -> str:
    """Return the answer first, then each way to take the eggs, then what it takes and why."""
    parts = [_asked(reply), _answer(reply), _table(reply)]
    parts += [_way(way, reply) for way in reply.ways]
    return "\n\n".join(part for part in parts if part)


def _asked(reply: PairReply) -> str:
    pair, way = reply.pair, reply.ways[0]
    fish = joined([count_of(n, word) for n, word in ((pair.males, "male"), (pair.females, "female")) if n])
    since = f" from {day_words(pair.lives_there.start)} on" if pair.lives_there.start else ""
    every = f", one every {count_of(reply.every_days, 'day')}" if len(way.collections) > 1 else ""
    first, last = day_words(way.collections[0]), day_words(way.collections[-1])
    days = f"on {first}" if first == last else f"from {first} to {last}"
    return paragraph(
        f"Can this pair be started? {clean(pair.line)}, {fish}, in {clean(pair.vessel)}{since}; "
        f"{count_of(len(way.collections), 'collection')} of {way.eggs}{every}, {days}."
    )


def _answer(reply: PairReply) -> str:
    lines = []
    if reply.own_vessel_new:
        lines.append(
            paragraph(
                "No tank for breeding is free for the pair itself. This is how it would be if you added "
                f"{clean(reply.pair.vessel)} for it:"
            )
        )
    lines.append(paragraph(_verdict(reply)))
    if reply.own_vessel_taken:
        lines.append(
            paragraph(
                f"In your plan {clean(reply.pair.vessel)} is taken then, by "
                f"{listed(reply.own_vessel_taken, most=MOST_NAMES)}: without moving them there is no room for the pair."
            )
        )
    if reply.own_vessel_for:
        lines.append(
            paragraph(
                f"{clean(reply.pair.vessel)} is not for breeding in your room file, but for "
                f"{joined(list(reply.own_vessel_for))}: whether grown fish can live in it is not looked at here."
            )
        )
    if reply.short_already:
        lines.append(
            paragraph("Your room needs more tanks even without the pair: they are counted here as there.")
        )
    return "\n".join(lines)


def _verdict(reply: PairReply) -> str:
    for way in reply.ways:
        if way.nobody_moved is not None and not way.nobody_moved.left_out:
            return f"Yes, and nobody else has to move ({WAYS[way.by]})."
    for way in reply.ways:
        others = way.others_moved
        if others is not None and others.verdict is Verdict.FITS and not others.left_out:
            return f"Yes, if others are moved ({WAYS[way.by]})."
    most = max(
        ((_most_taken(way), way) for way in reply.ways), key=lambda one: one[0], default=(0, reply.ways[0])
    )
    if most[0]:
        asked = len(most[1].collections)
        find = "finds" if most[0] == 1 else "find"
        return f"No; but {most[0]} of the {asked} collections {find} room ({WAYS[most[1].by]})."
    return "No, not one of its collections finds room."


def _most_taken(way: PairWay) -> int:
    found = [way.nobody_moved.taken if way.nobody_moved else 0]
    found += [way.others_moved.taken if way.others_moved else 0]
    return max(found)


def _table(reply: PairReply) -> str:
    columns = (Column("", least=22), *(Column(WAYS[way.by], least=14) for way in reply.ways))
    rows = [
        ("with nobody else moved", *(_nobody(way) for way in reply.ways)),
        ("with others moved too", *(_others(way) for way in reply.ways)),
        ("all of them, with", *(_needs(way, reply) for way in reply.ways)),
        ("all, nobody moved, from a start on", *(_earliest(way) for way in reply.ways)),
        (f"points of strain ({reply.strain_now} now)", *(_strain(way) for way in reply.ways)),
    ]
    return "\n".join([table(columns, rows, indent="  "), paragraph(STRAIN, indent="  ")])


def _strain(way: PairWay) -> str:
    """Return the strain with those that find room, and with all where that takes an addition."""
    others = way.others_moved
    some = "" if way.strain is None else f"{way.strain}"
    if others is None or others.strain is None or not others.added:
        return some or "-"
    return f"{some}; {others.strain} with all".removeprefix("; ")


def _nobody(way: PairWay) -> str:
    return _of(way.nobody_moved.taken if way.nobody_moved else 0, way)


def _others(way: PairWay) -> str:
    if way.others_moved is None:
        return _of(0, way) if _never(way) else "not looked at"
    sure = "" if way.others_moved.proven else " or more"
    return _of(way.others_moved.taken, way) + sure


def _of(taken: int, way: PairWay) -> str:
    return "all" if taken == len(way.collections) else f"{taken} of {len(way.collections)}"


def _never(way: PairWay) -> bool:
    """Tell whether no vessel of the room does for it."""
    first = way.nobody_moved.first if way.nobody_moved else None
    return first is not None and first.never


def _needs(way: PairWay, reply: PairReply) -> str:
    others = way.others_moved
    if others is None:
        return "see below" if _never(way) else "not looked at"
    if others.verdict is Verdict.FITS:
        return f"{clean(reply.pair.vessel)} alone added" if reply.own_vessel_new else "nothing added"
    if others.verdict is Verdict.DOES_NOT_FIT:
        return "no addition that you list"
    sure = "proven least" if others.price_proven else "not proven least"
    return f"{_added(others.added)} (price {money(others.price)}, {sure})"


def _added(added: Sequence[Added]) -> str:
    return joined([f"{row.copies} more {clean(row.like)} by {day_words(row.from_)}" for row in added])


def _earliest(way: PairWay) -> str:
    if way.earliest is not None:
        return day_words(way.earliest)
    return f"none found until {day_words(way.looked_until)}" if way.looked_until else "never"


def _way(way: PairWay, reply: PairReply) -> str:
    heading = f"{WAYS[way.by].capitalize()}"
    lines: list[str] = []
    nobody, others = way.nobody_moved, way.others_moved
    if nobody is not None and nobody.first is not None and _never(way):
        lines += [f"  {line}" for line in refusal_text(nobody.first).splitlines()]
    elif nobody is not None and nobody.left_out:
        same = others is not None and others.left_out == nobody.left_out
        how = "with nobody else moved, and with others moved too" if same else "with nobody else moved"
        lines.append(_left(way, nobody.left_out, how, reply))
        if nobody.first is not None:
            lines.append("  What is in the way of the first of them:")
            lines += [f"  {line}" for line in refusal_text(nobody.first).splitlines()]
    elif nobody is not None:
        lines += [f"  {line}" for line in sold_later_text(nobody.sold_later).splitlines()]
    if others is not None and (nobody is None or nobody.left_out):
        same = nobody is not None and others.left_out == nobody.left_out
        if others.left_out and not same:
            lines.append(_left(way, others.left_out, "with others moved", reply))
        if others.taken and not same:
            lines.append(_displaced(others.displaced))
        if others.stopped:
            lines.append("  The search was stopped, or its time was up, before it was done.")
    if way.tight is not None:
        tight = way.tight
        kind = clean(tight.kind)
        all_of = {1: f"the one {kind} is", 2: f"both of {kind} are"}.get(
            tight.there, f"all {tight.there} of {kind} are"
        )
        before = "; so it is without the pair" if tight.without_pair else ""
        lines.append(
            paragraph(
                f"First tight week: that of {day_words(tight.week)}, when {all_of} in use, by "
                f"{listed(tight.broods, most=MOST_NAMES)}{before}.",
                indent="  ",
            )
        )
    return "\n".join([heading, *lines]) if lines else ""


def _left(way: PairWay, left: Sequence[LeftOut], how: str, reply: PairReply) -> str:
    weeks = [day_words(week_start(one.on)) for one in left]
    if len(left) == len(way.collections) > 1:
        return paragraph(f"Not one of the {len(left)} finds room ({how}).", indent="  ")
    more = len(weeks) - MOST_WEEKS
    shown = joined(weeks if more <= 0 else [*weeks[:MOST_WEEKS], f"{more} more"])
    of = "week" if len(weeks) == 1 else "weeks"
    if reply.born or reply.guarded:  # nobody can leave them untaken
        what = "the young born" if reply.born else "the broods"
        then = (
            "have a taker for them, or do not start"
            if reply.born
            else "part the pair before, or do not start"
        )
        return paragraph(f"No home for {what} in the {of} of {shown} ({how}): {then}.", indent="  ")
    return paragraph(f"{LEAVE_OUT[way.by].capitalize()} in the {of} of {shown} ({how}).", indent="  ")


def _displaced(rows: Sequence[Elsewhere]) -> str:
    if not rows:
        return "  It displaces nobody."
    shown = sorted(rows, key=lambda row: (row.from_, row.brood))[:MOST_DISPLACED]
    columns = (
        Column("it displaces"),
        Column("from"),
        Column("until"),
        Column("out of", least=8),
        Column("into", least=8),
    )
    cells = [
        (
            clean(row.brood),
            day_words(row.from_),
            day_words(row.until),
            listed(row.before) or "-",
            listed(row.after) or "-",
        )
        for row in shown
    ]
    more = len(rows) - len(shown)
    lines = [table(columns, cells, indent="  ")]
    if more > 0:
        lines.append("  and once more" if more == 1 else f"  and {more} times more")
    return "\n".join(lines)
