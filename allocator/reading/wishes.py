"""What could be added, and what is pinned. Of two pins that contradict each other the later is dropped."""

import re
from dataclasses import dataclass
from datetime import date, timedelta

from allocator.problems import place_words
from allocator.reading.gather import Parts, Placed
from allocator.reading.shape import RawAddable, RawPin
from allocator.room import Addable, Brood, Pin, PinKind, Room, Span, Vessel, new_vessel_name

DAY = timedelta(days=1)

_DATED = re.compile(r" \d{4}-\d{2}-\d{2}$")
"""The end of a planned brood's name; where a group could not be read, nobody knows which ones there are."""


def could_add_of(parts: Parts, vessels: tuple[Vessel, ...]) -> tuple[Addable, ...]:
    """Return what the keeper could add."""
    declared = {vessel.declared_as for vessel in vessels}
    names = {vessel.name for vessel in vessels}
    offers: dict[str, Addable] = {}
    for part in parts.each(RawAddable):
        raw = part.raw
        if raw.like in offers:
            parts.add(part, "it is offered twice", "like")
        if not parts.knows(part, "vessels", raw.like, declared, "like"):
            continue
        taken = [new_vessel_name(raw.like, n) for n in range(1, raw.most + 1)]
        clash = next((name for name in taken if name in names), None)
        if clash is not None:
            parts.add(
                part, f"a vessel is already named {clash!r}", "like", hint="name that vessel differently"
            )
        offers[raw.like] = Addable(like=raw.like, price=raw.price, most=raw.most)
    return tuple(offers.values())


@dataclass(frozen=True)
class Wish:
    """A pin and where it stands in the file."""

    pin: Pin
    part: Placed[RawPin]
    line: int

    @property
    def words(self) -> str:
        """The pin in a few words."""
        if self.pin.kind is PinKind.MOVE_ON:
            return f"move on {self.pin.span.start}"
        start, end = self.pin.span.start, self.pin.span.end
        days = (f" from {start}" if start else "") + (f" until {end}" if end else "")
        return f"{self.pin.kind.value} {self.pin.vessel!r}{days}"


def wishes_of(
    parts: Parts, broods: dict[str, Brood], left_out: dict[str, str], vessels: dict[str, Vessel]
) -> list[Wish]:
    """Return the pins that make sense by themselves."""
    wishes = []
    for part in parts.each(RawPin):
        raw = part.raw
        asked = [key for key in ("in_", "not_in", "move_on") if getattr(raw, key) is not None]
        if len(asked) != 1:
            found = "got " + (", ".join(key.rstrip("_") for key in asked) or "none of them")
            parts.add(part, "a pin asks for one thing: in, not_in or move_on", found=found)
            continue
        vessel = raw.in_ or raw.not_in
        if vessel is not None:
            parts.knows(part, "vessels", vessel, vessels, asked[0].rstrip("_"))
        if raw.brood in left_out:
            found = left_out[raw.brood]
            parts.add(part, "its brood is left out, and so is this pin", "brood", found=found, warn=True)
            continue
        if not may_be_planned(parts, raw.brood):
            parts.knows(part, "broods", raw.brood, broods, "brood")
        if raw.from_ is not None and raw.until is not None and raw.until <= raw.from_:
            parts.add(part, "until must be after from", "until", found=f"{raw.from_} to {raw.until}")
        if raw.move_on is not None and (raw.from_ or raw.until):
            parts.add(part, "move_on is one day and takes no from or until", "move_on")
        wishes.append(Wish(_pin(raw), part, parts.source.line(part.loc)))
    return wishes


def may_be_planned(parts: Parts, brood: str) -> bool:
    """Tell whether a brood could be one of a breeding group that could not be read."""
    return bool(_DATED.search(brood) and parts.faulty.get("breeding_groups"))


def _pin(raw: RawPin) -> Pin:
    if raw.move_on is not None:
        span = Span(start=raw.move_on, end=raw.move_on + DAY)
        return Pin(kind=PinKind.MOVE_ON, brood=raw.brood, span=span)
    kind = PinKind.IN if raw.in_ is not None else PinKind.NOT_IN
    return Pin(
        kind=kind, brood=raw.brood, vessel=raw.in_ or raw.not_in, span=Span(start=raw.from_, end=raw.until)
    )


