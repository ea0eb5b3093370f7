"""What is due for the fish on a day, and the keeper's time: worked out by hand on the small made-up pack."""

import re
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_rooms import (
    TODAY,
    band,
    box,
    day,
    figure,
    later,
    move,
    planned,
    small_pack,
    small_plan,
    small_room,
    stay,
)
from test_reports import fits
from typer.testing import CliRunner

import allocator.cli
from allocator.cli import app
from allocator.husbandry.care import Care, CareTask, care_tasks, days_in_room
from allocator.husbandry.life import Life
from allocator.husbandry.workload import MOVE_MINUTES, Work, busiest, work_by_week
from allocator.plan import Plan, Verdict
from allocator.problems import Problems
from allocator.reading.packs import load_pack, shipped_packs
from allocator.reports.hours import Hours, about, hours_line, time_words
from allocator.reports.moves import moves_text
from allocator.reports.text import plan_text
from allocator.reports.words import day_words
from allocator.room import Brood, CollectedBy, Count, Keeper, Line, Room
from allocator.rules import CareStep, Evidence, RulePack, StageRule, VesselKind

EGGS, FINEST, SHRIMP = "take out white eggs", "feed the finest", "feed brine shrimp"
GONE = day("08-07")
"""The day on which the planned broods of the small room are sold."""


def step(name: str, task: str, **figures: float) -> CareStep:
    return CareStep(name=name, task=task, **{key: figure(value) for key, value in figures.items()})


CARE = (
    step("eggs", EGGS, from_collection_days=1, until_days=0, every_days=1, minutes=3),
    step("first food", FINEST, from_days=0, until_days=14, every_days=1, minutes=10),
    step("brine shrimp", SHRIMP, from_days=14, until_mm=15, every_days=1, minutes=10),
    step("grade 15", "grade by size", from_mm=15, minutes=20),
    step("grade 46", "grade by size", from_mm=46, minutes=20),
    step("sex", "tell males from females", from_days=274, minutes=20),
    step("measure", "measure some", from_days=3, every_days=7),
)


def pack(**changes: Any) -> RulePack:
    """Return the small pack with the tasks above; no fry come before the expected day of hatch."""
    return small_pack(**{"care": CARE, "incubation_days": band(10, 10, 12), **changes})


def life(brood: Brood, rules: RulePack | None = None) -> Life:
    return Life(brood, rules or pack(), Keeper(move_days=(5,)))


def by_name(tasks: list[CareTask]) -> dict[str, tuple[date, date | None]]:
    return {task.name: (task.on, task.until) for task in tasks}


def caring_room(**changes: Any) -> Room:
    lines = tuple(line.model_copy(update={"rules": pack()}) for line in small_room().lines)
    return small_room(lines=lines, **changes)


def flat(text: str) -> str:
    return " ".join(text.split())


# Dates


def test_the_days_of_one_brood_worked_out_by_hand() -> None:
    # Collected 9 January; hatches after 10 to 12 days, expected after 10: 19 January, the last on the 21st.
    # Fish hatch at 5 mm and grow 0.2 mm a day: 15 mm after 50 days, on 10 March. 46 mm is beyond the sale at 45,
    # and after 274 days they have been sold.
    found = care_tasks(life(planned("P1", "red", day("01-09"), 40)), [(day("01-09"), GONE)], TODAY)
    assert by_name(found) == {
        "eggs": (day("01-10"), day("01-21")),
        "first food": (day("01-19"), day("02-02")),
        "brine shrimp": (day("02-02"), day("03-10")),
        "grade 15": (day("03-10"), None),
        "measure": (day("01-22"), GONE),
    }
    assert [task.on for task in found] == sorted(task.on for task in found)
    measured = next(task for task in found if task.name == "measure")
    assert list(measured.days())[:3] == [day("01-22"), day("01-29"), day("02-05")]
    assert all(due < GONE for due in measured.days())


