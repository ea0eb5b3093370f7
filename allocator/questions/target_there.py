"""What a plan has of a line by a day anyway, and whether it can be kept until then."""

from datetime import date, timedelta
from math import ceil, floor

from allocator.check import Checked
from allocator.husbandry.life import Life, lives
from allocator.plan import Move, Plan
from allocator.questions.target_days import ready_alone
from allocator.replies.target import Already
from allocator.room import Brood, Room
from allocator.rules import Estimate, GrowthPace
from allocator.units import DUST


def already_there(room: Room, checked: Checked, line: str, by: date) -> tuple[list[Already], Plan]:
    """Return the broods of a line that are long enough by a day, and the plan with those kept until it.

    A brood that is ready so long before that its time to find buyers is over by then is taken to be sold, and is not
    named, nor is one that is promised for an order. One that the plan would sell before the day stays in its last
    vessels, where the checker allows it.
    """
    plan = checked.plan
    lost = {row.brood for row in plan.homeless}
    slowly = ready_if_slow(room, plan)
    found = []
    for brood in sorted(room.broods, key=lambda brood: (checked.ready.get(brood.name, by), brood.name)):
        ready = checked.ready.get(brood.name)
        if brood.line != line or brood.name in lost or ready is None or ready > by:
            continue
        if brood.name in room.order_of:
            continue
        if _gone_by(room, line, ready, by):
            continue
        sold = sold_on(plan, brood)
        longer = kept_until(room, plan, brood, by)
        kept = sold >= by or all(breach.as_found for breach in Checked(room, longer).breaches)
        plan = longer if kept else plan
        late = max(ready - ready_alone(life_of(room, brood)), timedelta())
        found.append(
            Already(
                brood=brood.name,
                fish=fish_on(life_of(room, brood), by),
                fish_low=fish_on(life_of(room, brood, Estimate.LOW), by) if slowly[brood.name] <= by else 0,
                late_days=late.days,
                ready=ready,
                sold=sold,
                kept_days=max((by - sold).days, 0) if kept else 0,
                counts=kept,
            )
        )
    return found, plan


def ready_if_slow(room: Room, plan: Plan) -> dict[str, date]:
    """Return the day on which each brood is long enough where it lives, if all grow slowly: they are held back longer."""
    keeper = room.keeper.model_copy(update={"growth": GrowthPace.SLOW})
    return Checked(room.model_copy(update={"keeper": keeper}), plan).ready


def sold_before(room: Room, checked: Checked, line: str, by: date) -> list[str]:
    """Return the broods of a line whose time to find buyers is over by a day, in the order in which they are ready."""
    ready = checked.ready
    names = [
        brood.name
        for brood in room.broods
        if brood.line == line and brood.name in ready and brood.name not in room.order_of
    ]
    return sorted((n for n in names if _gone_by(room, line, ready[n], by)), key=lambda n: (ready[n], n))


def _gone_by(room: Room, line: str, ready: date, by: date) -> bool:
    sell_within = timedelta(days=ceil(room.line_named[line].rules.sell_within_days.value))
    return ready + sell_within < by


def fish_on(life: Life, day: date) -> int:
    """Return the whole fish of a brood on a day."""
    return floor(life.heads(day) + DUST)


def life_of(
    room: Room, brood: Brood, survival: Estimate = Estimate.EXPECTED, growth: GrowthPace | None = None
) -> Life:
    """Return the forecast of a brood at one end of the survival bands; at the pace of the keeper if none is given."""
    keeper = room.keeper.model_copy(update={"survival": survival, "growth": growth or room.keeper.growth})
    return lives(room.model_copy(update={"keeper": keeper, "broods": (brood,)}))[brood.name]


def kept_until(room: Room, plan: Plan, brood: Brood, day: date) -> Plan:
    """Return a plan that sells a brood on the first day, from one on, on which fish are moved; the same if it does."""
    sold = sold_on(plan, brood)
    if sold >= day:
        return plan
    leaves = room.next_move_day(day)
    life = life_of(room, brood, room.keeper.survival)
    alive = life.heads(leaves) / max(life.heads(sold), DUST)

    def sale(move: Move) -> Move:
        if move.brood != brood.name or move.on != sold or move.to is not None:
            return move
        return move.model_copy(update={"on": leaves, "fish": ceil(move.fish * alive - DUST)})

    stays = tuple(
        stay.model_copy(update={"until": leaves}) if (stay.brood, stay.until) == (brood.name, sold) else stay
        for stay in plan.stays
    )
    return plan.model_copy(update={"stays": stays, "moves": tuple(map(sale, plan.moves))})


def sold_on(plan: Plan, brood: Brood) -> date:
    """Return the day on which a plan sells a brood."""
    return max(stay.until for stay in plan.stays if stay.brood == brood.name)
