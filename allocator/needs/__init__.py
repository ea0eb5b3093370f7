"""A room as integer tables: what each brood needs, slot by slot, and what each class of vessel gives.

Time is cut at the keeper's move days: slot i runs from `days[i]` (included) to `days[i + 1]` (excluded). Nothing
moves inside a slot, so one number per slot, the fullest day, is enough for every cap.
"""

from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np

from allocator.husbandry.life import Life, lives
from allocator.husbandry.stages import fits_stage
from allocator.needs.classes import classes_of, there_in
from allocator.needs.demand import Demand, demand_of, flow_borne, shares_by_class
from allocator.needs.frame import Frame
from allocator.needs.grid import cut_time, horizon
from allocator.needs.kept import Housing
from allocator.needs.phases import Phases
from allocator.needs.sale import Sales, most_held_back
from allocator.needs.tables import (
    CAPS,
    COMFORT,
    DUST,
    FULL,
    Bools,
    BroodNeeds,
    Floats,
    Ints,
    Needs,
    Phase,
    VesselClass,
    before,
    forgiven,
)
from allocator.room import Brood, PinKind, Room

__all__ = [
    "CAPS",
    "COMFORT",
    "DUST",
    "FULL",
    "Bools",
    "BroodNeeds",
    "Floats",
    "Ints",
    "Needs",
    "Phase",
    "VesselClass",
    "before",
    "forgiven",
    "most_held_back",
    "needs_of",
    "wanted_on",
    "with_held_back",
]

# What a day of strain weighs against another, beside `phases.WINDOW_STRAIN_A_DAY`. Judgement of the authors, not
# husbandry: one percent above comfort for a day counts 1.
FLOW_STRAIN_A_DAY = 20
RUN_STRAIN_A_DAY = 5


def needs_of(room: Room, until: date | None = None) -> Needs:
    """Return the integer tables of a room, in which company holds nobody back; at least until a day, if one is given."""
    forecast = lives(room)
    first = room.next_move_day(room.today + timedelta(days=1))
    ends = {name: horizon(room, life, first) for name, life in forecast.items()}
    if until is not None:
        ends[""] = room.next_move_day(until) + timedelta(days=1)
    days, move_days = cut_time(room, ends, forecast)
    slot_of = {day: slot for slot, day in enumerate(days)}
    move_slots = tuple(slot_of[day] for day in move_days)
    frame = Frame(room, days, move_slots, classes_of(room, days))
    broods = tuple(
        _brood(frame, number, brood, forecast[brood.name]) for number, brood in enumerate(room.broods)
    )
    return Needs(room, days, frame.slot_days, move_slots, frame.classes, broods)


def with_held_back(needs: Needs, held_back: Mapping[str, int]) -> Needs:
    """Return the same tables, but with the sale of some broods put off by so many days, wherever they live.

    The tables know where fish live but not in what company; this is how they are told that it slows them.
    """
    frame = Frame(needs.room, needs.days, needs.move_slots, needs.classes)

    def put_off(brood: BroodNeeds) -> BroodNeeds:
        days = held_back.get(brood.name, 0)
        if days == needs.held_back.get(brood.name, 0):
            return brood
        return _with_sales(frame, brood, Sales(frame, brood.life, days))

    return replace(needs, broods=tuple(map(put_off, needs.broods)), held_back=dict(held_back))


def wanted_on(needs: Needs, names: Collection[str], day: date) -> Needs:
    """Return the same tables, but with some broods kept for a day on which they are wanted: see `Sales`."""
    frame = Frame(needs.room, needs.days, needs.move_slots, needs.classes)

    def kept(brood: BroodNeeds) -> BroodNeeds:
        if brood.name not in names:
            return brood
        return _with_sales(frame, brood, Sales(frame, brood.life, wanted_on=day))

    return replace(needs, broods=tuple(map(kept, needs.broods)))


def _with_sales(frame: Frame, brood: BroodNeeds, sales: Sales) -> BroodNeeds:
    housing = Housing(frame, brood.life, brood.load, brood.allowed, brood.phases, brood.slowing_stages)
    sale, shift_sale = sales.tables(frame.days[brood.start], housing)
    return replace(brood, sale=sale, shift_sale=shift_sale)


