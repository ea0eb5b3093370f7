"""Everything that the page shows, taken from a room and its plan."""

from collections.abc import Sequence
from datetime import date

from allocator.husbandry.workload import busiest
from allocator.in_use import new_names
from allocator.plan import Move, Plan, Verdict
from allocator.reports.answers import (
    AS_IT_IS,
    CHECKED,
    WITH_ADDED,
    added_grid,
    added_words,
    addition_blocks,
    as_it_is_blocks,
    homeless_grid,
    planned_on,
    sure_blocks,
    verdict_words,
)
from allocator.reports.blocks import Block
from allocator.reports.caution_list import CAUTIONS, Page, Situation
from allocator.reports.cautions import cautions_for, words
from allocator.reports.hours import Hours, about
from allocator.reports.moves import count_words, work_text
from allocator.reports.not_taken import not_taken_blocks
from allocator.reports.orders import orders_blocks
from allocator.reports.page.days import chosen_days, fullest_day, used_on
from allocator.reports.page.facts import PageFacts, Part
from allocator.reports.page.paper import fits_a_sheet
from allocator.reports.page.rack_facts import rack_day
from allocator.reports.page.time_facts import time_facts
from allocator.reports.page.use_facts import use_facts
from allocator.reports.page.work_facts import care_days, first_sheet, move_weeks
from allocator.reports.tables import clean
from allocator.reports.text import list_ends, this_week_words
from allocator.reports.weights import overload_words, weights_blocks
from allocator.reports.words import WEEK, count_of, day_words
from allocator.result import Result
from allocator.room import Room
from allocator.units import Gallon

FROM_A_FILE = (
    "This page was made from a plan file, which does not say how far each part of the search got; plan the room "
    "for that. Of the first thing that counts (no fish without a home, at the least cost of added tanks) the file "
    "says: {}."
)


def page_facts(
    room: Room,
    plan: Plan,
    *,
    result: Result | None = None,
    as_it_is: Plan | None = None,
    warnings: Sequence[str] = (),
    days: Sequence[date] = (),
    gallon: Gallon | None = None,
) -> PageFacts:
    """Return what the page of a plan shows.

    Parameters
    ----------
    room
        With the vessels that the plan adds.
    result
        How the plan was found; None for one out of a file.
    as_it_is
        What becomes of the broods with nothing added, where that is known and there is no `result`.
    warnings
        What was odd in the input, one sentence each.
    days
        On which the racks are drawn; about four that matter if none are given.
    """
    if result is not None:
        as_it_is = result.as_it_is.plan
    remarks = result.remarks if result is not None else ()
    coming, later = first_sheet(move_weeks(room, plan))
    going_on, care = care_days(room, plan, list_ends(room))
    racks = tuple(rack_day(room, plan, day, why, gallon) for day, why in chosen_days(room, plan, days))
    rows = work_text(room, plan, room.today, room.today + WEEK)
    return PageFacts(
        room=clean(room.name),
        today=day_words(room.today),
        verdict=verdict_words(room, plan, remarks),
        sign=plan.verdict.value.split()[0],
        glance=tuple(_glance(room, plan)),
        looks=tuple(clean(text) for text in (*remarks, *overload_words(room), *warnings, *room.notes)),
        this_week=this_week_words(room, plan, rows),
        coming=coming,
        later=later,
        list_until=day_words(list_ends(room)),
        going_on=going_on,
        care=care,
        racks=racks,
        one_sheet=fits_a_sheet(racks),
        time=time_facts(room, plan),
        use=use_facts(room, plan, as_it_is),
        adding=tuple(_adding(room, plan, result, as_it_is)),
        left_out=tuple(not_taken_blocks(room, plan, as_it_is)),
        orders=tuple(orders_blocks(room, plan)),
        sure=tuple(_sure(room, plan, result)),
        weights=tuple(weights_blocks(room, gallon)),
        cautions=tuple(_cautions(room, plan, as_it_is)),
    )


def _glance(room: Room, plan: Plan) -> list[tuple[str, str]]:
    """Return what can be read from the other end of the room: a heading, and a few words or figures."""
    week = [move for move in plan.moves if room.today <= move.on < room.today + WEEK]
    coming = min((move.on for move in plan.moves if move.on >= room.today), default=None)
    full = fullest_day(room, plan)
    facts = [
        ("this week", count_words(week)),
        ("next moves", day_words(coming) if coming else "nothing to move"),
        ("vessels in use today", _in_use(room, plan, room.today)),
        ("vessels in use at most", f"{_in_use(room, plan, full)}, from {day_words(full)}"),
    ]
    if plan.added:
        facts.append(("to add", added_words(plan)))
    sold = sum(move.fish for move in _sales(plan))
    if sold:
        facts.append(("expected sales", count_of(sold, "fish", "fish")))
    hours = Hours(room, plan).weeks
    if hours and busiest(hours).total > 0:
        facts.append(("your time in the busiest week", about(busiest(hours).total)))
    return facts


def _in_use(room: Room, plan: Plan, day: date) -> str:
    """Return `8 of 16`; what is to be added counts as there from the day it is needed."""
    waiting = {name for added in plan.added if day < added.from_ for name in new_names(plan, added.like)}
    there = sum(vessel.available.holds(day) and vessel.name not in waiting for vessel in room.vessels)
    return f"{len(used_on(room, plan, day))} of {there}"


def _sales(plan: Plan) -> list[Move]:
    return [move for move in plan.moves if move.to is None]


def _adding(room: Room, plan: Plan, result: Result | None, as_it_is: Plan | None) -> list[Part]:
    """Return both answers, each with its proof where one is known."""
    if plan.verdict is Verdict.FITS:
        return [Part("", ("Nothing needs to be added.",))]
    if result is not None:
        parts = [(AS_IT_IS, as_it_is_blocks(result)), (WITH_ADDED, addition_blocks(result))]
        return [Part(title, tuple(blocks)) for title, blocks in parts if blocks]
    added: list[Block] = [added_grid(room, plan)] if plan.added else []
    if plan.homeless:
        added += [
            "Even then not every brood has a home:" if added else "No home for these:",
            homeless_grid(plan),
        ]
    found = []
    if as_it_is is not None and as_it_is.homeless:
        found.append(Part(AS_IT_IS, (homeless_grid(as_it_is),)))
    return [*found, Part(WITH_ADDED if plan.added else AS_IT_IS, tuple(added))]


def _sure(room: Room, plan: Plan, result: Result | None) -> list[Block]:
    if result is not None:
        return sure_blocks(result)
    return [FROM_A_FILE.format("proven" if plan.proven else "not proven"), planned_on(room), CHECKED]


def _cautions(room: Room, plan: Plan, as_it_is: Plan | None) -> list[str]:
    """Return every caution that one of the commands would print, once each."""
    lost = [Situation.HOMELESS] if as_it_is is not None and as_it_is.homeless else []
    keys = {c.key for page in Page for c in cautions_for(page, room, plan, also=lost)}
    return [words(caution, room) for caution in CAUTIONS if caution.key in keys]
