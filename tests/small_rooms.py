"""A small made-up world with round numbers, for tests that can be worked out in the head.

Fish of the small pack hatch 10 days after collection at 5 mm, grow 0.2 mm a day and never die:

| length | age | what happens |
|---|---|---|
| 5 mm | 0 | hatch |
| 7 mm | 10 days | may enter the rearing stage |
| 15 mm | 50 days | last day to enter it; from here on 1 fish per litre, below that 20 |
| 20 mm | 75 days | may enter the grow-out stage |
| 35 mm | 150 days | last day to enter it |
| 40 mm | 175 days | from here on half the growth in vessels shorter than 80 cm |
| 45 mm | 200 days | long enough to sell, within 28 days |

Every figure is invented for the tests and says nothing about real fish.
"""

from datetime import date, timedelta
from typing import Any

from allocator.plan import FlowChange, Move, Plan, Stay, Verdict
from allocator.room import BreedingGroup, Brood, CollectedBy, Count, Home, Keeper, Line, Room, Span, Vessel
from allocator.rules import (
    Adult,
    Band,
    CareStep,
    Evidence,
    FeedStep,
    Figure,
    FlowSetting,
    FlowStep,
    GrowthRoom,
    LengthPoint,
    Level,
    RoomStep,
    RulePack,
    StageRule,
    SurvivalStep,
    Upkeep,
    VesselKind,
    WaterRule,
)

SATURDAY = 5
TODAY = date(2027, 1, 2)
"""A Saturday."""


def day(text: str) -> date:
    """Return a day of 2027 written as month-day: day("01-09")."""
    return date.fromisoformat(f"2027-{text}")


def figure(value: float, unit: str = "") -> Figure:
    """Return a number that is made up."""
    return Figure(
        value=value, unit=unit, evidence=Evidence.MEMORY, source="made up for tests", origin="tests"
    )


def band(low: float, expected: float | None = None, high: float | None = None) -> Band:
    """Return a band; one number stands for all three."""
    expected = low if expected is None else expected
    return Band(low=figure(low), expected=figure(expected), high=figure(expected if high is None else high))


def level(limit: float, comfort: float | None = None) -> Level:
    """Return a comfort level and a limit; comfort is half the limit unless given."""
    return Level(comfort=figure(limit / 2 if comfort is None else comfort), limit=figure(limit))


def small_pack(**changes: Any) -> RulePack:
    """Return the pack of the table above, with some fields changed."""
    fields: dict[str, Any] = {
        "name": "small",
        "about": "made up",
        "origin": "tests",
        "eggs_need_snail_free": True,
        "incubation_days": band(8, 10, 12),
        "hatch_share": band(1),
        "survival": (SurvivalStep(until_age_days=figure(30), share=band(1)),),
        "monthly_survival_after": band(1),
        "hatch_mm": figure(5),
        "length": (LengthPoint(age_days=figure(300), slow=figure(65), typical=figure(65), fast=figure(65)),),
        "weight_a": figure(0.01),
        "weight_b": figure(3),
        "room": (
            RoomStep(from_mm=figure(0), fish_per_litre=level(20)),
            RoomStep(from_mm=figure(15), fish_per_litre=level(1), grams_per_litre=level(2)),
            RoomStep(
                from_mm=figure(30),
                fish_per_litre=level(1),
                grams_per_litre=level(2),
                run_cm=level(40, comfort=80),
            ),
        ),
        "feed": (FeedStep(from_mm=figure(0), percent_of_weight=figure(5)),),
        "flow": (
            FlowStep(from_mm=figure(0), comfort=figure(0), limit=figure(1)),
            FlowStep(from_mm=figure(20), comfort=figure(2), limit=figure(3)),
        ),
        "stages": (
            StageRule(name="hatchery", kinds=(VesselKind.HATCHERY,), alone=False, may_skip=False),
            StageRule(
                name="rearing",
                kinds=(VesselKind.REARING,),
                alone=False,
                may_skip=False,
                from_days=figure(10),
                from_mm=figure(7),
                until_mm=figure(15),
            ),
            StageRule(
                name="grow-out",
                kinds=(VesselKind.GROW_OUT,),
                alone=False,
                may_skip=False,
                from_days=figure(10),
                from_mm=figure(20),
                until_mm=figure(35),
            ),
        ),
        "growth_room": GrowthRoom(
            from_mm=figure(40), run_cm=figure(80), slowed_to=figure(0.5), slowed_when_full=figure(1)
        ),
        "length_ratio_warn": figure(1.5),
        "length_ratio_limit": figure(2),
        "clean_out_days": figure(7),
        "sale_mm": figure(45),
        "sell_within_days": figure(28),
        "mop_out_days": figure(14),
        "eggs_a_day": band(5),
        "spawns_from_days": figure(100),
        "adult_mm": Adult(slow=figure(200), typical=figure(200), fast=figure(200)),
        "water": WaterRule(
            from_c=figure(20),
            until_c=figure(30),
            un_ionised_limit_mg_per_l=figure(0.02),
            least_oxygen_mg_per_l=figure(5),
            feed_protein_share=figure(0.45),
        ),
        "care": (CareStep(name="first food", task="feed them", from_days=figure(0), minutes=figure(5)),),
        "upkeep": Upkeep(
            egg_picking_minutes_a_week=figure(15),
            feeding_minutes_a_day=figure(2),
            water_change_minutes_a_week=figure(10),
        ),
    }
    return RulePack(**{**fields, **changes})


