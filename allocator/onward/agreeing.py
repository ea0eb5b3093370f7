"""Whether a plan that was made some time ago still tells of a room as it stands."""

from datetime import date, timedelta

from allocator.onward.fates import parts_on
from allocator.plan import Plan, Stay
from allocator.room import Brood, Room

DAY = timedelta(days=1)


def first_day(plan: Plan) -> date | None:
    """Return the first day that a plan tells of; None for a plan without broods."""
    days = [stay.from_ for stay in plan.stays] + [gap.from_ for gap in plan.homeless]
    return min(days, default=None)


def differences(room: Room, plan: Plan) -> list[str]:
    """Return in words where broods are elsewhere than a plan, made for an earlier day, has them on the room's today."""
    stays: dict[str, list[Stay]] = {}
    for stay in plan.stays:
        stays.setdefault(stay.brood, []).append(stay)
    gaps = {gap.brood for gap in plan.homeless}
    told = set(stays) | gaps | {row.brood for row in plan.not_taken}
    found = []
    for brood in room.broods:
        if brood.name not in told:
            found.append(f"the plan knows nothing of {brood.name}")
        elif not brood.planned and brood.name not in gaps:
            found += _elsewhere(brood, stays.get(brood.name, []), room.today)
    for name in sorted(stays):
        there = any(stay.from_ < room.today < stay.until for stay in stays[name])
        coming = any(stay.from_ >= room.today for stay in stays[name])
        if name not in room.brood_named and (there or coming):
            found.append(f"the plan has {name}, and the room has not")
    return found


def _elsewhere(brood: Brood, stays: list[Stay], today: date) -> list[str]:
    homes = {home.vessel for home in brood.homes}
    morning, evening = ({part.vessel for part in parts_on(stays, day)} for day in (today - DAY, today))
    if homes in (morning, evening):
        return []
    planned = ", ".join(sorted(morning)) or "nowhere"
    return [f"{brood.name} is in {', '.join(sorted(homes))}, and in {planned} by the plan"]
