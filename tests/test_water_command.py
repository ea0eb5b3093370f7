"""Whether the water is enough: one vessel worked by hand, what is said of it, and what the command does."""

import os
import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path

import pytest
from room_files import SCENARIOS, SIZE, write
from room_files import small_room as small_file
from small_rooms import TODAY, day, figure, in_being, level, small_pack, small_plan, small_room, ten

from allocator.husbandry.stocking import Cap
from allocator.husbandry.tank_water import Binds, FilterState, Lot, tank_water
from allocator.reports.water import water_text, waters
from allocator.reports.water_tables import amount, needed_words, percent
from allocator.room import Conditions
from allocator.rules import RoomStep

PACK = small_pack()
DAILY = Conditions(temperature_c=24, ph=8, change_share=0.25, change_days=1)
FISH = 125
"""Fish of 20 mm of the small pack: 0.01 x 2 cm ^ 3 = 0.08 g each, fed 5 % = 0.004 g; 125 x 0.004 = 0.5 g a day."""


def lot(fish=FISH, mm=20.0, **changes):
    return Lot(fish, mm, small_pack(**changes) if changes else PACK)


def tank(*lots, on=TODAY, **changes):
    """Return a tank of 500 x 250 x 272.56 mm = 34.07 litres, the water of ten US gallons filled to nine."""
    vessel = ten("ten 1", **{"depth_mm": 272.56, "conditions": DAILY, **changes})
    return tank_water(vessel, lots or (lot(),), on)


def stated(**changes):
    return DAILY.model_copy(update=changes)


class TestByHand:
    def test_feed_and_ammonia(self):
        """0.5 g x 0.45 protein x 0.092 x 1000 = 20.7 mg a day."""
        assert tank().vessel.litres == pytest.approx(34.07)
        assert tank().feed_g_per_day == pytest.approx(0.5)
        assert tank().ammonia_mg_per_day == pytest.approx(20.7)

    def test_level_before_a_change(self):
        """20.7 mg x 1 day / (34.07 l x 0.25) = 2.4303 mg a litre; 50 % a week: 20.7 x 7 / 17.035 = 8.506."""
        assert tank().before_change_mg_per_l == pytest.approx(2.4303, abs=5e-5)
        weekly = tank(conditions=stated(change_share=0.5, change_days=7))
        assert weekly.before_change_mg_per_l == pytest.approx(8.506, abs=5e-4)

    def test_un_ionised(self):
        """A published table (University of Florida, FA-16) has 0.0502 at 24 degrees C and pH 8: 2.4303 x 0.0502."""
        assert tank().un_ionised_share == pytest.approx(0.0502, abs=5e-5)
        assert tank().un_ionised_mg_per_l == pytest.approx(2.4303 * 0.0502, rel=2e-3)
        assert tank().ammonia_share == pytest.approx(2.4303 * 0.0502 / 0.02, rel=2e-3)
        assert tank().changes_are_enough is False

    def test_change_needed(self):
        """The same table has 0.0060 at 26 degrees C and pH 7: 0.02 / 0.0060 = 3.33; 20.7 / (34.07 x 3.33) = 0.182."""
        neutral = tank(conditions=stated(temperature_c=26, ph=7))
        assert neutral.change_needed(1) == pytest.approx(0.182, rel=0.01)
        assert neutral.change_needed(7) is None
        assert neutral.changes_are_enough is True

    def test_what_is_needed_is_just_enough(self):
        share = tank(conditions=stated(ph=7)).change_needed(1)
        there = tank(conditions=stated(ph=7, change_share=share))
        assert there.un_ionised_mg_per_l == pytest.approx(0.02)
        assert there.changes_are_enough is True
        assert tank(conditions=stated(ph=7, change_share=share * 0.999)).changes_are_enough is False

    def test_lots_of_different_food_and_limits(self):
        """0.5 g of 45 % and 0.5 g of 30 %: 20.7 + 13.8 = 34.5 mg; the strictest limit counts."""
        other = PACK.water.model_copy(
            update={
                "feed_protein_share": figure(0.30),
                "un_ionised_limit_mg_per_l": figure(0.01),
                "least_oxygen_mg_per_l": figure(6),
            }
        )
        both = tank(lot(), lot(water=other))
        assert both.ammonia_mg_per_day == pytest.approx(34.5)
        assert both.un_ionised_limit_mg_per_l == 0.01
        assert both.oxygen.least_mg_per_l == 6

    def test_eggs_are_not_fed_and_count_for_no_fish(self):
        assert tank(lot(), lot(40, 0.0)).ammonia_mg_per_day == pytest.approx(20.7)
        assert tank(lot(), lot(40, 0.0)).fish == FISH


