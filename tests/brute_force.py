"""Try every way for every brood of a tiny room, and keep the best, level by level."""

from collections import Counter
from datetime import date
from itertools import combinations, pairwise
from math import ceil, inf

from tiny_rooms import DAY, Facts, Way

from allocator.husbandry.stocking import SUMMED_CAPS, Cap
from allocator.room import Brood, Room

Values = tuple[float, ...]
LEVELS = ("homeless", "cost", "strain", "handlings", "move days", "vessel-days")


def best_of(room: Room, *, adding: bool, homeless: bool) -> dict[str, float] | None:
    """Return the least value at each level, one after another; None where no plan keeps every rule."""
    facts = Facts(room, adding=adding)
    broods = list(room.broods)
    ways = [facts.ways(brood, homeless=homeless) for brood in broods]
    own = [[_own(facts, brood, way) for way in mine] for brood, mine in zip(broods, ways, strict=True)]
    together: dict[tuple[int, int, int, int], bool] = {}
    best: Values = (inf,) * len(LEVELS)

    def compatible(i: int, a: int, j: int, b: int) -> bool:
        key = (i, a, j, b)
        if key not in together:
            together[key] = _compatible(facts, broods[i], ways[i][a], broods[j], ways[j][b])
        return together[key]

    def go(chosen: list[int]) -> None:
        nonlocal best
        place = len(chosen)
        # what is counted here only ever grows, so a start that is worse need not be followed
        sofar = sum(own[i][a][0] for i, a in enumerate(chosen))
        used = {stay[0] for i, a in enumerate(chosen) for stay in ways[i][a].stays}
        cost = sum(facts.price.get(name, 0) for name in used)
        strain = sum(own[i][a][1] for i, a in enumerate(chosen))
        if (sofar, cost, strain) > best[:3]:
            return
        if place == len(broods):
            picked = [(broods[i], ways[i][a]) for i, a in enumerate(chosen)]
            if _within_limits(facts, picked):
                values = (sofar, cost, *_rest(facts, picked, [own[i][a] for i, a in enumerate(chosen)]))
                best = min(best, values)
            return
        for a in range(len(ways[place])):
            if all(compatible(i, chosen[i], place, a) for i in range(place)):
                go([*chosen, a])

    go([])
    return None if best[0] == inf else dict(zip(LEVELS, best, strict=True))


def _own(facts: Facts, brood: Brood, way: Way) -> tuple[int, int, int]:
    """Return homeless fish-days, own strain and handlings of one way."""
    lost = 0
    if way.homeless_from is not None:
        lost = facts.fish_days(brood, way.homeless_from, max(facts.until(brood), way.homeless_from))
    names = [stay[0] for stay in way.stays if stay[1] < stay[2] or brood.homes]
    return lost, facts.own_strain(brood, way), sum(a != b for a, b in pairwise(names))


def _compatible(facts: Facts, one: Brood, first: Way, other: Brood, second: Way) -> bool:
    """Tell whether two broods get on: size, line, alone, clean-out; limits are left to the whole room."""
    alone = facts.room.lines[0].rules.stages[0].alone
    for a, (vessel, begin, end) in enumerate(first.stays):
        for b, (name, start, stop) in enumerate(second.stays):
            if vessel != name:
                continue
            both = _between(max(begin, start), min(end, stop))
            # every brood of a tiny room is in its first stage at first
            if both and alone and 0 in {a, b}:
                return False
            if not all(facts.go_together(one, other, day) for day in both):
                return False
            if not both and facts.strangers(one, other):
                gap = (start - end).days if start >= end else (begin - stop).days
                if gap < facts.room.lines[0].rules.clean_out_days.value:
                    return False
    return True


def _between(begin: date, end: date) -> list[date]:
    return [begin + number * DAY for number in range(max((end - begin).days, 0))]


def _within_limits(facts: Facts, picked: list[tuple[Brood, Way]]) -> bool:
    most = facts.room.keeper.most_moves_a_day
    if most is not None and max(_moves(picked).values(), default=0) > most:
        return False
    for vessel in facts.room.vessels:
        stays = [(brood, b, e) for brood, way in picked for name, b, e in way.stays if name == vessel.name]
        for size in range(2, len(stays) + 1):
            for group in combinations(stays, size):
                for day in _between(max(s[1] for s in group), min(s[2] for s in group)):
                    for cap in SUMMED_CAPS:
                        if sum(facts.share(s[0], vessel, day, cap, 1) for s in group) > 1 + 1e-6:
                            return False
    return True


def _moves(picked: list[tuple[Brood, Way]]) -> Counter[date]:
    """Return the moves and sales on each day; a brood that stays in its vessel is not moved."""
    moves: Counter[date] = Counter()
    for _, way in picked:
        for before, after in pairwise(way.stays):
            if before[0] != after[0]:
                moves[after[1]] += 1
        if way.sold is not None:
            moves[way.sold] += 1
    return moves


def _rest(
    facts: Facts, picked: list[tuple[Brood, Way]], own: list[tuple[int, int, int]]
) -> tuple[float, float, float, float]:
    """Return strain, handlings, move days and vessel-days of a whole plan."""
    strain: float = sum(row[1] for row in own)
    vessel_days = 0
    for vessel in facts.room.vessels:
        stays = [(brood, b, e) for brood, way in picked for name, b, e in way.stays if name == vessel.name]
        if not stays:
            continue
        for a, b in facts.slots(min(s[1] for s in stays), max(s[2] for s in stays)):
            there = [s[0] for s in stays if s[1] <= a and b <= s[2]]
            if there:
                vessel_days += (b - a).days
                crowd = max(
                    sum(_percent(facts, brood, vessel.name, (a, b), cap) for brood in there)
                    for cap in SUMMED_CAPS
                )
                strain += (b - a).days * max(0, crowd - 100)
    return strain, sum(row[2] for row in own), len(_moves(picked)), vessel_days


def _percent(facts: Facts, brood: Brood, name: str, slot: tuple[date, date], cap: Cap) -> int:
    """Return percent of comfort on the fullest day of a slot, rounded up."""
    key = (brood.name, name, slot[0], cap)
    if key not in facts.percents:
        vessel = facts.room.vessel_named[name]
        shares = [facts.share(brood, vessel, day, cap, 0) for day in _between(*slot)]
        facts.percents[key] = ceil(100 * max(shares) - 1e-9)
    return facts.percents[key]