def kept_pins(wishes: list[Wish], room: Room, parts: Parts) -> tuple[Pin, ...]:
    """Return the pins that can all hold; each that is dropped is warned of, with both sides named."""
    kept: list[Wish] = []
    for asked in wishes:
        wish = _from_when_it_can_hold(asked, room, parts)
        against = _against_room(wish.pin, room) or next(
            (
                f"{place_words(other.line)} wants {_whose(other, wish)}{other.words}"
                for other in kept
                if _clash(wish.pin, other.pin, room)
            ),
            None,
        )
        if against is None:
            kept.append(wish)
        else:
            hint = "this pin is left out; the rest is planned"
            parts.add(wish.part, f"{wish.words} cannot be kept", found=against, hint=hint, warn=True)
    return tuple(wish.pin for wish in kept)


def _from_when_it_can_hold(wish: Wish, room: Room, parts: Parts) -> Wish:
    """Return a pin that begins on the first move day, if today the fish are where it does not want them."""
    pin, brood = wish.pin, room.brood_named[wish.pin.brood]
    if pin.kind is PinKind.MOVE_ON or brood.planned or not pin.span.holds(room.today):
        return wish
    homes = {home.vessel for home in brood.homes}
    wanted = homes == {pin.vessel} if pin.kind is PinKind.IN else pin.vessel not in homes
    first = room.next_move_day(room.today)
    if wanted or first == room.today or (pin.span.end is not None and pin.span.end <= first):
        return wish
    found = "today it is in " + ", ".join(map(repr, sorted(homes)))
    hint = f"the pin is kept from {first}, the first move day"
    parts.add(wish.part, f"{wish.words} cannot hold today", found=found, hint=hint, warn=True)
    later = pin.model_copy(update={"span": Span(start=first, end=pin.span.end)})
    return Wish(later, wish.part, wish.line)


def _whose(other: Wish, wish: Wish) -> str:
    return "it " if other.pin.brood == wish.pin.brood else f"{other.pin.brood!r} "


def _against_room(pin: Pin, room: Room) -> str | None:
    """Return what in the room the pin contradicts, or None."""
    brood, today = room.brood_named[pin.brood], room.today
    if pin.span.end is not None and pin.span.end <= today:
        return f"it is over, today is {today}"
    if pin.span.end is not None and pin.span.end <= brood.collected:
        return f"the brood is collected on {brood.collected}"
    if pin.kind is PinKind.MOVE_ON:
        return _against_keeper(pin.span.start, room)
    vessel = room.vessel_named[pin.vessel or ""]
    homes = {home.vessel for home in brood.homes}
    unmoved = homes == {vessel.name} if pin.kind is PinKind.IN else vessel.name not in homes
    if not brood.planned and pin.span.end is not None and not unmoved:
        first = room.next_move_day(today)
        if pin.span.holds(today) and pin.span.end <= first:
            where = ", ".join(map(repr, sorted(homes)))
            return f"today it is in {where}, and fish are not moved before {first}"
    if pin.kind is PinKind.NOT_IN:
        return None
    return _against_vessel(pin, vessel, brood, room)


def _against_keeper(day: date | None, room: Room) -> str | None:
    if day is None or room.keeper.moves_fish_on(day):
        return None
    away = any(span.holds(day) for span in room.keeper.away)
    return "the keeper is away" if away else f"no fish are moved on a {day:%A}".lower()


def _against_vessel(pin: Pin, vessel: Vessel, brood: Brood, room: Room) -> str | None:
    start = max(pin.span.start or room.today, brood.collected, room.today)
    there = vessel.available
    if there.start is not None and start < there.start:
        return f"the vessel is there from {there.start}"
    if there.end is not None and (
        start >= there.end or (pin.span.end is not None and pin.span.end > there.end)
    ):
        return f"the vessel is there until {there.end}"
    for group in room.groups:
        if group.vessel == vessel.name and group.lives_there.meets(Span(start=start, end=pin.span.end)):
            return f"breeding group {group.name!r} lives there"
    return None


def _clash(pin: Pin, other: Pin, room: Room) -> bool:
    if PinKind.MOVE_ON in (pin.kind, other.kind) or not pin.span.meets(other.span):
        return False
    kinds = {pin.kind, other.kind}
    if pin.brood == other.brood:
        if kinds == {PinKind.IN}:
            return pin.vessel != other.vessel
        return kinds == {PinKind.IN, PinKind.NOT_IN} and pin.vessel == other.vessel
    if kinds != {PinKind.IN} or pin.vessel != other.vessel:
        return False
    return not may_share(room, room.brood_named[pin.brood], room.brood_named[other.brood])


def may_share(room: Room, one: Brood, other: Brood) -> bool:
    """Tell whether the lines of two broods may live in one vessel."""
    lines = room.line_named
    return (
        one.line == other.line
        or other.line in lines[one.line].may_share
        or one.line in lines[other.line].may_share
    )
