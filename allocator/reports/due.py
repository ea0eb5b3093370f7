"""What is due for the fish on a day, apart from moves: a line a task, with all broods that need it."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

from allocator.check.story import ready_day
from allocator.check.walk import Walk
from allocator.husbandry.care import READY, Care, CareTask
from allocator.plan import Plan
from allocator.reports.tables import clean, paragraph
from allocator.reports.words import day_words, ranged
from allocator.room import Room

DAY = timedelta(days=1)
EVERY = {1: "daily", 2: "every other day", 7: "weekly"}
Named = tuple[str, CareTask]
"""A brood by name, and what it needs."""


@dataclass(frozen=True)
class Due:
    """The care of a room under a plan, day by day."""

    room: Room
    plan: Plan

    @cached_property
    def care(self) -> Care:
        """The tasks, worked out once."""
        return Care(self.room, self.plan)

    @cached_property
    def waiting(self) -> dict[str, tuple[date, date]]:
        """For each brood whose fish are ready before their planned sale: since when, and when they are sold."""
        walk = Walk(self.room, self.plan)
        sales = {(move.brood, move.from_, move.on) for move in self.plan.moves if move.to is None}
        found: dict[str, tuple[date, date]] = {}
        for walked in walk.walked:
            stay = walked.stay
            if (stay.brood, stay.vessel, stay.until) in sales:
                wait = ready_day(walk, walked), stay.until
                if wait[0] < wait[1]:
                    found[stay.brood] = min(wait, found.get(stay.brood, wait))
        return found

    @cached_property
    def tasks(self) -> list[Named]:
        """Everything that is due, in order of days."""
        ready = {brood: day for brood, (day, _) in self.waiting.items()}
        return [(brood.name, task) for brood, task in self.care.tasks(ready)]

    @cached_property
    def by_day(self) -> dict[date, list[Named]]:
        """What is due for the first time, or once, on each day."""
        found: dict[date, list[Named]] = defaultdict(list)
        for brood, task in self.tasks:
            found[task.on].append((brood, task))
        return found

    def days(self) -> set[date]:
        """Return the days on which something begins or is due once."""
        return set(self.by_day) | {picking.on for picking in self.care.pickings}

    def picking_lines(self, day: date) -> list[str]:
        """Return which groups' eggs are picked on a day, in one line if there are any."""
        picked = [
            clean(picking.who) + (f" ({clean(picking.vessel)})" if picking.vessel else "")
            for picking in self.care.pickings
            if picking.on == day
        ]
        return [f"collect the eggs: {', '.join(picked)}"] if picked else []

    def task_lines(self, day: date) -> list[str]:
        """Return what begins or is due once on a day, each task in one line."""
        return self.lines(self.by_day.get(day, ()), day)

    def going_on(self, day: date) -> str:
        """Return what has begun before a day and goes on: a heading, and a line a task; empty if nothing has."""
        lines = self.going_on_lines(day)
        if not lines:
            return ""
        points = [paragraph(line, indent="  - ", hanging="    ") for line in lines]
        return "\n".join([f"Under way on {day_words(day)}", *points])

    def going_on_lines(self, day: date) -> list[str]:
        """Return what has begun before a day and goes on, each task in one line."""
        running = [(brood, task) for brood, task in self.tasks if task.under_way(day)]
        return self.lines(running, day)

    def lines(self, named: Iterable[Named], day: date) -> list[str]:
        """Return a line for each task: broods that need it equally often and long stand together."""
        tasks: dict[str, dict[str, list[str]]] = {}
        for brood, task in named:
            who = clean(brood)
            turns = self.care.vessels_in_turn(brood, day, max(task.days()) + DAY)
            if turns:
                who += f" ({', then '.join(map(ranged, turns))})"
            tasks.setdefault(task.task, {}).setdefault(self._how_long(brood, task), []).append(who)
        return [
            f"{task}: " + "; ".join(f"{', '.join(who)}{words}" for words, who in parts.items())
            for task, parts in tasks.items()
        ]

    def _how_long(self, brood: str, task: CareTask) -> str:
        if task.until is not None and task.every_days is not None:
            often = EVERY.get(task.every_days, f"every {task.every_days} days")
            return f", {often} to {day_words(max(task.days()))}"
        if task.name == READY and brood in self.waiting:
            return f", to be sold on {day_words(self.waiting[brood][1])}"
        return ""
