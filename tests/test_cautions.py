"""Cautions are printed where their situation is there and nowhere else; weights of shelves add up."""

import re
from collections.abc import Iterable
from datetime import date, timedelta
from pathlib import Path
from typing import NamedTuple

import pytest
from small_rooms import TODAY, box, day, long, move, planned, small_pack, small_plan, small_room, ten

from allocator.plan import Added, Homeless, Plan, Verdict
from allocator.reports.caution_list import CAUTIONS, FRY_MM, SPECIES, Caution, Page, Situation
from allocator.reports.caution_page import main, page
from allocator.reports.cautions import HOLDS, cautions_for, cautions_text, words
from allocator.reports.moves import moves_text
from allocator.reports.tables import paragraph
from allocator.reports.tanks import tanks_of_plan_text, tanks_text
from allocator.reports.text import plan_text
from allocator.reports.water import water_text
from allocator.reports.weights import KG_PER_LITRE, filled_kg, overload_words, percent_used, weights_text
from allocator.reports.where import where_text
from allocator.result import Answer, FoundBy, Result
from allocator.room import CollectedBy, Line, Room, Shelf, Span
from allocator.rules import Evidence, FlowSetting
from allocator.units import LITRES_PER_GAL, MM_PER_IN

ROOT = Path(__file__).parent.parent
NOTHING = Plan(verdict=Verdict.FITS, proven=True)
STILL = FlowSetting.STILL
MOST_LINES = 3


class Case(NamedTuple):
    """A room, a plan and days."""

    room: Room
    plan: Plan
    frm: date | None = None
    until: date | None = None


def flat(text: str) -> str:
    return " ".join(text.split())


def keys(page: Page, case: Case, also: Iterable[Situation] = ()) -> set[str]:
    return {caution.key for caution in cautions_for(page, *case, also=tuple(also))}


def full(frm: str | None = None, until: str | None = None, **changes: object) -> Case:
    """Return the small room and its plan, on some days."""
    start, end = (None if text is None else day(text) for text in (frm, until))
    return Case(small_room(**changes), small_plan(), start, end)


def with_vessels(*vessels: object) -> Case:
    return Case(small_room(vessels=vessels, groups=(), broods=()), NOTHING)


def moved_fry(mm: float) -> Case:
    """Return a plan in which fish of about this length are moved: 5 mm at hatch and 0.2 mm a day on.

    Fish of the small room hatch ten days after collection, so on day 10 + (mm - 5) / 0.2.
    """
    on = day("01-09") + timedelta(days=round(10 + (mm - 5) / 0.2))
    plan = Plan(verdict=Verdict.FITS, proven=False, moves=(move(on, "P1", "box 2", "ten 2", 40),))
    return Case(small_room(), plan)


def added(on: str) -> Plan:
    return small_plan().model_copy(update={"added": (Added(like="long", copies=1, **{"from": day(on)}),)})


def homeless(verdict: Verdict = Verdict.DOES_NOT_FIT) -> Plan:
    lost = Homeless(brood="P1", until=day("08-07"), fish=4, **{"from": day("04-10")})
    return small_plan().model_copy(update={"verdict": verdict, "homeless": (lost,)})


