"""What the reports say, on a small room that can be worked out in the head."""

import re
import unicodedata
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from small_rooms import TODAY, day, long, move, planned, small_plan, small_room, stay, ten

from allocator.check.breach import Breach
from allocator.codes import Rule
from allocator.model.improving import MOST_BROODS_FOR_ALL_LEVELS
from allocator.plan import Added, FlowChange, Homeless, Plan, Verdict
from allocator.reports.answers import (
    MOST_BROODS_FOR_THE_SOLVER,
    fewest_too,
    long_shortage_lines,
    shortage_lines,
    sure_text,
    verdict_line,
)
from allocator.reports.checked import check_text
from allocator.reports.moves import moves_text
from allocator.reports.rack import rack_text
from allocator.reports.rules import rules_json, rules_text
from allocator.reports.tables import (
    WIDTH,
    Column,
    clean,
    display_width,
    grouped_table,
    paragraph,
    table,
    wrap,
)
from allocator.reports.tanks import tanks_of_plan_text, tanks_text
from allocator.reports.text import plan_text
from allocator.reports.where import fullness, lots_by_vessel, where_text
from allocator.reports.words import day_words, in_words, length_words, money, ranged, weight_words
from allocator.result import Answer, FoundBy, LevelOutcome, LongShortage, Result, Shortage
from allocator.room import Addable, BreedingGroup, Pin, PinKind, Room, Shelf, Span
from allocator.rules import Evidence, FlowSetting

ODD_NAMES = (
    "1E2",
    "007",
    "1.50",
    "[R4]",
    "[/R4]",
    "[today]",
    "<b>",
    "=x",
    "a|b",
    "{x}",
    "%s",
    "\U0001f41f tank",
    "шкаф 1",
    "水槽",
    "éa",
)
"""Names that a table, a markup language or a format string could swallow."""

HEBREW = "מיכל"


def levels(value: float = 0, bound: float = 0) -> tuple[LevelOutcome, ...]:
    first = LevelOutcome(
        level=1, name="cost of added tanks", unit="", value=value, bound=bound, proven=value == bound
    )
    return first, LevelOutcome(level=2, name="strain", unit="points", value=1500, bound=20, proven=False)


def answer(plan: Plan, **changes: Any) -> Answer:
    fields: dict[str, Any] = {"plan": plan, "found_by": FoundBy.SOLVER, "levels": levels()}
    return Answer(**{**fields, **changes})


def fits() -> Result:
    found = answer(small_plan())
    return Result(room=small_room(), best=found, as_it_is=found)


def in_new_tank(plan: Plan) -> Plan:
    """Return the plan with the blue brood in a tank that is not there yet."""
    return plan.model_copy(
        update={
            "verdict": Verdict.NEEDS_MORE_TANKS,
            "added": (Added(like="long", copies=1, from_=day("04-10")),),
            "stays": tuple(
                s.model_copy(update={"vessel": "new long 1"}) if s.vessel == "long 2" else s
                for s in plan.stays
            ),
            "moves": tuple(
                m.model_copy(
                    update={
                        "to": "new long 1" if m.to == "long 2" else m.to,
                        "from_": "new long 1" if m.from_ == "long 2" else m.from_,
                    }
                )
                for m in plan.moves
            ),
        }
    )


def needs_more(*, value: float = 120, bound: float = 120, most: int = 2) -> Result:
    """Return a result in which long 2 is missing and one new long tank takes its place."""
    room = small_room(
        vessels=tuple(v for v in small_room().vessels if v.name != "long 2"),
        could_add=(Addable(like="long", price=120, most=most),),
    )
    without = small_plan().model_copy(
        update={
            "verdict": Verdict.DOES_NOT_FIT,
            "homeless": (Homeless(brood="B1", from_=day("04-10"), until=day("08-07"), fish=20),),
            "stays": tuple(s for s in small_plan().stays if s.vessel != "long 2"),
        }
    )
    short = Shortage(on=day("04-10"), kind="grow-out", needed=2, there=1, broods=("B1", "K1", "M1", "P1"))
    return Result(
        room=room.with_added({"long": 1}),
        best=answer(in_new_tank(small_plan()), levels=levels(value, bound)),
        as_it_is=answer(without, shortages=(short,)),
    )


