"""Breeding groups, and their planned collections spelled out as broods."""

from collections.abc import Iterator
from datetime import date, timedelta

from allocator.reading.gather import Parts, Placed
from allocator.reading.laying import check_guarding_vessel, check_laid_over, check_priority
from allocator.reading.shape import RawCollect, RawGroup, Take
from allocator.room import BreedingGroup, Brood, Keeper, Line, Span, Vessel
from allocator.rules import VesselKind

FURTHEST_AHEAD = timedelta(days=3 * 366)
"""Nobody plans collections further ahead; a later date is a slip of the pen (judgement)."""


def groups_of(parts: Parts, lines: dict[str, Line], vessels: dict[str, Vessel]) -> tuple[BreedingGroup, ...]:
    """Return the breeding groups whose line and vessel are known."""
    groups: dict[str, BreedingGroup] = {}
    seen: set[str] = set()
    for part in parts.each(RawGroup):
        raw = part.raw
        if raw.name in seen:
            parts.add(part, "the name is used twice", "name")
            continue
        seen.add(raw.name)
        if raw.males + raw.females == 0:
            parts.add(part, "there is no fish in it", "males", found="males 0, females 0")
        if raw.from_ is not None and raw.until is not None and raw.until <= raw.from_:
            parts.add(part, "until must be after from", "until", found=f"{raw.from_} to {raw.until}")
        known = parts.knows(part, "lines", raw.line, lines, "line")
        if not parts.knows(part, "vessels", raw.lives_in, vessels, "lives_in") or not known:
            continue
        group = BreedingGroup(
            name=raw.name,
            line=raw.line,
            males=raw.males,
            females=raw.females,
            vessel=raw.lives_in,
            lives_there=Span(start=raw.from_, end=raw.until),
        )
        rules = lines[raw.line].rules
        guarded = rules.guards_young and bool(raw.collect)
        if guarded:
            check_guarding_vessel(part, parts, vessels[raw.lives_in], "lives_in")
        _check_home(part, group, list(groups.values()), vessels[raw.lives_in], parts, told=guarded)
        for number, collect in enumerate(raw.collect):
            check_laid_over(part, parts, collect, rules, "collect", number, "laid_over_days")
            check_priority(part, parts, collect, "collect", number, "priority")
        groups[raw.name] = group
    return tuple(groups.values())


def _check_home(
    part: Placed[RawGroup],
    group: BreedingGroup,
    others: list[BreedingGroup],
    vessel: Vessel,
    parts: Parts,
    *,
    told: bool,
) -> None:
    for other in others:
        if other.vessel == group.vessel and other.lives_there.meets(group.lives_there):
            what = f"it would share {group.vessel!r} with breeding group {other.name!r}"
            parts.add(
                part, what, "lives_in", hint="give each group a vessel of its own, or days that do not meet"
            )
    if VesselKind.BREEDING not in vessel.kinds and not told:
        kinds = ", ".join(kind.value for kind in vessel.kinds)
        hint = f"add `also_for: [breeding]` to {vessel.declared_as!r} if that is meant"
        parts.add(part, f"{vessel.name!r} is not for breeding", "lives_in", found=kinds, hint=hint, warn=True)


def planned_of(
    parts: Parts, today: date, keeper: Keeper, left_out: dict[str, str]
) -> Iterator[tuple[Placed[RawGroup], Brood]]:
    """
    Yield one brood for each planned collection.

    Collections before today and on days away are left out: `left_out` takes their names, and why.
    """
    for part in parts.each(RawGroup):
        for number, collect in enumerate(part.raw.collect):
            if not _sound(part, collect, ("collect", number), today, parts):
                continue
            for day in _days(collect):
                name = f"{collect.label or part.raw.name} {day.isoformat()}"
                if day < today:
                    left_out[name] = f"its day is before today, {today}"
                elif any(span.holds(day) for span in keeper.away):
                    left_out[name] = "the keeper is away on its day"
                else:
                    yield (
                        part,
                        Brood(
                            name=name,
                            line=part.raw.line,
                            collected=day,
                            by=collect.by,
                            eggs=collect.eggs,
                            planned=True,
                            laid_over_days=collect.laid_over_days,
                            parents=part.raw.name,
                            optional=collect.take is Take.IF_IT_FITS,
                            priority=collect.priority or 0,
                        ),
                    )


def _days(collect: RawCollect) -> Iterator[date]:
    """Yield the days of collection; `until` is the last day on which there may be one."""
    day = collect.from_
    yield day
    while collect.every is not None and collect.until is not None:
        day += timedelta(days=collect.every)
        if day > collect.until:
            return
        yield day


def _sound(
    part: Placed[RawGroup], collect: RawCollect, path: tuple[str | int, ...], today: date, parts: Parts
) -> bool:
    group = part.raw
    before = len(parts.problems.errors)
    last = collect.from_ if collect.until is None else collect.until
    if last < collect.from_:
        found = f"{collect.from_} to {last}"
        parts.add(part, "collect ends before it begins", *path, "until", found=found)
    if collect.every is not None and collect.until is None:
        parts.add(part, "collect has no end", *path, hint="say until when")
    if collect.every is None and last > collect.from_:
        parts.add(part, "collect does not say how often", *path, hint="write for example every: 7 days")
    if last - today > FURTHEST_AHEAD:
        what = "collect goes on more than three years from today"
        parts.add(part, what, *path, found=f"until {last}", hint="check the year")
    if (group.until is not None and last >= group.until) or (
        group.from_ is not None and collect.from_ < group.from_
    ):
        stay = f"group {group.from_ or 'so far'} to {group.until or 'later'}"
        found = f"collections {collect.from_} to {last}, {stay}"
        parts.add(part, "collect goes beyond the days on which the group is there", *path, found=found)
    return len(parts.problems.errors) == before
