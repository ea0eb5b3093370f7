"""The plan as one page: sound HTML that asks for nothing, the same data as tables, names that do no harm."""

import re
from dataclasses import replace
from datetime import timedelta
from functools import cache
from itertools import pairwise
from pathlib import Path
from xml.etree.ElementTree import Element

import html5lib
import pytest
from shown_pages import ALL, EMOJI, FORMULA, HEBREW, LONG, answer_of, facts_of, page_of
from small_rooms import TODAY, day, move, small_plan, small_room, stay
from typer.testing import CliRunner

from allocator.cli import app
from allocator.plan import Added, Homeless, Plan, Verdict
from allocator.reports.answers import verdict_words
from allocator.reports.page.as_tables import rack_grid, stays_grid, use_grid
from allocator.reports.page.colours import DARK, LIGHT, LINE_COLOURS, READABLE, contrast, ink_on
from allocator.reports.page.days import chosen_days, fullest_day
from allocator.reports.page.drawing import Days, num, squeezed
from allocator.reports.page.gather import page_facts
from allocator.reports.page.paper import fits_a_sheet
from allocator.reports.page.rack_facts import rack_day
from allocator.reports.page.render import BEGINS, HERE, page_html
from allocator.reports.page.time_chart import MOST_LANES_OF_A_PICTURE, time_pictures
from allocator.reports.page.time_facts import time_facts
from allocator.reports.page.use_facts import use_facts
from allocator.reports.page.work_facts import LINES_OF_A_SHEET, first_sheet, lines_of, move_weeks
from allocator.reports.tables import clean
from allocator.reports.text import list_ends
from allocator.reports.words import WEEK, day_words, week_start
from allocator.result import Answer, FoundBy, Result
from allocator.room import Room, Shelf

KIB = 1024
SECTIONS = ("moves", "rack", "time", "use", "add", "care", "later", "sure", "cautions", "tables")
CSS = (HERE / "page.css").read_text(encoding="utf-8")


@cache
def tree(page: str) -> Element:
    """Return the parsed page; html5lib in strict mode raises on the first error (HTML Living Standard, 13.2)."""
    return html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)


def text_of(part: Element) -> str:
    return " ".join(" ".join(part.itertext()).split())


def section(page: str, name: str) -> Element:
    found = tree(page).find(f".//section[@id='{name}']")
    assert found is not None
    return found


def small_page(plan: Plan | None = None, room: Room | None = None) -> str:
    return page_html(page_facts(room or small_room(), plan or small_plan()))


# The page as a file


@pytest.mark.parametrize("name", ALL)
def test_a_strict_parser_finds_nothing_wrong(name: str) -> None:
    root = tree(page_of(name))
    sections = [part.get("id") for part in root.iter("section") if part.get("id")]
    assert [found for found in SECTIONS if found not in sections] == []
    ids = [part.get("id") for part in root.iter() if part.get("id")]
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("name", ALL)
def test_nothing_is_asked_from_elsewhere_and_nothing_runs(name: str) -> None:
    root = tree(page_of(name))
    assert [
        part.tag for part in root.iter() if part.tag in {"script", "img", "iframe", "object", "embed"}
    ] == []
    for part in root.iter():
        for key, value in part.attrib.items():
            assert not str(key).startswith("on"), key
            if str(key) in {"src", "href"} or str(key).endswith("}href"):
                assert value.startswith("#") or value == "data:,", value
    style = "".join(text_of(part) for part in root.iter("style"))
    assert "http" not in style
    assert "@import" not in style
    assert set(re.findall(r"url\(([^)]*)\)", style)) <= {f"#h{tone}" for tone in (*range(7), "s")}
    rules = root.find(".//meta[@http-equiv='Content-Security-Policy']")
    assert rules is not None
    assert "default-src 'none'" in rules.get("content", "")


def test_the_page_of_the_club_is_small() -> None:
    assert len(page_of("club-room").encode()) < 300 * KIB


