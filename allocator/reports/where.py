"""Who lives where on one day: every vessel with its fish, how full it is and what fills it first."""

from dataclasses import dataclass
from datetime import date, timedelta

from allocator.husbandry.life import Life, lives
from allocator.husbandry.peat import holds_water, may_hold_water
from allocator.husbandry.stocking import SUMMED_CAPS, Cap, shares_of_one, totals
from allocator.plan import Plan, Stay
from allocator.reports.caution_list import Page
from allocator.reports.cautions import cautions_text
from allocator.reports.moves import age_words, flow_on
from allocator.reports.tables import Column, clean, paragraph, table
from allocator.reports.words import count_of, day_words, length_words, listed, ranged
from allocator.room import BreedingGroup, Room, Vessel
from allocator.rules import FlowSetting
from allocator.units import Gallon, litres_and_gallons

EVEN = 1e-6
FULL_FROM = 0.98
"""From this share of a limit on a vessel is called full: 2 % is less than a keeper can count (judgement)."""

EXPECTED = (
    "Fish and lengths are what the plan expects of fish with room to grow. Full means at the planning limit."
)

COLUMNS = (
    Column("", least=1),
    Column("", least=8),
    Column("", right=True, least=9),
    Column("", least=16),
    Column("", least=10),
)
FILLS = {
    Cap.FISH: "number of fish",
    Cap.WEIGHT: "weight of fish",
    Cap.SURFACE: "water surface",
    Cap.BOTTOM: "room on the bottom",
    Cap.FEED: "what the filter can take in feed",
    Cap.RUN: "length to swim",
}


@dataclass(frozen=True)
class LotThere:
    """A lot in a vessel on one day, with the fish that are expected to be left."""

    stay: Stay
    life: Life
    fish: float
    mm: float


@dataclass(frozen=True)
class Fullness:
    """How full a vessel is: share of the limit, what binds, and a word for it."""

    share: float
    binds: Cap | None
    word: str

    @property
    def percent(self) -> str:
        """Return `62 %`; nothing where no share tells how full it is."""
        return "" if self.binds is None else f"{self.share * 100:.0f} %"

    def __str__(self) -> str:
        """Return `62 % full, fine (weight of fish fills it first)`."""
        if self.binds is None:
            return self.word
        return f"{self.percent} full, {self.word} ({FILLS[self.binds]} fills it first)"


def where_text(room: Room, plan: Plan, day: date, gallon: Gallon | None = None) -> str:
    """Return every vessel on one day with its fish, their length and age, the share of room, and the flow."""
    parts = [f"Where the fish are on {day_words(day)}: {clean(room.name)}"]
    there = lots_by_vessel(room, plan, day)
    empty: list[str] = []
    away: list[str] = []
    for vessel in room.vessels:
        groups = groups_in(room, vessel, day)
        lots = there.get(vessel.name, [])
        if lots or groups:
            rows = [lot_row(room, lot, day) for lot in lots] + [group_row(group) for group in groups]
            heading = _heading(vessel, flow_on(plan, vessel.name, day), lots, gallon)
            parts.append(f"{heading}\n{table(COLUMNS, rows, indent='    ')}")
        elif vessel.available.holds(day):
            empty.append(vessel.name)
        else:
            away.append(vessel.name)
    if empty:
        parts.append(paragraph(f"Empty: {ranged(empty)}.", hanging="  "))
    if away:
        parts.append(paragraph(f"Not there on this day: {ranged(away)}.", hanging="  "))
    parts += [without_home(plan, day), after_its_end(plan, day), paragraph(EXPECTED)]
    parts.append(cautions_text(Page.WHERE, room, plan, day, day + timedelta(days=1)))
    return "\n\n".join(part for part in parts if part)


def without_home(plan: Plan, day: date) -> str:
    """Return who has no home on a day; nothing if nobody is without."""
    lost = [h for h in plan.homeless if h.from_ <= day < h.until]
    if not lost:
        return ""
    names = listed(f"{h.brood} ({count_of(h.fish, 'fish', 'fish')})" for h in lost)
    return paragraph(f"Without a home on this day: {names}.", hanging="  ")


