"""Why there, why not here? The plan explained stay by stay, and a wish tried: could it be, and if not, why not."""

from collections.abc import Callable
from datetime import date, timedelta
from time import monotonic

from allocator import changes
from allocator.check import room_for
from allocator.codes import Rule
from allocator.husbandry.life import Life, lives
from allocator.husbandry.stages import fits_stage, sale_day
from allocator.interrupt import stop_on_interrupt
from allocator.plan import Plan
from allocator.planner import plan_room
from allocator.questions.asking import Asking
from allocator.questions.by_hand import broken, moved_into, moved_on, only
from allocator.questions.causes import smallest_causes
from allocator.questions.compare import called_as_in, elsewhere, level_named
from allocator.questions.held import strain_of
from allocator.questions.stays import stage_of, stay_reasons
from allocator.questions.ways_out import ways_out
from allocator.replies.why import Asked, Binding, CauseKind, Causes, Outcome, Refusal, Why
from allocator.result import Answer, FoundBy, LevelOutcome, NoPlanInTime, Progress
from allocator.room import Pin, PinKind, Room, Span

DAY = timedelta(days=1)
PLAIN = {Rule.STAGE, Rule.WINDOW, Rule.READY, Rule.MOVE_DAY, Rule.VESSEL, Rule.FRY, Rule.SNAIL, Rule.FLOW}
"""Rules that look at the brood, the vessel and the day alone: what breaks one of them is forbidden as it is asked."""

EASED = {Rule.ROOM, Rule.READY}
"""Rules that fewer or smaller fish, or another day of collection, can bend to one's wish."""