def test_the_same_plan_makes_the_same_bytes() -> None:
    assert small_page() == small_page()
    assert page_html(facts_of("tiny")) == page_of("tiny")


# What it says


def test_each_verdict_is_the_one_of_the_terminal() -> None:
    room, plan = small_room(), small_plan()
    gap = Homeless(brood="P1", **{"from": day("02-01"), "until": day("03-01")}, fish=7)
    added = Added(like="ten", copies=1, **{"from": day("02-01")})
    for changed, sign in (
        ({}, "fits"),
        ({"verdict": Verdict.NEEDS_MORE_TANKS, "added": (added,)}, "needs"),
        ({"verdict": Verdict.DOES_NOT_FIT, "homeless": (gap,)}, "does"),
    ):
        other = plan.model_copy(update=changed)
        home = room.with_added({a.like: a.copies for a in other.added})
        head = tree(small_page(other, home)).find(".//h1")
        assert head is not None
        assert text_of(head) == verdict_words(home, other)
        assert head.get("class") == sign


@pytest.mark.parametrize(("name", "sign"), [("tiny", "fits"), ("too-few", "needs")])
def test_what_to_add_and_its_proof_stand_there(name: str, sign: str) -> None:
    adding = text_of(section(page_of(name), "add"))
    assert facts_of(name).sign == sign
    if sign == "fits":
        assert "Nothing needs to be added." in adding
    else:
        assert "in use from" in adding
        assert "Sat 9 Jan 2027" in adding
        assert "(proven)" in adding


def test_who_has_no_home_stands_there() -> None:
    gap = Homeless(brood="P1", **{"from": day("02-03"), "until": day("02-10")}, fish=7)
    plan = small_plan().model_copy(update={"homeless": (gap,), "verdict": Verdict.DOES_NOT_FIT})
    found = Answer(plan=plan, found_by=FoundBy.SOLVER, levels=())
    result = Result(room=small_room(), best=found, as_it_is=found)
    page = page_html(page_facts(small_room(), plan, result=result))
    adding = text_of(section(page, "add"))
    assert "No plan: the room file lists nothing" in adding
    assert "P1 7 Wed 3 Feb 2027" in adding
    assert "Without a home on this day: P1 (7 fish)." in text_of(section(page, "rack"))
    assert "Fish without a home from the week of" in text_of(section(page, "use"))


def test_a_plan_out_of_a_file_says_what_is_not_known() -> None:
    sure = text_of(section(small_page(), "sure"))
    assert "plan file" in sure
    assert "the file says: not proven." in sure
    assert "best possible" not in sure
    assert "best possible" in text_of(section(page_of("tiny"), "sure"))


def test_every_move_has_a_box_and_stands_once() -> None:
    plan = small_plan()
    page = tree(small_page())
    boxes = [label for label in page.iter("label") if label.find("input[@type='checkbox']") is not None]
    moves = [text_of(label) for label in boxes if label.get("class") is None]
    assert len(moves) == len(plan.moves)
    for lot in {one.lot for one in plan.moves}:
        assert sum(text.startswith(f"{lot} ") for text in moves) >= 1, lot
    assert any("sold" in text for text in moves)


def test_what_comes_after_the_list_is_called_a_draft() -> None:
    room = small_room()
    weeks = move_weeks(room, small_plan())
    ends = list_ends(room)
    assert ends == room.today + 9 * WEEK
    early = [week for week in weeks if not week.draft]
    drafts = [week for week in weeks if week.draft]
    assert early
    assert drafts
    assert weeks == early + drafts
    page = small_page()
    assert page.count('class="week draft"') == len(drafts)
    assert f"draft, from {day_words(ends)} on" in text_of(section(page, "time"))


