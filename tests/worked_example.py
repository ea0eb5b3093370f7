"""The sums of docs/explanation/one-tank-through-a-year.md, and what the tool says to the same questions.

Two sides that know nothing of each other: sums are read out of the page and worked out as a pocket calculator does,
with what they say in figures; the tool is asked through its own functions.
"""

import re
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import NamedTuple

from small_rooms import box, long, ten

from allocator.husbandry.ammonia import total_ammonia_mg_per_day
from allocator.husbandry.growth import age_at_mm, weight_g
from allocator.husbandry.life import Dwelling, Life
from allocator.husbandry.stages import better_span, earliest_entry, latest_entry, sale_day
from allocator.husbandry.stocking import Cap, crowding, feed_g_per_day, shares_of_one
from allocator.problems import Problems
from allocator.reading.packs import load_pack, packs_dir
from allocator.room import Brood, CollectedBy, Keeper, Vessel
from allocator.rules import GrowthPace, RulePack

PAGE = Path(__file__).parent.parent / "docs" / "explanation" / "one-tank-through-a-year.md"
YEAR = 2027
MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)

Answers = dict[str, float | date]


# ---- by hand ------------------------------------------------------------------------------------------------


class Row(NamedTuple):
    """One row of a table of the page: what, the sum, its outcome, and what the tool says."""

    what: str
    sum: str
    by_hand: str
    tool: str


ROW = re.compile(r"^\| ([^|]+) \| `([^`|]+)` \| ([^|]+) \| ([^|]+) \|$", re.MULTILINE)
ARITHMETIC = re.compile(r"[\d.+\-/()^x ]+")
LATER = re.compile(r"(\d+) (\w+) \+ (\d+) days")


def rows() -> list[Row]:
    """Return all rows of the page that have a sum."""
    return [Row(*found) for found in ROW.findall(PAGE.read_text(encoding="utf-8"))]


def value_of_sum(text: str) -> float:
    """Work out a sum such as `150 x 0.75` or `0.01122 x 1.025 ^ 3.04`."""
    assert ARITHMETIC.fullmatch(text), text
    plain = text.replace("x", "*").replace("^", "**")
    return float(eval(plain, {"__builtins__": {}}))  # noqa: S307 - nothing but figures and signs gets here


def day_of_sum(text: str) -> date:
    """Work out a day such as `9 January + 8 days`."""
    found = LATER.fullmatch(text)
    assert found, text
    return date(YEAR, MONTHS.index(found[2]) + 1, int(found[1])) + timedelta(days=int(found[3]))


def day_words(day: date) -> str:
    """Return a day as the page has it."""
    return f"{day.day} {MONTHS[day.month - 1]}"


def tool_words(value: float | date, decimals: int) -> str:
    """Return an answer of the tool as the page has it: whole days as a whole number, others as the sum beside it."""
    if isinstance(value, date):
        return day_words(value)
    return str(value) if isinstance(value, int) else f"{value:.{decimals}f}"


# ---- by the tool --------------------------------------------------------------------------------------------

COLLECTED = date(YEAR, 1, 9)
BOX = box("box", length_mm=300, depth_mm=120)
TEN = ten("ten", depth_mm=270, filtered=True)
LONG = long("long", width_mm=450, depth_mm=330, filtered=True)
DAYS_IN = {BOX.name: (7, 14, 20), TEN.name: (20, 69), LONG.name: (69, 117, 183, 261)}
"""The ages in days on which the page looks into each vessel."""

INTO_LONG, FROM_TWO_TENS = 69, 90


@cache
def pack() -> RulePack:
    """Return the pack of large rainbowfish."""
    problems = Problems("rainbowfish-large")
    loaded = load_pack("rainbowfish-large", relative_to=packs_dir(), problems=problems, line=1)
    assert loaded is not None, problems.found
    return loaded[0]


@cache
def life() -> Life:
    """Return the brood of the page: expected survival, typical growth."""
    brood = Brood(name="A", line="blue", collected=COLLECTED, by=CollectedBy.PICKING, eggs=150, planned=True)
    return Life(brood, pack(), Keeper(move_days=(COLLECTED.weekday(),)))


def on(age: int) -> date:
    """Return the day so many days after hatch."""
    return life().hatched + timedelta(days=age)


