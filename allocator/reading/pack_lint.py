"""What can be wrong with the numbers of a rule pack, all of it at once."""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import pairwise

from allocator.husbandry.growth import age_at_mm, growth_curve
from allocator.problems import Problems
from allocator.reading.pack_care import care_faults
from allocator.reading.pack_fault import Fault
from allocator.reading.pack_homes import home_faults
from allocator.reading.pack_sizes import size_faults
from allocator.reading.pack_units import unit_of
from allocator.rules import (
    Band,
    Evidence,
    Figure,
    FlowSetting,
    GrowthPace,
    Level,
    RulePack,
    StageRule,
    VesselKind,
)

YEAR = re.compile(r"\b(?:1[89]|20)\d\d\b")
NUMBER = re.compile(r"\d+(?:\.\d+)?")
SUM = re.compile(r"\d.*=\s*\d")
LEAST_POWER, MOST_POWER = 2.0, 4.0
WEEK = 7.0


def lint(pack: RulePack) -> list[Fault]:
    """Return every fault of a pack. Stages and care are followed only on sound growth curves and caps."""
    checks = (_evidence, _bands, _curves, _steps, _caps, _warmth, _others, size_faults)
    faults = [fault for check in checks for fault in check(pack)]
    if not _spoilt(faults, "length.", "hatch_mm", "adult_mm"):
        faults += [*_stages(pack), *care_faults(pack)]
        if not _spoilt(faults, "sale_mm", "weight_", "room", "flow", "stages"):
            faults += home_faults(pack)
    return faults


def _spoilt(faults: Iterable[Fault], *parts: str) -> bool:
    return any(fault.name.startswith(parts) and not fault.mild for fault in faults)


def note_faults(
    faults: Iterable[Fault],
    problems: Problems,
    lines: Mapping[str, int],
    line: int = 1,
    alone: Callable[[str], RulePack | None] | None = None,
) -> None:
    """
    Note faults as problems, each at the line of its figure or of the nearest part that has one.

    Parameters
    ----------
    lines
        Where each figure and each part of the file stands.
    line
        Where a fault is told of which nothing stands in the file.
    alone
        Returns the base with but one figure of the file changed, or None. With it a fault of a figure that the file
        does not hold is told where the figure stands that brings it about; if none does so alone, at the first.
    """
    causes: dict[str, set[str]] | None = None
    for fault in faults:
        where = _line_of(fault.name, lines)
        if where is None and alone is not None and lines:
            if causes is None:
                packs = {name: alone(name) for name in lines}
                causes = {name: set(map(_key, lint(pack))) for name, pack in packs.items() if pack}
            to_blame = [lines[name] for name, keys in causes.items() if _key(fault) in keys]
            where = min(to_blame or lines.values())
        note = problems.warn if fault.mild else problems.add
        note(line if where is None else where, f"{fault.name} {fault.what}", hint=fault.hint)


def _key(fault: Fault) -> str:
    """Return a fault without its numbers, which other changes of the file may change too."""
    return f"{fault.name} {re.sub(NUMBER, '', fault.what)}"


def _line_of(name: str, lines: Mapping[str, int]) -> int | None:
    if name in lines:
        return lines[name]
    return min((line for known, line in lines.items() if known.startswith(f"{name}.")), default=None)


def _evidence(pack: RulePack) -> Iterator[Fault]:
    for name, figure in pack.figures():
        if figure.evidence is Evidence.PUBLISHED and not YEAR.search(figure.source):
            yield Fault(name, "is published but its source has no year", "name author, year and where")
        if figure.evidence is Evidence.PUBLISHED and Evidence.MEMORY.value in figure.source:
            hint = "give what is from memory a source of its own"
            yield Fault(name, "is published but its source speaks of figures from memory", hint)
        if figure.evidence is Evidence.DERIVED and not SUM.search(figure.source):
            yield Fault(name, "is derived but its source has no sum", "write the sum: 8 + 30 = 38")
        if not figure.source.strip():
            yield Fault(name, "has no source")
        due = unit_of(name)[0]
        if figure.unit != due:
            yield Fault(name, f"is in {figure.unit!r}, not in {due!r}")
        if figure.value < 0:
            yield Fault(name, f"is below 0 (got {figure.value:g})")