def test_the_first_sheet_has_whole_weeks_as_many_as_fit() -> None:
    weeks = move_weeks(small_room(), small_plan())
    first, later = first_sheet(weeks)
    assert [*first, *later] == weeks
    assert first
    assert not any(week.draft for week in first)
    assert len(first) == 1 or sum(map(lines_of, first)) <= LINES_OF_A_SHEET
    busy = [weeks[0], *[weeks[0]] * 40]
    assert 0 < len(first_sheet(busy)[0]) < len(busy)


# The rack


def test_the_days_of_the_rack() -> None:
    room, plan = small_room(), small_plan()
    days = chosen_days(room, plan)
    assert days[0] == (TODAY, "today")
    assert TODAY + timedelta(days=6) in dict(days)
    assert fullest_day(room, plan) in dict(days)
    assert [shown for shown, _ in days] == sorted({shown for shown, _ in days})
    asked = [day("03-01"), day("02-01"), day("03-01")]
    assert [shown for shown, _ in chosen_days(room, plan, asked)] == [day("02-01"), day("03-01")]


def test_the_fullest_day_is_that_of_counting_each_day() -> None:
    room, plan = small_room(), small_plan()
    counts = {}
    for n in range(400):
        on = TODAY + timedelta(days=n)
        used = {s.vessel for s in plan.stays if s.from_ <= on < s.until}
        counts[on] = len(used | {g.vessel for g in room.groups if g.lives_there.holds(on)})
    assert counts[fullest_day(room, plan)] == max(counts.values())


def test_vessels_hang_where_the_keeper_put_them() -> None:
    room = small_room()
    placed = tuple(
        vessel.model_copy(update={"rack": "left", "shelf": "low" if vessel.declared_as == "ten" else "high"})
        if vessel.declared_as != "long"
        else vessel
        for vessel in room.vessels
    )
    room = room.model_copy(
        update={
            "vessels": placed,
            "shelves": (Shelf(rack="left", name="high"), Shelf(rack="left", name="low")),
        }
    )
    shown = rack_day(room, small_plan(), TODAY, "today", None)
    assert [rack.name for rack in shown.racks] == ["left", ""]
    assert [shelf.name for shelf in shown.racks[0].shelves] == ["high", "low"]
    low = [vessel.name for vessel in shown.racks[0].shelves[1].vessels]
    assert low == [vessel.name for vessel in room.vessels if vessel.declared_as == "ten"]
    assert "no place given" in small_page(room=room)


def test_the_water_stands_at_the_share() -> None:
    shown = rack_day(small_room(), small_plan(), day("01-20"), "as asked", None)
    vessels = [v for rack in shown.racks for shelf in rack.shelves for v in shelf.vessels if v.lots]
    assert vessels
    page = page_html(page_facts(small_room(), small_plan(), days=[day("01-20")]))
    for vessel in vessels:
        assert f"{vessel.share * 100:.0f} %" in page
        level = num(100 * (1 - 44 * min(vessel.share, 1) / 50))  # a rim of 6 of 50 above the limit
        assert f"y={level}%" in page.replace('"', "")


def test_days_that_are_too_high_for_a_sheet_are_printed_one_at_a_time() -> None:
    facts = facts_of("tiny")
    assert facts.one_sheet
    assert fits_a_sheet(facts.racks[:1])
    one = facts.racks[0]
    assert not fits_a_sheet([replace(one, racks=one.racks * 4)] * 4)


# The same as tables


@pytest.mark.parametrize("name", ALL)
def test_each_picture_has_its_table(name: str) -> None:
    facts, page = facts_of(name), page_of(name)
    tables = section(page, "tables")
    captions = [text_of(caption) for caption in tables.iter("caption")]
    assert sum(caption.startswith(shown.title) for shown in facts.racks for caption in captions) >= len(
        facts.racks
    )
    for kind in facts.use.kinds:
        assert any(caption.startswith(" ".join(kind.kind.split())) for caption in captions)
    assert "Stays, vessel by vessel" in captions
    bodies = list(tables.iter("tbody"))
    for body in bodies:
        heads = len(list(body.iter("tr")))
        assert heads == len([cell for cell in body.iter("th") if cell.get("scope") == "row"])
    assert (facts.use.homeless is not None) == any("without a home" in caption for caption in captions)