def test_first_food_is_due_for_the_first_fry_and_not_for_most_of_them() -> None:
    """Incubation of 8 to 12 days, 10 expected, laid over three days to 9 January: the first fry on 15 January."""
    brood = planned("P1", "red", day("01-09"), 40).model_copy(update={"laid_over_days": 3})
    found = by_name(
        care_tasks(life(brood, pack(incubation_days=band(8, 10, 12))), [(day("01-09"), GONE)], TODAY)
    )
    assert found["first food"][0] == day("01-15")
    assert found["brine shrimp"][0] == day("02-01")  # 14 days after the expected hatch on 18 January


def shipped(name: str) -> RulePack:
    problems = Problems("room")
    found = load_pack(name, relative_to=Path(), problems=problems, line=1)
    assert found is not None, problems.errors
    return found[0]


@pytest.mark.parametrize("name", shipped_packs())
def test_the_shipped_packs_give_the_days_that_their_figures_say(name: str) -> None:
    rules = shipped(name)
    forecast = life(planned("X", "red", day("01-09"), 40), rules)
    here = [(day("01-09"), later(forecast.hatched, 500))]
    found = {task.name: task for task in care_tasks(forecast, here, TODAY, None, here)}
    assert rules.care
    for row in rules.care:
        task = found[row.name]
        if row.from_days is not None:
            first = forecast.hatched if row.from_days.value else forecast.hatch_from
            assert task.on == later(first, int(row.from_days.value))
        if row.from_collection_days is not None:
            assert task.on == later(day("01-09"), int(row.from_collection_days.value))
        if row.until_days is not None and row.until_days.value == 0:
            assert task.until == forecast.hatch_until
        assert (task.every_days is None) == (row.every_days is None)


@pytest.mark.parametrize("name", ["rainbowfish-large", "rainbowfish-small", "blue-eye"])
def test_egg_picking_is_a_weekly_quarter_of_an_hour(name: str) -> None:
    # Common practice among keepers who pick by hand: eggs picked once a week, about a quarter of an hour.
    minutes = shipped(name).upkeep.egg_picking_minutes_a_week
    assert (minutes.value, minutes.evidence) == (15, Evidence.COMMON)


def test_a_measured_length_moves_what_hangs_on_length_and_nothing_else() -> None:
    # 20 days after hatch the curve says 9 mm. At 11 mm they are 10 days ahead: 15 mm on 28 February.
    brood = planned("P1", "red", day("01-09"), 40)
    measured = brood.model_copy(update={"counts": (Count(on=day("02-08"), fish=30, mm=11),)})
    before, after = (by_name(care_tasks(life(b), [(day("01-09"), GONE)], TODAY)) for b in (brood, measured))
    assert after["grade 15"] == (day("02-28"), None)
    assert after["brine shrimp"] == (day("02-02"), day("02-28"))
    assert {n: d for n, d in after.items() if n not in {"grade 15", "brine shrimp"}} == {
        n: d for n, d in before.items() if n not in {"grade 15", "brine shrimp"}
    }


def test_what_was_to_be_done_once_is_past_and_what_recurs_goes_on() -> None:
    brood = planned("P1", "red", day("01-09"), 40).model_copy(update={"planned": False})
    here = days_in_room(brood, [stay("P1", "ten 1", day("03-12"), GONE, 20)])
    assert here == [(day("01-09"), GONE)], "a brood in being has been here since its collection"
    found = care_tasks(life(brood), here, day("03-12"))
    assert by_name(found) == {"measure": (day("01-22"), GONE)}
    # Every seven days from Friday 22 January on: the next after 12 March is Friday 19 March.
    assert found[0].under_way(day("03-12"))
    assert day("03-12") in found[0].days()
    assert not found[0].under_way(day("01-22")), "on its first day it begins"
    assert not found[0].under_way(GONE)


def test_a_task_that_is_due_today_is_not_past() -> None:
    brood = planned("P1", "red", day("01-09"), 40)
    here = [(day("01-09"), GONE)]
    assert "grade 15" in by_name(care_tasks(life(brood), here, day("03-10")))
    assert "grade 15" not in by_name(care_tasks(life(brood), here, day("03-11")))
    assert "eggs" in by_name(care_tasks(life(brood), here, day("01-20")))
    assert "eggs" not in by_name(care_tasks(life(brood), here, day("01-21")))


