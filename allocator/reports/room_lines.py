"""Lines for the room file: what to write into it so that the plan keeps what an answer tells of."""

import json
import re
from collections.abc import Iterable

from allocator.replies.target import TargetReply
from allocator.reports.tables import paragraph

PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9_-]*(?: [A-Za-z0-9_-]+)*")
"""Names that need no quotes in YAML; the words that it takes for something else are in `WORDS`."""

WORDS = ("yes", "no", "true", "false", "on", "off", "null", "y", "n")
"""What YAML of one version or another reads as true, false or nothing."""

WIDTH = 80
YOUR_NAME = "for whom"


def to_write(reply: TargetReply) -> str:
    """Return the lines that have the plan keep the fish of a day; nothing where there is no way to have them."""
    way = reply.surest
    kept = [row.brood for row in reply.already if row.counts]
    if way is None and reply.there < reply.fish:
        return ""
    new = way.collections if way is not None else ()
    lines = [paragraph("To have the plan keep them, write this into the room file and plan again:")]
    if new:
        lines.append("  broods:")
        for row in new:
            keys = {
                "name": _quoted(row.brood),
                "line": _quoted(reply.line),
                "collected": row.on.isoformat(),
                "by": reply.taken.value,
                "eggs": str(row.eggs),
            }
            if row.parents is not None:
                keys["parents"] = _quoted(row.parents)
            lines.append(_item(f"{key}: {value}" for key, value in keys.items()))
    lines.append("  orders:")
    who = [_quoted(name) for name in (*kept, *(row.brood for row in new))]
    order = [f"name: {YOUR_NAME}", f"fish: {reply.fish}", f"on: {reply.by.isoformat()}"]
    whole = [*order, f"from: [{who[0]}", *who[1:]]
    lines.append(_item([*whole[:-1], whole[-1] + "]"]))
    return "\n".join(lines)


def _quoted(name: str) -> str:
    """Return a name as YAML reads it back."""
    plain = PLAIN.fullmatch(name) is not None and name.lower() not in WORDS
    return name if plain else json.dumps(name, ensure_ascii=False)


def _item(keys: Iterable[str]) -> str:
    """Return keys and values as an item of a list, broken between them where the line would be too long."""
    lines = ["    - {"]
    for number, key in enumerate(parts := list(keys)):
        end = ", " if number < len(parts) - 1 else "}"
        if len(lines[-1] + key + end.rstrip()) > WIDTH:
            lines[-1] = lines[-1].rstrip()
            lines.append("       ")
        lines[-1] += key + end
    return "\n".join(lines)
