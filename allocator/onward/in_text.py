"""The same changes in the text of a room file: whatever is not changed keeps its place, its comments and its form."""

from collections.abc import Iterable

from allocator.onward.edits import Add, Drop, Edit, Put, Unremark
from allocator.onward.spans import Node, node_at, tree_of
from allocator.reading.source import Plain
from allocator.workbook.room_text import inline, item_lines


def text_with(text: str, edits: Iterable[Edit]) -> str:
    """
    Return the text of a room file with all edits made, in their order.

    Parameters
    ----------
    text
        A room file that could be read.
    edits
        Places that name keys which are not there, other than the last step, are a fault of the caller.
    """
    for edit in edits:
        text = _with(text, edit)
    return text


def _with(text: str, edit: Edit) -> str:
    top = tree_of(text)
    parent = node_at(top, edit.loc[:-1])
    assert parent is not None  # noqa: S101 - what is edited was found there
    here = parent.child(edit.loc[-1])
    if isinstance(edit, Unremark):
        assert here is not None  # noqa: S101 - the same
        return _without_remark(text, here, edit.remark)
    if isinstance(edit, Drop):
        place = edit.loc[-1] if isinstance(edit.loc[-1], int) else list(parent.keys).index(edit.loc[-1])
        return _without(text, parent, place, edit.remark)
    if isinstance(edit, Add) and here is not None and here.kind == "list" and here.items:
        return _appended(text, here, edit)
    key = edit.loc[-1]
    assert isinstance(key, str)  # noqa: S101 - items of lists are not written over
    if here is None:
        return _new_key(text, parent, key, edit)
    if isinstance(edit, Add) and not parent.flow:
        lines = _lines_of(edit, " " * (parent.column + 2))
        colon = text.index(":", parent.keys[key][1]) + 1
        text = text[:colon] + text[max(here.end, colon) :]
        return _line_after(text, colon, lines)
    value = [edit.value] if isinstance(edit, Add) else edit.value
    return _written_over(text, parent.keys[key][1], here, value)


def _written_over(text: str, key_end: int, node: Node, value: Plain) -> str:
    begin = node.start
    if not node.flow and (node.kind != "scalar" or node.start == node.end):
        begin = text.index(":", key_end) + 1  # a block, or nothing, begins elsewhere than beside its key
        return f"{text[:begin]} {inline(value)}{text[max(node.end, begin) :]}"
    return f"{text[:begin]}{inline(value)}{text[node.end :]}"


def _new_key(text: str, parent: Node, key: str, edit: Put | Add) -> str:
    value = [edit.value] if isinstance(edit, Add) else edit.value
    wanted = [name for name in (edit.after if isinstance(edit, Put) else ()) if name in parent.keys]
    place = list(parent.keys).index(wanted[0]) if wanted else len(parent.keys) - 1
    end = parent.items[place].end
    if parent.flow:
        return f"{text[:end]}, {inline(key)}: {inline(value)}{text[end:]}"
    indent = " " * parent.column
    if isinstance(edit, Add):
        return _line_after(text, end, ["", f"{indent}{key}:", *_lines_of(edit, f"{indent}  ")])
    return _line_after(text, end, [f"{indent}{key}: {inline(value)}"])


def _appended(text: str, node: Node, edit: Add) -> str:
    end = node.items[-1].end
    if node.flow:
        return f"{text[:end]}, {inline(edit.value)}{text[end:]}"
    last = len(node.items) - 1
    indent = text[_line_start(text, _dash(text, node, last)) : _dash(text, node, last)]
    if indent.strip():  # the list stands in a line with something else
        indent = " " * len(indent)
    return _line_after(text, end, _lines_of(edit, indent, in_a_line=node.items[-1].flow))


def _lines_of(edit: Add, indent: str, *, in_a_line: bool = False) -> list[str]:
    """Return a new item as lines: a single one where the item before it is written so, however long."""
    first, *more = [f"{indent}- {inline(edit.value)}"] if in_a_line else item_lines(edit.value, indent)
    return [first if edit.remark is None else f"{first} # {edit.remark}", *more]


def _without(text: str, parent: Node, place: int, remark: str | None) -> str:
    node = parent.items[place]
    begin = parent.begin_of(place)
    end = node.end
    last = place == len(parent.items) - 1
    if parent.flow:
        if last and place == 0:
            rest = text[end:].lstrip()
            return text[:begin] + (rest[1:] if rest.startswith(",") else text[end:])
        if last:
            return text[: parent.items[place - 1].end] + text[end:]
        return text[:begin] + text[parent.begin_of(place + 1) :]
    if parent.kind == "list":
        begin = _dash(text, parent, place)
    start, stop = _line_start(text, begin), _line_end(text, end)
    if text[start:begin].strip():  # the first key beside the dash of its item
        assert not last  # noqa: S101 - no item is left without keys
        return text[:begin] + text[parent.begin_of(place + 1) :]
    if remark is not None:
        return f"{text[:start]}{text[start:begin]}# {remark}{text[stop:]}"
    return text[:start] + text[stop:].removeprefix("\r").removeprefix("\n")


def _without_remark(text: str, node: Node, remark: str) -> str:
    begin = _line_start(text, node.start)
    end = _line_end(text, node.end)
    item = text[begin:end].replace(f" # {remark}", "", 1)
    return text[:begin] + item + text[end:]


def _dash(text: str, node: Node, place: int) -> int:
    """Return where the hyphen of an item of a list stands: on the first line after the item before that has one."""
    at = node.items[place - 1].end if place else node.start
    if not place:
        return at
    while True:
        at = text.index("\n", at) + 1
        line = text[at:].lstrip(" ")
        if line.startswith("-"):
            return len(text) - len(line)


def _line_start(text: str, at: int) -> int:
    return text.rfind("\n", 0, at) + 1


def _line_end(text: str, at: int) -> int:
    end = text.find("\n", at)
    end = len(text) if end < 0 else end
    return end - 1 if text[end - 1 : end] == "\r" and end > at else end


def _line_after(text: str, at: int, lines: list[str]) -> str:
    """Return the text with whole lines after the one in which a place is."""
    end = _line_end(text, at)
    new_line = "\r\n" if "\r\n" in text else "\n"
    return text[:end] + "".join(new_line + line for line in lines) + text[end:]
