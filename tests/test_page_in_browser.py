"""The page in a real browser: read, keyed through, printed, dark, on a phone.

Skipped, saying so, where there is no browser: a Chromium from the system's packages, or the one that the variable
ALLOCATOR_BROWSER names.
"""

import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from shown_pages import ALL, facts_of, page_of

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
BROWSER = os.environ.get("ALLOCATOR_BROWSER") or next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None
)
pytestmark = [
    pytest.mark.skipif(BROWSER is None, reason="no Chromium among the system's packages"),
    pytest.mark.filterwarnings("default"),
]

PHONE, DESK = {"width": 360, "height": 740}, {"width": 1280, "height": 900}
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height in mm: ISO 216, and ANSI/ASME Y14.1."""

MARGIN_MM, PX_PER_MM = 12.0, 96 / 25.4
CHROMIUM_OF_ROOT = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []


@pytest.fixture(scope="module")
def browser() -> Iterator["sync_api.Browser"]:
    with sync_api.sync_playwright() as started:
        running = started.chromium.launch(executable_path=BROWSER, args=CHROMIUM_OF_ROOT)
        yield running
        running.close()


@pytest.fixture
def files(tmp_path: Path) -> Path:
    for name in ALL:
        (tmp_path / f"{name}.html").write_text(page_of(name), encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("screen", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("name", ALL)
def test_it_fits_the_screen_and_is_quiet(
    browser: "sync_api.Browser", files: Path, name: str, screen: dict[str, int], scheme: str
) -> None:
    context = browser.new_context(viewport=screen, color_scheme=scheme)
    page = context.new_page()
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto((files / f"{name}.html").as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= screen["width"]
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert len([url for url in asked if url.startswith("file:")]) == 1
    assert said == []
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert (sum(map(int, re.findall(r"\d+", ground)[:3])) < 3 * 128) == (scheme == "dark")
    context.close()


def test_everything_can_be_reached_with_the_keyboard(browser: "sync_api.Browser", files: Path) -> None:
    page = browser.new_page(viewport=DESK)
    page.goto((files / "too-few.html").as_uri())
    reached: list[str] = []
    for _ in range(400):
        page.keyboard.press("Tab")
        here = page.evaluate(
            "(e => e.id || e.getAttribute('href') || e.getAttribute('role') || e.type)(document.activeElement)"
        )
        if here is None:
            break
        reached.append(here)
    boxes = page.locator("input[type=checkbox]").count()
    assert reached[0] == "#moves"  # the way past the head of the page comes first
    assert reached.count("checkbox") == boxes
    assert "day1" in reached
    assert reached.count("region") == page.locator("[role=region]").count()
    page.close()


def test_another_day_is_chosen_with_an_arrow_key(browser: "sync_api.Browser", files: Path) -> None:
    page = browser.new_page(viewport=DESK)
    page.goto((files / "too-few.html").as_uri())
    shown = [page.locator(f".day{number}").is_visible() for number in (1, 2, 3, 4)]
    assert shown == [True, False, False, False]
    page.focus("#day1")
    page.keyboard.press("ArrowRight")
    shown = [page.locator(f".day{number}").is_visible() for number in (1, 2, 3, 4)]
    assert shown == [False, True, False, False]
    page.locator("input[type=checkbox]").first.focus()
    page.keyboard.press("Space")
    assert page.locator("input[type=checkbox]").first.is_checked()
    page.close()


@pytest.mark.parametrize("name", ALL)
def test_names_on_bars_stay_inside_them(browser: "sync_api.Browser", files: Path, name: str) -> None:
    page = browser.new_page(viewport=DESK)
    page.goto((files / f"{name}.html").as_uri())
    out = page.evaluate("""[...document.querySelectorAll('.body g')].filter(g => {
        const text = g.querySelector('text');
        if (!text) return false;
        const bars = [...g.querySelectorAll('path:not(.so)')].map(p => p.getBBox());
        const end = Math.max(...bars.map(b => b.x + b.width));
        const box = text.getBBox();
        return box.x + box.width > end + 3;
    }).map(g => g.textContent)""")
    assert out == []
    page.close()


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", ALL)
def test_the_first_sheets_of_paper_are_moves_rack_and_chart(
    browser: "sync_api.Browser", files: Path, name: str, paper: str
) -> None:
    width, height = (int((mm - 2 * MARGIN_MM) * PX_PER_MM) for mm in PAPERS[paper])
    page = browser.new_page(viewport={"width": width, "height": height}, color_scheme="dark")
    page.goto((files / f"{name}.html").as_uri())
    page.emulate_media(media="print")
    heights = page.evaluate("""() => {
        const at = id => document.getElementById(id).getBoundingClientRect();
        const chart = document.querySelector('#time .chart').getBoundingClientRect();
        return [at('moves').bottom, at('rack').height, chart.bottom - at('time').top];
    }""")
    assert all(found <= height for found in heights), (heights, height)
    cut = page.evaluate(
        """height => [...document.querySelectorAll('tr, .todo li, .v, figure, .plain li')].filter(
            e => getComputedStyle(e).breakInside !== 'avoid' || e.getBoundingClientRect().height > height
        ).length""",
        height,
    )
    assert cut == 0
    if name == "club-room" and paper == "Letter":
        return  # a long document, and one format of it is enough
    pdf = page.pdf(format=paper)
    sheets = len(re.findall(rb"/Type\s*/Page\b", pdf))
    assert sheets >= 3
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", pdf)
    assert box is not None
    assert [float(side) / 72 * 25.4 for side in box.groups()] == pytest.approx(PAPERS[paper], abs=1)
    page.close()


def test_all_days_are_printed_where_they_fit_on_a_sheet_and_else_the_chosen_one(
    browser: "sync_api.Browser", files: Path
) -> None:
    for name, together in (("too-few", True), ("club-room", False)):
        page = browser.new_page()
        page.goto((files / f"{name}.html").as_uri())
        page.emulate_media(media="print")
        days = [page.locator(f".day{n}").is_visible() for n in range(1, len(facts_of(name).racks) + 1)]
        assert days == ([True] * len(days) if together else [True, *[False] * (len(days) - 1)])
        assert facts_of(name).one_sheet == together
        page.close()
