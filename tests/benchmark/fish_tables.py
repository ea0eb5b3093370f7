"""Published instances as the allocator's own integer tables: a room with one brood for each item.

Every brood is set up and sold on fixed days, in one vessel from the first to the last. Times only matter where
who is there changes: of all moments, those are kept at which a set of items is there together that is not part
of another, one day each. That leaves who meets whom as it is.
"""

from collections import Counter
from datetime import timedelta
from itertools import product

import numpy as np
from small_rooms import TODAY, figure, planned, small_pack, ten

from allocator.husbandry.life import Life
from allocator.needs import CAPS, FULL, BroodNeeds, Needs, Phase, VesselClass
from allocator.room import Keeper, Line, Room
from allocator.rules import GrowthRoom, StageRule, VesselKind
from benchmark.published import Instance

PRICE = 100
"""What a tank costs: one, in hundredths."""


def meetings(spans: tuple[tuple[int, int], ...]) -> list[tuple[int, int]]:
    """Return the same spans on days that are numbered from 0, one for each largest set that is there together.

    A span without any time has first day = day after the last.
    """
    starts = sorted({start for start, end in spans if start < end})
    ends = sorted(end for start, end in spans if start < end)
    kept = []  # a moment at which someone comes, before the next at which someone comes after another has gone
    for place, start in enumerate(starts):
        following = starts[place + 1] if place + 1 < len(starts) else None
        if following is None or any(start < end <= following for end in ends):
            kept.append(start)
    return [
        (int(np.searchsorted(kept, start)), int(np.searchsorted(kept, end))) if start < end else (0, 0)
        for start, end in spans
    ]


def loads_of(instance: Instance, *, up: bool) -> list[int]:
    """Return what each item takes of a full vessel, rounded up or down where it does not come out even."""
    exact = [size * FULL for size in instance.sizes]
    return [-(-load // instance.capacity) if up else load // instance.capacity for load in exact]


def tables_of(instance: Instance, *, up: bool = True) -> tuple[Needs, list[list[int]], list[int]]:
    """Return the tables, the tanks of each class (places in `suits`), and the item of each brood.

    Items that are there at no time have no brood.
    """
    spans = meetings(instance.spans)
    items = [item for item, (start, end) in enumerate(spans) if start < end]
    slots = max((spans[item][1] for item in items), default=1)
    ones, zeros = np.ones(slots, dtype=np.bool_), np.zeros(slots, dtype=np.int64)
    if instance.suits is None:
        kinds = [frozenset(items)]
        copies = [list(range(len(items)))]
    else:
        found = Counter(frozenset(suit).intersection(items) for suit in instance.suits)
        kinds = sorted((kind for kind in found if kind), key=sorted)
        copies = [
            [place for place, suit in enumerate(instance.suits) if suit.intersection(items) == kind]
            for kind in kinds
        ]
    rules = small_pack(
        name="fixed days",
        stages=(StageRule(name="all", kinds=(VesselKind.REARING,), alone=instance.alone, may_skip=False),),
        growth_room=GrowthRoom(
            from_mm=figure(45), run_cm=figure(1), slowed_to=figure(1), slowed_when_full=figure(1)
        ),
        clean_out_days=figure(0),
    )
    line = Line(name="line", species="made up", rules=rules)
    broods = tuple(
        planned(f"item {item}", "line", TODAY + timedelta(days=spans[item][0]), 1) for item in items
    )
    room = Room(
        name="published",
        today=TODAY,
        keeper=Keeper(move_days=tuple(range(7))),
        vessels=(),
        lines=(line,),
        broods=broods,
    )
    classes = tuple(
        VesselClass(number, ten(f"tank {number}"), (), ones, f"tank {number}", PRICE, len(places))
        for number, places in enumerate(copies)
    )
    loads = loads_of(instance, up=up)
    needs = []
    for index, (item, brood) in enumerate(zip(items, broods, strict=True)):
        start, end = spans[item]
        load = np.full((CAPS, slots), FULL if instance.alone else loads[item], dtype=np.int64)
        needs.append(
            BroodNeeds(
                index=index,
                brood=brood,
                life=Life(brood, rules, room.keeper),
                line="line",
                start=start,
                phases=(Phase(0, (start,), 1, alone=instance.alone),),
                load=(load,) * len(classes),
                comfort=(np.zeros((CAPS, slots), dtype=np.int64),) * len(classes),
                allowed=(tuple(ones if item in kind else ~ones for kind in kinds),),
                strain=(zeros,) * len(classes),
                entry_strain=({start: 0},),
                sale={(*slow, start): (end,) for slow in product((False, True), repeat=2)},
                shift_sale={},
                daily_mm=np.zeros(slots),
                one_fish=(np.zeros((CAPS, slots), dtype=np.int64),) * len(classes),
                flow=zeros,
                slowing_stages=frozenset(),
                helpless_until=0,
                fish_days=np.ones(slots, dtype=np.int64),
            )
        )
    days = tuple(TODAY + timedelta(days=day) for day in range(slots + 1))
    tables = Needs(room, days, np.ones(slots, dtype=np.int64), tuple(range(slots)), classes, tuple(needs))
    return tables, copies, items


def comes_out_even(instance: Instance) -> bool:
    """Tell whether the whole numbers of the tables say just what the file says."""
    return instance.alone or all(size * FULL % instance.capacity == 0 for size in instance.sizes)