def test_what_ends_by_days_after_hatch_waits_for_the_last_straggler() -> None:
    # All eggs are looked over until the 21st; food for one day only would end on the 20th, before the last hatch.
    rules = pack(care=(step("food", "feed", from_days=0, until_days=1, every_days=1),))
    found = care_tasks(life(planned("P1", "red", day("01-09"), 40), rules), [(day("01-09"), GONE)], TODAY)
    assert by_name(found) == {"food": (day("01-19"), day("01-21"))}


def test_a_mop_is_taken_out_on_the_day_that_the_pack_says() -> None:
    mop = planned("M1", "red", day("01-09"), 20, CollectedBy.MOP)
    found = by_name(care_tasks(life(mop), [(day("01-09"), GONE)], TODAY))
    assert found["mop out"] == (day("01-23"), None)  # 14 days in the small pack
    picked = planned("P1", "red", day("01-09"), 20)
    assert "mop out" not in by_name(care_tasks(life(picked), [(day("01-09"), GONE)], TODAY))


def test_days_without_a_home_have_no_care() -> None:
    brood = planned("P1", "red", day("01-09"), 40)
    stays = [
        stay("P1", "box 1", day("01-09"), day("01-30"), 40),
        stay("P1", "ten 1", day("02-10"), day("03-01"), 40),
        stay("P1", "ten 2", day("03-01"), GONE, 40),
    ]
    here = days_in_room(brood, stays)
    assert here == [(day("01-09"), day("01-30")), (day("02-10"), GONE)]
    tasks = care_tasks(life(brood), here, TODAY)
    gap = [later(day("01-30"), n) for n in range(11)]
    assert not any(due in gap for task in tasks for due in task.days())
    # Every seven days from 22 January: 29 January, then 12 February, in step.
    measure = [due for task in tasks if task.name == "measure" for due in task.days()]
    assert measure[:3] == [day("01-22"), day("01-29"), day("02-12")]


ROWS = st.builds(
    lambda begin, end, every: CareStep(
        name="row",
        task="do it",
        **{
            key: figure(value)
            for key, value in {**begin, **end, "every_days": every}.items()
            if value is not None
        },
    ),
    st.one_of(
        st.fixed_dictionaries({"from_collection_days": st.integers(0, 250)}),
        st.fixed_dictionaries({"from_days": st.integers(0, 250)}),
        st.fixed_dictionaries({"from_mm": st.floats(1, 60)}),
    ),
    st.one_of(
        st.just({}),
        st.fixed_dictionaries({"until_days": st.integers(0, 250)}),
        st.fixed_dictionaries({"until_mm": st.floats(1, 60)}),
    ),
    st.one_of(st.none(), st.integers(1, 30)),
)


@settings(deadline=None)
@given(
    rows=st.lists(ROWS, min_size=1, max_size=4),
    left=st.integers(1, 260),
    ahead=st.integers(-30, 60),
    mm=st.one_of(st.none(), st.floats(6, 40)),
)
def test_nothing_is_due_outside_the_stay(
    rows: list[CareStep], left: int, ahead: int, mm: float | None
) -> None:
    counts = () if mm is None else (Count(on=day("02-20"), fish=10, mm=mm),)
    brood = planned("P1", "red", day("01-09"), 40).model_copy(update={"counts": counts})
    gone, today = later(day("01-09"), left), later(day("01-09"), ahead)
    forecast = life(brood, pack(care=tuple(rows)))
    for task in care_tasks(forecast, [(day("01-09"), gone)], today):
        days = list(task.days())
        assert day("01-09") <= days[0] <= days[-1] < gone
        assert days[-1] >= today
        assert days == sorted(set(days))
        assert task.until is None or days[-1] < task.until <= gone
        if task.every_days is not None:
            assert all(b - a == timedelta(days=task.every_days) for a, b in pairwise(days))
        if len(rows) == 1 and rows[0].from_mm is not None and task.on >= today:
            goal = rows[0].from_mm.value
            assert forecast.length_mm(task.on) >= goal - 1e-6
            assert task.on == forecast.hatched or forecast.length_mm(later(task.on, -1)) < goal


