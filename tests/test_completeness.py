"""The model allows whatever first fit finds, so that its "no" is never wrong for want of a choice."""

import pytest
from random_rooms import random_room
from small_rooms import TODAY, level, long, planned, small_pack, small_room, ten

from allocator.model.first_fit import FirstFit
from allocator.model.hints import start_from
from allocator.model.naming import Solution
from allocator.model.room_model import CohortModel
from allocator.needs import Needs, needs_of
from allocator.plan import Verdict
from allocator.planner import plan_room
from allocator.room import Line, Room
from allocator.rules import RoomStep, StageRule, VesselKind


def allows(needs: Needs, fit: FirstFit) -> bool:
    """Tell whether the model holds what first fit has settled."""
    homeless = fit.board.score().homeless_fish_days > 0
    model = CohortModel(needs, adding=False, homeless=homeless, keep=None)
    return start_from(model, Solution(fit.board.solution(), {}))


def parted_room(eggs: int, tanks: int, *, line: str = "red") -> Room:
    """Return a room in which 30 fish fill a tank from the first day on, and a brood of one line has to be parted."""
    pack = small_pack(
        eggs_need_snail_free=False,
        room=(small_pack().room[0].model_copy(update={"fish_per_litre": level(1, comfort=1)}),),
        stages=(StageRule(name="all", kinds=(VesselKind.REARING,), alone=False, may_skip=False),),
    )
    return small_room(
        lines=(Line(name=line, species="made up", rules=pack),),
        vessels=tuple(ten(f"{line} {number}") for number in range(1, tanks + 1)),
        groups=(),
        broods=(planned(f"P {line}", line, TODAY, eggs),),
        could_add=(),
    )


@pytest.mark.parametrize(("eggs", "tanks"), [(20, 1), (50, 2), (80, 3), (110, 4)])
def test_a_brood_may_be_shared_out_over_tanks_of_one_kind(eggs: int, tanks: int) -> None:
    """30 to a tank, by hand: 20 in one, 50 in two, 80 in three, 110 in four; and with a tank less it is a no."""
    room = parted_room(eggs, tanks)
    needs = needs_of(room)
    fit = FirstFit(needs, {})
    assert fit.run()
    assert fit.board.score().homeless_fish_days == 0
    assert allows(needs, fit)
    short = plan_room(room.model_copy(update={"vessels": room.vessels[1:]})).best.plan
    assert short.verdict is Verdict.DOES_NOT_FIT
    assert short.proven


def test_two_lines_that_fit_apart_fit_together() -> None:
    """Neither may use the other's tanks for its own: putting two rooms side by side takes nothing away."""
    one, other = parted_room(50, 2), parted_room(80, 3, line="blue")
    both = one.model_copy(
        update={
            "lines": one.lines + other.lines,
            "vessels": one.vessels + other.vessels,
            "broods": one.broods + other.broods,
        }
    )
    result = plan_room(both)
    assert result.best.plan.verdict is Verdict.FITS
    needs = needs_of(both)
    fit = FirstFit(needs, {})
    assert fit.run()
    assert allows(needs, fit)


@pytest.mark.parametrize("seed", range(300))
def test_whatever_first_fit_finds_the_model_allows(seed: int) -> None:
    room = random_room(seed, pins=False, odd=False)
    needs = needs_of(room)
    if needs.half_told:
        return  # not modelled in full, and never called proven
    fit = FirstFit(needs, {})
    assert fit.run()
    assert allows(needs, fit)


def test_long_tanks_too() -> None:
    """144 litres at a fish to four litres take 36: three tanks take the hundred."""
    pack = small_pack(
        eggs_need_snail_free=False,
        room=(RoomStep(from_mm=small_pack().room[0].from_mm, fish_per_litre=level(0.25, comfort=0.25)),),
        stages=(StageRule(name="all", kinds=(VesselKind.GROW_OUT,), alone=False, may_skip=False),),
    )
    room = small_room(
        lines=(Line(name="red", species="made up", rules=pack),),
        vessels=tuple(long(f"long {n}") for n in (1, 2, 3)),
        groups=(),
        broods=(planned("P", "red", TODAY, 100),),
        could_add=(),
    )
    assert plan_room(room).best.plan.verdict is Verdict.FITS
