"""The same replay with a new plan on the first of each month, made from what is there by then.

What becomes of the fish is drawn once and does not depend on the plan. The new plan knows the numbers and lengths of its
day, nothing of what comes; the quick search makes it, on from the plan in hand. Fish that have no home in it are counted
as without one for as long as it says, and are gone by the next plan.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from math import floor
from threading import Event
from time import monotonic
from typing import TypeVar

import numpy as np

from allocator.answering import PlannerFault, answer_of
from allocator.frozen import Frozen
from allocator.husbandry.life import lives
from allocator.model.in_hand import in_hand
from allocator.model.quick import quick_plan
from allocator.model.run import Run
from allocator.needs import needs_of, with_held_back
from allocator.plan import Plan
from allocator.questions.luck_draws import Fate, Ints
from allocator.questions.luck_play import Batch, fates_of
from allocator.questions.luck_script import Script
from allocator.room import Brood, Count, Home, Pin, Room, new_vessel_name

Part = TypeVar("Part", bound=Frozen)

MOST_TRIES = 4
"""So often a plan is made anew with room for fish that company holds back (judgement)."""


@dataclass(frozen=True)
class Followed:
    """One replay with new plans: fish above the limits or without a home on the worst day, and how planning went."""

    without_home: int
    plans: int
    kept_old: int


def follow(
    script: Script,
    seed: np.random.SeedSequence,
    replays: int,
    replay: int,
    over: Callable[[], bool] = lambda: False,
) -> Followed | None:
    """Return one replay of a batch with a new plan each month; None if it is over before the end.

    Parameters
    ----------
    seed, replays
        Those of the batch, so that the luck is the same as with the plan as it stands.
    replay
        Its place in the batch.
    """
    keeper = _Keeper(bought(script), fates_of(script, seed, replays), replay)
    for month in (*script.month_starts[1:], script.days):
        if over():
            return None
        keeper.live_until(month)
        if month < script.days:
            keeper.plan_anew(month)
    return Followed(int(keeper.too_many.max()), keeper.plans, keeper.kept_old)


def bought(script: Script) -> Script:
    """Return the same with the vessels that the plan adds as vessels of the room, under names of their own.

    Later plans would have to list them as additions of their own otherwise.
    """
    room, plan = script.room, script.plan
    taken = {vessel.name for vessel in room.vessels}
    added = {new_vessel_name(row.like, number) for row in plan.added for number in range(1, row.copies + 1)}
    names = {}
    for name in sorted(added & taken):
        names[name] = _free_name(f"added {name}", taken)
        taken.add(names[name])
    if not names:
        return script

    def renamed(part: Part, *keys: str) -> Part:
        return part.model_copy(
            update={key: names.get(getattr(part, key), getattr(part, key)) for key in keys}
        )

    then = room.model_copy(update={"vessels": tuple(renamed(vessel, "name") for vessel in room.vessels)})
    told = plan.model_copy(
        update={
            "added": (),
            "stays": tuple(renamed(stay, "vessel") for stay in plan.stays),
            "moves": tuple(renamed(move, "from_", "to") for move in plan.moves),
            "flow": tuple(renamed(change, "vessel") for change in plan.flow),
        }
    )
    return Script(then, told, script.days)


def _free_name(name: str, taken: set[str]) -> str:
    return name if name not in taken else _free_name(f"{name}+", taken)


def quick_answer(room: Room, against: Plan) -> Plan | None:
    """Return a checked plan of the quick search with nothing added; None where it finds none that keeps the rules."""
    sure = needs = needs_of(room)
    for _ in range(MOST_TRIES):
        keep, prefer = in_hand(needs, against)
        run = Run(room, needs, sure, Event(), None, monotonic(), lambda _: None, keep, prefer, against)
        try:
            return answer_of(run, quick_plan(run, {}, "new plan"), ())[0].plan
        except PlannerFault as fault:
            if not fault.held_back:
                return None
            needs = with_held_back(sure, fault.held_back)
    return None


class _Keeper:
    """Lives through one replay. Days are counted from the first day of all; those of `_script` from its own."""

    def __init__(self, script: Script, fates: list[Fate], replay: int) -> None:
        self.first, self.replay = script, replay
        self.fates = dict(zip((brood.name for brood in script.room.broods), fates, strict=True))
        self.share = dict.fromkeys(self.fates, 1.0)
        self.too_many: Ints = np.zeros(script.days, dtype=np.int64)
        self.plans = self.kept_old = 0
        self._lived = 0
        self._follow(script, 0)

    def _follow(self, script: Script, since: int) -> None:
        self._script, self._since = script, since
        fates = [
            self.fates[brood.name].from_day(since, self.replay, self.share[brood.name])
            for brood in script.room.broods
        ]
        self._batch = Batch(script, fates, 1)

    def live_until(self, day: int) -> None:
        """Count what is too much from where it was left off until a day (excluded)."""
        begin, end = self._lived - self._since, day - self._since
        for vessel in self._batch.segments:
            held = self._batch.held(vessel)
            fish = held.too_many[0]
            first, last = max(begin, held.first), min(end, held.first + len(fish))
            if first < last:
                self.too_many[first + self._since : last + self._since] += fish[
                    first - held.first : last - held.first
                ]
        if self._script is not self.first:
            for row in self._script.plan.homeless:
                first, last = ((on - self.first.today).days for on in (row.from_, row.until))
                self.too_many[max(first, self._lived) : max(min(last, day), 0)] += row.fish
        self._lived = day

    def plan_anew(self, day: int) -> None:
        """Make a new plan from what is there on a day, and follow it; go on with the old one where there is none."""
        room, share = self._room_on(day)
        if not room.broods:
            return
        self.plans += 1
        plan = quick_answer(room, self._script.plan)
        if plan is None:
            self.kept_old += 1
            return
        self.share |= share
        self._follow(Script(room, plan, self.first.days - day), day)

    def _room_on(self, day: int) -> tuple[Room, dict[str, float]]:
        """Return the room as it is on the morning of a day, and how much of each brood in being is left in it."""
        room, today = self._script.room, self.first.today + timedelta(days=day)
        parts = self._parts(day - 1 - self._since)
        broods, share = [], {}
        for brood in room.broods:
            if brood.planned and brood.collected >= today:
                broods.append(brood)
                continue
            here = parts.get(brood.name, {})
            found = self._brood_on(brood, here, day, today)
            if found is not None:
                broods.append(found)
                share[brood.name] = self.share[brood.name] * sum(part for part, _ in here.values())
        names = {brood.name for brood in broods}
        then = room.model_copy(
            update={
                "today": today,
                "broods": tuple(broods),
                "could_add": (),
                "pins": tuple(pin for pin in room.pins if pin.brood in names and not _is_past(pin, today)),
                "orders": tuple(order for order in room.orders if order.on >= today),
            }
        )
        return self._counted(then, day), share

    def _parts(self, day: int) -> dict[str, dict[str, tuple[float, date]]]:
        """Return by brood and vessel the part of the brood that is there on a day of the script, and since when."""
        script = self._script
        found: dict[str, dict[str, tuple[float, date]]] = {}
        for vessel, segments in self._batch.segments.items():
            for segment in segments:
                if segment.start[0] <= day < segment.until[0]:
                    here = found.setdefault(script.room.broods[segment.leg.brood].name, {})
                    name = script.vessels[vessel].name
                    part, since = here.get(name, (0.0, date.max))
                    begun = script.today + timedelta(days=int(segment.start[0]))
                    here[name] = part + segment.leg.part, min(since, begun)
        return found

    def _brood_on(
        self, brood: Brood, parts: dict[str, tuple[float, date]], day: int, today: date
    ) -> Brood | None:
        """Return a brood in being, in its homes; None where nothing is left of it."""
        heads = self._heads(brood.name, day)
        fish = {vessel: part * heads for vessel, (part, _) in parts.items()}
        homes = {vessel: number for vessel, number in whole(fish).items() if number}
        if not homes:
            return None
        since = min(parts[vessel][1] for vessel in homes)
        stayed = not brood.planned and since <= self._script.today
        return brood.model_copy(
            update={
                "planned": False,
                "eggs": max(1, sum(homes.values())) if brood.planned else brood.eggs,
                "homes": tuple(Home(vessel=vessel, fish=number) for vessel, number in homes.items()),
                "in_home_since": brood.in_home_since if stayed else min(since, today),
            }
        )

    def _counted(self, room: Room, day: int) -> Room:
        """Return the room with every brood counted and measured that has hatched, in truth and as is planned."""
        forecast = lives(room)
        broods = []
        for brood in room.broods:
            fate = self.fates[brood.name]
            hatched = fate.hatched[self.replay] <= day
            if brood.planned or (not hatched and forecast[brood.name].hatched > room.today):
                broods.append(brood)
            elif hatched and forecast[brood.name].hatched <= room.today:
                fish = sum(home.fish or 0 for home in brood.homes)
                mm = float(fate.mm[self.replay, min(day, fate.until - 1) - fate.first])
                broods.append(brood.model_copy(update={"counts": (Count(on=room.today, fish=fish, mm=mm),)}))
            else:  # not what the plan takes it for, until the next month
                homes = tuple(Home(vessel=home.vessel) for home in brood.homes)
                broods.append(brood.model_copy(update={"homes": homes}))
        return room.model_copy(update={"broods": tuple(broods)})

    def _heads(self, brood: str, day: int) -> float:
        fate = self.fates[brood]
        return float(fate.heads[self.replay, min(day, fate.until - 1) - fate.first]) * self.share[brood]


def whole(parts: dict[str, float]) -> dict[str, int]:
    """Return parts as whole numbers with the same sum, rounded; the largest fractions are rounded up."""
    left = floor(sum(parts.values()) + 0.5)
    found = {name: floor(number) for name, number in parts.items()}
    by_fraction = sorted(parts, key=lambda name: (found[name] - parts[name], name))
    for name in by_fraction[: max(0, left - sum(found.values()))]:
        found[name] += 1
    return found


def _is_past(pin: Pin, today: date) -> bool:
    end = pin.span.end or pin.span.start
    return end is not None and end <= today