# Who is picked


def test_eggs_are_picked_from_the_group_on_the_days_of_collection() -> None:
    pickings = Care(small_room(), small_plan()).pickings
    # B1 is of the blue line, of which no group is in the room; M1 is a mop, and K1 is in being.
    assert [(p.who, p.vessel, p.on) for p in pickings] == [
        ("blue", None, day("01-09")),
        ("red trio", "ten 5", day("01-09")),
    ]


def test_a_named_parent_is_the_group_that_is_picked_and_no_home_means_no_picking() -> None:
    room = small_room()
    broods = tuple(b.model_copy(update={"parents": "red trio"}) for b in room.broods if b.name == "B1")
    assert [p.who for p in Care(small_room(broods=broods), small_plan()).pickings] == ["red trio"]
    empty = Plan(verdict=Verdict.DOES_NOT_FIT, proven=False)
    assert Care(room, empty).pickings == []


def test_a_mop_is_not_picked() -> None:
    mop = (planned("M1", "red", day("01-09"), 20, CollectedBy.MOP),)
    assert Care(small_room(broods=mop), small_plan()).pickings == []


# Time


def one_brood() -> tuple[Room, Plan]:
    """Return a room with one group and one collection, which is split over two tanks on 30 January."""
    room = caring_room(today=day("01-04"), broods=(planned("P1", "red", day("01-09"), 40),))
    plan = Plan(
        verdict=Verdict.FITS,
        proven=False,
        stays=(
            stay("P1", "box 2", day("01-09"), day("01-30"), 40),
            stay("P1 a", "ten 2", day("01-30"), day("02-20"), 20),
            stay("P1 b", "ten 3", day("01-30"), day("02-20"), 20),
        ),
        moves=(
            move(day("01-09"), "P1", None, "box 2", 40),
            move(day("01-30"), "P1 a", "box 2", "ten 2", 20),
            move(day("01-30"), "P1 b", "box 2", "ten 3", 20),
        ),
    )
    return room, plan


def test_the_time_of_a_week_is_the_sum_by_hand() -> None:
    weeks = {week.monday: week.minutes for week in work_by_week(*one_brood())}
    # Small pack: picking 15 a week, feeding 2 a day and water 10 a week for each vessel; the trio lives in ten 5.
    assert weeks[day("01-04")] == pytest.approx(
        {
            Work.PICKING: 15,
            Work.FEEDING: 7 * 2,  # the trio; eggs are not fed
            Work.WATER: 10 + 10 * 2 / 7,  # ten 5 all week, box 2 on Saturday and Sunday
            Work.CARE: 3,  # eggs on Sunday the 10th
            Work.MOVES: MOVE_MINUTES,
        }
    )
    assert weeks[day("01-18")] == pytest.approx(
        {
            Work.PICKING: 0,
            Work.FEEDING: 7 * 2 + 6 * 2,  # box 2 from the hatch on the 19th on
            Work.WATER: 20,
            Work.CARE: 3 * 3 + 6 * 10,  # eggs on the 18th to 20th, first food on the 19th to 24th
            Work.MOVES: 0,
        }
    )
    assert weeks[day("01-25")] == pytest.approx(
        {
            Work.PICKING: 0,
            Work.FEEDING: 7 * 2 + 5 * 2 + 2 * 2 * 2,
            Work.WATER: 10 + (5 + 2 * 2) * 10 / 7,
            Work.CARE: 5 * 10 + 2 * 2 * 10,  # on Saturday and Sunday there are two tanks to feed
            Work.MOVES: 2 * MOVE_MINUTES,
        }
    )
    # The first week of February has two tanks all week: food on Monday, brine shrimp on the six days after it.
    assert weeks[day("02-01")] == pytest.approx(
        {
            Work.PICKING: 0,
            Work.FEEDING: 7 * 3 * 2,
            Work.WATER: 3 * 10,
            Work.CARE: 2 * 10 + 6 * 2 * 10,
            Work.MOVES: 0,
        }
    )
    assert busiest(work_by_week(*one_brood())).monday == day("02-01")