class TestFilter:
    def test_without_one_changes_carry_all(self):
        assert tank().filter_state is FilterState.NONE
        assert tank().left_mg_per_day == pytest.approx(20.7)

    def test_it_takes_only_what_the_keeper_says(self):
        """0.2 of 0.5 g: 20.7 x 0.3 / 0.5 = 12.42 mg are left."""
        found = tank(filtered=True, feed_g_per_day=0.2)
        assert found.filter_state is FilterState.RATED
        assert found.left_mg_per_day == pytest.approx(12.42)

    def test_a_large_one_leaves_nothing(self):
        found = tank(filtered=True, feed_g_per_day=1)
        assert found.left_mg_per_day == 0
        assert (found.change_needed(7), needed_words(found)) == (0, "none for ammonia")

    def test_without_a_stated_capacity_nothing_is_counted_and_that_is_said(self):
        found = tank(filtered=True)
        assert found.filter_state is FilterState.UNRATED
        assert found.left_mg_per_day == pytest.approx(20.7)

    def test_a_new_one_counts_as_nothing_on_day_48_and_counts_on_day_49(self):
        since = date(2027, 1, 2)
        young, ripe = (
            tank(on=since + timedelta(days=days), filtered=True, feed_g_per_day=1, filter_since=since)
            for days in (48, 49)
        )
        assert (young.filter_state, ripe.filter_state) == (FilterState.YOUNG, FilterState.RATED)
        assert (young.left_mg_per_day, ripe.left_mg_per_day) == (pytest.approx(20.7), 0)
        assert young.filter_counts_from == ripe.on == date(2027, 2, 20)

    def test_that_of_an_added_tank_is_new(self):
        room = small_room(vessels=(ten("ten 1", filtered=True), ten("bare 1", declared_as="bare")))
        new, bare = (
            room.with_added({"ten": 1, "bare": 1}).vessels[-1],
            room.with_added({"bare": 1}).vessels[-1],
        )
        assert (new.filter_since, bare.filter_since) == (room.today, None)


class TestBinds:
    def test_the_nearest_cap_is_named(self):
        """125 fish of 1 a litre in 34.07 litres: 3.67; 125 x 0.08 g of 2 g a litre: 10 / 68.14 = 0.147."""
        shares = tank().cap_shares
        assert shares == {Cap.FISH: pytest.approx(125 / 34.07), Cap.WEIGHT: pytest.approx(10 / 68.14)}
        assert tank().binding_cap is Cap.FISH

    def test_water_first(self):
        """Ammonia at 6.1 of its limit, fish at 3.67."""
        assert tank().binds is Binds.WATER

    def test_space_first(self):
        assert tank(conditions=stated(ph=7)).binds is Binds.SPACE

    def test_filter_first(self):
        """Feed 0.5 of 0.1 g is 5 times what it takes, above 3.67; at pH 6.5 ammonia is far below."""
        found = tank(filtered=True, feed_g_per_day=0.1, conditions=stated(ph=6.5))
        assert (found.binds, found.binding_cap) == (Binds.FILTER, Cap.FEED)

    def test_run_counts_where_the_tank_is_too_short_and_is_not_added_up(self):
        step = RoomStep(from_mm=figure(0), fish_per_litre=level(100), run_cm=level(60))
        long_fish = lot(5, room=(step,))
        found = tank(long_fish, long_fish)
        assert found.cap_shares[Cap.RUN] == pytest.approx(60 / 50)
        assert found.binding_cap is Cap.RUN
        short = lot(5, room=(step.model_copy(update={"run_cm": level(45)}),))
        assert tank(short).binding_cap is Cap.FISH

    def test_unknown_where_ammonia_is(self):
        assert tank(conditions=Conditions()).binds is None


class TestNotStated:
    @pytest.mark.parametrize("key", ["temperature_c", "ph", "change_share", "change_days"])
    def test_what_rests_on_a_missing_key_is_not_said(self, key):
        found = tank(conditions=stated(**{key: None}))
        assert found.ammonia_share is None
        assert found.changes_are_enough is None
        assert found.ammonia_mg_per_day == pytest.approx(20.7)
        known = found.before_change_mg_per_l is not None, found.un_ionised_share is not None
        assert known == (not key.startswith("change"), key.startswith("change"))

    def test_without_warmth_or_ph_no_change_is_worked_out(self):
        with pytest.raises(ValueError, match="temperature and pH must be stated"):
            tank(conditions=stated(ph=None)).change_needed(7)

    def test_no_fish_is_no_tank(self):
        with pytest.raises(ValueError, match="ten 1: no fish"):
            tank_water(ten("ten 1"), (), TODAY)


