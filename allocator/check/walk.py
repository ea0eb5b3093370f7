"""A plan laid out for walking: each stay with where its fish came from, and each day with who is where."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cached_property

from allocator.check.filled import Filled, Forecast, filled
from allocator.husbandry.life import Life, lives
from allocator.plan import Homeless, Move, Plan, Stay
from allocator.room import Room, Vessel
from allocator.rules import RulePack

DAY = timedelta(days=1)


@dataclass(eq=False)
class Walked:
    """A stay with its brood's life, its vessel (None: unknown) and the stays that its fish came from.

    `since` is the day from which the brood has been in this vessel without a break.
    """

    stay: Stay
    life: Life
    vessel: Vessel | None
    parents: list["Walked"] = field(default_factory=list)
    since: date = date.min

    @property
    def brood(self) -> str:
        """The name of the brood."""
        return self.stay.brood

    @property
    def rules(self) -> RulePack:
        """The rules of the brood's line."""
        return self.life.rules


@dataclass
class Boundary:
    """A day on which stays of one brood end or begin, it is moved, sold, or loses its home."""

    day: date
    ending: list[Walked] = field(default_factory=list)
    beginning: list[Walked] = field(default_factory=list)
    moves: list[Move] = field(default_factory=list)
    homeless: list[Homeless] = field(default_factory=list)

    @property
    def sales(self) -> list[Move]:
        """The moves out of the room."""
        return [move for move in self.moves if move.to is None]


