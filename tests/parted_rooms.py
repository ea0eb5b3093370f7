"""Tiny rooms in which broods have to be shared out over several vessels, and every way to do so.

Of the kind of plan that docs/explanation/how-the-plan-is-found.md describes: at most eight equal parts, so many that
half of the best vessel takes one; each part counted one fish more, all of them together as they are; loads rounded
up to a hundredth of a percent; the parts move on together. All is worked out day by day on named vessels; nothing
comes from the planner's tables or model.

The figures are such that a fish takes a whole number of hundredths of a percent of every vessel: 25, 40 and 50 litres
at one fish a litre make 400, 250 and 200.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from itertools import combinations_with_replacement, pairwise, product
from math import inf
from random import Random

import numpy as np
from numpy.typing import NDArray
from small_rooms import TODAY, band, figure, level, planned, small_pack, ten
from tiny_rooms import Facts

from allocator.husbandry.stages import fits_stage
from allocator.room import Addable, Brood, Keeper, Line, Room, Vessel
from allocator.rules import LengthPoint, RoomStep, RulePack, StageRule, VesselKind

DAY = timedelta(days=1)
FULL = 10_000
REARING, GROW_OUT = (VesselKind.REARING,), (VesselKind.GROW_OUT,)
BOTH = (*REARING, *GROW_OUT)

Days = NDArray[np.int64]


@cache
def parted_pack(*, stages: int, clean_out: int, within: int) -> RulePack:
    """Return a pack of one or two stages: a fish to the litre from first to last, ready after 42 days."""
    later = StageRule(
        name="grow-out",
        kinds=GROW_OUT,
        alone=False,
        may_skip=False,
        from_mm=figure(20),
        until_mm=figure(27),
    )
    first = StageRule(name="rearing", kinds=REARING, alone=False, may_skip=False)
    return small_pack(
        eggs_need_snail_free=False,
        incubation_days=band(0),
        length=(LengthPoint(age_days=figure(42), slow=figure(45), typical=figure(45), fast=figure(45)),),
        room=(RoomStep(from_mm=figure(0), fish_per_litre=level(1, comfort=1)),),
        stages=(first, later)[:stages],
        clean_out_days=figure(clean_out),
        sell_within_days=figure(within),
    )


def parted_room(seed: int) -> Room:
    """Return a room of two or three broods, most of them too many for one vessel."""
    random = Random(seed)  # noqa: S311 - made-up rooms, no secrets
    stages = random.choice((1, 1, 2))
    within = random.choice((0, 9))
    packs = {
        name: parted_pack(stages=stages, clean_out=random.choice((0, 7, 10, 21)), within=within)
        for name in ("red", "blue", "green")
    }

    def tanks(like: str, most: int, width_mm: int, kinds: tuple[VesselKind, ...]) -> list[Vessel]:
        return [
            ten(f"{like} {number}", declared_as=like, width_mm=width_mm, depth_mm=200, kinds=kinds)
            for number in range(1, random.randint(1, most) + 1)
        ]

    vessels = tanks("small", 3 if stages == 1 else 2, 250, REARING)
    if random.random() < 0.5:
        vessels += tanks("wide", 1, 400, BOTH if stages == 2 and random.random() < 0.5 else REARING)
    if stages == 2:
        vessels += tanks("large", 2, 500, GROW_OUT)
    broods = [
        planned(
            f"P{number}",
            random.choice(("red", "red", "blue", "green")),
            TODAY + random.randint(0, 70) * DAY,
            random.choice((8, 20, 25, 36, 40, 50, 60)),
        )
        for number in range(random.randint(2, 3))
    ]
    like = random.choice(sorted({vessel.declared_as for vessel in vessels}))
    return Room(
        name=f"parted {seed}",
        today=TODAY,
        keeper=Keeper(move_days=(5,), most_moves_a_day=random.choice((None, None, 2, 3))),
        vessels=tuple(vessels),
        lines=tuple(
            Line(
                name=name,
                species="made up",
                rules=pack,
                may_share=("blue",) if name == "red" and random.random() < 0.4 else (),
            )
            for name, pack in packs.items()
        ),
        broods=tuple(broods),
        could_add=(Addable(like=like, price=20, most=2),) if random.random() < 0.8 else (),
    )


@dataclass(frozen=True)
class Parted:
    """One way for a brood: what it takes of each vessel on each day, when it leaves each, its moves, its loss."""

    load: dict[str, Days]
    moves: tuple[tuple[date, int], ...]
    lost: int


class Rack:
    """All ways of all broods of a room; `adding` offers the new vessels too."""

    def __init__(self, room: Room, *, adding: bool) -> None:
        self.facts = Facts(room, adding=adding)
        self.offered = room.with_added({offer.like: offer.most for offer in room.could_add}).vessels
        self.room = self.facts.room
        self.length = 200
        self.apart: dict[tuple[str, str], NDArray[np.bool_]] = {}

    def _place(self, day: date) -> int:
        return (day - self.room.today).days

    def portions(self, brood: Brood, stage: int) -> int:
        """Return into how many parts a brood is split: half of the best vessel takes one, eight at most."""
        life = self.facts.lives[brood.name]
        best = max(int(v.litres + 1e-6) for v in self.offered if fits_stage(life, stage, v))
        return max(1, min(8, -(-brood.eggs * FULL // best // (FULL // 2)) if brood.eggs else 1))

    def takes(self, brood: Brood, vessel: str, parts: int, of: int) -> int:
        """Return what some of so many parts take of a vessel, in hundredths of a percent."""
        fish = FULL // round(self.room.vessel_named[vessel].litres)
        if parts == of:
            return brood.eggs * fish
        return -(-brood.eggs * fish // of) * parts + fish

    def ways(self, brood: Brood, *, homeless: bool) -> list[Parted]:
        """Return every way for a brood, those in which it loses its home in some stage too."""
        facts, life = self.facts, self.facts.lives[brood.name]
        start, stages = brood.collected, len(life.rules.stages)
        found = [Parted({}, (), self._lost(brood, start))] if homeless else []
        for entered in self._entries(brood, stages):
            path = [(self.room.vessels[0].name, *span) for span in pairwise((*entered, entered[-1] + DAY))]
            for sold in facts.sale_days(life, path):
                for shared in product(*(list(self._shared(brood, number)) for number in range(stages))):
                    found += self._way(brood, shared, (*entered, sold), stages, lost=False)
            for number in range(1, stages) if homeless else ():
                for shared in product(*(list(self._shared(brood, n)) for n in range(number))):
                    found += self._way(brood, shared, entered[: number + 1], number, lost=True)
        return found

    def _entries(self, brood: Brood, stages: int) -> Iterator[tuple[date, ...]]:
        life = self.facts.lives[brood.name]
        later = [self.facts.entry_days(life, number) for number in range(1, stages)]
        for days in product(*later):
            entered = (brood.collected, *days)
            if all(one < other for one, other in pairwise(entered)):
                yield entered

    def _shared(self, brood: Brood, stage: int) -> Iterator[Counter[str]]:
        """Yield every way to share the parts of a brood out over the vessels of a stage."""
        life = self.facts.lives[brood.name]
        names = [v.name for v in self.room.vessels if fits_stage(life, stage, v)]
        for chosen in combinations_with_replacement(names, self.portions(brood, stage)):
            yield Counter(chosen)

    def _way(
        self,
        brood: Brood,
        shared: tuple[Counter[str], ...],
        days: tuple[date, ...],
        stages: int,
        *,
        lost: bool,
    ) -> Iterator[Parted]:
        load: dict[str, Days] = {}
        moves: list[tuple[date, int]] = []
        for number in range(stages):
            begin, end = self._place(days[number]), self._place(days[number + 1])
            of = sum(shared[number].values())
            for vessel, parts in shared[number].items():
                takes = self.takes(brood, vessel, parts, of)
                if takes > FULL:
                    return
                row = load.setdefault(vessel, np.zeros(self.length, dtype=np.int64))
                row[begin:end] = takes
            if number:
                before, here = shared[number - 1].keys(), shared[number].keys()
                # as many as sharing out can take: see the most moves a day in the docs
                moves.append((days[number], len(before) + len(here) - len(before & here) - 1))
        if not lost:
            moves.append((days[stages], len(shared[-1])))
        yield Parted(load, tuple(moves), self._lost(brood, days[stages]) if lost else 0)

    def _lost(self, brood: Brood, day: date) -> int:
        return self.facts.fish_days(brood, day, self.facts.until(brood))

    def together(self, one: Brood, first: Parted, other: Brood, second: Parted) -> bool:
        """Tell whether two broods get on in every vessel: line and clean-out, or length."""
        gap, gap_after = (int(self.facts.lives[b.name].rules.clean_out_days.value) for b in (one, other))
        strangers = self.facts.strangers(one, other)
        key = one.name, other.name
        if key not in self.apart:
            days = [self.room.today + place * DAY for place in range(self.length)]
            begun = max(one.collected, other.collected)
            self.apart[key] = np.array(
                [day >= begun and not self.facts.go_together(one, other, day) for day in days]
            )
        for vessel in first.load.keys() & second.load.keys():
            mine, theirs = first.load[vessel] > 0, second.load[vessel] > 0
            if strangers:
                if (_longer(mine, gap) & theirs).any() or (_longer(theirs, gap_after) & mine).any():
                    return False
            elif (mine & theirs & self.apart[key]).any():
                return False
        return True


def _longer(there: NDArray[np.bool_], gap: int) -> NDArray[np.bool_]:
    """Return the days on which fish are in a vessel or it is being cleaned after them."""
    result = there.copy()
    for days in range(1, gap + 1):
        result[days:] |= there[:-days]
    return result


def least_parted(room: Room, *, adding: bool, homeless: bool) -> float:
    """Return the fewest fish-days without a home, or the least cost where all have one; infinite where none do."""
    rack = Rack(room, adding=adding)
    broods = list(room.broods)
    ways = [sorted(rack.ways(brood, homeless=homeless), key=lambda way: way.lost) for brood in broods]
    price = rack.facts.price
    most = room.keeper.most_moves_a_day
    best = inf

    def go(chosen: list[Parted], load: dict[str, Days], moves: Counter[date]) -> None:
        nonlocal best
        cost = sum(price.get(name, 0) for name in load)
        value = sum(way.lost for way in chosen) if homeless else cost
        if value >= best:
            return
        place = len(chosen)
        if place == len(broods):
            best = value
            return
        for way in ways[place]:
            more = moves + Counter(dict(way.moves))
            if most is not None and max(more.values(), default=0) > most:
                continue
            sums = {v: load[v] + row if v in load else row for v, row in way.load.items()}
            if any((row > FULL).any() for row in sums.values()):
                continue
            pairs = zip(broods, chosen, strict=False)
            if all(rack.together(one, first, broods[place], way) for one, first in pairs):
                go([*chosen, way], load | sums, more)

    go([], {}, Counter())
    return best
