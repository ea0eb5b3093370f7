"""What text is printed on, paper or terminal: how wide tables may be, and what can be shown."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import NamedTuple

WIDTH = 80
"""Columns that are always there; prose is never wider."""


class Paper(NamedTuple):
    """What can be shown.

    Attributes
    ----------
    width
        Columns that a table may take, at least 80.
    plain
        ASCII only: names with other letters are printed as escapes, and nothing is drawn.
    boxes
        Lines and blocks can be drawn.
    styled
        A terminal that shows bold and colour.
    """

    width: int = WIDTH
    plain: bool = False
    boxes: bool = True
    styled: bool = False


_PAPER: ContextVar[Paper] = ContextVar("paper", default=Paper())  # noqa: B039 - a tuple cannot be changed


def paper() -> Paper:
    """Return what is printed on; 80 columns of anything unless something else was said."""
    return _PAPER.get()


@contextmanager
def printed_on(new: Paper) -> Iterator[None]:
    """Print on something else for a while; on `Paper()` what goes into a file, the same from every terminal."""
    before = _PAPER.set(new)
    try:
        yield
    finally:
        _PAPER.reset(before)
