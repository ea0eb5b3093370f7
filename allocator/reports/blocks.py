"""Sentences and tables as values: laid out for a terminal here, and for a page elsewhere, from the same words."""

from collections.abc import Sequence
from dataclasses import dataclass

from allocator.reports.tables import Column, paragraph, table


@dataclass(frozen=True)
class Grid:
    """A table: its columns, and rows of texts that are clean already."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]


Block = str | Grid
"""A sentence, or a table."""


def blocks_text(blocks: Sequence[Block], *, indent: str = "") -> str:
    """Return sentences and tables one below the other, as lines of a terminal."""
    return "\n".join(
        paragraph(block, indent=indent)
        if isinstance(block, str)
        else table(block.columns, block.rows, indent=indent)
        for block in blocks
    )