def after_its_end(plan: Plan, day: date) -> str:
    """Return that a plan is over by a day, so that nobody takes tanks for free of which it says nothing."""
    ends = [*(stay.until for stay in plan.stays), *(row.until for row in plan.homeless)]
    if not ends or day < max(ends):
        return ""
    return paragraph(f"The plan ends on {day_words(max(ends))}: what may come after it is not in it.")


def _heading(vessel: Vessel, setting: FlowSetting | None, lots: list[LotThere], gallon: Gallon | None) -> str:
    heading = f"{clean(vessel.name)}, {litres_and_gallons(vessel.litres, gallon)}"
    if setting is not None and holds_water(vessel):
        heading += f", flow {setting.word}"
    if lots:
        heading += f": {fullness(vessel, lots)}"
    return paragraph(heading, hanging="  ")


def lot_row(room: Room, lot: LotThere, day: date) -> tuple[str, ...]:
    """Return a lot with its line, `18 fish` or `30 eggs`, their length or the day of hatch, and their age."""
    line = room.brood_named[lot.stay.brood].line
    if lot.life.is_egg(day):
        due = "hatch about" if may_hold_water(room, lot.stay.vessel) else "to be wetted"
        hatch = f"{due} {day_words(lot.life.hatched)}"
        return (clean(lot.stay.lot), clean(line), f"{lot.fish:.0f} eggs", hatch, "")
    age = f"{age_words(lot.life, day)} old"
    return (clean(lot.stay.lot), clean(line), f"{lot.fish:.0f} fish", length_words(lot.mm), age)


def group_row(group: BreedingGroup) -> tuple[str, ...]:
    """Return a breeding group the same way, with how many males and females it has."""
    people = f"{count_of(group.males, 'male')}, {count_of(group.females, 'female')}"
    return (clean(group.name), clean(group.line), f"{group.males + group.females} fish", people, "breeding")


def lots_by_vessel(room: Room, plan: Plan, day: date) -> dict[str, list[LotThere]]:
    """Return the lots of every vessel on one day, oldest first."""
    forecast = lives(room)
    there: dict[str, list[LotThere]] = {}
    for stay in plan.stays:
        if stay.from_ <= day < stay.until and stay.brood in forecast:
            life = forecast[stay.brood]
            fish = fish_left(stay, life, day)
            there.setdefault(stay.vessel, []).append(LotThere(stay, life, fish, life.length_mm(day)))
    for lots in there.values():
        lots.sort(key=lambda lot: (lot.life.hatched, lot.stay.lot))
    return there


def fish_left(stay: Stay, life: Life, day: date) -> float:
    """Return how many fish of a stay are expected to be alive on one of its days."""
    then = life.heads(stay.from_)
    return stay.fish * life.heads(day) / then if then > 0 else 0.0


def groups_in(room: Room, vessel: Vessel, day: date) -> list[BreedingGroup]:
    """Return the breeding groups that live in a vessel on a day."""
    return [g for g in room.groups if g.vessel == vessel.name and g.lives_there.holds(day)]


def fullness(vessel: Vessel, lots: list[LotThere]) -> Fullness:
    """Return how full a vessel is with these lots, and which cap is nearest to its limit."""
    taken = totals((lot.fish, shares_of_one(lot.mm, vessel, lot.life.rules)) for lot in lots)
    comfort, limit = ({cap: taken.get(cap, (0.0, 0.0))[end] for cap in Cap} for end in (0, 1))
    binds = max(SUMMED_CAPS, key=lambda cap: limit[cap])
    share = limit[binds]
    if limit[Cap.RUN] > 1 + EVEN:
        return Fullness(limit[Cap.RUN], None, "too short for fish of this length")
    if share > 1 + EVEN:
        word = "too full"
    elif share >= FULL_FROM:
        word = "full"
    elif max(comfort[cap] for cap in SUMMED_CAPS) > 1 + EVEN:
        word = "above comfort"
    else:
        word = "fine"
    if comfort[Cap.RUN] > 1 + EVEN:
        word += ", shorter than they like"
    return Fullness(share, binds if share > 0 else None, word)