class TestEdges:
    def test_acid_water_counts_at_the_end_of_the_formula(self):
        acid = tank(conditions=stated(ph=4.5))
        assert acid.ph_is_below_formula
        assert acid.un_ionised_share == tank(conditions=stated(ph=6)).un_ionised_share

    def test_a_limit_of_nothing(self):
        water = PACK.water.model_copy(update={"un_ionised_limit_mg_per_l": figure(0)})
        found = tank(lot(water=water))
        assert found.ammonia_share == float("inf")
        assert found.change_needed(1) is None
        assert needed_words(found) == "even all of it every day is not enough"

    def test_nothing_is_fed(self):
        nothing = (PACK.feed[0].model_copy(update={"percent_of_weight": figure(0)}),)
        found = tank(lot(feed=nothing), filtered=True, feed_g_per_day=1)
        assert (found.ammonia_mg_per_day, found.left_mg_per_day, found.ammonia_share) == (0, 0, 0)
        assert found.binds is Binds.SPACE

    def test_oxygen(self):
        """100 % at 25 degrees C is 8.26 mg a litre (Benson & Krause 1984, table, fresh water at sea level)."""
        oxygen = tank(conditions=stated(temperature_c=25)).oxygen
        assert oxygen.holds_mg_per_l == pytest.approx(8.26, abs=0.01)
        assert oxygen.beyond_data
        assert not tank(lot(1, 60.0), conditions=stated(temperature_c=25)).oxygen.beyond_data
        assert tank(conditions=stated(temperature_c=None)).oxygen is None

    def test_beyond_the_packs(self):
        """The small pack holds from 20 to 30 degrees C."""
        assert [tank(conditions=stated(temperature_c=c)).is_outside_packs for c in (19.9, 20, 30, 30.1)] == [
            True,
            False,
            False,
            True,
        ]

    @pytest.mark.parametrize(
        ("value", "shown"),
        [
            (0, "0"),
            (1e-9, "under 0.001"),
            (0.0203, "0.020"),
            (2.4303, "2.43"),
            (20.7, "20.7"),
            (12345.6, "12,346"),
            (1e9, "over 99,999"),
        ],
    )
    def test_amounts(self, value, shown):
        assert amount(value) == shown

    @pytest.mark.parametrize(
        ("share", "shown"), [(0, "0 %"), (0.001, "under 1 %"), (0.624, "62 %"), (float("inf"), "over 999 %")]
    )
    def test_percents(self, share, shown):
        assert percent(share) == shown

    def test_a_need_is_rounded_up(self):
        """20.7 / (34.07 x 0.02 / 0.00525) = 0.1595."""
        assert needed_words(tank(conditions=stated(ph=7))) == "16 % every day"


def room_with(conditions=DAILY, *others, **changes):
    """Return a room with 125 fish of 20 mm in ten 1: hatched 75 days ago at 5 mm, 0.2 mm a day."""
    vessel = ten("ten 1", depth_mm=272.56, conditions=conditions, **changes)
    brood = in_being("K1", "red", TODAY - timedelta(days=85), FISH, "ten 1")
    return small_room(vessels=(vessel, *others, ten("ten 5")), broods=(brood,))


def text_of(*args, **changes):
    return water_text(room_with(*args, **changes), None, TODAY)


def flat(text):
    return " ".join(text.split())


