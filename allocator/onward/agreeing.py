"""Whether a plan that was made some time ago still tells of a room as it stands."""

from datetime import date, timedelta

from allocator.onward.fates import parts_on
from allocator.plan import Plan, Stay
from allocator.room import Brood, Room, new_vessel_name

DAY = timedelta(days=1)


def first_day(plan: Plan) -> date | None:
    """Return the first day that a plan tells of; None for a plan without broods."""
    days = [stay.from_ for stay in plan.stays] + [gap.from_ for gap in plan.homeless]
    return min(days, default=None)


def strangers(room: Room, plan: Plan) -> list[str]:
    """Return in words which broods, collections and vessels only one of a room and a plan knows.

    Broods that are gone by the room's today are no strangers to the plan.
    """
    stays = {stay.brood for stay in plan.stays if stay.until > room.today}
    told = {stay.brood for stay in plan.stays} | {gap.brood for gap in plan.homeless}
    told |= {row.brood for row in plan.not_taken}
    added = {new_vessel_name(row.like, number + 1) for row in plan.added for number in range(row.copies)}
    vessels = {stay.vessel for stay in plan.stays if stay.until > room.today} - set(room.vessel_named) - added
    return [
        *(f"the plan knows nothing of {brood.name}" for brood in room.broods if brood.name not in told),
        *(f"the room knows nothing of {name}" for name in sorted(stays - set(room.brood_named))),
        *(f"there is no {name} in the room" for name in sorted(vessels)),
    ]


def differences(room: Room, plan: Plan) -> list[str]:
    """Return in words where broods are elsewhere than a plan, made for an earlier day, has them on the room's today."""
    stays: dict[str, list[Stay]] = {}
    for stay in plan.stays:
        stays.setdefault(stay.brood, []).append(stay)
    gaps = {gap.brood for gap in plan.homeless}
    found = []
    for brood in room.broods:
        if not brood.planned and brood.name not in gaps:
            found += _elsewhere(brood, stays.get(brood.name, []), room.today)
    return found


def _elsewhere(brood: Brood, stays: list[Stay], today: date) -> list[str]:
    homes = {home.vessel for home in brood.homes}
    morning, evening = ({part.vessel for part in parts_on(stays, day)} for day in (today - DAY, today))
    if homes in (morning, evening):
        return []
    planned = ", ".join(sorted(morning)) or "nowhere"
    return [f"{brood.name} is in {', '.join(sorted(homes))}, and in {planned} by the plan"]
