"""The racks on one day: every vessel in its place, with its fish, its flow and the share of room that they take."""

from collections import defaultdict
from dataclasses import replace
from datetime import date
from itertools import groupby

from allocator.husbandry.peat import holds_water, may_hold_water
from allocator.in_use import declared, new_names
from allocator.plan import Plan
from allocator.reports.moves import age_words, flow_on
from allocator.reports.page.facts import LotShown, RackDay, RackShown, ShelfShown, VesselShown
from allocator.reports.tables import clean
from allocator.reports.text import list_ends
from allocator.reports.where import FILLS, LotThere, fullness, groups_in, lots_by_vessel
from allocator.reports.words import count_of, day_words, length_words, listed, ranged
from allocator.room import Room, Vessel
from allocator.units import Gallon, litres_and_gallons

SIZES = ((10.0, "low"), (60.0, "mid"))
"""Up to how many litres a vessel is drawn small or middle-sized: for the eye only (judgement)."""

LONG_RUN = 4
"""From so many on, empty vessels without a place are drawn as one (judgement)."""


def rack_day(room: Room, plan: Plan, day: date, why: str, gallon: Gallon | None) -> RackDay:
    """Return the racks on a day."""
    there = lots_by_vessel(room, plan, day)
    new = {name for kind in declared(room) for name in new_names(plan, kind)}
    shown = {
        vessel.name: _vessel(
            room, plan, vessel, there.get(vessel.name, []), day, gallon, new=vessel.name in new
        )
        for vessel in room.vessels
    }
    return RackDay(
        day=day,
        why=why,
        title=day_words(day),
        draft=day >= list_ends(room),
        racks=tuple(_racks(room, shown)),
        notes=tuple(_notes(room, plan, day, set(there), new)),
    )


def _notes(room: Room, plan: Plan, day: date, used: set[str], new: set[str]) -> list[str]:
    """Return, in the words of the terminal, which vessels are empty or not there, and who has no home."""
    free = [v for v in room.vessels if v.name not in used and not groups_in(room, v, day)]
    empty = [vessel.name for vessel in free if vessel.available.holds(day) and vessel.name not in new]
    away = [vessel.name for vessel in free if not vessel.available.holds(day)]
    notes = [f"Empty: {ranged(empty)}."] if empty else []
    notes += [f"Not there on this day: {ranged(away)}."] if away else []
    added = [vessel.name for vessel in free if vessel.name in new]
    notes += [f"To be added: {ranged(added)}."] if added else []
    lost = [gap for gap in plan.homeless if gap.from_ <= day < gap.until]
    if lost:
        names = listed(f"{gap.brood} ({count_of(gap.fish, 'fish', 'fish')})" for gap in lost)
        notes.append(f"Without a home on this day: {names}.")
    return notes


def _racks(room: Room, shown: dict[str, VesselShown]) -> list[RackShown]:
    """Return racks in the order in which the room file names them; what has no place hangs last, kind by kind."""
    places: dict[str, dict[str, list[VesselShown]]] = defaultdict(lambda: defaultdict(list))
    for shelf in room.shelves:
        places[shelf.rack][shelf.name] = []
    loose: dict[str, list[VesselShown]] = defaultdict(list)
    for vessel in room.vessels:
        if vessel.rack or vessel.shelf:
            places[vessel.rack or ""][vessel.shelf or ""].append(shown[vessel.name])
        else:
            loose[vessel.declared_as].append(shown[vessel.name])
    racks = [RackShown(clean(rack), tuple(_shelves(shelves))) for rack, shelves in places.items()]
    if loose:
        racks.append(RackShown("", tuple(_shelves({kind: _drawn_together(v) for kind, v in loose.items()}))))
    return [rack for rack in racks if rack.shelves]


def _drawn_together(vessels: list[VesselShown]) -> list[VesselShown]:
    """Return the vessels with every long run of empty ones as one: where they stand is not known anyway."""

    def empty(vessel: VesselShown) -> bool:
        return vessel.there and not (vessel.lots or vessel.groups or vessel.new)

    shown: list[VesselShown] = []
    for nobody, run in groupby(vessels, key=empty):
        some = list(run)
        if nobody and len(some) >= LONG_RUN:
            some = [replace(some[0], name=f"{ranged([v.raw for v in some])}")]
        shown += some
    return shown


def _shelves(shelves: dict[str, list[VesselShown]]) -> list[ShelfShown]:
    return [ShelfShown(clean(name), tuple(vessels)) for name, vessels in shelves.items() if vessels]


def _vessel(
    room: Room,
    plan: Plan,
    vessel: Vessel,
    lots: list[LotThere],
    day: date,
    gallon: Gallon | None,
    *,
    new: bool,
) -> VesselShown:
    full = fullness(vessel, lots) if lots else None
    setting = flow_on(plan, vessel.name, day)
    groups = groups_in(room, vessel, day)
    return VesselShown(
        name=clean(vessel.name),
        raw=vessel.name,
        size=next((size for litres, size in SIZES if vessel.litres < litres), "high"),
        water=litres_and_gallons(vessel.litres, gallon),
        share=full.share if full else 0.0,
        word=full.word if full else "",
        fullness=str(full).split(" (")[0] if full else "",
        fills=FILLS[full.binds] if full and full.binds is not None else "",
        flow=setting.word if setting is not None and holds_water(vessel) and (lots or groups) else "",
        lots=tuple(_lot(room, lot, day) for lot in lots),
        groups=tuple(
            (clean(group.name), f"{count_of(group.males, 'male')}, {count_of(group.females, 'female')}")
            for group in groups
        ),
        there=vessel.available.holds(day),
        new=new,
    )


def _lot(room: Room, lot: LotThere, day: date) -> LotShown:
    eggs = lot.life.is_egg(day)
    due = "hatch about" if may_hold_water(room, lot.stay.vessel) else "to be wetted"
    return LotShown(
        name=clean(lot.stay.lot),
        line=clean(room.brood_named[lot.stay.brood].line),
        heads=f"{lot.fish:.0f} {'eggs' if eggs else 'fish'}",
        mm=lot.mm,
        length=f"{due} {day_words(lot.life.hatched)}" if eggs else length_words(lot.mm),
        age="" if eggs else age_words(lot.life, day),
    )
