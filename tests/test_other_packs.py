"""Packs of fish that live unlike the others: eggs in peat, young under guard, fish of the floor."""

import re
from datetime import date, timedelta
from functools import cache
from pathlib import Path

import pytest

from allocator.check import check_plan
from allocator.husbandry.growth import age_at_mm, length_mm
from allocator.husbandry.life import lives
from allocator.husbandry.stocking import Cap, shares_of_one
from allocator.plan import Plan, Stay, Verdict
from allocator.planner import plan_room
from allocator.problems import Problems
from allocator.reading import read_room
from allocator.reading.packs import load_pack
from allocator.reports.moves import moves_text
from allocator.reports.text import plan_text
from allocator.reports.where import FILLS, where_text
from allocator.room import Room, Vessel
from allocator.rules import FlowSetting, GrowthPace, RulePack, VesselKind

BAG = "{name: bag, copies: 2, kind: egg store, inside: 20 x 15 cm, water_depth: 4 cm, flow: still}"
TUB = (
    "{name: tub, copies: 2, kind: hatchery, inside: 30 x 30 cm, water_depth: 10 cm, "
    "flow: [still, gentle], snail_free: true}"
)
TEN = "{name: ten, kind: rearing, inside: 50 x 25 cm, water_depth: 27 cm, flow: [still, normal], filter: sponge filter}"
TENS = TEN.replace("name: ten,", "name: ten, copies: 2,")


@cache
def pack(name: str) -> RulePack:
    problems = Problems("tests")
    loaded = load_pack(name, relative_to=Path(), problems=problems, line=1)
    assert loaded is not None
    assert problems.found == []
    return loaded[0]


def room_of(tmp_path: Path, vessels: list[str], lines: list[str], broods: list[str]) -> Room:
    """Return a room that was written as a keeper would write it. Saturday is the move day, and the first day."""
    path = tmp_path / "room.yaml"
    text = [
        "fish_room: r",
        "today: 2027-01-02",
        "keeper: {move_days: [saturday]}",
        "vessels:",
        *(f"  - {row}" for row in vessels),
        "lines:",
        *(f"  - {row}" for row in lines),
        "broods:",
        *(f"  - {row}" for row in broods),
    ]
    path.write_text("\n".join(text), encoding="utf-8")
    return read_room(path).room


def planned(room: Room) -> Plan:
    """Return the plan of a room with what is there, checked."""
    result = plan_room(room)
    plan = result.as_it_is.plan
    assert check_plan(room, plan) == []
    return plan


def stays_of(plan: Plan, brood: str) -> list[Stay]:
    return sorted((stay for stay in plan.stays if stay.brood == brood), key=lambda stay: stay.from_)


# ---- annual killifish ------------------------------------------------------------------------------------

PUDDLE = "{name: puddle, species: Nothobranchius furzeri, rules: annual-killifish}"
TWO_COLLECTIONS = [
    "{name: A, line: puddle, collected: 2027-01-02, eggs: 50}",
    "{name: B, line: puddle, collected: 2027-01-09, eggs: 50}",
]


@pytest.fixture(scope="module")
def wet_and_dry(tmp_path_factory: pytest.TempPathFactory) -> tuple[Room, Plan]:
    """Return two collections in peat, planned."""
    room = room_of(tmp_path_factory.mktemp("room"), [BAG, TUB, TENS], [PUDDLE], TWO_COLLECTIONS)
    return room, planned(room)


def test_eggs_of_killifish_stay_in_their_bag_until_they_are_wetted(wet_and_dry: tuple[Room, Plan]) -> None:
    room, plan = wet_and_dry
    assert plan.verdict is Verdict.FITS
    for brood in room.broods:
        bag, tub, ten = (stay for stay in stays_of(plan, brood.name))
        wetting = brood.collected + timedelta(weeks=8)
        assert (bag.from_, bag.until, bag.fish) == (brood.collected, wetting, 50)
        assert (tub.from_, tub.fish) == (wetting, 29)  # 50 x 0.58
        assert timedelta(days=3) <= tub.until - tub.from_ <= timedelta(weeks=1)
        kinds = [room.vessel_named[stay.vessel].kinds for stay in (bag, tub, ten)]
        assert kinds == [(VesselKind.EGG_STORE,), (VesselKind.HATCHERY,), (VesselKind.REARING,)]


