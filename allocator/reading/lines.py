"""Lines with the rules in force for each: the pack, and the figures that the keeper knows better."""

from functools import partial
from pathlib import Path

from allocator.husbandry.hatching import incubation_at
from allocator.problems import nearest
from allocator.reading.gather import Parts, Placed
from allocator.reading.pack_lint import lint, note_faults
from allocator.reading.packs import change_figure, load_pack, with_one_of
from allocator.reading.shape import RawLine
from allocator.room import Line
from allocator.rules import Band, DegreeDays, Evidence, Figure, RulePack


def lines_of(parts: Parts, path: Path) -> tuple[tuple[Line, ...], tuple[RulePack, ...]]:
    """Return the lines whose rules could be read, and the packs; each pack is read once."""
    packs: dict[str, RulePack | None] = {}
    lines: dict[str, Line] = {}
    known = sorted({part.raw.name for part in parts.each(RawLine)} | parts.faulty.get("lines", set()))
    seen: set[str] = set()
    for part in parts.each(RawLine):
        raw = part.raw
        if raw.name in seen:
            parts.add(part, "the name is used twice", "name")
            continue
        seen.add(raw.name)
        _check_sharing(part, parts, known)
        if raw.rules not in packs:
            line = parts.source.line((*part.loc, "rules"))
            loaded = load_pack(raw.rules, relative_to=path, problems=parts.problems, line=line)
            packs[raw.rules] = loaded[0] if loaded else None
        pack = packs[raw.rules]
        if pack is None:
            parts.faulty.setdefault("lines", set()).add(raw.name)
            continue
        rules = _at_room_temperature(_changed(pack, part, parts, path.name), part, parts, path.name)
        lines[raw.name] = Line(
            name=raw.name, species=raw.species, rules=rules, may_share=tuple(raw.may_share_with)
        )
    return tuple(lines.values()), tuple(pack for pack in packs.values() if pack is not None)


def _check_sharing(part: Placed[RawLine], parts: Parts, known: list[str]) -> None:
    for number, other in enumerate(part.raw.may_share_with):
        if other == part.raw.name:
            parts.add(part, "a line always shares with itself", "may_share_with", number, hint="leave it out")
        elif other not in known:
            parts.add(
                part,
                "may_share_with names no line of this room",
                "may_share_with",
                number,
                found=f"got {other!r}",
                hint=nearest(other, known),
            )


def _changed(pack: RulePack, part: Placed[RawLine], parts: Parts, origin: str) -> RulePack:
    changed = pack
    where: dict[str, int] = {}
    for name, change in part.raw.change.items():
        after = change_figure(changed, name, change.value, origin, change.why)
        if after is None:
            figures = [known for known, _ in pack.figures()]
            hint = nearest(name, figures) or "`allocator rules PACK` lists every figure"
            parts.add(
                part, "change names no figure of the rules", "change", name, found=f"got {name!r}", hint=hint
            )
            continue
        changed = after
        where[name] = parts.source.line((*part.loc, "change", name))
    if where:
        alone = partial(with_one_of, changed, pack)
        note_faults(lint(changed), parts.problems, where, parts.source.line(part.loc), alone)
    return changed


def _at_room_temperature(rules: RulePack, part: Placed[RawLine], parts: Parts, origin: str) -> RulePack:
    """Return the rules with the days to hatch worked out for the temperature of the room, where it is said.

    A keeper's own days stay, and so do those of an own pack that says nothing of warmth: the degree-days of
    the pack that it is based on are of other eggs.
    """
    celsius, sums = parts.conditions.temperature_c, rules.degree_days
    if celsius is None or sums is None:
        return rules
    days = _figures(rules.incubation_days)
    own = any(figure.evidence is Evidence.KEEPER for figure in days)
    of_others = rules.origin in {figure.origin for figure in days} - {
        figure.origin for figure in _figures(sums)
    }
    if own or of_others:
        return rules
    band = incubation_at(celsius, rules, origin)
    if band is None:
        what = (
            "the days to hatch stay as in the rules: their degree-days hold from "
            f"{sums.from_c.value:g} to {sums.until_c.value:g} degrees C only"
        )
        found = f"the room has {celsius:g} degrees C"
        hint = "put your own days under change: incubation_days.expected, and .low and .high"
        parts.add(part, what, found=found, hint=hint, warn=True)
        return rules
    return rules.model_copy(update={"incubation_days": band})


def _figures(part: Band | DegreeDays) -> tuple[Figure, Figure, Figure]:
    return part.low, part.expected, part.high
