"""The pages as they are sent: the report with a bar above it, and the few others in its look."""

from collections.abc import Sequence
from datetime import date
from functools import cache, lru_cache
from importlib.resources import files

from jinja2 import Environment
from markupsafe import Markup

from allocator.reports.page.gather import page_facts
from allocator.reports.page.render import page_html
from allocator.reports.templates import environment
from allocator.result import Progress
from allocator.served.jobs import State, Status
from allocator.served.store import InHand

PAGES_KEPT = 8
"""Laid-out reports, since a large one takes a second (judgement)."""


def page(name: str, **shown: object) -> str:
    """Return a page by the name of its template; whatever is shown is escaped."""
    return _environment().get_template(f"{name}.html.j2").render(css=_style(), **shown)


def report(in_hand: InHand, days: Sequence[date], **shown: object) -> str:
    """Return the report of a plan with the bar above it."""
    above = Markup(_environment().get_template("bar.html.j2").render(**shown))  # noqa: S704 - escaped there
    laid_out, mark = _laid_out(in_hand, tuple(days))
    return laid_out.replace(mark, above, 1)


@lru_cache(maxsize=PAGES_KEPT)
def _laid_out_once(key: "_ById", days: tuple[date, ...]) -> str:
    there = key.in_hand
    facts = page_facts(
        there.room,
        there.plan,
        result=there.result,
        as_it_is=there.as_it_is,
        warnings=there.warnings,
        days=days,
        gallon=there.gallon,
    )
    return page_html(facts, above=BAR, style=Markup(_own_style()))  # noqa: S704 - our own file


BAR = Markup("<!--the bar-->")
"""Stands where the bar goes: no text of a keeper can look like it, since they are escaped."""


class _ById:
    """A plan by which one it is: to compare two of them takes longer than to lay one out."""

    def __init__(self, in_hand: InHand) -> None:
        self.in_hand = in_hand

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _ById) and self.in_hand is other.in_hand

    def __hash__(self) -> int:
        return id(self.in_hand)


def _laid_out(in_hand: InHand, days: tuple[date, ...]) -> tuple[str, str]:
    return _laid_out_once(_ById(in_hand), days), str(BAR)


def script() -> str:
    """Return the script of the pages: they do without it, but are livelier with it."""
    return (files("allocator.served") / "live.js").read_text(encoding="utf-8")


def stage_words(progress: Progress | None) -> str:
    """Return what is looked for, in a few words."""
    return progress.stage if progress is not None and progress.stage else "getting ready"


def found_words(progress: Progress | None) -> str:
    """Return the best value so far and the best still possible: `Least so far: 240`."""
    if progress is None or progress.value is None:
        return ""
    bound = "" if progress.bound is None else f"; at best {progress.bound:g}"
    return f"Least so far: {progress.value:g}{bound}."


def time_words(seconds: float) -> str:
    """Return `12 seconds`, `3 minutes 5 seconds`."""
    minutes, rest = divmod(int(seconds), 60)
    told = f"{rest} second{'' if rest == 1 else 's'}"
    return f"{minutes} minute{'' if minutes == 1 else 's'} {told}" if minutes else told


def progress_of(status: Status | None) -> dict[str, object]:
    """Return how far a search is, for the script of the page."""
    if status is None:
        return {"going": False}
    return {
        "going": status.going_on,
        "stopping": status.state is State.STOPPING,
        "stage": stage_words(status.progress),
        "found": found_words(status.progress),
        "time": time_words(status.seconds),
    }


@cache
def _style() -> Markup:
    """Return the look of the report, and what our own parts add to it."""
    report_style = (files("allocator.reports.page") / "page.css").read_text(encoding="utf-8")
    return Markup(report_style + _own_style())  # noqa: S704 - our own files


@cache
def _own_style() -> str:
    return (files("allocator.served") / "served.css").read_text(encoding="utf-8")


@cache
def _environment() -> Environment:
    made = environment("allocator", "served")
    made.filters |= {"stage": stage_words, "found": found_words, "took": time_words}
    return made