def test_only_the_days_asked_for_are_counted() -> None:
    room, plan = one_brood()
    weeks = work_by_week(room, plan, day("01-20"), day("01-26"))
    assert [(week.monday, week.days) for week in weeks] == [(day("01-18"), 5), (day("01-25"), 1)]
    assert weeks[0].minutes[Work.CARE] == 3 + 5 * 10
    assert weeks[1].minutes[Work.WATER] == pytest.approx(2 * 10 / 7)
    assert [w.total for w in work_by_week(room, plan, day("07-01"), day("07-02"))] == [
        pytest.approx(2 + 10 / 7)
    ]


def test_a_group_that_is_picked_twice_in_a_week_takes_a_quarter_of_an_hour_a_week() -> None:
    broods = (planned("P1", "red", day("01-04"), 10), planned("P2", "red", day("01-08"), 10))
    plan = Plan(
        verdict=Verdict.FITS,
        proven=False,
        stays=(
            stay("P1", "box 1", day("01-04"), day("02-01"), 10),
            stay("P2", "box 2", day("01-08"), day("02-01"), 10),
        ),
    )
    weeks = work_by_week(caring_room(today=day("01-04"), broods=broods), plan)
    assert [week.minutes[Work.PICKING] for week in weeks] == [15, 0, 0, 0]


def test_two_broods_in_one_vessel_are_cared_for_in_one_go() -> None:
    broods = (planned("P1", "red", day("01-09"), 10), planned("P2", "red", day("01-09"), 10))
    stays = tuple(stay(name, "box 1", day("01-09"), day("02-06"), 10) for name in ("P1", "P2"))
    plan = Plan(verdict=Verdict.FITS, proven=False, stays=stays)
    weeks = work_by_week(caring_room(today=day("01-04"), broods=broods), plan)
    assert weeks[2].minutes[Work.CARE] == 3 * 3 + 6 * 10
    assert weeks[2].minutes[Work.WATER] == pytest.approx(20)


def test_times_are_said_in_hours_and_minutes() -> None:
    assert [time_words(m) for m in (0, 9.4, 60, 125, 119.6)] == ["0 min", "9 min", "1 h", "2 h 05 min", "2 h"]
    assert [about(m) for m in (0, 1, 63, 118)] == ["nothing", "about 5 min", "about 1 h 05 min", "about 2 h"]


def test_the_table_of_hours_and_the_line_of_the_plan() -> None:
    room, plan = one_brood()
    text = flat(Hours(room, plan, day("01-18"), day("02-01")).text())
    # By hand above: 26 + 20 + 69 = 115 minutes; 32 + 10 + 90 / 7 + 90 + 20 = 164.9; 279.9 / 2 = 139.9.
    assert "in all 2 h 20 min 2 h 45 min" in text
    assert "care of broods 1 h 20 min 1 h 30 min" in text
    assert "egg picking" not in text, "nothing is picked on these days"
    assert "The busiest is the week of Mon 25 Jan 2027." in text
    assert "10 minutes for each move, set-up and sale are from memory" in text
    week = flat(Hours(room, plan, day("01-18"), day("01-25")).text())
    assert "these days" in week
    assert "in all 1 h 55 min" in week
    assert "busiest" not in week
    line = flat(hours_line(room, plan))
    # 42 + 30 + 140 = 212 minutes, to five minutes.
    assert "about 3 h 30 min a week at the most, in the week of Mon 1 Feb 2027" in line
    # By hand, the seven weeks: 54.9 + 55 + 115 + 164.9 + 212 + 212 + 151.4 = 965.1 minutes in 47 days; a week: 143.7.
    assert "about 2 h 25 min in an average week" in line


def test_the_plan_says_the_hours_of_its_busiest_week() -> None:
    result = fits()
    top = busiest(work_by_week(result.room, result.best.plan))
    said = f"Your time: {about(top.total)} a week at the most, in the week of {day_words(top.monday)}"
    assert said in flat(plan_text(result))


# The schedule


