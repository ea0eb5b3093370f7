"""What is kept on disk for a room, so that a reload, another tab and a restart find it again."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from pathlib import Path
from threading import RLock
from typing import Literal

from pydantic import TypeAdapter, ValidationError

from allocator.check import check_plan, room_for
from allocator.frozen import Frozen
from allocator.plan import Plan
from allocator.problems import InputError
from allocator.reading import RoomReading
from allocator.reading.plan_file import read_plan
from allocator.reports.calendar_file import NotOursError, calendar_file
from allocator.result import Result
from allocator.room import Room
from allocator.units import Gallon
from allocator.writing import plan_json, write_atomically

MOST_ANSWERS = 12
"""Older answers to "what if" are dropped (judgement)."""

MOST_TICKS = 2000
"""Years of moves; older ones are dropped (judgement)."""


@dataclass(frozen=True)
class InHand:
    """A checked plan to show, the room it lives in (with added vessels), and where it comes from.

    `result` is there if the plan was made from here; `digest` is the fingerprint of the room file it was made from.
    """

    room: Room
    plan: Plan
    digest: str
    warnings: tuple[str, ...] = ()
    gallon: Gallon | None = None
    result: Result | None = None
    as_it_is: Plan | None = None


class Saved(Frozen):
    """A plan with all that was found out about it, as it lies on disk; `plan_file` is a digest of its plan file."""

    format: Literal[1] = 1
    digest: str
    warnings: tuple[str, ...]
    gallon: Gallon | None
    result: Result
    plan_file: str


class Answer(Frozen):
    """An answer to "what if", the question, and the day and room file for which it was asked."""

    number: int
    asked: str
    today: date
    digest: str
    text: str


ANSWERS, TICKS = TypeAdapter(tuple[Answer, ...]), TypeAdapter(tuple[str, ...])


class PlanNotKeptError(Exception):
    """A plan file does not keep the rules of the room as it is now: the plan, and a line of words for each."""

    def __init__(self, plan: Plan, lines: Iterable[str]) -> None:
        self.plan, self.lines = plan, tuple(lines)
        super().__init__("\n".join(self.lines))


class Store:
    """The plan, the answers and the calendar of one room; several threads may use it.

    Parameters
    ----------
    folder
        Ours; made when something is kept.
    plan_file
        Where the plan file goes if not there.
    """

    def __init__(self, folder: Path, plan_file: Path | None = None) -> None:
        self.plan_file = plan_file or folder / "plan.json"
        self._own_plan_file = plan_file is None
        self._saved, self._answers, self._calendar, self._ticks = (
            folder / name for name in ("result.json", "answers.json", "calendar.ics", "ticks.json")
        )
        self._folder = folder
        self._lock = RLock()
        self._in_hand: InHand | None = None
        self._seen: tuple[tuple[int, int] | None, ...] | None = None

    def in_hand(self, reading: RoomReading | None = None) -> InHand | None:
        """Return the plan, read anew if another process has kept one; None if there is none.

        Without all that was found out about it, a plan file is checked against the room as it is read.

        Raises
        ------
        InputError
            If the keeper's own plan file cannot be read.
        PlanNotKeptError
            If a plan file does not keep the rules.
        """
        with self._lock:
            seen = tuple(_stamp(file) for file in (self._saved, self.plan_file))
            if seen != self._seen or (self._in_hand is None and reading is not None):
                self._in_hand = self._read(reading)
                self._seen = seen
            return self._in_hand

    def _read(self, reading: RoomReading | None) -> InHand | None:
        saved = self._read_saved()
        if not self.plan_file.is_file():
            return _of(saved) if saved is not None and self._own_plan_file else None
        try:
            found = read_plan(self.plan_file)
        except InputError:
            if self._own_plan_file:  # a leftover of ours: it is planned anew
                return None
            raise
        if saved is not None and _digest(self.plan_file.read_bytes()) == saved.plan_file:
            return _of(saved)
        if reading is None:
            return self._in_hand
        room = room_for(reading.room, found.plan)
        broken = [breach.text for breach in check_plan(room, found.plan) if not breach.as_found]
        if broken:
            raise PlanNotKeptError(found.plan, broken)
        told = tuple(map(str, reading.warnings))
        return InHand(
            room, found.plan, found.digest, told, reading.gallon, result=None, as_it_is=found.as_it_is
        )

    def _read_saved(self) -> Saved | None:
        """Return what we wrote; None if there is nothing, or another version wrote it, or a rule is broken."""
        try:
            saved = Saved.model_validate_json(self._saved.read_bytes())
        except (OSError, ValidationError):
            return None
        room, plan = saved.result.room, saved.result.best.plan
        return None if any(not breach.as_found for breach in check_plan(room, plan)) else saved

    def keep(self, result: Result, reading: RoomReading) -> None:
        """Keep a plan that was just made; it can be shown whatever becomes of the writing.

        Raises
        ------
        InputError
            If it cannot be written.
        """
        told = tuple(map(str, reading.warnings))
        plan, before = result.best.plan, result.as_it_is.plan if result.best.plan.added else None
        text = plan_json(plan, reading.digest, as_it_is=before)
        saved = Saved(
            digest=reading.digest,
            warnings=told,
            gallon=reading.gallon,
            result=result,
            plan_file=_digest(text.encode()),
        )
        with self._lock:
            self._in_hand = _of(saved)
            try:
                self._make_folder()
                write_atomically(self.plan_file, text)
                write_atomically(self._saved, saved.model_dump_json(by_alias=True))
            finally:
                self._seen = tuple(_stamp(file) for file in (self._saved, self.plan_file))

    def answers(self) -> tuple[Answer, ...]:
        """Return the answers that are kept, oldest first."""
        with self._lock:
            try:
                return ANSWERS.validate_json(self._answers.read_bytes())
            except (OSError, ValidationError):
                return ()

    def keep_answer(self, asked: str, today: date, digest: str, text: str) -> Answer:
        """Keep an answer and return it with its number.

        Raises
        ------
        InputError
            If it cannot be written.
        """
        with self._lock:
            older = self.answers()
            number = max((answer.number for answer in older), default=0) + 1
            answer = Answer(number=number, asked=asked, today=today, digest=digest, text=text)
            self._make_folder()
            kept = (*older, answer)[-MOST_ANSWERS:]
            write_atomically(self._answers, ANSWERS.dump_json(kept).decode())
            return answer

    def calendar(self, plan: InHand) -> str:
        """Return the calendar of a plan, and keep it: the next one says what is to be changed and cancelled.

        Raises
        ------
        InputError
            If it cannot be written.
        """
        with self._lock:
            try:
                with self._calendar.open(encoding="utf-8", newline="") as file:
                    before = file.read()
                made = calendar_file(plan.room, plan.plan, before)
            except (OSError, ValueError, NotOursError):  # none yet, spoilt, or the room has another name now
                made = calendar_file(plan.room, plan.plan)
            self._make_folder()
            write_atomically(self._calendar, made.text)
            return made.text

    def ticks(self) -> tuple[str, ...]:
        """Return what has been ticked as done, each by its words."""
        with self._lock:
            try:
                return TICKS.validate_json(self._ticks.read_bytes())
            except (OSError, ValidationError):
                return ()

    def tick(self, words: str, *, done: bool) -> None:
        """Keep what is ticked as done, or no longer.

        Raises
        ------
        InputError
            If it cannot be written.
        """
        with self._lock:
            left = tuple(other for other in self.ticks() if other != words)
            self._make_folder()
            kept = (*left, words)[-MOST_TICKS:] if done else left
            write_atomically(self._ticks, TICKS.dump_json(kept).decode())

    def mark(self) -> str:
        """Return by what a page can tell that there is another plan than the one it shows."""
        return "-".join(
            f"{at}.{size}" for at, size in filter(None, map(_stamp, (self._saved, self.plan_file)))
        )

    def _make_folder(self) -> None:
        """Make our folder, for nobody else to look into; where that fails the writing says why."""
        try:
            self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        except OSError:
            return


def _digest(content: bytes) -> str:
    return sha256(content).hexdigest()


def _of(saved: Saved) -> InHand:
    result = saved.result
    return InHand(
        result.room,
        result.best.plan,
        saved.digest,
        saved.warnings,
        saved.gallon,
        result,
        result.as_it_is.plan,
    )


def _stamp(file: Path) -> tuple[int, int] | None:
    """Return by what it can be told that a file is another one."""
    try:
        found = file.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size
