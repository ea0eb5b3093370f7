"""Why a brood finds no room beside a plan that is held still, read out."""

from collections.abc import Iterator, Sequence

from allocator.replies.refusal import InTheWay, Refusal, Snag
from allocator.reports.blocks import Block, Grid
from allocator.reports.tables import Column, clean, paragraph
from allocator.reports.words import day_words, joined, listed

IN_THE_WAY = (Column("vessel"), Column("what is in the way"))
MOST_VESSELS = 8
MOST_BROODS = 4

SAID = {
    Snag.PARTS: "it would have to be parted, and there are too few vessels for its parts.",
    Snag.SALE: "where there is room, it could not stay until it may be sold.",
    Snag.HANDS: "no move day has a hand free when it would have to be moved.",
    Snag.COMPANY: "where there is room, all would grow too slowly in such company to be sold before others come.",
    Snag.LENGTH: "where there is room, the fish grow too slowly to be long enough on the day.",
}
"""What is said where no vessels are named."""

WITHOUT_VESSELS = {*SAID, Snag.NO_VESSEL}


def refusal_blocks(refusal: Refusal) -> list[Block]:
    """Return the same as `refusal_text` for a page: a sentence, and a table of what is in the way."""
    found: list[Block] = [_cause(refusal)]
    if refusal.snag not in WITHOUT_VESSELS and refusal.in_the_way:
        rows = tuple((clean(way.vessel), _held(way)) for way in refusal.in_the_way[:MOST_VESSELS])
        found.append(Grid(IN_THE_WAY, rows))
        left = len(refusal.in_the_way) - MOST_VESSELS
        found += [f"And {left} more that are taken."] if left > 0 else []
    return found


def refusal_text(refusal: Refusal, indent: str = "") -> str:
    """Return what a brood founders on, in a paragraph or a few lines."""
    lines = [paragraph(_cause(refusal), indent=indent)]
    if refusal.snag in WITHOUT_VESSELS:
        return lines[0]
    lines += [_vessel(way, indent) for way in refusal.in_the_way[:MOST_VESSELS]]
    left = len(refusal.in_the_way) - MOST_VESSELS
    if left > 0:
        lines.append(paragraph(f"and {left} more that are taken", indent=f"{indent}  "))
    return "\n".join(lines)


def _cause(refusal: Refusal) -> str:
    """Return in a sentence what a brood founders on."""
    who = clean(refusal.brood)
    if refusal.snag in SAID:
        return f"{who}: {SAID[refusal.snag]}"
    kinds = " or ".join(refusal.kinds)
    if refusal.snag is Snag.NO_VESSEL:
        when = f" on {day_words(refusal.since)}" if refusal.since else ""
        return f"{who}: there is no {kinds} vessel that would do for it in its stage {clean(refusal.stage)}{when}."
    assert refusal.since is not None  # noqa: S101 - a stage has its days
    assert refusal.latest is not None  # noqa: S101
    assert refusal.until is not None  # noqa: S101
    since = f"from {day_words(refusal.since)}"
    if refusal.latest > refusal.since:
        since = f"from between {day_words(refusal.since)} and {day_words(refusal.latest)}"
    none = "none that is there does" if refusal.never else "none has room for so long"
    article = "an" if kinds[:1] in {"a", "e", "i", "o", "u"} else "a"
    need = f"{who}: in its stage {clean(refusal.stage)} it needs {article} {kinds} vessel {since}, "
    return f"{need}until {day_words(refusal.until)} at least, and {none}."


def _vessel(way: InTheWay, indent: str) -> str:
    return paragraph(f"{clean(way.vessel)}: {_held(way)}", indent=f"{indent}  ", hanging=f"{indent}    ")


def _held(way: InTheWay) -> str:
    held = listed(way.broods, most=MOST_BROODS) or "not free for it for so long"
    return way.unfit.value if way.unfit is not None else held


def lacking_already(added: Sequence[str], homeless: Sequence[str]) -> Iterator[str]:
    """Yield what a room lacks without any new brood, so that a yes is not taken for room to spare."""
    if added:
        yield paragraph(
            "Your room needs more tanks even without this; they are counted here as there: "
            f"{listed(added, most=MOST_BROODS)}."
        )
    if homeless:
        yield paragraph(
            f"Without a home in your plan, and still so: {listed(homeless, most=MOST_BROODS)}. Do not start what "
            "cannot be housed: see to them first."
        )


def sold_later_text(days: dict[str, int], indent: str = "") -> str:
    """Return whose sale company puts off, and for how long."""
    if not days:
        return f"{indent}Nothing changes for the others."
    each = [
        f"{clean(name)} by {count} day{'' if count == 1 else 's'}" for name, count in sorted(days.items())
    ]
    return paragraph(
        f"In its company others grow more slowly and are sold later: {joined(each)}.", indent=indent
    )
