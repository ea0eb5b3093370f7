"""Made-up rooms, each from a size, a character and a seed: `bench_room("tight-longs", "club", 3)`.

What is drawn: lines with a shipped rule pack each, collections on Saturdays, eggs. The vessels follow from that: what
is alive in each week is packed roughly (`counted`), and the room gets about as many of each kind, fewer of the kind
that the character makes scarce. Breeding tanks are left out: no brood may live in them.
"""

from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil
from random import Random

from allocator.room import Brood, CollectedBy, Keeper, Line, Room, Span
from allocator.rules import VesselKind as Kind
from benchmark.ages import KINDS, SATURDAY, TODAY, Ages, ages_of, most_eggs, pack_named
from benchmark.counted import Batch, eggs_of, vessels_needed
from benchmark.pinned import pins_for
from benchmark.settled_in import settle_in
from benchmark.vessels import SORTS, UNLIKE, offers_of, sample_of, vessels_of

DAYS_A_MONTH = 365.25 / 12
SELLING_DAYS = 45
"""Days kept free at the end of the months for fish that are sold late (judgement)."""

PACKS = (
    "rainbowfish-large",
    "rainbowfish-medium",
    "rainbowfish-large",
    "madagascar-rainbow",
    "rainbowfish-small",
    "rainbowfish-large",
    "blue-eye",
    "threadfin",
    "zebrafish",
    "bottom-catfish",
)
"""Packs of the lines, in turn: most fish of such rooms need a long tank in the end."""


@dataclass(frozen=True)
class Size:
    """How large a room is: about so many vessels, exactly so many broods, planned over so many months.

    `plenty` has the long tanks for each that the rough count comes to, times those of the character: the longer the
    season, the longer tanks are kept.
    """

    vessels: int
    broods: int
    months: int
    lines: int
    small_lines: int
    plenty: float = 1.0


SIZES = {
    "home": Size(20, 25, 15, lines=3, small_lines=5, plenty=0.85),
    "club": Size(65, 160, 18, lines=8, small_lines=18),
    "farm": Size(230, 620, 24, lines=20, small_lines=60, plenty=1.12),
    "large-farm": Size(2_000, 5_000, 24, lines=100, small_lines=400, plenty=1.12),
}


@dataclass(frozen=True)
class Character:
    """What kind of room it is.

    Attributes
    ----------
    in_being
        Share of the broods that are there today.
    plenty
        Vessels of each kind for each that the rough count comes to (judgement, from a few rooms planned: most of them
        should fall short by some per cent).
    """

    in_being: float = 0.1
    plenty: tuple[float, float, float] = (1.0, 1.0, 1.0)


CHARACTERS = {
    "small-lines": Character(plenty=(1.0, 1.0, 1.15)),
    "bulk": Character(plenty=(1.0, 1.1, 0.9)),
    "tight-boxes": Character(plenty=(0.7, 1.1, 1.2)),
    "tight-longs": Character(plenty=(1.1, 1.05, 1.0)),
    "unlike": Character(plenty=(1.0, 1.0, 1.05)),
    "half-full": Character(in_being=0.4, plenty=(1.0, 1.1, 1.35)),
    "pins": Character(plenty=(1.0, 1.1, 1.25)),
}