def why(
    room: Room,
    brood: str,
    *,
    vessel: str | None = None,
    day: date | None = None,
    plan: Plan | None = None,
    as_it_is: Plan | None = None,
    seconds: float | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> Why:
    """Explain where a brood lives, and why not as the keeper would have it.

    Parameters
    ----------
    room
        As read.
    brood
        A brood of the room.
    vessel
        Why is it not there? None: not asked. Of the days on which it is in a stage for which the vessel would do.
    day
        Why is it not moved on that day? With a vessel: why is it not there from that day on?
    plan
        Is asked about, if there is one, checked; else the room is planned first.
    as_it_is
        What becomes of the broods without the vessels that this plan adds, where that is known.
    seconds
        Wall time to stay within, roughly, for the plan and for each of the questions after it.
    progress
        Called often with how far it is.

    Raises
    ------
    UnchangeableError
        If there is no such brood or vessel, or the brood is not in the room on that day.
    NoPlanInTime
        If there was no plan at all when the time ran out, or the keeper stopped the run.
    """
    changes.known_brood(room, brood)
    more = {name for offer in room.could_add for name in changes.names_of_more(room, offer.like, offer.most)}
    if vessel is not None and vessel not in more:
        changes.known_vessel(room, vessel)
    best, there, stopped = _in_hand(room, plan, as_it_is) or _planned_now(room, seconds, progress)
    with stop_on_interrupt() as stop:
        asking = Asking(stop, progress or (lambda _: None), seconds, monotonic(), cut_short=stopped)
        if stopped and seconds is None:
            stop.set()  # the keeper has stopped it: what is known by now is told
        whole, plan = _as_if_there(room, best.plan)
        found = room.brood_named[brood]
        answer = Why(
            room=room.name,
            today=room.today,
            brood=brood,
            line=found.line,
            collected=found.collected,
            verdict=plan.verdict,
            added=tuple(name for name in whole.vessel_named if name not in room.vessel_named),
            stays=(),
        )
        if vessel is None and day is None:
            refusal = _refusal(asking, room, brood, there, plan)
            told: dict[str, object] = {"stays": stay_reasons(whole, plan, brood), "refusal": refusal}
        else:
            told = {"asked": _ask(asking, whole, plan, brood, best, vessel, day)}
        return answer.model_copy(update={**told, "cut_short": asking.cut_short, "asked_times": asking.asked})


def _planned_now(
    room: Room, seconds: float | None, progress: Callable[[Progress], None] | None
) -> tuple[Answer, Plan, bool]:
    """Return the best answer, the plan with what is there, and whether the search was cut short."""
    result = plan_room(room, seconds=seconds, progress=progress)
    return result.best, result.as_it_is.plan, result.stopped


def _in_hand(room: Room, plan: Plan | None, as_it_is: Plan | None) -> tuple[Answer, Plan, bool] | None:
    """Return the same of a plan in hand, if there is one; nothing says of it how good it could be."""
    if plan is None:
        return None
    strain = strain_of(room_for(room, plan), plan)
    level = LevelOutcome(level=2, name="strain", unit="points", value=strain, bound=0, proven=False)
    answer = Answer(plan=plan, found_by=FoundBy.FIRST_FIT, levels=(level,))
    return answer, plan if as_it_is is None else as_it_is, False


def _as_if_there(room: Room, plan: Plan) -> tuple[Room, Plan]:
    """Return the room and its plan as if the tanks that the plan adds were there already, called as the next copies."""
    whole = room
    for added in plan.added:
        whole = changes.with_more(whole, added.like, added.copies)
    return whole, called_as_in(whole, room, plan).model_copy(update={"added": ()})


# -- no home ---------------------------------------------------------------------------------------------


def _refusal(asking: Asking, room: Room, brood: str, plan: Plan, best: Plan) -> Refusal | None:
    """Return why a brood has no home with what is there, or is left out; None where it has a home.

    Parameters
    ----------
    plan
        With what is there.
    best
        The plan to follow.
    """
    lost = [(row.from_, row.until) for row in plan.homeless if row.brood == brood]
    left_out = [(row.on, row.on) for row in best.not_taken if row.brood == brood]
    if not lost and not left_out:
        return None
    others = _lost(plan) - {brood}
    everyone = changes.with_all_taken(room)
    smaller = changes.only_broods(everyone, [name for name in room.brood_named if name not in others])
    if others and asking.can_house(smaller, "is it the only one?").housed:
        smaller = everyone  # without the others it has a home: they are among the causes
    causes = smallest_causes(asking, smaller, brood)
    return Refusal(
        from_=min(start for start, _ in lost or left_out),
        until=max(until for _, until in lost or left_out),
        causes=causes,
        ways_out=ways_out(asking, smaller, brood, causes=_broods_in(causes)),
        not_taken=not lost,
    )


def _lost(plan: Plan) -> set[str]:
    """Return the broods that a plan leaves without a home or does not take."""
    return {row.brood for row in plan.homeless} | {row.brood for row in plan.not_taken}


def _broods_in(causes: Causes | None) -> list[str]:
    return [cause.name for cause in causes.causes if cause.kind is CauseKind.BROOD] if causes else []


# -- a wish ----------------------------------------------------------------------------------------------


def _ask(
    asking: Asking,
    room: Room,
    plan: Plan,
    brood: str,
    best: Answer,
    vessel: str | None,
    day: date | None,
) -> Asked:
    """Try what is asked for, and say what came of it.

    It is asked of the room of the plan: with the vessels that the plan adds, without broods that have no home even
    so, and with all collections taken that the plan takes.
    """
    if vessel is not None:
        changes.known_vessel(room, vessel)
    if brood in {row.brood for row in plan.not_taken}:
        raise changes.UnchangeableError(
            f"{brood} is left out in the plan", "ask why without --not and --not-on"
        )
    lost = _lost(plan) - {brood}
    kept = [name for name in room.brood_named if name not in lost]
    room = changes.with_all_taken(changes.only_broods(room, kept))
    plan = only(plan, room.brood_named)
    life = lives(room)[brood]
    if vessel is None:
        assert day is not None  # noqa: S101 - one of the two is asked
        wish = Pin(kind=PinKind.MOVE_ON, brood=brood, span=Span(start=day, end=day + DAY))
        so_already = any(m.on == day and m.brood == brood and m.from_ is not None for m in plan.moves)
        by_hand = _by_hand_on(room, plan, life, day)
    else:
        span = _span(room, plan, life, vessel, day)
        wish = Pin(kind=PinKind.IN, brood=brood, vessel=vessel, span=span)
        start, until = span.start, span.end
        assert start is not None  # noqa: S101 - made just above
        assert until is not None  # noqa: S101 - made just above
        mine = [s for s in plan.stays if s.brood == brood and s.from_ < until and s.until > start]
        so_already = bool(mine) and all(s.vessel == vessel for s in mine)
        by_hand = moved_into(plan, life, vessel, start, until)
    asked = Asked(
        outcome=Outcome.SO_ALREADY,
        vessel=vessel,
        day=day,
        from_=wish.span.start if vessel is not None else None,
        until=wish.span.end if vessel is not None else None,
    )
    if so_already:
        return asked
    return _tried(asking, room, plan, by_hand, wish, best, asked)


def _tried(
    asking: Asking, room: Room, plan: Plan, by_hand: Plan, wish: Pin, best: Answer, asked: Asked
) -> Asked:
    name = wish.brood
    alone = broken(changes.only_broods(room, [name]), only(by_hand, [name]))
    told = asked.model_copy(update={"breaks_alone": alone, "breaks": _others(broken(room, by_hand), alone)})
    lonely = changes.with_pins(changes.only_broods(room, [name]), [wish])
    by_itself = asking.can_house(lonely, "could it be there alone?").housed if alone else True
    rules = {breach.rule for breach in alone}
    if by_itself is False or (by_itself is None and rules & PLAIN):
        ways = ways_out(asking, room, name, (wish,)) if rules <= EASED else ()
        return told.model_copy(update={"outcome": Outcome.FORBIDDEN, "ways_out": ways})
    if by_itself is None:
        return told.model_copy(update={"outcome": Outcome.NOT_FOUND})
    wished = changes.with_pins(changes.with_only_those_there(room), (*room.pins, wish))
    housed = asking.can_house(wished, "can it be so?").housed
    tried = _planned(asking, wished, plan) if housed is not False else None
    if tried is not None and not tried.plan.homeless and not broken(wished, tried.plan):
        return _could(told, room, name, plan, best, tried)
    causes = smallest_causes(asking, room, name, (wish,))
    return told.model_copy(
        update={
            "outcome": Outcome.CLASHES if causes is not None else Outcome.NOT_FOUND,
            "causes": causes,
            "ways_out": ways_out(asking, room, name, (wish,), _broods_in(causes)),
        }
    )


def _planned(asking: Asking, room: Room, plan: Plan) -> Answer | None:
    """Return the best plan with a wish, on from the plan in hand; None where there is no time for one."""
    if asking.over():
        return None
    asking.asked += 1
    try:
        result = plan_room(room, seconds=asking.left(), against=plan, progress=asking.progress)
    except NoPlanInTime:
        asking.cut_short = True
        return None
    asking.cut_short |= result.stopped
    if result.stopped and asking.seconds is None:
        asking.stop.set()
    return result.best


def _could(told: Asked, room: Room, name: str, plan: Plan, best: Answer, tried: Answer) -> Asked:
    """Return at what loss it could be, from a checked plan in which it is so."""
    strain = [level_named(answer.levels, "strain") for answer in (best, tried)]
    worse = [level.value if level else 0.0 for level in strain]
    moved = [sum(m.from_ is not None and m.to is not None for m in p.moves) for p in (plan, tried.plan)]
    others = {row.brood for row in elsewhere(room.brood_named.keys() - {name}, plan, tried.plan)}
    return told.model_copy(
        update={
            "outcome": Outcome.COULD_BE,
            "more_strain": worse[1] - worse[0],
            "more_handlings": moved[1] - moved[0],
            "strain_proven": all(level is not None and level.proven for level in strain),
            "others": tuple(other for other in room.brood_named if other in others),
        }
    )


def _span(room: Room, plan: Plan, life: Life, vessel: str, day: date | None) -> Span:
    """Return the days for which a brood is asked to be in a vessel: those of the stages that the vessel is for.

    If it is for none of them, all days; the checker then says so.
    """
    name, goal = life.brood.name, room.vessel_named[vessel]
    mine = sorted((s for s in plan.stays if s.brood == name), key=lambda s: s.from_)
    fitting = [s for s in mine if fits_stage(life, stage_of(life, room.vessel_named[s.vessel], s), goal)]
    days = [(s.from_, s.until) for s in fitting or mine] or [(life.brood.collected, sale_day(life))]
    start, until = min(begin for begin, _ in days), max(end for _, end in days)
    first = room.today
    if not life.brood.planned:
        first = room.next_move_day(max(room.today + DAY, life.hatch_until))
    if day is not None:
        if not any(s.from_ <= day < s.until for s in mine):
            raise changes.UnchangeableError(f"{name} is not in the room on {day}", "give another day")
        start, until = day, max(until, day + DAY)
    start = max(start, first) if _elsewhere_today(life, vessel) else start
    if start >= until:
        raise changes.UnchangeableError(f"{name} cannot be moved before {first}", "ask about another brood")
    return Span(start=start, end=until)


def _elsewhere_today(life: Life, vessel: str) -> bool:
    """Tell whether a brood is somewhere else than in a vessel today, and has to be moved there first."""
    return not life.brood.planned and {home.vessel for home in life.brood.homes} != {vessel}


def _by_hand_on(room: Room, plan: Plan, life: Life, day: date) -> Plan:
    """Return the plan with the move (or sale) of a brood that is nearest to a day done on that day."""
    name = life.brood.name
    days = sorted({m.on for m in plan.moves if m.brood == name and m.from_ is not None})
    begun = min((s.from_ for s in plan.stays if s.brood == name), default=life.brood.collected)
    if day <= max(begun, room.today) or not days or day > days[-1] + timedelta(days=366):
        raise changes.UnchangeableError(f"{name} is not there to be moved on {day}", "give another day")
    return moved_on(plan, life, min(days, key=lambda on: abs((on - day).days)), day)


def _others(breaks: tuple[Binding, ...], alone: tuple[Binding, ...]) -> tuple[Binding, ...]:
    known = set(alone)
    return tuple(breach for breach in breaks if breach not in known)
