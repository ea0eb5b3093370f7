"""Unfold a settled room into a plan: stays, moves, flow settings, added vessels and homeless fish."""

from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil

from allocator.husbandry.homes import fish_today
from allocator.model.naming import Solution
from allocator.model.settled import Settled, is_left_out
from allocator.needs import DUST, BroodNeeds, Needs
from allocator.plan import Added, FlowChange, Homeless, Move, NotTaken, Plan, Stay, Verdict
from allocator.room import new_vessel_name
from allocator.rules import FlowSetting


@dataclass
class _Lot:
    """A lot as it stands: where, since when, and with how many parts of the brood and fish at that time."""

    name: str
    vessel: str
    since: int
    parts: int
    fish: int


def unfold(needs: Needs, solution: Solution, *, proven: bool) -> Plan:
    """Return the plan of a settled room. The verdict follows from who is homeless and what is added."""
    stays: list[Stay] = []
    moves: list[Move] = []
    homeless: list[Homeless] = []
    taken: set[str] = set()
    for brood, settled in zip(needs.broods, solution.settled, strict=True):
        if is_left_out(brood, settled):
            continue
        taken.add(brood.name)
        story = _Story(needs, brood, settled)
        stays += story.stays
        moves += story.moves
        homeless += story.homeless
    added = _added(needs, solution, stays)
    verdict = Verdict.DOES_NOT_FIT if homeless else Verdict.NEEDS_MORE_TANKS if added else Verdict.FITS
    return Plan(
        verdict=verdict,
        proven=proven,
        added=added,
        stays=tuple(sorted(stays, key=lambda s: (s.from_, s.brood, s.lot, s.vessel))),
        moves=tuple(sorted(moves, key=lambda m: (m.on, m.brood, m.lot, m.from_ or "", m.to or ""))),
        flow=_flow(needs, solution),
        homeless=tuple(sorted(homeless, key=lambda h: (h.from_, h.brood))),
        not_taken=tuple(
            NotTaken(brood=brood.name, on=brood.collected, eggs=brood.eggs)
            for brood in sorted(needs.room.broods, key=lambda b: (b.collected, b.name))
            if brood.optional and brood.name not in taken
        ),
    )


class _Story:
    """The stays and moves of one brood, written down phase by phase."""

    def __init__(self, needs: Needs, brood: BroodNeeds, settled: Settled) -> None:
        self.needs, self.brood, self.settled = needs, brood, settled
        self.stays: list[Stay] = []
        self.moves: list[Move] = []
        self.homeless: list[Homeless] = []
        self.lots: list[_Lot] = []
        self.letters = 0
        self._tell()

    def _day(self, slot: int) -> date:
        return self.needs.days[slot]

    def _heads(self, slot: int) -> int:
        return ceil(self.brood.life.heads(self._day(slot)) - DUST)

    def _tell(self) -> None:
        brood, settled = self.brood, self.settled
        for number, phase in enumerate(brood.phases):
            if settled.homeless is not None and number >= settled.homeless:
                break
            places = [p for p in settled.places if p.phase == number]
            if not places:
                continue
            parts = {place.vessel: place.parts for place in places}
            slot = settled.entries[number]
            if phase.homes:
                found = fish_today(brood.life, self.needs.room.today)
                self._begin(slot, parts, {vessel: found[vessel] for vessel in parts})
            elif not self.lots:
                self._begin(slot, parts, share_out(self._heads(slot), parts))
                for lot in self.lots:
                    self._move(slot, lot.name, None, lot.vessel, lot.fish)
            else:
                self._go_on(slot, parts)
        end = settled.entries[settled.homeless] if settled.homeless is not None else settled.sale
        for lot in self.lots:
            self._close(lot, end)
            if settled.homeless is None:
                self._move(end, lot.name, lot.vessel, None, self._fish_now(lot, end))
        if settled.homeless is not None:
            fish = self._heads(end)
            row = {
                "brood": brood.name,
                "from": self._day(end),
                "until": max(self._day(settled.sale), self._day(end) + timedelta(days=1)),
                "fish": fish,
            }
            self.homeless.append(Homeless.model_validate(row))

    def _fish_now(self, lot: _Lot, slot: int) -> int:
        shares = share_out(self._heads(slot), {other.vessel: other.parts for other in self.lots})
        return shares[lot.vessel]

    def _begin(self, slot: int, parts: dict[str, int], fish: dict[str, int]) -> None:
        for vessel in sorted(parts):
            self.lots.append(_Lot(self._lot_name(len(parts)), vessel, slot, parts[vessel], fish[vessel]))

    def _lot_name(self, count: int) -> str:
        """Return the brood's own name for a whole brood; letters for its parts, each used once."""
        if count == 1:
            return self.brood.name
        letter = _letters(self.letters)
        self.letters += 1
        return f"{self.brood.name} {letter}"

    def _go_on(self, slot: int, parts: dict[str, int]) -> None:
        """End the lots of the phase before and begin those of the next, carrying as few fish as can be."""
        before = {lot.vessel: lot for lot in self.lots}
        if set(before) == set(parts) and _same_shares(before, parts):
            for lot in self.lots:
                lot.parts = parts[lot.vessel]
            return
        there = share_out(self._heads(slot), {vessel: lot.parts for vessel, lot in before.items()})
        then = share_out(self._heads(slot), parts)
        lots: list[_Lot] = []
        names: dict[str, str] = {}
        if len(parts) > 1:  # a part that stays in its vessel keeps its letter
            names = {v: before[v].name for v in parts if v in before and before[v].name != self.brood.name}
        for vessel in sorted(parts):
            name = names.get(vessel) or self._lot_name(len(parts))
            lots.append(_Lot(name, vessel, slot, parts[vessel], then[vessel]))
        for lot in self.lots:
            self._close(lot, slot)
        spare = {vessel: fish - min(fish, then.get(vessel, 0)) for vessel, fish in there.items()}
        for lot in lots:
            wanted = lot.fish - min(there.get(lot.vessel, 0), lot.fish)
            for vessel in sorted(spare):
                carried = min(wanted, spare[vessel])
                if carried > 0:
                    self._move(slot, lot.name, vessel, lot.vessel, carried)
                    spare[vessel] -= carried
                    wanted -= carried
        self.lots = lots

    def _close(self, lot: _Lot, slot: int) -> None:
        row = {
            "lot": lot.name,
            "brood": self.brood.name,
            "vessel": lot.vessel,
            "from": self._day(lot.since),
            "until": self._day(slot),
            "fish": lot.fish,
        }
        self.stays.append(Stay.model_validate(row))

    def _move(self, slot: int, lot: str, source: str | None, target: str | None, fish: int) -> None:
        row = {
            "on": self._day(slot),
            "lot": lot,
            "brood": self.brood.name,
            "from": source,
            "to": target,
            "fish": fish,
        }
        self.moves.append(Move.model_validate(row))