def _brood(frame: Frame, index: int, brood: Brood, life: Life) -> BroodNeeds:
    """Return the tables of one brood."""
    start_day = max(brood.collected, frame.room.today) if brood.planned else frame.room.today
    start = frame.days.index(start_day)
    first_day = (start_day - frame.room.today).days
    days = len(frame.day_list) - first_day
    heads, mm = (
        np.concatenate([np.zeros(first_day), by_day(start_day, days)])
        for by_day in (life.heads_by_day, life.lengths_by_day)
    )
    limit, comfort = (demand_of(heads, mm, life.rules, which) for which in ("limit", "comfort"))
    load, snug = shares_by_class(frame, limit, FULL), shares_by_class(frame, comfort, COMFORT)
    least_heads = np.maximum(np.minimum.reduceat(heads, frame.starts), 1.0)
    one_fish = {
        number: np.ceil(loads / least_heads).astype(np.int64)
        for number, loads in {id(loads): loads for loads in load}.items()
    }
    flow_limit, flow_comfort = flow_borne(frame, mm, life.rules)
    allowed = tuple(
        tuple(_allowed(frame, life, stage, kind, limit, flow_limit) for kind in frame.classes)
        for stage in range(len(life.rules.stages))
    )
    strain = tuple(
        FLOW_STRAIN_A_DAY * frame.slot_days * (int(kind.sample.flow_lowest) > flow_comfort)
        + RUN_STRAIN_A_DAY
        * frame.slot_days
        * (np.maximum.reduceat(comfort.run, frame.starts) > kind.sample.run_cm + DUST)
        for kind in frame.classes
    )
    _apply_pins(frame, brood, allowed)
    making = Phases(frame, brood, life, load, allowed)
    phases = making.of_life(start)
    slowing = making.slowing_stages(phases)
    housing = Housing(frame, life, load, allowed, phases, slowing)
    sale, shift_sale = Sales(frame, life).tables(start_day, housing)
    return BroodNeeds(
        index=index,
        brood=brood,
        life=life,
        line=brood.line,
        start=start,
        phases=phases,
        load=load,
        comfort=snug,
        allowed=allowed,
        strain=strain,
        entry_strain=tuple(making.entry_strain(phase) for phase in phases),
        sale=sale,
        shift_sale=shift_sale,
        daily_mm=mm,
        one_fish=tuple(one_fish[id(loads)] for loads in load),
        flow=flow_comfort,
        helpless_until=_helpless_until(frame, life),
        slowing_stages=slowing,
        fish_days=np.ceil(np.maximum.reduceat(heads, frame.starts) - DUST).astype(np.int64) * frame.slot_days,
    )


def _helpless_until(frame: Frame, life: Life) -> int:
    """Return the slot of the first move day after today on which a brood has hatched."""
    room = frame.room
    day = room.next_move_day(max(room.today + timedelta(days=1), life.hatch_until))
    return next((slot for slot in frame.move_slots if frame.days[slot] >= day), len(frame.days) - 1)


def _allowed(
    frame: Frame, life: Life, stage: int, kind: VesselClass, limit: Demand, flow_limit: Ints
) -> Bools:
    rules = life.rules
    vessel = kind.sample
    if not fits_stage(life, stage, vessel):
        return np.zeros(len(frame.starts), dtype=np.bool_)
    guarded = stage == 0 and life.nursery is not None
    there = there_in(frame.room, vessel, frame.days, life.brood.line) if guarded else kind.there
    fits = there & (int(vessel.flow_lowest) <= flow_limit)
    fits &= np.maximum.reduceat(limit.run, frame.starts) <= vessel.run_cm + DUST
    if rules.eggs_need_snail_free and not vessel.snail_free and stage == 0:
        eggs_until = (life.hatch_until - frame.room.today).days
        fits &= frame.starts >= eggs_until
    return fits


def _apply_pins(frame: Frame, brood: Brood, allowed: tuple[tuple[Bools, ...], ...]) -> None:
    """Take away the vessels that a pin rules out: all others, or just that one, in the slots it touches."""
    for pin in frame.room.pins:
        if pin.brood != brood.name or pin.kind is PinKind.MOVE_ON:
            continue
        touched = np.array(
            [
                (pin.span.end is None or begin < pin.span.end)
                and (pin.span.start is None or pin.span.start < end)
                for begin, end in pairwise(frame.days)
            ]
        )
        for by_class in allowed:
            for kind, fits in zip(frame.classes, by_class, strict=True):
                if (pin.vessel in kind.names) == (pin.kind is PinKind.NOT_IN):
                    np.logical_and(fits, ~touched, out=fits)
