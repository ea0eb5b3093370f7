"""The phases of a brood's life: when it may move, into how many portions it may be split."""

from dataclasses import replace

from allocator.husbandry.homes import fish_today
from allocator.husbandry.life import Life
from allocator.husbandry.stages import better_span, earliest_entry, latest_entry, stage_today
from allocator.needs.frame import Frame
from allocator.needs.tables import FULL, Bools, Ints, Phase
from allocator.room import Brood, CollectedBy, PinKind

# What a day outside the better size weighs: like a vessel a tenth above comfort (judgement of the authors).
WINDOW_STRAIN_A_DAY = 10

SPLIT_FROM = FULL // 2
"""A brood that fills more than this share of its best vessel may be split on entering it (judgement)."""

MOST_PORTIONS = 8


class Phases:
    """Works out the phases of one brood.

    Parameters
    ----------
    frame
        Days, move days and classes.
    brood, life
        The brood and its forecast.
    load
        Its needs by class: shape (caps, slots).
    allowed
        By stage and class: where it may live.
    """

    def __init__(
        self,
        frame: Frame,
        brood: Brood,
        life: Life,
        load: tuple[Ints, ...],
        allowed: tuple[tuple[Bools, ...], ...],
    ) -> None:
        self.frame = frame
        self.room = frame.room
        self.days = frame.days
        self.move_slots = frame.move_slots
        self.classes = frame.classes
        self.brood = brood
        self.life = life
        self.load = load
        self.allowed = allowed

    def _pinned_move(self, entries: list[tuple[int, ...]]) -> tuple[int, int] | None:
        """Return (phase, slot) of a pinned move: the first phase that may begin on that day."""
        for pin in self.room.pins:
            if (
                pin.brood == self.brood.name
                and pin.kind is PinKind.MOVE_ON
                and pin.span.start in self.days[:-1]
            ):
                slot = self.days.index(pin.span.start)
                for number, slots in enumerate(entries):
                    if number > 0 and slot in slots:
                        return number, slot
        return None

    def of_life(self, start: int) -> tuple[Phase, ...]:
        """Return the phases from a slot on, in order."""
        brood, life = self.brood, self.life
        rules = life.rules
        homes = self._homes()
        current = 0
        if homes:
            found = (stage_today(life, self.room.vessel_named[n], self.room.today) for n, _ in homes)
            current = min(found)
        mop = brood.by is CollectedBy.MOP
        phases = [
            Phase(
                stage=current,
                entries=(start,),
                portions=1,
                alone=rules.stages[current].alone or (current == 0 and mop),
                homes=homes,
            )
        ]
        if not homes and not mop:  # a mop hangs in one tank
            phases[0] = replace(phases[0], portions=self._portions(0, start, start + 1))
        for stage in range(current, len(rules.stages)):
            if stage > current:
                entries = self._entries(stage)
                until = entries[-1] + 1
                portions = self._portions(stage, entries[0], until)
                alone = rules.stages[stage].alone
                phases.append(Phase(stage=stage, entries=entries, portions=portions, alone=alone))
            again = self._within_stage(stage, phases[-1])
            if again is not None:
                phases.append(again)
        pinned = self._pinned_move([() if phase.optional else phase.entries for phase in phases])
        if pinned is not None:
            number, slot = pinned
            phases[number] = replace(phases[number], entries=(slot,))
        return tuple(phases)

    def slowing_stages(self, phases: tuple[Phase, ...]) -> frozenset[int]:
        """Return the stages before the last in which a short vessel may slow the fish."""
        final = phases[-1].stage
        leaves = {p.stage: phases[n + 1].entries[-1] for n, p in enumerate(phases) if p.stage != final}
        turn = self.life.rules.growth_room.from_mm.value
        return frozenset(
            stage for stage, slot in leaves.items() if self.life.length_mm(self.days[slot]) > turn
        )

    def _homes(self) -> tuple[tuple[str, float], ...]:
        if self.brood.planned:
            return ()
        fish = fish_today(self.life, self.room.today)
        total = sum(fish.values())
        return tuple(
            (name, count / total if total else 1 / len(fish))
            for name, count in fish.items()
            if count or not total
        )

    def _entries(self, stage: int) -> tuple[int, ...]:
        rule, life = self.life.rules.stages[stage], self.life
        earliest = earliest_entry(life, rule)
        latest = self.room.next_move_day(latest_entry(life, rule))
        slots = [s for s in self.move_slots if self.days[s] >= earliest]
        inside = [s for s in slots if self.days[s] <= latest]
        return tuple(inside or slots[:1] or self.move_slots[-1:])

    def _portions(self, stage: int, begin: int, end: int) -> int:
        """Return into how many equal portions a brood may be split for a stage: so that half a vessel takes one."""
        peak = self._peak(stage, begin, end)
        return max(1, min(MOST_PORTIONS, -(-peak // SPLIT_FROM)))

    def _peak(self, stage: int, begin: int, end: int) -> int:
        """Return the most that a whole brood fills of the best vessel of a stage."""
        peaks = [
            int(self.load[k.index][:, begin:end].max())
            for k in self.classes
            if self.allowed[stage][k.index][begin:end].any() and (k.copies or k.most)
        ]
        return min(peaks, default=0)

    def _within_stage(self, stage: int, before: Phase) -> Phase | None:
        """Return an optional phase in the same stage, for a brood that may have to change vessel within it.

        That is so where it may outgrow its vessel and must be spread, and where the vessel it is found in
        today does not do for as long as the stage may last (it is taken away, too short, too full).
        """
        if before.alone and not before.homes:
            return None
        begin = before.entries[0]
        last = stage == len(self.life.rules.stages) - 1
        end = len(self.days) - 1 if last else max(self._entries(stage + 1)[-1], begin + 1)
        slots = tuple(
            s
            for s in self.move_slots
            if (begin < s or before.homes) and s < end and self.days[s] >= self.life.hatch_until
        )
        if not slots:
            return None
        if stage == 0 and not last:
            end = max(self._entries(stage + 1)[0], begin + 1)  # after that it had better move on
        portions = self._portions(stage, begin, end)
        outgrows = self._peak(stage, begin, end) > FULL * before.portions
        unfit = any(not self._does_for(name, share, stage, end) for name, share in before.homes)
        covered = any(self.allowed[stage][k.index][begin:end].all() for k in self.classes)
        if unfit or not covered or (last and before.homes) or (outgrows and portions > before.portions):
            return Phase(stage, slots, portions, optional=True, alone=before.alone)
        return None

    def _does_for(self, name: str, share: float, stage: int, end: int) -> bool:
        """Tell whether a part of a brood could stay in its vessel of today until the end of its stage."""
        kind = next(kind for kind in self.classes if name in kind.names)
        fits = self.allowed[stage][kind.index][:end].all()
        return bool(fits and self.load[kind.index][:, :end].max() * share <= FULL)

    def entry_strain(self, phase: Phase) -> dict[int, int]:
        """Return the strain of entering a phase in each slot: days outside the better sizes."""
        if phase.optional or phase.homes:
            return dict.fromkeys(phase.entries, 0)
        span = better_span(self.life, self.life.rules.stages[phase.stage])
        strain = {}
        for slot in phase.entries:
            day = self.days[slot]
            early = (span.start - day).days if span.start is not None else 0
            late = (day - span.end).days + 1 if span.end is not None else 0
            strain[slot] = WINDOW_STRAIN_A_DAY * max(early, late, 0)
        return strain
