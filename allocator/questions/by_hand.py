"""A plan changed by hand in one point, for the checker to say what that would break."""

from collections.abc import Iterable
from datetime import date, timedelta
from itertools import pairwise
from math import ceil

from allocator.check import Checked, room_for
from allocator.codes import Rule
from allocator.husbandry.life import Life
from allocator.plan import FlowChange, Move, Plan, Stay
from allocator.replies.why import Binding
from allocator.room import Room

NOT_TOLD = frozenset({Rule.AGREE, Rule.FISH})
"""Rules about how a plan is written down: a change by hand leaves that untidy, and it says nothing about the fish."""


def moved_into(plan: Plan, life: Life, vessel: str, start: date, until: date) -> Plan:
    """Return the plan with a brood in a vessel from a day until another (excluded), and all else the same."""
    stays: list[Stay] = []
    for stay in plan.stays:
        if stay.brood != life.brood.name:
            stays.append(stay)
            continue
        cuts = sorted(
            {stay.from_, stay.until, *(day for day in (start, until) if stay.from_ < day < stay.until)}
        )
        for begin, end in pairwise(cuts):
            inside = start <= begin and end <= until
            stays.append(
                stay.model_copy(
                    update={
                        "from_": begin,
                        "until": end,
                        "fish": _left(life, stay, begin),
                        "vessel": vessel if inside else stay.vessel,
                    }
                )
            )
        if len(cuts) == 1:
            stays.append(stay)
    return _told(plan, life.brood.name, stays, calm=[vessel])


def moved_on(plan: Plan, life: Life, old: date, new: date) -> Plan:
    """Return the plan with whatever a brood does on one day done on another, and all else the same."""
    name = life.brood.name

    def on(day: date) -> date:
        return new if day == old else day

    stays = [
        stay.model_copy(
            update={
                "from_": on(stay.from_),
                "until": on(stay.until),
                "fish": _left(life, stay, on(stay.from_)),
            }
        )
        if stay.brood == name
        else stay
        for stay in plan.stays
    ]
    touched = [stay.vessel for stay in plan.stays if stay.brood == name and old in (stay.from_, stay.until)]
    sold = tuple(
        move.model_copy(update={"on": on(move.on)}) if move.brood == name and move.to is None else move
        for move in plan.moves
    )
    lost = tuple(
        row.model_copy(update={"from_": on(row.from_)}) if row.brood == name else row for row in plan.homeless
    )
    return _told(plan.model_copy(update={"moves": sold, "homeless": lost}), name, stays, calm=touched)


def _left(life: Life, stay: Stay, day: date) -> int:
    """Return how many fish of a stay there are on another day."""
    begun = life.heads(stay.from_)
    return stay.fish if day == stay.from_ or not begun else ceil(stay.fish * life.heads(day) / begun - 1e-6)


def _told(plan: Plan, brood: str, stays: list[Stay], calm: Iterable[str]) -> Plan:
    """Return the plan with other stays of a brood: its moves told anew, some vessels set as weak as they go."""
    mine = sorted((s for s in stays if s.brood == brood), key=lambda s: (s.from_, s.until))
    before = {(m.on, m.from_, m.to) for m in plan.moves if m.brood == brood}
    moves = [move for move in plan.moves if move.brood != brood or move.to is None]
    sales = {move.on: move for move in moves if move.brood == brood}
    moves = [move for move in moves if move.brood != brood]
    for stay in mine:
        came = [old for old in mine if old.until == stay.from_ and old is not stay]
        same = [old for old in came if old.lot == stay.lot] or came
        if not came and any(on == stay.from_ and start is None for on, start, _ in before):
            moves.append(_move(stay, None, stay.vessel, stay.fish))
        for old in same:
            if old.vessel != stay.vessel:
                moves.append(_move(stay, old.vessel, stay.vessel, stay.fish))
    for stay in mine:
        sale = sales.get(stay.until)
        if sale is not None:
            ending = [one for one in mine if one.until == stay.until]
            moves.append(
                sale.model_copy(
                    update={"from_": stay.vessel, "lot": stay.lot, "fish": ceil(sale.fish / len(ending))}
                )
            )
    quiet = set(calm)
    flow = tuple(change for change in plan.flow if change.vessel not in quiet)
    return plan.model_copy(update={"stays": tuple(stays), "moves": tuple(moves), "flow": flow})


def _move(stay: Stay, start: str | None, goal: str, fish: int) -> Move:
    return Move(on=stay.from_, lot=stay.lot, brood=stay.brood, from_=start, to=goal, fish=fish)


def broken(room: Room, plan: Plan) -> tuple[Binding, ...]:
    """Return what a plan breaks, apart from what is wrong today already.

    Vessels without a flow setting are set as weak as they go: then only what is too strong even so is told.
    """
    whole = room_for(room, plan)
    set_already = {change.vessel for change in plan.flow}
    calm = tuple(
        FlowChange(vessel=vessel.name, from_=room.today, setting=vessel.flow_lowest)
        for vessel in whole.vessels
        if vessel.name not in set_already
    )
    plan = plan.model_copy(update={"flow": plan.flow + calm})
    found = [
        breach
        for breach in Checked(whole, plan).breaches
        if not breach.as_found and breach.rule not in NOT_TOLD
    ]
    return tuple(Binding(rule=b.rule, day=b.day, text=b.text) for b in found)


def only(plan: Plan, broods: Iterable[str]) -> Plan:
    """Return what a plan says of some broods."""
    kept = set(broods)
    return plan.model_copy(
        update={
            "stays": tuple(stay for stay in plan.stays if stay.brood in kept),
            "moves": tuple(move for move in plan.moves if move.brood in kept),
            "homeless": tuple(row for row in plan.homeless if row.brood in kept),
            "not_taken": tuple(row for row in plan.not_taken if row.brood in kept),
        }
    )


def move_day(room: Room, day: date, *, after: bool) -> date | None:
    """Return the next day (or the one before) on which fish are moved; None if there is none after today."""
    step = timedelta(days=1 if after else -1)
    day += step
    while not room.keeper.moves_fish_on(day):
        if day <= room.today:
            return None
        day += step
    return day if day > room.today else None
