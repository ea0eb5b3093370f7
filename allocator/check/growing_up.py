"""Whether each lot goes through the stages of life in order, in the right vessels, at the right size."""

from collections.abc import Iterator
from datetime import date

from allocator.check.breach import Breach
from allocator.check.walk import DAY, Boundary, Walk, Walked
from allocator.codes import Rule
from allocator.husbandry.life import Life
from allocator.husbandry.stages import (
    earliest_entry,
    fits_stage,
    is_alone,
    latest_entry,
    may_follow,
    stage_today,
)

Reached = dict[int, date]
"""The stages that a lot may be in by the end of a stay, each with the day from which on."""


class GrowingUp:
    """Each stay with the stages that its lot may be in, and what is wrong on the way.

    Stages follow from the moves. A lot that stays in place is in the next stage as soon as it may be, if the
    vessel is of a kind for that stage; where a vessel is of several kinds, every reading is kept.
    """

    def __init__(self, walk: Walk) -> None:
        self.walk = walk
        self.breaches: list[Breach] = []
        self.alone_until: dict[Walked, date] = {}
        self._windows: dict[tuple[str, int], tuple[date, date]] = {}
        self._reached: dict[Walked, Reached] = {}
        for walked in sorted(walk.walked, key=lambda w: (w.stay.from_, bool(w.parents))):
            self._enter(walked)
        for brood, boundaries in walk.boundaries.items():
            if brood not in walk.in_two_places:
                for boundary in boundaries:
                    self._leave(boundary)

    def window(self, life: Life, number: int) -> tuple[date, date]:
        """Return the first and last day for a brood to enter a stage, the last put off to a move day."""
        key = (life.brood.name, number)
        if key not in self._windows:
            stage, room = life.rules.stages[number], self.walk.room
            last = latest_entry(life, stage)
            if not life.brood.planned and last <= room.today:
                last = room.today + DAY
            self._windows[key] = earliest_entry(life, stage), room.next_move_day(last)
        return self._windows[key]

    def _enter(self, walked: Walked) -> None:
        """Find the stages that a lot may be in when it enters a vessel, and those it reaches there."""
        life, stay, vessel = walked.life, walked.stay, walked.vessel
        if walked in self.walk.starts.get(stay.brood, ()):
            number = self._found_in(walked)
            if vessel is not None and not fits_stage(life, number, vessel):
                self._wrong_kind(walked, {number})
            entered = {number}
        else:
            before = {s for parent in walked.parents for s in self._reached.get(parent, ())}
            entered = self._moved(walked, before or set(range(len(life.rules.stages))))
        reached: Reached = dict.fromkeys(entered, stay.from_)
        for number in range(1, len(life.rules.stages)):
            if number not in reached and vessel is not None and fits_stage(life, number, vessel):
                first, last = self.window(life, number)
                days = [max(day, first) for s, day in reached.items() if may_follow(life.rules, s, number)]
                days = [day for day in days if day <= last and day < stay.until]
                if days:
                    reached[number] = min(days)
        self._reached[walked] = reached
        crowd = [day for number, day in reached.items() if not is_alone(life, number)]
        if any(is_alone(life, number) for number in entered):
            self.alone_until[walked] = min(crowd, default=stay.until)

    def _found_in(self, walked: Walked) -> int:
        """Return the stage in which a lot is found: that of the part least far on, if its vessel does for that."""
        life, stay, vessel = walked.life, walked.stay, walked.vessel
        if vessel is None or life.brood.planned:
            return 0
        parts = [(part.vessel, part.stay.from_) for part in self.walk.starts[stay.brood]]
        least = min(stage_today(life, home, day) for home, day in parts if home is not None)
        return least if fits_stage(life, least, vessel) else stage_today(life, vessel, stay.from_)

    def _moved(self, walked: Walked, before: set[int]) -> set[int]:
        """Return the stages that a lot may be in after a move, given those it may have been in before."""
        life, stay, vessel = walked.life, walked.stay, walked.vessel
        numbers = range(len(life.rules.stages))
        if vessel is None:
            return set(numbers[min(before) :])  # told by `vessel`; nothing is known of its kind
        same = {s for s in before if fits_stage(life, s, vessel)}
        onward = {
            n
            for n in numbers
            if n not in before
            and fits_stage(life, n, vessel)
            and any(may_follow(life.rules, s, n) for s in before)
        }
        in_time = {n for n in onward if self.window(life, n)[0] <= stay.from_ <= self.window(life, n)[1]}
        if same or in_time:
            return same | in_time
        if onward:
            self._out_of_window(walked, min(onward))
            return onward
        self._wrong_kind(walked, before)
        return {n for n in numbers if fits_stage(life, n, vessel)} or before

    def _out_of_window(self, walked: Walked, number: int) -> None:
        life, stay = walked.life, walked.stay
        first, last = self.window(life, number)
        mm = self.walk.mm(stay.brood, stay.from_)
        name = life.rules.stages[number].name
        limit = f"not before {first}" if stay.from_ < first else f"by {last} at the latest"
        text = (
            f"{stay.lot} moves to {stay.vessel} on {stay.from_} at {mm:.1f} mm; "
            f"it may enter the {name} stage {limit}"
        )
        self._add(Rule.WINDOW, walked, stay.from_, text)

    def _wrong_kind(self, walked: Walked, stages: set[int]) -> None:
        vessel = walked.vessel
        assert vessel is not None  # noqa: S101 - an unknown vessel has no kind
        kinds = " and ".join(kind.value for kind in vessel.kinds)
        names = " or ".join(walked.rules.stages[n].name for n in sorted(stages))
        text = (
            f"{walked.stay.lot} goes to {vessel.name} ({kinds}) on {walked.stay.from_}, "
            f"which is not for its {names} stage or the next"
        )
        self._add(Rule.STAGE, walked, walked.stay.from_, text)

    def _leave(self, boundary: Boundary) -> None:
        """Check that a lot was in every stage before its sale, and not overdue when it lost its home."""
        day = boundary.day
        sold_from = {move.from_ for move in boundary.sales}
        on_vessels = {move.from_ for move in boundary.moves if move.to is not None}
        on_vessels |= {walked.stay.vessel for walked in boundary.beginning}
        for walked in boundary.ending:
            life, stay = walked.life, walked.stay
            missing = self._missing(walked)
            if missing is None:
                continue
            first, last = self.window(life, missing)
            name = life.rules.stages[missing].name
            if stay.vessel in sold_from:
                if not life.brood.planned and day <= last and day <= self.walk.first_free:
                    continue  # it was found ready, or late, and there is no sooner day
                text = f"{stay.lot} is sold from {stay.vessel} on {day}, but was never in the {name} stage"
                self._add(Rule.STAGE, walked, day, text)
            elif boundary.homeless and stay.vessel not in on_vessels and last < day:
                text = (
                    f"{stay.lot} is still in {stay.vessel} on {day}; "
                    f"it should have entered the {name} stage by {last}"
                )
                self._add(Rule.WINDOW, walked, max(last, first), text)

    def _missing(self, walked: Walked) -> int | None:
        """Return the next stage that a lot has not reached and may not skip; None if there is none."""
        stages = walked.rules.stages
        here = max(self._reached[walked])
        return next((n for n in range(here + 1, len(stages)) if not stages[n].may_skip), None)

    def _add(self, rule: Rule, walked: Walked, day: date, text: str) -> None:
        found = self.walk.found([walked], day)
        stay = walked.stay
        self.breaches.append(
            Breach(rule=rule, day=day, brood=stay.brood, vessel=stay.vessel, text=text, as_found=found)
        )


def check_stage(growing_up: GrowingUp) -> Iterator[Breach]:
    """Each stage of life in the right kind of vessel, none skipped unless the pack says so."""
    yield from (breach for breach in growing_up.breaches if breach.rule is Rule.STAGE)


def check_window(growing_up: GrowingUp) -> Iterator[Breach]:
    """No move before the fish can be handled, none after the latest size."""
    yield from (breach for breach in growing_up.breaches if breach.rule is Rule.WINDOW)
