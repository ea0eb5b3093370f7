"""What differs from the plan, as it is told on the command line: `NAME=VALUE`."""

# ruff: noqa: PLC0415 - `--help` needs none of it

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from allocator.console import UserError

if TYPE_CHECKING:
    from allocator.onward.told import Counted, Told

NOT_DONE, GONE, COUNT, EGGS, HOME = "--not-done", "--gone", "--count", "--eggs", "--home"
_COUNT = re.compile(r"(?P<fish>\d+)(?:\s+(?:fish|eggs))?(?:\s*[,; ]\s*(?P<length>\d.*))?", re.ASCII)
MOST_FISH = 100_000


def told_of(
    names: Sequence[str],
    not_done: Iterable[str],
    gone: Iterable[str],
    counts: Iterable[str],
    eggs: Iterable[str],
    homes: Iterable[str],
) -> "Told":
    """Return what is told of the broods of a room."""
    from allocator.onward.told import Told

    return Told(
        not_done=tuple(_known(names, NOT_DONE, text) for text in not_done),
        gone=tuple(_known(names, GONE, text) for text in gone),
        counts={name: _count(name, value) for name, value in _pairs(names, COUNT, counts, "19")},
        eggs={name: _number(EGGS, name, value) for name, value in _pairs(names, EGGS, eggs, "29")},
        homes=dict(_pairs(names, HOME, homes, "ten 3")),
    )


def _known(names: Sequence[str], option: str, text: str) -> str:
    from allocator.problems import nearest

    name = text.strip()
    if name not in names:
        raise UserError(f"{option} {text!r}: there is no brood of this name", nearest(name, list(names)))
    return name


def _pairs(
    names: Sequence[str], option: str, texts: Iterable[str], example: str
) -> Iterator[tuple[str, str]]:
    """Yield names and values: a name may have an equals sign of its own."""
    seen: set[str] = set()
    for text in texts:
        cuts = [place for place, char in enumerate(text) if char == "="]
        if not cuts:
            hint = f'write the brood, =, and the value: {option} "{names[0] if names else "L1"}={example}"'
            raise UserError(f"{option} {text!r}: there is no =", hint)
        cut = next((place for place in reversed(cuts) if text[:place].strip() in names), cuts[0])
        name = _known(names, option, text[:cut])
        if name in seen:
            raise UserError(f"{option}: {name} is told twice", "tell it once")
        seen.add(name)
        yield name, text[cut + 1 :].strip()


def _number(option: str, name: str, text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= MOST_FISH):
        hint = f"give a whole number from 1 to {MOST_FISH}; if nothing is left: {GONE} {name!r}"
        raise UserError(f"{option} {name!r}: {text or 'nothing'} is no number of eggs or fish", hint)
    return int(text)


def _count(name: str, text: str) -> "Counted":
    from allocator.onward.told import Counted
    from allocator.units import NotReadError, read_length_mm

    match = _COUNT.fullmatch(text)
    if match is None:
        hint = f'write {COUNT} "{name}=19", or with the length: "{name}=19, 31 mm"'
        raise UserError(f"{COUNT} {name!r}: {text or 'nothing'} is not understood", hint)
    fish = _number(COUNT, name, match["fish"])
    if match["length"] is None:
        return Counted(fish=fish)
    try:
        return Counted(fish=fish, mm=round(read_length_mm(match["length"]), 1))
    except NotReadError as error:
        raise UserError(f"{COUNT} {name!r}: {error.what}", error.hint) from None