def _bands(pack: RulePack) -> Iterator[Fault]:
    bands = {"eggs_a_day": pack.eggs_a_day, "incubation_days": pack.incubation_days}
    bands |= {"hatch_share": pack.hatch_share}
    bands |= {f"survival.{n}.share": step.share for n, step in enumerate(pack.survival, start=1)}
    bands |= {"monthly_survival_after": pack.monthly_survival_after}
    for name, band in bands.items():
        low, expected, high = band.low.value, band.expected.value, band.high.value
        if not low <= expected <= high:
            yield Fault(name, f"must rise from low to high (got {low:g}, {expected:g}, {high:g})")
        if name not in ("eggs_a_day", "incubation_days"):
            yield from _shares(name, band)


def _shares(name: str, band: Band) -> Iterator[Fault]:
    for end in ("low", "expected", "high"):
        value = getattr(band, end).value
        if not 0 < value <= 1:
            yield Fault(
                f"{name}.{end}", f"must be a share above 0 and up to 1 (got {value:g})", _as_share(value)
            )


def _as_share(value: float) -> str | None:
    return f"write {value / 100:g} for {value:g} %" if 1 < value <= 100 else None  # noqa: PLR2004 - percent


def _curves(pack: RulePack) -> Iterator[Fault]:
    yield from _rising("survival", "until_age_days", [step.until_age_days for step in pack.survival], above=0)
    yield from _rising("length", "age_days", [point.age_days for point in pack.length], above=0)
    for pace in GrowthPace:
        lengths = [getattr(point, pace.value) for point in pack.length]
        yield from _rising("length", pace.value, lengths, above=pack.hatch_mm.value)
        yield from _grown_up(pack, pace, lengths[-1].value)
    for number, point in enumerate(pack.length, start=1):
        if not point.slow.value <= point.typical.value <= point.fast.value:
            yield Fault(f"length.{number}", "must rise from slow to fast")
    adult = pack.adult_mm
    if not adult.slow.value <= adult.typical.value <= adult.fast.value:
        yield Fault("adult_mm", "must rise from slow to fast")
    if pack.hatch_mm.value <= 0:
        yield Fault("hatch_mm", "must be above 0")
    if pack.weight_a.value <= 0:
        yield Fault("weight_a", "must be above 0")
    if not LEAST_POWER <= pack.weight_b.value <= MOST_POWER:
        yield Fault(
            "weight_b",
            f"must lie between 2 and 4 (got {pack.weight_b.value:g}); fish weigh about length cubed",
        )


def _grown_up(pack: RulePack, pace: GrowthPace, last_mm: float) -> Iterator[Fault]:
    adult_mm, sale_mm = pack.adult_mm.at(pace), pack.sale_mm.value
    if adult_mm <= last_mm:
        yield Fault(
            f"adult_mm.{pace.value}",
            f"({adult_mm:g} mm) must be above the last length of the {pace.value} curve ({last_mm:g} mm)",
            "fish go on growing after the last point",
        )
    if sale_mm >= adult_mm:
        yield Fault(
            "sale_mm",
            f"({sale_mm:g} mm) is never reached by the {pace.value} curve, which ends at {adult_mm:g} mm",
            "sell smaller, or carry the curve on",
        )
    elif sale_mm > last_mm:
        yield Fault(
            "sale_mm",
            f"({sale_mm:g} mm) lies beyond the last length of the {pace.value} curve ({last_mm:g} mm)",
            "give a later length: beyond it growth is a guess towards the adult length",
            mild=True,
        )


def _rising(part: str, name: str, figures: list[Figure], *, above: float) -> Iterator[Fault]:
    values = [above, *(figure.value for figure in figures)]
    for number, (before, after) in enumerate(pairwise(values), start=1):
        if after <= before:
            yield Fault(f"{part}.{number}.{name}", f"must be above {before:g} (got {after:g})")


