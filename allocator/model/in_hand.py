"""The plan that the keeper already has, as the search sees it."""

from collections.abc import Callable, Iterable, Mapping
from datetime import date

from allocator.model.board import ChangeOf
from allocator.model.first_fit import FirstFit
from allocator.model.improving import is_large
from allocator.model.retold import retold
from allocator.model.room_model import Keep
from allocator.model.run import Run
from allocator.model.settled import Score, Settled
from allocator.needs import BroodNeeds, Needs
from allocator.plan import Plan

Prefer = Callable[[str, int], str | None]
"""Which vessel a plan in hand gives a brood (by name) in a slot."""

THIS_WEEK_DAYS, SOON_DAYS = 7, 56
THIS_WEEK_WEIGHT, SOON_WEIGHT, LATER_WEIGHT = 28, 4, 1
"""How much a change counts by how near it is (judgement: this week far more than next season)."""


def in_hand(needs: Needs, against: Plan | None) -> tuple[Keep | None, Prefer]:
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


def told_by(fit: FirstFit, plan: Plan) -> Callable[[BroodNeeds], Settled | None]:
    """Return what tells how a plan in hand settles a brood, where that is still right beside those on the board."""
    today = fit.needs.room.today
    ahead = tuple(
        stay.model_copy(update={"from_": max(stay.from_, today)})
        for stay in plan.stays
        if stay.until > today or stay.from_ == today  # fish may leave today the vessel they are found in
    )
    kinds = {name: vessel.kind for name, vessel in fit.board.vessels.items()}
    told = retold(fit.needs, plan.model_copy(update={"stays": ahead}), kinds)

    def still_right(brood: BroodNeeds) -> Settled | None:
        settled = told.get(brood.index)
        return settled if settled is not None and fit.may_be(brood, settled) else None

    return still_right


def carried_on(run: Run, added: dict[int, int]) -> tuple[FirstFit, list[int]]:
    """Return what the plan in hand comes to today with so many vessels added, and who is settled anew."""
    assert run.against is not None and run.keep is not None  # noqa: S101, PT018 - asked only with a plan in hand
    fit = FirstFit(run.needs, added, change_of=change_of(run.keep, run.prefer))
    return fit, fit.carry_on(told_by(fit, run.against))


def cost_asked_before(run: Run) -> int | None:
    """Return what the plan in hand of a large room adds: whether less would do was searched in depth for it already.

    None in a small room, which is asked anew each time; and if a brood of that plan is gone, since less may do now.
    """
    plan = run.against
    if plan is None or not is_large(run):
        return None
    names = {brood.name for brood in run.room.broods}
    if any(stay.brood not in names for stay in plan.stays if stay.until > run.room.today):
        return None
    prices = {kind.like: kind.price for kind in run.needs.classes}
    return sum(prices.get(added.like, 0) * added.copies for added in plan.added)


def answered(run: Run, score: Score, adding: Mapping[int, int]) -> bool:
    """Tell whether a large room does no worse than its plan in hand, for which level 1 was searched in depth already.

    So it is with somebody without a home and nothing added, where that plan had to add vessels; and where vessels are
    added for no more than there. Nothing is proven by this.
    """
    cost = cost_asked_before(run)
    if run.against is None or cost is None:
        return False
    if score.homeless_fish_days:
        return not any(adding.values()) and bool(run.against.added or run.against.homeless)
    return score.added_cost <= cost


def change_of(keep: Keep, prefer: Prefer) -> ChangeOf:
    """Return what tells how much one brood changes a plan in hand: slots in which it is elsewhere, weighed."""

    def change(brood: BroodNeeds, settled: Settled) -> int:
        where: dict[int, set[str]] = {}
        for place in settled.places:
            for slot in range(place.start, place.end):
                where.setdefault(slot, set()).add(place.vessel)
        return sum(
            keep.weight[slot]
            for slot in keep.classes[brood.index]
            if prefer(brood.name, slot) not in where.get(slot, set())
        )

    return change


def change_by_name(needs: Needs, settled: Iterable[Settled], keep: Keep, prefer: Prefer) -> int:
    """Return how much a solution changes a plan in hand: slots in which a brood is elsewhere, weighed."""
    return sum(map(change_of(keep, prefer), needs.broods, settled))