def bench_room(character: str, size: str, seed: int) -> Room:
    """Return a room. The same three always give the same room."""
    random = Random(f"{size} {character} {seed}")  # noqa: S311 - made-up rooms, no secrets
    kind, wanted = CHARACTERS[character], SIZES[size]
    sorts = UNLIKE if character == "unlike" else SORTS
    samples = {each: sample_of(sorts, each) for each in KINDS}
    lines = _lines(random, character, wanted)
    by_pack = {line.rules.name: ages_of(line.rules, samples) for line in lines}
    ages = [by_pack[line.rules.name] for line in lines]
    away = _away(seed, wanted)
    smallest = min((sort for sort in sorts if sort.kind is Kind.HATCHERY), key=lambda sort: sort.litres)
    most = [most_eggs(line.rules, smallest.vessel("any", "any")) for line in lines]
    batches = _batches(random, kind, wanted, ages, away, most)
    counting = vessels_needed(batches, ages, [line.rules.length_ratio_limit.value for line in lines])

    def copies(scale: float) -> dict[Kind, int]:
        peaks = counting.peaks(scale)
        box, ten, long = kind.plenty
        return {
            each: max(1, round(peaks[each] * plenty))
            for each, plenty in zip(KINDS, (box, ten, long * wanted.plenty), strict=True)
        }

    low, high = 0.05, 8.0
    for _ in range(
        9
    ):  # eggs so that the vessels come to what the size says; the last are within one in a hundred
        middle = (low + high) / 2
        low, high = (middle, high) if sum(copies(middle).values()) <= wanted.vessels else (low, middle)
    broods = _broods(batches, lines, low)
    broods, occupied = settle_in(
        random, broods, {line.name: line.rules for line in lines}, sorts, copies(low)
    )
    vessels = vessels_of(sorts, copies(low), occupied)
    room = Room(
        name=f"{size} {character} {seed}",
        today=TODAY,
        keeper=Keeper(
            move_days=(SATURDAY,), most_moves_a_day=_most_moves(wanted), away=() if away is None else (away,)
        ),
        vessels=vessels,
        lines=tuple(lines),
        broods=tuple(broods),
        could_add=offers_of(sorts, vessels),
    )
    pins = pins_for(random, room, max(3, len(broods) // 4)) if character == "pins" else ()
    return room.model_copy(update={"pins": pins})


def _lines(random: Random, character: str, size: Size) -> list[Line]:
    many = 1 if character == "bulk" else size.small_lines if character == "small-lines" else size.lines
    start = 0 if many == 1 else random.randrange(len(PACKS))
    packs = [pack_named(PACKS[(start + number) % len(PACKS)]) for number in range(many)]
    return [
        Line(name=f"line {number}", species="made up", rules=pack)
        for number, pack in enumerate(packs, start=1)
    ]


def _away(seed: int, size: Size) -> Span | None:
    """Return a holiday of twelve days in every second room."""
    if seed % 2 == 0:
        return None
    start = TODAY + timedelta(weeks=round(size.months * 2.2), days=2)
    return Span(start=start, end=start + timedelta(days=12))


def _most_moves(size: Size) -> int:
    """Return moves a day that a keeper of such a room is up to: plenty, so that tanks run short and not hands."""
    return 8 + ceil(12 * size.broods / (size.months * DAYS_A_MONTH / 7))


def _batches(
    random: Random, kind: Character, size: Size, ages: list[Ages], away: Span | None, most: list[int]
) -> list[Batch]:
    """Draw the collections of each line, evenly: those in being over a life, the others over the months."""
    weights = [random.uniform(0.6, 1.6) for _ in ages]
    drawn = random.choices(range(len(ages)), weights, k=max(0, size.broods - len(ages)))
    of_line = Counter([*range(len(ages)), *drawn])
    there = _shared_out(round(size.broods * kind.in_being), of_line)
    batches = []
    for line, fish in enumerate(ages):
        past = there[line]
        since = max(10, fish.sale_days - 25)
        past_days = (3 + int(place * since) for place in _evenly(random, past))
        batches += [(line, TODAY - timedelta(days=days)) for days in past_days]
        weeks = max(8, int(size.months * DAYS_A_MONTH - fish.sale_days - SELLING_DAYS) // 7)
        for place in _evenly(random, of_line[line] - past):
            collected = TODAY + timedelta(weeks=int(place * weeks))
            if away is not None and away.holds(collected):
                collected += timedelta(weeks=2)
            batches.append((line, collected))
    return [Batch(line, collected, random.uniform(24, 60), most[line]) for line, collected in batches]


def _shared_out(many: int, of_line: Counter[int]) -> dict[int, int]:
    """Return how many broods of each line are in being: its share of so many, whole numbers that add up."""
    total, given, so_far = of_line.total(), {}, 0
    for line, broods in sorted(of_line.items()):
        given[line] = (so_far + broods) * many // total - so_far * many // total
        so_far += broods
    return given


def _evenly(random: Random, many: int) -> list[float]:
    """Return so many places between 0 and 1, evenly apart, with a random start."""
    start = random.random()
    return [(number + start) / many for number in range(many)]


def _broods(batches: list[Batch], lines: list[Line], scale: float) -> list[Brood]:
    found = []
    seen: dict[tuple[int, date], int] = {}
    for batch in sorted(batches, key=lambda batch: (batch.collected, batch.line, batch.eggs)):
        again = seen[batch.line, batch.collected] = seen.get((batch.line, batch.collected), 0) + 1
        mark = f" {again}" if again > 1 else ""
        found.append(
            Brood(
                name=f"{lines[batch.line].name.replace('line ', 'L')} {batch.collected.isoformat()}{mark}",
                line=lines[batch.line].name,
                collected=batch.collected,
                by=CollectedBy.PICKING,
                eggs=eggs_of(batch, scale),
                planned=batch.collected >= TODAY,
            )
        )
    return found
