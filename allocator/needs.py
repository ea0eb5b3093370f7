"""A room as integer tables: what each brood needs, slot by slot, and what each class of vessel gives.

Time is cut at the keeper's move days: slot i runs from `days[i]` (included) to `days[i + 1]` (excluded), and
nothing moves inside a slot, so one number per slot, the fullest day, is enough for every cap. Needs are rounded
up and capacities down, both here and nowhere else in the search.
"""

from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property
from itertools import pairwise
from math import ceil, floor

import numpy as np
from numpy.typing import NDArray

from allocator.husbandry.growth import age_at_mm, growth_factor, length_mm, weight_g
from allocator.husbandry.homes import fish_today
from allocator.husbandry.life import Life, lives
from allocator.husbandry.stages import (
    better_span,
    earliest_entry,
    first_stage_kinds,
    latest_entry,
    stage_today,
)
from allocator.room import Addable, BreedingGroup, Brood, CollectedBy, PinKind, Room, Span, Vessel
from allocator.rules import RulePack, VesselKind

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

FULL = 10_000
"""A full vessel, in the whole numbers that the search counts with (0.01 % steps; derived: 1 / 0.0001)."""

DUST = 1e-9
"""Float dust that is not worth rounding up for."""

# What a day of strain weighs against another. Judgement of the authors, not husbandry: one percent above
# comfort for a day counts 1, so a day outside the better size counts like a vessel a tenth above comfort.
WINDOW_STRAIN_A_DAY = 10
FLOW_STRAIN_A_DAY = 20
RUN_STRAIN_A_DAY = 5

FINE_WEEKS = 4
"""Weeks from today in which every move day is considered, however many there are in a week."""

MOST_MOVE_DAYS_A_WEEK = 2
"""Later weeks: so many move days a week are considered."""

SPLIT_FROM = FULL // 2
"""A brood that fills more than this share of its best vessel may be split on entering it (judgement)."""

MOST_PORTIONS = 8

ENDLESS_RUN_CM = 1e9


@dataclass(frozen=True)
class VesselClass:
    """Vessels that differ in nothing the rules look at; only the copies' names differ.

    `there` says for each slot whether the copies stand ready during the whole slot. `price` is what one more
    copy costs, in hundredths; `most` how many may be added.
    """

    index: int
    sample: Vessel
    names: tuple[str, ...]
    there: Bools
    like: str
    price: int = 0
    most: int = 0

    @property
    def copies(self) -> int:
        """How many there are today."""
        return len(self.names)


