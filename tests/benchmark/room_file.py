"""A room of the benchmark as a room file, so that it can be given to `allocator plan`."""

from collections.abc import Iterator
from itertools import groupby
from json import dumps

from allocator.room import Brood, Pin, PinKind, Room, Vessel
from allocator.rules import FlowSetting

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def as_file(room: Room) -> str:
    """Return the text of a room file. It knows what the rooms of the benchmark have, and no more."""
    return "\n".join(_rows(room)) + "\n"


def _rows(room: Room) -> Iterator[str]:
    keeper = room.keeper
    yield f"fish_room: {dumps(room.name)}"
    yield f"today: {room.today}"
    yield "keeper:"
    yield f"  move_days: [{', '.join(WEEKDAYS[day] for day in keeper.move_days)}]"
    if keeper.most_moves_a_day is not None:
        yield f"  most_moves_a_day: {keeper.most_moves_a_day}"
    if keeper.away:
        yield f"  away: [{', '.join(f'{{from: {span.start}, until: {span.end}}}' for span in keeper.away)}]"
    yield "vessels:"
    for declared, copies in groupby(room.vessels, key=lambda vessel: vessel.declared_as):
        yield _vessel(declared, list(copies))
    yield "lines:"
    for line in room.lines:
        yield f"  - {{name: {dumps(line.name)}, species: {dumps(line.species)}, rules: {line.rules.name}}}"
    yield "broods:"
    yield from map(_brood, room.broods)
    if room.could_add:
        yield "could_add:"
    for offer in room.could_add:
        yield f"  - {{like: {dumps(offer.like)}, price: {offer.price:g}, most: {offer.most}}}"
    if room.pins:
        yield "pins:"
    yield from map(_pin, room.pins)


def _vessel(declared: str, copies: list[Vessel]) -> str:
    one = copies[0]
    flow = f"[{FlowSetting(one.flow_lowest).word}, {FlowSetting(one.flow_highest).word}]"
    parts = [f"name: {dumps(declared)}"]
    if len(copies) > 1:
        parts.append(f"copies: {len(copies)}")
    parts += [
        f"kind: {one.kinds[0].value}",
        f"inside: {one.length_mm / 10:g} x {one.width_mm / 10:g} cm",
        f"water_depth: {one.depth_mm / 10:g} cm",
        f"flow: {flow}",
    ]
    if one.filtered:
        parts.append("filter: sponge filter")
    if one.snail_free:
        parts.append("snail_free: true")
    return f"  - {{{', '.join(parts)}}}"


def _brood(brood: Brood) -> str:
    parts = [f"name: {dumps(brood.name)}", f"line: {dumps(brood.line)}"]
    parts += [f"collected: {brood.collected}", f"eggs: {brood.eggs}"]
    if brood.homes:
        parts.append(f"lives_in: [{', '.join(dumps(home.vessel) for home in brood.homes)}]")
    if brood.counts:
        counts = (f"{{on: {count.on}, fish: {count.fish}, mm: {count.mm:g}}}" for count in brood.counts)
        parts.append(f"counted: [{', '.join(counts)}]")
    return f"  - {{{', '.join(parts)}}}"


def _pin(pin: Pin) -> str:
    parts = [f"brood: {dumps(pin.brood)}"]
    if pin.kind is PinKind.MOVE_ON:
        parts.append(f"move_on: {pin.span.start}")
    else:
        parts.append(f"{'in' if pin.kind is PinKind.IN else 'not_in'}: {dumps(pin.vessel)}")
        parts += [f"from: {pin.span.start}"] if pin.span.start else []
        parts += [f"until: {pin.span.end}"] if pin.span.end else []
    return f"  - {{{', '.join(parts)}}}"