class TestText:
    def test_of_the_tank_worked_by_hand(self):
        lines = text_of().splitlines()
        rows = [line.split() for line in lines if line.startswith("  ten 1 ")]
        assert " ".join(rows[0][2:]) == "34.1 l (9.0 US gal) 125 20 mm (0.8 in) 0.500 20.7 none"
        assert rows[1][2:8] == ["25", "%", "every", "day", "2.43", "0.122"]
        assert rows[2][2:] == ["367", "%", "15", "%", "610", "%", "water:", "ammonia"]
        # 24 x 9 / 5 + 32
        assert rows[3][2:9] == ["24", "C", "(75.2", "F)", "8", "5.0", "%"]
        assert max(map(len, lines)) <= 80

    def test_the_answer_comes_first(self):
        words = flat(text_of())
        assert words.startswith("Water on Sat 2 Jan 2027, fish as they are today, before any move: small One")
        assert "One vessel needs more water changes than you do: ten 1." in words
        assert "What runs out first: water in ten 1." in words
        assert "A water test comes before all of these sums." in words
        assert "even all of it every day is not enough" in words

    def test_enough(self):
        words = flat(text_of(stated(ph=7)))
        assert "Your water changes are enough for ammonia in ten 1." in words
        assert "What runs out first: space in ten 1." in words
        assert "space: number of fish" in words
        assert "need" not in words.split("What the fish")[0]

    def test_a_filter_of_unknown_capacity_is_told_honestly(self):
        words = flat(text_of(filtered=True))
        assert (
            "One vessel needs more water changes than you do unless filters take the ammonia, and what these "
            "take is not stated: ten 1." in words
        )
        assert "water in ten 1 unless filters take the ammonia" in words
        assert "up to 2.43 up to 0.122" in words
        assert "Add feed_g_per_day" in words

    def test_a_new_filter(self):
        words = flat(text_of(filtered=True, feed_g_per_day=2, filter_since=TODAY - timedelta(days=48)))
        assert "The filter of ten 1 is new and counts for nothing for 49 days, until Sun 3 Jan 2027." in words
        assert "One vessel needs more water changes than you do: ten 1." in words
        words = flat(text_of(filtered=True, feed_g_per_day=2, filter_since=TODAY - timedelta(days=49)))
        assert "is new" not in words
        assert "Your water changes are enough" in words

    def test_missing_keys_are_named_and_the_rest_is_worked_out(self):
        words = flat(text_of(Conditions()))
        assert (
            "cannot be said of ten 1: add temperature_c, ph, water_change_percent and water_change_days under "
            "conditions in the room file." in words
        )
        assert "0.500 20.7" in words
        assert "number of fish, or ammonia" in words
        assert "un-ionised" not in words.replace("un-ionised ammonia", "")

    def test_only_what_is_missing_is_asked_for(self):
        words = flat(text_of(stated(ph=None)))
        assert "cannot be said of ten 1: add ph under conditions" in words
        assert "25 % every day 2.43 ? 0.02 ?" in words

    def test_without_changes_the_need_is_for_once_a_week(self):
        words = flat(text_of(stated(ph=6.5, change_share=None, change_days=None)))
        assert "? ? ? 0.02 36 % every 7 days" in words
        assert "the change needed is for once a week" in words

    def test_vessels_with_other_gaps_are_told_apart(self):
        other = ten("ten 2", conditions=stated(ph=None))
        room = room_with(DAILY, other)
        brood = in_being("K2", "red", TODAY - timedelta(days=85), 10, "ten 2")
        words = flat(water_text(room.model_copy(update={"broods": (*room.broods, brood)}), None, TODAY))
        assert "Not stated for ten 2: ph; of the room or of the vessel." in words

    def test_grown_fish_are_not_counted_and_that_is_said(self):
        assert "Grown fish of breeding groups are not counted" in flat(text_of())
        assert "(ten 5)" in flat(text_of())

    def test_acid_and_cold_water(self):
        words = flat(text_of(stated(ph=4.5, temperature_c=15)))
        assert "More acid than pH 6" in words
        assert "under 0.027 %" in words
        assert "Colder or warmer than the rules of the fish hold for: ten 1." in words

    def test_nothing_swims(self):
        room = small_room(broods=(in_being("K1", "red", TODAY, 20, "box 1"),))
        text = water_text(room, None, TODAY)
        assert "No young fish swim in any vessel on this day; eggs are not fed." in text
        assert "(ten 5)" in text, "the trio is there all the same"

    def test_an_interval_that_is_not_stated_is_not_held_against_the_keeper(self):
        # 20.7 mg a day in 34.07 l is 0.608 mg a litre and day. At 24 C the pK is 0.09018 + 2729.92 / 297.15 = 9.277
        # (Emerson et al. 1975); at pH 7.4 the share is 1 / (10 ^ 1.877 + 1) = 1.31 %, the limit 0.02 / 0.0131 =
        # 1.53, and 0.608 / 1.53 = 40 % a day. In a week 4.3 mg a litre come in: more than the limit at once.
        daily = flat(text_of(stated(ph=7.4, change_share=None, change_days=None)))
        assert "even all of it is not enough" not in daily
        assert "? ? ? 0.02 40 % every day" in daily
        assert "or for every day where once a week is too seldom" in daily
        weekly = tank(conditions=stated(ph=7.4, change_days=7))
        assert needed_words(weekly) == "even all of it is not enough; 40 % every day is"

    def test_two_vessels_are_both(self):
        other = ten("ten 2", conditions=stated(ph=7))
        room = room_with(stated(ph=7), other)
        brood = in_being("K2", "red", TODAY - timedelta(days=85), 10, "ten 2")
        words = flat(water_text(room.model_copy(update={"broods": (*room.broods, brood)}), None, TODAY))
        assert "Your water changes are enough for ammonia in both vessels." in words

    def test_the_least_amount_is_not_said_to_go_up_to_under(self):
        # At 20 C and pH 6 the share is 0.04 % (Emerson et al. 1975): 2.43 x 0.0004 = 0.00097 mg a litre.
        words = flat(text_of(stated(ph=6, temperature_c=20), filtered=True))
        assert "up to 2.43 under 0.001" in words
        assert "up to under" not in words

    def test_a_later_day_is_as_the_plan_has_it(self):
        """In the small plan K1 is in long 1 on 10 April with P1 (a and b) and M1; B1 is in long 2."""
        found = waters(small_room(), small_plan(), day("04-10"))
        assert {(t.vessel.name, round(t.fish)) for t in found} == {("long 1", 84), ("long 2", 20)}
        text = water_text(small_room(), small_plan(), day("04-10"))
        assert text.startswith("Water on Sat 10 Apr 2027, fish as the plan has them: small")


