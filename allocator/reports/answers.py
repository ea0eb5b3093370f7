"""The verdict, both answers behind it, and how sure they are."""

from collections.abc import Iterator, Sequence
from string import ascii_lowercase

from allocator.plan import Plan, Verdict
from allocator.reports.blocks import Block, Grid, blocks_text
from allocator.reports.not_taken import left_out_words, optional_of
from allocator.reports.tables import Column, clean, paragraph
from allocator.reports.words import day_words, in_words, joined, listed, money
from allocator.result import Answer, FoundBy, LevelOutcome, LongShortage, Result, Shortage
from allocator.room import Room, new_vessel_name
from allocator.rules import Estimate

PLAN_SPACE = (
    "Proven among plans in which a brood moves on as one, on your move days, and is split only when it "
    "moves on, in equal parts."
)
FIRST_FIT = (
    "There was nothing better in the time that searches were given (none, where they could hardly gain), so "
    "this is the first-fit plan: brood "
    "after brood in the "
    "first place that has room for it. It keeps every rule, but there may be one that needs less."
)
LARGE_ROOM = (
    "In a room of this size first fit settles everything: it keeps every rule, but there may be a plan with "
    "less strain or less work."
)
MOST_BROODS_FOR_THE_SOLVER = 60
"""With more broods than this the solver is not asked; a test holds it against the planner."""
STOPPED = (
    "The search was stopped, or its time was up, before it was done: this is the best checked plan it had."
)
SURVIVAL = {
    Estimate.LOW: "survival at the low end",
    Estimate.EXPECTED: "expected survival",
    Estimate.HIGH: "survival at the high end",
}
LEVEL_WORDS = {
    "strain": "strain: above comfort, moved outside the better sizes, stronger flow than they like",
    "handlings": "times that fish are handled",
    "vessel-days in use": "days that vessels are in use",
}
POINTS = "One point of strain: a tank one percent above comfort for one day, or what is held as bad as that."
COLLECTIONS = (
    "Collections that are taken only if they fit get no tank added for them; the rows after theirs look at plans "
    "that take the same ones."
)
AFRESH = (
    "This plan goes on from the plan in hand. Planned afresh, strain would be {points} points or less, with more broods "
    "elsewhere: to have that plan, leave the plan in hand out (--against)."
)
WRONG_TODAY = "wrong today"
"""So do remarks begin on what is wrong in the room as it is found."""
AS_IT_IS, WITH_ADDED, HOW_SURE = "With what you have", "With tanks added", "How sure this is"
CHECKED = "Every plan shown here has been checked day by day against all rules."
MOST_NAMES = 6
CENT = 0.005


def verdict_line(room: Room, plan: Plan, remarks: Sequence[str] = ()) -> str:
    """Return the answer as it is printed; see `verdict_words`."""
    return paragraph(verdict_words(room, plan, remarks))


def verdict_words(room: Room, plan: Plan, remarks: Sequence[str] = ()) -> str:
    """Return the answer in one plain sentence; `remarks` may say that something is wrong today."""
    if plan.verdict is Verdict.FITS:
        if any(text.startswith(WRONG_TODAY) for text in remarks):
            return "Everything fits once what is wrong today is put right (see below)."
        if plan.not_taken:
            return f"Everything fits; {left_out_words(room, plan)}."
        return "Everything fits."
    if plan.verdict is Verdict.NEEDS_MORE_TANKS:
        return f"Needs more tanks: {added_words(plan)} (price {money(added_price(room, plan))})."
    broods = list(dict.fromkeys(homeless.brood for homeless in plan.homeless))
    first = min((homeless.from_ for homeless in plan.homeless), default=room.today)
    who = listed(broods, most=MOST_NAMES)
    have = "has" if len(broods) == 1 else "have"
    even = f", even with {added_words(plan)}" if plan.added else ""
    return f"Does not fit: {who} {have} no home at some time from {day_words(first)} on{even}."


def added_words(plan: Plan) -> str:
    """Return `1 more like long, in use from Sat 8 May 2027`, several of them joined."""
    return joined(
        [f"{a.copies} more like {clean(a.like)}, in use from {day_words(a.from_)}" for a in plan.added]
    )


def added_price(room: Room, plan: Plan) -> float:
    """Return what the added vessels cost together."""
    prices = room.prices
    return sum(added.copies * prices.get(added.like, 0.0) for added in plan.added)


def as_it_is_text(result: Result) -> str:
    """Return the first answer as it is printed; see `as_it_is_blocks`."""
    return f"{AS_IT_IS}\n{blocks_text(as_it_is_blocks(result), indent='  ')}"


def as_it_is_blocks(result: Result) -> list[Block]:
    """Return the first answer: what becomes of the broods with nothing added."""
    answer = result.as_it_is
    if not answer.plan.homeless:
        return ["Every brood has a home from egg to sale."]
    blocks: list[Block] = [homeless_grid(answer.plan), *shortage_words(answer.shortages)]
    if not _first_level_proven(answer):
        blocks.append("Not proven: a plan with fewer fish left over, or none, may exist.")
    return blocks


