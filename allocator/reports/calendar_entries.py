"""What a plan asks of the keeper, as entries of a calendar: each about one thing, on one day.

What an entry is about never names its day, nor the very tank: so it stays the same entry when a new plan moves it to
another day or to the next tank of the same kind.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from allocator.husbandry.care import Care, Picking
from allocator.plan import Move, Plan
from allocator.reports.due import Due
from allocator.reports.moves import SET_UP, Schedule, first_into
from allocator.reports.tables import clean
from allocator.reports.words import count_of, listed, ranged
from allocator.room import CollectedBy, Room

MOVES, FLOW, CARE = "Moves", "Flow", "Care"
"""Categories, by which a calendar program can show or hide entries."""

MEASURE = "Measure a few fish first, and wait if they are behind."


@dataclass(frozen=True)
class Entry:
    """Something to do on a day.

    Attributes
    ----------
    about
        What it is about: all by which it is known again in a later plan.
    on
        The day.
    title
        One line, who first.
    details
        What the schedule says of it, a line each.
    category
        `Moves`, `Flow` or `Care`.
    """

    about: tuple[str, ...]
    on: date
    title: str
    details: tuple[str, ...]
    category: str


def entries(room: Room, plan: Plan, *, care: bool = True) -> list[Entry]:
    """Return what is to be done from today on, in order of days.

    Parameters
    ----------
    care
        With the care of the fish.
    """
    due = Due(room, plan) if care else None
    schedule = Schedule(room, plan, due)
    found = [*_moves(schedule), *_lost(schedule), *_flow(schedule), *_orders(schedule)]
    if due is not None:
        found += _care(due)
    coming = [entry for entry in found if entry.on >= room.today]
    return sorted(_numbered(coming), key=lambda entry: (entry.on, entry.about))


def _numbered(found: Iterable[Entry]) -> Iterator[Entry]:
    """Tell entries about the same thing apart by their order: first, second and so on."""
    numbers: dict[tuple[str, ...], int] = defaultdict(int)
    for entry in sorted(found, key=lambda entry: entry.on):
        numbers[entry.about] += 1
        about = (*entry.about, str(numbers[entry.about]))
        yield Entry(about, entry.on, entry.title, entry.details, entry.category)


def _moves(schedule: Schedule) -> Iterator[Entry]:
    """Yield one entry for what is done with a brood on a day, however many tanks it comes from or goes to."""
    picked = Care(schedule.room, schedule.plan).pickings
    for day in schedule.moves_by_day:
        today = schedule.moves_on(day)
        together: dict[tuple[str, ...], list[Move]] = defaultdict(list)
        for move in today:
            together["brood", move.brood, *_what(schedule.room, move)].append(move)
        for about, moves in together.items():
            details = [*_picking(schedule, picked, moves[0])]
            details += [_detail(schedule, move, first=move is first_into(today, move.to)) for move in moves]
            if _swims(schedule, moves[0]):
                details.append(MEASURE)
            yield Entry(about, day, _title(schedule, moves), tuple(details), MOVES)


def _what(room: Room, move: Move) -> tuple[str, ...]:
    """Return what a move is: the set-up, the sale, or the way into tanks of certain kinds."""
    if move.from_ is None:
        return ("set-up",)
    if move.to is None:
        return ("sale",)
    vessel = room.vessel_named.get(move.to)
    return ("move", *([move.to] if vessel is None else sorted(kind.value for kind in vessel.kinds)))


def _swims(schedule: Schedule, move: Move) -> bool:
    """Tell whether it is fish that are moved or sold, of a length that can be looked at first."""
    life = schedule.lives.get(move.brood)
    return move.from_ is not None and life is not None and not life.is_egg(move.on)


def _picking(schedule: Schedule, picked: Iterable[Picking], move: Move) -> list[str]:
    """Return whose eggs are collected for a set-up."""
    brood = schedule.room.brood_named.get(move.brood)
    if brood is None or move.from_ is not None or brood.by is not CollectedBy.PICKING:
        return []
    return [
        f"collect the eggs: {clean(p.who)}" + (f" ({clean(p.vessel)})" if p.vessel else "")
        for p in picked
        if p.on == move.on and p.line == brood.line and brood.parents in {None, p.who}
    ]


def _title(schedule: Schedule, moves: list[Move]) -> str:
    first, fish = moves[0], sum(move.fish for move in moves)
    eggs = schedule.heads_words(first).endswith("eggs")
    heads = f"{fish} eggs" if eggs else count_of(fish, "fish", "fish")
    came = ranged(schedule.in_order({move.from_ for move in moves if move.from_ is not None}))
    goes = ranged(schedule.in_order({move.to for move in moves if move.to is not None}))
    if first.from_ is None:
        what = f"{_set_up(schedule, first)} in {goes}"
    elif first.to is None:
        what = f"sell from {came}"
    else:
        what = f"move from {came} to {goes}"
    return f"{clean(first.brood)}: {what} ({heads})"


def _set_up(schedule: Schedule, move: Move) -> str:
    brood, life = schedule.room.brood_named.get(move.brood), schedule.lives.get(move.brood)
    if brood is None or life is None:
        return "set up"
    return SET_UP[brood.by] if life.nursery is None else "leave with their parents"


def _detail(schedule: Schedule, move: Move, *, first: bool) -> str:
    came = "new" if move.from_ is None else clean(move.from_)
    goes = "sold" if move.to is None else clean(move.to)
    heads = schedule.heads_words(move)
    if heads == str(move.fish):
        heads = count_of(move.fish, "fish", "fish")
    flow, why = schedule.flow_words(move, first=first), schedule.why(move)
    flow = f", flow: {flow}" if flow else ""
    lot = f"{clean(move.lot)}, " if move.lot != move.brood else ""
    return f"{lot}{heads}, {came} to {goes}{flow}" + (f" ({why})" if why else "")


def _lost(schedule: Schedule) -> Iterator[Entry]:
    for day, rows in schedule.lost.items():
        for row in rows:
            heads = count_of(int(row.fish), "fish", "fish") if row.fish.isdigit() else row.fish
            came = "" if row.came == "new" else f", out of {row.came}"
            title = f"{clean(row.brood)}: {row.to} ({heads}{came})"
            yield Entry(("brood", row.brood, "no home"), day, title, (row.why,), MOVES)


def _flow(schedule: Schedule) -> Iterator[Entry]:
    """Yield each turn of a valve with no fish going in, known by the oldest fish there; not those of today."""
    for day in schedule.changes_by_day:
        if day <= schedule.room.today:
            continue
        for (setting, why), vessels in schedule.flow_alone(day).items():
            for vessel in vessels:
                broods = sorted({s.brood for s in schedule.stays_in[vessel] if s.from_ <= day < s.until})
                details = (f"{why} ({listed(broods)})" if broods else why,)
                about = ("vessel", vessel, "flow", setting.word, *_oldest(schedule, broods))
                yield Entry(about, day, f"{clean(vessel)}: set flow to {setting.word}", details, FLOW)


def _orders(schedule: Schedule) -> Iterator[Entry]:
    """Yield each order on its day, which need not be one on which fish are moved."""
    stays = schedule.plan.stays
    for order in schedule.room.orders:
        there = {s.vessel for s in stays if s.brood in order.broods and s.from_ <= order.on <= s.until}
        title = f"Order of {clean(order.name)}: {count_of(order.fish, 'fish', 'fish')}"
        where = f", in {ranged(schedule.in_order(there))}" if there else ""
        details = (f"from {listed(order.broods)}{where}", "Count and measure them first.")
        yield Entry(("order", order.name), order.on, title, details, MOVES)


def _oldest(schedule: Schedule, broods: Iterable[str]) -> list[str]:
    """Return the brood that hatched first, if there is any: company comes and goes."""
    known = [(schedule.lives[brood].hatched, brood) for brood in broods if brood in schedule.lives]
    return [min(known)[1]] if known else []


def _care(due: Due) -> Iterator[Entry]:
    """Yield an entry for each brood and task, on the day on which it begins."""
    for brood, task in due.tasks:
        about = ("brood", brood, "care", task.name)
        yield Entry(
            about, task.on, f"{clean(brood)}: {task.task}", tuple(due.lines([(brood, task)], task.on)), CARE
        )
