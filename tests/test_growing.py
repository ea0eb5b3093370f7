"""When fish are long enough in many replays, against a fish that is followed day by day, and against sums by hand."""

from datetime import date, timedelta
from random import Random

import numpy as np
import pytest
from small_rooms import TODAY, band, day, figure, planned, small_pack, small_room

from allocator.husbandry.growth import growth_factor, length_mm
from allocator.husbandry.life import Dwelling, Life, lives
from allocator.questions.growing import pace_of, ready_days
from allocator.questions.luck_draws import Fate, between, fate_of
from allocator.questions.target_chance import Hoped, odds_of
from allocator.rules import GrowthPace, GrowthRoom, LengthPoint, RulePack

DAY = timedelta(days=1)
DAYS = 900


def uneven_pack() -> RulePack:
    """Return the small pack with fish that grow at different paces, and more slowly when they are long."""
    points = ((60, 14, 18, 21), (180, 28, 40, 48), (500, 47, 70, 90))
    return small_pack(
        incubation_days=band(8, 10, 12),
        length=tuple(
            LengthPoint(age_days=figure(age), slow=figure(slow), typical=figure(typical), fast=figure(fast))
            for age, slow, typical, fast in points
        ),
        growth_room=GrowthRoom(
            from_mm=figure(30), run_cm=figure(80), slowed_to=figure(0.6), slowed_when_full=figure(0.7)
        ),
    )


def some_life(pack: RulePack) -> Life:
    room = small_room()
    line = room.lines[0].model_copy(update={"rules": pack})
    room = room.model_copy(
        update={"lines": (line,), "groups": (), "broods": (planned("P", "red", TODAY, 30),)}
    )
    return lives(room)["P"]


def some_path(random: Random) -> list[Dwelling]:
    """Return three stays, in short or long vessels, with company now and then."""
    found, start = [], TODAY
    for _ in range(3):
        until = start + random.randint(20, 120) * DAY
        crowding = {
            start + n * DAY: random.random() for n in range((until - start).days) if random.random() < 0.3
        }
        found.append(Dwelling(random.choice([50.0, 90.0]), start, until, crowding))
        start = until
    return found


def long_enough_on(pack: RulePack, path: list[Dwelling], hatched: int, u: float) -> int:
    """Follow one fish day by day: in each of its vessels, on its own line between the curves of the pack."""

    def mm(age: float) -> float:
        slow, typical, fast = (np.array([length_mm(age, pack, pace)]) for pace in GrowthPace)
        return float(between(np.array([u]), slow, typical, fast)[0])

    grown, last = 0.0, path[-1]
    for number in range(DAYS):
        today = TODAY + number * DAY
        if number < hatched:
            continue
        length = mm(grown)
        if length >= pack.sale_mm.value - 1e-9:
            return number
        stay = next((stay for stay in path if stay.start <= today < stay.until), last)
        on = min(today, last.until - DAY)
        grown += growth_factor(length, stay.run_cm, pack.growth_room, stay.crowding.get(on, 0.0))
    return DAYS


@pytest.mark.parametrize("seed", range(12))
def test_every_replay_grows_as_a_fish_that_is_followed_day_by_day(seed: int) -> None:
    """The steps of `growth_factor`, a day at a time; a day is lost or won where a curve bends within one."""
    pack, random = uneven_pack(), Random(seed)  # noqa: S311 - made-up fish, no secrets
    life, path, replays = some_life(pack), some_path(random), 20
    own = np.random.SeedSequence(seed)
    fate = fate_of(life, TODAY, DAYS, replays, own)
    u_growth = np.random.default_rng(np.random.SeedSequence(seed)).random((4, replays))[2]
    found = ready_days(fate, pack, pace_of(path, pack, TODAY, fate.until))
    for replay in range(replays):
        wanted = long_enough_on(pack, path, int(fate.hatched[replay]), float(u_growth[replay]))
        assert abs(int(found[replay]) - wanted) <= 1, replay


@pytest.mark.parametrize("pace", GrowthPace)
@pytest.mark.parametrize("seed", range(6))
def test_fish_of_one_pace_are_long_enough_when_the_forecast_says(seed: int, pace: GrowthPace) -> None:
    """`Life.ready_for_sale` has sums of its own, for the planner and the checker."""
    pack = uneven_pack()
    same = tuple(
        LengthPoint(age_days=p.age_days, **dict.fromkeys(("slow", "typical", "fast"), figure(p.at(pace))))
        for p in pack.length
    )
    pack = pack.model_copy(update={"length": same, "incubation_days": band(10)})
    life, path = some_life(pack), some_path(Random(seed))  # noqa: S311 - made-up fish, no secrets
    fate = fate_of(life, TODAY, DAYS, 3, np.random.SeedSequence(seed))
    ready = life.ready_for_sale(path)
    assert ready is not None
    for found in ready_days(fate, pack, pace_of(path, pack, TODAY, fate.until)):
        assert abs((TODAY + int(found) * DAY - ready).days) <= 1


def test_with_room_to_grow_nothing_is_put_off() -> None:
    pack = uneven_pack()
    fate = fate_of(some_life(pack), TODAY, DAYS, 50, np.random.SeedSequence(1))
    roomy = [Dwelling(90.0, TODAY, TODAY + 100 * DAY)]
    for path in ([], roomy):
        found = ready_days(fate, pack, pace_of(path, pack, TODAY, fate.until))
        assert (found == fate.first_day_at(pack.sale_mm.value)).all()


@pytest.mark.parametrize("age", [220, 260, 300])
def test_in_a_short_tank_slow_fish_are_put_off_by_more_than_typical_ones(age: int) -> None:
    """On straight lines from 5 mm, at half pace from 40 mm on: 45 mm is there where 50 mm would be with room to grow.

    Slow 5 to 55 mm in 500 days, typical to 105, fast to 130; the share of u with that length, by 100,000 strips.
    """
    pack = small_pack(
        incubation_days=band(10),
        length=(LengthPoint(age_days=figure(500), slow=figure(55), typical=figure(105), fast=figure(130)),),
    )
    u = (np.arange(100_000) + 0.5) / 100_000
    slow, typical, fast = (5 + (end - 5) * age / 500 for end in (55, 105, 130))
    mm = np.where(u < 0.5, typical + (2 * u - 1) * (typical - slow), typical + (2 * u - 1) * (fast - typical))
    life = some_life(pack)
    sure = Life(life.brood.model_copy(update={"planned": False}), life.rules, life.keeper)
    by = TODAY + timedelta(days=10 + age)
    odds = odds_of([Hoped(sure, TODAY, (Dwelling(50.0, TODAY, by),))], by, 30, replays=6_000)
    assert odds.share == pytest.approx(float((mm >= 50).mean()), abs=4 * odds.standard_error + 0.01)


def test_fish_that_never_grow_so_long_are_never_ready() -> None:
    pack = small_pack(
        length=(LengthPoint(age_days=figure(300), slow=figure(30), typical=figure(65), fast=figure(65)),)
    )
    fate = fate_of(some_life(pack), TODAY, 200, 50, np.random.SeedSequence(1))
    path = [Dwelling(50.0, TODAY, date(2027, 5, 1))]
    found = ready_days(fate, pack, pace_of(path, pack, TODAY, fate.until))
    assert (found == fate.until).any()
    assert isinstance(fate, Fate)
    assert day("07-21") == TODAY + fate.until * DAY
