"""Broods in being: where they live today, what was counted, and whether that can be."""

from datetime import date, timedelta

from allocator.husbandry.growth import curve
from allocator.reading.gather import Parts, Placed
from allocator.reading.laying import check_laid_over, check_parents, check_priority
from allocator.reading.shape import RawBrood, RawCount, Take
from allocator.room import BreedingGroup, Brood, Count, Home, Line, Vessel
from allocator.rules import GrowthPace

OLDEST = timedelta(days=5 * 366)
FURTHEST_AHEAD = timedelta(days=3 * 366)
# Beyond these ages a date is a slip of the pen: small egg-layers are sold within two years (judgement).

LONGEST_OF_CURVE = 1.5
"""Fish half as long again as the end of the fast curve are measured wrongly (judgement)."""


def broods_of(
    parts: Parts,
    today: date,
    lines: dict[str, Line],
    vessels: dict[str, Vessel],
    groups: tuple[BreedingGroup, ...],
) -> dict[str, tuple[Placed[RawBrood], Brood]]:
    """Return the broods that the file lists, by name, each with its place in the file."""
    broods: dict[str, tuple[Placed[RawBrood], Brood]] = {}
    for part in parts.each(RawBrood):
        raw = part.raw
        if raw.name in broods:
            parts.add(part, "the name is used twice", "name")
            continue
        if parts.knows(part, "lines", raw.line, lines, "line"):
            _check_counts(part, parts, today, lines[raw.line])
            check_laid_over(part, parts, raw, lines[raw.line].rules, "laid_over_days")
        check_parents(part, parts, lines.get(raw.line), groups, vessels)
        _check_homes(part, parts, vessels)
        _check_days(part, parts, today)
        check_priority(part, parts, raw, "priority")
        broods[raw.name] = (
            part,
            Brood(
                name=raw.name,
                line=raw.line,
                collected=raw.collected,
                by=raw.by,
                eggs=raw.eggs,
                homes=tuple(Home(vessel=home.vessel, fish=home.fish) for home in raw.lives_in),
                in_home_since=raw.since,
                counts=tuple(Count(on=count.on, fish=count.fish, mm=count.mm) for count in raw.counted),
                planned=not raw.lives_in,
                laid_over_days=raw.laid_over_days,
                parents=raw.parents,
                optional=raw.take is Take.IF_IT_FITS,
                priority=raw.priority or 0,
            ),
        )
    return broods


def _check_days(part: Placed[RawBrood], parts: Parts, today: date) -> None:
    raw = part.raw
    if raw.lives_in and raw.collected > today:
        found = f"collected {raw.collected}, today is {today}"
        parts.add(part, "it has a home but is not collected yet", "collected", found=found)
    if not raw.lives_in and raw.collected < today:
        parts.add(part, "its home is missing", hint="write lives_in: and the name of a vessel")
    if raw.lives_in and raw.take is not Take.ALWAYS:
        hint = "leave take out: only what is still to come may be left out"
        parts.add(part, "its fish are there already", "take", found=f"got {raw.take.value}", hint=hint)
    if not raw.lives_in and (raw.counted or raw.since):
        key = "counted" if raw.counted else "since"
        parts.add(part, f"{key} is given, but no home", key, hint="write lives_in: and the name of a vessel")
    if today - raw.collected > OLDEST or raw.collected - today > FURTHEST_AHEAD:
        found = f"collected {raw.collected}, today is {today}"
        parts.add(
            part, "the day of collection cannot be true", "collected", found=found, hint="check the year"
        )
    if raw.since is not None and not raw.collected <= raw.since <= today:
        what = "since must be from the day of collection to today"
        parts.add(part, what, "since", found=f"got {raw.since}, collected {raw.collected}, today is {today}")


def _check_homes(part: Placed[RawBrood], parts: Parts, vessels: dict[str, Vessel]) -> None:
    raw = part.raw
    seen: set[str] = set()
    for home in raw.lives_in:
        parts.knows(part, "vessels", home.vessel, vessels, "lives_in")
        if home.vessel in seen:
            parts.add(part, f"lives_in names {home.vessel!r} twice", "lives_in")
        seen.add(home.vessel)
    placed = sum(home.fish or 0 for home in raw.lives_in)
    last = max(raw.counted, key=lambda count: count.on, default=None)
    most, why = (raw.eggs, "eggs") if last is None else (last.fish, f"fish counted on {last.on}")
    if placed > most:
        parts.add(
            part, "lives_in has more fish than there are", "lives_in", found=f"{placed} of {most} {why}"
        )
    everywhere = all(home.fish is not None for home in raw.lives_in)
    if last is not None and raw.lives_in and everywhere and placed < last.fish:
        found = f"{placed} of {last.fish} counted on {last.on}"
        hint = "add the other home, or count again"
        parts.add(part, "lives_in leaves fish out", "lives_in", found=found, hint=hint, warn=True)


def _check_counts(part: Placed[RawBrood], parts: Parts, today: date, line: Line) -> None:
    raw = part.raw
    fewest: RawCount | None = None
    days: set[date] = set()
    for count in sorted(raw.counted, key=lambda count: count.on):
        path = ("counted", raw.counted.index(count))
        if count.on < raw.collected:
            found = f"counted {count.on}, collected {raw.collected}"
            parts.add(part, "counted before it was collected", *path, found=found)
        if count.on > today:
            parts.add(part, "counted after today", *path, found=f"counted {count.on}, today is {today}")
        if count.on in days:
            parts.add(part, f"counted twice on {count.on}", *path)
        days.add(count.on)
        if count.fish > raw.eggs:
            parts.add(part, "more fish than eggs", *path, found=f"{count.fish} fish of {raw.eggs} eggs")
        elif fewest is not None and count.fish > fewest.fish:
            found = f"{fewest.fish} on {fewest.on}, {count.fish} on {count.on}"
            parts.add(part, "more fish than at an earlier count", *path, found=found, warn=True)
        if fewest is None or count.fish < fewest.fish:
            fewest = count
        _check_length(part, count, path, parts, line)


def _check_length(
    part: Placed[RawBrood], count: RawCount, path: tuple[str | int, ...], parts: Parts, line: Line
) -> None:
    if count.mm is None:
        return
    rules, raw = line.rules, part.raw
    longest = LONGEST_OF_CURVE * curve(rules, GrowthPace.FAST)[-1][1]
    if count.mm > longest:
        what = f"longer than fish of these rules ({rules.name}) grow"
        parts.add(part, what, *path, "mm", found=f"got {count.mm:g} mm", hint="check the unit: mm")
    laid = raw.collected - timedelta(days=raw.laid_over_days - 1)
    first = laid + timedelta(days=int(rules.incubation_days.low.value))
    if raw.collected <= count.on < first:
        found = f"measured {count.on}, hatch from {first}"
        parts.add(part, "measured before any can have hatched", *path, "mm", found=found)
