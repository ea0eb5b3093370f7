"""How often a plan holds, as text."""

from collections.abc import Iterator
from datetime import date

from allocator.replies.luck import Chance, Luck, Replanned, Slip, WithoutHome
from allocator.reports.tables import Column, clean, paragraph, table
from allocator.reports.words import count_of, day_words, give_or_take, joined, month_words

RARE = 0.01
"""Chances below this are left out of the table of months (judgement: a page that is read, not searched)."""

INDENT = "  "


def luck_text(luck: Luck) -> str:
    """Return the answer first, then chances by month, spare vessels, who is not ready in time, and what is assumed."""
    parts = [
        paragraph(f"How often the plan holds: {clean(luck.room)}"),
        *(paragraph(line) for line in _answer(luck)),
        _months(luck),
        _spares(luck),
        _slips(luck),
        _replanned(luck.replanned, luck.replan_asked_for),
        "\n".join(["How to read it", *(_point(line) for line in _notes(luck))]),
    ]
    return "\n\n".join(part for part in parts if part)


def chance_words(chance: Chance) -> str:
    """Return `31.9 % ± 1.5`, the standard error after the sign; `never` or `always` where it was one of these."""
    if chance.times == 0:
        return "never"
    if chance.times == chance.replays:
        return "always"
    return _share(chance)


def _answer(luck: Luck) -> Iterator[str]:
    made = f"{luck.replays:,} {'replay' if luck.replays == 1 else 'replays'}"
    if luck.stopped:
        yield f"Stopped after {made} of {luck.asked_for:,}; this is about those."
    if luck.overfull.times == 0:
        yield f"No vessel is overfull on any day, in any of {made}."
    else:
        yield (
            f"In {luck.overfull.times:,} of {made} some vessel is overfull on some day: "
            f"{chance_words(luck.overfull)}."
        )
    week = luck.worst_week
    if week is not None:
        vessels = joined([f"{clean(name)} ({chance_words(chance)})" for name, chance in week.vessels])
        yield (
            f"The week most likely to go wrong is that of {day_words(week.monday)}: something is overfull in it "
            f"with a chance of {chance_words(week.overfull)}, first of all {vessels}."
        )
        yield f"Fish without a home, on the worst day of a replay: {_homes(luck.without_home)}."
    if luck.too_short.times:
        yield (
            "Fish outgrow a vessel, and there is none that is long enough for them, with a chance of "
            f"{chance_words(luck.too_short)}."
        )
    if luck.homeless_in_plan:
        yield (
            f"The plan itself leaves {count_of(luck.homeless_in_plan, 'fish', 'fish')} without a home; they are "
            "not counted here."
        )


def _homes(fish: WithoutHome) -> str:
    return f"at most {fish.at_80} in 80 of 100, at most {fish.at_95} in 95 of 100, {fish.mean:.1f} on average"


def _months(luck: Luck) -> str:
    rows: list[tuple[str, ...]] = []
    for month, chance in luck.by_month:
        if chance.share < RARE:
            continue
        rows.append((month_words(month), "any of them", chance_words(chance), ""))
        rows += [
            ("", clean(row.vessel), chance_words(row.overfull), row.runs_out or "")
            for row in luck.by_vessel
            if row.month == month and row.overfull.share >= RARE
        ]
    if not rows:
        return ""
    columns = (
        Column("month", least=8),
        Column("vessel"),
        Column("overfull", right=True),
        Column("what runs out"),
    )
    first, last = (luck.by_month[place][0] for place in (0, -1))
    return (
        "Chance that a vessel is overfull on some day of a month\n"
        + table(columns, rows, indent=INDENT)
        + "\n"
        + paragraph(_left_out(first, last), indent=INDENT)
    )


def _left_out(first: date, last: date) -> str:
    return (
        f"Left out, of {month_words(first)} to {month_words(last)}, is what happens in fewer than "
        f"{RARE * 100:g} of 100 replays."
    )


def _spares(luck: Luck) -> str:
    if not luck.overfull.times:
        return ""
    kinds = list(dict.fromkeys(row.like for row in luck.spares))
    most = max(row.spares for row in luck.spares)
    rows = [
        (
            "every kind" if kind is None else clean(kind),
            *(chance_words(r.too_few) for r in luck.spares if r.like == kind),
        )
        for kind in kinds
    ]
    columns = [Column("kind"), *(Column(_spare_words(extra), right=True) for extra in range(most + 1))]
    return (
        "Chance that fish above the limits find no free vessel of the kind they need\n"
        + table(columns, rows, indent=INDENT)
        + "\n"
        + paragraph(_enough_words(luck), indent=INDENT)
    )


def _spare_words(extra: int) -> str:
    return "no spare" if extra == 0 else count_of(extra, "spare")


