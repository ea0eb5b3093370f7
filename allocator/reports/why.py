"""Why a brood lives where it does, and why not elsewhere: read out of the answer, rule by rule."""

from collections.abc import Sequence
from datetime import date

from allocator.codes import Rule
from allocator.plan import Verdict
from allocator.replies.why import (
    Asked,
    Binding,
    Cause,
    CauseKind,
    Causes,
    Fill,
    Outcome,
    Refusal,
    StayReason,
    Tried,
    WayKind,
    WayOut,
    Why,
)
from allocator.reports.answers import figure
from allocator.reports.caution_list import CAUTIONS
from allocator.reports.tables import Column, clean, paragraph, table
from allocator.reports.where import FILLS
from allocator.reports.words import count_of, day_words, in_words, joined, length_words, listed, money
from allocator.units import MM_PER_IN

MOST_BREAKS = 4
VERDICTS = {
    Verdict.FITS: "Everything fits",
    Verdict.NEEDS_MORE_TANKS: "The room needs more tanks; this is the plan with them there",
    Verdict.DOES_NOT_FIT: "Not everything fits",
}
KINDS = "Proven among plans in which a brood moves on as one, on your move days, and is split only when it moves on."
PARTS = (Column("", least=10), Column("", least=30))


def why_text(reply: Why) -> str:
    """Return the answer: each stay with the rules that bind it, then what was asked."""
    head = f"{clean(reply.brood)}, {clean(reply.line)}, collected {day_words(reply.collected)}. "
    added = f" ({listed(reply.added)})" if reply.added else ""
    parts = [paragraph(f"{head}{VERDICTS[reply.verdict]}{added}.")]
    parts += [_stay(reply.brood, stay) for stay in reply.stays]
    if reply.asked is not None:
        parts.append(_asked(reply.brood, reply.asked))
    if reply.refusal is not None:
        parts.append(_refusal(reply.brood, reply.refusal))
    ways = [row for part in (reply.refusal, reply.asked) if part is not None for row in part.ways_out]
    proven = [part.causes for part in (reply.refusal, reply.asked) if part is not None and part.causes]
    lines = [KINDS] if proven else []
    if reply.cut_short:
        lines.append("The time was up, or you stopped it, before all was tried.")
    lines.append("Every plan behind this has been checked day by day against all rules.")
    parts.append(paragraph(" ".join(lines)))
    if reply.refusal is not None or any(way.kind in (WayKind.FEWER_EGGS, WayKind.FEWER_FISH) for way in ways):
        text = next(caution.text for caution in CAUTIONS if caution.key == "homeless")
        parts.append("Cautions\n" + paragraph(text, indent="  - ", hanging="    "))
    return "\n\n".join(parts)


# -- the plan explained ----------------------------------------------------------------------------------


def _stay(brood: str, stay: StayReason) -> str:
    who = "" if stay.lot == brood else f"{clean(stay.lot)}: "
    heading = f"{who}{clean(stay.vessel)}, {day_words(stay.from_)} to {day_words(stay.until)}"
    rows = [
        ("stage", clean(stay.stage)),
        ("size", f"{_mm(stay.mm_in)} at first, {_mm(stay.mm_out)} at the end"),
        (
            "number",
            f"{_heads(stay.fish_in, stay.mm_in)} at first, {_heads(stay.fish_out, stay.mm_out)} at the end",
        ),
        ("room", _room(stay)),
        ("flow", _flow(stay)),
        ("shares with", joined([_mate(m.brood, m.from_, m.until, stay) for m in stay.mates]) or "nobody"),
    ]
    if stay.enter_from is not None and stay.enter_until is not None:
        rows.append(("may come in", _window(stay.enter_from, stay.enter_until, stay)))
    if stay.better_from is not None and stay.better_until is not None:
        rows.append(
            ("better", f"from {day_words(stay.better_from)} to {day_words(stay.better_until)}, by its size")
        )
    if stay.sooner is not None:
        rows.append(("not sooner?", _tried(stay.sooner)))
    if stay.later is not None:
        rows.append(("not later?", _tried(stay.later)))
    rows += [(f"not {clean(tried.vessel)}?", _tried(tried, day=False)) for tried in stay.elsewhere]
    return f"{paragraph(heading)}\n{table(PARTS, rows, indent='  ')}"


def _mm(mm: float) -> str:
    return length_words(mm)


def _of_stage(mm: float) -> str:
    """Return a length of a rule pack to the letter, in both systems: `9 mm, 0.4 in`."""
    return f"{mm:g} mm, {mm / MM_PER_IN:.1f} in"


def _heads(number: int, mm: float) -> str:
    return count_of(number, "egg") if mm <= 0 else count_of(number, "fish", "fish")