EMPTY = Case(small_room(groups=(), broods=()), NOTHING)
TWO_STILL = (box("a", flow_highest=STILL), box("b", flow_highest=STILL))
# The small plan moves K1 (red) alone on 16 January, and red and blue fish on the 30th and on 9 January, where
# all eggs are set up; all have hatched by 19 January and are 7.2 mm long on the 30th. K1 is the first to be
# sold, on 3 July.
SHOWN: dict[str, list[tuple[Case, Case]]] = {
    "limits": [(full(), EMPTY), (full("01-02", "01-03"), Case(EMPTY.room, small_plan(), day("09-01")))],
    "mains": [
        (with_vessels(box("a", filtered=True, flow_highest=STILL)), with_vessels(*TWO_STILL)),
        (with_vessels(box("a")), with_vessels(TWO_STILL[0])),
    ],
    "air": [
        (with_vessels(box("a", rack="R"), box("b", rack="R")), with_vessels(box("a", rack="R"), box("b"))),
        (with_vessels(box("a"), box("b")), with_vessels(*TWO_STILL)),
    ],
    "medicated eggs": [(full("01-18", "01-19"), full("01-19"))],
    "picking eggs": [(full("01-09", "01-10"), full("01-10"))],
    "small fry": [
        (moved_fry(8.8), moved_fry(9.0)),
        (moved_fry(5), moved_fry(4.8)),
        (full("01-30", "01-31"), full("01-31")),
    ],
    "pure lines": [(full("01-30", "01-31"), full("01-16", "01-30"))],
    "nets": [(full("01-09", "01-10"), full("01-16", "01-17"))],
    "before a spawn": [(full(), full("01-10")), (full("01-09", "01-10"), full(until="01-09"))],
    "homeless": [(Case(small_room(), homeless()), full())],
    "selling": [(full("07-03", "07-04"), full(until="07-03"))],
    "release": [(full("08-07"), full("07-04", "08-07"))],
    "lifting": [
        (full("02-01", "02-02"), full("02-02")),
        (
            Case(small_room(vessels=(long("a"),)), added("03-01")),
            Case(small_room(vessels=(long("a"),)), NOTHING),
        ),
        (
            with_vessels(box("a", available=Span(start=day("05-01")))),
            with_vessels(box("a", available=Span(start=TODAY))),
        ),
    ],
    "shelves": [
        (with_vessels(ten("a", rack="R")), with_vessels(ten("a"))),
        (with_vessels(ten("a", rack="R", shelf="1")), with_vessels()),
    ],
    "floor": [(with_vessels(ten("a")), with_vessels())],
}
"""For each caution: rooms, plans and days with it, and such without it."""
ALL = [(key, number) for key, cases in SHOWN.items() for number in range(len(cases))]


def caution_named(key: str) -> Caution:
    return next(caution for caution in CAUTIONS if caution.key == key)


@pytest.mark.parametrize(("key", "number"), ALL)
def test_a_caution_is_shown_where_it_applies_and_only_there(key: str, number: int) -> None:
    with_it, without = SHOWN[key][number]
    pages = caution_named(key).pages
    for name in Page:
        assert (key in keys(name, with_it)) == (name in pages), name
        assert key not in keys(name, without)


def test_every_caution_has_a_room_with_it_and_one_without() -> None:
    assert list(SHOWN) == [caution.key for caution in CAUTIONS]


def test_every_situation_has_its_caution() -> None:
    assert {caution.situation for caution in CAUTIONS} == set(Situation)
    assert set(HOLDS) <= set(Situation)


def test_a_caller_can_say_what_the_plan_does_not_show() -> None:
    assert "homeless" not in keys(Page.PLAN, full())
    assert "homeless" in keys(Page.PLAN, full(), [Situation.HOMELESS])
    assert "homeless" not in keys(Page.MOVES, full(), [Situation.HOMELESS])


def test_groups_alone_are_fish() -> None:
    room = small_room(broods=())
    assert "limits" in keys(Page.WHERE, Case(room, NOTHING, TODAY, day("01-03")))
    group = room.groups[0].model_copy(update={"lives_there": Span(start=day("03-01"), end=day("04-01"))})
    later = room.model_copy(update={"groups": (group,)})
    there = [month for month in range(2, 6) if "limits" in keys(Page.WHERE, on(later, date(2027, month, 1)))]
    assert there == [3]


def on(room: Room, day_: date) -> Case:
    return Case(room, NOTHING, day_, day_ + timedelta(days=1))


def test_young_that_are_set_up_are_no_picked_eggs() -> None:
    young = planned("Y1", "red", day("01-09"), 20, CollectedBy.YOUNG)
    plan = Plan(verdict=Verdict.FITS, proven=False, moves=(move(day("01-09"), "Y1", None, "ten 1", 20),))
    assert "picking eggs" not in keys(Page.MOVES, Case(small_room(broods=(young,)), plan))


