"""Where everything in a YAML text stands, to the character."""

from collections.abc import Iterator
from dataclasses import dataclass, field

from ruamel.yaml import YAML
from ruamel.yaml.events import (
    Event,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)

from allocator.reading.source import Loc


@dataclass
class Node:
    """A scalar, list or group of keys: from its first character to the one after its last.

    A comment that follows is no part of it. `flow` tells whether it stands in brackets or braces; `keys` has where
    each key begins and ends.
    """

    start: int
    end: int
    column: int
    kind: str
    flow: bool = False
    items: list["Node"] = field(default_factory=list)
    keys: dict[str, tuple[int, int]] = field(default_factory=dict)

    def child(self, step: str | int) -> "Node | None":
        """Return the value under a key, or an item of a list; None if there is none."""
        if isinstance(step, int):
            return self.items[step] if self.kind == "list" and step < len(self.items) else None
        return self.items[list(self.keys).index(step)] if step in self.keys else None

    def begin_of(self, place: int) -> int:
        """Return where an item, or the key of a value, begins."""
        return list(self.keys.values())[place][0] if self.kind == "map" else self.items[place].start


def tree_of(text: str) -> Node:
    """Return the top of a YAML text that is known to be sound."""
    events: Iterator[Event] = YAML(typ="safe", pure=True).parse(text)
    for event in events:
        if isinstance(event, ScalarEvent | SequenceStartEvent | MappingStartEvent):
            return _node(event, events, text)
    raise AssertionError("a room file holds something")


def node_at(top: Node, loc: Loc) -> Node | None:
    """Return what stands at a place; None if nothing does."""
    node: Node | None = top
    for step in loc:
        node = None if node is None else node.child(step)
    return node


def _node(event: Event, events: Iterator[Event], text: str) -> Node:
    start, column = int(event.start_mark.index), int(event.start_mark.column)
    if isinstance(event, SequenceStartEvent):
        node = Node(start, start, column, "list", flow=bool(event.flow_style))
        for inner in events:
            if isinstance(inner, SequenceEndEvent):
                return _closed(node, inner)
            node.items.append(_node(inner, events, text))
    elif isinstance(event, MappingStartEvent):
        node = Node(start, start, column, "map", flow=bool(event.flow_style))
        for key in events:
            if isinstance(key, MappingEndEvent):
                return _closed(node, key)
            assert isinstance(key, ScalarEvent)  # noqa: S101 - a room file that was read has no other keys
            node.keys[str(key.value)] = int(key.start_mark.index), int(key.end_mark.index)
            node.items.append(_value(_node(next(events), events, text), int(key.end_mark.index), text))
    end = int(event.end_mark.index)
    return Node(start, start + len(text[start:end].rstrip()), column, "scalar")


def _value(node: Node, key_end: int, text: str) -> Node:
    """Return the value of a key; one of which nothing is written stands right behind the colon."""
    if node.kind == "scalar" and node.start >= node.end:
        rest = text[key_end:]
        behind = key_end + len(rest) - len(rest.lstrip())
        node.start = node.end = behind + 1 if text[behind : behind + 1] == ":" else key_end
    return node


def _closed(node: Node, event: Event) -> Node:
    """Return a node with its end: a block ends with what is in it, not where the next thing begins."""
    node.end = int(event.end_mark.index) if node.flow else node.items[-1].end
    return node
