"""Published problem instances: their files, and a solution checked against the file's own numbers.

Two formats are known. *Fixed intervals*: tasks with fixed times and workers who are qualified for some of them;
a worker does one task at a time; fewest workers. *Shared tanks*: items with fixed times and a size; those who
are in one bin at a time fit its capacity; fewest bins. All times are half-open.

Nothing here knows of the allocator: what it comes to is checked by other code than has found it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

NEVER_DATA = {".csv", ".md", ".rst", ".json", ".py", ".pdf", ".html", ".yaml", ".yml", ".zip", ".gz"}
NO_INSTANCE = {"readme", "license", "licence", "copying", "changelog"}


class InstanceError(Exception):
    """A file is in neither format, or its numbers make no sense."""


@dataclass(frozen=True)
class Instance:
    """One published problem.

    Attributes
    ----------
    spans
        First moment and moment after the last, of each item or task.
    sizes
        What each takes of a tank.
    capacity
        What a tank holds; 1, and every size 1, where nothing may share.
    suits
        For each tank that there could be, which items suit it; None where there are as many as wanted, and alike.
    """

    spans: tuple[tuple[int, int], ...]
    sizes: tuple[int, ...]
    capacity: int
    suits: tuple[frozenset[int], ...] | None = None

    @property
    def alone(self) -> bool:
        """Whether nothing may share a tank."""
        return self.suits is not None


def to_skip(file: Path) -> bool:
    """Tell whether a file's name says that it is no instance."""
    return (
        file.name.startswith(".")
        or file.suffix.lower() in NEVER_DATA
        or file.stem.lower().split(".")[0] in NO_INSTANCE
    )


def read_instance(file: Path) -> Instance:
    """Return the problem in a file of either format, told apart by what is in it.

    Raises
    ------
    InstanceError
        If it is neither, or broken; the message says where.
    """
    try:
        text = file.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InstanceError(f"cannot be read: {error}") from error
    rows = [(n, line.strip()) for n, line in enumerate(text.splitlines(), 1)]
    rows = [(n, line) for n, line in rows if line and not line.startswith("#")]
    if not rows:
        raise InstanceError("there is nothing in it")
    named = any(line.lower().startswith(("type", "jobs")) for _, line in rows[:3])
    return _fixed(rows) if named else _shared(rows)


def _fixed(rows: list[tuple[int, str]]) -> Instance:
    told = {"type": 1, "jobs": -1, "qualifications": -1}
    spans: list[tuple[int, int]] = []
    suits: list[frozenset[int]] = []
    for number, line in rows:
        key, equals, value = line.partition("=")
        word = key.strip().lower()
        if equals and word not in told:
            raise InstanceError(f"line {number}: unknown word {key.strip()!r}")
        if equals:
            (told[word],) = _whole(number, value, 1)
        elif ":" in line:
            suits.append(frozenset(_whole(number, line.partition(":")[2], None)))
        else:
            start, end = _whole(number, line, 2)
            spans.append((start, end))
    if told["type"] != 1:
        raise InstanceError(f"Type = {told['type']} is not known, only Type = 1")
    for word, there in (("jobs", len(spans)), ("qualifications", len(suits))):
        if told[word] != there:
            raise InstanceError(f"{told[word]} {word} are announced, {there} are there")
    named = frozenset().union(*suits)
    wrong, unfit = sorted(named - set(range(len(spans)))), sorted(set(range(len(spans))) - named)
    if wrong:
        raise InstanceError(f"qualifications name jobs that are not there: {wrong[:5]}")
    if unfit:
        raise InstanceError(f"nobody is qualified for jobs {unfit[:5]}")
    return _sound(Instance(tuple(spans), (1,) * len(spans), 1, tuple(suits)))


def _shared(rows: list[tuple[int, str]]) -> Instance:
    number, line = rows[0]
    head = _whole(number, line, None)
    if len(head) < 2:
        raise InstanceError(f"line {number}: neither of the known formats")
    count, capacity = head[:2]
    if count != len(rows) - 1:
        raise InstanceError(f"{count} items are announced, {len(rows) - 1} are there")
    spans, sizes = [], []
    for place, text in rows[1:]:
        _, start, end, size = _whole(place, text, 4)
        spans.append((start, end))
        sizes.append(size)
        if not 0 <= size <= capacity:
            raise InstanceError(f"line {place}: size {size} does not fit a capacity of {capacity}")
    if capacity < 1:
        raise InstanceError(f"line {number}: a capacity of {capacity}")
    return _sound(Instance(tuple(spans), tuple(sizes), capacity))


def _whole(number: int, text: str, count: int | None) -> list[int]:
    try:
        values = [int(word) for word in text.split()]
    except ValueError as error:
        raise InstanceError(f"line {number}: not whole numbers: {text[:40]!r}") from error
    if count is not None and len(values) != count:
        raise InstanceError(f"line {number}: {len(values)} numbers where {count} are wanted: {text[:40]!r}")
    return values


def _sound(instance: Instance) -> Instance:
    for item, (start, end) in enumerate(instance.spans):
        if end < start:
            raise InstanceError(f"item {item} ends at {end}, before it starts at {start}")
    return instance


def faults(instance: Instance, tanks: Sequence[Iterable[int]], places: Sequence[int | None]) -> list[str]:
    """Return what is wrong with a solution, from the file's own numbers and nothing else.

    Parameters
    ----------
    instance
        As read.
    tanks
        Who is in each tank that is used.
    places
        Which of the tanks that there could be each of them is; None where they are alike and as many as wanted.
    """
    found = []
    inside = [sorted(tank) for tank in tanks]
    housed = sorted(item for tank in inside for item in tank)
    if housed != list(range(len(instance.spans))):
        found.append("not everybody is in just one tank")
    if instance.suits is not None:
        if None in places or len(set(places)) != len(places):
            found.append("a tank is used twice")
        for items, place in zip(inside, places, strict=True):
            if place is None or not 0 <= place < len(instance.suits):
                found.append("there is no such tank")
            elif not instance.suits[place].issuperset(items):
                found.append(f"tank {place} does not suit all of {items}")
    for items in inside:
        for moment in {instance.spans[item][0] for item in items}:
            there = [i for i in items if instance.spans[i][0] <= moment < instance.spans[i][1]]
            if sum(instance.sizes[i] for i in there) > instance.capacity:
                found.append(f"at {moment} there is not room for {there}")
    return found