# ---- what they say ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("caution", CAUTIONS, ids=lambda caution: caution.key)
def test_a_caution_is_short_gives_no_dose_and_promises_nothing(caution: Caution) -> None:
    printed = paragraph(caution.text.replace(SPECIES, "Aaa bbb"), indent="  - ", hanging="    ")
    assert len(printed.splitlines()) <= MOST_LINES
    for text in (caution.text, caution.source):
        assert not re.search(r"\d\s*(mg|ml|g|ppm|drops?|%)\b", text)
        assert not re.search(r"\bsafe(ly|ty)?\b", text, re.IGNORECASE)
    assert caution.source
    assert caution.evidence is not Evidence.KEEPER


def test_keys_are_their_own() -> None:
    assert len({caution.key for caution in CAUTIONS}) == len(CAUTIONS)


@pytest.mark.parametrize(
    ("key", "must"),
    [
        ("mains", "licensed electrician"),
        ("mains", "local code"),
        ("medicated eggs", "label"),
        ("medicated eggs", "without the filter"),
        ("medicated eggs", "Never mix"),
        ("selling", "not legal advice"),
        ("release", "Never release fish, eggs, plants or tank water"),
        ("lifting", "drain it first"),
        ("floor", "qualified person"),
        ("shelves", "the maker states"),
        ("limits", "not targets"),
        ("small fry", f"under {FRY_MM:.0f} mm"),
    ],
)
def test_a_caution_hands_over_to_those_who_decide(key: str, must: str) -> None:
    assert must in caution_named(key).text


def test_species_are_named_once_and_as_they_are_written() -> None:
    lines = tuple(
        Line(name=name, species=species, rules=small_pack())
        for name, species in (("a", "Two {x}"), ("b", "One"), ("c", "One"))
    )
    room = small_room(lines=lines, broods=(), groups=())
    assert words(caution_named("selling"), room).endswith("In this room: One and Two {x}.")
    assert words(caution_named("floor"), room) == caution_named("floor").text


# ---- on the pages ----------------------------------------------------------------------------------------


def result_of(plan: Plan, as_it_is: Plan | None = None) -> Result:
    best, bare = (Answer(plan=p, found_by=FoundBy.FIRST_FIT, levels=()) for p in (plan, as_it_is or plan))
    return Result(room=small_room(), best=best, as_it_is=bare)


def start_of(key: str) -> str:
    return caution_named(key).text[:40]


def said(text: str) -> set[str]:
    return {caution.key for caution in CAUTIONS if start_of(caution.key) in flat(text)}


def test_each_page_prints_its_cautions() -> None:
    room, plan = small_room(), small_plan()
    everywhere = {"mains", "medicated eggs", "small fry", "selling", "release", "lifting"}
    assert said(plan_text(result_of(plan))) == everywhere | {"limits", "air", "before a spawn", "floor"}
    assert said(moves_text(room, plan)) == everywhere | {"picking eggs", "pure lines", "nets"}
    assert said(moves_text(room, plan, day("01-16"), day("01-17"))) == {"mains", "medicated eggs"}
    assert said(moves_text(room, plan, day("01-17"), day("01-30"))) == set()  # nothing to move
    assert said(where_text(room, plan, day("01-18"))) == {"limits", "medicated eggs"}
    assert said(where_text(room, plan, day("01-19"))) == {"limits"}
    assert said(tanks_text(result_of(plan))) == {"lifting", "floor"}
    assert said(tanks_of_plan_text(room, plan)) == {"lifting", "floor"}
    assert said(water_text(room, None, room.today)) == {"mains"}
    assert said(water_text(room, plan, day("01-20"))) == {"mains"}
    still = tuple(v.model_copy(update={"flow_lowest": STILL, "flow_highest": STILL}) for v in room.vessels)
    assert said(water_text(room.model_copy(update={"vessels": still}), None, room.today)) == set()