def test_the_tables_have_every_stay_and_every_lot() -> None:
    room, plan = small_room(), small_plan()
    stays = stays_grid(time_facts(room, plan))
    assert sorted((row[1], row[0]) for row in stays.rows if row[1] in {s.lot for s in plan.stays}) == sorted(
        (s.lot, s.vessel) for s in plan.stays
    )
    on = day("02-15")
    rack = rack_grid(rack_day(room, plan, on, "as asked", None))
    there = sorted((s.vessel, s.lot) for s in plan.stays if s.from_ <= on < s.until)
    groups = sorted((g.vessel, g.name) for g in room.groups if g.lives_there.holds(on))
    assert sorted((row[0], row[1]) for row in rack.rows) == sorted(there + groups)


def test_too_few_vessels_are_marked_in_words() -> None:
    facts, page = facts_of("too-few"), page_of("too-few")
    short = [kind for kind in facts.use.kinds if kind.short]
    assert [kind.kind for kind in short] == ["box"]
    first = next(week for week in short[0].weeks if week.short)
    assert first.used - first.there == first.short
    assert f"too few from the week of {day_words(first.monday)}" in page
    assert "1 short</text>" in page
    assert any(int(row[-1]) for row in use_grid(short[0]).rows)
    result = answer_of("too-few").result
    assert result is not None
    assert facts.use.homeless is not None
    first_week = min(gap.from_ for gap in result.as_it_is.plan.homeless)
    assert week_start(first_week) == min(monday for monday, fish in facts.use.homeless.weeks if fish)


def test_fish_without_a_home_are_counted_week_by_week() -> None:
    gap = Homeless(brood="P1", **{"from": day("02-03"), "until": day("02-10")}, fish=7)
    plan = small_plan().model_copy(update={"homeless": (gap,), "verdict": Verdict.DOES_NOT_FIT})
    found = use_facts(small_room(), plan, None).homeless
    assert found is not None
    assert {monday: fish for monday, fish in found.weeks if fish} == {day("02-01"): 7, day("02-08"): 7}


# The chart over time


def test_bars_of_a_lane_never_overlap_and_joins_meet_their_bars() -> None:
    for name in ("club-room", "too-few"):
        facts = facts_of(name).time
        for row in facts.rows:
            for lane in range(row.lanes):
                bars = sorted((b.start, b.end) for b in row.stays if b.lane == lane)
                assert all(end <= start for (_, end), (start, _) in pairwise(bars))
        for join in facts.joins:
            row, lane = join.end
            assert any(b.lane == lane and b.start == join.on for b in facts.rows[row].stays)
            row, lane = join.start
            assert any(b.lane == lane and b.start < join.on <= b.end for b in facts.rows[row].stays)


def test_every_move_from_vessel_to_vessel_is_a_join_and_merges_are_told_apart() -> None:
    room, plan = small_room(), small_plan()
    facts = time_facts(room, plan)
    moved = [m for m in plan.moves if m.from_ is not None and m.to is not None]
    assert len(facts.joins) == len(moved)
    for one, join in zip(moved, facts.joins, strict=True):
        others = [
            s for s in plan.stays if s.vessel == one.to and s.lot != one.lot and s.from_ <= one.on < s.until
        ]
        assert join.merges == bool(others)
        assert facts.rows[join.end[0]].vessel == one.to
        assert facts.rows[join.start[0]].vessel == one.from_


def test_a_part_that_leaves_joins_on_to_those_that_stay() -> None:
    room = small_room()
    plan = Plan(
        verdict=Verdict.FITS,
        proven=False,
        stays=(
            stay("K1", "ten 1", TODAY, day("03-06"), 24),
            stay("K1 b", "long 1", day("02-06"), day("03-06"), 10),
        ),
        moves=(move(day("02-06"), "K1 b", "ten 1", "long 1", 10),),
    )
    facts = time_facts(room, plan)
    assert len(facts.joins) == 1
    assert facts.rows[facts.joins[0].start[0]].vessel == "ten 1"