def _same_shares(before: dict[str, _Lot], parts: dict[str, int]) -> bool:
    total_before = sum(lot.parts for lot in before.values())
    total = sum(parts.values())
    return all(lot.parts * total == parts[vessel] * total_before for vessel, lot in before.items())


def _letters(number: int) -> str:
    """Return a, b, ... z, aa, ab, ..."""
    text = ""
    number += 1
    while number > 0:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("a") + rest) + text
    return text


def share_out(fish: int, parts: dict[str, int]) -> dict[str, int]:
    """Share whole fish out by parts: the largest remainders get the odd fish, in order of name where equal.

    Every part gets at least one fish as long as there are enough.
    """
    total = sum(parts.values())
    shares = {vessel: fish * count // total for vessel, count in parts.items()}
    odd = fish - sum(shares.values())
    order = sorted(parts, key=lambda v: (-(fish * parts[v] % total), v))
    for vessel in order[:odd]:
        shares[vessel] += 1
    return shares


def _added(needs: Needs, solution: Solution, stays: list[Stay]) -> tuple[Added, ...]:
    rows = []
    for index, copies in sorted(solution.added.items()):
        like = needs.classes[index].like
        names = {new_vessel_name(like, number + 1) for number in range(copies)}
        first = min((stay.from_ for stay in stays if stay.vessel in names), default=None)
        if first is not None:
            rows.append(Added.model_validate({"like": like, "copies": copies, "from": first}))
    return tuple(sorted(rows, key=lambda row: row.like))


def _flow(needs: Needs, solution: Solution) -> tuple[FlowChange, ...]:
    """Set each vessel as strong as the weakest lot in it bears in comfort, changed only between slots."""
    weakest: dict[str, dict[int, int]] = {}
    for brood, settled in zip(needs.broods, solution.settled, strict=True):
        for place in settled.places:
            slots = weakest.setdefault(place.vessel, {})
            for slot in range(place.start, place.end):
                setting = int(brood.flow[slot])
                slots[slot] = min(setting, slots.get(slot, setting))
    kinds = solution.class_of(needs)
    changes: list[FlowChange] = []
    named = needs.room.vessel_named
    for vessel in sorted(weakest):
        model = named.get(vessel, kinds[vessel].sample)
        before: int | None = None
        for slot in sorted(weakest[vessel]):
            setting = max(int(model.flow_lowest), min(weakest[vessel][slot], int(model.flow_highest)))
            if setting != before:
                row = {"vessel": vessel, "from": needs.days[slot], "setting": FlowSetting(setting)}
                changes.append(FlowChange.model_validate(row))
                before = setting
    return tuple(sorted(changes, key=lambda c: (c.from_, c.vessel)))
