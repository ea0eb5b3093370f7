"""Rooms one after another: a line as each is done, a table at the end, and what is kept."""

import json
import sys
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

import allocator
from benchmark.children import Task, outcome_of
from benchmark.frozen import SEEDS, ContradictionError, Known, better, read_known, size_of, write_known
from benchmark.one_room import Outcome

WELL, ILL = 0, 1


@dataclass(frozen=True)
class Asked:
    """What is to be done: see the options of the command."""

    rooms: tuple[str, ...]
    seconds: float | None = None
    give_up: float = 1800.0
    runs: int = 1
    json_file: Path | None = None
    keep: bool = False
    plain: bool = False


def run(asked: Asked) -> int:
    """Do all rooms; Ctrl-C ends it with what is there. Returns 1 if a room failed or a plan broke a rule."""
    done: list[Outcome] = []
    known = read_known()
    code = WELL
    try:
        for number, room in enumerate(asked.rooms, start=1):
            for again in range(asked.runs):
                mark = f" (run {again + 1} of {asked.runs})" if asked.runs > 1 else ""
                say(f"{number}/{len(asked.rooms)} {room}{mark} ...")
                found = outcome_of(Task(room, asked.seconds, asked.give_up, asked.plain))
                done.append(found)
                for line in lines_of(found, known.get(room)):
                    say(f"    {line}")
                if found.status == "failed" or found.breaches:
                    code = ILL
                if asked.keep and not asked.plain and found.digest and not found.breaches:
                    code = max(code, keep(known, found, asked))
    except KeyboardInterrupt:
        say("stopped; this is what was done so far")
    say("")
    for line in table(done):
        say(line)
    for line in said_twice(done):
        say(line)
    if asked.json_file is not None:
        text = json.dumps([asdict(found) for found in done], indent=1)
        asked.json_file.write_text(text + "\n", encoding="utf-8")
    return code


def say(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def keep(known: dict[str, Known], found: Outcome, asked: Asked) -> int:
    """Put what is better into the CSV, room by room, so that nothing is lost when it is stopped."""
    day = datetime.now(tz=UTC).date()
    limit = "" if asked.seconds is None else f" --seconds {asked.seconds:g}"
    how = f"--room {found.room}{limit}; {found.wall:.0f} s; {day}; version {allocator.__version__}"
    row = Known(
        room=found.room,
        digest=found.digest,
        vessels=str(found.vessels),
        broods=str(found.broods),
        added=" ".join(f"{many} {like}" for like, many in sorted(found.added.items())),
        value="" if found.cost is None else f"{found.cost:g}",
        bound="" if found.bound is None else f"{found.bound:g}",
        value_by="" if found.cost is None else how,
        bound_by="" if found.bound is None else how,
    )
    try:
        known[found.room] = better(known.get(found.room, Known(found.room)), row)
    except ContradictionError as fault:
        say(f"    NOT KEPT, one of these is wrong: {fault}")
        return ILL
    write_known(known)
    return WELL


def lines_of(found: Outcome, known: Known | None) -> Iterable[str]:
    """Yield what is said of one room."""
    size = f"{found.vessels} vessels, {found.broods} broods" if found.vessels else "nothing known of it"
    yield f"{size}: {found.status}{f' ({found.error})' if found.error else ''}"
    if found.cost is not None:
        added = ", ".join(f"{many} {like}" for like, many in found.added.items()) or "nothing"
        bound = "no bound" if found.bound is None else f"bound {found.bound:g}"
        yield f"adds {added}: cost {found.cost:g}, {bound}{_best_known(found, known)}"
    if found.homeless_fish:
        yield f"{found.homeless_fish} fish without a home"
    if found.levels:
        yield "gaps: " + ", ".join(
            f"{level['name']} {'proven' if level['proven'] else format(level['gap'], '.0%')}"
            for level in found.levels
        )
    if found.pins_dropped:
        yield f"{found.pins_dropped} pins dropped"
    if found.wall:
        checked = "no plan to check"
        if found.plan_digest:
            checked = "checked: " + (
                "breaks " + ", ".join(found.breaches) if found.breaches else "keeps all rules"
            )
        yield f"work {found.work:.1f}, {found.wall:.1f} s by the clock, {found.peak_mb:.0f} MB; {checked}"


def _best_known(found: Outcome, known: Known | None) -> str:
    if known is None or not known.value:
        return ""
    if known.digest != found.digest:
        return " (the best known is of another room: packs or rooms have changed)"
    return f" (best known: {known.value}, bound {known.bound or 'none'})"


COLUMNS = (
    "rooms",
    "planned",
    "fit",
    "short",
    "others",
    "proven",
    "gap of cost",
    "seconds",
    "most s",
    "MB",
    "most MB",
)


def table(done: Sequence[Outcome]) -> list[str]:
    """Return a table by size: how many, and the middle (and the most) of what was measured."""
    rows = [("size", *COLUMNS)]
    for size in SEEDS:
        mine = [found for found in done if size_of(found.room) == size]
        if not mine:
            continue
        planned = [found for found in mine if found.plan_digest or found.cost is not None]
        costs = [found for found in mine if found.cost is not None]
        gaps = [gap_of(found) for found in costs]
        rows.append(
            (
                size,
                str(len({found.room for found in mine})),
                str(len(planned)),
                str(sum(found.cost == 0 for found in costs)),
                str(sum(found.cost != 0 for found in costs)),
                str(len(mine) - len(costs)),
                str(sum(gap == 0 for gap in gaps)),
                f"{median(gaps):.0%}" if gaps else "-",
                *(_middle([found.wall for found in mine])),
                *(_middle([found.peak_mb for found in mine if found.peak_mb])),
            )
        )
    widths = [max(len(row[place]) for row in rows) for place in range(len(rows[0]))]
    return ["  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True)) for row in rows]


def gap_of(found: Outcome) -> float:
    """Return which part of the cost may still be saved."""
    if not found.cost:
        return 0.0
    return (found.cost - (found.bound or 0.0)) / found.cost


def _middle(values: Sequence[float]) -> tuple[str, str]:
    return (f"{median(values):.1f}", f"{max(values):.1f}") if values else ("-", "-")


def said_twice(done: Sequence[Outcome]) -> list[str]:
    """Return, where rooms were planned several times, whether it was the same plan each time."""
    by_room: dict[str, list[Outcome]] = {}
    for found in done:
        by_room.setdefault(found.room, []).append(found)
    lines = []
    for room, runs in by_room.items():
        if len(runs) > 1:
            same = len({found.plan_digest for found in runs}) == 1
            times = sorted(found.wall for found in runs)
            text = f"{room}: {len(runs)} runs, {'the same plan' if same else 'DIFFERENT plans'}"
            lines.append(f"{text}; {times[0]:.1f} / {median(times):.1f} / {times[-1]:.1f} s")
    return lines
