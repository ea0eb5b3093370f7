"""Over how many days eggs were laid, whose they are, and whether they are taken."""

from collections.abc import Iterable
from math import ceil

from allocator.reading.gather import Parts, Placed, R
from allocator.reading.shape import RawBrood, RawCollect, RawGroup, Take
from allocator.room import BreedingGroup, CollectedBy, Line, Vessel
from allocator.rules import RulePack, VesselKind


def check_laid_over(
    part: Placed[R], parts: Parts, said: RawBrood | RawCollect, rules: RulePack, *path: str | int
) -> None:
    """Warn where eggs of the first day may hatch before those of the last are collected; young are taken as such."""
    days, soonest = said.laid_over_days, rules.incubation_days.low.value
    unlaid = said.by is CollectedBy.YOUNG or rules.incubation_days.high.value == 0
    if days == 1 or days - 1 < soonest or unlaid:
        return
    most = max(1, ceil(soonest))
    a_few = "1 day" if most == 1 else f"{most} days"
    advice = f"hang the mop for at most {a_few}"
    if said.by is not CollectedBy.MOP:
        advice = f"collect at least every {a_few}"
    found = f"laid over {days} days, hatch from {soonest:.2g} days on"
    hint = f"{advice}, so that eggs and not fry are collected"
    parts.add(part, "the first may hatch before they are collected", *path, found=found, hint=hint, warn=True)


def check_priority(part: Placed[R], parts: Parts, said: RawBrood | RawCollect, *path: str | int) -> None:
    """Note a priority of what is taken anyhow."""
    if said.priority is not None and said.take is Take.ALWAYS:
        hint = "write `take: if it fits` beside it, or leave it out"
        found = f"got {said.priority}, take is {said.take.value}"
        parts.add(part, "priority says nothing of what is always taken", *path, found=found, hint=hint)


def check_parents(
    part: Placed[RawBrood],
    parts: Parts,
    line: Line | None,
    groups: Iterable[BreedingGroup],
    vessels: dict[str, Vessel],
) -> None:
    """Note parents that are not in the room, are of another line, or cannot have the young with them."""
    raw, known = part.raw, {group.name: group for group in groups}
    of_line = sorted(group.name for group in known.values() if group.line == raw.line)
    guarded = line is not None and line.rules.guards_young
    if raw.parents is None:
        if guarded and not raw.lives_in:
            what = "its parents are missing: by these rules the young begin with them"
            hint = (
                f"write parents: {of_line[0]}" if of_line else f"list a breeding group of line {raw.line!r}"
            )
            parts.add(part, what, hint=hint)
        return
    written = {group.raw.name for group in parts.each(RawGroup)}
    if not parts.knows(part, "breeding_groups", raw.parents, written, "parents"):
        return
    if raw.parents not in known:  # what is wrong with the group is told already
        return
    group = known[raw.parents]
    if group.line != raw.line:
        found = f"{group.name!r} is of line {group.line!r}, the brood of {raw.line!r}"
        parts.add(part, "its parents are of another line", "parents", found=found)
    elif guarded and not raw.lives_in and not group.lives_there.holds(raw.collected):
        stay = f"{group.lives_there.start or 'so far'} to {group.lives_there.end or 'later'}"
        found = f"collected {raw.collected}, {group.name!r} {stay}"
        parts.add(part, "its parents are not there on its first day", "parents", found=found)
    elif guarded and not raw.lives_in:
        check_guarding_vessel(part, parts, vessels[group.vessel], "parents")


def check_guarding_vessel(part: Placed[R], parts: Parts, vessel: Vessel, *path: str | int) -> None:
    """Note a vessel that is not for breeding, where young are to begin with their parents."""
    if VesselKind.BREEDING not in vessel.kinds:
        kinds = ", ".join(kind.value for kind in vessel.kinds)
        what = f"the young begin with their parents, and {vessel.name!r} is not for breeding"
        hint = f"add `also_for: [breeding]` to {vessel.declared_as!r} if that is meant"
        parts.add(part, what, *path, found=kinds, hint=hint)