def _steps(pack: RulePack) -> Iterator[Fault]:
    for part, steps in (("room", pack.room), ("feed", pack.feed), ("flow", pack.flow)):
        first = steps[0].from_mm.value
        if first != 0:
            yield Fault(
                f"{part}.1.from_mm", f"must be 0, where the eggs or the newborn stand (got {first:g})"
            )
        yield from _rising(part, "from_mm", [step.from_mm for step in steps], above=-1)
    lays_eggs = pack.incubation_days.high.value > 0
    if lays_eggs and (len(pack.room) == 1 or pack.room[1].from_mm.value > pack.hatch_mm.value):
        yield Fault(
            "room.1", "holds for eggs and for newly hatched fry alike", "add a step from the length at hatch"
        )
    for number, step in enumerate(pack.flow, start=1):
        comfort, limit = step.comfort.value, step.limit.value
        if not {comfort, limit} <= {float(setting) for setting in FlowSetting}:
            yield Fault(f"flow.{number}", "must be one of the settings still, gentle, normal, strong")
        elif comfort > limit:
            yield Fault(f"flow.{number}.comfort", "must not be stronger than the limit")


def _caps(pack: RulePack) -> Iterator[Fault]:
    for number, step in enumerate(pack.room, start=1):
        for name, least_is_limit in (
            ("fish_per_litre", False),
            ("grams_per_litre", False),
            ("surface_cm2", True),
            ("unfiltered_surface_cm2", True),
            ("bottom_cm2", True),
            ("run_cm", True),
        ):
            level: Level | None = getattr(step, name)
            if level is None:
                continue
            path, comfort, limit = f"room.{number}.{name}", level.comfort.value, level.limit.value
            if min(comfort, limit) <= 0:
                yield Fault(path, "must be above 0")
            elif least_is_limit and comfort < limit:
                yield Fault(path, f"must ask for more in comfort ({comfort:g}) than at the limit ({limit:g})")
            elif not least_is_limit and comfort > limit:
                yield Fault(path, f"must allow less in comfort ({comfort:g}) than at the limit ({limit:g})")


def _stages(pack: RulePack) -> Iterator[Fault]:
    names = [stage.name for stage in pack.stages]
    for name in sorted({name for name in names if names.count(name) > 1}):
        yield Fault(f"stages.{name}", "is named twice")
    first = pack.stages[0]
    if any((first.from_days, first.from_mm, first.better_from_mm, first.better_until_mm, first.until_mm)):
        yield Fault(f"stages.{first.name}", "is the first stage and has no window: fish begin there")
    if first.may_skip:
        yield Fault(f"stages.{first.name}", "is the first stage and cannot be skipped")
    for stage in pack.stages[1:]:
        if stage.with_parents:
            what = "is not the first stage: only there can young be with their parents"
            yield Fault(f"stages.{stage.name}", what, "say with_parents at the first stage")
        yield from _stage(stage, pack)
    starts = [stage.from_mm for stage in pack.stages if stage.from_mm is not None]
    for before, after in pairwise(starts):
        if after.value <= before.value:
            yield Fault(
                "stages", f"must begin at rising lengths ({before.value:g} mm, then {after.value:g} mm)"
            )


def _stage(stage: StageRule, pack: RulePack) -> Iterator[Fault]:
    path = f"stages.{stage.name}"
    if stage.from_mm is None and stage.from_days is None:
        yield Fault(path, "has neither from_mm nor from_days: when may fish move in?")
    order = ("from_mm", "better_from_mm", "better_until_mm", "until_mm")
    given = [(name, figure.value) for name in order if (figure := getattr(stage, name)) is not None]
    disordered = False
    for (name, before), (next_name, after) in pairwise(given):
        if after < before:
            disordered = True
            yield Fault(f"{path}.{next_name}", f"({after:g} mm) must not be below {name} ({before:g} mm)")
    if stage.from_mm is not None and stage.from_mm.value >= pack.sale_mm.value and not stage.may_skip:
        yield Fault(f"{path}.from_mm", "is not below sale_mm: the fish are sold before they may move in")
    if disordered:
        return
    for pace in GrowthPace:
        days = window_days(stage, pack, pace)
        if days <= 0:
            yield Fault(path, f"leaves no day to move in on the {pace.value} curve", "widen the window")
        elif days < WEEK and not _on_wetting(stage, pack):
            yield Fault(path, f"leaves only {days:.1f} days to move in on the {pace.value} curve", mild=True)


