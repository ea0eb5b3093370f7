"""How the answer and the move schedule tell of collections that are left out."""

from datetime import date

from small_rooms import day, small_plan, small_room

from allocator.plan import NotTaken, Plan
from allocator.reports.answers import verdict_line
from allocator.reports.calendar_file import calendar_file
from allocator.reports.caution_list import Page
from allocator.reports.cautions import cautions_text
from allocator.reports.moves import moves_text
from allocator.reports.not_taken import not_taken_text
from allocator.reports.sheet import sheet_text
from allocator.reports.tables import WIDTH
from allocator.room import CollectedBy, Room


def open_small_room(*names: str, by: CollectedBy = CollectedBy.PICKING, laid_over_days: int = 1) -> Room:
    """Return the small room in which some collections are taken only if they fit."""
    changes = {"optional": True, "by": by, "laid_over_days": laid_over_days}
    broods = (b.model_copy(update=changes) if b.name in names else b for b in small_room().broods)
    return small_room(broods=tuple(broods))


def left_out(*names: str) -> Plan:
    """Return the plan of the small room without some of its broods."""
    plan = small_plan()
    eggs = {brood.name: brood.eggs for brood in small_room().broods}
    return plan.model_copy(
        update={
            "stays": tuple(stay for stay in plan.stays if stay.brood not in names),
            "moves": tuple(move for move in plan.moves if move.brood not in names),
            "not_taken": tuple(NotTaken(brood=name, on=day("01-09"), eggs=eggs[name]) for name in names),
        }
    )


def test_where_all_are_always_taken_nothing_is_said() -> None:
    assert not_taken_text(small_room(), small_plan()) == ""
    assert verdict_line(small_room(), small_plan()) == "Everything fits."


def test_where_all_of_them_fit_that_is_said() -> None:
    assert (
        not_taken_text(open_small_room("B1"), small_plan())
        == "The collection that is taken only if it fits is taken."
    )
    text = not_taken_text(open_small_room("B1", "P1"), small_plan())
    assert text == "Both collections that are taken only if they fit are taken."


def test_the_week_the_line_and_what_to_do_are_named() -> None:
    text = not_taken_text(open_small_room("B1", "P1"), left_out("B1"))
    assert text.splitlines() == [
        "Leave out: 1 collection of 2 taken only if they fit",
        "  week of         line  what to do      collection  eggs",
        "  --------------  ----  --------------  ----------  ----",
        "  Mon 4 Jan 2027  blue  do not collect  B1            20",
    ]
    words = "Everything fits; one of the two collections that are taken only if they fit is left out."
    assert verdict_line(open_small_room("B1", "P1"), left_out("B1")).replace("\n", " ") == words


def test_a_mop_is_left_out_and_priorities_are_told_where_there_are_several() -> None:
    room = open_small_room("B1", by=CollectedBy.MOP)
    assert "leave the mop out" in not_taken_text(room, left_out("B1"))
    assert "priority" not in not_taken_text(room, left_out("B1"))
    broods = (
        b.model_copy(update={"priority": 3, "optional": b.planned}) if b.name == "P1" else b
        for b in room.broods
    )
    text = not_taken_text(room.model_copy(update={"broods": tuple(broods)}), left_out("B1"))
    assert text.splitlines()[1].endswith("eggs  priority")


def test_what_becomes_of_them_with_nothing_added_is_told_where_it_is_something_else() -> None:
    room = open_small_room("B1", "P1")
    text = not_taken_text(room, left_out("B1"), left_out("B1", "P1"))
    assert text.endswith(
        "  With what you have, nothing added, both collections that are taken only if\n"
        "  they fit are left out."
    )
    assert "nothing added" not in not_taken_text(room, left_out("B1"), left_out("B1"))


def test_sheet_and_calendar_say_that_it_is_not_taken_and_not_that_fish_have_no_home() -> None:
    room, plan = open_small_room("B1"), left_out("B1")
    sheet = sheet_text(room, plan, date(2027, 1, 2), date(2027, 1, 23), care=False)
    (row,) = (line for line in sheet.splitlines() if line.startswith("[ ]  B1"))
    assert "not taken" in row
    assert "no home" not in sheet
    calendar = calendar_file(room, plan, care=False).text
    assert "B1: not taken (20 eggs)" in calendar
    assert "no home" not in calendar


def test_the_move_schedule_says_what_to_leave_out_on_the_day_on_which_the_mop_would_go_in() -> None:
    room = open_small_room("B1", by=CollectedBy.MOP, laid_over_days=4)
    text = moves_text(room, left_out("B1"), care=False)
    lines = text.splitlines()
    (row,) = (number for number, line in enumerate(lines) if "leave the mop out" in line)
    assert "B1" in lines[row]
    assert "not taken" in lines[row]
    last_day = next(line for line in reversed(lines[:row]) if line.startswith("  ") and "2027" in line)
    assert last_day == "  Wed 6 Jan 2027"
    picked = moves_text(
        open_small_room("B1", laid_over_days=4), left_out("B1"), until=date(2027, 1, 9), care=False
    )
    assert "do not collect" not in picked


def test_every_line_fits_the_page() -> None:
    room = open_small_room("B1", "P1", "M1")
    text = not_taken_text(room, left_out("B1", "P1", "M1"), left_out("B1"))
    assert all(len(line) <= WIDTH for line in text.splitlines())


def test_eggs_that_nobody_collects_need_no_caution() -> None:
    room, all_planned = open_small_room("B1", "P1", "M1"), left_out("B1", "P1", "M1")
    assert "Before eggs are collected" in cautions_text(Page.PLAN, room, left_out("B1"))
    assert "Before eggs are collected" not in cautions_text(Page.PLAN, room, all_planned)