def box(name: str, **changes: Any) -> Vessel:
    """Return a hatchery container of 4 litres, free of snails, still to gentle."""
    fields: dict[str, Any] = {
        "name": name,
        "declared_as": "box",
        "kinds": (VesselKind.HATCHERY,),
        "length_mm": 200,
        "width_mm": 200,
        "depth_mm": 100,
        "flow_lowest": FlowSetting.STILL,
        "flow_highest": FlowSetting.GENTLE,
        "snail_free": True,
    }
    return Vessel(**{**fields, **changes})


def ten(name: str, **changes: Any) -> Vessel:
    """Return a rearing tank of 30 litres, 50 cm long, still to strong."""
    fields: dict[str, Any] = {
        "name": name,
        "declared_as": "ten",
        "kinds": (VesselKind.REARING,),
        "length_mm": 500,
        "width_mm": 250,
        "depth_mm": 240,
        "flow_lowest": FlowSetting.STILL,
        "flow_highest": FlowSetting.STRONG,
    }
    return Vessel(**{**fields, **changes})


def long(name: str, **changes: Any) -> Vessel:
    """Return a grow-out tank of 144 litres, 90 cm long, gentle to strong."""
    fields: dict[str, Any] = {
        "name": name,
        "declared_as": "long",
        "kinds": (VesselKind.GROW_OUT,),
        "length_mm": 900,
        "width_mm": 400,
        "depth_mm": 400,
        "flow_lowest": FlowSetting.GENTLE,
        "flow_highest": FlowSetting.STRONG,
    }
    return Vessel(**{**fields, **changes})


def planned(name: str, line: str, collected: date, eggs: int, by: CollectedBy = CollectedBy.PICKING) -> Brood:
    """Return a brood that is still to be collected."""
    return Brood(name=name, line=line, collected=collected, by=by, eggs=eggs, planned=True)


def in_being(name: str, line: str, collected: date, fish: int, *vessels: str, on: date = TODAY) -> Brood:
    """Return a brood that was counted on a day and lives in some vessels, shared out evenly."""
    return Brood(
        name=name,
        line=line,
        collected=collected,
        by=CollectedBy.PICKING,
        eggs=fish,
        homes=tuple(Home(vessel=vessel) for vessel in vessels),
        counts=(Count(on=on, fish=fish),),
    )


def small_room(**changes: Any) -> Room:
    """Return a room with two lines, a group, a brood of 24 in being and three planned ones.

    Moves on Saturdays, four at most, none from 13 to 20 March. Box 4 has snails, ten 7 goes on 1 February.
    K1 hatched on 15 December; the planned broods hatch on 19 January and are sold from 7 August on.
    """
    pack = small_pack()
    fields: dict[str, Any] = {
        "name": "small",
        "today": TODAY,
        "keeper": Keeper(
            move_days=(SATURDAY,),
            most_moves_a_day=4,
            away=(Span(start=day("03-13"), end=day("03-21")),),
        ),
        "vessels": (
            *(box(f"box {number}", snail_free=number != 4) for number in range(1, 6)),
            *(ten(f"ten {number}") for number in range(1, 5)),
            ten("ten 5", kinds=(VesselKind.REARING, VesselKind.BREEDING)),
            ten("ten 6", snail_free=True),
            ten("ten 7", available=Span(end=day("02-01"))),
            ten("ten 8", snail_free=True),
            long("long 1"),
            long("long 2"),
        ),
        "lines": (
            Line(name="red", species="made up", rules=pack),
            Line(name="blue", species="made up", rules=pack),
        ),
        "groups": (BreedingGroup(name="red trio", line="red", males=1, females=2, vessel="ten 5"),),
        "broods": (
            in_being("K1", "red", date(2026, 12, 5), 24, "box 1"),
            planned("P1", "red", day("01-09"), 40),
            planned("B1", "blue", day("01-09"), 20),
            planned("M1", "red", day("01-09"), 20, CollectedBy.MOP),
        ),
    }
    return Room(**{**fields, **changes})