def test_care_stands_beside_the_moves_with_a_box_to_tick() -> None:
    text = moves_text(caring_room(), small_plan(), TODAY, day("02-01"), care=True)
    days = re.split(r"^  (?=\w{3} \d+ \w{3} 2027$)", text, flags=re.MULTILINE)
    on = {part.splitlines()[0]: flat(part) for part in days[1:]}
    assert "[ ] collect the eggs: blue, red trio (ten 5) [ ] P1 40 eggs new box 2" in on["Sat 9 Jan 2027"]
    # No fish are moved on a Sunday in the small room: it has a day of its own.
    assert (
        f"[ ] {EGGS}: P1 (box 2), B1 (box 3), M1 (ten 6), daily to Wed 20 Jan 2027" in on["Sun 10 Jan 2027"]
    )
    assert (
        f"[ ] {FINEST}: P1 (box 2, then ten 2 and ten 3), B1 (box 3, then ten 4), M1 (ten 6), daily to "
        "Mon 1 Feb 2027" in on["Tue 19 Jan 2027"]
    )
    assert "[ ] take the mop out: M1 (ten 6)" in on["Sat 23 Jan 2027"]
    assert text.count(EGGS) == 1
    # K1 hatched on 15 December: brine shrimp from 29 December, before the first printed day.
    under_way = flat(text[: text.index("Week of")])
    assert (
        "Under way on Sat 2 Jan 2027 - measure some: K1 (box 1, then ten 1, then long 1), weekly" in under_way
    )
    assert f"- {SHRIMP}: K1 (box 1, then ten 1), daily to Tue 2 Feb 2027" in under_way


def test_moves_alone_are_as_they_were() -> None:
    alone = moves_text(caring_room(), small_plan(), TODAY, day("02-01"))
    assert EGGS not in alone
    assert "Your time" not in alone
    assert "of work" not in alone
    both = moves_text(caring_room(), small_plan(), TODAY, day("02-01"), care=True)
    ticks = [line for line in alone.splitlines() if line.startswith("[ ]")]
    assert [line for line in both.splitlines() if line in ticks] == ticks


def test_weeks_say_how_much_work_they_have() -> None:
    room, plan = one_brood()
    text = moves_text(room, plan, day("01-18"), day("02-01"), care=True)
    # The same weeks as above: 115 and 164.9 minutes.
    assert "Week of Mon 18 Jan 2027: about 1 h 55 min of work" in text
    assert "Week of Mon 25 Jan 2027: about 2 h 45 min of work" in text


def test_fish_that_are_ready_before_their_sale_are_told() -> None:
    # P1 reaches 45 mm after 200 days with 80 cm to swim: on 7 August, its planned sale. A later sale lets it wait.
    plan = small_plan()
    late = plan.model_copy(
        update={
            "stays": tuple(
                s.model_copy(update={"until": day("08-21")}) if s.brood == "P1" and s.until == GONE else s
                for s in plan.stays
            ),
            "moves": tuple(
                m.model_copy(update={"on": day("08-21")}) if m.brood == "P1" and m.to is None else m
                for m in plan.moves
            ),
        }
    )
    said = "long enough to sell: P1 (long 1), to be sold on Sat 21 Aug 2027"
    assert said in flat(moves_text(caring_room(), late, day("08-01"), care=True))
    assert "long enough to sell: P1" not in flat(moves_text(caring_room(), plan, day("08-01"), care=True))


def test_days_with_nothing_to_move_still_tell_what_goes_on() -> None:
    text = moves_text(caring_room(), small_plan(), day("01-11"), day("01-13"), care=True)
    assert "Nothing to move on these days." in text
    assert f"- {EGGS}: P1 (box 2)" in text
    assert "these days" in text