# The command


def run(*arguments, cwd=None):
    root = Path(__file__).parent.parent
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "allocator", "water", *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(root)},
    )


TINY = str(SCENARIOS / "tiny.yaml")


def test_today_needs_no_plan():
    done = run(str(SCENARIOS / "everything.yaml"))
    assert (done.returncode, done.stderr) == (0, "")
    assert "fish as they are today, before any move" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_a_later_day_is_planned_or_read_from_a_plan(tmp_path):
    planned = run(TINY, "--on", "2027-03-06")
    assert planned.returncode == 0
    assert "fish as the plan has them" in planned.stdout
    bad = run(TINY, "--on", "2027-03-06", "--plan", str(tmp_path / "none.json"))
    assert bad.returncode == 2
    assert "there is no such file" in bad.stderr


def test_a_day_before_today_is_refused():
    done = run(TINY, "--on", "2026-12-01")
    assert (done.returncode, done.stdout) == (2, "")
    assert "--on 2026-12-01 is before the plan begins. Hint: give 2027-01-02 or a later day" in done.stderr


def absurd(tmp_path, *, conditions, vessel, broods):
    text = small_file(vessel=vessel, broods=broods).replace("keeper:", f"conditions: {conditions}\nkeeper:")
    return write(tmp_path, text)


def test_absurd_but_readable_numbers_give_a_plain_answer(tmp_path):
    path = absurd(
        tmp_path,
        conditions="{temperature_c: 40, ph: 10, water_change_percent: 1, water_change_days: 366}",
        vessel="{name: a, kind: rearing, inside: 3 x 3 cm, water_depth: 1 cm, flow: still, filter: sponge filter}",
        broods="{name: b, line: blue, collected: 2026-10-01, eggs: 100000, lives_in: a}",
    )
    done = run(str(path))
    assert done.returncode == 0
    assert "Traceback" not in done.stdout + done.stderr
    assert "every day is not" in done.stdout
    assert "99,999" in done.stdout
    assert "over 999 %" in done.stdout


def test_ph_14_is_refused(tmp_path):
    path = absurd(
        tmp_path,
        conditions="{temperature_c: 25, ph: 14}",
        vessel=f"{{name: a, kind: rearing, {SIZE}, flow: still}}",
        broods="{name: b, line: blue, collected: 2026-12-01, eggs: 30, lives_in: a}",
    )
    done = run(str(path))
    assert done.returncode == 2
    assert "conditions.ph must be from 4 to 10 (got 14)" in done.stderr


def test_what_is_odd_in_the_file_is_told_once(tmp_path):
    path = absurd(
        tmp_path,
        conditions="{}",
        vessel=f"{{name: a, kind: rearing, {SIZE}, flow: still, snail_free: false}}",
        broods="{name: b, line: blue, collected: 2027-01-05, eggs: 30, lives_in: a}",
    )
    for more in ([], ["--on", "2027-01-16"]):
        done = run(str(path), *more)
        assert done.stderr.count("which is not snail-free") == 1
