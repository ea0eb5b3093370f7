"""What a child process does: plan one room, check the plan once more, and print what came of it as JSON."""

import json
import resource
import sys
from dataclasses import asdict, dataclass, field
from hashlib import sha256
from pathlib import Path
from time import monotonic, process_time
from typing import Any

from allocator.check import check_plan, room_for
from allocator.result import NoPlanInTime, Result
from allocator.room import Room
from benchmark.frozen import digest_of, room_named

COST = "cost of added tanks"
KILO = 1024


@dataclass
class Outcome:
    """What came of one room; money as in the room, seconds by the clock, memory in megabytes.

    Attributes
    ----------
    cost, bound
        Of added vessels; None where no plan houses everybody.
    levels
        Each level of the best plan, with its gap: the part of its value that may still be saved.
    aside
        Seconds that are none of the planner's: the room is made, the plan is checked once more.
    breaches
        What the checker says of the plans, by rule; empty is well.
    """

    room: str
    digest: str = ""
    vessels: int = 0
    broods: int = 0
    status: str = ""
    added: dict[str, int] = field(default_factory=dict)
    cost: float | None = None
    bound: float | None = None
    levels: list[dict[str, Any]] = field(default_factory=list)
    found_by: str = ""
    homeless_fish: int = 0
    pins_dropped: int = 0
    work: float = 0.0
    planning: float = 0.0
    wall: float = 0.0
    busy: float = 0.0
    peak_mb: float = 0.0
    aside: float = 0.0
    breaches: list[str] = field(default_factory=list)
    plan_digest: str = ""
    error: str = ""


def plan_one(name: str, seconds: float | None) -> Outcome:
    """Plan a room of the benchmark."""
    from allocator.planner import plan_room  # noqa: PLC0415 - its time is the planner's

    begun = monotonic()
    room = room_named(name)
    found = Outcome(name, digest_of(room), len(room.vessels), len(room.broods))
    found.aside = monotonic() - begun
    try:
        result = plan_room(room, seconds=seconds)
    except NoPlanInTime as late:
        found.status, found.error = "no plan in time", str(late) or "not even a first plan in the time given"
        found.peak_mb = peak_mb()
        return found
    found.peak_mb, found.busy = peak_mb(), process_time() - found.aside
    begun = monotonic()
    _tell(found, room, result)
    found.aside += monotonic() - begun
    return found


def _tell(found: Outcome, room: Room, result: Result) -> None:
    plan, before = result.best.plan, result.as_it_is.plan
    found.status, found.found_by = plan.verdict.value, result.best.found_by.value
    found.added = {row.like: row.copies for row in plan.added}
    prices = {offer.like: offer.price for offer in room.could_add}
    found.homeless_fish = sum(row.fish for row in plan.homeless)
    found.pins_dropped = len(room.pins) - len(result.room.pins)
    if not plan.homeless:
        found.cost = sum(prices[like] * copies for like, copies in found.added.items())
        told = [level.bound for level in result.best.levels if level.name == COST]
        found.bound = told[0] if told else 0.0
    found.levels = [
        {
            "level": level.level,
            "name": level.name,
            "value": level.value,
            "bound": level.bound,
            "proven": level.proven,
            "gap": (level.value - level.bound) / level.value if level.value > 0 else 0.0,
        }
        for level in result.best.levels
    ]
    found.work, found.planning = result.work, result.seconds
    asked = room.model_copy(update={"pins": result.room.pins})  # without the pins that no plan can keep
    for one in (plan,) if plan == before else (plan, before):
        breaches = check_plan(room_for(asked, one), one)
        found.breaches += sorted({breach.rule.value for breach in breaches if not breach.as_found})
    found.plan_digest = sha256(plan.model_dump_json().encode()).hexdigest()[:12]


def peak_mb() -> float:
    """Return the most memory that this process had so far; of the process itself, where the system tells."""
    status = Path("/proc/self/status")
    if status.exists():
        for line in status.read_text(encoding="utf-8").splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) / KILO
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / KILO / KILO if sys.platform == "darwin" else most / KILO


def print_outcome(outcome: Outcome) -> None:
    """Print an outcome for the parent to read."""
    sys.stdout.write(json.dumps(asdict(outcome)) + "\n")
