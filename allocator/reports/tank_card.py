"""The card that hangs on one tank: who lives there until when, what comes and goes, and room to write counts."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from operator import itemgetter
from typing import NamedTuple

from allocator.husbandry.peat import holds_water
from allocator.plan import Move, Plan, Stay, Verdict
from allocator.reports.answers import verdict_line
from allocator.reports.caution_list import CAUTIONS, Caution, Page, Situation
from allocator.reports.cautions import words
from allocator.reports.due import Due
from allocator.reports.lost import NO_HOME
from allocator.reports.moves import TICK, Schedule, first_into, ticked
from allocator.reports.sheet import bullet
from allocator.reports.tables import Column, clean, paragraph, table
from allocator.reports.water import waters
from allocator.reports.water_tables import amount, needed_words, own_changes
from allocator.reports.words import count_of, day_words
from allocator.room import Room, Vessel
from allocator.units import Gallon, litres_and_gallons

EMPTY = "Nobody lives here on these days."
NOTHING = "Nothing comes or goes on these days."
LINES_TO_WRITE = 6
COUNT_COLUMNS = ("day", "lot", "fish counted", "length, mm", "remarks")
STAY_COLUMNS = (
    Column("lot"),
    Column("line"),
    Column("fish", right=True),
    Column("from", least=15),
    Column("until", least=15),
    Column("goes to"),
)
MOVE_COLUMNS = (
    Column("", least=len(TICK)),
    Column("day", least=15),
    Column("", least=3),
    Column("lot"),
    Column("fish", right=True),
    Column("", least=12),
    Column("flow", least=7),
)


class Resident(NamedTuple):
    """Who lives there: a row of `STAY_COLUMNS`."""

    lot: str
    line: str
    fish: str
    since: str
    until: str
    goes_to: str


class Passage(NamedTuple):
    """What comes or goes: the cells of `MOVE_COLUMNS` after the box."""

    day: str
    way: str
    lot: str
    fish: str
    place: str
    flow: str


@dataclass(frozen=True)
class Card:
    """Everything that stands on the card of a tank, in words."""

    name: str
    size: str
    room: str
    made: str
    alert: str
    facts: tuple[str, ...]
    residents: tuple[Resident, ...]
    passages: tuple[Passage, ...]
    care: tuple[str, ...]
    cautions: tuple[str, ...]


def card_of(
    room: Room,
    plan: Plan,
    vessel: Vessel,
    frm: date,
    until: date,
    gallon: Gallon | None = None,
    *,
    care: bool = True,
) -> Card:
    """Return the card of a tank from one day (included) until another (excluded); as `sheet_of` takes them."""
    due = Due(room, plan)
    schedule = Schedule(room, plan, due)
    return Card(
        name=clean(vessel.name),
        size=litres_and_gallons(vessel.litres, gallon),
        room=clean(room.name),
        made=f"Plan of {day_words(room.today)}, days before {day_words(until)}. "
        "A later plan takes the place of this card.",
        alert=verdict_line(room, plan) if plan.verdict is Verdict.DOES_NOT_FIT else "",
        facts=tuple(_facts(schedule, vessel, frm, until)),
        residents=tuple(_residents(schedule, vessel, frm, until)),
        passages=tuple(_passages(schedule, vessel, frm, until)),
        care=tuple(_care(due, vessel, frm, until)) if care else (),
        cautions=tuple(words(caution, room) for caution in CAUTIONS if _applies(caution, vessel)),
    )


def _applies(caution: Caution, vessel: Vessel) -> bool:
    """Tell whether a caution belongs on the tank itself: that of water and mains, where there is water."""
    return caution.situation is Situation.MAINS and Page.MOVES in caution.pages and holds_water(vessel)


def card_text(
    room: Room,
    plan: Plan,
    vessel: Vessel,
    frm: date,
    until: date,
    gallon: Gallon | None = None,
    *,
    care: bool = True,
) -> str:
    """Return the card for a terminal, 80 columns wide; see `card_of`."""
    card = card_of(room, plan, vessel, frm, until, gallon, care=care)
    passages = [(TICK, *passage) for passage in card.passages]
    residents = table(STAY_COLUMNS, card.residents, indent="  ") if card.residents else f"  {EMPTY}"
    blank = [("_" * 10, "_" * 10, "_" * 12, "_" * 10, "_" * 24)] * LINES_TO_WRITE
    parts = [
        paragraph(f"{card.name}, {card.size}: {card.room}"),
        paragraph(card.made),
        card.alert,
        "\n".join(map(bullet, card.facts)),
        f"Who lives here\n{residents}",
        "Comes and goes\n" + (table(MOVE_COLUMNS, passages) if passages else f"  {NOTHING}"),
        "\n".join(["Care", *map(ticked, card.care)]) if card.care else "",
        "What you counted\n" + table([Column(name) for name in COUNT_COLUMNS], blank, indent="  "),
        "\n".join(["Cautions", *map(bullet, card.cautions)]) if card.cautions else "",
    ]
    return "\n\n".join(part for part in parts if part)


def _facts(schedule: Schedule, vessel: Vessel, frm: date, until: date) -> Iterator[str]:
    """Yield the flow, the water changes as the keeper has them, and what the fish of the first day are fed."""
    if holds_water(vessel):
        coming = sorted((day, word) for (name, day), word in schedule.changes.items() if name == vessel.name)
        before = [setting.word for day, setting in coming if day <= frm]
        then = [f"{setting.word} from {day_words(day)}" for day, setting in coming if frm < day < until]
        now = [f"{before[-1]} on {day_words(frm)}"] if before else []
        if now or then:
            yield "Flow: " + ", ".join([*now, *then])
    tank = next((t for t in waters(schedule.room, schedule.plan, frm) if t.vessel.name == vessel.name), None)
    if vessel.conditions.change_share is not None or vessel.conditions.change_days is not None:
        need = "" if tank is None else f" (for ammonia on {day_words(frm)}: {needed_words(tank)})"
        yield f"Water change: you change {own_changes(vessel)}{need}"
    if tank is not None:
        feed = amount(tank.feed_g_per_day)
        yield f"Dry feed on {day_words(frm)}, as planned: {feed} g a day, for {tank.fish:.0f} fish"


def _residents(schedule: Schedule, vessel: Vessel, frm: date, until: date) -> Iterator[Resident]:
    room = schedule.room
    for group in room.groups:
        start, end = group.lives_there.start or frm, group.lives_there.end or date.max
        if group.vessel == vessel.name and start < until and frm < end:
            fish = f"{count_of(group.males, 'male')}, {count_of(group.females, 'female')}"
            last = "stays" if end == date.max else day_words(end)
            yield Resident(clean(group.name), clean(group.line), fish, _since(room, start), last, "")
    for stay in sorted(schedule.stays_in[vessel.name], key=lambda stay: (stay.from_, stay.lot)):
        if stay.from_ >= until or stay.until <= frm:
            continue
        line = room.brood_named[stay.brood].line
        goes = ", ".join(_places(schedule, stay))
        since, last = _since(room, stay.from_), day_words(stay.until)
        yield Resident(clean(stay.lot), clean(line), _heads(schedule, stay, stay.from_), since, last, goes)


def _since(room: Room, day: date) -> str:
    return "is here" if day <= room.today else day_words(day)


def _heads(schedule: Schedule, stay: Stay, day: date) -> str:
    life = schedule.lives.get(stay.brood)
    return f"{stay.fish} eggs" if life is not None and life.is_egg(day) else str(stay.fish)


def _places(schedule: Schedule, stay: Stay) -> Iterator[str]:
    """Yield where the fish of a stay go when it ends."""
    moves = [
        m for m in schedule.plan.moves if (m.brood, m.from_, m.on) == (stay.brood, stay.vessel, stay.until)
    ]
    for place in dict.fromkeys(move.to for move in moves):
        yield "sold" if place is None else clean(place)
    if _is_turned_out(schedule, stay):
        yield NO_HOME


def _is_turned_out(schedule: Schedule, stay: Stay) -> bool:
    """Tell whether fish leave for nowhere: they are without a home from that day, and no move takes them."""
    lost = any((row.brood, row.from_) == (stay.brood, stay.until) for row in schedule.plan.homeless)
    leaves = ((move.brood, move.from_, move.on) for move in schedule.plan.moves)
    goes_on = any((s.brood, s.from_) == (stay.brood, stay.until) for s in schedule.stays_in[stay.vessel])
    return lost and not goes_on and (stay.brood, stay.vessel, stay.until) not in leaves


def _passages(schedule: Schedule, vessel: Vessel, frm: date, until: date) -> Iterator[Passage]:
    turned_out = [stay for stay in schedule.stays_in[vessel.name] if _is_turned_out(schedule, stay)]
    for day in schedule.busy_days(frm, until):
        for stay in turned_out:
            if stay.until == day:
                heads = _heads(schedule, stay, day)
                yield Passage(day_words(day), "out", clean(stay.lot), heads, NO_HOME, "")
        moves = schedule.moves_on(day)
        for move in moves:
            if move.from_ == vessel.name:
                yield _passage(schedule, move, "out", "sold" if move.to is None else f"to {clean(move.to)}")
            elif move.to == vessel.name:
                flow = schedule.flow_words(move, first=move is first_into(moves, move.to))
                place = schedule.why(move) if move.from_ is None else f"from {clean(move.from_)}"
                yield _passage(schedule, move, "in", place, flow)


def _passage(schedule: Schedule, move: Move, way: str, place: str, flow: str = "") -> Passage:
    return Passage(day_words(move.on), way, clean(move.lot), schedule.heads_words(move), place, flow)


def _care(due: Due, vessel: Vessel, frm: date, until: date) -> Iterator[str]:
    """Yield what is due for those who live there, in the order of the days from which on it is due here."""
    begun: list[tuple[date, str]] = []
    for brood, task in due.tasks:
        days = [day for day in task.days() if frm <= day < until]
        here = [day for day in days if vessel.name in due.care.vessels(brood, day)]
        if here:
            begun.append((here[0], due.lines([(brood, task)], here[0])[0]))
    # A task that began in another vessel stands where it comes to this one.
    for day, line in sorted(begun, key=itemgetter(0)):
        yield f"{day_words(day)}: {line}"
