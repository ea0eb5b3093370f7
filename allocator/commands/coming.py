"""A coming brood as it is asked for on the command line."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from allocator.console import UserError

if TYPE_CHECKING:
    from allocator.room import Brood, CollectedBy, Room

MOST_EGGS = 100_000
"""More eggs at once than this are a slip of the finger (judgement)."""

LineName = Annotated[
    str | None, typer.Option("--line", metavar="LINE", help="Of which line; not needed where there is one.")
]
Eggs = Annotated[
    str | None,
    typer.Option("--eggs", metavar="N", help="How many eggs (or young); as the last brood had if left out."),
]
By = Annotated[
    str | None,
    typer.Option("--by", metavar="HOW", help="How it is taken: picking, mop or young."),
]


@contextmanager
def held_still() -> Iterator[None]:
    """Say it in words where a plan was edited by hand so that it cannot be held still."""
    from allocator.questions.held import NotHeldError  # noqa: PLC0415 - `--help` needs none of it

    try:
        yield
    except NotHeldError as error:
        raise UserError(
            f"the plan tells of {', '.join(error.broods)} in a way that cannot be held still", "plan again"
        ) from None


def line_told(room: "Room", name: str | None) -> str:
    """Return the line that is meant."""
    from allocator.problems import nearest  # noqa: PLC0415 - `--help` needs none of it

    lines = list(room.line_named)
    if name is None:
        if len(lines) > 1:
            raise UserError(
                "several lines are in the room, and none is named",
                "give --line with one of " + ", ".join(lines),
            )
        return lines[0]
    if name not in lines:
        raise UserError(f"--line {name}: there is no such line", nearest(name, lines))
    return name


def eggs_told(text: str | None) -> int | None:
    """Return the number that is meant."""
    return None if text is None else number_told(text, "--eggs", MOST_EGGS)


def number_told(text: str, option: str, most: int) -> int:
    """Return a number from 1 on that an option gives."""
    if not (text.isascii() and text.isdigit()):
        raise UserError(f"{option} {text}: this is not a whole number", f"write such as {option} 30")
    if len(text) > len(str(most)) or not 1 <= int(text) <= most:
        raise UserError(f"{option} {text}: must be from 1 to {most}")
    return int(text)


def way_told(text: str | None, option: str = "--by") -> "CollectedBy | None":
    """Return how a brood is taken."""
    from allocator.problems import nearest  # noqa: PLC0415
    from allocator.room import CollectedBy  # noqa: PLC0415

    if text is None:
        return None
    ways = [way.value for way in CollectedBy]
    if text not in ways:
        raise UserError(
            f"{option} {text}: this is not known", nearest(text, ways) or "write " + " or ".join(ways)
        )
    return CollectedBy(text)


def must_suit(room: "Room", line: str, way: "CollectedBy | None", option: str = "--by") -> None:
    """Refuse a way to take broods that this line has not: eggs of fish that bear young, young of fish that lay."""
    from allocator.questions.pair import ways_to_take  # noqa: PLC0415

    possible = ways_to_take(room, line)
    if way is not None and way not in possible:
        ways = " or ".join(one.value for one in possible)
        raise UserError(f"{option} {way.value} is not for {line}", f"write {option} {ways}")


def brood_told(
    room: "Room",
    line: str,
    on: date | None,
    eggs: int | None,
    by: "CollectedBy | None",
) -> "Brood":
    """Return the brood that is asked about; what is not said is as with the last of its line."""
    from allocator.questions.coming import coming_brood  # noqa: PLC0415
    from allocator.room import CollectedBy  # noqa: PLC0415

    if on is not None and on < room.today:
        raise UserError(f"--on {on} is before today, {room.today}", "give a day that is to come")
    brood = coming_brood(room, line, on=on, eggs=eggs, by=by)
    if brood is None:
        raise UserError(f"how many eggs? No brood of {line} is there to go by", "give --eggs")
    for span in room.keeper.away:
        if span.holds(brood.collected):
            raise UserError(
                f"you are away on {brood.collected}, and nothing is collected then",
                f"give --on with another day, such as {span.end}",
            )
    rules = room.line_named[line].rules
    if rules.guards_young and (brood.by is not CollectedBy.YOUNG or brood.parents is None):
        raise UserError(
            f"the young of {line} begin with their parents, so it matters whose they are",
            "plan a collection of the breeding group in the room file, then ask with --brood",
        )
    return brood
