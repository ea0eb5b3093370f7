"""What can be wrong with the tasks of a rule pack: when they begin, when they end, how often they are due."""

from collections.abc import Iterator
from math import inf

from allocator.husbandry.growth import growth_curve
from allocator.reading.pack_fault import Fault
from allocator.rules import CareStep, GrowthPace, RulePack

LONGEST_TASK = 70
"""Letters that fit on a line of the schedule beside the day and the name of the brood. Judgement."""

BEGINNINGS = ("from_collection_days", "from_days", "from_mm")


def care_faults(pack: RulePack) -> Iterator[Fault]:
    """Yield what is wrong with the care steps of a pack. Its growth curves must be sound."""
    names = [step.name for step in pack.care]
    for name in sorted({name for name in names if names.count(name) > 1}):
        yield Fault(f"care.{name}", "is named twice", "its name is how a keeper changes its figures")
    for step in pack.care:
        yield from _wording(step)
        yield from _timing(step, pack)


def _wording(step: CareStep) -> Iterator[Fault]:
    path, task = f"care.{step.name}", step.task
    if not step.name.strip() or "." in step.name:
        yield Fault(path, "must have a name, without a dot", "its figures are changed by dotted names")
    if not task.strip():
        yield Fault(path, "has no task: nothing would be printed on that day")
    elif len(task) > LONGEST_TASK:
        what = f"has a task of {len(task)} letters, of {LONGEST_TASK} at most"
        yield Fault(path, what, "say it in fewer words", mild=True)


def _timing(step: CareStep, pack: RulePack) -> Iterator[Fault]:
    path = f"care.{step.name}"
    if step.with_parents and not pack.guards_young:
        what = "is due with the parents, but the young do not begin with them"
        yield Fault(path, what, "leave with_parents out here, or say it at the first stage")
    given = [name for name in BEGINNINGS if getattr(step, name) is not None]
    if len(given) != 1:
        found = " and ".join(given) if given else "none"
        yield Fault(
            path, f"must have just one beginning (has {found})", f"give one of {', '.join(BEGINNINGS)}"
        )
        return
    if step.every_days is not None and step.every_days.value < 1:
        yield Fault(
            f"{path}.every_days",
            f"must be at least 1 (got {step.every_days.value:g})",
            "leave it out for once",
        )
    if step.every_days is None and (step.until_days is not None or step.until_mm is not None):
        yield Fault(path, "is due once and needs no end", "add every_days, or leave the end out", mild=True)
    begin, end = (when(step, pack, GrowthPace.TYPICAL) for when in (_begin_days, _end_days))
    if end <= begin:
        yield Fault(
            path,
            f"must end after it begins (day {begin:.3g} to {end:.3g} after hatch, typical growth)",
            "raise until_days or until_mm, or begin earlier",
        )
    elif all(_begin_days(step, pack, pace) > _last_days(pack, pace) for pace in GrowthPace):
        yield Fault(path, "begins only when the fish are sold", "begin earlier, or leave it out", mild=True)
    elif step.every_days is None and begin > (sold := _age(pack.sale_mm.value, pack, GrowthPace.TYPICAL)):
        yield Fault(
            path,
            f"begins on day {begin:.3g} after hatch, but fish of typical growth may be sold from day {sold:.3g}",
            "begin earlier, or sell later",
            mild=True,
        )


def _begin_days(step: CareStep, pack: RulePack, pace: GrowthPace) -> float:
    """Return the age at which a step begins, in days after hatch; infinite when it never does."""
    if step.from_collection_days is not None:
        return step.from_collection_days.value - pack.incubation_days.expected.value
    if step.from_days is not None:
        return step.from_days.value
    return inf if step.from_mm is None else _age(step.from_mm.value, pack, pace)


def _end_days(step: CareStep, pack: RulePack, pace: GrowthPace) -> float:
    days = inf if step.until_days is None else step.until_days.value
    return days if step.until_mm is None else min(days, _age(step.until_mm.value, pack, pace))


def _last_days(pack: RulePack, pace: GrowthPace) -> float:
    return _age(pack.sale_mm.value, pack, pace) + pack.sell_within_days.value


def _age(mm: float, pack: RulePack, pace: GrowthPace) -> float:
    age = growth_curve(pack, pace).age(mm)
    return inf if age is None else age