def test_what_is_homeless_with_nothing_added_is_said() -> None:
    result = result_of(small_plan(), homeless())
    assert "homeless" in said(plan_text(result))
    assert "homeless" in said(tanks_text(result))
    assert "homeless" in said(tanks_of_plan_text(small_room(), small_plan(), as_it_is=homeless()))
    assert "homeless" not in said(tanks_of_plan_text(small_room(), small_plan(), as_it_is=small_plan()))


def test_no_heading_without_a_caution() -> None:
    assert cautions_text(Page.TANKS, *with_vessels()) == ""
    assert cautions_text(Page.TANKS, *with_vessels(ten("a"))).startswith("Cautions\n  - Floors: ")


def test_a_plan_has_no_wall_of_cautions() -> None:
    racked = tuple(v.model_copy(update={"rack": "R", "shelf": "1"}) for v in small_room().vessels)
    crowded = Case(small_room(vessels=racked), homeless())
    for name in Page:
        lines = cautions_text(name, *crowded).splitlines()
        assert len(lines) <= 30, name  # half a printed page of 60 lines, in the worst of rooms


# ---- weights ---------------------------------------------------------------------------------------------


def test_filled_weight() -> None:
    # A litre of water weighs 1 kg: 30 litres and a tank of 5 kg are 35 kg, 77 lb (35 / 0.4536 = 77.2).
    tanks = (ten("a", rack="R", shelf="1", empty_kg=5), ten("b", rack="R", shelf="2"))
    assert filled_kg(tanks[0]) == pytest.approx(35)
    text = flat(weights_text(small_room(vessels=tanks)))
    assert "rack R, shelf 1 1 35 kg (77 lb) " in text
    assert "rack R, all of it 2 65 kg (143 lb), glass of 1 not counted" in text
    assert "the load you state:" not in text
    assert weights_text(small_room(vessels=())) == ""


def test_a_shelf_worked_out_by_hand() -> None:
    # Two tanks of 50 x 25 cm, 24 cm of water: 2 x 50 x 25 x 24 cm3 = 60 000 cm3 = 60 l = 60 kg, and 2 x 5 kg
    # of glass: 70 kg, and 70 / 120 = 58.33 %, rounded up 59. A long tank on the shelf below: 90 x 40 x 40 cm =
    # 144 l and 16 kg: 160 kg of 160 kg are all of it, and not more.
    tanks = (
        *(ten(name, rack="R", shelf="top", empty_kg=5) for name in "ab"),
        long("c", rack="R", shelf="low", empty_kg=16),
    )
    shelves = (Shelf(rack="R", name="top", rated_kg=120), Shelf(rack="R", name="low", rated_kg=160))
    text = flat(weights_text(small_room(vessels=tanks, shelves=shelves)))
    assert "rack R, shelf top 2 70 kg (154 lb) 120 kg (265 lb): 59 % used" in text
    assert "rack R, shelf low 1 160 kg (353 lb) 160 kg (353 lb): 100 % used" in text
    assert "rack R, all of it 3 230 kg (507 lb)" in text
    assert "More than the load you state" not in text


def test_a_shelf_is_compared_with_the_load_that_the_keeper_states() -> None:
    # 30 litres and 5 kg of glass are 35 kg: 70 % of 50 kg; 30 kg of water are over a stated 20 kg, and its
    # glass comes on top.
    tanks = (ten("a", rack="R", shelf="1", empty_kg=5), ten("b", rack="R", shelf="[2]"))
    shelves = (Shelf(rack="R", name="1", rated_kg=50), Shelf(rack="R", name="[2]", rated_kg=20))
    text = flat(weights_text(small_room(vessels=tanks, shelves=shelves)))
    assert "50 kg (110 lb): 70 % used" in text
    assert "20 kg (44 lb): at least" in text  # the cell is broken here
    assert "150 % used" in text
    assert "More than the load you state: rack R, shelf [2]." in text


def test_a_shelf_with_too_much_on_it_is_among_what_to_look_at() -> None:
    """30 kg of water on a shelf of 20 kg; the other shelf bears its 30."""
    tanks = (ten("a", rack="R", shelf="1"), ten("b", rack="R", shelf="2"))
    shelves = (Shelf(rack="R", name="1", rated_kg=30), Shelf(rack="R", name="2", rated_kg=20))
    said = overload_words(small_room(vessels=tanks, shelves=shelves))
    assert said == ["rack R, shelf 2: its vessels weigh more, filled, than the load you state"]


