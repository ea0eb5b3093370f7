"""The move sheet and the card of a tank: what stands on them, and how they come out of a printer."""

import re
import shutil
import subprocess
from collections import Counter
from dataclasses import replace
from datetime import timedelta
from html.parser import HTMLParser
from pathlib import Path

import pytest
from room_files import TINY
from small_rooms import TODAY, day, figure, move, small_pack, small_plan, small_room, stay
from test_calendar import NASTY, renamed

from allocator.cli import main
from allocator.console import Exit
from allocator.plan import Homeless
from allocator.reports.sheet import BLANK, SheetDay, sheet_of, sheet_text
from allocator.reports.sheet_html import card_html, is_sheet, sheet_html
from allocator.reports.tables import clean, display_width
from allocator.reports.tank_card import card_of, card_text
from allocator.rules import CareStep

END = day("09-01")
SIZES = ("A4", "Letter")
BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
PDF_TO_TEXT = shutil.which("pdftotext")


class Page(HTMLParser):
    """The text and the tags of a page, as Python's own parser reads them; the rows of its tables apart."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.text, self.tags, self.links, self.rows = "", Counter[str](), [], []
        self.in_row = False
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        self.links += [value for name, value in attrs if name in {"src", "href", "style"}]
        if tag == "tr":
            self.rows.append("")
            self.in_row = True

    def handle_endtag(self, tag: str) -> None:
        self.in_row = self.in_row and tag != "tr"

    def handle_data(self, data: str) -> None:
        self.text += data
        if self.in_row:
            self.rows[-1] += f" {data}"


def page(**given: object) -> str:
    return sheet_html(sheet_of(small_room(), small_plan(), TODAY, END, **given))


def bare(text: str) -> str:
    return re.sub(r"\s", "", text)


# What stands on the sheet


def test_every_move_of_the_days_is_one_line_to_tick_and_to_write_in() -> None:
    """Compared with the plan itself: from, to and number of each move, each once."""
    frm, until = day("01-30"), day("08-07")
    lines = [
        line for line in sheet_text(small_room(), small_plan(), frm, until).splitlines() if BLANK in line
    ]
    found = [
        re.split(r"  +", line.removeprefix("[ ]").strip(), maxsplit=4) for line in lines if line[:3] == "[ ]"
    ]
    assert len(found) == len(lines)
    wanted = [m for m in small_plan().moves if frm <= m.on < until]
    assert sorted((lot, int(fish), came, goes.strip()) for lot, fish, came, goes, _ in found) == sorted(
        (m.lot, m.fish, m.from_, m.to or "sold") for m in wanted
    )
    assert all(line.count(BLANK) == 2 for line in lines)


def test_both_tanks_are_told_as_they_are_when_the_day_is_done() -> None:
    """Worked out by hand from the small plan, whose fish never die: K1 has been in long 1 since March."""
    sheet = sheet_of(small_room(), small_plan(), day("04-10"), day("04-11"))
    ((_, (april,)),) = sheet.weeks
    told = {(m.lot, m.out_of): (m.left, m.then) for m in april.moves}
    assert told == {
        ("P1", "ten 2"): (0, 24 + 24 + 16 + 20),
        ("P1", "ten 3"): (0, 84),
        ("M1", "ten 6"): (0, 84),
        ("B1", "ten 4"): (0, 20),
    }


def test_fish_that_stay_are_told_from_those_that_come_in_on_the_same_day() -> None:
    d = day
    plan = small_plan().model_copy(
        update={
            "stays": (
                stay("K1", "ten 1", TODAY, d("02-06"), 24),
                stay("K1 a", "ten 1", d("02-06"), d("03-06"), 14),
                stay("K1 b", "ten 2", d("02-06"), d("03-06"), 10),
                stay("P1", "box 2", d("01-09"), d("02-06"), 40),
                stay("P1", "ten 1", d("02-06"), d("03-06"), 40),
            ),
            "moves": (
                move(d("02-06"), "K1 b", "ten 1", "ten 2", 10),
                move(d("02-06"), "P1", "box 2", "ten 1", 40),
            ),
        }
    )
    ((_, (february,)),) = sheet_of(small_room(), plan, d("02-06"), d("02-07")).weeks
    assert {m.lot: (m.left_words, m.then_words) for m in february.moves} == {
        "K1 b": ("14 stay", "then 10"),
        "P1": ("none stay", "then 54"),
    }


def test_the_sheet_is_80_columns_wide_and_care_can_be_left_out() -> None:
    whole = sheet_text(small_room(), small_plan(), TODAY, END)
    moves = sheet_text(small_room(), small_plan(), TODAY, END, care=False)
    assert max(map(display_width, whole.splitlines())) <= 80
    assert "feed them" in whole
    assert "feed them" not in moves
    assert whole.count(BLANK) == moves.count(BLANK)


def test_fish_without_a_home_have_a_line() -> None:
    plan = small_plan()
    lost = plan.model_copy(
        update={
            "stays": (stay("K1", "box 1", TODAY, day("01-16"), 24),),
            "moves": (),
            "homeless": (Homeless(brood="K1", **{"from": day("01-16")}, until=day("07-03"), fish=24),),
        }
    )
    assert re.search(r"\[ \]  K1 +24  box 1 +no home", sheet_text(small_room(), lost, TODAY, END))
    card = card_of(small_room(), lost, small_room().vessel_named["box 1"], TODAY, END)
    assert [(row.lot, row.goes_to) for row in card.residents] == [("K1", "no home")]
    assert [(row.way, row.lot, row.place) for row in card.passages] == [("out", "K1", "no home")]


# The card of a tank


def test_the_card_tells_who_lives_there_until_when_and_where_they_go() -> None:
    """Read off the small plan by hand."""
    card = card_of(small_room(), small_plan(), small_room().vessel_named["long 1"], TODAY, END)
    assert [tuple(row) for row in card.residents] == [
        ("K1", "red", "24", "Sat 6 Mar 2027", "Sat 3 Jul 2027", "sold"),
        ("M1", "red", "20", "Sat 10 Apr 2027", "Sat 7 Aug 2027", "sold"),
        ("P1", "red", "40", "Sat 10 Apr 2027", "Sat 7 Aug 2027", "sold"),
    ]
    ways = [(row.day.split(" ", 1)[1], row.way, row.lot, row.place) for row in card.passages]
    assert ways[:2] == [("6 Mar 2027", "in", "K1", "from ten 1"), ("10 Apr 2027", "in", "M1", "from ten 6")]
    assert len(ways) == sum("long 1" in {m.from_, m.to} for m in small_plan().moves)


def test_the_card_keeps_to_its_days() -> None:
    vessel = small_room().vessel_named["long 1"]
    card = card_of(small_room(), small_plan(), vessel, day("03-06"), day("04-10"))
    assert [row.lot for row in card.residents] == ["K1"]
    assert [row.lot for row in card.passages] == ["K1"]


def test_groups_live_on_the_card_too() -> None:
    card = card_of(small_room(), small_plan(), small_room().vessel_named["ten 5"], TODAY, END)
    assert [(row.lot, row.fish, row.since, row.until) for row in card.residents] == [
        ("red trio", "1 male, 2 females", "is here", "stays")
    ]


def test_care_on_the_card_is_in_the_order_of_its_days() -> None:
    """M1 is fed from January on, and comes to long 1 on 10 April only: after K1 was graded there in March.

    K1 hatched on 15 December, so that 100 days later it is 25 March.
    """
    fed = CareStep(name="fed", task="feed them", from_days=figure(5), every_days=figure(1))
    graded = CareStep(name="graded", task="grade them", from_days=figure(100))
    pack = small_pack(care=(fed, graded))
    lines = tuple(line.model_copy(update={"rules": pack}) for line in small_room().lines)
    room = small_room(lines=lines)
    card = card_of(room, small_plan(), room.vessel_named["long 1"], TODAY, day("05-01"))
    assert [line.split(":")[0] for line in card.care if "M1" in line or "K1" in line] == [
        "Sat 6 Mar 2027",
        "Thu 25 Mar 2027",
        "Sat 10 Apr 2027",
        "Thu 29 Apr 2027",
    ]


@pytest.mark.parametrize("vessel", [vessel.name for vessel in small_room().vessels])
def test_every_card_is_80_columns_wide(vessel: str) -> None:
    text = card_text(small_room(), small_plan(), small_room().vessel_named[vessel], TODAY, END)
    assert max(map(display_width, text.splitlines())) <= 80


# As pages


@pytest.mark.parametrize("name", NASTY)
def test_no_name_breaks_a_page(name: str) -> None:
    room, plan = renamed(small_room(name=f"room {name}"), small_plan(), {"ten 1": name, "K1": f"K {name}"})
    plain = Page(page())
    for html, more in (
        (sheet_html(sheet_of(room, plan, TODAY, END)), plain.tags),
        (card_html(card_of(room, plan, room.vessel_named[name], TODAY, END)), None),
    ):
        html.encode("utf-8")
        read = Page(html)
        assert bare(clean(name)) in bare(read.text)
        assert more is None or read.tags == more
        assert read.tags["script"] == 0


def test_a_page_needs_nothing_from_elsewhere() -> None:
    for html in (page(), card_html(card_of(*small_card()))):
        assert is_sheet(html)
        assert all(re.fullmatch(r"width: \d+mm", link) for link in Page(html).links)
        assert not re.search(r"@import|url\(|https?:|<script|<link", html)


def small_card() -> tuple:
    room = small_room()
    return room, small_plan(), room.vessel_named["long 1"], TODAY, END


def test_the_page_says_what_the_sheet_says() -> None:
    text = bare(Page(page()).text)
    sheet = sheet_of(small_room(), small_plan(), TODAY, END)
    told = [m for _, days in sheet.weeks for d in days for m in d.moves]
    assert len(told) == sum(TODAY <= m.on < END for m in small_plan().moves)
    for line in told:
        assert bare(f"{line.lot}{line.heads}{line.why}{line.out_of}{line.left_words}") in text
    assert all(bare(caution) in text for caution in sheet.cautions)


def test_with_nothing_to_do_the_page_says_so() -> None:
    sheet = sheet_of(small_room(), small_plan(), day("12-01"), day("12-08"))
    assert "Nothing to do on these days." in Page(sheet_html(sheet)).text


def printed(html: str, size: str, folder: Path) -> list[str]:
    """Return the text of each page that a browser prints on paper of a size."""
    source, target = folder / "page.html", folder / "page.pdf"
    source.write_text(html.replace("@page {", f"@page {{ size: {size};", 1), encoding="utf-8")
    command = [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"]
    command += [f"--user-data-dir={folder / 'profile'}", f"--print-to-pdf={target}", source.as_uri()]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    done = subprocess.run([PDF_TO_TEXT, "-layout", str(target), "-"], check=True, capture_output=True)
    return done.stdout.decode("utf-8").split("\f")[:-1]


def with_a_long_line(on: SheetDay) -> SheetDay:
    """Return a day with one more line, of eight lines or so on paper and of words that no other day has."""
    number = on.day.toordinal()
    return replace(on, after=(" and ".join(f"look{n}x{number}" for n in range(90)),))


def cut_rows(html: str, pages: list[str]) -> list[str]:
    """Return the rows of a page whose words do not stand on one sheet of paper."""
    words = [Counter(text.split()) for text in pages]
    rows = [Counter(row.split()) for row in Page(html).rows if len(row.split()) > 8 and "done" not in row]
    assert rows
    return [" ".join(row) for row in rows if not any(row <= there for there in words)]


@pytest.mark.skipif(
    BROWSER is None or PDF_TO_TEXT is None, reason="no browser, or no pdftotext, to print with"
)
@pytest.mark.parametrize("size", SIZES)
def test_no_row_is_cut_and_every_page_has_its_headings(size: str, tmp_path: Path) -> None:
    sheet = sheet_of(small_room(), small_plan(), TODAY, END)
    weeks = tuple((week, tuple(map(with_a_long_line, days))) for week, days in sheet.weeks)
    html = sheet_html(replace(sheet, weeks=weeks))
    pages = printed(html, size, tmp_path)
    assert len(pages) > 3
    assert cut_rows(html, pages) == []
    with_rows = [text.strip().splitlines() for text in pages[1:] if "look0x" in text]
    for lines in with_rows:  # with a wide font the heading takes two lines
        assert lines[0].startswith("Week of ")
        assert any("counted" in line for line in lines[1:3])
    careless = html.replace("break-inside: avoid", "break-inside: auto")
    assert cut_rows(careless, printed(careless, size, tmp_path)) != [], "the check itself can fail"


# The command


@pytest.fixture(scope="module")
def tiny(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """Return the arguments for a room file and a plan of it."""
    folder = tmp_path_factory.mktemp("tiny")
    room, plan = folder / "room.yaml", folder / "plan.json"
    room.write_bytes(TINY.read_bytes())
    assert main(["plan", str(room), "--json", str(plan)]) == Exit.FITS
    return [str(room), "--plan", str(plan)]


def test_the_command_prints_eight_weeks_unless_told_otherwise(tiny, capsys) -> None:
    capsys.readouterr()
    assert main(["sheet", *tiny]) == Exit.FITS
    shown = capsys.readouterr().out
    weeks = [line for line in shown.splitlines() if line.startswith("Week of")]
    assert 0 < len(weeks) <= 9
    assert main(["sheet", *tiny, "--from", "2027-02-06", "--until", "2027-02-07"]) == Exit.FITS
    shown = capsys.readouterr().out
    assert "from Sat 6 Feb 2027, before Sun 7 Feb 2027" in shown
    assert len([line for line in shown.splitlines() if line.startswith("Week of")]) <= 1


def test_a_page_may_be_replaced_and_nothing_else(tiny, tmp_path, capsys) -> None:
    file = tmp_path / "sheet.html"
    for more in ([], ["--tank", "ten 1"], ["--no-care"]):
        assert main(["sheet", *tiny, "--out", str(file), *more]) == Exit.FITS
        assert is_sheet(file.read_text(encoding="utf-8"))
    file.write_text("<!doctype html><title>mine</title>", encoding="utf-8")
    capsys.readouterr()
    assert main(["sheet", *tiny, "--out", str(file)]) == Exit.BAD_INPUT
    shown = capsys.readouterr()
    assert "is not a page made by this command; it was left as it is" in shown.err
    assert "mine" in file.read_text(encoding="utf-8")
    assert main(["sheet", *tiny, "--out", tiny[0]]) == Exit.BAD_INPUT


def test_a_tank_that_is_not_there_is_refused_before_planning(tiny, capsys, monkeypatch) -> None:
    def planned(*_: object) -> None:
        raise AssertionError("planned")

    monkeypatch.setattr("allocator.asked.planned", planned)
    assert main(["sheet", tiny[0], "--tank", "tenn 1"]) == Exit.BAD_INPUT
    assert "there is no such vessel. Hint: did you mean 'ten 1'?" in capsys.readouterr().err
    assert main(["sheet", tiny[0], "--until", "2000-01-01"]) == Exit.BAD_INPUT
    later = str(TODAY - timedelta(days=3000))
    assert main(["sheet", tiny[0], "--until", later]) == Exit.BAD_INPUT