def test_a_part_that_is_sold_later_waits_and_the_other_does_not() -> None:
    # Both halves swim in long tanks from 10 April on and reach 45 mm on 7 August; one of them waits for two weeks.
    room = caring_room(broods=(planned("P1", "red", day("01-09"), 40),))

    def parts(first: date, second: date) -> Plan:
        return Plan(
            verdict=Verdict.FITS,
            proven=False,
            stays=(
                stay("P1", "box 2", day("01-09"), day("01-30"), 40),
                stay("P1", "ten 2", day("01-30"), day("04-10"), 40),
                stay("P1 a", "long 1", day("04-10"), first, 20),
                stay("P1 b", "long 2", day("04-10"), second, 20),
            ),
            moves=(
                move(day("01-09"), "P1", None, "box 2", 40),
                move(day("01-30"), "P1", "box 2", "ten 2", 40),
                move(day("04-10"), "P1 a", "ten 2", "long 1", 20),
                move(day("04-10"), "P1 b", "ten 2", "long 2", 20),
                move(first, "P1 a", "long 1", None, 20),
                move(second, "P1 b", "long 2", None, 20),
            ),
        )

    waits = flat(moves_text(room, parts(GONE, day("08-21")), day("08-01"), care=True))
    assert "to be sold on Sat 21 Aug 2027" in waits
    assert "to be sold on Sat 7 Aug 2027" not in waits
    assert "long enough" not in flat(moves_text(room, parts(GONE, GONE), day("08-01"), care=True))


def test_the_command_tells_care_unless_told_not_to(monkeypatch: pytest.MonkeyPatch) -> None:
    answer = SimpleNamespace(room=caring_room(), plan=small_plan())
    monkeypatch.setattr(allocator.cli, "answered", lambda *_: answer)
    both, alone = (
        CliRunner().invoke(app, ["moves", "room.yaml", *more]).output for more in ([], ["--no-care"])
    )
    assert EGGS in both
    assert "Your time" in both
    assert EGGS not in alone
    assert "Your time" not in alone
    assert "set up eggs" in alone


def test_names_of_lines_without_rules_of_care_need_none() -> None:
    rules = small_pack(care=())
    lines = tuple(Line(name=name, species="made up", rules=rules) for name in ("red", "blue"))
    text = moves_text(small_room(lines=lines), small_plan(), TODAY, day("02-01"), care=True)
    assert "Under way" not in text
    assert "take the mop out" in text


# Guarded young


def guarded() -> tuple[Room, Plan]:
    """Return a pair in ten 5 that guards its young: laid 9 January, with them until 6 February, then in ten 1."""
    first = StageRule(
        name="nursery", kinds=(VesselKind.BREEDING,), alone=True, may_skip=False, with_parents=True
    )
    rules = pack(
        stages=(first, *small_pack().stages[1:]),
        care=(
            step("food", "feed the young", from_days=0, until_mm=15, every_days=1, minutes=1),
            step("guard", "see that they guard", from_days=2, until_days=30, every_days=2).model_copy(
                update={"with_parents": True}
            ),
        ),
    )
    brood = planned("P1", "red", day("01-09"), 40).model_copy(update={"parents": "red trio"})
    room = small_room(lines=(Line(name="red", species="made up", rules=rules),), broods=(brood,))
    plan = Plan(
        verdict=Verdict.FITS,
        proven=False,
        stays=(
            stay("P1", "ten 5", day("01-09"), day("02-06"), 40),
            stay("P1", "ten 1", day("02-06"), day("04-10"), 40),
        ),
        moves=(
            move(day("01-09"), "P1", None, "ten 5", 40),
            move(day("02-06"), "P1", "ten 5", "ten 1", 40),
        ),
    )
    return room, plan


def test_eggs_that_are_guarded_are_left_with_their_parents() -> None:
    room, plan = guarded()
    text = flat(moves_text(room, plan, care=True))
    assert "P1 40 eggs new ten 5 eggs laid: leave them with their parents" in text
    assert "collect the eggs" not in text
    assert "set up eggs" not in text
    assert "Picking eggs" not in text, "no caution for what is not done"
    minutes = work_by_week(room, plan)[1].minutes
    assert (minutes[Work.PICKING], minutes[Work.MOVES]) == (0, 0)