def test_too_many_rows_are_drawn_in_several_pictures() -> None:
    facts = facts_of("club-room").time
    pictures = time_pictures(facts)
    assert sum(row.lanes for row in facts.rows) > MOST_LANES_OF_A_PICTURE
    assert len(pictures) > 1
    whole = "".join(picture.body for picture in pictures)
    assert whole.count("<g>") == sum(len(row.stays) for row in facts.rows)


def test_days_lie_along_the_line() -> None:
    days = Days(day("01-01"), day("12-31"), 364.0)
    assert (days.x(day("01-01")), days.x(day("01-11")), days.x(day("12-31"))) == (0.0, 10.0, 364.0)
    assert [start.month for _, _, start in days.months()] == list(range(1, 13))
    assert days.months()[1][:2] == (31.0, 59.0)


@pytest.mark.parametrize(
    ("name", "letters", "shown"),
    [
        ("lake 2029-01-13", 15, "lake 2029-01-13"),
        ("lake 2029-01-13", 12, "lake 01-13"),
        ("stripe 2029-01-20 b", 11, "str 01-20 b"),
        ("lake 2029-01-13", 5, "01-13"),
        ("lake 2029-01-13", 4, "lake"),
        ("lake 2029-01-13", 3, ""),
        ("two-tone A", 6, "two-t…"),
        ("A", 1, "A"),
        ("two", 2, ""),
    ],
)
def test_names_are_cut_to_what_fits(name: str, letters: int, shown: str) -> None:
    assert squeezed(name, letters * 6.01, 10) == shown


def test_a_name_that_is_cut_keeps_its_direction_to_itself() -> None:
    cut = squeezed(clean("שלום שלום שלום"), 60, 10)
    assert cut.count("\u2068") == cut.count("\u2069") == 1


@pytest.mark.parametrize("years", [0, 6])
def test_rooms_with_nobody_in_them_and_plans_of_years_can_be_drawn(years: int) -> None:
    stays = (stay("K1", "long 1", TODAY, TODAY + timedelta(days=365 * years), 24),) if years else ()
    plan = Plan(verdict=Verdict.FITS, proven=False, stays=stays)
    changes = {} if years else {"broods": (), "groups": ()}
    page = small_page(plan, small_room(**changes))
    tree(page)
    assert ("nothing to draw" in page) == (not years)
    assert len(page) < 100 * KIB


def test_a_room_without_vessels_has_a_page() -> None:
    tree(small_page(Plan(verdict=Verdict.FITS, proven=False), small_room(vessels=(), groups=(), broods=())))


def test_stays_that_reach_beyond_the_list_say_so() -> None:
    ends = list_ends(small_room())
    rows = stays_grid(time_facts(small_room(), small_plan())).rows
    words = {(row[0], row[1]): row[-1] for row in rows}
    for one in small_plan().stays:
        told = words[one.vessel, one.lot]
        wanted = "end is a draft" if one.from_ < ends <= one.until else "draft" if one.from_ >= ends else ""
        assert told.removeprefix("sold").removeprefix(", ") == wanted


# Colours: WCAG 2.2 has the sums, and its examples #777777 (4.48, fails) and #767676 (4.54, passes) on white


def test_contrast_is_that_of_the_standard() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


