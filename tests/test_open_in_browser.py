"""The page of `open` in a real browser, as it is served: loaded, asked, keyed through, on a phone, dark.

Skipped, saying so, where there is no browser: a Chromium from the system's packages, or the one that the variable
ALLOCATOR_BROWSER names.
"""

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from opened import tiny_file
from shown_pages import ROOT
from test_page_in_browser import BROWSER, CHROMIUM_OF_ROOT, DESK, PHONE, sync_api

from allocator.served import folder

pytestmark = [
    pytest.mark.skipif(BROWSER is None, reason="no Chromium among the system's packages"),
    pytest.mark.filterwarnings("default"),
]

LONGEST_MS = 60_000
PAGES = ("/", "/ask", "/fit?line=blue&eggs=30&on=2027-03-06&by=", "/take", "/nothing")


@dataclass
class Opened:
    """A room that is served, and a browser; what it asks for and what it complains of is noted."""

    browser: "sync_api.Browser"
    address: str
    room: Path
    asked: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)

    @property
    def base(self) -> str:
        return self.address.split("/?")[0]

    def page(
        self, screen: dict[str, int] = DESK, scheme: str = "light", **options: object
    ) -> "sync_api.Page":
        """Return a page of a browser that has been let in, once there is a plan to see."""
        context = self.browser.new_context(viewport=screen, color_scheme=scheme, **options)
        page = context.new_page()
        page.on("request", lambda request: self.asked.append(request.url))
        page.on("console", lambda message: self.said.append(message.text))
        page.on("pageerror", lambda error: self.said.append(str(error)))
        page.goto(self.address)
        page.wait_for_url(f"{self.base}/", timeout=LONGEST_MS)
        return page


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Opened]:
    place = tmp_path_factory.mktemp("open")
    room = tiny_file(place)
    server = subprocess.Popen(
        [sys.executable, "-W", "error", "-m", "allocator", "open", str(room)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT), folder.VARIABLE: str(place / "state")},
    )
    assert server.stdout is not None
    found = None
    while found is None:
        found = re.search(r"http://\S+", server.stdout.readline())
    with sync_api.sync_playwright() as started:
        browser = started.chromium.launch(executable_path=BROWSER, args=CHROMIUM_OF_ROOT)
        yield Opened(browser, found[0], room)
        browser.close()
    server.send_signal(signal.SIGINT)
    server.communicate(timeout=60)
    assert server.returncode == 0


@pytest.fixture(autouse=True)
def nothing_odd(opened: Opened) -> Iterator[None]:
    """Nothing is asked of anybody else, and the browser complains of nothing."""
    opened.asked.clear()
    opened.said.clear()
    yield
    assert [url for url in opened.asked if not url.startswith((f"{opened.base}/", "data:"))] == []
    assert opened.said == []


def test_it_plans_by_itself_and_shows_how_far_it_is(opened: Opened) -> None:
    page = opened.page()
    assert page.locator("h1").inner_text() == "Everything fits."
    page.context.close()


def test_what_if_from_the_form_to_the_answer(opened: Opened) -> None:
    page = opened.page(PHONE)
    page.get_by_role("link", name="Ask").click()
    page.get_by_label("of which vessel").select_option("ten")
    page.get_by_role("button", name="What would be different?").click()
    page.wait_for_url("**/answers/1", timeout=LONGEST_MS)
    assert "With one more ten" in page.locator("pre").inner_text()
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    page.context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("screen", [PHONE, DESK], ids=["phone", "desk"])
def test_every_page_fits_the_screen(opened: Opened, screen: dict[str, int], scheme: str) -> None:
    page = opened.page(screen, scheme)
    for address in PAGES:
        page.goto(opened.base + address)
        assert page.evaluate("document.documentElement.scrollWidth") <= screen["width"], address
        ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
        assert (sum(map(int, re.findall(r"\d+", ground)[:3])) < 3 * 128) == (scheme == "dark")
    opened.said.clear()  # the browser itself tells of the page that is not there
    page.context.close()


def test_a_question_with_the_keyboard_alone(opened: Opened) -> None:
    page = opened.page()
    page.goto(f"{opened.base}/ask")
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "eggs":
            break
    page.keyboard.type("25")
    page.keyboard.press("Enter")
    page.wait_for_url("**/fit?*")
    assert "One more brood: 25 eggs" in page.locator(".answer").inner_text()
    assert page.get_by_label("Eggs (or young)").input_value() == "25"
    page.context.close()


def test_every_field_has_a_name_and_every_page_one_heading(opened: Opened) -> None:
    page = opened.page()
    for address in PAGES[:-1]:
        page.goto(opened.base + address)
        nameless = page.evaluate(
            "[...document.querySelectorAll('.desk :is(input,select), main form :is(input,select)')]"
            ".filter(e => e.type !== 'hidden' && !e.labels.length).map(e => e.name)"
        )
        assert nameless == [], address
        assert page.locator("h1").count() == 1
        assert page.locator("main").count() == 1
    page.context.close()


def test_a_date_is_picked_and_the_rack_comes_into_view(opened: Opened) -> None:
    page = opened.page()
    page.get_by_label("Show the rack on").fill("2027-05-08")
    page.get_by_role("button", name="Show").click()
    page.wait_for_url("**/?on=2027-05-08#rack")
    assert page.locator("#rack").is_visible()
    assert page.get_by_role("heading", name="Sat 8 May 2027, as asked").is_visible()
    page.context.close()


def test_a_tick_is_there_in_another_tab_and_after_a_reload(opened: Opened) -> None:
    page = opened.page()
    with page.expect_response("**/tick"):
        page.locator(".todo input").first.check()
    other = page.context.new_page()
    other.goto(f"{opened.base}/")
    sync_api.expect(other.locator(".todo input").first).to_be_checked()
    with other.expect_response("**/tick"):
        other.locator(".todo input").first.uncheck()
    with page.expect_response("**/ticks"):
        page.reload()
    sync_api.expect(page.locator(".todo input").first).not_to_be_checked()
    page.context.close()


def test_a_page_that_is_open_hears_of_a_newer_plan(opened: Opened) -> None:
    page = opened.page()
    other = page.context.new_page()
    other.goto(f"{opened.base}/")
    other.get_by_role("button", name="Plan anew").click()
    other.wait_for_url(f"{opened.base}/", timeout=LONGEST_MS)
    page.get_by_text("There is a newer plan than the one shown here.").wait_for(timeout=LONGEST_MS)
    page.context.close()


def test_everything_essential_works_without_scripts(opened: Opened) -> None:
    page = opened.page(java_script_enabled=False)
    page.get_by_role("button", name="Plan anew").click()
    page.wait_for_url("**/working", timeout=LONGEST_MS)
    page.wait_for_url(f"{opened.base}/", timeout=LONGEST_MS)  # the page loads itself until it is done
    assert page.locator("h1").inner_text() == "Everything fits."
    with page.expect_download() as kept:
        page.goto(f"{opened.base}/take")
        page.get_by_role("link", name="Download calendar.ics").click()
    assert kept.value.suggested_filename == "calendar.ics"
    page.context.close()
