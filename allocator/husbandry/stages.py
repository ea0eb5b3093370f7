"""Which stage of life a brood is in, and from when until when it may enter the next one.

Stages are the pack's, in order; a number is a place in that order, from 0. The first stage is entered on the
day of collection. Lengths are those of `Life`: with room to grow.
"""

from datetime import date, timedelta
from math import ceil, floor

from allocator.husbandry.growth import age_at_mm
from allocator.husbandry.life import Life
from allocator.room import Brood, CollectedBy, Span, Vessel
from allocator.rules import RulePack, StageRule, VesselKind

DAY = timedelta(days=1)


def first_stage_kinds(brood: Brood, rules: RulePack) -> tuple[VesselKind, ...]:
    """Return the kinds of vessel in which a brood begins: a whole mop needs a rearing tank from day 0."""
    return (VesselKind.REARING,) if brood.by is CollectedBy.MOP else rules.stages[0].kinds


def stage_kinds(life: Life, number: int) -> tuple[VesselKind, ...]:
    """Return the kinds of vessel in which a brood may spend one of its stages."""
    return first_stage_kinds(life.brood, life.rules) if number == 0 else life.rules.stages[number].kinds


def fits_stage(life: Life, number: int, vessel: Vessel) -> bool:
    """Tell whether a vessel is of a kind for one of the stages of a brood; young with parents: if it is theirs."""
    if number == 0 and life.rules.guards_young:
        return vessel.name == life.nursery
    return any(kind in vessel.kinds for kind in stage_kinds(life, number))


def may_follow(rules: RulePack, before: int, after: int) -> bool:
    """Tell whether one stage may come straight after another: all between them may be skipped."""
    return before < after and all(stage.may_skip for stage in rules.stages[before + 1 : after])


def sale_day(life: Life) -> date:
    """Return the first day on which fish that always had room to grow are long enough to sell."""
    return _first_day_at(life, life.rules.sale_mm.value)


def earliest_entry(life: Life, stage: StageRule) -> date:
    """Return the first day on which a brood may enter a stage.

    By then it is long enough and old enough, every straggler has hatched, and a mop has been taken out.
    """
    brood, rules = life.brood, life.rules
    if stage == rules.stages[0]:
        return brood.collected
    days = [life.hatch_until]
    if stage.from_mm is not None:
        days.append(_first_day_at(life, stage.from_mm.value))
    if stage.from_days is not None:
        days.append(life.hatched + timedelta(days=ceil(stage.from_days.value)))
    if brood.by is CollectedBy.MOP:
        days.append(brood.collected + timedelta(days=ceil(rules.mop_out_days.value)))
    return max(days)


def latest_entry(life: Life, stage: StageRule) -> date:
    """Return the last day on which a brood may enter a stage.

    That is its last day at or below `until_mm`, or the day of sale if it never grows past it, and never
    before the earliest day: a brood that is too small to be handled cannot be late.
    """
    if stage == life.rules.stages[0]:
        return life.brood.collected
    last = sale_day(life)
    if stage.until_mm is not None:
        last = min(last, _last_day_at(life, stage.until_mm.value))
    return max(last, earliest_entry(life, stage))


def better_span(life: Life, stage: StageRule) -> Span:
    """Return the days on which a brood had better enter a stage, within those on which it may."""
    start, last = earliest_entry(life, stage), latest_entry(life, stage)
    if stage.better_from_mm is not None:
        start = min(last, max(start, _first_day_at(life, stage.better_from_mm.value)))
    if stage.better_until_mm is not None:
        last = max(start, min(last, _last_day_at(life, stage.better_until_mm.value)))
    return Span(start=start, end=last + DAY)


def stage_today(life: Life, vessel: Vessel, day: date) -> int:
    """Return the stage of a brood that is found in a vessel on a day.

    The latest stage that fits the vessel and for which the fish are long enough (a mop: also out of the
    tank), else the earliest that fits the vessel. In a vessel that fits no stage, length alone decides.
    """
    mm, stages = life.length_mm(day), life.rules.stages

    def old_enough(number: int) -> bool:
        stage = stages[number]
        if life.brood.by is CollectedBy.MOP:
            return earliest_entry(life, stage) <= day
        return stage.from_mm is None or stage.from_mm.value <= mm

    reached = [number for number in range(len(stages)) if number == 0 or old_enough(number)]
    fitting = [number for number in range(len(stages)) if fits_stage(life, number, vessel)]
    both = [number for number in fitting if number in reached]
    return both[-1] if both else fitting[0] if fitting else reached[-1]


def is_alone(life: Life, number: int) -> bool:
    """Tell whether a brood in a stage must be alone in its vessel: the pack says so, or it is a mop."""
    return life.rules.stages[number].alone or (number == 0 and life.brood.by is CollectedBy.MOP)


def _first_day_at(life: Life, mm: float) -> date:
    """Return the first day after hatch on which a length (at most that at sale) is reached."""
    age = age_at_mm(min(mm, life.rules.sale_mm.value), life.rules, life.pace)
    shift = life.growth_age(life.hatched)
    return life.hatched + max(0, ceil(age - shift)) * DAY


def _last_day_at(life: Life, mm: float) -> date:
    """Return the last day on which a length is not yet passed; the day of sale when it never is."""
    if mm >= life.rules.sale_mm.value:
        return sale_day(life)
    age = age_at_mm(mm, life.rules, life.pace)
    shift = life.growth_age(life.hatched)
    return life.hatched + max(-1, floor(age - shift)) * DAY