def stay(lot: str, vessel: str, from_: date, until: date, fish: int) -> Stay:
    """Return a stay; the brood is the first word of the lot's name."""
    return Stay(lot=lot, brood=lot.partition(" ")[0], vessel=vessel, from_=from_, until=until, fish=fish)


def move(on: date, lot: str, from_: str | None, to: str | None, fish: int) -> Move:
    """Return a move; the brood is the first word of the lot's name."""
    return Move(on=on, lot=lot, brood=lot.partition(" ")[0], from_=from_, to=to, fish=fish)


def small_plan() -> Plan:
    """Return a plan for the small room that breaks no rule, with a split, a merge and a mop left in place."""
    d = day
    return Plan(
        verdict=Verdict.FITS,
        proven=False,
        stays=(
            stay("K1", "box 1", TODAY, d("01-16"), 24),
            stay("K1", "ten 1", d("01-16"), d("03-06"), 24),
            stay("K1", "long 1", d("03-06"), d("07-03"), 24),
            stay("P1", "box 2", d("01-09"), d("01-30"), 40),
            stay("P1 a", "ten 2", d("01-30"), d("04-10"), 24),
            stay("P1 b", "ten 3", d("01-30"), d("04-10"), 16),
            stay("P1", "long 1", d("04-10"), d("08-07"), 40),
            stay("B1", "box 3", d("01-09"), d("01-30"), 20),
            stay("B1", "ten 4", d("01-30"), d("04-10"), 20),
            stay("B1", "long 2", d("04-10"), d("08-07"), 20),
            stay("M1", "ten 6", d("01-09"), d("04-10"), 20),
            stay("M1", "long 1", d("04-10"), d("08-07"), 20),
        ),
        moves=(
            move(d("01-09"), "P1", None, "box 2", 40),
            move(d("01-09"), "B1", None, "box 3", 20),
            move(d("01-09"), "M1", None, "ten 6", 20),
            move(d("01-16"), "K1", "box 1", "ten 1", 24),
            move(d("01-30"), "P1 a", "box 2", "ten 2", 24),
            move(d("01-30"), "P1 b", "box 2", "ten 3", 16),
            move(d("01-30"), "B1", "box 3", "ten 4", 20),
            move(d("03-06"), "K1", "ten 1", "long 1", 24),
            move(d("04-10"), "P1", "ten 2", "long 1", 24),
            move(d("04-10"), "P1", "ten 3", "long 1", 16),
            move(d("04-10"), "B1", "ten 4", "long 2", 20),
            move(d("04-10"), "M1", "ten 6", "long 1", 20),
            move(d("07-03"), "K1", "long 1", None, 24),
            move(d("08-07"), "P1", "long 1", None, 40),
            move(d("08-07"), "B1", "long 2", None, 20),
            move(d("08-07"), "M1", "long 1", None, 20),
        ),
        flow=tuple(
            FlowChange(vessel=vessel.name, from_=TODAY, setting=max(vessel.flow_lowest, FlowSetting.STILL))
            for vessel in small_room().vessels
        ),
    )


def retime(plan: Plan, brood: str, old: date, new: date) -> Plan:
    """Return the plan with whatever a brood does on one day done on another."""

    def on(found: date, name: str) -> date:
        return new if found == old and name == brood else found

    return plan.model_copy(
        update={
            "stays": tuple(
                s.model_copy(update={"from_": on(s.from_, s.brood), "until": on(s.until, s.brood)})
                for s in plan.stays
            ),
            "moves": tuple(m.model_copy(update={"on": on(m.on, m.brood)}) for m in plan.moves),
        }
    )


def rehouse(plan: Plan, brood: str, old: str, new: str) -> Plan:
    """Return the plan with a brood in another vessel throughout, its moves told accordingly."""

    def at(found: str | None, name: str) -> str | None:
        return new if found == old and name == brood else found

    return plan.model_copy(
        update={
            "stays": tuple(s.model_copy(update={"vessel": at(s.vessel, s.brood)}) for s in plan.stays),
            "moves": tuple(
                m.model_copy(update={"from_": at(m.from_, m.brood), "to": at(m.to, m.brood)})
                for m in plan.moves
            ),
        }
    )


def later(start: date, days: int) -> date:
    """Return the day so many days later."""
    return start + timedelta(days=days)