def homeless_table(plan: Plan) -> str:
    """Return which broods are without a home, as it is printed; see `homeless_grid`."""
    return blocks_text([homeless_grid(plan)], indent="  ")


def homeless_grid(plan: Plan) -> Grid:
    """Return which broods are without a home, from when until when, and how many fish."""
    columns = (Column("no home for", least=12), Column("fish", right=True), Column("from"), Column("until"))
    rows = [
        (clean(h.brood), str(h.fish), day_words(h.from_), day_words(h.until))
        for h in sorted(plan.homeless, key=lambda h: (h.from_, h.brood))
    ]
    return Grid(columns, tuple(rows))


def shortage_lines(shortages: tuple[Shortage, ...]) -> list[str]:
    """Return each shortage read out, as it is printed; see `shortage_words`."""
    return [paragraph(words, indent="  ") for words in shortage_words(shortages)]


def shortage_words(shortages: tuple[Shortage, ...]) -> list[str]:
    """Return each shortage read out: which broods alone need how many vessels on a day."""
    lines = []
    for short in shortages:
        these = "this brood alone needs" if len(short.broods) == 1 else "these %s broods alone need"
        words = these.replace("%s", in_words(len(short.broods)))
        there = f"there {'is' if short.there == 1 else 'are'} {in_words(short.there)}"
        text = (
            f"On {day_words(short.on)} {words} {count_words(short.needed)} of the kind "
            f"{clean(short.kind)}, and {there}: "
            f"{listed(short.broods)}."
        )
        lines.append(text)
    return lines


def long_shortage_lines(shortages: tuple[LongShortage, ...]) -> list[str]:
    """Return each long shortage read out, as it is printed; see `long_shortage_words`."""
    return [paragraph(words, indent="  ") for words in long_shortage_words(shortages)]


def long_shortage_words(shortages: tuple[LongShortage, ...]) -> list[str]:
    """Return each stretch of time read out in which there are too few vessels, though no single day shows it."""
    lines = []
    for short in shortages:
        when = f"From {day_words(short.since)} to {day_words(short.until)}"
        if short.broods:
            these = "the stays of these" if len(short.broods) > 1 else "the stays of this"
            who = f"{in_words(len(short.broods))} broods" if len(short.broods) > 1 else "brood"
            there = f"there {'is' if short.there == 1 else 'are'} {in_words(short.there)}"
            text = (
                f"{when} {these} {who}, one after another, need {count_words(short.needed)} of the kind "
                f"{clean(short.kind)}, and {there}: {listed(short.broods)}."
            )
        else:
            text = (
                f"{when} there are too few vessels whatever the days of the moves: at least "
                f"{money(short.at_least)} must be spent on more ({clean(short.kind)})."
            )
        lines.append(text)
    return lines


def count_words(number: int) -> str:
    """Return `one vessel`, `five vessels`."""
    return f"{in_words(number)} {'vessel' if number == 1 else 'vessels'}"


def addition_text(result: Result) -> str:
    """Return the second answer as it is printed, or nothing; see `addition_blocks`."""
    blocks = addition_blocks(result)
    return f"{WITH_ADDED}\n{blocks_text(blocks, indent='  ')}" if blocks else ""


def addition_blocks(result: Result) -> list[Block]:
    """Return the second answer: the cheapest addition found, from when each vessel is used, and the proof."""
    plan = result.best.plan
    if not plan.added:
        if plan.verdict is Verdict.FITS:
            return []
        offer = "none of what could be added helps in the plans that were found"
        if not result.room.could_add:
            offer = 'the room file lists nothing under "could_add"'
        return [f"No plan: {offer}."]
    blocks: list[Block] = [added_grid(result.room, plan)]
    if plan.homeless:
        return [*blocks, "Even then not every brood has a home:", homeless_grid(plan)]
    blocks.append(f"Then every brood has a home. Together: {money(added_price(result.room, plan))}.")
    blocks += [words for words in (_first_loss(result), _least_words(result)) if words]
    return blocks + list(long_shortage_words(result.best.long_shortages))


def added_grid(room: Room, plan: Plan) -> Grid:
    """Return what is added, what each is called, from when it is used, and its price."""
    prices = room.prices
    rows = [
        (f"1 like {clean(added.like)}", clean(name), day, money(prices.get(added.like, 0.0)))
        for added in plan.added
        for name, day in _used_from(plan, added.like, added.copies)
    ]
    columns = (Column("add"), Column("called here"), Column("in use from"), Column("price", right=True))
    return Grid(columns, tuple(rows))


def _used_from(plan: Plan, like: str, copies: int) -> list[tuple[str, str]]:
    """Return (name, day) of each new vessel: the day on which its first fish move in."""
    named = []
    for number in range(1, copies + 1):
        name = new_vessel_name(like, number)
        first = min((stay.from_ for stay in plan.stays if stay.vessel == name), default=None)
        named.append((name, "not used" if first is None else day_words(first)))
    return named


def _first_loss(result: Result) -> str:
    """Return from when the first fish have no home with nothing added: the last day that would do is before."""
    first = min((homeless.from_ for homeless in result.as_it_is.plan.homeless), default=None)
    if first is None:
        return ""
    without = "it" if sum(added.copies for added in result.best.plan.added) == 1 else "them"
    return f"Without {without} the first fish lose their home on {day_words(first)}."


