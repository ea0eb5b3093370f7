"""Why each lot of a brood lives where it does, for just these days: the rules that bind, with numbers."""

from collections.abc import Iterator
from datetime import date, timedelta

from allocator.husbandry.life import Life, lives
from allocator.husbandry.stages import better_span, earliest_entry, fits_stage, latest_entry
from allocator.husbandry.stocking import SUMMED_CAPS, Cap, flow_step, shares_of_one, totals
from allocator.plan import Move, Plan, Stay
from allocator.questions.by_hand import broken, move_day, moved_into, moved_on
from allocator.replies.why import Fill, Mate, StayReason, Tried
from allocator.room import Room, Span, Vessel
from allocator.rules import FlowSetting, StageRule

DAY = timedelta(days=1)
MOST_ELSEWHERE = 6
"""So many other vessels are looked at for a stay: of a kind that is the same, one is as good as the next."""


def stage_of(life: Life, vessel: Vessel, stay: Stay) -> int:
    """Return the stage that a brood is in by the end of a stay: the latest that fits the vessel and has begun."""
    stages = range(len(life.rules.stages))
    fitting = [n for n in stages if fits_stage(life, n, vessel)]
    begun = [
        n for n in fitting if earliest_entry(life, life.rules.stages[n]) < max(stay.until, stay.from_ + DAY)
    ]
    return (begun or fitting or [0])[-1]


def stay_reasons(room: Room, plan: Plan, brood: str) -> tuple[StayReason, ...]:
    """Return why each stay of a brood is as it is.

    Parameters
    ----------
    room
        With the vessels that the plan adds.
    plan
        Checked.
    """
    forecast = lives(room)
    mine = sorted((s for s in plan.stays if s.brood == brood), key=lambda s: (s.from_, s.vessel, s.lot))
    return tuple(_reason(room, plan, forecast, stay) for stay in mine)


def _reason(room: Room, plan: Plan, forecast: dict[str, Life], stay: Stay) -> StayReason:
    life, vessel = forecast[stay.brood], room.vessel_named[stay.vessel]
    number = stage_of(life, vessel, stay)
    stage = life.rules.stages[number]
    better = better_span(life, stage) if number else Span()
    last = max(stay.until - DAY, stay.from_)
    fills = [_fill(plan, forecast, vessel, day) for day in _days(stay.from_, stay.until)]
    changes = [c for c in plan.flow if c.vessel == stay.vessel and c.from_ <= stay.from_]
    begun, left = life.heads(stay.from_), life.heads(last)
    return StayReason(
        lot=stay.lot,
        vessel=stay.vessel,
        from_=stay.from_,
        until=stay.until,
        stage=stage.name,
        enter_from=earliest_entry(life, stage) if number else None,
        enter_until=latest_entry(life, stage) if number else None,
        from_mm=_mm(stage, "from_mm"),
        until_mm=_mm(stage, "until_mm"),
        better_from=better.start if number else None,
        better_until=better.end - DAY if number and better.end is not None else None,
        mm_in=life.length_mm(stay.from_),
        mm_out=life.length_mm(last),
        fish_in=stay.fish,
        fish_out=round(stay.fish * left / begun) if begun else 0,
        fill_in=fills[0],
        fill_out=fills[-1],
        fill_most=max(fills, key=lambda fill: fill.share),
        flow=max(changes, key=lambda c: c.from_).setting if changes else None,
        bears=FlowSetting(int(flow_step(life.length_mm(stay.from_), life.rules).limit.value)),
        mates=tuple(_mates(plan, stay)),
        sold=any(m.on == stay.until and m.from_ == stay.vessel and m.to is None for m in _moves(plan, stay)),
        sooner=_sooner(room, plan, life, stay),
        later=_later(room, plan, life, stay),
        elsewhere=tuple(_elsewhere(room, plan, life, stay, number)),
    )


def _mm(stage: StageRule, name: str) -> float | None:
    figure = getattr(stage, name)
    return None if figure is None else float(figure.value)


def _moves(plan: Plan, stay: Stay) -> Iterator[Move]:
    yield from (move for move in plan.moves if move.brood == stay.brood)


def _days(start: date, until: date) -> list[date]:
    return [start + timedelta(days=n) for n in range(max((until - start).days, 1))]


def _fill(plan: Plan, forecast: dict[str, Life], vessel: Vessel, day: date) -> Fill:
    """Return how much of the limit of a vessel is taken on a day, and of which cap."""
    there = [
        s for s in plan.stays if s.vessel == vessel.name and s.from_ <= day < max(s.until, s.from_ + DAY)
    ]
    lots = [(forecast[s.brood], s) for s in there]
    taken = totals(
        (
            s.fish * life.heads(day) / life.heads(s.from_) if life.heads(s.from_) else 0.0,
            shares_of_one(life.length_mm(day), vessel, life.rules),
        )
        for life, s in lots
    )
    cap = max(SUMMED_CAPS, key=lambda one: taken.get(one, (0.0, 0.0))[1])
    return Fill(on=day, share=taken.get(cap, (0.0, 0.0))[1], cap=Cap(cap).value)


def _mates(plan: Plan, stay: Stay) -> Iterator[Mate]:
    for other in sorted(plan.stays, key=lambda s: (s.from_, s.brood)):
        start, until = max(stay.from_, other.from_), min(stay.until, other.until)
        if other.vessel == stay.vessel and other.brood != stay.brood and start < until:
            yield Mate(brood=other.brood, from_=start, until=until)


def _sooner(room: Room, plan: Plan, life: Life, stay: Stay) -> Tried | None:
    """Try the fish coming in on the move day before; None where they begin here."""
    came = any(m.on == stay.from_ and m.to == stay.vessel and m.from_ is not None for m in _moves(plan, stay))
    day = move_day(room, stay.from_, after=False)
    before = [s.from_ for s in plan.stays if s.brood == stay.brood and s.until == stay.from_]
    if not came or day is None or day <= min(before, default=day):
        return None
    return Tried(on=day, vessel=stay.vessel, breaks=broken(room, moved_on(plan, life, stay.from_, day)))


def _later(room: Room, plan: Plan, life: Life, stay: Stay) -> Tried | None:
    """Try the fish going out on the move day after."""
    day = move_day(room, stay.until, after=True)
    after = [s.until for s in plan.stays if s.brood == stay.brood and s.from_ == stay.until]
    if day is None or day >= min(after, default=date.max):
        return None
    return Tried(on=day, vessel=stay.vessel, breaks=broken(room, moved_on(plan, life, stay.until, day)))


def _elsewhere(room: Room, plan: Plan, life: Life, stay: Stay, stage: int) -> Iterator[Tried]:
    """Try other vessels of a kind for this stage, those that are free or hold the same line first."""
    start = stay.from_
    if not life.brood.planned and start == room.today:
        start = room.next_move_day(room.today + DAY)
    if start >= stay.until:
        return
    fitting = [v for v in room.vessels if v.name != stay.vessel and fits_stage(life, stage, v)]
    for vessel in fitting[:MOST_ELSEWHERE]:
        changed = moved_into(plan, life, vessel.name, start, stay.until)
        yield Tried(on=start, vessel=vessel.name, breaks=broken(room, changed))
