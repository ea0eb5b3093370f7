"""Random rooms asked whether one more brood, or a pair, finds room, and then planned anew as a whole.

`python tests/solved_again.py --rooms 100 --seed 0` prints what was compared, how often, and every disagreement.
Where something finds room with nobody else moved it must never be called impossible, proven, in a plan of the whole
room (which may fail to find what is there, and says so). The other way round it need not be so: a plan of the whole
room may move others.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Iterator
from datetime import timedelta
from random import Random

from random_rooms import random_room
from small_rooms import ten

from allocator.changes import with_broods, with_group
from allocator.check import check_plan
from allocator.plan import Plan, Verdict
from allocator.planner import plan_room
from allocator.questions.fit import fit_of
from allocator.questions.held import Held
from allocator.questions.pair import Pairing, pair_of
from allocator.room import BreedingGroup, Brood, CollectedBy, Room, Span
from allocator.rules import VesselKind

DAY = timedelta(days=1)
OWN = "own"
PROVEN_NO = "no, proven"


def coming_to(room: Room, random: Random) -> Brood:
    """Return a brood that is to come on some day of the next months."""
    return Brood(
        name="coming",
        line=random.choice(room.lines).name,
        collected=room.today + random.randint(1, 120) * DAY,
        by=CollectedBy.PICKING,
        eggs=random.choice([5, 15, 40]),
        planned=True,
    )


def as_a_whole(room: Room) -> str:
    """Return whether a room that is planned anew fits as it is, and if not, whether that is proven."""
    best = plan_room(room).best
    if best.plan.verdict is Verdict.FITS:
        return "yes"
    return PROVEN_NO if best.levels[0].proven else "not found"


def one_more_brood(room: Room, plan: Plan, random: Random, tally: Counter[str]) -> Iterator[str]:
    """Yield what disagrees about one more brood."""
    coming = coming_to(room, random)
    reply, beside = fit_of(room, plan, coming), Held(room, plan, [coming]).settle()
    if (reply.refusal is None) != (beside.taken == ("coming",)):
        yield "the way that is told is not the way that is checked"
    if any(not breach.as_found for breach in check_plan(beside.room, beside.plan)):
        yield "the checker does not agree"
    whole = plan_room(with_broods(room, [coming])).best.plan
    fits = whole.verdict is Verdict.FITS
    tally[
        f"one more brood: {'yes' if reply.refusal is None else 'no'}, as a whole {'yes' if fits else 'no'}"
    ] += 1
    if reply.refusal is None and not fits:
        yield "room for it with nobody else moved, and none in a plan of the whole room"


def a_pair(room: Room, plan: Plan, random: Random, tally: Counter[str]) -> Iterator[str]:
    """Yield what disagrees about a pair."""
    start = room.today + random.randint(0, 60) * DAY
    collections = tuple(start + 14 * number * DAY for number in (1, 2, 3))
    group = BreedingGroup(
        name="new pair",
        line=random.choice(room.lines).name,
        males=1,
        females=1,
        vessel=OWN,
        lives_there=Span(start=start),
    )
    eggs = random.choice([5, 15, 40])
    reply = pair_of(room, plan, Pairing(group, collections, eggs, (CollectedBy.PICKING,), 14))
    way = reply.ways[0]
    assert way.nobody_moved is not None
    broods = [
        Brood(
            name=f"new pair {day}",
            line=group.line,
            collected=day,
            by=CollectedBy.PICKING,
            eggs=eggs,
            planned=True,
            parents=group.name,
        )
        for day in collections
    ]
    whole = as_a_whole(with_broods(with_group(room, group), broods))
    all_of_them = not way.nobody_moved.left_out
    tally[f"a pair: {'yes' if all_of_them else 'no'}, as a whole {whole}"] += 1
    if all_of_them and whole == PROVEN_NO:
        yield "room for all with nobody else moved, and none in a plan of the whole room"
    if way.others_moved is not None:
        if way.others_moved.verdict is Verdict.FITS and whole == PROVEN_NO:
            yield "room with others moved, and none in a plan of the whole room"
        if way.others_moved.taken < way.nobody_moved.taken:
            yield "fewer with others moved than with nobody moved"


def run(rooms: int, seed: int) -> tuple[Counter[str], list[str]]:
    """Return what was compared, and what disagrees, for as many rooms as fit as they are."""
    tally: Counter[str] = Counter()
    disagree: list[str] = []
    number = seed
    while tally["rooms"] < rooms:
        room, random = random_room(number), Random(number)  # noqa: S311 - made-up rooms, no secrets
        own = ten(OWN, declared_as="own", kinds=(VesselKind.BREEDING,))
        room = room.model_copy(update={"vessels": (*room.vessels, own)})
        number += 1
        plan = plan_room(room).best.plan
        if plan.verdict is not Verdict.FITS:
            continue
        tally["rooms"] += 1
        for ask in (one_more_brood, a_pair):
            disagree += [f"room {number - 1}: {what}" for what in ask(room, plan, random, tally)]
    return tally, disagree


if __name__ == "__main__":
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rooms", type=int, default=100)
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    counted, found = run(given.rooms, given.seed)
    for what, count in sorted(counted.items()):
        sys.stdout.write(f"{count:6} {what}\n")
    sys.stdout.write("".join(f"{line}\n" for line in found) or "no disagreement\n")
    sys.exit(bool(found))