def _least_words(result: Result) -> str:
    """Return how far it is proven that nothing less will do."""
    level = next((level for level in result.best.levels if level.level == 1), None)
    if level is None or (not level.proven and level.bound <= 0):
        return "Not proven: a smaller addition may do."
    if not level.proven:
        return f"Not proven: nothing cheaper than {money(level.bound)} can do, but something between may."
    if fewest_too(result):
        return "No plan with fewer added tanks exists, and none with a cheaper addition (proven)."
    return "No plan with a cheaper addition exists (proven)."


def fewest_too(result: Result) -> bool:
    """Tell whether the least cost also means the fewest tanks.

    With k tanks added at the least cost C, fewer tanks cost at most (k - 1) times the dearest price. When
    that is less than C, a plan with fewer tanks would be a cheaper one, and there is none.
    """
    plan = result.best.plan
    copies = sum(added.copies for added in plan.added)
    dearest = max((offer.price for offer in result.room.could_add), default=0.0)
    return (copies - 1) * dearest < added_price(result.room, plan) - CENT


def _first_level_proven(answer: Answer) -> bool:
    return next((level.proven for level in answer.levels if level.level == 1), False)


def _all_proven(answer: Answer) -> bool:
    return all(level.proven for level in answer.levels)


def sure_text(result: Result) -> str:
    """Return how sure the answer is, as it is printed; see `sure_blocks`."""
    return f"{HOW_SURE}\n{blocks_text(sure_blocks(result), indent='  ')}"


def sure_blocks(result: Result) -> list[Block]:
    """Return how sure the answer is: level by level, and what it was planned on."""
    large = len(result.room.broods) - len(result.best.plan.not_taken) > MOST_BROODS_FOR_THE_SOLVER
    blocks: list[Block] = []
    answers = [("", result.best)]
    if result.as_it_is != result.best:
        answers = [("with what you have", result.as_it_is), ("with tanks added", result.best)]
    for title, answer in answers:
        if title:
            blocks.append(f"{title}:")
        if answer.levels:
            blocks.append(_levels_grid(answer.levels))
        if answer.found_by is FoundBy.FIRST_FIT and not (result.stopped or large or _all_proven(answer)):
            blocks.append(FIRST_FIT)
    blocks += _on_the_rows(result.room, [answer for _, answer in answers])
    blocks += _afresh_words(result)
    if result.stopped:
        blocks.append(STOPPED)
    elif large and any(answer.found_by is FoundBy.FIRST_FIT for _, answer in answers):
        blocks.append(LARGE_ROOM)
    blocks.append(planned_on(result.room))
    if any(level.proven for _, answer in answers for level in answer.levels):
        blocks.append(PLAN_SPACE)
    return [*blocks, CHECKED]


def _on_the_rows(room: Room, answers: Sequence[Answer]) -> Iterator[str]:
    """Yield what is to be known of the rows of the tables."""
    if any(level.name == "strain" and level.value > 0 for answer in answers for level in answer.levels):
        yield POINTS
    if optional_of(room):
        yield COLLECTIONS


def _afresh_words(result: Result) -> Iterator[str]:
    """Yield what strain there would be if the room were planned without the plan in hand, where that is clearly less."""
    if result.strain_afresh is not None:
        yield AFRESH.format(points=figure(result.strain_afresh))


def planned_on(room: Room) -> str:
    """Return which survival and which growth the keeper plans on."""
    keeper = room.keeper
    return f"Planned on {SURVIVAL[keeper.survival]} and {keeper.growth.value} growth."


def _levels_grid(levels: tuple[LevelOutcome, ...]) -> Grid:
    columns = (
        Column("what counts, most first", least=20),
        Column("reached", right=True, least=8),
        Column("best possible", right=True, least=8),
        Column("proven"),
    )
    rows = [
        (
            f"{mark} {clean(LEVEL_WORDS.get(level.name, level.name))}",
            _amount(level.value, level.unit),
            _amount(level.bound, level.unit) if level.proven or level.bound > 0 else "not known",
            "yes" if level.proven else "no",
        )
        for mark, level in zip(_marks(levels), levels, strict=True)
    ]
    return Grid(columns, tuple(rows))


def _marks(levels: tuple[LevelOutcome, ...]) -> list[str]:
    """Return `1`, `2`, `4a`, `4b`: the number of each level, with a letter where several rows share it."""
    numbers = [level.level for level in levels]
    return [
        f"{number}{ascii_lowercase[numbers[:row].count(number)]}"
        if numbers.count(number) > 1
        else f"{number}"
        for row, number in enumerate(numbers)
    ]


def _amount(value: float, unit: str) -> str:
    unit_of_one = unit.removesuffix("s") if value == 1 else unit
    return money(value) if unit == "price" else f"{figure(value)} {unit_of_one}".rstrip()


def figure(value: float) -> str:
    """Return a figure without needless decimals and with thousands set apart: `12 450`."""
    return f"{value:,.1f}".removesuffix(".0").replace(",", " ")
