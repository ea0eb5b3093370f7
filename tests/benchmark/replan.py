"""Planning again with a plan in hand: one brood more in a planned room, by whole commands, start-up included.

The room is planned; a brood is added, drawn from a seed: a collection like one that is planned, some weeks from it. Then
the new room is planned cold, and against the plan in hand.
"""

import re
import subprocess
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from json import dumps
from pathlib import Path
from random import Random
from statistics import median
from tempfile import TemporaryDirectory
from time import monotonic

from allocator.reading import read_room
from allocator.room import Room
from benchmark.frozen import room_named
from benchmark.room_file import as_file

WELL, ILL = 0, 1
PLANNED = (0, 1)
"""Exit codes of a plan: all fits, or not everything does."""

MOST_WEEKS_AWAY = 4
NEW = "one more"


@dataclass(frozen=True)
class Timed:
    """What came of one way to plan: seconds by the clock, run by run, and what the answer says.

    `figures` has what is counted, by the words of the answer: "strain", "change", "cost", "homeless".
    """

    seconds: tuple[float, ...]
    figures: dict[str, float]

    @property
    def middle(self) -> float:
        """The middle of the runs."""
        return median(self.seconds)


@dataclass(frozen=True)
class Compared:
    """A room with one brood more, planned cold and with a plan in hand."""

    room: str
    cold: Timed
    again: Timed

    @property
    def ratio(self) -> float:
        """What part of the time of a cold plan it takes to plan again."""
        return self.again.middle / self.cold.middle


ROWS = {
    "homeless": re.compile(r"^ *1 fish without a home .*?  ([\d ]+) fish-days?  ", re.MULTILINE),
    "cost": re.compile(r"^ *1 cost of added tanks .*?  ([\d ]+(?:\.\d+)?)  ", re.MULTILINE),
    "strain": re.compile(r"^ *2 strain.*?  ([\d ]+) points?  ", re.MULTILINE),
    "change": re.compile(r"^ *3 change.*?  ([\d ]+) points?  ", re.MULTILINE),
}
"""Where the answer says what was reached: in its last table, if there are two."""


def figures_of(answer: str) -> dict[str, float]:
    """Return what a printed answer says was reached."""
    last = answer[answer.rfind("what counts, most first") :]
    found = {name: row.search(last) for name, row in ROWS.items()}
    return {name: float(match[1].replace(" ", "")) for name, match in found.items() if match is not None}


def with_one_more(text: str, room: Room, seed: int) -> str:
    """Return the text of a room file with one more collection, like one that is planned and some weeks from it."""
    random = Random(f"{room.name} {seed}")  # noqa: S311 - made-up broods, no secrets
    planned = [brood for brood in room.broods if brood.planned]
    like = random.choice(planned)
    days = [like.collected + timedelta(weeks=n) for n in range(-MOST_WEEKS_AWAY, MOST_WEEKS_AWAY + 1) if n]
    latest = max(brood.collected for brood in planned)
    may_be = [
        day
        for day in days
        if room.today < day <= latest and not any(span.holds(day) for span in room.keeper.away)
    ]
    row = f"name: {NEW}, line: {dumps(like.line)}, collected: {random.choice(may_be)}, eggs: {like.eggs}"
    before, broods, after = text.partition("\nbroods:\n")
    return f"{before}{broods}  - {{{row}}}\n{after}"


def text_of(name: str) -> tuple[str, Room]:
    """Return the text of a room file, and the room: of the benchmark by its name, else of a file."""
    if name.endswith(".yaml"):
        return Path(name).read_text(encoding="utf-8"), read_room(Path(name)).room
    room = room_named(name)
    return as_file(room), room


def compared(name: str, runs: int, seed: int, seconds: float | None) -> Compared:
    """Plan a room, add a brood, and plan it cold and with the plan in hand, so many times each."""
    text, room = text_of(name)
    with TemporaryDirectory() as folder:
        first, more, plan = (Path(folder) / file for file in ("room.yaml", "more.yaml", "plan.json"))
        first.write_text(text, encoding="utf-8")
        more.write_text(with_one_more(text, room, seed), encoding="utf-8")
        limit = [] if seconds is None else ["--time", f"{seconds:g}"]
        _plan([str(first), "--json", str(plan), *limit])
        told = [[str(more), *limit], [str(more), "--against", str(plan), *limit]]
        done: list[list[tuple[float, str]]] = [[], []]
        for _ in range(runs):  # in turn, so that a busy machine is busy for both
            for way, options in enumerate(told):
                done[way].append(_plan(options))
    cold, again = (Timed(tuple(took for took, _ in way), figures_of(way[-1][1])) for way in done)
    return Compared(name, cold, again)


def _plan(options: Sequence[str]) -> tuple[float, str]:
    """Return how long the whole command takes, and what it prints."""
    begun = monotonic()
    done = subprocess.run(
        [sys.executable, "-m", "allocator", "plan", *options], capture_output=True, text=True, check=False
    )
    took = monotonic() - begun
    if done.returncode not in PLANNED:
        raise RuntimeError(done.stderr.strip() or f"exit code {done.returncode}")
    return took, done.stdout


HEAD = ("room", "cold s", "again s", "ratio", "change", "strain cold", "again", "cost cold", "again")


def row_of(found: Compared) -> tuple[str, ...]:
    """Return what came of one room, as a row of the table."""

    def figure(timed: Timed, name: str) -> str:
        return f"{timed.figures[name]:g}" if name in timed.figures else "-"

    return (
        found.room,
        f"{found.cold.middle:.1f}",
        f"{found.again.middle:.1f}",
        f"{found.ratio:.2f}",
        figure(found.again, "change"),
        *(figure(timed, name) for name in ("strain", "cost") for timed in (found.cold, found.again)),
    )


def run(rooms: Iterable[str], runs: int, seed: int, seconds: float | None) -> int:
    """Do all rooms, a row as each is done; Ctrl-C ends it. Returns 1 if a room could not be planned."""
    code = WELL
    _say(HEAD)
    try:
        for name in rooms:
            try:
                _say(row_of(compared(name, runs, seed, seconds)))
            except RuntimeError as fault:
                sys.stdout.write(f"{name}: {fault}\n")
                code = ILL
    except KeyboardInterrupt:
        sys.stdout.write("stopped\n")
    return code


def _say(row: Sequence[str]) -> None:
    widths = (28, *[11] * (len(row) - 1))
    cells = [
        row[0].ljust(widths[0]),
        *(cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True)),
    ]
    sys.stdout.write("".join(cells).rstrip() + "\n")
    sys.stdout.flush()