def shares(age: int, vessel: Vessel) -> dict[Cap, tuple[float, float]]:
    """Return what all fish take of a vessel at an age, by cap: shares of comfort and of the limit."""
    heads, one = life().heads(on(age)), shares_of_one(life().length_mm(on(age)), vessel, pack())
    return {
        cap: (heads * comfort, heads * limit) for cap, (comfort, limit) in one.items() if cap is not Cap.RUN
    }


def tool_values() -> Answers:
    """Return what the tool says, by the words in the first column of the page."""
    forecast, rules = life(), pack()
    values: Answers = {
        "litres of the box": BOX.litres,
        "litres of the ten": TEN.litres,
        "litres of the long tank": LONG.litres,
        "surface of the box": BOX.surface_cm2,
        "surface of the ten": TEN.surface_cm2,
        "hatch begins": forecast.hatch_from,
        "hatch": forecast.hatched,
        "last stragglers": forecast.hatch_until,
        "fish at hatch": forecast.heads(forecast.hatched),
        "days until 9 mm": age_at_mm(9, rules, GrowthPace.TYPICAL),
        "days until 20 mm": age_at_mm(20, rules, GrowthPace.TYPICAL),
        "days until 25 mm": age_at_mm(25, rules, GrowthPace.TYPICAL),
        "days until 45 mm": age_at_mm(45, rules, GrowthPace.TYPICAL),
        "days until 60 mm": age_at_mm(60, rules, GrowthPace.TYPICAL),
        "long enough to sell, with room": sale_day(forecast),
    }
    for stage in rules.stages[1:]:
        better = better_span(forecast, stage)
        assert better.start is not None
        assert better.end is not None
        values |= {
            f"{stage.name} from": earliest_entry(forecast, stage),
            f"{stage.name} until": latest_entry(forecast, stage),
            f"{stage.name} better from": better.start,
            f"{stage.name} better until": better.end - timedelta(days=1),
        }
    for age in sorted({age for ages in DAYS_IN.values() for age in ages}):
        mm, heads = forecast.length_mm(on(age)), forecast.heads(on(age))
        feed = heads * feed_g_per_day(mm, rules)
        values |= {
            f"fish on day {age}": heads,
            f"length on day {age}": mm,
            f"weight on day {age}": weight_g(mm, rules),
            f"feed on day {age}": feed,
            f"ammonia on day {age}": total_ammonia_mg_per_day(feed, rules.water.feed_protein_share.value),
        }
    looks = [(vessel, age) for vessel in (BOX, TEN, LONG) for age in DAYS_IN[vessel.name]]
    for vessel, age in [*looks, (BOX, 27), (TEN, 76)]:
        for cap, (_, limit) in shares(age, vessel).items():
            values[f"{vessel.name} on day {age}, {cap.value}"] = 100 * limit
    for age in (27, 76):
        mm = forecast.length_mm(on(age))
        values |= {f"fish on day {age}": forecast.heads(on(age)), f"length on day {age}": mm}
    values["weight on day 76"] = weight_g(forecast.length_mm(on(76)), rules)
    return values | _company() | _short_run()


def _company() -> Answers:
    values: Answers = {}
    for age in (117, 261):
        far = crowding(shares(age, LONG))
        values |= {
            f"share of comfort on day {age}": 100 * shares(age, LONG)[Cap.FISH][0],
            f"crowding on day {age}": far,
            f"pace on day {age}": 1 - (1 - pack().growth_room.slowed_when_full.value) * far,
        }
    crowded = {on(age): crowding(shares(age, LONG)) for age in range(INTO_LONG, 365)}
    room = Dwelling(
        LONG.run_cm, COLLECTED, on(INTO_LONG)
    )  # nothing is long enough to mind a short tank until then
    ready = life().ready_for_sale([room, Dwelling(LONG.run_cm, on(INTO_LONG), on(365), crowded)])
    assert ready is not None
    return values | {
        "days until 60 mm in company": (ready - on(0)).days,
        "long enough to sell, in company": ready,
    }


def _short_run() -> Answers:
    tens = Dwelling(TEN.run_cm, COLLECTED, on(FROM_TWO_TENS))
    ready = life().ready_for_sale([tens, Dwelling(LONG.run_cm, on(FROM_TWO_TENS), on(365))])
    assert ready is not None
    return {
        "days until 60 mm after a short run": (ready - on(0)).days,
        "long enough to sell, after a short run": ready,
    }
