"""Where will next month's fry live? One coming brood beside a plan that is held still."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from allocator.husbandry.life import lives
from allocator.husbandry.stages import stage_kinds
from allocator.model.rank import Slotted
from allocator.model.settled import Settled, place_load
from allocator.needs import FULL, BroodNeeds
from allocator.plan import Plan
from allocator.questions.held import Held
from allocator.questions.refusal import reached
from allocator.replies.fit import FitReply, Offer, StageHomes, Step
from allocator.room import Brood, Room


def fit_of(room: Room, plan: Plan, coming: Brood) -> FitReply:
    """Return where a coming brood will live, with nobody else moved.

    Parameters
    ----------
    room
        With the vessels that the plan adds.
    plan
        Checked.
    coming
        A planned brood that is not in the room yet.

    Raises
    ------
    NotHeldError
        If the plan was edited by hand in ways that the search has no words for.
    """
    held = Held(room, plan, [coming])
    brood = held.coming[0]
    stages = list(_Homes(held, brood).stages())
    beside = held.settle()
    settled = held.fit.board.settled[brood.index]
    taken = not beside.refused
    return FitReply(
        room=room.name,
        brood=coming.name,
        line=coming.line,
        collected=coming.collected,
        by=coming.by,
        eggs=coming.eggs,
        steps=tuple(steps_of(held, brood, beside.plan)) if taken else (),
        sold=held.needs.days[settled.sale] if taken else None,
        stages=tuple(_marked(homes, held, settled) if taken else homes for homes in stages),
        sold_later=beside.sold_later,
        refusal=None if taken else beside.refused[0],
        added=tuple(f"{row.copies} more {row.like}" for row in plan.added),
        homeless=tuple(dict.fromkeys(row.brood for row in plan.homeless)),
    )


def steps_of(held: Held, brood: BroodNeeds, plan: Plan) -> Iterator[Step]:
    """Yield the stays of a brood that has found room in a plan, with how full each vessel is then."""
    needs, life = held.needs, lives(held.room)[brood.name]
    settled = held.fit.board.settled[brood.index]
    slot_of = {day: slot for slot, day in enumerate(needs.days)}
    for stay in plan.stays:
        if stay.brood != brood.name:
            continue
        start, end = slot_of[stay.from_], slot_of[stay.until]
        vessel = held.fit.board.vessels[stay.vessel]
        number = max(p.phase for p in settled.places if p.vessel == stay.vessel and p.start <= start)
        yield Step(
            stage=brood.life.rules.stages[brood.phases[number].stage].name,
            vessel=stay.vessel,
            from_=stay.from_,
            until=stay.until,
            fish=stay.fish,
            mm=None if life.is_egg(stay.from_) else round(life.length_mm(stay.from_), 1),
            full_at_first=_percent(int(vessel.load[:, start].max())),
            full_at_last=_percent(int(vessel.load[:, end - 1].max())),
            mates=_mates(held, vessel, brood, start, end),
        )


def _marked(homes: StageHomes, held: Held, settled: Settled) -> StageHomes:
    """Return the same with the homes on the chosen way marked and put first, in its own days."""
    days = held.needs.days
    spans = {(place.vessel, days[place.start]) for place in settled.places}
    vessels = {offer.vessel for offer in homes.offers if any(offer.vessel == vessel for vessel, _ in spans)}
    offers = [offer.model_copy(update={"chosen": offer.vessel in vessels}) for offer in homes.offers]
    return homes.model_copy(update={"offers": tuple(sorted(offers, key=lambda offer: not offer.chosen))})


def _mates(held: Held, vessel: Slotted, brood: BroodNeeds, start: int, end: int) -> tuple[str, ...]:
    found = {
        held.needs.broods[index].name
        for index, place, _ in vessel.occupants
        if index != brood.index and place.start < end and start < place.end
    }
    return tuple(sorted(found))


def _percent(load: int) -> int:
    return -(-load * 100 // FULL)


@dataclass
class _Homes:
    """Goes through the stages of a brood that is on the board without a home."""

    held: Held
    brood: BroodNeeds

    def stages(self) -> Iterator[StageHomes]:
        """Yield the homes of each stage, until there is none for one."""
        fit, brood = self.held.fit, self.brood
        needed = fit.heads(brood)
        starts: Sequence[int] = brood.phases[0].entries
        for place, number in enumerate(needed):
            last = place == len(needed) - 1
            ends = list(brood.sale_slots) if last else list(brood.phases[needed[place + 1]].entries)
            yield self._stage(number, starts, ends, last=last)
            starts = reached(fit, brood, number, starts, ends)
            if not starts:
                return

    def _stage(self, number: int, starts: Sequence[int], ends: list[int], *, last: bool) -> StageHomes:
        brood, phase = self.brood, self.brood.phases[number]
        found = [
            offer
            for kind, rank in self.held.fit.board.ranks.items()
            if brood.allowed[phase.stage][kind].any()
            for vessel in rank.vessels
            if (offer := self._offer(number, vessel, starts, ends, last=last)) is not None
        ]
        return StageHomes(
            stage=brood.life.rules.stages[phase.stage].name,
            kinds=tuple(kind.value for kind in stage_kinds(brood.life, phase.stage)),
            parts=phase.portions,
            offers=tuple(
                sorted(found, key=lambda o: (o.first_free, o.strain, -len(o.mates), o.full_at_last))
            ),
        )

    def _offer(
        self, number: int, vessel: Slotted, starts: Sequence[int], ends: list[int], *, last: bool
    ) -> Offer | None:
        """Return what a vessel has to offer from the first day on which the brood may come, if it does at all."""
        fit, brood, phase = self.held.fit, self.brood, self.brood.phases[number]
        free = fit.offers.free_in(brood, number, 1, phase.portions, vessel)
        slow = fit.needs.slow(vessel.kind, brood)
        for start in starts:
            after = fit.sales_after(brood, start, number, slow=slow, slowed=False) if last else ends
            until = next((end for end in after if end > start and free[start:end].all()), None)
            if until is not None:
                load = vessel.load + place_load(brood, vessel.kind.index, 1, phase.portions)
                strain = fit.board.extra_strain(brood, 1, phase.portions, vessel)[start:until].sum()
                days = fit.needs.days
                return Offer(
                    vessel=vessel.name,
                    first_free=days[start],
                    from_=days[start],
                    until=days[until],
                    full_at_first=_percent(int(load[:, start].max())),
                    full_at_last=_percent(int(load[:, until - 1].max())),
                    mates=_mates(self.held, vessel, brood, start, until),
                    strain=int(strain),
                    chosen=False,
                )
        return None
