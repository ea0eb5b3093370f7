"""What will go wrong with a plan, or is passed over by it, and can be told from the room file alone."""

from collections.abc import Iterator
from datetime import date

from allocator.husbandry.stages import first_stage_kinds
from allocator.reading.gather import Parts, Placed, R
from allocator.reading.shape import RawBrood, RawConditions, RawFilter, RawGroup, RawVessel
from allocator.reading.source import Loc
from allocator.room import BreedingGroup, Brood, CollectedBy, Line, Vessel


def check_snails(
    parts: Parts,
    lines: dict[str, Line],
    vessels: dict[str, Vessel],
    groups: tuple[BreedingGroup, ...],
    broods: dict[str, Brood],
) -> None:
    """Warn of eggs still to come that need a vessel without snails, where no vessel is said to be without."""
    group_named = {group.name: group for group in groups}
    for part in parts.each(RawBrood):
        brood = broods.get(part.raw.name)
        if brood is not None and brood.planned and brood.line in lines:
            _check_snails(part, parts, brood, lines, vessels)
    for group_part in parts.each(RawGroup):
        group = group_named.get(group_part.raw.name)
        for number, collect in enumerate(group_part.raw.collect if group else ()):
            brood = Brood(
                name=group_part.raw.name,
                line=group_part.raw.line,
                collected=collect.from_,
                by=collect.by,
                eggs=collect.eggs,
                planned=True,
            )
            _check_snails(group_part, parts, brood, lines, vessels, "collect", number)


def _check_snails(
    part: Placed[R],
    parts: Parts,
    brood: Brood,
    lines: dict[str, Line],
    vessels: dict[str, Vessel],
    *path: str | int,
) -> None:
    rules = lines[brood.line].rules
    if not rules.eggs_need_snail_free or rules.guards_young:
        return
    kinds = first_stage_kinds(brood, rules)
    if any(vessel.snail_free and set(kinds) & set(vessel.kinds) for vessel in vessels.values()):
        return
    eggs = "a whole mop goes" if brood.by is CollectedBy.MOP else "the eggs go"
    kind = " or ".join(kind.value for kind in kinds)
    parts.add(
        part,
        f"{eggs} into a snail-free vessel of the kind {kind}, and there is none",
        *path,
        hint="say snail_free: true of a tank in which no snails are",
        warn=True,
    )


def check_warmth(parts: Parts, lines: dict[str, Line]) -> None:
    """Warn of water that is cooler or warmer than the rules of a line hold for."""
    for called, loc, celsius in _temperatures(parts):
        for line in lines.values():
            water = line.rules.water
            if water.from_c.value <= celsius <= water.until_c.value:
                continue
            held = f"{water.from_c.value:g} to {water.until_c.value:g}"
            parts.problems.warn(
                parts.source.line(loc),
                f"{called}: {celsius:g} degrees C is outside the {held} for which the rules of line {line.name!r} hold",
                found=line.rules.name,
                hint="a plan counts as if it were within: growth and losses may differ",
            )


def _temperatures(parts: Parts) -> Iterator[tuple[str, Loc, float]]:
    said: list[tuple[str, Loc, RawConditions | None]] = [("the room file", (), parts.conditions)]
    for part in parts.each(RawVessel):
        said.append((part.called, part.loc, part.raw.conditions))
        said += [
            (part.called, (*part.loc, "except", number), other.conditions)
            for number, other in enumerate(part.raw.except_)
        ]
    for called, loc, conditions in said:
        if conditions is not None and conditions.temperature_c is not None:
            yield called, (*loc, "conditions", "temperature_c"), conditions.temperature_c


def check_filters(parts: Parts, today: date) -> None:
    """Warn of filters that do not run yet."""
    for part in parts.each(RawVessel):
        _check_filter(part, parts, part.raw.filter, today, "filter", "since")
        for number, other in enumerate(part.raw.except_):
            if other.filter is not None:
                _check_filter(part, parts, other.filter, today, "except", number, "filter", "since")


def _check_filter(
    part: Placed[RawVessel], parts: Parts, said: RawFilter, today: date, *path: str | int
) -> None:
    if said.since is None or said.since <= today:
        return
    hint = "`allocator water` counts it as nothing until it runs and has matured; plans count it as a filter already"
    found = f"since {said.since}, today is {today}"
    parts.add(part, "the filter does not run yet", *path, found=found, hint=hint, warn=True)
