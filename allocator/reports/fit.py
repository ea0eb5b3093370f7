"""Where a coming brood will live, read out."""

from allocator.replies.fit import FitReply, Offer, StageHomes, Step
from allocator.reports.refusal import lacking_already, refusal_text, sold_later_text
from allocator.reports.tables import Column, clean, paragraph, table
from allocator.reports.words import count_of, day_words, listed
from allocator.room import CollectedBy

HOW = {
    CollectedBy.PICKING: "eggs, picked",
    CollectedBy.MOP: "eggs, in the whole mop",
    CollectedBy.YOUNG: "young",
}
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
        parts += ["There is no room for it, with nobody else moved.", refusal_text(reply.refusal)]
    parts += lacking_already(reply.added, reply.homeless)
    parts += [_homes(homes) for homes in reply.stages if homes.offers]
    return "\n\n".join(parts)


def _steps(steps: tuple[Step, ...]) -> str:
    rows = [
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
    return "It finds room, with nobody else moved:\n" + table(STEPS, rows, indent="  ")


def _end(reply: FitReply) -> str:
    assert reply.sold is not None  # noqa: S101 - whoever finds room is sold in the end
    return f"Sold from {day_words(reply.sold)} on."


def _homes(homes: StageHomes) -> str:
    rows = [_offer(offer) for offer in homes.offers[:MOST_OFFERS]]
    more = len(homes.offers) - MOST_OFFERS
    parted = f", in {homes.parts} parts" if homes.parts > 1 else ""
    lines = [f"Homes for the stage {clean(homes.stage)}{parted}, the chosen one first:"]
    lines.append(table(OFFERS, rows, indent="  "))
    if more > 0:
        lines.append(f"  and {count_of(more, 'more')}")
    return "\n".join(lines)


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
