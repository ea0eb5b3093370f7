"""The rack drawn: what stands in each box, how it is laid out, and the same as lines without a picture."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from room_files import TINY
from small_rooms import day, long, small_plan, small_room, stay
from test_calendar import NASTY, renamed

from allocator.cli import main
from allocator.console import Exit
from allocator.paper import Paper, printed_on
from allocator.plan import Homeless, Plan
from allocator.reports.rack import BAR, INSIDE, MOST_LOTS, SHORTENED, rack_text
from allocator.reports.tables import CUT, clean, cut, display_width
from allocator.reports.where import where_text
from allocator.room import Room, Shelf

SPRING = day("05-22")
PLAIN = Paper(plain=True, boxes=False)
EDGES = "┌└│"


def hung(room: Room) -> Room:
    """Return the room with its boxes on the top shelf, its tens on the lower one, and the rest nowhere."""
    shelves = (Shelf(rack="R", name="top"), Shelf(rack="R", name="low"), Shelf(rack="R", name="spare"))
    place = {"box": "top", "ten": "low"}
    vessels = tuple(
        v.model_copy(update={"rack": "R", "shelf": place[v.declared_as]}) if v.declared_as in place else v
        for v in room.vessels
    )
    return room.model_copy(update={"shelves": shelves, "vessels": vessels})


def told(room: Room, plan: Plan, on=SPRING) -> str:
    with printed_on(PLAIN):
        return rack_text(room, plan, on)


def boxes(text: str) -> dict[str, list[str]]:
    """Return the lines inside each box of a picture, by the name on its border; as a reader follows the lines."""
    found: dict[str, list[str]] = {}
    open_: list[tuple[int, str]] = []
    for line in text.splitlines():
        if line.startswith("┌"):
            open_ = [(m.start(), m[1].strip(" ─")) for m in re.finditer("┌(.*?)┐", line)]
            found |= {name: [] for _, name in open_}
        elif line.startswith("│"):
            for start, name in open_:
                found[name].append(line[start + 1 : line.index("│", start + 1)].strip())
    return {name: [line for line in lines if line] for name, lines in found.items()}


# What stands in a box


def test_a_box_says_who_is_in_it_how_strong_the_flow_is_and_how_full() -> None:
    # By hand: 84 fish at 1 a litre fill 58 % of 144 litres, above the comfort of half a fish a litre. K1 hatched on
    # 15 December, is 158 days old and 5 + 31.6 = 36.6 mm; P1 and M1 hatched on 19 January: 123 days, 29.6 mm.
    # 37 / 25.4 = 1.4 in, 29.6 / 25.4 = 1.2 in.
    found = boxes(rack_text(small_room(), small_plan(), SPRING))
    assert found["long 1"] == [
        *("K1", "24 fish 37 mm (1.4 in)", "M1", "20 fish 30 mm (1.2 in)", "P1", "40 fish 30 mm (1.2 in)"),
        *("flow gentle", "█████░░░░░   58 %", "above comfort"),
    ]
    assert found["ten 5"] == ["red trio", "3 fish", "1 male, 2 females", "flow still", "breeding"]
    assert found["box 1"] == ["empty"]
    assert found["ten 7"] == ["not there on this day"]


def test_eggs_have_a_day_of_hatch_with_its_year() -> None:
    # 40 eggs of 20 a litre fill half of 4 litres.
    found = boxes(rack_text(small_room(), small_plan(), day("01-10")))["box 2"]
    assert found == [
        "P1",
        "40 eggs",
        "hatch about Tue 19 Jan",
        "2027",
        "flow still",
        "█████░░░░░   50 %",
        "fine",
    ]


@pytest.mark.parametrize(
    ("fish", "bar", "percent", "word"),
    [  # 1 fish a litre, 144 litres; a whole block is a tenth
        (1, 1, "1 %", "fine"),
        (28, 1, "19 %", "fine"),
        (29, 2, "20 %", "fine"),
        (142, 9, "99 %", "full"),
        (144, BAR, "100 %", "full"),
        (200, BAR, "139 %", "too full"),
    ],
)
def test_the_bar_and_its_figure(fish: int, bar: int, percent: str, word: str) -> None:
    plan = small_plan().model_copy(
        update={"stays": (stay("K1", "long 1", day("01-02"), day("07-03"), fish),)}
    )
    lines = boxes(rack_text(small_room(), plan, day("04-15")))["long 1"]
    assert lines[-2:] == [f"{'█' * bar}{'░' * (BAR - bar)} {percent:>6}", word]
    row = next(
        line for line in told(small_room(), plan, day("04-15")).splitlines() if line.startswith("  long 1")
    )
    assert row.split()[2:6] == [
        *percent.split(),
        "#" * bar + "." * (BAR - bar),
        word.split(maxsplit=1)[0].rstrip(",") + "," * (word != "too full"),
    ]


def test_a_tank_that_is_too_short_says_so_instead_of_a_share() -> None:
    # The small pack asks for 40 cm of run from 30 mm on.
    room = small_room(vessels=(*small_room().vessels[:-1], long("long 2", length_mm=390, width_mm=390)))
    found = boxes(rack_text(room, small_plan(), day("06-20")))["long 2"]
    assert found[-2:] == ["too short for fish of", "this length"]
    assert "%" not in "".join(found)


def test_many_lots_are_counted() -> None:
    many = [stay(f"K1 {n}", "long 1", day("01-02"), day("07-03"), 3) for n in range(MOST_LOTS + 3)]
    plan = small_plan().model_copy(update={"stays": tuple(many)})
    found = boxes(rack_text(small_room(), plan, day("04-15")))["long 1"]
    assert sum(line.startswith("K1 ") for line in found) == MOST_LOTS
    assert "and 3 more lots" in found
    assert all(
        f"K1 {n}, 3 fish" in " ".join(told(small_room(), plan, day("04-15")).split()) for n in range(7)
    )


@pytest.mark.parametrize("on", ["01-02", "01-10", "01-30", "05-22", "07-03"])
def test_the_figures_are_those_of_where(on: str) -> None:
    where = dict(
        re.findall(
            r"^((?:box|ten|long) \d), .*?: (\d+ %) full",
            re.sub(r"\n  (?=\S)", " ", where_text(small_room(), small_plan(), day(on))),
            re.MULTILINE,
        )
    )
    assert where
    drawn = boxes(rack_text(small_room(), small_plan(), day(on)))
    shown = {
        name: found[-1] for name, lines in drawn.items() if (found := re.findall(r"\d+ %", " ".join(lines)))
    }
    assert shown == where
    rows = re.findall(r"^  (\w+ \d) +(\d+ %)", told(small_room(), small_plan(), day(on)), re.MULTILINE)
    assert dict(rows) == where


# How it is laid out


def test_shelves_come_in_the_order_of_the_file_and_what_has_no_place_last() -> None:
    text = rack_text(hung(small_room()), small_plan(), SPRING)
    heads = [line for line in text.splitlines() if line.startswith(("Rack", "No place"))]
    assert heads == [
        "Rack R, shelf top: 5 vessels, 5 empty",
        "Rack R, shelf low: 8 vessels, 6 empty",
        "Rack R, shelf spare: 0 vessels",
        "No place given: 2 vessels",
    ]
    assert [v.name for v in small_room().vessels] == list(boxes(text))


def test_a_long_shelf_takes_several_rows_three_boxes_in_80_columns() -> None:
    picture = [
        line
        for line in rack_text(hung(small_room()), small_plan(), SPRING).splitlines()
        if line[:1] in EDGES and line
    ]
    assert [line.count("┌") for line in picture if line[0] == "┌"] == [3, 2, 3, 3, 2, 2]
    assert {display_width(line) for line in picture} == {80, 53}


@pytest.mark.parametrize(("width", "most"), [(80, 3), (106, 3), (107, 4), (120, 4)])
def test_a_wide_terminal_has_more_boxes_side_by_side(width: int, most: int) -> None:
    with printed_on(Paper(width=width)):
        text = rack_text(hung(small_room()), small_plan(), SPRING)
    assert max(line.count("┌") for line in text.splitlines()) == most
    assert max(map(display_width, text.splitlines())) <= width


@pytest.mark.parametrize("name", [*NASTY, "🐟 🐟 🐟 🐟 🐟 🐟 🐟 🐟 🐟", "e\u0301" * 40, "鱼" * 30])
def test_any_name_keeps_the_edges_straight(name: str) -> None:
    room, plan = renamed(small_room(), small_plan(), {"long 1": name, "K1": f"{name} 2"})
    text = rack_text(room, plan, SPRING)
    rows = [line for line in text.splitlines() if line[:1] in EDGES and line]
    assert {display_width(line) for line in rows} <= {80, 53, 26}
    assert (SHORTENED in text) == (display_width(clean(f"{name} 2")) > INSIDE)


@given(st.text(max_size=60), st.integers(5, 40))
def test_a_cut_name_fits_and_keeps_both_ends(name: str, width: int) -> None:
    shown = clean(name)
    short = cut(shown, width)
    assert display_width(short) <= width
    if display_width(shown) <= width:
        assert short == shown
    else:
        head, tail = short.split(CUT, 1) if CUT not in shown else (short.partition(CUT)[0], "")
        assert shown.startswith(head)
        assert shown.endswith(tail)


def test_a_cut_name_of_a_brood_keeps_its_day() -> None:
    assert cut("Melanotaenia lacustris 2027-01-16", INSIDE) == "Melanotaen...027-01-16"


# Without a picture


def test_without_a_picture_each_vessel_is_one_row_in_ascii() -> None:
    text = told(hung(small_room()), small_plan())
    assert text.isascii()
    names = [m[1] for line in text.splitlines() if (m := re.match(r"  ((?:box|ten|long) \d)\b", line))]
    assert names == [v.name for v in small_room().vessels]
    assert (
        "  long 1  58 %  #####.....  above comfort, flow gentle: K1, 24 fish, 37 mm (1.4\n"
        "                            in); M1, 20 fish, 30 mm (1.2 in); P1, 40 fish, 30 mm\n"
        "                            (1.2 in)\n"
    ) in text


def test_who_has_no_home_is_named_with_or_without_a_picture() -> None:
    lost = Homeless(brood="B1", from_=SPRING, until=day("06-01"), fish=20)
    plan = small_plan().model_copy(update={"homeless": (lost,)})
    for text in (rack_text(small_room(), plan, SPRING), told(small_room(), plan)):
        assert "Without a home on this day: B1 (20 fish)." in text


# The command


def test_the_command_draws_today_and_refuses_yesterday(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = str(tmp_path / "plan.json")
    assert main(["plan", str(TINY), "--json", plan]) == Exit.FITS
    capsys.readouterr()
    assert main(["rack", str(TINY), "--plan", plan]) == Exit.FITS
    out = capsys.readouterr().out
    assert out.startswith("The rack on Sat 2 Jan 2027: First winter\n")
    assert main(["rack", str(TINY), "--plan", plan, "--on", "2027-01-01"]) == Exit.BAD_INPUT
    assert "before the plan begins" in capsys.readouterr().err