def renamed(room: Room, plan: Plan, old: str, new: str) -> tuple[Room, Plan]:
    """Return room and plan with one name changed wherever it stands."""

    def swap(data: object) -> object:
        if isinstance(data, dict):
            return {key: swap(value) for key, value in data.items()}
        if isinstance(data, list | tuple):
            return tuple(map(swap, data))
        return new if data == old else data

    return Room.model_validate(swap(room.model_dump())), Plan.model_validate(swap(plan.model_dump()))


def flat(text: str) -> str:
    """Return text as it is read: without line breaks."""
    return " ".join(text.split())


def tick_lines(text: str) -> list[str]:
    return [line for line in text.splitlines() if line.startswith("[ ]")]


# Tables and words


@pytest.mark.parametrize("name", [*ODD_NAMES, HEBREW])
def test_a_table_keeps_every_name_as_it_is(name: str) -> None:
    text = table((Column("tank"), Column("fish", right=True)), [(clean(name), "12")])
    assert name in text


def test_columns_line_up_however_wide_the_characters_are() -> None:
    text = table(
        (Column("tank"), Column("to")), [("水槽", "x"), ("\U0001f41f 1", "x"), ("éa", "x"), ("ab", "x")]
    )
    rows = text.splitlines()[2:]
    assert len({display_width(row[: row.index("x")]) for row in rows}) == 1


@pytest.mark.parametrize(
    ("text", "columns"),
    [("abc", 3), ("水槽", 4), ("é", 1), ("\U0001f468‍\U0001f469‍\U0001f467", 2), ("☀️", 2), ("שלום", 4)],
)
def test_display_width_counts_columns(text: str, columns: int) -> None:
    assert display_width(text) == columns


def test_right_to_left_names_cannot_swap_from_and_to() -> None:
    # Unicode Standard Annex 9: an isolate (U+2068 to U+2069) counts as one neutral character outside.
    assert clean(HEBREW) == f"\u2068{HEBREW}\u2069"
    assert clean("K1") == "K1"
    text = table((Column("from"), Column("to")), [(clean(HEBREW), clean(HEBREW))])
    assert text.count("\u2068") == text.count("\u2069") == 2


def test_control_characters_do_not_reach_the_terminal() -> None:
    assert clean("a\x1b[31mb\nc\x07") == "a\\x1b[31mb\\nc\\x07"


