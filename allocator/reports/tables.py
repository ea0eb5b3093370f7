"""All tables of the text reports: plain, no wider than the page, names as the keeper wrote them.

A page has 80 columns, on a wide terminal more; prose is never wider than 80. Widths count what a terminal shows, not
characters: an emoji takes two columns and an accent none.
"""

import unicodedata
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from tabulate import tabulate

from allocator.paper import WIDTH, paper

GAP = 2
NARROWEST = 6
CUT = "..."

_ISOLATE, _POP = "\u2068", "\u2069"
_JOINER, _EMOJI_STYLE = "\u200d", "\ufe0f"
_PRIVATE = range(0xE000, 0xF8FF)
_FILL = "\uf8ff"
_UNSEEN = ("Cc", "Cs", "Zl", "Zp")
_RIGHT_TO_LEFT = ("R", "AL", "RLE", "RLO", "LRE", "LRO", "RLI")


class Column(NamedTuple):
    """One column: its heading, whether its cells stand on the right, and the least width it can be cut to."""

    heading: str
    right: bool = False
    least: int = NARROWEST


def clean(text: str) -> str:
    """Return user text that can do no harm on a terminal and reads the same everywhere.

    Control characters are shown as escapes. Text that runs from right to left is wrapped in isolates, so that
    it cannot pull its neighbours to its other side: "from" and "to" would change places.

    On a plain page all but ASCII is shown as escapes, and a backslash as two, so that two names never look the same.
    """
    if paper().plain:
        return _escape(text)
    shown = "".join(_escape(c) if unicodedata.category(c) in _UNSEEN else c for c in text)
    if any(unicodedata.bidirectional(c) in _RIGHT_TO_LEFT for c in shown):
        return f"{_ISOLATE}{shown}{_POP}"
    return shown


def _escape(text: str) -> str:
    return text.encode("unicode_escape").decode("ascii")


def _clusters(text: str) -> Iterator[tuple[str, int]]:
    """Yield (characters shown as one, columns they take)."""
    cluster = ""
    for char in text:
        joined = _is_mark(char) or cluster.endswith(_JOINER) or all(map(_is_mark, cluster))
        if cluster and not joined:
            yield cluster, _columns(cluster)
            cluster = ""
        cluster += char
    if cluster:
        yield cluster, _columns(cluster)


def _is_mark(char: str) -> bool:
    return unicodedata.category(char) in ("Mn", "Me", "Cf")


def _columns(cluster: str) -> int:
    wide = _EMOJI_STYLE in cluster or any(unicodedata.east_asian_width(c) in ("W", "F") for c in cluster)
    return 2 if wide else 1


def display_width(text: str) -> int:
    """Return how many columns a terminal uses for one line of text."""
    return len(text) if text.isascii() else sum(columns for _, columns in _clusters(text))


def wrap(text: str, width: int) -> list[str]:
    """Break text into lines of at most so many columns: between words, or inside a longer word."""
    lines: list[str] = []
    line, used = "", 0
    for word in text.split(" "):
        wide = display_width(word)
        if line and used + 1 + wide <= width:
            line, used = f"{line} {word}", used + 1 + wide
            continue
        if line:
            lines.append(line)
        *full, line = _chop(word, width)
        lines += full
        used = display_width(line)
    return [*lines, line] if line or not lines else lines


def cut(text: str, width: int) -> str:
    """Return text of at most so many columns (5 or more); longer text loses its middle: names differ at the ends."""
    if display_width(text) <= width:
        return text
    clusters, keep = list(_clusters(text)), width - len(CUT)
    head, tail = 0, len(clusters)
    left, right = keep - keep // 2, keep // 2
    while clusters[head][1] <= left:
        left -= clusters[head][1]
        head += 1
    while clusters[tail - 1][1] <= right:
        tail -= 1
        right -= clusters[tail][1]
    return "".join(c for c, _ in clusters[:head]) + CUT + "".join(c for c, _ in clusters[tail:])


def _chop(word: str, width: int) -> list[str]:
    pieces, piece, used = [], "", 0
    for cluster, columns in _clusters(word):
        if piece and used + columns > width:
            pieces.append(piece)
            piece, used = "", 0
        piece += cluster
        used += columns
    return [*pieces, piece]


def paragraph(text: str, *, indent: str = "", hanging: str | None = None, width: int = WIDTH) -> str:
    """Return text wrapped to the page; lines after the first begin with `hanging` (default: `indent`)."""
    rest = indent if hanging is None else hanging
    lines = wrap(text, width - max(display_width(indent), display_width(rest)))
    return "\n".join((indent if number == 0 else rest) + line for number, line in enumerate(lines))


