"""A made-up room of ten lines, and how many tanks it needs under a rule pack: exactly, where that can be said.

How the tanks are counted: no plan can do with fewer than `floor`, which looks at single days: the tanks of each brood
on its fullest day, in the equal parts into which plans split it, lines apart. And there is a plan with `found`, in which
no tank is used twice, or the one of first fit if that has fewer. Where they meet the number is exact; the solver is
not asked.
"""

from collections import Counter
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from hashlib import sha256
from itertools import pairwise, product
from threading import Event
from time import monotonic

from small_rooms import box, long, ten

from allocator.model import quick
from allocator.model.board import score_of
from allocator.model.bounds import cost_bound, slices
from allocator.model.first_fit import FirstFit
from allocator.model.in_hand import in_hand
from allocator.model.naming import Solution, trimmed
from allocator.model.run import Run
from allocator.model.settled import Score, place_load
from allocator.needs import FULL, BroodNeeds, Needs, Phase, needs_of
from allocator.room import Addable, Brood, CollectedBy, Keeper, Line, Pin, PinKind, Room, Span
from allocator.rules import RulePack

ROUNDS = 8
"""Rounds of mending after first fit; here more of them found nothing better."""

IN_HUNDREDTHS = 100
"""A tank costs 1, and the planner counts prices in hundredths."""

# ---- the room -----------------------------------------------------------------------------------------------

TODAY = date(2027, 1, 2)
COLLECTED = date(2027, 1, 9)
OUT_OF_THE_BOX = date(2027, 2, 6)
EGGS = (150, 170, 190, 230, 250, 290, 310, 330, 350, 390)


def room_under(pack: RulePack) -> Room:
    """Return a made-up room: ten lines that may not share, all collected on one day.

    Each needs a box, then tens, then long tanks; of each there is one, and any number may be added at the same price,
    so that the cheapest addition is the one with the fewest tanks. All leave their box on one Saturday: that makes
    certain who is in a ten on what day, and with it the bound by single days as sharp as it can be. The broods
    differ in size, so that some are near the edge of one more tank and some are not.
    """
    names = [f"line {number}" for number in range(1, len(EGGS) + 1)]
    broods = tuple(
        Brood(
            name=f"{name} A", line=name, collected=COLLECTED, by=CollectedBy.PICKING, eggs=eggs, planned=True
        )
        for name, eggs in zip(names, EGGS, strict=True)
    )
    that_day = Span(start=OUT_OF_THE_BOX, end=OUT_OF_THE_BOX + timedelta(days=1))
    return Room(
        name="ten lines",
        today=TODAY,
        keeper=Keeper(move_days=(TODAY.weekday(),)),
        vessels=(
            box("box 1", length_mm=450, width_mm=300, depth_mm=150),
            ten("ten 1", depth_mm=270, filtered=True),
            long("long 1", width_mm=450, depth_mm=330, filtered=True),
        ),
        lines=tuple(Line(name=name, species="made up", rules=pack) for name in names),
        broods=broods,
        could_add=tuple(Addable(like=like, price=1, most=40) for like in ("box", "ten", "long")),
        pins=tuple(Pin(kind=PinKind.MOVE_ON, brood=brood.name, span=that_day) for brood in broods),
    )


# ---- tanks that must be added ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Tanks:
    """How many tanks must be added: no fewer than `floor`; `found` are enough, but for so many fish-days."""

    floor: int
    found: int
    homeless: int
    by_kind: tuple[tuple[str, int], ...]

    @property
    def exact(self) -> bool:
        """Whether the number is proven."""
        return self.homeless == 0 and self.floor == self.found


_KNOWN: dict[str, Tanks] = {}


def tanks_under(pack: RulePack) -> Tanks:
    """Return how many tanks the room needs under a pack; what has the same tables is worked out once."""
    needs = needs_of(room_under(pack))
    key = fingerprint(needs)
    if key not in _KNOWN:
        _KNOWN[key] = _tanks(needs)
    return _KNOWN[key]


def floor_of(needs: Needs) -> int:
    """Return the tanks that must be added whatever the plan.

    Holds for a room with one brood of each line, lines that may not share, and any tank at the same price. Sharper than
    the planner's own bound, which lets a brood be cut as one likes: here it is in equal parts, and a tank takes whole
    parts only.
    """
    worst: dict[tuple[int, ...], int] = {}
    for found in slices(needs):
        kinds = tuple(kind.index for kind in found.classes)
        needed = sum(_least_tanks(brood, found.stage, kinds, found.slot) for brood in found.broods)
        worst[kinds] = max(worst.get(kinds, 0), needed - found.there)
    assert sum(map(len, worst)) == len(set().union(*worst)), "kinds of tanks serve one stage each"
    return sum(worst.values())


def _least_tanks(brood: BroodNeeds, stage: int, kinds: tuple[int, ...], slot: int) -> int:
    """Return the fewest tanks in which a brood can be in a stage on a day, in any of the ways of splitting it."""
    ways = {phase.portions for phase in brood.phases if phase.stage == stage}
    return min(_tanks_of_parts(brood, of, kinds, slot) for of in ways)


