"""What differs from the plan, as it is told on the command line: `NAME=VALUE`."""

# ruff: noqa: PLC0415 - `--help` needs none of it

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING, TypeVar

from allocator.console import UserError

if TYPE_CHECKING:
    from allocator.onward.told import Counted, Told

Value = TypeVar("Value")

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

    telling = _Telling(names)
    told = Told(
        not_done=telling.names(NOT_DONE, not_done),
        gone=telling.names(GONE, gone),
        counts=telling.values(COUNT, counts, "19", _count),
        eggs=telling.values(EGGS, eggs, "29", partial(_number, EGGS)),
        homes=telling.values(HOME, homes, "ten 3", lambda _, vessel: vessel),
    )
    if telling.wrong:
        raise UserError.all_of(telling.wrong)
    return told


class _Telling:
    """Reads what is told, and notes all that is wrong with it."""

    def __init__(self, known: Sequence[str]) -> None:
        self._known = known
        self.wrong: list[UserError] = []

    def names(self, option: str, texts: Iterable[str]) -> tuple[str, ...]:
        """Return the broods that are named."""
        found: list[str] = []
        for text in texts:
            with self._noting():
                found.append(self._name(option, text))
        return tuple(found)

    def values(
        self, option: str, texts: Iterable[str], example: str, read: Callable[[str, str], Value]
    ) -> dict[str, Value]:
        """Return a value for each brood; a name may have an equals sign of its own."""
        found: dict[str, Value] = {}
        seen: set[str] = set()
        for text in texts:
            with self._noting():
                name, value = self._pair(option, text, example)
                if name in seen:
                    raise UserError(f"{option}: {name} is told twice", "tell it once")
                seen.add(name)
                found[name] = read(name, value)
        return found

    @contextmanager
    def _noting(self) -> Iterator[None]:
        try:
            yield
        except UserError as error:
            self.wrong.append(error)

    def _name(self, option: str, text: str) -> str:
        from allocator.problems import nearest

        name = text.strip()
        if name not in self._known:
            hint = nearest(name, list(self._known))
            raise UserError(f"{option} {text!r}: there is no brood of this name", hint)
        return name

    def _pair(self, option: str, text: str, example: str) -> tuple[str, str]:
        cuts = [place for place, char in enumerate(text) if char == "="]
        if not cuts:
            brood = self._known[0] if self._known else "L1"
            hint = f'write the brood, =, and the value: {option} "{brood}={example}"'
            raise UserError(f"{option} {text!r}: there is no =", hint)
        cut = next((place for place in reversed(cuts) if text[:place].strip() in self._known), cuts[0])
        return self._name(option, text[:cut]), text[cut + 1 :].strip()


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
        return Counted(fish=fish, mm=round(read_length_mm(match["length"], of_fish=True), 1))
    except NotReadError as error:
        raise UserError(f"{COUNT} {name!r}: {error.what}", error.hint) from None