def _share(fill: Fill) -> str:
    return f"{fill.share * 100:.0f} %"


def _room(stay: StayReason) -> str:
    caps = {cap.value: words for cap, words in FILLS.items()}
    most = stay.fill_most
    return (
        f"{_share(stay.fill_in)} of the limit is taken at first, {_share(stay.fill_out)} at the end, at most "
        f"{_share(most)} on {day_words(most.on)} ({caps[most.cap]} fills it first)"
    )


def _flow(stay: StayReason) -> str:
    borne = f"at first they bear {stay.bears.word} at the most"
    return borne if stay.flow is None else f"{stay.flow.word}; {borne}"


def _mate(brood: str, start: date, until: date, stay: StayReason) -> str:
    parts = []
    if start > stay.from_:
        parts.append(f"from {day_words(start)}")
    if until < stay.until:
        parts.append(f"until {day_words(until)}")
    return " ".join([clean(brood), *parts])


def _window(first: date, last: date, stay: StayReason) -> str:
    begin = f" ({_of_stage(stay.from_mm)})" if stay.from_mm is not None else ""
    end = f" ({_of_stage(stay.until_mm)})" if stay.until_mm is not None else ""
    return f"from {day_words(first)}{begin} to {day_words(last)}{end}"


def _tried(tried: Tried, *, day: bool = True) -> str:
    """Return what would be broken; where it is only a sale, that it would be put off."""
    on = f" on {day_words(tried.on)}" if day else ""
    hard = [one for one in tried.breaks if one.rule is not Rule.READY]
    if not tried.breaks:
        return f"it could be{on}: with all else the same no rule forbids it"
    if not hard:
        late = f"a sale would be too soon then and had to be put off: {_breaks(tried.breaks[:1])}"
        return f"it could be{on}, but {late}"
    return f"not{on}: {_breaks(hard)}" if day else _breaks(hard)


def _breaks(breaks: Sequence[Binding]) -> str:
    """Return the first thing that each rule finds wrong, and how many there are more."""
    first = {one.rule: clean(one.text) for one in reversed(breaks)}
    told = [text for one in dict.fromkeys(one.rule for one in breaks) if (text := first[one])][:MOST_BREAKS]
    more = len(breaks) - len(told)
    return "; ".join([*told, *([f"and {more} more of the kind"] if more else [])])


# -- what was asked --------------------------------------------------------------------------------------


def _refusal(brood: str, refusal: Refusal) -> str:
    who = clean(brood)
    question = f"Why has {who} no home from {day_words(refusal.from_)} to {day_words(refusal.until)} with what you have?"
    if refusal.not_taken:
        question = f"Why is {who} left out? It is taken only if it fits."
    lines = [paragraph(question)]
    if refusal.causes is None:
        text = "No plan was found that houses it, and it is not proven that there is none."
    else:
        names = [cause.name for cause in refusal.causes.causes if cause.kind is CauseKind.BROOD]
        wishes = _wishes(brood, refusal.causes.causes)
        beside = f", with {joined(wishes)}" if wishes else ""
        number = in_words(len(names) + 1)
        these = f"These {number} cannot all be housed{beside}: {listed([brood, *names])}."
        text = f"{these} {_verified(brood, refusal.causes)}"
        if not names:
            text = f"{who} cannot be housed{beside}, even alone. {_verified(brood, refusal.causes)}"
    return "\n".join([*lines, paragraph(text, indent="  "), *_ways(refusal.ways_out)])


def _wishes(brood: str, causes: Sequence[Cause]) -> list[str]:
    words = {
        CauseKind.PIN: "the pins of {}",
        CauseKind.ORDER: "the order of {}",
        CauseKind.AWAY: "your days away",
        CauseKind.MOST_MOVES: "no more than {} moves a day",
    }
    return [
        f"the pins of {clean(brood)} itself"
        if cause == Cause(kind=CauseKind.PIN, name=brood)
        else words[cause.kind].format(clean(cause.name))
        for cause in causes
        if cause.kind in words
    ]


def _all(brood: str, causes: Causes) -> list[str]:
    return [
        *(clean(c.name) for c in causes.causes if c.kind is CauseKind.BROOD),
        *_wishes(brood, causes.causes),
    ]