class Walk:
    """A room and a plan, indexed by brood, by vessel and by day. Odd stays are left to the rule `agree`."""

    def __init__(self, room: Room, plan: Plan) -> None:
        self.room, self.plan = room, plan
        self.lives = lives(room)
        self.first_free = room.next_move_day(room.today + DAY)
        """The first day after today on which the keeper can change where fish are."""
        self._forecasts: dict[str, Forecast] = {}
        self._parts: dict[Walked, float] = {}
        self.ready: dict[Walked, date] = {}
        """The days on which the fish of some stays are long enough to sell, once that is worked out."""
        self.walked = [
            Walked(stay, self.lives[stay.brood], room.vessel_named.get(stay.vessel))
            for stay in sorted(plan.stays, key=lambda s: (s.from_, s.until, s.brood, s.lot, s.vessel))
            if stay.brood in self.lives and self.can_be_walked(stay)
        ]
        self.starts: dict[str, list[Walked]] = defaultdict(list)
        self.boundaries: dict[str, list[Boundary]] = {}
        self._lay_out()

    @cached_property
    def not_taken(self) -> frozenset[str]:
        """The broods that are listed as not taken."""
        return frozenset(row.brood for row in self.plan.not_taken)

    def can_be_walked(self, stay: Stay) -> bool:
        """Tell whether a stay runs forward in time; a stay that ends today may be left at once."""
        return stay.until > stay.from_ or (stay.until == stay.from_ == self.room.today)

    def start_day(self, brood: str) -> date:
        """Return the day on which a brood enters the plan: its collection, or today."""
        found = self.room.brood_named[brood]
        return max(found.collected, self.room.today) if found.planned else self.room.today

    def forecast(self, brood: str) -> Forecast:
        """Return the numbers and lengths of a brood, laid out by day for as long as the plan speaks of it."""
        if brood not in self._forecasts:
            days = [self.start_day(brood), self.room.today, *self._days_of[brood]]
            self._forecasts[brood] = Forecast(self.lives[brood], min(days), max(days))
        return self._forecasts[brood]

    @cached_property
    def _days_of(self) -> dict[str, list[date]]:
        """The days on which the plan says something of each brood."""
        found: dict[str, list[date]] = defaultdict(list)
        for stay in self.plan.stays:
            found[stay.brood] += [stay.from_, stay.until]
        for move in self.plan.moves:
            found[move.brood].append(move.on)
        for row in self.plan.homeless:
            found[row.brood] += [row.from_, row.until]
        return found

    def heads(self, brood: str, day: date) -> float:
        """Return the expected head count of a whole brood."""
        return self.forecast(brood).heads_on(day)

    def mm(self, brood: str, day: date) -> float:
        """Return the planned length of a brood."""
        return self.forecast(brood).mm_on(day)

    def heads_in(self, walked: Walked, day: date) -> float:
        """Return the head count of one lot: its part of the brood's forecast on a day.

        Lots are written down in whole fish, rounded up. Where they add up to the whole brood, each lot is
        counted as its share of the forecast, so that rounding alone never overfills a vessel.
        """
        return self.part(walked) * self.heads(walked.brood, day)

    def part(self, walked: Walked) -> float:
        """Return the part of its brood's forecast that a lot is counted as."""
        part = self._parts.get(walked)
        if part is None:
            part = self._parts[walked] = self._part(walked)
        return part

    def _part(self, walked: Walked) -> float:
        key = (walked.brood, walked.stay.from_)
        begun = self.heads(*key)
        if not begun:
            return 0.0
        lots = self._begun_together.get(key, [])
        together = sum(stay.fish for stay in lots)
        whole = abs(together - begun) <= max(1, len(lots)) and self.whole_brood_begins(*key)
        return walked.stay.fish / together if whole and together else walked.stay.fish / begun

    @cached_property
    def _begun_together(self) -> dict[tuple[str, date], list[Stay]]:
        """The stays of each brood that begin on each day."""
        found: dict[tuple[str, date], list[Stay]] = defaultdict(list)
        for walked in self.walked:
            found[walked.brood, walked.stay.from_].append(walked.stay)
        return dict(found)

    @cached_property
    def filled(self) -> dict[str, Filled]:
        """What is taken of each known vessel, day by day."""
        return {
            vessel: filled(
                self.room.vessel_named[vessel],
                ((self.forecast(lot.brood), self.part(lot), lot.stay.from_, lot.stay.until) for lot in lots),
            )
            for vessel, lots in self.by_vessel.items()
        }

    @cached_property
    def crowded(self) -> dict[str, dict[date, float]]:
        """For each known vessel the days on which it is above comfort, each with how far (0 to 1)."""
        return {vessel: taken.crowded() for vessel, taken in self.filled.items()}

    def found(self, lots: Iterable[Walked], day: date) -> bool:
        """Tell whether lots have been here since today and the keeper could not yet have changed that.

        Fish are moved from the first move day after today on, and not before the last of their eggs hatched.
        """
        return all(
            lot.since == self.room.today
            and not lot.life.brood.planned
            and day < max(self.first_free, self.room.next_move_day(lot.life.hatch_until))
            for lot in lots
        )

    @cached_property
    def by_vessel(self) -> dict[str, list[Walked]]:
        """The stays in each known vessel, in order of time."""
        found: dict[str, list[Walked]] = defaultdict(list)
        for walked in self.walked:
            if walked.vessel is not None:
                found[walked.stay.vessel].append(walked)
        return dict(sorted(found.items()))

    def there_on(self, vessel: str, day: date) -> list[Walked]:
        """Return who is in a known vessel on a day."""
        return [lot for lot in self.by_vessel[vessel] if lot.stay.from_ <= day < lot.stay.until]

    @cached_property
    def in_two_places(self) -> dict[str, tuple[Walked, Walked]]:
        """For each brood with a lot that is in two stays at a time, the first such pair."""
        lots: dict[tuple[str, str], Walked] = {}
        found: dict[str, tuple[Walked, Walked]] = {}
        for walked in self.walked:
            key = (walked.brood, walked.stay.lot)
            before = lots.get(key)
            if before is not None and before.stay.until > walked.stay.from_:
                found.setdefault(walked.brood, (before, walked))
            if before is None or walked.stay.until > before.stay.until:
                lots[key] = walked
        return found

    @cached_property
    def gaps(self) -> dict[str, date]:
        """For each brood that is nowhere from some day on, that day."""
        return {
            brood: boundary.day
            for brood, boundaries in self.boundaries.items()
            for boundary in reversed(boundaries)  # the first gap is noted last, and stays
            if boundary.ending and not (boundary.beginning or boundary.sales or boundary.homeless)
        }

    def traceable(self, brood: str) -> Iterator[Boundary]:
        """Yield the boundaries of a brood for as long as its fish can be followed."""
        if brood in self.in_two_places or not (self.starts.get(brood) or self.homeless_at_start(brood)):
            return
        end = self.gaps.get(brood, date.max)
        yield from (boundary for boundary in self.boundaries.get(brood, []) if boundary.day < end)

    def homeless_at_start(self, brood: str) -> list[Homeless]:
        """Return the fish of a planned brood that have no home from their first day on."""
        if not self.room.brood_named[brood].planned:
            return []
        start = self.start_day(brood)
        return [row for row in self._homeless_of.get(brood, ()) if row.from_ == start]

    @cached_property
    def _homeless_of(self) -> dict[str, list[Homeless]]:
        found: dict[str, list[Homeless]] = defaultdict(list)
        for row in self.plan.homeless:
            found[row.brood].append(row)
        return dict(found)

    @cached_property
    def moves_of(self) -> dict[str, list[Move]]:
        """The moves of each brood, in the order of the plan."""
        found: dict[str, list[Move]] = defaultdict(list)
        for move in self.plan.moves:
            found[move.brood].append(move)
        return dict(found)

    def whole_brood_begins(self, brood: str, day: date) -> bool:
        """Tell whether no lot of a brood lives through a day without a new stay."""
        return not any(walked.stay.from_ < day < walked.stay.until for walked in self.of_brood.get(brood, ()))

    @cached_property
    def of_brood(self) -> dict[str, list[Walked]]:
        """The stays of each brood, in order of time."""
        found: dict[str, list[Walked]] = defaultdict(list)
        for walked in self.walked:
            found[walked.brood].append(walked)
        return dict(found)

    def _lay_out(self) -> None:
        """Sort stays and moves into boundaries, and link each stay with those before it."""
        days: dict[str, dict[date, Boundary]] = defaultdict(dict)

        def at(brood: str, day: date) -> Boundary:
            return days[brood].setdefault(day, Boundary(day))

        for move in self.plan.moves:
            if move.brood in self.lives and move.from_ is not None:
                at(move.brood, move.on).moves.append(move)
        for walked in self.walked:
            stay = walked.stay
            walked.since = stay.from_
            at(stay.brood, stay.until).ending.append(walked)
            if self._is_start(walked, at(stay.brood, stay.from_).moves):
                self.starts[stay.brood].append(walked)
            else:
                at(stay.brood, stay.from_).beginning.append(walked)
        for row in self.plan.homeless:
            if row.brood in self.lives and row not in self.homeless_at_start(row.brood):
                at(row.brood, row.from_).homeless.append(row)
        for brood in sorted(days):
            self.boundaries[brood] = [days[brood][day] for day in sorted(days[brood])]
            for boundary in self.boundaries[brood]:
                _link(boundary)

    def _is_start(self, walked: Walked, moves: list[Move]) -> bool:
        """Tell whether a brood begins with this stay, rather than being moved to it on its first day."""
        stay = walked.stay
        if stay.from_ == stay.until:
            return True  # found there today, and left at once
        goes_on = any(
            before.stay.until == stay.from_ and before.stay.vessel == stay.vessel
            for before in self.starts.get(stay.brood, ())
        )
        brought = any(move.to == stay.vessel for move in moves)
        return stay.from_ == self.start_day(stay.brood) and not brought and not goes_on


def _link(boundary: Boundary) -> None:
    """Find out which ending stays feed each beginning one: in place, by moves, else by name."""
    for walked in boundary.beginning:
        in_place = [old for old in boundary.ending if old.stay.vessel == walked.stay.vessel]
        sources = {move.from_ for move in boundary.moves if move.to == walked.stay.vessel}
        moved = [old for old in boundary.ending if old.stay.vessel in sources and old not in in_place]
        same_lot = [old for old in boundary.ending if old.stay.lot == walked.stay.lot]
        walked.parents = in_place + moved or same_lot or list(boundary.ending)
        if in_place:
            walked.since = min(old.since for old in in_place)


def days_between(start: date, until: date) -> Iterator[date]:
    """Yield each day from one (included) until another (excluded)."""
    for number in range((until - start).days):
        yield start + timedelta(days=number)


def runs(days: Iterable[date]) -> Iterator[tuple[date, date]]:
    """Yield (first, last) of each unbroken run of days, given in order."""
    first = last = None
    for day in days:
        if last is not None and first is not None and day != last + DAY:
            yield first, last
            first = day
        first, last = first or day, day
    if first is not None and last is not None:
        yield first, last
