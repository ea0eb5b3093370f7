"""Fish without a home in the move schedule: who is turned out of what on which day, and what not to collect.

Beside them the collections that need not be taken and are not.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from allocator.husbandry.life import Life
from allocator.plan import Homeless, Plan
from allocator.reports.not_taken import NOT_TAKEN, TO_DO, left_out
from allocator.reports.tables import clean
from allocator.reports.words import ranged
from allocator.room import Brood, CollectedBy, Room

NO_HOME = "no home"
TURNED_OUT = "no room: have a taker before this day"
LEAVE_OUT = {
    CollectedBy.PICKING: "do not collect: no home",
    CollectedBy.MOP: "do not collect the mop: no home",
    CollectedBy.YOUNG: "do not set up the new young: no home",
}
GUARDED = "no home for this clutch: have a taker before it grows"


@dataclass(frozen=True)
class Lost:
    """A row of the schedule for fish that have no home from a day on."""

    brood: str
    fish: str
    came: str
    why: str
    to: str = NO_HOME

    @property
    def cells(self) -> tuple[str, ...]:
        """The cells of the schedule, after the box to tick."""
        return clean(self.brood), self.fish, self.came, self.to, "", self.why


def lost_by_day(room: Room, plan: Plan, forecast: Mapping[str, Life]) -> dict[date, list[Lost]]:
    """Return who loses its home on a day, or has none when it comes; those who have none already are not repeated."""
    found: dict[date, list[Lost]] = defaultdict(list)
    for row in sorted(plan.homeless, key=lambda row: (row.from_, row.brood)):
        brood, life = room.brood_named.get(row.brood), forecast.get(row.brood)
        vessels = _left(room, plan, row)
        if brood is None or life is None or not (vessels or _begins(brood, row, room.today)):
            continue
        fish = f"{row.fish} eggs" if life.is_egg(row.from_) else str(row.fish)
        if vessels or not brood.planned:
            homes = vessels or [home.vessel for home in brood.homes]
            line = Lost(row.brood, fish, ranged(homes), TURNED_OUT)
        else:
            line = Lost(row.brood, fish, "new", LEAVE_OUT[brood.by] if life.nursery is None else GUARDED)
        found[row.from_].append(line)
    for not_taken, brood in left_out(room, plan):
        hung = not_taken.on - timedelta(days=brood.laid_over_days - 1)
        day = max(hung, room.today) if brood.by is CollectedBy.MOP else not_taken.on
        eggs = "" if brood.by is CollectedBy.YOUNG else " eggs"
        found[day].append(Lost(brood.name, f"{not_taken.eggs}{eggs}", "new", TO_DO[brood.by], NOT_TAKEN))
    return found


def _begins(brood: Brood, row: Homeless, today: date) -> bool:
    """Tell whether fish have no home on the first day on which there is one to have."""
    return row.from_ == (brood.collected if brood.planned else today)


def _left(room: Room, plan: Plan, row: Homeless) -> list[str]:
    """Return the vessels that fish leave for nowhere: those that no move empties and where none of theirs go on.

    Where there is no such vessel, some of the fish that were in those that are left go on, and some do not.
    """
    stays = [stay for stay in plan.stays if stay.brood == row.brood]
    ended = {stay.vessel for stay in stays if stay.until == row.from_}
    going_on = {stay.vessel for stay in stays if stay.from_ == row.from_}
    moved = {move.from_ for move in plan.moves if move.brood == row.brood and move.on == row.from_}
    left = (ended - going_on - moved) or ended
    return [vessel.name for vessel in room.vessels if vessel.name in left]
