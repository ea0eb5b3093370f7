"""The move sheet and the card of a tank as pages to print: one file each, with nothing from elsewhere."""

from functools import cache

from jinja2 import Environment

from allocator.reports import sheet as on_sheet
from allocator.reports import tank_card as on_card
from allocator.reports.sheet import Sheet
from allocator.reports.tank_card import Card
from allocator.reports.templates import environment

GENERATOR = "tank space allocator, sheet to print"
"""By this a page is known to be ours."""

MARK = f'<meta name="generator" content="{GENERATOR}">'
FIRST_CHARACTERS = 1000
"""Our mark stands within these."""


def sheet_html(sheet: Sheet) -> str:
    """Return the move sheet as a page that prints on A4 and Letter."""
    template = _environment().get_template("sheet.html.j2")
    return template.render(generator=GENERATOR, sheet=sheet, nothing=on_sheet.NOTHING, how_to=on_sheet.HOW_TO)


def card_html(card: Card) -> str:
    """Return the card of a tank as such a page."""
    template = _environment().get_template("tank_card.html.j2")
    return template.render(
        generator=GENERATOR,
        card=card,
        stay_columns=on_card.STAY_COLUMNS,
        count_columns=on_card.COUNT_COLUMNS,
        lines=on_card.LINES_TO_WRITE,
        empty=on_card.EMPTY,
        nothing=on_card.NOTHING,
    )


def is_sheet(text: str) -> bool:
    """Tell whether a text is a page that was made here."""
    return MARK in text[:FIRST_CHARACTERS]


@cache
def _environment() -> Environment:
    return environment("allocator", "reports")
