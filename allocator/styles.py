"""How text looks on a terminal: the verdict, headings and shortages stand out, every character stays.

What a line is shows in its shape, as it does to whoever reads the text: a heading stands at the left above lines that
are indented, a row of hyphens is drawn under the heads of columns. Nothing is told by colour alone: the words are there.
"""

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from rich.text import Text

GOOD, BAD, HEADING, FAINT = "bold green", "bold red", "bold", "dim"

GOOD_NEWS = ("Everything fits", "The plan keeps every rule", "It finds room", "Yes, ")
BAD_NEWS = (
    "Everything fits once what is wrong today is put right",
    "Does not fit",
    "Needs more tanks",
    "The plan breaks",
    "There is no room for it",
    "No, ",
    "No; ",
)
SHORTAGES = (
    "too full",
    "too short for fish of this length",
    "no home for",
    "no home",
    "no room: have a taker before this day",
    "Without a home on this day",
    "More than the load you state",
)
"""What reports print; a test looks each of them up there."""

_BLOCK = re.compile(r"[^\n]+(?:\n[^\n]+)*")
_RULE = re.compile(r"^ *-{2}[- ]*$|^ *-(?: +-+)+$", re.MULTILINE)
_SHORTAGE = re.compile("|".join(map(re.escape, SHORTAGES)))
_LABEL = re.compile(r"[^\W\d_][^\n]*?(?=: |:$|\. |\.$|$)", re.MULTILINE)
"""From a letter to the first colon or full stop that ends something: `0.8 US gal` does not."""

_BELOW = re.compile(r"\n(?: |\[ \]|---|┌)")
"""What the next line begins with when it stands under a heading."""


class Span(NamedTuple):
    """A part of a text, from one character (included) to another (excluded), and its style."""

    start: int
    end: int
    style: str


def spans(text: str) -> Iterator[Span]:
    """Yield what stands out in a text; later ones lie on top of earlier ones."""
    for number, block in enumerate(_BLOCK.finditer(text)):
        yield from _of_block(block[0], block.start(), first=number == 0)
    for rule in _RULE.finditer(text):
        yield Span(*rule.span(), FAINT)
    for shortage in _SHORTAGE.finditer(text):
        yield Span(*shortage.span(), BAD)


def _of_block(block: str, start: int, *, first: bool) -> Iterator[Span]:
    for news, style in ((BAD_NEWS, BAD), (GOOD_NEWS, GOOD)):
        if block.startswith(news):
            prose = re.match(r"\S.*(?:\n\S.*)*", block)
            yield Span(start, start + (prose.end() if prose else 0), style)
            return
    label = _LABEL.match(block)
    if label is None:
        return
    line_end = block.find("\n") if "\n" in block else len(block)
    runs_in = block[label.end() : label.end() + 1] == ":"
    below = _BELOW.match(block, line_end)
    if first or runs_in or below:
        yield Span(start, start + label.end(), HEADING)


def styled(text: str) -> "Text":
    """Return the text as the terminal is to show it. It is never read as markup: `[R4]` is a tank."""
    from rich.text import Text  # noqa: PLC0415 - a tenth of a second that only a terminal pays

    shown = Text(text)
    for span in spans(text):
        shown.stylize(span.style, span.start, span.end)
    return shown