def _on_wetting(stage: StageRule, pack: RulePack) -> bool:
    """Tell whether a stage comes after an egg store: the keeper chooses its day and needs no week for it."""
    before = pack.stages[pack.stages.index(stage) - 1]
    return before.kinds == (VesselKind.EGG_STORE,)


def window_days(stage: StageRule, pack: RulePack, pace: GrowthPace) -> float:
    """Return for how many days a stage may be moved into on one growth curve; the day of sale closes it."""
    grown = growth_curve(pack, pace)
    begin = 0.0 if stage.from_days is None else stage.from_days.value
    if stage.from_mm is not None:
        if stage.from_mm.value >= grown.adult_mm:
            return 0.0
        begin = max(begin, age_at_mm(stage.from_mm.value, pack, pace))
    last_mm = pack.sale_mm.value
    if stage.until_mm is not None:
        last_mm = min(last_mm, stage.until_mm.value)
    end = grown.age(last_mm)
    return (grown.points[-1][0] if end is None else end) - begin


def _warmth(pack: RulePack) -> Iterator[Fault]:
    """Temperatures in order, and the sums of heat in step with the days that the pack gives."""
    water, sums = pack.water, pack.degree_days
    least, most = water.from_c.value, water.until_c.value
    if least >= most:
        yield Fault("water.from_c", f"must be below until_c (got {least:g}, {most:g})")
    if sums is None:
        return
    base, coolest, warmest = sums.base_c.value, sums.from_c.value, sums.until_c.value
    low, expected, high = sums.low.value, sums.expected.value, sums.high.value
    if not low <= expected <= high:
        yield Fault("degree_days", f"must rise from low to high (got {low:g}, {expected:g}, {high:g})")
    if not base < coolest < warmest:
        given = f"{base:g}, {coolest:g}, {warmest:g}"
        yield Fault("degree_days.from_c", f"must lie above base_c and below until_c ({given})")
        return
    if least < most and not least <= coolest < warmest <= most:
        yield Fault(
            "degree_days.from_c",
            f"and until_c ({coolest:g} to {warmest:g}) must lie within those of the water ({least:g} to {most:g})",
            "sums of heat hold where the other figures hold, or in less",
        )
    days = pack.incubation_days.expected.value
    soonest, latest = low / (warmest - base), high / (coolest - base)
    if not soonest <= days <= latest:
        yield Fault(
            "incubation_days.expected",
            f"({days:g}) does not agree with degree_days, which make it {soonest:.3g} to {latest:.3g} days",
            "days = degree-days / (temperature - base_c)",
        )


def _others(pack: RulePack) -> Iterator[Fault]:
    warn, limit = pack.length_ratio_warn.value, pack.length_ratio_limit.value
    if not 1 <= warn <= limit:
        yield Fault(
            "length_ratio_warn", f"must lie between 1 and length_ratio_limit (got {warn:g}, {limit:g})"
        )
    shares = {
        "growth_room.slowed_to": pack.growth_room.slowed_to,
        "growth_room.slowed_when_full": pack.growth_room.slowed_when_full,
        "water.feed_protein_share": pack.water.feed_protein_share,
    }
    for name, figure in shares.items():
        if not 0 < figure.value <= 1:
            yield Fault(name, f"must be above 0 and up to 1 (got {figure.value:g})", _as_share(figure.value))
    if pack.sale_mm.value <= pack.hatch_mm.value:
        yield Fault("sale_mm", "must be above hatch_mm")
    if pack.sell_within_days.value <= 0:
        yield Fault("sell_within_days", "must be above 0")
