"""The command `pair`: whether another pair can be started."""

# ruff: noqa: PLC0415, D301 - `--help` must not pay for what only a command needs; \b keeps lines apart

from datetime import date, timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from allocator.asked import answered_for, day_of, room_told, seconds_of, working
from allocator.commands.coming import By, Eggs, LineName, eggs_told, held_still, line_told, way_told
from allocator.commands.options import AsJson, PlanFile, RoomFile, Seconds, Today
from allocator.console import Exit, UserError, say
from allocator.interrupt import stop_while_loading

if TYPE_CHECKING:
    from allocator.questions.pair import Pairing
    from allocator.room import CollectedBy, Room

A_SEASON = timedelta(weeks=12)
MOST_COLLECTIONS = 60
MOST_FISH = 1000
"""More fish in one breeding group than this are a slip of the finger (judgement)."""


def pair(
    room: RoomFile,
    line: LineName = None,
    males: Annotated[str, typer.Option("--males", metavar="N", help="Males in it.")] = "1",
    females: Annotated[str, typer.Option("--females", metavar="N", help="Females in it.")] = "1",
    vessel: Annotated[
        str | None,
        typer.Option("--in", metavar="VESSEL", help="Its own tank; one that is free if left out."),
    ] = None,
    start: Annotated[
        str | None, typer.Option("--from", metavar="DATE", help="Since when; from today if left out.")
    ] = None,
    until: Annotated[
        str | None,
        typer.Option(
            "--until", metavar="DATE", help="No collection after this day; twelve weeks if left out."
        ),
    ] = None,
    every: Annotated[
        str | None,
        typer.Option(
            "--every",
            metavar="DAYS",
            help="From one collection to the next. If left out: 7 days; with young that are guarded, when they leave; "
            "with young that are born, 28 days.",
        ),
    ] = None,
    eggs: Eggs = None,
    by: By = None,
    as_json: AsJson = False,  # noqa: FBT002 - the shape that typer reads
    plan_file: PlanFile = None,
    time: Seconds = None,
    today: Today = None,
) -> int:
    """Print whether another pair (or trio) can be started, and how many of its collections find room.

    \b
    Example:
      allocator pair my-room.yaml --plan plan.json --line lake --females 2 --from 2027-05-15
    """
    from allocator.reports.pair import pair_text

    first, last, seconds = day_of(start, "--from"), day_of(until, "--until"), seconds_of(time)
    number, way = eggs_told(eggs), way_told(by)
    fish = _fish(males, "--males"), _fish(females, "--females")
    reading = room_told(room, today)
    asked = _asked(
        reading.room, line_told(reading.room, line), fish, vessel, (first, last), every, number, way
    )
    answer = answered_for(reading, room, plan_file, seconds)
    from allocator.changes import UnchangeableError

    with stop_while_loading():
        from allocator.questions.pair import pair_of
    try:
        with held_still(), working(seconds) as show:
            reply = pair_of(answer.room, answer.plan, asked, seconds=seconds, progress=show)
    except UnchangeableError as error:
        raise UserError(error.what, error.hint) from None
    say(reply.model_dump_json(indent=2, by_alias=True) if as_json else pair_text(reply))
    return Exit.FITS if reply.yes else Exit.DOES_NOT_FIT


def _fish(text: str, option: str) -> int:
    if not (text.isascii() and text.isdigit()) or int(text) > MOST_FISH:
        raise UserError(f"{option} {text}: must be a whole number from 0 to {MOST_FISH}")
    return int(text)


def _asked(
    room: "Room",
    line: str,
    fish: tuple[int, int],
    vessel: str | None,
    days: tuple[date | None, date | None],
    every: str | None,
    eggs: int | None,
    by: "CollectedBy | None",
) -> "Pairing":
    """Return the question; refuse what cannot be meant."""
    from allocator.problems import nearest
    from allocator.questions.coming import typical
    from allocator.questions.pair import Pairing, usual_days, ways_to_take
    from allocator.room import BreedingGroup, Span
    from allocator.rules import VesselKind

    if not fish[1]:
        raise UserError("--females 0: nobody would lay or bear young", "give at least 1")
    begin, interval, collections = _days_of_collection(
        room, days, f"{usual_days(room, line)} days" if every is None else every
    )
    if vessel is None and not any(VesselKind.BREEDING in one.kinds for one in room.vessels):
        raise UserError(
            "no vessel of the room is for breeding", "say with --in which one the pair would have"
        )
    if vessel is not None and vessel not in room.vessel_named:
        raise UserError(f"--in {vessel}: there is no such vessel", nearest(vessel, list(room.vessel_named)))
    possible = ways_to_take(room, line)
    if by is not None and by not in possible:
        raise UserError(f"--by {by.value} is not for {line}", f"write --by {possible[0].value}")
    like = typical(room, line)
    each = eggs if eggs is not None or like is None else like.eggs
    if each is None:
        raise UserError(
            f"how many eggs at each collection? No brood of {line} is there to go by", "give --eggs"
        )
    return Pairing(
        group=BreedingGroup(
            name=_free_name(room, f"{line} pair" if fish == (1, 1) else f"{line} group"),
            line=line,
            males=fish[0],
            females=fish[1],
            vessel=vessel or "",
            lives_there=Span(start=begin),
        ),
        collections=collections,
        eggs=each,
        by=(by,) if by is not None else possible,
        every_days=interval,
    )


def _days_of_collection(
    room: "Room", days: tuple[date | None, date | None], every: str
) -> tuple[date, int, tuple[date, ...]]:
    """Return the first day of the pair, the days from one collection to the next, and the days of collection."""
    from allocator.units import NotReadError, read_days

    try:
        interval = read_days(int(every) if every.isascii() and every.isdigit() else every)
    except NotReadError as error:
        raise UserError(f"--every {every}: {error.what}", error.hint) from None
    if interval < 1:
        raise UserError(f"--every {every}: must be at least 1 day")
    begin = days[0] or room.today
    if begin < room.today:
        raise UserError(f"--from {begin} is before today, {room.today}", "give a day that is to come")
    end = days[1] or begin + A_SEASON
    if end < begin + timedelta(days=interval):
        what = f"--until {end} leaves no time for a collection"
        raise UserError(what, "the first is taken one interval after --from")
    collections = tuple(_days(room, begin, end, interval))
    if not collections:
        raise UserError("you are away on every day of collection", "give other days")
    if len(collections) > MOST_COLLECTIONS:
        what = f"more than {MOST_COLLECTIONS} collections (got {len(collections)})"
        raise UserError(what, "give an earlier --until")
    return begin, interval, collections


def _days(room: "Room", begin: date, end: date, interval: int) -> list[date]:
    """Return the days of collection; none while the keeper is away, as with those of a room file."""
    count = (end - begin).days // interval
    days = [begin + timedelta(days=interval * number) for number in range(1, count + 1)]
    return [day for day in days if not any(span.holds(day) for span in room.keeper.away)]


def _free_name(room: "Room", name: str) -> str:
    taken = set(room.group_named) | set(room.brood_named)
    return next(
        one
        for number in range(1, 1000)
        if (one := f"new {name} {number}" if number > 1 else f"new {name}") not in taken
    )
