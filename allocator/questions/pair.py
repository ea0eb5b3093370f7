"""Can this pair be started? Its collections beside the plan held still, and with others moved."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil

from allocator.changes import names_of_more, with_broods, with_group, with_more
from allocator.husbandry.life import lives
from allocator.husbandry.stages import earliest_entry
from allocator.in_use import weekly_use
from allocator.model.option import EASY, FRUGAL
from allocator.plan import NotTaken, Plan, Verdict
from allocator.planner import plan_room
from allocator.questions.compare import elsewhere, level_named
from allocator.questions.held import Beside, Held, strain_of
from allocator.replies.pair import LeftOut, NobodyMoved, OthersMoved, PairReply, PairWay, Tight
from allocator.result import Progress, Result
from allocator.room import BreedingGroup, Brood, CollectedBy, Room, Span
from allocator.rules import VesselKind

WEEK = timedelta(days=7)
EVERY_WEEK_FOR, THEN_EVERY, AT_MOST = 26, 4, 78
"""A start is looked for in each of the next weeks, then in every fourth, for a year and a half (judgement)."""

BORN_EVERY_DAYS = 28
"""Days from one litter to the next (from memory)."""

BRIEFLY = 2.0
"""Seconds for each further plan once the keeper has stopped one (judgement)."""

Shows = Callable[[Progress], None]


@dataclass(frozen=True)
class Pairing:
    """What is asked: a pair, trio or colony, and the collections to be taken from it.

    `by` lists the ways to take the eggs that are compared.
    """

    group: BreedingGroup
    collections: tuple[date, ...]
    eggs: int
    by: tuple[CollectedBy, ...]
    every_days: int


def ways_to_take(room: Room, line: str) -> tuple[CollectedBy, ...]:
    """Return the ways in which broods of a line can be taken."""
    rules = room.line_named[line].rules
    if rules.guards_young or rules.incubation_days.high.value == 0:
        return (CollectedBy.YOUNG,)
    return (CollectedBy.PICKING, CollectedBy.MOP)


def usual_days(room: Room, line: str) -> int:
    """Return the days from one collection to the next, where the keeper does not say.

    A pair that guards its young does not breed again before they leave it; females that bear young do so about every
    four weeks (from memory, at 25 C); eggs are taken every week (judgement).
    """
    rules = room.line_named[line].rules
    if rules.incubation_days.high.value == 0:
        return BORN_EVERY_DAYS
    if not rules.guards_young:
        return WEEK.days
    onward = next((stage for stage in rules.stages if not stage.with_parents), None)
    brood = Brood(name="", line=line, collected=room.today, by=CollectedBy.YOUNG, eggs=1, planned=True)
    life = lives(room.model_copy(update={"broods": (brood,)}))[""]
    days = (earliest_entry(life, onward) - room.today).days if onward is not None else WEEK.days
    return max(ceil(days / WEEK.days) * WEEK.days, WEEK.days)


def vessel_for_pair(room: Room, plan: Plan, start: date) -> str | None:
    """Return a vessel for breeding that stands empty from a day on, for good."""
    for vessel in room.vessels:
        span = Span(start=start)
        fit_for_it = VesselKind.BREEDING in vessel.kinds and vessel.available.end is None
        if fit_for_it and vessel.available.holds(start) and not who_lives_in(room, plan, vessel.name, span):
            return vessel.name
    return None


def who_lives_in(room: Room, plan: Plan, vessel: str, span: Span) -> tuple[str, ...]:
    """Return the broods and breeding groups that are in a vessel at some time of a span."""
    broods = [
        stay.brood
        for stay in plan.stays
        if stay.vessel == vessel and Span(start=stay.from_, end=stay.until).meets(span)
    ]
    groups = [group.name for group in room.groups if group.vessel == vessel and group.lives_there.meets(span)]
    return tuple(dict.fromkeys([*groups, *broods]))


def with_own_vessel(room: Room, plan: Plan, group: BreedingGroup) -> tuple[Room, BreedingGroup, bool]:
    """Return the room and the pair with a vessel of its own, and whether that had to be added."""
    if group.vessel:
        return room, group, False
    assert group.lives_there.start is not None  # noqa: S101 - the question has a day
    name = vessel_for_pair(room, plan, group.lives_there.start)
    if name is not None:
        return room, group.model_copy(update={"vessel": name}), False
    like = next(vessel.declared_as for vessel in room.vessels if VesselKind.BREEDING in vessel.kinds)
    (name,) = names_of_more(room, like, 1)
    return with_more(room, like, 1), group.model_copy(update={"vessel": name}), True


def pair_of(
    room: Room, plan: Plan, asked: Pairing, *, seconds: float | None = None, progress: Shows | None = None
) -> PairReply:
    """Return whether a pair can be started.

    Parameters
    ----------
    room
        With the vessels that its plan adds; at least one vessel for breeding.
    plan
        Checked.
    asked
        The pair; where it has no vessel yet (an empty name), one is looked for.
    seconds
        Wall time to stay within, roughly, for each plan that is made.
    progress
        Called often with how far the search is.

    Raises
    ------
    NotHeldError
        If the plan was edited by hand in ways that the search has no words for.
    NoPlanInTime
        If the time ran out before there was a plan with others moved.
    """
    there, group, new = with_own_vessel(room, plan, asked.group)
    taken_by = () if new else who_lives_in(room, plan, group.vessel, group.lives_there)
    question = _Question(there, plan, group, asked, bool(taken_by), seconds, progress or (lambda _: None))
    kinds, rules = there.vessel_named[group.vessel].kinds, there.line_named[group.line].rules
    return PairReply(
        room=room.name,
        pair=group,
        own_vessel_new=new,
        own_vessel_taken=taken_by,
        short_already=bool(plan.added),
        every_days=asked.every_days,
        ways=tuple(question.way(by) for by in asked.by),
        strain_now=strain_of(room, plan),
        born=rules.incubation_days.high.value == 0,
        guarded=rules.guards_young,
        own_vessel_for=() if VesselKind.BREEDING in kinds else tuple(kind.value for kind in kinds),
    )


class _Question:
    """One pair in one room, asked for one way to take the eggs after another."""

    def __init__(
        self,
        room: Room,
        plan: Plan,
        group: BreedingGroup,
        asked: Pairing,
        vessel_taken: bool,  # noqa: FBT001 - the one caller says it by name enough
        seconds: float | None,
        show: Shows,
    ) -> None:
        self.bare, self.plan, self.group, self.asked = room, plan, group, asked
        self.vessel_taken = vessel_taken
        self.seconds, self.show = seconds, show
        self.stopped = False

    def way(self, by: CollectedBy) -> PairWay:
        """Return the answer for one way to take the eggs."""
        coming = self._broods(by, timedelta())
        beside = None if self.vessel_taken else self._beside(coming)
        never = beside is not None and bool(beside.refused) and beside.refused[0].never
        others = None if never else self._others_moved(coming, beside)
        answer, result_room, result_plan = others or (None, None, None)
        nobody = None if beside is None else _nobody_moved(coming, beside, answer)
        all_fit = nobody is not None and not nobody.left_out
        earliest, looked_until = self._earliest(by, never=never, now=all_fit)
        last = (beside.room, beside.plan) if nobody and not nobody.left_out and beside else None
        if result_room is not None and result_plan is not None and last is None:
            last = result_room, result_plan
        return PairWay(
            by=by,
            collections=self.asked.collections,
            eggs=self.asked.eggs,
            nobody_moved=nobody,
            others_moved=answer,
            earliest=earliest,
            looked_until=looked_until,
            tight=self._tight(*last) if last else None,
            strain=strain_of(*last) if last else None,
        )

    def _tight(self, room: Room, plan: Plan) -> Tight | None:
        since = self.asked.collections[0]
        found = first_tight(room, plan, since)
        before = [(one.kind, one.week) for one in tight_weeks(self.bare, self.plan, since)]
        if found is None or (found.kind, found.week) not in before:
            return found
        return found.model_copy(update={"without_pair": True})

    def _broods(self, by: CollectedBy, later: timedelta) -> list[Brood]:
        return [
            Brood(
                name=f"{self.group.name} {(day + later).isoformat()}",
                line=self.group.line,
                collected=day + later,
                by=by,
                eggs=self.asked.eggs,
                planned=True,
                parents=self.group.name,
            )
            for day in self.asked.collections
        ]

    def _with_pair(self, later: timedelta) -> Room:
        start = self.group.lives_there.start
        assert start is not None  # noqa: S101 - the question has a day
        span = self.group.lives_there.model_copy(update={"start": start + later})
        return with_group(self.bare, self.group.model_copy(update={"lives_there": span}))

    def _beside(self, coming: Sequence[Brood]) -> Beside:
        """Return what finds room with nobody moved: spread out in comfort, or closer if more find room so."""
        self.show(Progress(stage="with nobody else moved"))
        room = self._with_pair(timedelta())
        easy = Held(room, self.plan, coming, EASY).settle()
        if not easy.refused:
            return easy
        frugal = Held(room, self.plan, coming, FRUGAL).settle()
        return frugal if len(frugal.taken) > len(easy.taken) else easy

    def _earliest(self, by: CollectedBy, *, never: bool, now: bool) -> tuple[date | None, date | None]:
        """Return the first start, from the day asked for on, at which all find room with nobody moved."""
        start = self.group.lives_there.start
        assert start is not None  # noqa: S101 - the question has a day
        if now:
            return start, start
        if never:
            return None, None
        weeks = [*range(1, EVERY_WEEK_FOR + 1), *range(EVERY_WEEK_FOR + THEN_EVERY, AT_MOST + 1, THEN_EVERY)]
        for number in weeks:
            later = number * WEEK
            self.show(Progress(stage=f"with a start {number} weeks later"))
            if who_lives_in(self.bare, self.plan, self.group.vessel, Span(start=start + later)):
                continue
            room, coming = self._with_pair(later), self._broods(by, later)
            if not Held(room, self.plan, coming, FRUGAL).settle(all_or_none=True).refused:
                return start + later, start + later
        return None, start + weeks[-1] * WEEK

    def _others_moved(
        self, coming: list[Brood], beside: Beside | None
    ) -> tuple[OthersMoved, Room, Plan] | None:
        """Return what finds room with others moved, and the room and plan with as many as find room.

        It goes on from what finds room with nobody moved: no less can come of it.
        """
        if beside is not None and not beside.refused:
            return _nobody_need_be(len(coming)), beside.room, beside.plan
        if self.stopped and self.seconds is None:
            return None
        room = _with_taken(self._with_pair(timedelta()), self.plan)
        begin = self.plan if beside is None else beside.plan
        whole = self._planned(with_broods(room, coming), begin)
        plan = whole.best.plan
        fits = plan.verdict is Verdict.FITS
        some = whole
        if not fits:
            optional = [brood.model_copy(update={"optional": True}) for brood in coming]
            some = self._planned(with_broods(room, optional), begin)
        prices = self.bare.prices
        cost = level_named(whole.best.levels, "cost of added tanks")
        chosen = level_named(some.as_it_is.levels, "collections not taken")
        proven = fits or (chosen is not None and chosen.proven)
        taken = some.as_it_is.plan if not fits else plan
        if beside is not None and len(taken.not_taken) - len(self.plan.not_taken) > len(beside.refused):
            names = {why.brood for why in beside.refused}
            left_out = [
                NotTaken(brood=b.name, on=b.collected, eggs=b.eggs) for b in coming if b.name in names
            ]
            taken = beside.plan.model_copy(update={"not_taken": (*beside.plan.not_taken, *left_out)})
            proven = False
        left = [brood for brood in coming if any(row.brood == brood.name for row in taken.not_taken)]
        mine = {brood.name for brood in self.bare.broods}
        return (
            OthersMoved(
                taken=len(coming) - len(left),
                left_out=tuple(LeftOut(on=brood.collected, brood=brood.name) for brood in left),
                proven=proven,
                displaced=tuple(elsewhere(mine, self.plan, taken)),
                verdict=plan.verdict,
                added=plan.added,
                price=sum(prices.get(row.like, 0.0) * row.copies for row in plan.added),
                price_proven=fits or (cost is not None and cost.proven),
                stopped=whole.stopped or some.stopped,
                strain=None if plan.homeless else strain_of(whole.room, plan),
            ),
            some.room if fits else with_broods(room, coming),
            taken,
        )

    def _planned(self, room: Room, against: Plan) -> Result:
        seconds = BRIEFLY if self.stopped and self.seconds is None else self.seconds
        result = plan_room(room, seconds=seconds, against=against, progress=self.show)
        self.stopped = self.stopped or (result.stopped and self.seconds is None)
        return result


def _with_taken(room: Room, plan: Plan) -> Room:
    """Return the room in which whatever collections a plan takes must be housed: a pair puts none of them out."""
    left_out = {row.brood for row in plan.not_taken}
    broods = [
        brood if brood.name in left_out else brood.model_copy(update={"optional": False})
        for brood in room.broods
    ]
    return room.model_copy(update={"broods": tuple(broods)})


def _nobody_need_be(taken: int) -> OthersMoved:
    """Return the answer where all find room with nobody moved."""
    return OthersMoved(
        taken=taken,
        left_out=(),
        proven=True,
        displaced=(),
        verdict=Verdict.FITS,
        added=(),
        price=0.0,
        price_proven=True,
        stopped=False,
    )


def _nobody_moved(coming: Sequence[Brood], beside: Beside, others: OthersMoved | None) -> NobodyMoved:
    if others is not None and not others.displaced and others.taken > len(beside.taken):
        # Settled all together more of them find room, and nobody had to move for it.
        why = {refused.brood: refused for refused in beside.refused}
        first = why.get(others.left_out[0].brood) if others.left_out else None
        return NobodyMoved(taken=others.taken, left_out=others.left_out, first=first, sold_later={})
    left = [brood for brood in coming if brood.name not in beside.taken]
    return NobodyMoved(
        taken=len(beside.taken),
        left_out=tuple(LeftOut(on=brood.collected, brood=brood.name) for brood in left),
        first=beside.refused[0] if beside.refused else None,
        sold_later=beside.sold_later,
    )


def first_tight(room: Room, plan: Plan, since: date) -> Tight | None:
    """Return the first week from a day on in which all vessels of a kind are in use; the pairs' own do not count."""
    return min(tight_weeks(room, plan, since), key=lambda one: (one.week, one.kind), default=None)


def tight_weeks(room: Room, plan: Plan, since: date) -> Iterator[Tight]:
    """Yield for each kind of vessel the first such week."""
    for kind in dict.fromkeys(vessel.declared_as for vessel in room.vessels):
        vessels = [
            vessel
            for vessel in room.vessels
            if vessel.declared_as == kind
            and VesselKind.BREEDING not in vessel.kinds
            and vessel.name not in {group.vessel for group in room.groups}
        ]
        for week, used, there in weekly_use(room, plan, vessels):
            if there and used >= there and week + WEEK > since:
                names = {vessel.name for vessel in vessels}
                broods = {
                    stay.brood
                    for stay in plan.stays
                    if stay.vessel in names and stay.from_ < week + WEEK and week < stay.until
                }
                yield Tight(kind=kind, week=week, there=there, broods=tuple(sorted(broods)))
                break