def test_wrapping_loses_nothing_and_keeps_to_the_width() -> None:
    text = "a few words and onelongwordthatdoesnotfit at all"
    lines = wrap(text, 10)
    assert all(len(line) <= 10 for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    assert wrap("", 10) == [""]


def test_a_wide_table_is_wrapped_to_the_page() -> None:
    columns = (Column("name"), Column("why"))
    text = table(columns, [("x" * 30, "many words " * 20)], indent="    ")
    assert max(map(len, text.splitlines())) <= WIDTH
    assert text.count("many") == 20


def test_a_table_without_headings_or_rows() -> None:
    assert table((Column(""), Column("")), [("a", "b")]) == "a  b"
    assert table((Column("tank"),), []).splitlines()[0] == "tank"


def test_grouped_rows_stand_under_their_titles() -> None:
    text = grouped_table(
        (Column("a"), Column("b")), [("one", [("1", "w " * 60)]), ("two", [("2", "x"), "a line"])]
    )
    lines = text.splitlines()
    assert lines[2] == "one"
    place = lines.index("two")
    assert lines[place + 1].split() == ["2", "x"]
    assert lines[place + 2] == "a line"
    assert grouped_table((Column("a"),), [("only", ["a line"])]) == "only\na line"


def test_a_paragraph_hangs() -> None:
    text = paragraph("word " * 40, indent="- ", hanging="  ")
    assert text.startswith("- word")
    assert all(line.startswith("  word") for line in text.splitlines()[1:])


def test_days_are_written_in_one_form() -> None:
    # 1 January 2027 is a Friday; 43 days later is a weekday further on.
    assert day_words(date(2027, 2, 13)) == "Sat 13 Feb 2027"


def test_names_in_a_row_are_drawn_together() -> None:
    assert ranged(["box 1", "box 2", "box 3", "ten 1", "ten 2", "007", "x 9", "x 11"]) == (
        "box 1 to 3, ten 1, ten 2, 007, x 9 and x 11"
    )
    assert ranged(["1", "2", "3"]) == "1, 2 and 3"


def test_both_systems() -> None:
    # 25.4 mm is an inch and 0.45359237 kg a pound by definition (international agreement of 1959).
    assert length_words(25.4) == "25 mm (1.0 in)"
    assert weight_words(45.359237) == "45 kg (100 lb)"
    assert (money(120), money(12.5)) == ("120", "12.50")
    assert (in_words(7), in_words(13)) == ("seven", "13")


# Moves


def test_one_ticked_line_for_each_move_and_the_valves() -> None:
    text = moves_text(small_room(), small_plan())
    assert len(tick_lines(text)) == len(small_plan().moves) + 2
    assert "[ ]  set flow to still: box 1 to 5 and ten 1 to 8 (to start with)" in text


def test_a_move_says_fish_from_to_flow_and_why() -> None:
    # K1 hatched on 15 December at 5 mm and grows 0.2 mm a day: on 16 January 32 days old and 11.4 mm.
    text = moves_text(small_room(), small_plan(), day("01-16"), day("01-17"))
    line = re.sub(r"\s{2,}", " | ", tick_lines(text)[0])
    assert line == "[ ] | K1 | 24 | box 1 | ten 1 | still | reached 11 mm (0.4 in), 32 days old"


def test_reasons_for_set_ups_splits_merges_and_sales() -> None:
    text = flat(moves_text(small_room(), small_plan()))
    assert "P1 40 eggs new box 2 still set up eggs" in text
    assert "set up the whole mop" in text
    assert text.count("split over two") == 2
    assert "joins" in text
    assert "together with" in text
    assert text.count("ready to sell at 45 mm") == 4


def test_a_lot_that_is_thinned_says_where_the_rest_stays() -> None:
    plan = Plan(
        verdict=Verdict.FITS,
        proven=False,
        stays=(
            stay("K1 a", "ten 1", TODAY, day("02-06"), 10),
            stay("K1 b", "ten 2", day("01-16"), day("02-06"), 14),
        ),
        moves=(move(day("01-16"), "K1 b", "ten 1", "ten 2", 14),),
    )
    assert "thinned: the rest stays in ten 1" in flat(moves_text(small_room(), plan))


def test_a_vessel_is_free_before_it_is_filled() -> None:
    plan = small_plan().model_copy(
        update={
            "moves": (
                move(day("01-16"), "B1", None, "box 1", 20),
                move(day("01-16"), "P1", "box 2", "ten 1", 40),
                move(day("01-16"), "K1", "box 1", "ten 2", 24),
                move(day("01-16"), "M1", "ten 6", None, 20),
            )
        }
    )
    lots = [line.split()[2] for line in tick_lines(moves_text(small_room(), plan, day("01-16")))]
    assert lots == ["M1", "K1", "P1", "B1"]


def test_days_and_weeks_are_apart_and_in_order() -> None:
    text = moves_text(small_room(), small_plan())
    days = re.findall(r"^  (\w{3} \d+ \w{3} 2027)$", text, flags=re.MULTILINE)
    assert days[:4] == ["Sat 2 Jan 2027", "Sat 9 Jan 2027", "Sat 16 Jan 2027", "Sat 30 Jan 2027"]
    assert text.count("Week of Mon") == len(days)
    assert "\n\nWeek of Mon 4 Jan 2027\n" in text


def test_from_is_included_and_until_is_not() -> None:
    text = moves_text(small_room(), small_plan(), day("01-16"), day("01-30"))
    assert "Sat 16 Jan 2027" in text
    assert "split" not in text
    assert "Nothing to move" in moves_text(small_room(), small_plan(), day("01-17"), day("01-30"))


def test_the_flow_to_set_is_named_on_the_day_it_changes() -> None:
    change = FlowChange(vessel="ten 1", from_=day("01-16"), setting=FlowSetting.GENTLE)
    later = FlowChange(vessel="ten 4", from_=day("02-13"), setting=FlowSetting.NORMAL)
    plan = small_plan().model_copy(update={"flow": (*small_plan().flow, change, later)})
    text = moves_text(small_room(), plan, day("01-10"))
    assert "set gentle" in tick_lines(text)[0]
    assert "[ ]  set flow to normal: ten 4 (the fish there bear more now)" in text


def without_homes() -> tuple[Room, Plan]:
    """Return a plan that turns K1 out of ten 1 on 6 March, and has no home at all for B1 and M1."""
    plan = small_plan()
    lost = (
        Homeless(**{"brood": "K1", "from": day("03-06"), "until": day("07-03"), "fish": 24}),
        Homeless(**{"brood": "B1", "from": day("01-09"), "until": day("08-07"), "fish": 20}),
        Homeless(**{"brood": "M1", "from": day("01-09"), "until": day("08-07"), "fish": 20}),
    )
    kept = [s for s in plan.stays if s.brood == "P1" or (s.brood == "K1" and s.vessel != "long 1")]
    moves = [m for m in plan.moves if m.brood == "P1" or (m.brood == "K1" and m.on < day("03-06"))]
    changes = {"verdict": Verdict.DOES_NOT_FIT, "homeless": lost, "stays": tuple(kept), "moves": tuple(moves)}
    return small_room(), plan.model_copy(update=changes)


def test_fish_without_a_home_are_in_the_schedule() -> None:
    text = moves_text(*without_homes())
    assert "Does not fit: K1, B1 and M1 have no home at some time from Sat 9 Jan 2027 on." in flat(text)
    assert text.index("Does not fit") < text.index("Week of")
    rows = [re.sub(r"\s{2,}", " | ", row) for row in tick_lines(text)]
    assert "[ ] | B1 | 20 eggs | new | no home | do not collect: no home" in rows
    assert any(row.startswith("[ ] | M1 | 20 eggs | new | no home | do not collect the mop:") for row in rows)
    turned_out = moves_text(*without_homes(), day("03-01"), day("03-08"))
    (row,) = (re.sub(r"\s{2,}", " | ", row) for row in tick_lines(turned_out))
    assert row.startswith("[ ] | K1 | 24 | ten 1 | no home | no room: have a taker")
    later = moves_text(*without_homes(), day("03-08"), day("03-15"))
    assert "Does not fit" in later
    assert "Nothing to move on these days." in later
    assert "Does not fit" not in moves_text(small_room(), small_plan())


def test_a_plan_that_only_turns_fish_out_later_does_not_say_that_nothing_happens() -> None:
    room, plan = without_homes()
    plan = plan.model_copy(update={"moves": (), "flow": (), "homeless": plan.homeless[:1]})
    base = fits()
    result = base.model_copy(update={"room": room, "best": answer(plan), "as_it_is": answer(plan)})
    text = plan_text(result, every_move=True)
    assert "nothing more to move" not in text
    assert "no fish to move, but some without a home" in text


def test_some_of_a_brood_that_is_shared_out_lose_their_home() -> None:
    room, plan = without_homes()
    moved = (*plan.moves, move(day("03-06"), "K1", "ten 1", "long 1", 10))
    stays = (*plan.stays, stay("K1", "long 1", day("03-06"), day("07-03"), 10))
    lost = (Homeless(**{"brood": "K1", "from": day("03-06"), "until": day("07-03"), "fish": 14}),)
    plan = plan.model_copy(update={"moves": moved, "stays": stays, "homeless": lost})
    rows = [
        re.sub(r"\s{2,}", " | ", r) for r in tick_lines(moves_text(room, plan, day("03-06"), day("03-07")))
    ]
    assert rows[0].startswith("[ ] | K1 | 14 | ten 1 | no home")
    assert rows[1].startswith("[ ] | K1 | 10 | ten 1 | long 1")


def test_selling_rules_stand_where_fish_are_sold() -> None:
    assert "Never release" in flat(moves_text(small_room(), small_plan()))
    assert "Never release" not in flat(moves_text(small_room(), small_plan(), until=day("06-01")))


# Where


def test_every_vessel_is_named_on_a_day() -> None:
    text = flat(where_text(small_room(), small_plan(), day("05-22"), "imperial"))
    # 144 litres / 4.54609 = 31.7 imperial gallons; 84 red fish at 1 a litre fill 58 % of 144 litres; all are
    # above the comfort of 0.5 a litre. On 22 May K1 is 158 days old: 5 + 31.6 = 36.6 mm, 1.4 in.
    assert "long 1, 144 l (31.7 imperial gal), flow gentle: 58 % full, above comfort (number of fish" in text
    assert "K1 red 24 fish 37 mm (1.4 in) 158 days old" in text
    assert "red trio red 3 fish 1 male, 2 females breeding" in text
    assert "Empty: box 1 to 5, ten 1 to 4, ten 6 and ten 8." in text
    assert "Not there on this day: ten 7." in text


@pytest.mark.parametrize("told", [where_text, rack_text])
def test_a_day_after_the_plan_is_said_to_be_so(told: Callable[[Room, Plan, date], str]) -> None:
    """All are sold on 7 August at the latest: on the day before, the plan still holds."""
    ends = "The plan ends on Sat 7 Aug 2027: what may come after it is not in it."
    assert ends not in flat(told(small_room(), small_plan(), day("08-06")))
    assert ends in flat(told(small_room(), small_plan(), day("08-07")))
    assert ends in flat(told(small_room(), small_plan(), date(2030, 1, 1)))


def test_a_vessel_that_is_gone_is_not_called_empty() -> None:
    room = small_room()
    gone = room.model_copy(
        update={
            "vessels": tuple(
                vessel.model_copy(update={"available": Span(end=room.today)})
                if vessel.name == "ten 8"
                else vessel
                for vessel in room.vessels
            )
        }
    )
    found = answer(small_plan())
    text = flat(plan_text(Result(room=gone, best=found, as_it_is=found)))
    assert "Not there all week: ten 8." in text
    assert "ten 8" not in text.split("Empty all week:")[1].split(".")[0]
    assert "Not there all week" not in flat(plan_text(fits()))  # ten 7 goes later


def test_one_of_a_kind_is_counted_in_the_singular() -> None:
    found = answer(
        small_plan(), levels=(*levels()[:1], levels()[1].model_copy(update={"value": 1, "bound": 2}))
    )
    text = flat(plan_text(Result(room=small_room(), best=found, as_it_is=found)))
    assert "1 point 2 points" in text


def test_eggs_are_eggs_until_they_hatch() -> None:
    text = flat(where_text(small_room(), small_plan(), day("01-10")))
    # 40 eggs of 20 a litre fill half of a box of 4 litres; they hatch on 19 January.
    assert "box 2, 4 l (1.1 US gal), flow still: 50 % full, fine" in text
    assert "P1 red 40 eggs hatch about Tue 19 Jan 2027" in text


def test_the_homeless_are_named_on_the_day() -> None:
    result = needs_more()
    text = where_text(result.room, result.as_it_is.plan, day("05-22"))
    assert "Without a home on this day: B1 (20 fish)." in text


@pytest.mark.parametrize(
    ("fish", "words"),
    [
        (72, "50 % full, fine"),
        (100, "69 % full, above comfort"),
        (144, "100 % full, full"),
        (145, "too full"),
    ],
)
def test_fullness_in_words(fish: int, words: str) -> None:
    # Above 15 mm the limit is 1 fish a litre and comfort half of it; K1 is 29 mm long on 15 April.
    room = small_room()
    plan = Plan(
        verdict=Verdict.FITS,
        proven=False,
        stays=(stay("K1", "long 1", day("03-06"), day("07-03"), fish),),
    )
    lots = lots_by_vessel(room, plan, day("04-10"))["long 1"]
    assert words in str(fullness(room.vessel_named["long 1"], lots))


def test_a_vessel_that_is_too_short_is_said_to_be_that() -> None:
    # From 30 mm on 40 cm of run is the least and 80 cm comfort; P1 is 30.0 mm at 125 days, on 24 May.
    room = small_room()
    lots = lots_by_vessel(room, small_plan(), day("05-25"))["long 1"]
    assert "too short" in str(fullness(ten("t", length_mm=300), lots))
    assert "shorter than they like" in str(fullness(long("t", length_mm=700), lots))


# The whole plan


def test_a_room_that_fits_says_so_first() -> None:
    text = plan_text(fits(), ["room.yaml:3: odd"])
    assert text.splitlines()[0] == "Everything fits."
    assert "room.yaml:3: odd" in text
    assert "With tanks added" not in text
    assert "Expected sales: 104 fish" in text
    assert "no fish to move, only flow to set" in text
    assert "9 more until Sat 7 Aug 2027" in text
    assert "9 more" not in plan_text(fits(), every_move=True)


def test_a_room_that_needs_tanks_gives_both_answers() -> None:
    text = flat(plan_text(needs_more()))
    assert text.startswith("Needs more tanks: 1 more like long, in use from Sat 10 Apr 2027 (price 120).")
    assert "B1 20 Sat 10 Apr 2027 Sat 7 Aug 2027" in text
    assert (
        "On Sat 10 Apr 2027 these four broods alone need two vessels of the kind grow-out, and there is one: "
        "B1, K1, M1 and P1." in text
    )
    assert "1 like long new long 1 Sat 10 Apr 2027 120" in text
    assert "Without it the first fish lose their home on Sat 10 Apr 2027." in text
    assert "No plan with fewer added tanks exists" in text


def test_nothing_is_said_to_be_proven_when_it_is_not() -> None:
    text = flat(plan_text(needs_more(bound=60)))
    assert "No plan with" not in text
    assert "nothing cheaper than 60 can do" in text


def test_least_cost_is_not_always_fewest_tanks() -> None:
    # Two tens at 40 cost 80; one long at 120 would be fewer tanks and dearer, so fewer is not ruled out.
    plan = small_plan().model_copy(
        update={
            "verdict": Verdict.NEEDS_MORE_TANKS,
            "added": (Added(like="ten", copies=2, from_=day("04-10")),),
        }
    )
    offers = (Addable(like="ten", price=40, most=2), Addable(like="long", price=120, most=1))
    result = Result(
        room=small_room(could_add=offers), best=answer(plan, levels=levels(80, 80)), as_it_is=answer(plan)
    )
    assert not fewest_too(result)
    assert "fewer added tanks" not in flat(plan_text(result))
    assert "No plan with a cheaper addition exists" in flat(plan_text(result))
    assert fewest_too(needs_more())


def test_a_room_that_does_not_fit_names_the_broods() -> None:
    lost = needs_more().as_it_is
    room = small_room(could_add=())
    text = flat(plan_text(Result(room=room, best=lost, as_it_is=lost)))
    assert text.startswith("Does not fit: B1 has no home at some time from Sat 10 Apr 2027 on.")
    assert 'the room file lists nothing under "could_add"' in text
    assert "do not start what cannot be housed" in text


def test_a_long_list_of_homeless_broods_is_cut_in_the_verdict_only() -> None:
    lost = tuple(
        Homeless(brood=f"Q{n}", from_=day("05-08"), until=day("06-08"), fish=n) for n in range(1, 10)
    )
    plan = small_plan().model_copy(update={"verdict": Verdict.DOES_NOT_FIT, "homeless": lost})
    assert "and 3 more have no home" in flat(verdict_line(small_room(), plan))
    found = answer(plan)
    assert "Q9" in plan_text(Result(room=small_room(), best=found, as_it_is=found))


def test_first_fit_and_a_stop_are_told() -> None:
    found = answer(small_plan(), found_by=FoundBy.FIRST_FIT, levels=())
    assert "this is the best checked plan it had" in flat(
        plan_text(Result(room=small_room(), best=found, as_it_is=found, stopped=True))
    )
    text = flat(plan_text(Result(room=small_room(), best=found, as_it_is=found)))
    assert "Proven among" not in text


def test_first_fit_is_told_by_the_size_of_the_room() -> None:
    assert MOST_BROODS_FOR_THE_SOLVER == MOST_BROODS_FOR_ALL_LEVELS
    found = answer(small_plan(), found_by=FoundBy.FIRST_FIT)
    small = small_room()
    more = tuple(planned(f"Q{n}", "red", day("01-09"), 20) for n in range(MOST_BROODS_FOR_THE_SOLVER))
    large = small_room(broods=(*small.broods, *more))
    in_time, by_size = "nothing better in the time", "In a room of this size first fit settles"
    for room, stopped, said in ((small, False, in_time), (large, False, by_size), (large, True, "stopped")):
        text = flat(sure_text(Result(room=room, best=found, as_it_is=found, stopped=stopped)))
        assert [words in text for words in (in_time, by_size, "stopped")].count(True) == 1
        assert said in text
    done = answer(small_plan(), found_by=FoundBy.FIRST_FIT, levels=levels()[:1])
    assert "first fit" not in flat(sure_text(Result(room=small, best=done, as_it_is=done)))


def test_rows_of_one_level_are_told_apart_and_points_explained() -> None:
    last = tuple(
        LevelOutcome(level=4, name=name, unit="days", value=3, bound=3, proven=True)
        for name in ("days with moves", "vessel-days in use")
    )
    found = answer(small_plan(), levels=(*levels(), *last))
    text = flat(sure_text(Result(room=small_room(), best=found, as_it_is=found)))
    assert "1 cost of added tanks" in text
    assert "4a days with moves" in text
    assert "4b days that vessels are in use" in text
    assert "One point of strain" in text


def test_what_is_wrong_today_is_no_bare_fit() -> None:
    result = fits().model_copy(update={"remarks": ("wrong today, until you can move fish: K1 is crowded",)})
    head, _, look, first = plan_text(result, ["odd"]).splitlines()[:4]
    assert head == "Everything fits once what is wrong today is put right (see below)."
    assert look == "Please look at"
    assert "K1 is crowded" in first
    assert head in tanks_text(result)


def test_a_shelf_with_too_much_on_it_is_told_at_the_top() -> None:
    first, *others = small_room().vessels
    stands = first.model_copy(update={"rack": "R", "shelf": "top"})
    room = small_room(vessels=(stands, *others), shelves=(Shelf(rack="R", name="top", rated_kg=0.5),))
    looks = plan_text(fits().model_copy(update={"room": room}), []).split("\n\n")[1]
    assert looks.startswith("Please look at\n  - rack R, shelf top: its vessels weigh more")


def test_one_brood_is_read_out_in_the_singular() -> None:
    short = Shortage(on=day("05-09"), kind="rearing", needed=1, there=0, broods=("K1",))
    assert flat(shortage_lines((short,))[0]) == (
        "On Sun 9 May 2027 this brood alone needs one vessel of the kind rearing, and there are no: K1."
    )


def why_lines(**changes: Any) -> str:
    return flat(moves_text(small_room(**changes), small_plan()))


@pytest.mark.parametrize(
    "pin",
    [
        Pin(kind=PinKind.IN, brood="B1", vessel="ten 4", span=Span(start=day("01-30"))),
        Pin(kind=PinKind.NOT_IN, brood="B1", vessel="box 3", span=Span(start=day("01-30"))),
        Pin(kind=PinKind.MOVE_ON, brood="B1", span=Span(start=day("01-30"))),
    ],
)
def test_a_move_that_was_pinned_says_so(pin: Pin) -> None:
    assert why_lines(pins=(pin,)).count("as you pinned it") == 1
    for other in ({"brood": "M1"}, {"span": Span(start=day("01-29"))}):
        assert "pinned" not in why_lines(pins=(pin.model_copy(update=other),))
    if pin.vessel is not None:
        assert "pinned" not in why_lines(pins=(pin.model_copy(update={"vessel": "ten 1"}),))


def test_a_move_out_of_a_tank_that_goes_says_so() -> None:
    def without_ten_1(end: str) -> str:
        vessels = tuple(
            v.model_copy(update={"available": Span(end=day(end))}) if v.name == "ten 1" else v
            for v in small_room().vessels
        )
        return why_lines(vessels=vessels)

    # Fish are moved on Saturdays, and not from 13 to 20 March: after 6 March the next is the 27th.
    assert "ten 1 is gone from Sat 6 Mar 2027" in without_ten_1("03-06")
    assert "ten 1 is gone from Mon 15 Mar 2027" in without_ten_1("03-15")
    assert "gone" not in without_ten_1("03-27")
    group = BreedingGroup(
        name="new pair", line="red", males=1, females=1, vessel="ten 1", lives_there=Span(start=day("03-08"))
    )
    assert "new pair moves into ten 1 on Mon 8 Mar 2027" in why_lines(groups=(group,))


# Tanks


def test_tanks_week_by_week() -> None:
    text = tanks_text(fits())
    # In the week of 25 January K1, P1 (two lots), B1, the mop and the trio are in six of eight tens.
    assert re.search(r"Mon 25 Jan 2027 +6 of 8  ######\.\.", text)
    assert re.search(r"Mon 5 Apr 2027, 18 weeks +2 of 2  ##", text)
    assert "box: 5 there, at most 3 in use at one time" in text


def test_a_tank_that_is_missing_is_drawn_as_a_plus() -> None:
    text = tanks_text(needs_more())
    assert re.search(r"Mon 5 Apr 2027, 18 weeks +2 of 1  #\+", text)
    assert "1 to add" in text
    assert "Weight of filled vessels" in text
    alone = tanks_of_plan_text(needs_more().room, needs_more().best.plan)
    assert "How sure" not in alone
    assert "#+" in alone


def test_bars_stay_on_the_page_in_a_big_room() -> None:
    room = small_room(vessels=(*small_room().vessels, *(ten(f"ten {n}") for n in range(9, 109))))
    found = answer(small_plan())
    text = tanks_text(Result(room=room, best=found, as_it_is=found))
    assert max(map(len, text.splitlines())) <= WIDTH
    assert "each character stands for 5" in text


# Checker, rules


def test_breaches_are_grouped_by_code() -> None:
    assert check_text([]) == "The plan keeps every rule."
    breaches = [
        Breach(rule=Rule.ROOM, day=day("05-01"), brood="K1", vessel="[R4]", text="too full"),
        Breach(rule=Rule.ROOM, day=day("04-01"), brood=None, vessel="ten 1", text="too full"),
        Breach(rule=Rule.MOVE_DAY, day=day("04-01"), brood="K1", vessel=None, text="a Monday"),
    ]
    text = check_text(breaches)
    assert "breaks 2 rules, in 3 places" in text
    assert text.index("room: ") < text.index("Thu 1 Apr 2027, ten 1") < text.index("Sat 1 May 2027, [R4], K1")
    assert "move-day: " in text
    found = check_text([breaches[0].model_copy(update={"as_found": True})])
    assert found.startswith("The plan keeps every rule that it could keep.")
    many = check_text([breaches[0].model_copy(update={"text": f"n {n}"}) for n in range(40)])
    assert "and 15 more" in many


def test_rules_print_every_figure_with_its_evidence() -> None:
    pack = small_room().lines[0].rules
    text = rules_text([("line red", pack)])
    for name, _ in pack.figures():
        assert name in text
    assert "from memory" in text
    assert "made up for tests" in text
    assert len(rules_json([("line red", pack)])) == len(list(pack.figures()))
    everything = len(list(pack.figures()))
    assert f"{everything} of {everything} values are from memory." in text
    none = rules_text([("line red", pack)], Evidence.PUBLISHED)
    assert f"None of {everything} values is published." in none


def test_no_page_says_safe_or_uses_words_of_the_search() -> None:
    result = needs_more()
    pages = [
        plan_text(result),
        tanks_text(result),
        moves_text(result.room, result.best.plan),
        where_text(result.room, result.best.plan, day("05-22")),
    ]
    for word in ("safe", "infeasible", "objective", "horizon", "makespan", "solver", "optimal", "heuristic"):
        assert not any(word in page.lower() for page in pages), word


# Everything, with odd names


@pytest.mark.parametrize(
    "name", [*ODD_NAMES, HEBREW, "a name of a tank that goes on for much longer than any column"]
)
@pytest.mark.parametrize("old", ["long 1", "K1", "red", "red trio", "ten 1"])
def test_odd_names_survive_on_every_page(name: str, old: str) -> None:
    room, plan = renamed(small_room(), small_plan(), old, name)
    found = answer(plan)
    result = Result(room=room, best=found, as_it_is=found)
    pages = [
        plan_text(result, every_move=True),
        moves_text(room, plan),
        f"{where_text(room, plan, day('05-22'))}\n{where_text(room, plan, day('01-22'))}",
        tanks_text(result),
    ]
    for page in pages:
        assert all(display_width(line) <= WIDTH for line in page.splitlines())
        assert not any(unicodedata.category(char) == "Co" for char in page)
    solid = ["".join(page.split()) for page in pages[:3]]
    if len(name) < WIDTH // 4:
        where = pages[2] if old in ("red", "red trio") else pages[1] + pages[2]
        assert name in where
    assert any("".join(name.split())[:8] in page for page in solid)


def test_reports_import_neither_planner_nor_model() -> None:
    for path in (Path(__file__).parent.parent / "allocator" / "reports").glob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"allocator\.(planner|model|needs)|ortools|\bprint\(", text), path.name


def test_longer_shortages_are_read_out() -> None:
    whole = LongShortage(
        since=day("05-01"),
        until=day("06-30"),
        kind="ten",
        at_least=40,
        needed=3,
        there=2,
        broods=("K1", "K2"),
    )
    counted = LongShortage(since=day("05-01"), until=day("06-30"), kind="long", at_least=120)
    first, second = (" ".join(line.split()) for line in long_shortage_lines((whole, counted)))
    assert first == (
        "From Sat 1 May 2027 to Wed 30 Jun 2027 the stays of these two broods, one after another, need three "
        "vessels of the kind ten, and there are two: K1 and K2."
    )
    assert second == (
        "From Sat 1 May 2027 to Wed 30 Jun 2027 there are too few vessels whatever the days of the moves: at "
        "least 120 must be spent on more (long)."
    )