@dataclass(frozen=True)
class Phase:
    """A part of a brood's life between two possible moves.

    `entries` are the slots in which it may begin (one slot when it is settled). An `optional` phase may be left
    out: it serves to spread or shift a brood within a stage. `homes` says where the brood is today, with the share of the
    brood in each vessel; only the first phase of a brood in being has any.
    """

    stage: int
    entries: tuple[int, ...]
    portions: int
    optional: bool = False
    alone: bool = False
    homes: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class BroodNeeds:
    """One brood in whole numbers.

    Attributes
    ----------
    load, comfort
        For each class: needs of the whole brood, shape (caps, slots); `load` against the limit, FULL is a full
        vessel; `comfort` in percent of the comfort level.
    allowed
        For each stage and class: in which slots the brood may live there, if it is in that stage.
    strain
        For each class: strain of a day-weighted slot that depends on nobody else (flow, run).
    entry_strain
        For each phase: strain of entering in a slot, by slot.
    sale
        For (slow in an earlier stage, slow in the last stage, slot of entry into the last stage): the slots in
        which the brood may be sold.
    shift_sale
        For a brood found in its last stage today, and for (slow in the vessel it shifts to, slot of the shift):
        the slots in which it may then be sold.
    daily_mm
        Length on each day from today; 0 while eggs and before the brood is there.
    fish_days
        Fish times days in each slot, for counting the homeless.
    one_fish
        For each class: the load of a single fish, shape (caps, slots).
    flow
        The strongest setting borne in comfort, by slot.
    slowing_stages
        The stages before the last in which the fish may be long enough for a short vessel to slow them.
    """

    index: int
    brood: Brood
    life: Life
    line: str
    start: int
    phases: tuple[Phase, ...]
    load: tuple[Ints, ...]
    comfort: tuple[Ints, ...]
    allowed: tuple[tuple[Bools, ...], ...]
    strain: tuple[Ints, ...]
    entry_strain: tuple[dict[int, int], ...]
    sale: dict[tuple[bool, bool, int], tuple[int, ...]]
    shift_sale: dict[tuple[bool, int], tuple[int, ...]]
    daily_mm: Floats
    fish_days: Ints
    one_fish: tuple[Ints, ...]
    flow: Ints
    slowing_stages: frozenset[int]

    @property
    def name(self) -> str:
        """The brood's name."""
        return self.brood.name

    def portion_load(self, kind: int, of: int) -> Ints:
        """Return the load of one of so many equal portions; fish are whole, so a portion may have one more."""
        return self.load[kind] if of == 1 else -(-self.load[kind] // of) + self.one_fish[kind]

    def portion_comfort(self, kind: int, of: int) -> Ints:
        """Return what one of so many equal portions takes, in percent of comfort."""
        return self.comfort[kind] if of == 1 else -(-self.comfort[kind] // of)

    @cached_property
    def last_stage_phase(self) -> int:
        """Index of the first phase in the last stage."""
        last = self.phases[-1].stage
        return next(number for number, phase in enumerate(self.phases) if phase.stage == last)

    @cached_property
    def sale_slots(self) -> tuple[int, ...]:
        """Every slot in which the brood may be sold on some path, in order."""
        tables = (*self.sale.values(), *self.shift_sale.values())
        return tuple(sorted({slot for slots in tables for slot in slots}))


@dataclass(frozen=True)
class Needs:
    """The whole room in whole numbers."""

    room: Room
    days: tuple[date, ...]
    slot_days: Ints
    move_slots: tuple[int, ...]
    classes: tuple[VesselClass, ...]
    broods: tuple[BroodNeeds, ...]
    coarse: bool

    @property
    def slots(self) -> int:
        """How many slots there are."""
        return len(self.slot_days)

    @cached_property
    def first_days(self) -> Ints:
        """The first day of each slot, counted from today."""
        return np.concatenate(([0], np.cumsum(self.slot_days)[:-1]))

    @cached_property
    def class_of(self) -> dict[str, VesselClass]:
        """The class of each vessel that stands there today."""
        return {name: kind for kind in self.classes for name in kind.names}

    @cached_property
    def _apart(self) -> dict[tuple[int, int], Bools]:
        return {}

    def may_share(self, one: BroodNeeds, other: BroodNeeds) -> bool:
        """Tell whether the lines of two broods may live in one vessel."""
        if one.line == other.line:
            return True
        lines = self.room.line_named
        return other.line in lines[one.line].may_share or one.line in lines[other.line].may_share

    def apart(self, one: BroodNeeds, other: BroodNeeds) -> Bools:
        """Return the slots in which two broods must not be in one vessel because of their lengths."""
        key = (min(one.index, other.index), max(one.index, other.index))
        if key not in self._apart:
            limit = min(b.life.rules.length_ratio_limit.value for b in (one, other))
            longest = np.maximum(one.daily_mm, other.daily_mm)
            shortest = np.minimum(one.daily_mm, other.daily_mm)
            too_far = (shortest > 0) & (longest > limit * shortest + DUST)
            self._apart[key] = np.logical_or.reduceat(too_far, self.first_days)
        return self._apart[key]

    def clean_out_days(self, leaving: BroodNeeds) -> int:
        """Return how many days a vessel stands empty after this brood before another line may enter."""
        return ceil(leaving.life.rules.clean_out_days.value)

    def clash(self, one: BroodNeeds, one_alone: bool, other: BroodNeeds, other_alone: bool) -> Bools:  # noqa: FBT001
        """Return the slots in which two broods must not be in one vessel, for whatever reason."""
        if one_alone or other_alone or not self.may_share(one, other):
            return np.ones(self.slots, dtype=np.bool_)
        return self.apart(one, other)

    def slow(self, kind: VesselClass, brood: BroodNeeds) -> bool:
        """Tell whether fish of this brood grow slower in this class than with room."""
        return kind.sample.run_cm < brood.life.rules.growth_room.run_cm.value


def needs_of(room: Room) -> Needs:
    """Return the integer tables of a room."""
    forecast = lives(room)
    first = room.next_move_day(room.today + timedelta(days=1))
    spans = {name: _horizon(room, life, first) for name, life in forecast.items()}
    end = max(spans.values(), default=room.today + timedelta(days=7))
    days, move_days, coarse = _grid(room, end, forecast)
    slot_of = {day: slot for slot, day in enumerate(days)}
    move_slots = tuple(slot_of[day] for day in move_days)
    slot_days = np.diff([day.toordinal() for day in days]).astype(np.int64)
    classes = _classes(room, days)
    table = _Table(room, days, move_slots, slot_days, classes)
    broods = tuple(
        table.brood(number, brood, forecast[brood.name]) for number, brood in enumerate(room.broods)
    )
    return Needs(room, days, slot_days, move_slots, classes, broods, coarse)


def _horizon(room: Room, life: Life, first: date) -> date:
    """Return a day by which a brood is sold on every path."""
    start = max(life.brood.collected, room.today) if life.brood.planned else room.today
    ready = life.ready_for_sale([(0.0, start, start + timedelta(days=1))])
    assert ready is not None  # noqa: S101 - the path is not empty
    late = max(ready, first) + timedelta(days=ceil(life.rules.sell_within_days.value))
    return room.next_move_day(late) + timedelta(days=1)


def _grid(
    room: Room, end: date, forecast: dict[str, Life]
) -> tuple[tuple[date, ...], tuple[date, ...], bool]:
    """Return the days at which slots begin (and the last ends), the move days among them, and if any were left out."""
    moves: list[date] = []
    coarse = False
    fine_until = room.today + timedelta(weeks=FINE_WEEKS)
    this_week: tuple[int, int] = (0, 0)
    day = room.today
    while day <= end:
        if room.keeper.moves_fish_on(day):
            week = day.toordinal() // 7
            used = this_week[1] if this_week[0] == week else 0
            if day < fine_until or used < MOST_MOVE_DAYS_A_WEEK:
                moves.append(day)
                this_week = (week, used + 1)
            else:
                coarse = True
        day += timedelta(days=1)
    pinned = {pin.span.start for pin in room.pins if pin.kind is PinKind.MOVE_ON and pin.span.start}
    moves += _window_days(room, forecast)
    moves = sorted({*moves, *(d for d in pinned if room.today <= d <= end and room.keeper.moves_fish_on(d))})
    starts = {brood.collected for brood in room.broods if brood.planned}
    days = sorted({room.today, *moves, *starts, end + timedelta(days=1)})
    return tuple(days), tuple(moves), coarse


def _window_days(room: Room, forecast: dict[str, Life]) -> list[date]:
    """Return the first and last move day of every window, so that none is missed where days are left out."""
    days: set[date] = set()
    for life in forecast.values():
        for stage in life.rules.stages[1:]:
            for day in (earliest_entry(life, stage), latest_entry(life, stage)):
                days.add(room.next_move_day(max(day, room.today)))
    return sorted(days)


def _classes(room: Room, days: tuple[date, ...]) -> tuple[VesselClass, ...]:
    """Group the vessels that no rule can tell apart; a vessel that a pin names is a class of its own."""
    named = {pin.vessel for pin in room.pins if pin.vessel is not None}
    groups: dict[tuple[object, ...], list[Vessel]] = {}
    key: tuple[object, ...]
    for vessel in room.vessels:
        key = (
            _traits(vessel),
            _there(room, vessel, days).tobytes(),
            vessel.name if vessel.name in named else "",
        )
        groups.setdefault(key, []).append(vessel)
    addable: dict[tuple[object, ...], tuple[Addable, Vessel]] = {}
    for offer in room.could_add:
        model = room.with_added({offer.like: 1}).vessels[-1]
        there = _there(room, model, days)
        key = (_traits(model), there.tobytes(), "")
        addable[key] = (offer, model)
        groups.setdefault(key, [])
    classes = []
    for index, (key, vessels) in enumerate(groups.items()):
        found = addable.get(key)
        sample = vessels[0] if vessels else found[1] if found else None
        assert sample is not None  # noqa: S101 - a group is made by a vessel or by an offer
        wanted = found[0] if found else None
        classes.append(
            VesselClass(
                index=index,
                sample=sample,
                names=tuple(v.name for v in vessels),
                there=_there(room, sample, days),
                like=wanted.like if wanted else sample.declared_as,
                price=ceil(round(wanted.price * 100, 6)) if wanted else 0,
                most=wanted.most if wanted else 0,
            )
        )
    return tuple(classes)


def _traits(vessel: Vessel) -> tuple[object, ...]:
    return (
        frozenset(vessel.kinds),
        vessel.length_mm,
        vessel.width_mm,
        vessel.depth_mm,
        vessel.flow_lowest,
        vessel.filtered,
        vessel.feed_g_per_day,
        vessel.snail_free,
    )


def _there(room: Room, vessel: Vessel, days: tuple[date, ...]) -> Bools:
    """Tell for each slot whether a vessel stands ready for broods during the whole slot."""
    taken = [
        Span(start=group.lives_there.start, end=_cleaned_after(room, group))
        for group in room.groups
        if group.vessel == vessel.name
    ]
    available = vessel.available
    there = []
    for begin, end in pairwise(days):
        inside = (available.start is None or available.start <= begin) and (
            available.end is None or end <= available.end
        )
        free = all(
            (span.end is not None and span.end <= begin) or (span.start is not None and end <= span.start)
            for span in taken
        )
        there.append(inside and free)
    return np.array(there, dtype=np.bool_)


def _cleaned_after(room: Room, group: BreedingGroup) -> date | None:
    """Return the day from which a group's vessel is ready for broods: clean for a stranger, to be sure."""
    end = group.lives_there.end
    if end is None:
        return None
    return end + timedelta(days=ceil(room.line_named[group.line].rules.clean_out_days.value))


@dataclass(frozen=True)
class _Demand:
    """What one brood asks of any vessel, day by day (limit and comfort), before it is cut into slots."""

    litres_fish: Floats
    litres_weight: Floats
    surface: Floats
    surface_unfiltered: Floats
    feed: Floats
    run: Floats


class _Table:
    """Builds the tables of the broods of one room."""

    def __init__(
        self,
        room: Room,
        days: tuple[date, ...],
        move_slots: tuple[int, ...],
        slot_days: Ints,
        classes: tuple[VesselClass, ...],
    ) -> None:
        self.room = room
        self.days = days
        self.move_slots = move_slots
        self.slot_days = slot_days
        self.classes = classes
        self.starts = np.array([(day - room.today).days for day in days[:-1]])
        self.day_list = [room.today + timedelta(days=n) for n in range(int(slot_days.sum()))]

    def brood(self, index: int, brood: Brood, life: Life) -> BroodNeeds:
        """Return the tables of one brood."""
        start_day = max(brood.collected, self.room.today) if brood.planned else self.room.today
        start = self.days.index(start_day)
        first_day = (start_day - self.room.today).days
        heads = np.array([life.heads(day) if n >= first_day else 0.0 for n, day in enumerate(self.day_list)])
        mm = np.array([life.length_mm(day) if n >= first_day else 0.0 for n, day in enumerate(self.day_list)])
        limit, comfort = (self._demand(heads, mm, life.rules, which) for which in ("limit", "comfort"))
        load = tuple(self._shares(limit, kind, FULL) for kind in self.classes)
        snug = tuple(self._shares(comfort, kind, 100) for kind in self.classes)
        flow_limit, flow_comfort = self._flow(mm, life.rules)
        allowed = tuple(
            tuple(self._allowed(brood, life, stage, kind, limit, flow_limit) for kind in self.classes)
            for stage in range(len(life.rules.stages))
        )
        strain = tuple(
            FLOW_STRAIN_A_DAY * self.slot_days * (int(kind.sample.flow_lowest) > flow_comfort)
            + RUN_STRAIN_A_DAY
            * self.slot_days
            * (np.maximum.reduceat(comfort.run, self.starts) > kind.sample.run_cm + DUST)
            for kind in self.classes
        )
        self._apply_pins(brood, allowed)
        phases = self._phases(brood, life, start, load, allowed)
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
            entry_strain=tuple(self._entry_strain(life, phase) for phase in phases),
            sale=self._sale(life, start_day, phases),
            shift_sale=self._shift_sale(life, phases),
            daily_mm=mm,
            one_fish=tuple(
                np.ceil(loads / np.maximum(np.minimum.reduceat(heads, self.starts), 1.0)).astype(np.int64)
                for loads in load
            ),
            flow=flow_comfort,
            slowing_stages=self._slowing_stages(life, phases),
            fish_days=np.ceil(np.maximum.reduceat(heads, self.starts) - DUST).astype(np.int64)
            * self.slot_days,
        )

    def _demand(self, heads: Floats, mm: Floats, rules: RulePack, which: str) -> _Demand:
        """Return litres, surface, feed and run needed on each day at one level (``limit`` or ``comfort``)."""
        steps = rules.room
        row = np.searchsorted([step.from_mm.value for step in steps[1:]], mm, side="right")

        def per_step(cap: str, missing: float) -> Floats:
            levels = [getattr(step, cap) for step in steps]
            values = [missing if level is None else getattr(level, which).value for level in levels]
            return np.array(values, dtype=float)[row]

        grams = heads * np.array([weight_g(x, rules) for x in mm])
        percent = np.array([step.percent_of_weight.value for step in rules.feed])[
            np.searchsorted([step.from_mm.value for step in rules.feed[1:]], mm, side="right")
        ]
        surface = heads * per_step("surface_cm2", 0.0)
        return _Demand(
            litres_fish=heads / per_step("fish_per_litre", np.inf),
            litres_weight=grams / per_step("grams_per_litre", np.inf),
            surface=surface,
            surface_unfiltered=np.maximum(surface, heads * per_step("unfiltered_surface_cm2", 0.0)),
            feed=grams * percent / 100,
            run=np.where(heads > 0, per_step("run_cm", 0.0), 0.0),
        )

    def _shares(self, demand: _Demand, kind: VesselClass, full: int) -> Ints:
        """Return needs in parts of a vessel, rounded up, on the fullest day of each slot; shape (caps, slots)."""
        vessel = kind.sample
        surface = demand.surface if vessel.filtered else demand.surface_unfiltered
        feed = demand.feed / vessel.feed_g_per_day if vessel.feed_g_per_day else np.zeros_like(demand.feed)
        rows = [
            demand.litres_fish / vessel.litres,
            demand.litres_weight / vessel.litres,
            surface / vessel.surface_cm2,
            feed,
        ]
        peaks = np.array([np.maximum.reduceat(row, self.starts) for row in rows])
        rounded: Ints = np.ceil(peaks * full - DUST).astype(np.int64)
        return rounded

    def _flow(self, mm: Floats, rules: RulePack) -> tuple[Ints, Ints]:
        """Return the strongest setting borne, and borne in comfort, through each slot."""
        row = np.searchsorted([step.from_mm.value for step in rules.flow[1:]], mm, side="right")
        limit = np.array([int(step.limit.value) for step in rules.flow])[row]
        comfort = np.array([int(step.comfort.value) for step in rules.flow])[row]
        return np.minimum.reduceat(limit, self.starts), np.minimum.reduceat(comfort, self.starts)

    def _allowed(
        self, brood: Brood, life: Life, stage: int, kind: VesselClass, limit: _Demand, flow_limit: Ints
    ) -> Bools:
        rules = life.rules
        vessel = kind.sample
        kinds: tuple[VesselKind, ...] = (
            first_stage_kinds(brood, rules) if stage == 0 else rules.stages[stage].kinds
        )
        if not set(kinds) & set(vessel.kinds):
            return np.zeros(len(self.starts), dtype=np.bool_)
        fits = kind.there & (int(vessel.flow_lowest) <= flow_limit)
        fits &= np.maximum.reduceat(limit.run, self.starts) <= vessel.run_cm + DUST
        if rules.eggs_need_snail_free and not vessel.snail_free and stage == 0:
            eggs_until = (life.hatch_until - self.room.today).days
            fits &= self.starts >= eggs_until
        return fits

    def _apply_pins(self, brood: Brood, allowed: tuple[tuple[Bools, ...], ...]) -> None:
        """Take away the vessels that a pin rules out: all others, or just that one, in the slots it touches."""
        for pin in self.room.pins:
            if pin.brood != brood.name or pin.kind is PinKind.MOVE_ON:
                continue
            touched = np.array(
                [
                    (pin.span.end is None or begin < pin.span.end)
                    and (pin.span.start is None or pin.span.start < end)
                    for begin, end in pairwise(self.days)
                ]
            )
            for by_class in allowed:
                for kind, fits in zip(self.classes, by_class, strict=True):
                    if (pin.vessel in kind.names) == (pin.kind is PinKind.NOT_IN):
                        fits &= ~touched

    def _pinned_move(self, brood: Brood, entries: list[tuple[int, ...]]) -> tuple[int, int] | None:
        """Return (phase, slot) of a pinned move: the first phase that may begin on that day."""
        for pin in self.room.pins:
            if pin.brood == brood.name and pin.kind is PinKind.MOVE_ON and pin.span.start in self.days[:-1]:
                slot = self.days.index(pin.span.start)
                for number, slots in enumerate(entries):
                    if number > 0 and slot in slots:
                        return number, slot
        return None

    def _phases(
        self,
        brood: Brood,
        life: Life,
        start: int,
        load: tuple[Ints, ...],
        allowed: tuple[tuple[Bools, ...], ...],
    ) -> tuple[Phase, ...]:
        rules = life.rules
        homes = self._homes(brood, life)
        current = 0
        if homes:
            found = (stage_today(life, self.room.vessel_named[n], self.room.today) for n, _ in homes)
            current = min(found)
        mop = brood.by is CollectedBy.MOP
        phases = [
            Phase(
                stage=current,
                entries=(start,),
                portions=1,
                alone=rules.stages[current].alone or (current == 0 and mop),
                homes=homes,
            )
        ]
        if not homes and not mop:  # a mop hangs in one tank
            phases[0] = replace(phases[0], portions=self._portions(load, allowed, 0, start, start + 1))
        for stage in range(current, len(rules.stages)):
            if stage > current:
                entries = self._entries(life, stage)
                until = entries[-1] + 1
                portions = self._portions(load, allowed, stage, entries[0], until)
                alone = rules.stages[stage].alone
                phases.append(Phase(stage=stage, entries=entries, portions=portions, alone=alone))
            again = self._within_stage(life, stage, phases[-1], load, allowed)
            if again is not None:
                phases.append(again)
        pinned = self._pinned_move(brood, [() if phase.optional else phase.entries for phase in phases])
        if pinned is not None:
            number, slot = pinned
            phases[number] = replace(phases[number], entries=(slot,))
        return tuple(phases)

    def _slowing_stages(self, life: Life, phases: tuple[Phase, ...]) -> frozenset[int]:
        final = phases[-1].stage
        leaves = {p.stage: phases[n + 1].entries[-1] for n, p in enumerate(phases) if p.stage != final}
        turn = life.rules.growth_room.from_mm.value
        return frozenset(stage for stage, slot in leaves.items() if life.length_mm(self.days[slot]) > turn)

    def _homes(self, brood: Brood, life: Life) -> tuple[tuple[str, float], ...]:
        if brood.planned:
            return ()
        fish = fish_today(life, self.room.today)
        total = sum(fish.values())
        return tuple(
            (name, count / total if total else 1 / len(fish))
            for name, count in fish.items()
            if count or not total
        )

    def _entries(self, life: Life, stage: int) -> tuple[int, ...]:
        rule = life.rules.stages[stage]
        earliest = earliest_entry(life, rule)
        latest = self.room.next_move_day(latest_entry(life, rule))
        slots = [s for s in self.move_slots if self.days[s] >= earliest]
        inside = [s for s in slots if self.days[s] <= latest]
        return tuple(inside or slots[:1] or self.move_slots[-1:])

    def _portions(
        self, load: tuple[Ints, ...], allowed: tuple[tuple[Bools, ...], ...], stage: int, begin: int, end: int
    ) -> int:
        """Return into how many equal portions a brood may be split for a stage: so that half a vessel takes one."""
        peak = self._peak(load, allowed, stage, begin, end)
        return max(1, min(MOST_PORTIONS, -(-peak // SPLIT_FROM)))

    def _peak(
        self, load: tuple[Ints, ...], allowed: tuple[tuple[Bools, ...], ...], stage: int, begin: int, end: int
    ) -> int:
        """Return the most that a whole brood fills of the best vessel of a stage."""
        peaks = [
            int(load[k.index][:, begin:end].max())
            for k in self.classes
            if allowed[stage][k.index][begin:end].any() and (k.copies or k.most)
        ]
        return min(peaks, default=0)

    def _within_stage(
        self,
        life: Life,
        stage: int,
        before: Phase,
        load: tuple[Ints, ...],
        allowed: tuple[tuple[Bools, ...], ...],
    ) -> Phase | None:
        """Return an optional phase in the same stage, for a brood that may have to change vessel within it.

        That is so where it may outgrow its vessel and must be spread, and where the vessel it is found in
        today does not do for as long as the stage may last (it is taken away, too short, too full).
        """
        if before.alone and not before.homes:
            return None
        begin = before.entries[0]
        last = stage == len(life.rules.stages) - 1
        end = len(self.starts) if last else max(self._entries(life, stage + 1)[-1], begin + 1)
        slots = tuple(
            s
            for s in self.move_slots
            if (begin < s or before.homes) and s < end and self.days[s] >= life.hatch_until
        )
        if not slots:
            return None
        portions = self._portions(load, allowed, stage, begin, end)
        outgrows = self._peak(load, allowed, stage, begin, end) > FULL * before.portions
        unfit = any(
            not self._does_for(name, share, load, allowed[stage], end) for name, share in before.homes
        )
        if unfit or (last and before.homes) or (outgrows and portions > before.portions):
            return Phase(stage, slots, portions, optional=True, alone=before.alone)
        return None

    def _does_for(
        self, name: str, share: float, load: tuple[Ints, ...], allowed: tuple[Bools, ...], end: int
    ) -> bool:
        """Tell whether a part of a brood could stay in its vessel of today until the end of its stage."""
        kind = next(kind for kind in self.classes if name in kind.names)
        fits = allowed[kind.index][:end].all()
        return bool(fits and load[kind.index][:, :end].max() * share <= FULL)

    def _entry_strain(self, life: Life, phase: Phase) -> dict[int, int]:
        if phase.optional or len(phase.entries) == 1 and phase.homes:
            return dict.fromkeys(phase.entries, 0)
        span = better_span(life, life.rules.stages[phase.stage])
        strain = {}
        for slot in phase.entries:
            day = self.days[slot]
            early = (span.start - day).days if span.start is not None else 0
            late = (day - span.end).days + 1 if span.end is not None else 0
            strain[slot] = WINDOW_STRAIN_A_DAY * max(early, late, 0)
        return strain

    def _sale(
        self, life: Life, start_day: date, phases: tuple[Phase, ...]
    ) -> dict[tuple[bool, bool, int], tuple[int, ...]]:
        last = phases[-1].stage
        entry_phase = next(p for p in phases if p.stage == last)
        sale = {}
        for slow_before in (False, True):
            grown = _grown_until(life, start_day, self.days[entry_phase.entries[-1]], slow=slow_before)
            for slow_after in (False, True):
                for slot in entry_phase.entries:
                    day = self.days[slot]
                    ready = day + timedelta(
                        days=_days_to_sale(life, grown[(day - start_day).days], slow=slow_after)
                    )
                    sale[slow_before, slow_after, slot] = self._sale_slots(life, ready, slot)
        return sale

    def _shift_sale(self, life: Life, phases: tuple[Phase, ...]) -> dict[tuple[bool, int], tuple[int, ...]]:
        if not phases[0].homes or phases[0].stage != phases[-1].stage or len(phases) == 1:
            return {}
        run = life.rules.growth_room.run_cm.value
        slow = any(self.room.vessel_named[name].run_cm < run for name, _ in phases[0].homes)
        grown = _grown_until(life, self.room.today, self.days[phases[1].entries[-1]], slow=slow)
        sale = {}
        for slot in phases[1].entries:
            day = self.days[slot]
            for slow_after in (False, True):
                left = _days_to_sale(life, grown[(day - self.room.today).days], slow=slow_after)
                sale[slow_after, slot] = self._sale_slots(life, day + timedelta(days=left), slot)
        return sale

    def _sale_slots(self, life: Life, ready: date, entered: int) -> tuple[int, ...]:
        slots = [s for s in self.move_slots if self.days[s] >= ready and s > entered]
        last = ready + timedelta(days=ceil(life.rules.sell_within_days.value))
        inside = [s for s in slots if self.days[s] <= last]
        return tuple(inside or slots[:1] or self.move_slots[-1:])


def forgiven(fits: Bools) -> Bools:
    """Return the same with what is wrong from the first slot on forgiven for as long as it lasts.

    Fish that are found in the wrong place today are nobody's fault; what goes wrong later is the plan's.
    """
    return fits | unbroken(~fits)


def unbroken(wrong: Bools) -> Bools:
    """Return where something is wrong and has been so in every slot since today."""
    result: Bools = np.logical_and.accumulate(wrong, axis=-1)
    return result


def _grown_until(life: Life, start: date, end: date, *, slow: bool) -> list[float]:
    """Return the age on the growth curve for each day from start to end, in short vessels or with room."""
    room = life.rules.growth_room
    run = 0.0 if slow else ENDLESS_RUN_CM
    grown = [life.growth_age(start)]
    day = start
    while day < end:
        tomorrow = day + timedelta(days=1)
        if day < life.hatched <= tomorrow:
            grown.append(life.growth_age(tomorrow))
        else:
            mm = length_mm(max(grown[-1], 0.0), life.rules, life.pace)
            grown.append(grown[-1] + growth_factor(mm, run, room))
        day = tomorrow
    return grown


def _days_to_sale(life: Life, grown: float, *, slow: bool) -> int:
    """Return the days until sale size from an age on the growth curve, in closed form.

    The same as walking with `Life.ready_for_sale` day by day, which a test holds it to.
    """
    goal = age_at_mm(life.rules.sale_mm.value, life.rules, life.pace)
    if grown >= goal:
        return 0
    if not slow:
        return ceil(goal - grown - DUST)
    room = life.rules.growth_room
    turn = age_at_mm(min(room.from_mm.value, life.rules.sale_mm.value), life.rules, life.pace)
    full_days = 0
    if grown <= turn:
        full_days = floor(turn - grown + DUST) + 1
        if grown + full_days >= goal:
            return ceil(goal - grown - DUST)
    left = goal - grown - full_days
    return full_days + max(ceil(left / room.slowed_to.value - DUST), 0)
