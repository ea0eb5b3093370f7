"""What the fate of one brood changes in a room file."""

from collections.abc import Iterator, Sequence
from datetime import date

from allocator.onward.edits import Add, Drop, Edit, Put, Unremark
from allocator.onward.fates import Became, Fate, Part, is_shared_evenly
from allocator.onward.told import Told
from allocator.reading.source import Loc, Plain
from allocator.room import CollectedBy

AS_PLANNED = "eggs as planned, not counted"
"""Stands beside a brood in the new file until its eggs or fish are told."""

AFTER_EGGS = ("laid_over_days", "eggs")


def homes_value(parts: Sequence[Part], fish: int) -> Plain:
    """Return what is written under `lives_in`; of unequal parts all but the largest with their fish."""
    if len(parts) == 1:
        return parts[0].vessel
    if is_shared_evenly(tuple(parts)):
        return [part.vessel for part in parts]
    total, largest = sum(part.fish for part in parts), max(parts, key=lambda part: part.fish)
    return [
        {"vessel": part.vessel}
        if part is largest
        else {"vessel": part.vessel, "fish": max(1, part.fish * fish // total)}
        for part in parts
    ]


def new_brood(fate: Fate, told: Told, day: date) -> Add:
    """Return what adds a brood that was collected."""
    brood = fate.brood
    item: dict[str, Plain] = {
        "name": brood.name,
        "line": brood.line,
        "collected": brood.collected.isoformat(),
    }
    if brood.by is not CollectedBy.PICKING:
        item["by"] = brood.by.value
    item["eggs"] = told.eggs.get(brood.name, brood.eggs)
    if brood.laid_over_days != 1:
        item["laid_over_days"] = brood.laid_over_days
    if brood.parents is not None:
        item["parents"] = brood.parents
    count = told.counts.get(brood.name)
    item["lives_in"] = homes_value(fate.parts, fate.fish)
    if fate.since is not None:
        item["since"] = fate.since.isoformat()
    if count is not None:
        item["counted"] = [_count(told, brood.name, day)]
    return Add(("broods",), item, AS_PLANNED if fate.eggs_are_planned else None)


def _count(told: Told, name: str, day: date) -> dict[str, Plain]:
    count = told.counts[name]
    written: dict[str, Plain] = {"on": day.isoformat(), "fish": count.fish}
    if count.mm is not None:
        written["mm"] = int(count.mm) if count.mm.is_integer() else count.mm
    return written


def changed_brood(loc: Loc, item: dict[str, Plain], fate: Fate, told: Told, day: date) -> Iterator[Edit]:
    """Yield what changes of a brood that is listed, and is there."""
    name, homes = fate.name, {home.vessel for home in fate.brood.homes}
    count = told.counts.get(name)
    if name in told.eggs:
        yield Put((*loc, "eggs"), told.eggs[name])
    given = [home.fish is not None for home in fate.brood.homes]
    told_in_part = any(given) and not all(given)  # its fish grow fewer, and the rest alone would lose them
    moved = fate.became in (Became.MOVED, Became.COLLECTED) or set(fate.vessels) != homes
    if moved or told_in_part or (count is not None and any(given)):
        value = homes_value(fate.parts, fate.fish)
        if value != item.get("lives_in"):
            yield Put((*loc, "lives_in"), value, after=AFTER_EGGS)
    if moved and fate.since is not None:
        yield Put((*loc, "since"), fate.since.isoformat(), after=("lives_in",))
    elif moved and "since" in item:
        yield Drop((*loc, "since"))
    if count is not None:
        yield _counted(loc, item.get("counted"), _count(told, name, day))
    if name in told.eggs or count is not None:
        yield Unremark(loc, AS_PLANNED)


def _counted(loc: Loc, before: Plain, new: dict[str, Plain]) -> Edit:
    """Return what adds a count; one of the same day is written over."""
    if isinstance(before, list) and before and all(_day_of(old) != new["on"] for old in before):
        return Add((*loc, "counted"), new)
    kept = before if isinstance(before, list) else [] if before is None else [before]
    return Put((*loc, "counted"), [*(old for old in kept if _day_of(old) != new["on"]), new])


def _day_of(count: Plain) -> str:
    return str(count["on"]) if isinstance(count, dict) else ""


def farewell(fate: Fate) -> str:
    """Return the remark that stands where a brood stood."""
    brood, day = fate.brood, fate.on.isoformat()
    name = " ".join(brood.name.split())
    what = {
        Became.SOLD: f"sold on {day} as planned, {fate.fish} fish expected",
        Became.GONE: f"gone by {day}",
        Became.NOT_TAKEN: "not taken, as planned",
        Became.NOT_COLLECTED: "not collected",
    }.get(fate.became, "not in the plan's homes; not written as collected")
    return f"{name}, collected {brood.collected}, {brood.eggs} eggs: {what}"
