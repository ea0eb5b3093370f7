"""Tiny random rooms, and what each brood may do in them, worked out day by day from the rules alone.

Nothing here comes from the planner's tables or model: dates are the keeper's move days, windows are those
of `husbandry.stages`, readiness to sell is walked with `Life.ready_for_sale`, and shares of a vessel are
those of `husbandry.stocking` on every single day. What a point of strain is, is as `needs` documents it.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache, cached_property
from itertools import pairwise
from math import ceil
from random import Random

from small_rooms import TODAY, figure, in_being, level, long, planned, small_pack, ten

from allocator.husbandry.life import Life, lives
from allocator.husbandry.stages import (
    better_span,
    earliest_entry,
    fits_stage,
    latest_entry,
    sale_day,
    stage_today,
)
from allocator.husbandry.stocking import SUMMED_CAPS, Cap, flow_step, shares_of_one
from allocator.room import Addable, Brood, Keeper, Line, Pin, PinKind, Room, Span, Vessel
from allocator.rules import FlowSetting, GrowthRoom, RoomStep, RulePack, StageRule, VesselKind

DAY = timedelta(days=1)

WINDOW_POINTS, FLOW_POINTS, RUN_POINTS = 10, 20, 5
"""Strain for each day outside the better size, above comfortable flow, in too short a run (see `needs`)."""


@cache
def tiny_pack(*, slow: bool = False, alone: bool = False) -> RulePack:
    """Return a pack of two stages with narrow windows: tens from day 0, long tanks at 20 to 23 mm.

    Up to 30 mm 2 fish a litre, then 1 fish and 1 gram a litre; a ten has 30 litres, a long tank 144.
    """
    return small_pack(
        stages=(
            StageRule(name="rearing", kinds=(VesselKind.REARING,), alone=alone, may_skip=False),
            StageRule(
                name="grow-out",
                kinds=(VesselKind.GROW_OUT,),
                alone=False,
                may_skip=False,
                from_mm=figure(20),
                better_from_mm=figure(21),
                better_until_mm=figure(21.5),
                until_mm=figure(23),
            ),
        ),
        eggs_need_snail_free=False,
        room=(
            RoomStep(from_mm=figure(0), fish_per_litre=level(2)),
            RoomStep(
                from_mm=figure(30),
                fish_per_litre=level(1),
                grams_per_litre=level(1),
                run_cm=level(40, comfort=80),
            ),
        ),
        growth_room=GrowthRoom(
            from_mm=figure(40),
            run_cm=figure(80 if slow else 1),
            slowed_to=figure(0.5),
            slowed_when_full=figure(1),
        ),
        sell_within_days=figure(9),
        clean_out_days=figure(10),
    )


def tiny_room(seed: int, *, slow: bool = True, most: int = 3) -> Room:
    """Return a room of two or three broods (or up to `most`) in a few unlike tanks, and one to be added.

    No brood takes more than half of any vessel, so that none has to be split.
    """
    random = Random(seed)  # noqa: S311 - made-up rooms, no secrets
    pack = tiny_pack(slow=slow, alone=random.random() < 0.3)
    lines = (
        Line(name="red", species="made up", rules=pack, may_share=("blue",) if random.random() < 0.2 else ()),
        Line(name="blue", species="made up", rules=pack),
    )
    short = random.random() < 0.5
    vessels = (
        ten("ten 1"),
        *((ten("ten 2", width_mm=300, declared_as="wide"),) if random.random() < 0.4 else ()),
        long("long 1", flow_lowest=random.choice([FlowSetting.STILL, FlowSetting.STRONG])),
        *(
            (long("long 2", declared_as="short", length_mm=700 if short else 900, width_mm=450),)
            if random.random() < 0.4
            else ()
        ),
    )
    if random.random() < 0.2:
        gone = TODAY + random.randint(60, 200) * DAY
        vessels = (*vessels[:-1], vessels[-1].model_copy(update={"available": Span(end=gone)}))
    broods: list[Brood] = []
    for number in range(random.randint(2, most)):
        line = random.choice(("red", "red", "blue"))
        if number == 0 and random.random() < 0.4:
            collected = TODAY - random.randint(20, 70) * DAY
            broods.append(in_being("K0", line, collected, random.randint(5, 12), "ten 1"))
        else:
            collected = TODAY + random.randint(0, 120) * DAY
            broods.append(planned(f"P{number}", line, collected, random.choice((8, 15, 29))))
    like = random.choice([vessel.declared_as for vessel in vessels])
    pins: tuple[Pin, ...] = ()
    if random.random() < 0.3:
        brood = random.choice([brood for brood in broods if brood.planned])
        vessel = random.choice(vessels[1:])
        start = brood.collected + random.randint(0, 120) * DAY
        pins = (
            Pin(
                kind=random.choice((PinKind.IN, PinKind.NOT_IN)),
                brood=brood.name,
                vessel=vessel.name,
                span=Span(start=start, end=start + random.randint(10, 60) * DAY),
            ),
        )
    return Room(
        name=f"tiny {seed}",
        today=TODAY,
        keeper=Keeper(move_days=(5,), most_moves_a_day=random.choice((None, None, 1, 2))),
        vessels=vessels,
        lines=lines,
        broods=tuple(broods),
        could_add=(Addable(like=like, price=random.choice((20, 35.5)), most=1),)
        if random.random() < 0.8
        else (),
        pins=pins,
    )


@dataclass(frozen=True)
class Way:
    """One way to live: (vessel, first day, day after the last) by stage, and the day of sale or of loss."""

    stays: tuple[tuple[str, date, date], ...]
    sold: date | None
    homeless_from: date | None


class Facts:
    """What each brood may do in a room, and what it asks of each vessel; `adding` offers the new ones too."""

    def __init__(self, room: Room, *, adding: bool) -> None:
        offers = {offer.like: offer.most for offer in room.could_add} if adding else {}
        self.room = room.with_added(offers)
        self.price = {
            f"new {offer.like} {number + 1}": round(offer.price * 100)
            for offer in room.could_add
            if adding
            for number in range(offer.most)
        }
        self.lives = lives(room)
        self.percents: dict[tuple[str, str, date, Cap], int] = {}

    @cached_property
    def move_days(self) -> list[date]:
        """The keeper's move days, for longer than any brood lives."""
        days = (self.room.today + number * DAY for number in range(700))
        return [day for day in days if self.room.keeper.moves_fish_on(day)]

    @cached_property
    def grid(self) -> list[date]:
        """Days on which something may change: strain is counted on the fullest day between two of them."""
        starts = {brood.collected for brood in self.room.broods if brood.planned}
        return sorted({self.room.today, *self.move_days, *starts})

    def start(self, brood: Brood) -> date:
        """Return the day on which a brood enters the plan."""
        return brood.collected if brood.planned else self.room.today

    def until(self, brood: Brood) -> date:
        """Return the day until which a brood without a home is counted, its first day of sale."""
        order = self.room.order_of.get(brood.name)
        first = max(sale_day(self.lives[brood.name]), self.room.today)
        return self.room.next_move_day(first if order is None else max(first, order.on))

    def sale_days(self, life: Life, stays: list[tuple[str, date, date]]) -> list[date]:
        """Return the move days on which fish that have lived so may be sold."""
        path = [(self.room.vessel_named[vessel].run_cm, begin, end) for vessel, begin, end in stays]
        ready = life.ready_for_sale(path)
        assert ready is not None
        entered = stays[-1][1]
        order = self.room.order_of.get(life.brood.name)
        if order is not None:
            if ready <= order.on:
                leaves = self.leaves(order.on)
                return leaves if entered < leaves[0] else []
            ready = max(ready, order.on)
        days = [day for day in self.move_days if day >= ready and day > entered]
        last = ready + ceil(life.rules.sell_within_days.value) * DAY
        return [day for day in days if day <= last] or days[:1]

    def leaves(self, on: date) -> list[date]:
        """Return the days on which fish of an order leave: the first move day, or those of a week if hands are few."""
        first = self.room.next_move_day(on)
        last = first if self.room.keeper.most_moves_a_day is None else first + 6 * DAY
        return [day for day in self.move_days if first <= day <= last]

    def kept(self, brood: Brood, ways: list[Way]) -> list[Way]:
        """Return the ways that have a brood there for its order, if there are any in the tanks of today; else all."""
        order = self.room.order_of.get(brood.name)
        if order is None:
            return ways
        leaves = self.leaves(order.on)
        on_time = [way for way in ways if way.sold in leaves and self.grown_by(brood, way, order.on)]
        if not any(all(not name.startswith("new ") for name, _, _ in way.stays) for way in on_time):
            return ways
        return [*on_time, *(way for way in ways if way.sold is None)]

    def grown_by(self, brood: Brood, way: Way, day: date) -> bool:
        """Tell whether fish that live so are long enough by a day."""
        path = [(self.room.vessel_named[vessel].run_cm, begin, end) for vessel, begin, end in way.stays]
        ready = self.lives[brood.name].ready_for_sale(path)
        return ready is not None and ready <= day

    def entry_days(self, life: Life, number: int) -> list[date]:
        """Return the move days on which a brood may enter a stage."""
        stage = life.rules.stages[number]
        first = earliest_entry(life, stage)
        last = self.room.next_move_day(latest_entry(life, stage))
        return [day for day in self.move_days if first <= day <= last]

    def ways(self, brood: Brood, *, homeless: bool) -> list[Way]:  # noqa: C901
        """Return every way for a brood to live, each stage in one vessel, and to lose its home."""
        life = self.lives[brood.name]
        stages = range(len(life.rules.stages))
        found: list[Way] = []
        start = self.start(brood)

        def grow(number: int, entered: date, done: list[tuple[str, date, date]]) -> None:  # noqa: C901
            """Try every vessel for a stage that is entered on a day."""
            if brood.homes and not done:
                homes = [self.room.vessel_named[brood.homes[0].vessel]]
            else:
                homes = [v for v in self.room.vessels if fits_stage(life, number, v)]
            for vessel in homes:
                if number == stages[-1]:
                    for day in self.sale_days(life, [*done, (vessel.name, entered, entered + DAY)]):
                        self._keep(found, brood, [*done, (vessel.name, entered, day)], day, None)
                    continue
                for day in self.entry_days(life, number + 1):
                    if day > entered or (brood.homes and not done and day >= entered):
                        so_far = [*done, (vessel.name, entered, day)]
                        if homeless:
                            self._keep(found, brood, so_far, None, day)
                        grow(number + 1, day, so_far)
                if homeless and brood.homes and not done:
                    first = self.entry_days(life, number + 1)[0]
                    for day in self.move_days:
                        if day < first:
                            self._keep(found, brood, [(vessel.name, entered, day)], None, day)

        if homeless and not brood.homes:
            found.append(Way((), None, start))
        begin = stage_today(life, self.room.vessel_named[brood.homes[0].vessel], start) if brood.homes else 0
        grow(begin, start, [])
        return self.kept(brood, found)

    def _keep(
        self,
        found: list[Way],
        brood: Brood,
        stays: list[tuple[str, date, date]],
        sold: date | None,
        out: date | None,
    ) -> None:
        if all(self.fits(brood, *stay) for stay in stays):
            found.append(Way(tuple(stays), sold, out))

    def fits(self, brood: Brood, name: str, begin: date, end: date) -> bool:
        """Tell whether a brood could live in a vessel from one day to another if it were alone there."""
        vessel = self.room.vessel_named[name]
        for pin in self.room.pins:
            against = pin.brood == brood.name and (pin.vessel == name) == (pin.kind is PinKind.NOT_IN)
            if against and any(pin.span.holds(day) for day in _days(begin, end)):
                return False
        if not all(vessel.available.holds(day) for day in _days(begin, end)):
            return False
        return all(self._fits_on(brood, vessel, day) for day in _days(begin, end))

    def _fits_on(self, brood: Brood, vessel: Vessel, day: date) -> bool:
        """Tell whether a brood, were it alone, has room in a vessel on a day and bears its flow."""
        key = (brood.name, vessel.name, day)
        if key not in self._fitting:
            life = self.lives[brood.name]
            mm, heads = life.length_mm(day), life.heads(day)
            self._fitting[key] = vessel.flow_lowest <= flow_step(mm, life.rules).limit.value and all(
                limit * (heads if cap in SUMMED_CAPS else 1) <= 1 + 1e-6
                for cap, (_, limit) in shares_of_one(mm, vessel, life.rules).items()
            )
        return self._fitting[key]

    @cached_property
    def _fitting(self) -> dict[tuple[str, str, date], bool]:
        return {}

    def share(self, brood: Brood, vessel: Vessel, day: date, cap: Cap, place: int) -> float:
        """Return the share of comfort (place 0) or limit (1) that a brood takes of a vessel on a day."""
        key = (brood.name, vessel.name, day)
        if key not in self._shares:
            life = self.lives[brood.name]
            self._shares[key] = shares_of_one(life.length_mm(day), vessel, life.rules)
        return self._shares[key].get(cap, (0.0, 0.0))[place] * self.lives[brood.name].heads(day)

    @cached_property
    def _shares(self) -> dict[tuple[str, str, date], dict[Cap, tuple[float, float]]]:
        return {}

    def slots(self, begin: date, end: date) -> list[tuple[date, date]]:
        """Return the slots (begin, end) of the grid between two days of it."""
        return [(a, b) for a, b in pairwise(self.grid) if begin <= a and b <= end]

    def go_together(self, one: Brood, other: Brood, day: date) -> bool:
        """Tell whether two broods may be in one vessel on a day."""
        lines = self.room.line_named
        first, second = lines[one.line], lines[other.line]
        if (
            first.name != second.name
            and second.name not in first.may_share
            and first.name not in second.may_share
        ):
            return False
        short, big = sorted(self.lives[brood.name].length_mm(day) for brood in (one, other))
        ratio = min(line.rules.length_ratio_limit.value for line in (first, second))
        return short <= 0 or big <= short * ratio * (1 + 1e-6)

    def strangers(self, one: Brood, other: Brood) -> bool:
        """Tell whether a vessel must be cleaned out between two broods."""
        lines = self.room.line_named
        first, second = lines[one.line], lines[other.line]
        return (
            first.name != second.name
            and second.name not in first.may_share
            and first.name not in second.may_share
        )

    def fish_days(self, brood: Brood, begin: date, end: date) -> int:
        """Return fish times days between two days, with the most fish of each slot."""
        life = self.lives[brood.name]
        return sum(
            ceil(max(life.heads(day) for day in _days(a, b)) - 1e-9) * (b - a).days
            for a, b in self.slots(begin, end)
        )

    def own_strain(self, brood: Brood, way: Way) -> int:
        """Return the strain of one brood that does not hang on who else is there."""
        life, points = self.lives[brood.name], 0
        stages = (
            life.rules.stages[len(life.rules.stages) - len(way.stays) :] if way.sold else life.rules.stages
        )
        for number, (name, begin, end) in enumerate(way.stays):
            vessel = self.room.vessel_named[name]
            if number > 0:
                span = better_span(life, stages[number])
                assert span.start is not None
                assert span.end is not None
                points += WINDOW_POINTS * max((span.start - begin).days, (begin - span.end).days + 1, 0)
            for a, b in self.slots(begin, end):
                steps = [flow_step(life.length_mm(day), life.rules).comfort.value for day in _days(a, b)]
                points += FLOW_POINTS * (b - a).days * (vessel.flow_lowest > min(steps))
                runs = [
                    shares_of_one(life.length_mm(d), vessel, life.rules).get(Cap.RUN) for d in _days(a, b)
                ]
                points += (
                    RUN_POINTS * (b - a).days * any(run is not None and run[0] > 1 + 1e-9 for run in runs)
                )
        return points


def _days(begin: date, end: date) -> list[date]:
    return [begin + number * DAY for number in range((end - begin).days)]
