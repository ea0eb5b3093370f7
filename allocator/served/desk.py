"""The room on the desk: its file as it is now, the plan in hand, the search under way, and what is odd about them."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from allocator.plan import Plan
from allocator.problems import InputError
from allocator.reading import RoomReading, read_room
from allocator.replies.compare import Comparison
from allocator.reports.compare import compare_text
from allocator.reports.words import day_words
from allocator.result import Result
from allocator.served.asking import NotUnderstoodError, other_room
from allocator.served.jobs import Jobs
from allocator.served.store import InHand, PlanNotKeptError, Store
from allocator.served.worker import Task

PLANNING = "Planning the room"


@dataclass(frozen=True)
class View:
    """What there is to show. `problems` are those of the room file, `notices` what stands above the plan.

    `old` tells that the plan is not of the room file as it is now, or of another day.
    """

    reading: RoomReading | None
    in_hand: InHand | None
    problems: tuple[str, ...] = ()
    notices: tuple[str, ...] = ()
    old: bool = False


class Desk:
    """One room and all that is done with it; several threads may use it.

    Parameters
    ----------
    room_file
        The keeper's; it is only read.
    today
        Counts before the day in the file.
    seconds
        For each search; None for as long as it takes.
    """

    def __init__(
        self,
        room_file: Path,
        store: Store,
        jobs: Jobs,
        *,
        today: date | None = None,
        seconds: float | None = None,
    ) -> None:
        self.room_file, self.store, self.jobs = room_file, store, jobs
        self._today, self._seconds = today, seconds

    def read(self) -> RoomReading:
        """Return the room file as it is now.

        Raises
        ------
        InputError
            With all problems at once.
        """
        return read_room(self.room_file, today=self._today)

    def look(self) -> View:
        """Return what there is to show now: whatever is wrong is told, and the plan in hand is shown all the same."""
        reading, problems = None, []
        try:
            reading = self.read()
        except InputError as error:
            problems = [str(problem) for problem in error.problems]
        notices = []
        try:
            in_hand = self.store.in_hand(reading)
        except InputError as error:
            in_hand = None
            notices += [str(problem) for problem in error.problems]
        except PlanNotKeptError as error:
            in_hand = None
            notices += _not_kept(self.store.plan_file, error, reading)
        old = False
        if in_hand is not None and reading is not None:
            changed = _changed(in_hand, reading)
            old = bool(changed)
            notices += changed
        return View(reading, in_hand, tuple(problems), tuple(notices), old=old)

    def plan(self, *, fresh: bool = False) -> bool:
        """Begin to plan the room as its file is now, from the plan in hand on unless it shall be `fresh`.

        Returns
        -------
        bool
            Whether it was begun; not while something else is under way.

        Raises
        ------
        InputError
            If the room file cannot be read.
        """
        reading = self.read()
        before = None if fresh else self._plan_before(reading)

        def done(answer: object) -> str:
            assert isinstance(answer, Result)  # noqa: S101 - what the task was for
            self.store.keep(answer, reading)
            return "/"

        task = Task(reading.room, against=before, seconds=self._seconds)
        return self.jobs.start(task, PLANNING, done)

    def _plan_before(self, reading: RoomReading) -> Plan | None:
        """Return the plan to go on from, also one that does for the room no longer."""
        try:
            in_hand = self.store.in_hand(reading)
        except PlanNotKeptError as error:
            return error.plan
        except InputError:
            return None
        return in_hand.plan if in_hand is not None else None

    def compare(self, asked: Mapping[str, str]) -> bool:
        """Begin to work out what would be different; see `plan`.

        Raises
        ------
        InputError
            If the room file cannot be read.
        NotUnderstoodError
            If what is asked cannot be meant.
        """
        reading = self.read()
        other, words = other_room(reading.room, asked)

        def done(answer: object) -> str:
            assert isinstance(answer, Comparison)  # noqa: S101 - what the task was for
            kept = self.store.keep_answer(words, reading.room.today, reading.digest, compare_text(answer))
            return f"/answers/{kept.number}"

        task = Task(reading.room, other=other, seconds=self._seconds)
        return self.jobs.start(task, f"What if: {words[:1].lower()}{words[1:]}", done)

    def begin(self) -> None:
        """Plan a room that has no plan yet, so that nobody has to ask for the first one."""
        view = self.look()
        if view.in_hand is None and not view.problems and not view.notices:
            self.plan()


def _not_kept(file: Path, error: PlanNotKeptError, reading: RoomReading | None) -> list[str]:
    """Return why a plan file of the keeper's is not shown."""
    first = min((stay.from_ for stay in error.plan.stays), default=None)
    if reading is not None and first is not None and first < reading.room.today:
        made, today = day_words(first), day_words(reading.room.today)
        return [f"{file} was made for {made}, and today is {today}: it is not shown."]
    return [f"{file} does not keep the rules of this room as it is now: it is not shown.", *error.lines]


def _changed(in_hand: InHand, reading: RoomReading) -> list[str]:
    """Return what has become different since the plan was made."""
    told = []
    if in_hand.digest and in_hand.digest != reading.digest:
        told.append("The room file or its rules have changed since this plan was made.")
    if in_hand.room.today != reading.room.today:
        told.append(
            f"This plan was made for {day_words(in_hand.room.today)}; today is {day_words(reading.room.today)}."
        )
    return told


__all__ = ["PLANNING", "Desk", "NotUnderstoodError", "View"]