def _verified(brood: str, causes: Causes) -> str:
    if causes.verified:
        if [cause.kind for cause in causes.causes] == [CauseKind.PIN]:
            return "No plan does it with them, and without them a checked plan does (both tried)."
        without = (
            "with any one of them left out" if len(causes.causes) > 1 else f"without {_all(brood, causes)[0]}"
        )
        return f"No plan does it with all of these, and {without} a checked plan does (both tried)."
    if causes.together and not causes.causes:
        return "No plan does it (proven)."
    if causes.together and not causes.spared:
        return (
            f"No plan does it with all of these. But {clean(brood)} may not be to blame: without it no plan was found "
            f"for the others either, so ask about them first."
        )
    if causes.together:
        return (
            "No plan does it with all of these. As far as was searched none of them can be left out, but not for "
            "each of them is that shown."
        )
    return "As far as was searched: it is not proven that no plan does it with all of these."


def _question(brood: str, asked: Asked) -> str:
    who = clean(brood)
    if asked.vessel is None:
        assert asked.day is not None  # noqa: S101 - one of the two is asked
        return f"Why is {who} not moved on {day_words(asked.day)}?"
    assert asked.from_ is not None  # noqa: S101 - a vessel is asked for with its days
    assert asked.until is not None  # noqa: S101 - a vessel is asked for with its days
    return f"Why is {who} not in {clean(asked.vessel)} from {day_words(asked.from_)} to {day_words(asked.until)}?"


def _asked(brood: str, asked: Asked) -> str:
    who = clean(brood)
    lines = []
    if asked.outcome is Outcome.SO_ALREADY:
        lines.append("It is: the plan has it so.")
    elif asked.outcome is Outcome.COULD_BE:
        lines.append(_could(asked))
    elif asked.outcome is Outcome.FORBIDDEN:
        what = "it" if asked.vessel is not None else "the nearest of its moves on that day"
        lines.append(f"The rules forbid {what}, even if {who} were the only brood in the room:")
    elif asked.causes is not None:
        names = [cause.name for cause in asked.causes.causes if cause.kind is CauseKind.BROOD]
        parts = [*(["the homes of " + listed(names)] if names else []), *_wishes(brood, asked.causes.causes)]
        lines.append(f"It clashes with {joined(parts)}. {_verified(brood, asked.causes)}")
    else:
        lines.append("No plan was found in which it is so, and it is not proven that there is none.")
    text = [paragraph(_question(brood, asked)), *(paragraph(line, indent="  ") for line in lines)]
    if asked.outcome is Outcome.FORBIDDEN:
        text += _bullets(asked.breaks_alone)
    elif asked.outcome is not Outcome.SO_ALREADY:
        hard = [one for one in (*asked.breaks_alone, *asked.breaks) if one.rule is not Rule.READY]
        if hard:
            text += [paragraph("With that alone changed in the plan, and all else the same:", indent="  ")]
            text += _bullets(hard)
    return "\n".join([*text, *_ways(asked.ways_out)])


def _bullets(breaks: Sequence[Binding]) -> list[str]:
    lines = [f"{clean(one.text)} (rule {one.rule.value})" for one in breaks[:MOST_BREAKS]]
    if len(breaks) > MOST_BREAKS:
        lines.append(f"and {len(breaks) - MOST_BREAKS} more")
    return [paragraph(line, indent="  - ", hanging="    ") for line in lines]


def _could(asked: Asked) -> str:
    sure = "" if asked.strain_proven else ", as far as was searched"
    costs = []
    if asked.more_strain > 0:
        costs.append(
            f"{figure(asked.more_strain)} {'point' if asked.more_strain == 1 else 'points'} of strain more"
        )
    if asked.more_handlings > 0:
        costs.append(f"{count_of(asked.more_handlings, 'move')} more")
    if costs:
        text = f"It could be, at the price of {joined(costs)}{sure}: a checked plan has it so."
    else:
        text = f"It could be, and the plan would be as good{sure}: a checked plan has it so."
    if asked.others:
        text += f" Others would live elsewhere for some days: {listed(asked.others, most=MOST_BREAKS + 2)}."
    return text


def _ways(ways: Sequence[WayOut]) -> list[str]:
    if not ways:
        return []
    lines = [paragraph("What would help, each by itself (tried, and the plan checked):", indent="  ")]
    return lines + [paragraph(_way(way), indent="  - ", hanging="    ") for way in ways]


def _way(way: WayOut) -> str:
    name = clean(way.name)
    if way.kind is WayKind.MORE:
        return f"one more {name}" + (f" (price {money(way.price)})" if way.price is not None else "")
    if way.kind is WayKind.LATER:
        return f"{name} collected {count_of(int(way.amount), 'day')} later"
    if way.kind is WayKind.FEWER_EGGS:
        return f"no more than {way.amount:.0f} eggs of {name} set up"
    if way.kind is WayKind.FEWER_FISH:
        return f"no more than {way.amount:.0f} fish of {name} kept from today on"
    return f"fish of {name} sold at {length_words(way.amount)}"