def table(
    columns: Sequence[Column], rows: Sequence[Sequence[str]], *, indent: str = "", width: int | None = None
) -> str:
    """Return a plain table that fits the page, or `width`: the widest columns are wrapped first.

    Parameters
    ----------
    columns
        One for each cell of a row; without any heading the table has no heading lines.
    rows
        Texts, already cleaned. They are never read as numbers: `1E2` stays `1E2`.
    """
    heading, bodies = _render(columns, rows, indent, width)
    return "\n".join([*heading, *(line for body in bodies for line in body)])


def grouped_table(
    columns: Sequence[Column],
    groups: Sequence[tuple[str, Sequence[Sequence[str] | str]]],
    *,
    indent: str = "",
    width: int | None = None,
) -> str:
    """Return one table whose rows stand under titles, with the same columns all the way down.

    Parameters
    ----------
    groups
        (title, rows) in order; a title may have several lines. A row that is one text stands as it is,
        across all columns.
    """
    cells = [row for _, rows in groups for row in rows if not isinstance(row, str)]
    lines, bodies = _render(columns, cells, indent, width) if cells else ([], [])
    rendered = iter(bodies)
    for title, rows in groups:
        lines.append(title)
        for row in rows:
            lines += [row] if isinstance(row, str) else next(rendered)
    return "\n".join(lines)


def _render(
    columns: Sequence[Column], rows: Sequence[Sequence[str]], indent: str, width: int | None
) -> tuple[list[str], list[list[str]]]:
    """Return the heading lines, and the lines of each row."""
    room = (width or paper().width) - display_width(indent) - GAP * (len(columns) - 1)
    widths = _fit(columns, rows, room)
    cells = [[wrap(cell, w) for cell, w in zip(row, widths, strict=True)] for row in rows]
    head: list[list[list[str]]] = []
    if any(column.heading for column in columns):
        titles = [wrap(column.heading, w) for column, w in zip(columns, widths, strict=True)]
        # A heading goes in as a row: as a heading of its own it would be given room to spare.
        head = [titles, [["-" * _widest(column)] for column in zip(titles, *cells, strict=True)]]
    code = _Code()
    text = tabulate(
        [[code.hide(cell) for cell in row] for row in head + cells],
        tablefmt="plain",
        disable_numparse=True,
        colalign=["right" if column.right else "left" for column in columns] if head or cells else None,
    )
    lines = iter([(indent + code.show(line)).rstrip() for line in text.splitlines()])
    bodies = [[next(lines, "") for _ in range(max(map(len, row)))] for row in head + cells]
    return [line for body in bodies[: len(head)] for line in body], bodies[len(head) :]


def _widest(cells: Sequence[list[str]]) -> int:
    return max(display_width(line) for cell in cells for line in cell)


def _fit(columns: Sequence[Column], rows: Sequence[Sequence[str]], room: int) -> list[int]:
    widths = [
        max([display_width(column.heading), *(display_width(row[place]) for row in rows), 1])
        for place, column in enumerate(columns)
    ]
    while sum(widths) > room:
        spare = [w - column.least for w, column in zip(widths, columns, strict=True)]
        loose = [place for place, left in enumerate(spare) if left > 0]
        if not loose:
            break
        widest = max(loose, key=lambda place: widths[place])
        widths[widest] -= 1
    return widths


class _Code:
    """Stands in for characters that take other than one column, since tabulate counts characters."""

    def __init__(self) -> None:
        self.back: dict[str, str] = {}

    def hide(self, lines: list[str]) -> str:
        """Return a cell in which every character takes one column."""
        return "\n".join(map(self._hide_line, lines))

    def _hide_line(self, line: str) -> str:
        if line.isascii():
            return line
        hidden = ""
        for cluster, columns in _clusters(line):
            if columns == 1 and len(cluster) == 1 and ord(cluster) not in _PRIVATE and cluster != _FILL:
                hidden += cluster
            else:
                hidden += self._stand_in(cluster, columns)
        return hidden

    def _stand_in(self, cluster: str, columns: int) -> str:
        known = next((code for code, text in self.back.items() if text == cluster), None)
        code = known or chr(_PRIVATE.start + len(self.back))
        self.back[code] = cluster
        return code + _FILL * (columns - 1)

    def show(self, text: str) -> str:
        """Return the text as it was."""
        return "".join(self.back.get(char, char) for char in text if char != _FILL)