def test_killifish_are_sold_about_a_month_after_wetting(wet_and_dry: tuple[Room, Plan]) -> None:
    _, plan = wet_and_dry
    for brood, wetting in (("A", date(2027, 2, 27)), ("B", date(2027, 3, 6))):
        sale = next(move.on for move in plan.moves if move.brood == brood and move.to is None)
        assert timedelta(weeks=3) < sale - wetting < timedelta(weeks=9)


def test_a_bag_holds_one_collection(wet_and_dry: tuple[Room, Plan], tmp_path: Path) -> None:
    """Two bags are two homes; with one bag of the same peat in all, the second collection has none."""
    room, plan = wet_and_dry
    first, second = (stays_of(plan, brood.name)[0] for brood in room.broods)
    assert first.vessel != second.vessel
    one = BAG.replace("copies: 2, ", "").replace("water_depth: 4 cm", "water_depth: 8 cm")
    lacking = planned(room_of(tmp_path, [one, TUB, TENS], [PUDDLE], TWO_COLLECTIONS))
    assert lacking.verdict is Verdict.DOES_NOT_FIT
    assert len({row.brood for row in lacking.homeless}) == 1
    both = plan.model_copy(
        update={
            "stays": tuple(
                stay.model_copy(update={"vessel": first.vessel}) if stay.vessel == second.vessel else stay
                for stay in plan.stays
            )
        }
    )
    assert "alone" in {breach.rule.value for breach in check_plan(room, both)}


def test_peat_is_wetted_neither_early_nor_late(wet_and_dry: tuple[Room, Plan]) -> None:
    room, plan = wet_and_dry
    bag, tub, _ = stays_of(plan, "A")
    for day in (tub.from_ - timedelta(weeks=1), tub.until - timedelta(days=1)):
        moved = {bag: {"until": day}, tub: {"from_": day}}
        stays = tuple(stay.model_copy(update=moved.get(stay, {})) for stay in plan.stays)
        moves = tuple(
            move.model_copy(update={"on": day}) if move.brood == "A" and move.to == tub.vessel else move
            for move in plan.moves
        )
        other = plan.model_copy(update={"stays": stays, "moves": moves})
        assert "window" in {breach.rule.value for breach in check_plan(room, other)}


def test_a_bag_of_peat_has_no_valve_and_no_water_to_medicate(wet_and_dry: tuple[Room, Plan]) -> None:
    room, plan = wet_and_dry
    rows = [" ".join(row.split()) for row in moves_text(room, plan).splitlines()]
    assert "[ ] A 50 eggs new bag 1 set up eggs" in rows
    assert any(row.startswith("[ ] A 29 bag 1 tub 1 set still the peat is wetted, and") for row in rows)
    text = " ".join(rows)
    assert not re.search("set flow to [a-z]+: bag", text)
    assert "If you medicate eggs" not in text
    assert "Picking eggs" not in text
    where = " ".join(where_text(room, plan, date(2027, 1, 16)).split())
    assert "bag 1, 1.2 l (0.3 US gal): 10 % full" in where
    assert "A puddle 50 eggs to be wetted Sat 27 Feb 2027" in where


def test_a_week_with_nothing_but_eggs_in_peat_has_nothing_to_do(tmp_path: Path) -> None:
    brood = "{name: A, line: puddle, collected: 2026-12-26, eggs: 50, lives_in: bag 1}"
    room = room_of(tmp_path, [BAG, TUB, TENS], [PUDDLE], [brood])
    text = plan_text(plan_room(room))
    assert "This week, Sat 2 Jan 2027 to Fri 8 Jan 2027: nothing to move" in text
    assert "only flow to set" not in text


# Blazek, Polacik & Reichard 2013, EvoDevo 4:24, as transcribed in the open DEB data file on Nothobranchius furzeri:
# total length in mm of females and males at 27.5 degrees C.
FURZERI = [(13, 24), (28, 35), (28, 47), (63, 46), (63, 61), (84, 45), (84, 65)]


@pytest.mark.parametrize(("age_days", "mm"), FURZERI)
def test_published_growth_of_killifish_lies_in_the_band(age_days: int, mm: float) -> None:
    rules = pack("annual-killifish")
    assert length_mm(age_days, rules, GrowthPace.SLOW) <= mm <= length_mm(age_days, rules, GrowthPace.FAST)


def test_killifish_mature_while_they_grow_up() -> None:
    """First spawning at 17 to 19 days, 31 to 32 mm (Blazek et al. 2013): typical fish are as long by then."""
    rules = pack("annual-killifish")
    assert 17 <= rules.spawns_from_days.value <= 19
    assert 17 <= age_at_mm(31, rules, GrowthPace.TYPICAL) <= age_at_mm(32, rules, GrowthPace.TYPICAL) <= 21