def test_what_is_due_with_the_parents_ends_when_the_young_leave_them() -> None:
    room, plan = guarded()
    # Hatch on 19 January, guarding from the 21st, every other day: 21, 23 ... 4 February; they leave on the 6th.
    found = {task.name: task for _, task in Care(room, plan).tasks()}
    assert (found["guard"].on, max(found["guard"].days())) == (day("01-21"), day("02-04"))
    text = flat(moves_text(room, plan, care=True))
    assert "see that they guard: P1 (ten 5), every other day to Thu 4 Feb 2027" in text
    # 15 mm after 50 days, on 10 March: in ten 1 by then.
    assert "feed the young: P1 (ten 5, then ten 1), daily to Tue 9 Mar 2027" in text


def test_young_that_were_never_seen_with_their_parents_are_not_guarded() -> None:
    room, plan = guarded()
    only_ten_1 = plan.model_copy(update={"stays": plan.stays[1:], "moves": ()})
    assert "guard" not in {task.name for _, task in Care(room, only_ten_1).tasks()}


# Peat


def peat() -> tuple[Room, Plan]:
    """Return a bag of damp peat with eggs collected on 2 January, wetted in box 1 on the 16th."""
    store = StageRule(name="store", kinds=(VesselKind.EGG_STORE,), alone=True, may_skip=False)
    rules = pack(
        stages=(store, small_pack().stages[0], *small_pack().stages[1:]),
        care=(
            step("food", "a feed", from_days=0, until_mm=15, every_days=1),
            step("wet", "wet the peat", from_days=0),
        ),
    )
    bag = box("bag 1", declared_as="bag", kinds=(VesselKind.EGG_STORE,))
    vessels = (bag, box("box 1"))
    broods = (planned("P1", "red", day("01-02"), 20),)
    lines = (Line(name="red", species="made up", rules=rules),)
    room = small_room(vessels=vessels, groups=(), lines=lines, broods=broods)
    plan = Plan(
        verdict=Verdict.FITS,
        proven=False,
        stays=(
            stay("P1", "bag 1", day("01-02"), day("01-16"), 20),
            stay("P1", "box 1", day("01-16"), day("01-30"), 20),
        ),
        moves=(move(day("01-02"), "P1", None, "bag 1", 20), move(day("01-16"), "P1", "bag 1", "box 1", 20)),
    )
    return room, plan


def test_damp_peat_has_no_water_to_change() -> None:
    weeks = {week.monday: week.minutes[Work.WATER] for week in work_by_week(*peat())}
    # The bag until Saturday the 16th; from then on two days and then whole weeks of box 1, 10 minutes a week.
    assert weeks[day("01-04")] == 0
    assert weeks[day("01-11")] == pytest.approx(2 * 10 / 7)
    assert weeks[day("01-18")] == pytest.approx(10)


def test_peat_is_wetted_before_the_fry_are_fed() -> None:
    text = moves_text(*peat(), care=True)
    # The day after 10 days in peat on which fish are moved: Saturday the 16th. The pack has the feed first.
    on = flat(text[text.index("Sat 16 Jan 2027") :])
    assert on.index("wet the peat: P1") < on.index("a feed: P1")


# Spans


def test_there_is_no_table_of_time_where_nothing_is() -> None:
    text = moves_text(caring_room(), small_plan(), date(2035, 1, 1), care=True)
    assert "Nothing to move from then on." in text
    assert "Your time" not in text
    month = moves_text(caring_room(), small_plan(), date(2035, 1, 1), date(2035, 2, 1), care=True)
    assert "Nothing to move in this time." in month


def test_a_start_before_today_is_today() -> None:
    early = moves_text(caring_room(), small_plan(), date(2026, 12, 1), day("01-08"), care=True)
    first, _, rest = early.partition("\n\n")
    assert flat(first) == (
        "Moves for small, from Sat 2 Jan 2027 (today: the plan begins then), before Fri 8 Jan 2027"
    )
    assert (
        rest == moves_text(caring_room(), small_plan(), TODAY, day("01-08"), care=True).partition("\n\n")[2]
    )
    assert "\n\n\n" not in early, "no empty line where there is no head of a table"
    everything = moves_text(caring_room(), small_plan(), care=True)
    assert not re.search(r"^  \w{3} \d+ Dec 2026$", everything, flags=re.MULTILINE), (
        "what goes on since before today stands at the top"
    )