def _enough_words(luck: Luck) -> str:
    said = []
    for share, enough in ((80, luck.spares_at_80), (95, luck.spares_at_95)):
        needed = joined([f"{number} like {clean(kind)}" for kind, number in enough if number])
        said.append(f"{needed or 'none'} in {share} of 100 replays")
    return f"Spare vessels that are enough, each kind taken alone: {'; '.join(said)}."


def _slips(luck: Luck) -> str:
    rows = [row for row in luck.slips if _tells(row)]
    if not rows:
        return ""
    columns = (
        Column("brood", least=12),
        Column("must wait to move", right=True, least=12),
        Column("too long to move", right=True, least=12),
        Column("sold late", right=True, least=12),
        Column("late by at most, 80 of 100", right=True, least=12),
        Column("95 of 100", right=True, least=7),
    )
    cells = [
        (
            clean(row.brood),
            chance_words(row.too_small),
            chance_words(row.too_long),
            chance_words(row.not_ready),
            _days(row.late_at_80),
            _days(row.late_at_95),
        )
        for row in rows
    ]
    return (
        "Chance that fish are not ready on the day of the plan, or past it\n"
        + table(columns, cells, indent=INDENT)
        + "\n"
        + paragraph(
            f"That some fish wait for a move or a sale: {chance_words(luck.waits)}. They wait where they are and "
            "take up room there; that is counted above.",
            indent=INDENT,
        )
    )


def _tells(row: Slip) -> bool:
    return any(chance.times for chance in (row.too_small, row.too_long, row.not_ready))


def _days(days: int) -> str:
    return count_of(days, "day") if days else "in time"


def _replanned(found: Replanned | None, asked_for: int) -> str:
    if found is None:
        return "Stopped before a replay with new plans was done." if asked_for else ""
    rows = [
        ("as it stands", _times(found.fixed_overfull), *_fish(found.fixed_without_home)),
        ("new each month", _times(found.overfull), *_fish(found.without_home)),
    ]
    columns = (
        Column("plan", least=14),
        Column("overfull", right=True),
        Column("without a home, 80 of 100", right=True, least=13),
        Column("95 of 100", right=True, least=9),
    )
    stopped = f"Stopped after these of {asked_for}. " if found.replays < asked_for else ""
    kept = (
        f" In {found.kept_old} of {found.plans} months no new plan was found and the old one was kept."
        if found.kept_old
        else ""
    )
    return (
        f"With a new plan on the first of each month, the same {count_of(found.replays, 'replay')} both ways\n"
        + table(columns, rows, indent=INDENT)
        + "\n"
        + paragraph(
            f"{stopped}Each new plan knows the numbers and lengths of its day, and nothing of what comes. It is made by "
            f"the quick search with nothing added. Overfull counts fish that it has no home for.{kept}",
            indent=INDENT,
        )
    )


def _times(chance: Chance) -> str:
    """Return `3 of 5: 60.0 % ± 21.9`: so few replays that their number must be seen, and `5 of 5` alone."""
    counted = f"{chance.times} of {chance.replays}"
    return counted if chance.times in {0, chance.replays} else f"{counted}: {_share(chance)}"


def _share(chance: Chance) -> str:
    return f"{chance.share * 100:.1f} % {give_or_take()} {chance.standard_error * 100:.1f}"


def _fish(fish: WithoutHome) -> tuple[str, str]:
    return f"{fish.at_80} fish", f"{fish.at_95} fish"


def _point(line: str) -> str:
    return paragraph(line, indent="  - ", hanging="    ")


def _notes(luck: Luck) -> Iterator[str]:
    yield (
        f"{give_or_take()} is the standard error: with many more replays the chance would come out within it two "
        f"times in three. Never means in none of {luck.replays:,} replays, so very likely below "
        f"{_percent(luck.overfull.below)}; always, the same the other way round."
    )
    yield (
        "A replay keeps to the plan and draws anew for each brood: eggs of planned collections (Poisson), the day "
        "of hatch, how many hatch and die (each egg and fish on its own), and the pace of growth. Counted and "
        "measured fish begin from your last figures."
    )
    yield (
        "Of each low, expected and high figure of a rule pack: half of the broods lie below the expected one "
        "and half above, evenly, and none beyond the ends. That is judgement; packs do not say how rare the ends "
        "are. Broods differ on their own: if all of yours do well or badly together, more goes wrong at once."
    )
    yield (
        "Overfull is more than the limit, or fish for which the vessel is too short. Without a home are the fish "
        "that would have to leave, taken evenly from all that are there, so that the others may stay."
    )
    yield (
        "A free vessel takes what is too much in one other vessel of its kind. Fish that outgrow theirs ask for the "
        "smallest that is long enough. Lines, flow, snails and cleaning are not looked at there."
    )
    yield f"Seed {luck.seed}: the same room, plan, seed and number of replays give the same numbers again."
    yield "Limits are not targets, and a chance is no promise: what your own counts say comes first."


def _percent(share: float) -> str:
    return f"{share * 100:.2g} %"