# ---- bottom catfish --------------------------------------------------------------------------------------

SAND = "{name: sand, species: Corydoras aeneus, rules: bottom-catfish}"
SL_TO_TL = 1.2
"""Total length over standard length, from memory."""

# Huysentruyt et al. 2009, Hydrobiologia 627:45-54, as transcribed in the open DEB data file on Corydoras aeneus:
# standard length in mm at 25 degrees C.
AENEUS = [(33, 16), (45, 19), (63, 20), (91, 23), (121, 28)]


@pytest.mark.parametrize(("age_days", "standard_mm"), AENEUS)
def test_published_growth_of_catfish_lies_in_the_band(age_days: int, standard_mm: float) -> None:
    """With and without the tail: nothing is said of it where the factor is not known."""
    rules = pack("bottom-catfish")
    slow, fast = (length_mm(age_days, rules, pace) for pace in (GrowthPace.SLOW, GrowthPace.FAST))
    for mm in (standard_mm, standard_mm * SL_TO_TL):
        assert slow <= mm <= fast


def tank(length_cm: float, width_cm: float, depth_cm: float, *, filtered: bool = True) -> Vessel:
    return Vessel(
        name="v",
        declared_as="v",
        kinds=(VesselKind.REARING,),
        length_mm=length_cm * 10,
        width_mm=width_cm * 10,
        depth_mm=depth_cm * 10,
        flow_lowest=FlowSetting.STILL,
        flow_highest=FlowSetting.NORMAL,
        filtered=filtered,
    )


@pytest.mark.parametrize("mm", [4, 10, 20, 27])
@pytest.mark.parametrize("filtered", [True, False])
def test_catfish_use_up_floor_and_no_surface(mm: float, filtered: bool) -> None:  # noqa: FBT001 - a parameter
    rules = pack("bottom-catfish")
    low, tall = tank(50, 50, 13.5, filtered=filtered), tank(50, 25, 27, filtered=filtered)
    in_low, in_tall = shares_of_one(mm, low, rules), shares_of_one(mm, tall, rules)
    assert Cap.SURFACE not in in_low
    assert in_tall[Cap.BOTTOM] == pytest.approx(tuple(2 * share for share in in_low[Cap.BOTTOM]))
    assert {cap: in_low[cap] for cap in in_low if cap is not Cap.BOTTOM} == {
        cap: in_tall[cap] for cap in in_tall if cap is not Cap.BOTTOM
    }


@pytest.mark.parametrize(
    ("inside", "depth", "verdict"),
    [("50 x 50 cm", "13.5 cm", Verdict.FITS), ("50 x 25 cm", "27 cm", Verdict.DOES_NOT_FIT)],
)
def test_half_the_floor_and_the_same_litres_take_fewer_catfish(
    tmp_path: Path, inside: str, depth: str, verdict: Verdict
) -> None:
    """100 eggs leave 46 fish of 25 mm: 46 x 40 = 1 840 cm2 of floor, of 2 500 and of 1 250."""
    ten = TEN.replace("50 x 25 cm", inside).replace("27 cm", depth)
    brood = "{name: S, line: sand, collected: 2027-01-02, eggs: 100}"
    room = room_of(tmp_path, [TUB, ten], [SAND], [brood])
    life = lives(room)["S"]
    grown = next(d for n in range(200) if life.length_mm(d := life.hatched + timedelta(days=n)) >= 25)
    assert 45 < life.heads(grown) < 47
    assert planned(room).verdict is verdict


def test_it_is_told_when_the_bottom_is_what_fills_a_tank(tmp_path: Path) -> None:
    brood = "{name: S, line: sand, collected: 2027-01-02, eggs: 60}"
    room = room_of(tmp_path, [TUB, TEN], [SAND], [brood])
    text = where_text(room, planned(room), date(2027, 3, 27))
    assert "% full, above comfort (room on the bottom fills it first)" in " ".join(text.split())
    assert set(FILLS) == set(Cap)


STRIPE = "{name: stripe, species: Danio rerio, rules: zebrafish, may_share_with: [sand]}"
OPEN_TEN = TEN.replace(", filter: sponge filter", "")


