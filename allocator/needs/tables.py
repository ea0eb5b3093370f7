"""The integer tables: what each brood needs, slot by slot, and what each class of vessel gives.

Needs are rounded up and capacities down, here and nowhere else in the search.
"""

from collections.abc import Container, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cached_property
from itertools import combinations
from math import ceil

import numpy as np
from numpy.typing import NDArray

from allocator.husbandry.life import Life
from allocator.husbandry.stocking import SUMMED_CAPS
from allocator.needs.slots import Slots, slots_where
from allocator.room import Brood, Room, Vessel

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

FULL = 10_000
"""A full vessel, in the whole numbers that the search counts with (0.01 % steps; derived: 1 / 0.0001)."""

COMFORT = 100
"""A vessel that is filled to the comfort level: comfort is counted in percent."""

CAPS = len(SUMMED_CAPS)
"""Rows of every table of loads: one for each cap whose shares add up."""

DUST = 1e-9
"""Float dust that is not worth rounding up for."""


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
    helpless_until
        The slot in which the keeper can first move fish that are found somewhere today: what is wrong with
        their place until then is nobody's fault.
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
    helpless_until: int

    @property
    def name(self) -> str:
        """The brood's name."""
        return self.brood.name

    @property
    def optional(self) -> bool:
        """Whether the collection may be left out."""
        return self.brood.optional

    def portion_load(self, kind: int, of: int) -> Ints:
        """Return the load of one of so many equal portions."""
        return self.load[kind] if of == 1 else -(-self.load[kind] // of)

    def portion_comfort(self, kind: int, of: int) -> Ints:
        """Return what one of so many equal portions takes, in percent of comfort."""
        return self.comfort[kind] if of == 1 else -(-self.comfort[kind] // of)

    @cached_property
    def fish_days_before(self) -> list[int]:
        """The sum of `fish_days` before each slot; nothing is added after the last."""
        sums: list[int] = np.concatenate(([0], np.cumsum(self.fish_days))).tolist()
        return [*sums, sums[-1]]

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
    """The whole room in whole numbers.

    `held_back` has the days by which company is taken to put off the sale of some broods.
    """

    room: Room
    days: tuple[date, ...]
    slot_days: Ints
    move_slots: tuple[int, ...]
    classes: tuple[VesselClass, ...]
    broods: tuple[BroodNeeds, ...]
    held_back: Mapping[str, int] = field(default_factory=dict)
    _apart: dict[tuple[int, int], Bools] = field(default_factory=dict, repr=False, compare=False)
    _apart_in: dict[int, dict[int, Slots]] = field(default_factory=dict, repr=False, compare=False)
    # Kept where the tables change only in when broods are sold: lengths are forecast without company.

    def only(self, names: Container[str]) -> "Needs":
        """Return the tables of some broods alone, on the same days; each gets the index of its new place."""
        kept = [brood for brood in self.broods if brood.name in names]
        return replace(
            self,
            broods=tuple(replace(brood, index=index) for index, brood in enumerate(kept)),
            held_back={name: days for name, days in self.held_back.items() if name in names},
            _apart={},
            _apart_in={},
        )

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
    def strangers(self) -> bool:
        """Tell whether there is more than one line, so that a vessel may have to be cleaned out."""
        return len({brood.line for brood in self.broods}) > 1

    @cached_property
    def half_told(self) -> bool:
        """Tell whether there are lines that could follow each other in ways that are not all modelled."""
        return self.mixed_today or self.shares_in_chains

    @cached_property
    def shares_in_chains(self) -> bool:
        """Tell whether a line may share with two that may not share with each other.

        Who leads a cohort may have left, and been cleaned up after, when a third comes that gets on with the
        second only: that is not modelled.
        """
        lines = {brood.line: brood for brood in self.broods}.values()
        return any(
            self.may_share(one, middle) and self.may_share(middle, other) and not self.may_share(one, other)
            for middle in lines
            for one, other in combinations(lines, 2)
        )

    @cached_property
    def mixed_today(self) -> bool:
        """Tell whether a vessel holds lines today that may not share.

        Who may come to the fish that stay there, once the others have left, is not modelled in full.
        """
        found: dict[str, list[BroodNeeds]] = {}
        for brood in self.broods:
            for vessel, _ in brood.phases[0].homes:
                found.setdefault(vessel, []).append(brood)
        return any(
            not self.may_share(one, other) for mates in found.values() for one in mates for other in mates
        )

    def may_share(self, one: BroodNeeds, other: BroodNeeds) -> bool:
        """Tell whether the lines of two broods may live in one vessel."""
        if one.line == other.line:
            return True
        lines = self.room.line_named
        return other.line in lines[one.line].may_share or one.line in lines[other.line].may_share

    @cached_property
    def _sharing(self) -> dict[str, tuple[str, ...]]:
        lines = {brood.line: brood for brood in self.broods}
        return {
            line: tuple(other for other, mate in lines.items() if self.may_share(brood, mate))
            for line, brood in lines.items()
        }

    def shares_with(self, line: str) -> tuple[str, ...]:
        """Return the lines that may live in one vessel with a line, itself among them."""
        return self._sharing[line]

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

    def apart_in(self, one: BroodNeeds, other: BroodNeeds) -> Slots:
        """Return the same as a set of slots."""
        mine = self._apart_in.setdefault(one.index, {})
        if other.index not in mine:
            mine[other.index] = slots_where(self.apart(one, other))
        return mine[other.index]

    def clean_out_days(self, leaving: BroodNeeds) -> int:
        """Return how many days a vessel stands empty after this brood before another line may enter."""
        return ceil(leaving.life.rules.clean_out_days.value)

    def clean_from(self, leaving: BroodNeeds, slot: int) -> date:
        """Return the day from which a vessel that a brood leaves in a slot is clean for strangers, if there are any."""
        days = self.clean_out_days(leaving) if self.strangers else 0
        return self.days[slot] + timedelta(days=days)

    def clash(self, one: BroodNeeds, one_alone: bool, other: BroodNeeds, other_alone: bool) -> Bools:  # noqa: FBT001
        """Return the slots in which two broods must not be in one vessel, for whatever reason."""
        if one_alone or other_alone or not self.may_share(one, other):
            return np.ones(self.slots, dtype=np.bool_)
        return self.apart(one, other)

    def slow(self, kind: VesselClass, brood: BroodNeeds) -> bool:
        """Tell whether fish of this brood grow slower in this class than with room."""
        return kind.sample.run_cm < brood.life.rules.growth_room.run_cm.value


def forgiven(fits: Bools, until: int) -> Bools:
    """Return the same with what is wrong before a slot forgiven: fish that are found so cannot be moved yet."""
    result = fits.copy()
    result[:until] = True
    return result


def before(slots: int, until: int) -> Bools:
    """Return which slots come before one of them."""
    return np.arange(slots) < until