def test_names_can_be_read_on_every_colour() -> None:
    for colour in LINE_COLOURS:
        assert contrast(colour, ink_on(colour)) >= READABLE
    assert {ink_on(colour) for colour in LINE_COLOURS} == {DARK, LIGHT}


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
def test_text_can_be_read_on_every_ground(scheme: str) -> None:
    light, dark = re.findall(r":root\{(--paper[^}]*)\}", CSS)
    tones = dict(re.findall(r"--([\w-]+):(#[0-9a-f]{6})", light))
    if scheme == "dark":
        tones |= dict(re.findall(r"--([\w-]+):(#[0-9a-f]{6})", dark))
    if scheme == "print":
        tones |= {"paper": LIGHT, "card": LIGHT}
    for ink, grounds in {
        "ink": ("paper", "card", "water", "calm", "hot", "band", "shade"),
        "soft": ("paper", "card", "band", "shade"),
        "deep": ("paper", "card"),
        "warn": ("paper", "card"),
    }.items():
        for ground in grounds:
            assert contrast(tones[ink], tones[ground]) >= READABLE, (ink, ground)
    assert contrast(tones["wave"], tones["paper"]) >= READABLE  # the words "to" and "into"


# Names


def test_names_are_shown_as_they_were_written_and_do_nothing() -> None:
    page = page_of("odd")
    root = tree(page)
    words = text_of(root)
    for name in (
        "<script>alert('x')</script> & \"room\"",
        FORMULA,
        LONG,
        HEBREW,
        EMOJI,
        "rack </style><b>",
        "<b>box 1",
    ):
        assert name in words, name
    assert [part for part in root.iter("b") if (part.text or "").startswith("box")] == []
    assert "\u2068" in page


def test_characters_that_no_page_may_have_are_replaced() -> None:
    room = small_room(name="a\x00b\ufffec\U0001fffed\ud800e")
    page = small_page(room=room)
    tree(page)
    assert "a\\x00b\ufffdc\ufffdd\\ud800e" in page


# Reading it aloud, and with the keyboard


def test_pictures_have_words_and_everything_has_its_heading() -> None:
    root = tree(page_of("too-few"))
    for picture in root.iter("svg"):
        assert picture.get("aria-hidden") == "true" or (
            picture.get("role") == "img" and len(picture.get("aria-label") or "") > 20
        )
    for part in root.iter("section"):
        if part.get("id"):
            labelled = part.get("aria-labelledby")
            assert root.find(f".//*[@id='{labelled}']") is not None
    levels = [int(part.tag[1]) for part in root.iter() if re.fullmatch(r"h[1-6]", str(part.tag))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(deeper - level <= 1 for level, deeper in pairwise(levels))
    for box in root.iter("input"):
        assert box.get("id") or box.get("type") == "checkbox"
    assert len(list(root.iter("main"))) == 1
    assert root.get("lang") == "en"


# The command


def ask(*arguments: str) -> tuple[int, str]:
    done = CliRunner().invoke(app, ["report", *arguments])
    return done.exit_code, f"{done.output}{done.exception or ''}"


def test_the_command_writes_the_page_and_replaces_only_its_own(tmp_path: Path) -> None:
    room, page = tmp_path / "room.yaml", tmp_path / "page.html"
    room.write_bytes((Path(__file__).parent.parent / "scenarios" / "tiny.yaml").read_bytes())
    for _ in range(2):  # a second time over its own page
        code, said = ask(str(room), "--out", str(page), "--on", "2027-02-06")
        assert code == 0, said
        assert "Everything fits.\nWrote " in said
    text = page.read_text(encoding="utf-8")
    assert text.startswith(BEGINS)
    assert "Sat 6 Feb 2027" in text_of(section(text, "rack"))
    for target in (room, tmp_path / "notes.txt"):
        target.touch()
        if not target.read_bytes():
            target.write_text("mine", encoding="utf-8")
        before = target.read_bytes()
        code, said = ask(str(room), "--out", str(target))
        assert code != 0
        assert "Hint:" in said
        assert target.read_bytes() == before


def test_the_command_refuses_a_day_before_the_plan(tmp_path: Path) -> None:
    room = Path(__file__).parent.parent / "scenarios" / "tiny.yaml"
    code, said = ask(str(room), "--out", str(tmp_path / "page.html"), "--on", "2026-01-01")
    assert code != 0
    assert "before the plan begins" in said
    assert not (tmp_path / "page.html").exists()