@pytest.mark.parametrize(
    ("second", "verdict"),
    [
        ("{name: S, line: sand, collected: 2027-01-02, eggs: 34}", Verdict.FITS),
        ("{name: Z2, line: stripe, collected: 2027-01-02, eggs: 25}", Verdict.DOES_NOT_FIT),
    ],
)
def test_catfish_leave_the_surface_to_fish_of_the_open_water(
    tmp_path: Path, second: str, verdict: Verdict
) -> None:
    """Without a filter some 15 zebrafish take 90 % of the surface of a ten: 15 x 75 = 1 125 of 1 250 cm2."""
    first = "{name: Z, line: stripe, collected: 2027-01-02, eggs: 25}"
    room = room_of(tmp_path, [TUB, OPEN_TEN], [STRIPE, SAND], [first, second])
    plan = planned(room)
    assert plan.verdict is verdict
    if verdict is Verdict.FITS:
        together = [stays_of(plan, brood)[-1] for brood in ("Z", "S")]
        assert {stay.vessel for stay in together} == {"ten"}
        days = min(s.until for s in together) - max(s.from_ for s in together)
        assert days > timedelta(days=40)


# ---- dwarf cichlids --------------------------------------------------------------------------------------


def test_young_cichlids_stay_with_their_parents_for_two_to_six_weeks() -> None:
    """From hatch: they swim after about a week, and are guarded for two to four weeks more."""
    rules = pack("dwarf-cichlid")
    assert [stage.with_parents for stage in rules.stages] == [True, False, False]
    latest = rules.stages[1].until_mm
    assert latest is not None
    for pace in (GrowthPace.TYPICAL, GrowthPace.FAST):
        assert 14 < age_at_mm(latest.value, rules, pace) <= 42


def test_young_cichlids_are_planned_in_their_parents_tank_and_nowhere_else(tmp_path: Path) -> None:
    path = tmp_path / "room.yaml"
    path.write_text(
        "fish_room: r\ntoday: 2027-01-02\nkeeper: {move_days: [saturday]}\n"
        "vessels:\n"
        "  - {name: cave, copies: 2, kind: breeding, inside: 60 x 30 cm, water_depth: 25 cm, flow: gentle, "
        "filter: sponge filter}\n"
        f"  - {TENS}\n"
        "lines: [{name: c, species: Apistogramma cacatuoides, rules: dwarf-cichlid}]\n"
        "breeding_groups:\n"
        "  - {name: pair, line: c, males: 1, females: 1, lives_in: cave 1,\n"
        "     collect: {by: young, from: 2027-01-09, eggs: 80, label: C}}\n",
        encoding="utf-8",
    )
    room = read_room(path).room
    plan = planned(room)
    assert plan.verdict is Verdict.FITS
    nursery = stays_of(plan, "C 2027-01-09")[0]
    life = lives(room)["C 2027-01-09"]
    assert nursery.vessel == "cave 1"  # not in the empty one beside it
    assert 14 <= (nursery.until - life.hatched).days <= 42
    elsewhere = plan.model_copy(
        update={
            "stays": tuple(
                stay.model_copy(update={"vessel": "cave 2"}) if stay is nursery else stay
                for stay in plan.stays
            )
        }
    )
    assert check_plan(room, elsewhere)


def test_peat_is_wetted_on_a_day_on_which_fish_are_moved(tmp_path: Path) -> None:
    """Sixty days after a Saturday is a Wednesday: the eggs wait until the Saturday after it."""
    days = ", ".join(f"incubation_days.{end}: {{value: 60, why: x}}" for end in ("low", "expected", "high"))
    line = PUDDLE.replace("}", f", change: {{{days}}}}}")
    room = room_of(tmp_path, [BAG, TUB, TENS], [line], TWO_COLLECTIONS)
    plan = planned(room)
    assert plan.verdict is Verdict.FITS
    assert stays_of(plan, "A")[1].from_ == date(2027, 3, 6)


def test_eggs_that_have_waited_too_long_are_wetted_on_the_next_move_day(tmp_path: Path) -> None:
    brood = "{name: A, line: puddle, collected: 2026-10-10, eggs: 50, lives_in: bag 1}"
    room = room_of(tmp_path, [BAG, TUB, TENS], [PUDDLE], [brood])
    plan = planned(room)
    assert plan.verdict is Verdict.FITS
    bag, tub = stays_of(plan, "A")[:2]
    assert (bag.until, bag.fish, tub.from_, tub.fish) == (date(2027, 1, 9), 50, date(2027, 1, 9), 29)
