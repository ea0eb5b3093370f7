"""A room file brought forward, told as it is changed: what was taken for done, and what is only assumed."""

from collections.abc import Callable, Iterator, Sequence

from allocator.onward.fates import Became, Fate
from allocator.onward.room_edits import Bought, Onward
from allocator.reports.tables import Column, clean, paragraph, table
from allocator.reports.words import count_of, day_words, length_words, listed, ranged

Row = Callable[[Fate], Sequence[str]]


def forward_text(onward: Onward) -> str:
    """Return what a room file that is brought forward says anew, brood by brood and line by line."""
    parts = [_opening(onward), *_broods(onward), *_told(onward), *_rest(onward), *_assumed(onward)]
    return "\n\n".join(part for part in parts if part)


def _opening(onward: Onward) -> str:
    day = day_words(onward.day)
    if onward.day == onward.today:
        return paragraph(f"The room on {day}: the day is the same, so nothing is taken for done.")
    told = any(fate.by_keeper for fate in onward.fates)
    but = ", but for what you tell" if told else ""
    first = f"The room on {day}, if all was done as planned since {day_words(onward.today)}{but}."
    return paragraph(f"{first} What is to be done on that day itself is still ahead.")


def _broods(onward: Onward) -> Iterator[str]:
    """Yield a table for each thing that becomes of broods."""
    of = {became: [fate for fate in onward.fates if fate.became is became] for became in Became}
    yield _table(
        "Collected",
        of[Became.COLLECTED],
        ("brood", "collected", "lives in", "now"),
        lambda fate: (clean(fate.name), day_words(fate.brood.collected), ranged(fate.vessels), _heads(fate)),
    )
    yield _table(
        "Moved",
        of[Became.MOVED],
        ("brood", "since", "from", "to", "now"),
        lambda fate: (
            clean(fate.name),
            day_words(fate.on) if fate.since else "you say so",
            ranged(home.vessel for home in fate.brood.homes),
            ranged(fate.vessels),
            _heads(fate),
        ),
    )
    yield _table(
        "Sold, and no longer in the file",
        of[Became.SOLD],
        ("brood", "sold", "expected"),
        lambda fate: (clean(fate.name), day_words(fate.on), _heads(fate)),
    )
    lines = {
        Became.GONE: "Gone, and no longer in the file: {}.",
        Became.NOT_TAKEN: "Not taken, as planned: {}.",
        Became.NOT_COLLECTED: "Not collected, as you say: {}.",
        Became.AS_IT_WAS: "Where they were: {}.",
    }
    for became, words in lines.items():
        if of[became]:
            yield paragraph(words.format(listed(fate.name for fate in of[became])), hanging="  ")
    yield "\n".join(_no_home(fate) for fate in of[Became.NO_HOME])


def _no_home(fate: Fate) -> str:
    name, since = clean(fate.name), day_words(fate.on)
    if fate.parts:
        where = ranged(fate.vessels)
        text = f"{name} has no home in the plan from {since} on: it is left in {where}. Tell where it is"
    else:
        text = f"{name} has no home in the plan, and is not taken for collected. If it is there, tell where"
    return paragraph(f'{text}: --home "{name}=..."', hanging="  ")


def _table(title: str, fates: list[Fate], headings: tuple[str, ...], row: "Row") -> str:
    if not fates:
        return ""
    columns = [Column(heading, right=heading in ("now", "expected")) for heading in headings]
    return f"{title}: {len(fates)}\n{table(columns, [row(fate) for fate in fates], indent='  ')}"


def _heads(fate: Fate) -> str:
    return count_of(fate.fish, "egg" if fate.is_egg else "fish", None if fate.is_egg else "fish")


def _told(onward: Onward) -> Iterator[str]:
    """Yield what the keeper counted, where it is written."""
    told = onward.told
    lines = [f"{clean(name)}: {eggs} eggs collected" for name, eggs in told.eggs.items()]
    for name, count in told.counts.items():
        length = "" if count.mm is None else f", {length_words(count.mm)}"
        lines.append(f"{clean(name)}: {count.fish} counted{length}, under {onward.day}")
    if lines:
        yield "\n".join(
            ["Written as you tell it", *(paragraph(line, indent="  ", hanging="    ") for line in lines)]
        )


# -- the rest of the file ------------------------------------------------------------------------------------


def _rest(onward: Onward) -> Iterator[str]:
    lines = [*_day(onward), *_collections(onward), *_over(onward), *map(_bought, onward.bought)]
    if lines:
        yield "\n".join(["Also changed", *(paragraph(line, indent="  ", hanging="    ") for line in lines)])


def _day(onward: Onward) -> Iterator[str]:
    if onward.today_is_written and onward.has_a_day:
        yield f"today: {onward.day}, was {onward.today}"
    elif onward.today_is_written:
        yield f"today: {onward.day}; the file had no day, and it is another than that on the clock"


def _collections(onward: Onward) -> Iterator[str]:
    for one in onward.collections:
        name = clean(one.group if one.label is None else f"{one.group}, {one.label}")
        if one.next_on is None:
            yield f"collect of {name}: over, and taken out"
        else:
            yield f"collect of {name}: from {one.next_on} on; what was before is past"


def _over(onward: Onward) -> Iterator[str]:
    for start, end in onward.away_over:
        yield f"away from {start} until {end}: past, and taken out"
    if onward.pins_over:
        number = count_of(len(onward.pins_over), "pin")
        yield f"{number} taken out, past or of broods that are not there: {listed(dict.fromkeys(onward.pins_over))}"
    if onward.orders_over:
        yield f"orders taken out, since all their broods are gone: {listed(onward.orders_over)}"
    if onward.orders_fewer:
        yield f"orders of which some broods are gone; write how many fish are still owed: {listed(onward.orders_fewer)}"


def _bought(one: Bought) -> str:
    return (
        f"vessels: {clean(one.name)}, the {clean(one.planned_as)} of the plan, as if you had it since {one.since}; "
        "write where it stands, and whether snails are in it"
    )


# -- what is assumed -----------------------------------------------------------------------------------------


def _assumed(onward: Onward) -> Iterator[str]:
    planned = [fate for fate in onward.fates if fate.is_there and fate.eggs_are_planned]
    uncounted = [fate for fate in onward.fates if fate.is_there and not fate.counted]
    if onward.day == onward.today or not uncounted:
        return  # whatever there is, is counted
    lines = []
    if planned:
        eggs = ", ".join(f"{fate.brood.eggs} of {clean(fate.name)}" for fate in planned)
        lines.append(f"Eggs as planned: {eggs}.")
    lines.append(
        "Fish are those that the plan expects, not a count: no loss that you had is in them, and lengths go on as with "
        "room to grow. A count and a length beat every figure here."
    )
    never = [fate.name for fate in uncounted if not fate.is_egg and not fate.brood.counts]
    if never:
        lines.append(f"Never counted: {listed(never)}.")
    lines.append(f"Tell what was different, and it is written so: {_examples(planned, uncounted)}.")
    yield "\n".join(["Assumed", *(paragraph(line, indent="  ", hanging="  ") for line in lines)])


def _examples(planned: list[Fate], there: list[Fate]) -> str:
    fish = [fate for fate in there if not fate.is_egg]
    examples = [f'--eggs "{clean(fate.name)}=29"' for fate in planned[:1]]
    examples += [f'--count "{clean(fate.name)}={fate.fish}, 31 mm"' for fate in fish[:1]]
    first = clean(there[0].name)
    return ", ".join([*examples, f'--home "{first}=..."', f'--not-done "{first}"', f'--gone "{first}"'])
