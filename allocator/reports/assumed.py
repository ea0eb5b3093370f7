"""What is taken to be different in a room, in the words of a heading."""

from collections.abc import Callable, Sequence
from datetime import date

from allocator.replies.assumed import Assumption, Differs
from allocator.reports.tables import clean
from allocator.reports.words import day_words, in_words, joined, listed, ranged
from allocator.units import MM_PER_IN

MOST_NAMES = 4
MOST_TOLD = 6
WITHOUT = (Differs.NO_VESSEL, Differs.NO_BROODS, Differs.NO_GROUPS, Differs.NO_LINES)


def assumed_words(assumptions: Sequence[Assumption]) -> str:
    """Return `With one more long (long 4) and without K2`; `With nothing changed` where nothing is."""
    if not assumptions:
        return "With nothing changed"
    parts = [("without" if one.kind in WITHOUT else "with", _words(one)) for one in assumptions[:MOST_TOLD]]
    if len(assumptions) > MOST_TOLD:
        parts.append(("with", f"{len(assumptions) - MOST_TOLD} changes more"))
    told = [
        words if place and parts[place - 1][0] == how else f"{how} {words}"  # "with" is said once
        for place, (how, words) in enumerate(parts)
    ]
    whole = joined(told)
    return whole[:1].upper() + whole[1:]


def _words(one: Assumption) -> str:
    """Return one assumption without the `with` or `without` before it."""
    return WORDS[one.kind](one)


def _who(one: Assumption) -> str:
    return listed(one.names, most=MOST_NAMES)


def _instead(one: Assumption, none: str = "none") -> str:
    return f"{one.after or none} instead of {one.before or none}"


def _gone(one: Assumption) -> str:
    return _who(one) if one.on is None else f"{_who(one)} from {day_words(one.on)} on"


def _collected(one: Assumption) -> str:
    before, after = (day_words(date.fromisoformat(text)) for text in (one.before, one.after))
    return f"{_who(one)} collected on {after} instead of {before}"


def _figure(one: Assumption) -> str:
    if one.what == "sale_mm":
        return (
            f"fish of {_who(one)} sold at {_in_inches_too(one.after)} instead of {_in_inches_too(one.before)}"
        )
    return f"{clean(one.what)} of {_who(one)} {_instead(one)}"


def _in_inches_too(figure: str) -> str:
    """Return `45 mm (1.8 in)` for `45 mm`."""
    return f"{figure} ({float(figure.split(maxsplit=1)[0]) / MM_PER_IN:.1f} in)"


WORDS: dict[Differs, Callable[[Assumption], str]] = {
    Differs.MORE_VESSELS: lambda one: (
        f"{in_words(len(one.names))} more {clean(one.what)} ({ranged(one.names)})"
    ),
    Differs.NO_VESSEL: _gone,
    Differs.VESSEL_DAYS: lambda one: f"{_who(one)} there {one.after}",
    Differs.VESSEL: lambda one: f"{_who(one)} of another build, or with other water",
    Differs.MORE_BROODS: lambda one: f"{_who(one)} too",
    Differs.NO_BROODS: _who,
    Differs.COLLECTED: _collected,
    Differs.FISH: lambda one: f"{_instead(one)} eggs or fish in {_who(one)}",
    Differs.BROOD: lambda one: f"{_who(one)} changed",
    Differs.MORE_GROUPS: lambda one: f"the breeding group {_who(one)}",
    Differs.NO_GROUPS: _who,
    Differs.GROUP: lambda one: f"{_who(one)} changed",
    Differs.MORE_LINES: lambda one: f"the line {_who(one)}",
    Differs.NO_LINES: lambda one: f"the line {_who(one)}",
    Differs.FIGURE: _figure,
    Differs.LINE: lambda one: f"other rules for {_who(one)}",
    Differs.MOVE_DAYS: lambda one: f"fish moved on {_instead(one)}",
    Differs.MOST_MOVES: lambda one: f"{_instead(one, 'any number of')} moves a day at most",
    Differs.AWAY: lambda one: f"days away {_instead(one)}",
    Differs.PLANNED_ON: _instead,
    Differs.PINS: lambda _: "other pins",
    Differs.ORDERS: lambda _: "other orders",
    Differs.COULD_ADD: lambda _: "other tanks that could be added",
}
"""What each kind of difference is called."""
