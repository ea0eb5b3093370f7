"""Where a coming brood will live, read out."""

from allocator.replies.fit import FitReply, Offer, StageHomes, Step
from allocator.reports.blocks import Block, Grid
from allocator.reports.refusal import lacking_already, refusal_blocks, refusal_text, sold_later_text
from allocator.reports.tables import Column, clean, paragraph, table
from allocator.reports.words import count_of, day_words, listed
from allocator.room import CollectedBy

HOW = {
    CollectedBy.PICKING: "eggs, picked",
    CollectedBy.MOP: "eggs, in the whole mop",
    CollectedBy.YOUNG: "young",
}
FOUND = "It finds room, with nobody else moved"
WHY_NOT = "Why not"
NOT_FOUND = "There is no room for it, with nobody else moved."
MOST_MATES = 3
MOST_OFFERS = 6
STEPS = (
    Column("stage"),
    Column("vessel"),
    Column("from"),
    Column("until"),
    Column("fish", right=True),
    Column("how full"),
    Column("with", least=10),
)
OFFERS = (
    Column("vessel"),
    Column("free for it from"),
    Column("until at least"),
    Column("how full"),
    Column("with", least=12),
)


def fit_text(reply: FitReply) -> str:
    """Return the way through the room, other homes, and what changes for others."""
    who = f"{reply.eggs} {HOW[reply.by]}, of {clean(reply.line)} on {day_words(reply.collected)}"
    parts = [paragraph(f"One more brood: {who}")]
    if reply.steps:
        parts += [_steps(reply.steps), _end(reply), sold_later_text(reply.sold_later)]
    elif reply.refusal is not None:
        parts += [NOT_FOUND, refusal_text(reply.refusal)]
    parts += lacking_already(reply.added, reply.homeless)
    parts += [_homes(homes) for homes in reply.stages if homes.offers]
    return "\n\n".join(parts)


def fit_blocks(reply: FitReply) -> tuple[tuple[str, Block], ...]:
    """Return the same for a page: sentences and tables, each table with its caption."""
    who = f"{reply.eggs} {HOW[reply.by]}, of {clean(reply.line)} on {day_words(reply.collected)}"
    parts: list[tuple[str, Block]] = [("", f"One more brood: {who}.")]
    if reply.steps:
        parts += [
            (FOUND, Grid(STEPS, tuple(_step_rows(reply.steps)))),
            ("", _end(reply)),
            ("", " ".join(sold_later_text(reply.sold_later).split())),
        ]
    elif reply.refusal is not None:
        parts += [("", NOT_FOUND), *((WHY_NOT, block) for block in refusal_blocks(reply.refusal))]
    parts += [("", " ".join(text.split())) for text in lacking_already(reply.added, reply.homeless)]
    for homes in reply.stages:
        if homes.offers:
            rows = tuple(_offer(offer) for offer in homes.offers[:MOST_OFFERS])
            parts.append((_heading(homes), Grid(OFFERS, rows)))
            more = len(homes.offers) - MOST_OFFERS
            parts += [("", f"And {count_of(more, 'more')}.")] if more > 0 else []
    return tuple(parts)


def _step_rows(steps: tuple[Step, ...]) -> list[tuple[str, ...]]:
    return [
        (
            clean(step.stage),
            clean(step.vessel),
            day_words(step.from_),
            day_words(step.until),
            str(step.fish),
            _full(step.full_at_first, step.full_at_last),
            listed(step.mates, most=MOST_MATES) or "nobody",
        )
        for step in steps
    ]


def _steps(steps: tuple[Step, ...]) -> str:
    return f"{FOUND}:\n" + table(STEPS, _step_rows(steps), indent="  ")


def _end(reply: FitReply) -> str:
    assert reply.sold is not None  # noqa: S101 - whoever finds room is sold in the end
    return f"Sold from {day_words(reply.sold)} on."


def _homes(homes: StageHomes) -> str:
    rows = [_offer(offer) for offer in homes.offers[:MOST_OFFERS]]
    more = len(homes.offers) - MOST_OFFERS
    lines = [f"{_heading(homes)}:"]
    lines.append(table(OFFERS, rows, indent="  "))
    if more > 0:
        lines.append(f"  and {count_of(more, 'more')}")
    return "\n".join(lines)


def _heading(homes: StageHomes) -> str:
    parted = f", in {homes.parts} parts" if homes.parts > 1 else ""
    return f"Homes for the stage {clean(homes.stage)}{parted}, the chosen one first"


def _offer(offer: Offer) -> tuple[str, ...]:
    return (
        clean(offer.vessel),
        day_words(offer.first_free),
        day_words(offer.until),
        _full(offer.full_at_first, offer.full_at_last),
        listed(offer.mates, most=MOST_MATES) or "nobody",
    )


def _full(first: int, last: int) -> str:
    return f"{first} %" if first == last else f"{first} to {last} %"
