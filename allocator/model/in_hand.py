"""The plan that the keeper already has, as the search sees it."""

from collections.abc import Callable
from datetime import date

from allocator.model.room_model import Keep
from allocator.needs import Needs
from allocator.plan import Plan

THIS_WEEK_DAYS, SOON_DAYS = 7, 56
THIS_WEEK_WEIGHT, SOON_WEIGHT, LATER_WEIGHT = 28, 4, 1
"""How much a change counts by how near it is (judgement: this week far more than next season)."""


def in_hand(needs: Needs, against: Plan | None) -> tuple[Keep | None, Callable[[str, int], str | None]]:
    """Return what the plan in hand says, as classes by slot, and which vessel name it gives."""
    if against is None:
        return None, lambda _brood, _slot: None
    names: dict[tuple[str, int], str] = {}
    slots = {day: slot for slot, day in enumerate(needs.days)}
    classes: list[dict[int, int]] = [{} for _ in needs.broods]
    index = {brood.name: brood.index for brood in needs.broods}
    for stay in against.stays:
        if stay.brood not in index:
            continue
        kind = needs.class_of.get(stay.vessel)
        for day, slot in slots.items():
            if stay.from_ <= day < stay.until and slot < needs.slots:
                names.setdefault((stay.brood, slot), stay.vessel)
                if kind is not None:
                    classes[index[stay.brood]][slot] = kind.index
    weight = tuple(
        _weight(needs.room.today, day) * int(needs.slot_days[s]) for s, day in enumerate(needs.days[:-1])
    )
    return Keep(tuple(classes), weight), lambda brood, slot: names.get((brood, slot))


def _weight(today: date, day: date) -> int:
    ahead = (day - today).days
    return THIS_WEEK_WEIGHT if ahead < THIS_WEEK_DAYS else SOON_WEIGHT if ahead < SOON_DAYS else LATER_WEIGHT