@pytest.mark.parametrize("rated", [35.0, 50.0, 70.0, 350.0])
def test_float_dust_is_no_percent(rated: float) -> None:
    # 35 kg of so many: 100, 70, 50 and 10 %, all whole.
    assert percent_used([ten("a", empty_kg=5)], rated) == round(3500 / rated)
    assert percent_used([ten("a", empty_kg=5.001)], rated) == round(3500 / rated) + 1


def water_kg_per_litre(celsius: float) -> float:
    """Return the density of air-free fresh water, 0 to 40 C (Tanaka et al. 2001, Metrologia 38:301-309)."""
    top = (celsius - 3.983035) ** 2 * (celsius + 301.797)
    return 0.999974950 * (1 - top / (522528.9 * (celsius + 69.34881)))


def test_water_never_weighs_more_than_is_counted() -> None:
    # The formula is from memory; this table, printed in a handbook, keeps it honest: kg/m3 at 4, 20, 25, 30 C.
    for celsius, printed in ((4, 999.9720), (20, 998.2071), (25, 997.0479), (30, 995.6502)):
        assert water_kg_per_litre(celsius) * 1000 == pytest.approx(printed, abs=0.005)
    densities = [water_kg_per_litre(tenth / 10) for tenth in range(401)]
    assert max(densities) < KG_PER_LITRE
    assert all(water_kg_per_litre(celsius) > KG_PER_LITRE * 0.995 for celsius in range(31))


def test_published_tank_weights_lie_above_the_sum_and_not_far() -> None:
    # A published table of tank sizes: outside inches, lb empty, lb filled (ten lb a gallon, so with what is
    # usually in a tank). Filled to the brim with water alone a tank is lighter, by a quarter at most.
    table = (
        ((20, 10, 12), 11, 111),
        ((24, 12, 12), 21, 170),
        ((24, 12, 16), 25, 225),
        ((30, 12, 12), 25, 225),
        ((36, 18, 12), 48, 348),
        ((36, 18, 16), 58, 458),
        ((48, 12, 16), 55, 455),
    )
    for (length, width, height), empty_lb, filled_lb in table:
        sides = {
            "length_mm": length * MM_PER_IN,
            "width_mm": width * MM_PER_IN,
            "depth_mm": height * MM_PER_IN,
        }
        tank = long("a", empty_kg=empty_lb * 0.45359237, **sides)
        assert 0.75 < filled_kg(tank) / 0.45359237 / filled_lb < 1.0


def test_ten_gallons_of_water() -> None:
    # Ten US gallons at 20 C weigh 83.3 lb (8.33 lb a gallon in common tables); counted is a little more.
    tank = box("a", length_mm=100, width_mm=100, depth_mm=100 * 10 * LITRES_PER_GAL["us"])
    assert filled_kg(tank) / 0.45359237 == pytest.approx(83.3, rel=0.003)
    assert filled_kg(tank) / 0.45359237 > 83.3


# ---- the reference page ----------------------------------------------------------------------------------


def test_the_reference_page_is_up_to_date() -> None:
    written = (ROOT / "docs/reference/cautions.md").read_text(encoding="utf-8")
    assert written == page(), "run: python -m allocator.reports.caution_page docs/reference/cautions.md"


def test_the_reference_page_has_everything() -> None:
    text = flat(page())
    for caution in CAUTIONS:
        named = ", ".join(f"`{name.value}`" for name in caution.pages)
        what = caution.text.replace(SPECIES, "(the species of your lines)")
        row = f"**{caution.key}**: {what} - printed by: {named} - evidence: {caution.evidence.value} "
        assert f"{row}- source: {caution.source}" in text


def test_the_reference_page_is_written_and_printed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main([str(tmp_path / "x.md")])
    main([])
    assert (tmp_path / "x.md").read_text(encoding="utf-8") == capsys.readouterr().out == page()
