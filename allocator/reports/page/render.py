"""The page put together: facts and pictures into the template, which escapes every name."""

from functools import cache
from pathlib import Path

from jinja2 import Environment
from markupsafe import Markup

from allocator import __version__
from allocator.reports.page.as_tables import homeless_weeks_grid, rack_grid, stays_grid, use_grid
from allocator.reports.page.colours import LINE_COLOURS, colour_of
from allocator.reports.page.facts import PageFacts
from allocator.reports.page.rack_picture import breeding, fish_length, percent, water
from allocator.reports.page.room_used import use_pictures
from allocator.reports.page.time_chart import time_pictures
from allocator.reports.templates import environment

HERE = Path(__file__).parent
BEGINS = '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<meta name="generator" content="allocator '
"""So does every page begin, and nothing else: a page may be replaced by a newer one."""

NOTHING = Markup()

PLANE = 0x10000
NONCHARACTERS = range(0xFDD0, 0xFDF0)


def page_html(facts: PageFacts, *, above: Markup = NOTHING, style: Markup = NOTHING) -> str:
    """Return the whole page: one file, which asks for no other and has no script.

    Parameters
    ----------
    above
        What stands over the page where it is served and not written to a file, escaped already. What such a page may
        load is said by whoever serves it.
    style
        How that looks.
    """
    text = _environment().get_template("page.html.j2").render(
        facts=facts,
        above=above,
        style=style,
        version=__version__,
        css=Markup((HERE / "page.css").read_text(encoding="utf-8")),  # noqa: S704 - our own file
        tones=LINE_COLOURS,
        lines=[(line, place % len(LINE_COLOURS), place >= len(LINE_COLOURS))
               for place, line in enumerate(facts.time.lines)],
        colour_of=colour_of,
        time_pictures=time_pictures(facts.time),
        use_pictures=use_pictures(facts.use),
        rack_grids=[(day, rack_grid(day)) for day in facts.racks],
        stays=stays_grid(facts.time),
        uses=[(kind, use_grid(kind)) for kind in facts.use.kinds],
        homeless=homeless_weeks_grid(facts.use.homeless) if facts.use.homeless else None,
        breeding=breeding,
        water=water,
        percent=percent,
        fish_length=fish_length,
    )  # fmt: skip
    return "".join(map(_in_html, text))


@cache
def _environment() -> Environment:
    return environment("allocator.reports", "page")


def _in_html(char: str) -> str:
    """Return a character; in place of one that no page may have (HTML Living Standard, 13.2.3.5), the sign for that."""
    return "\ufffd" if char > "\ufd00" and _is_noncharacter(ord(char)) else char


def _is_noncharacter(point: int) -> bool:
    """Tell whether a code point is set aside by Unicode: the last two of each plane, and 32 in the first."""
    return point % PLANE >= PLANE - 2 or point in NONCHARACTERS