def _tanks_of_parts(brood: BroodNeeds, of: int, kinds: tuple[int, ...], slot: int) -> int:
    fitting = (
        parts
        for kind in kinds
        for parts in range(1, of + 1)
        if (place_load(brood, kind, parts, of)[:, slot] <= FULL).all()
    )
    return -(-of // max(fitting, default=1))


def by_trying(needs: Needs) -> dict[str, int] | None:
    """Return the tanks with which each brood can be housed apart from all others, by trying all days of its moves.

    Each brood goes from box to tens to long tanks in equal parts, and may be spread once before the last stage. No
    two broods have the same tank, not even one after the other. None where some brood cannot be housed in this way.
    Company slows the sale, but takes no room.
    """
    used: Counter[int] = Counter()
    for brood in needs.broods:
        best = _fewest(needs, brood)
        if best is None:
            return None
        used.update(best)
    kinds = {kind.index: kind for kind in needs.classes}
    return {kinds[index].like: max(number - kinds[index].copies, 0) for index, number in sorted(used.items())}


def _fewest(needs: Needs, brood: BroodNeeds) -> dict[int, int] | None:
    """Return the fewest tanks of each kind for one brood; None where it cannot be housed."""
    last = brood.phases[-1].stage
    spread = [phase for phase in brood.phases if not (phase.optional and phase.stage == last)]
    straight = [phase for phase in spread if not phase.optional]

    @cache
    def tanks_in(number: int, begin: int, end: int) -> tuple[int, int] | None:
        return _tanks_of(needs, brood, spread[number], begin, end)

    best: dict[int, int] | None = None
    for phases in (straight, spread) if spread != straight else (straight,):
        for entries in product(*(phase.entries for phase in phases)):
            spans = list(pairwise((*entries, brood.sale_slots[-1])))
            if any(begin >= end for begin, end in spans):
                continue
            stays = [tanks_in(spread.index(p), *span) for p, span in zip(phases, spans, strict=True)]
            found: dict[int, int] = {}
            for stay in stays:
                if stay is not None:
                    found[stay[1]] = max(found.get(stay[1], 0), stay[0])
            if None not in stays and (best is None or sum(found.values()) < sum(best.values())):
                best = found
    return best


def _tanks_of(needs: Needs, brood: BroodNeeds, phase: Phase, begin: int, end: int) -> tuple[int, int] | None:
    """Return how many tanks, and of which kind, hold a brood through a phase; None where none do."""
    fitting = [
        (-(-phase.portions // parts), kind.index)
        for kind in needs.classes
        if brood.allowed[phase.stage][kind.index][begin:end].all()
        for parts in range(1, phase.portions + 1)
        if (place_load(brood, kind.index, parts, phase.portions)[:, begin:end] <= FULL).all()
    ]
    return min(fitting, default=None)


def by_first_fit(needs: Needs, enough: int) -> tuple[dict[str, int], int]:
    """Return what first fit adds, company included, and the fish-days without a home; `enough` ends its mending."""
    keep, prefer = in_hand(needs, None)
    run = Run(needs.room, needs, needs, Event(), None, monotonic(), lambda _: None, keep, prefer)
    most = {kind.index: kind.most for kind in needs.classes if kind.most}
    fit = FirstFit(needs, most)
    fit.run()

    def not_there_yet(score: Score) -> bool:
        return score.homeless_fish_days > 0 or score.added_cost > enough * IN_HUNDREDTHS

    fit.improve(ROUNDS, quick.SEED, go_on=not_there_yet)
    fit = quick.in_company(run, fit)
    solution = trimmed(fit.needs, Solution(fit.board.solution(), most))
    score = score_of(fit.needs, solution.added, solution.settled)
    added = {needs.classes[index].like: number for index, number in sorted(solution.added.items())}
    return added, score.homeless_fish_days


def _tanks(needs: Needs) -> Tanks:
    floor = max(cost_bound(needs) // IN_HUNDREDTHS, floor_of(needs))
    tried, homeless = by_trying(needs), 0
    if tried is None or sum(tried.values()) > floor:
        fitted, without = by_first_fit(needs, floor)
        if tried is None or (without == 0 and sum(fitted.values()) < sum(tried.values())):
            tried, homeless = fitted, without
    return Tanks(floor, sum(tried.values()), homeless, tuple(tried.items()))


def fingerprint(needs: Needs) -> str:
    """Return the same text for rooms with the same tables and the same figures of what is reckoned beside them."""
    parts: list[object] = [
        needs.days,
        needs.move_slots,
        [(k.price, k.most, k.there.tobytes()) for k in needs.classes],
    ]
    for brood in needs.broods:
        rules = brood.life.rules
        tables = (*brood.load, *brood.comfort, *brood.strain, *brood.one_fish, brood.fish_days, brood.flow)
        parts += [table.tobytes() for table in tables]
        parts += [fits.tobytes() for stage in brood.allowed for fits in stage]
        parts += [brood.daily_mm.tobytes(), brood.start, brood.phases, brood.entry_strain, brood.sale]
        parts += [brood.shift_sale, brood.helpless_until, sorted(brood.slowing_stages), brood.life.curve]
        parts += [brood.life.hatched, brood.life.hatch_until]
        beside = {f for n, f in rules.figures() if n.startswith(BESIDE)}
        parts.append(sorted((f.value, f.unit) for f in beside))
    return sha256(repr(parts).encode()).hexdigest()


BESIDE = ("growth_room.", "length_ratio_limit", "clean_out_days", "sell_within_days", "sale_mm")
"""Figures that the search looks up beside the tables: company, who may share, cleaning, sales."""
