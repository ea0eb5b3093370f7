"""What company does to growth, reckoned quickly from the tables: a forecast of what the checker will find."""

from datetime import date, timedelta

import numpy as np

from allocator.husbandry.life import Dwelling
from allocator.model.board import Board, board_with
from allocator.model.naming import Solution
from allocator.model.rank import Slotted
from allocator.model.settled import Place, Settled
from allocator.needs import COMFORT, FULL, BroodNeeds, Floats, Needs


def held_back_in(needs: Needs, solution: Solution) -> dict[str, int]:
    """Return the broods that a solution sells before they are long enough, each with the days that they lack.

    Every slot counts as crowded as its fullest day, and a brood that is split as slow as its slowest part, so this
    errs on the late side. The checker has the last word.
    """
    return Company().held_back_on(board_with(needs, solution.added, solution.settled))


class Company:
    """Tells who is held back, again and again: a brood is reckoned anew only when it, or its company, lives elsewhere.

    For one room: boards may differ in who is settled where, and tables in when broods may be sold.
    """

    def __init__(self) -> None:
        self._known: dict[int, tuple[tuple[object, ...], date | None]] = {}

    def held_back_on(self, board: Board) -> dict[str, int]:
        """Return the same as `held_back_in` of everybody who is settled on a board."""
        needs = board.needs
        crowded = {name: crowding_by_slot(vessel) for name, vessel in board.vessels.items()}
        lacking = {}
        for brood in needs.broods:
            settled = board.settled[brood.index]
            if settled.homeless is not None:
                continue
            company = [crowded[place.vessel][place.start : place.end] for place in settled.places]
            if not any(slots.any() for slots in company):
                continue
            now = (settled.places, *(slots.tobytes() for slots in company))
            before, ready = self._known.get(brood.index, ((), None))
            if now != before:
                ready = brood.life.ready_for_sale(_path(board, brood, settled, crowded))
                self._known[brood.index] = now, ready
            days = (ready - needs.days[settled.sale]).days if ready is not None else 0
            if days > 0:
                lacking[brood.name] = days
        return lacking


def crowding_by_slot(vessel: Slotted) -> Floats:
    """Return how far a vessel is from comfort to its limit in each slot, 0 to 1: see `stocking.crowding`."""
    comfort, limit = vessel.comfort / COMFORT, np.maximum(vessel.load, 1) / FULL
    between = np.maximum(comfort / limit - 1, 1e-9)
    far: Floats = np.clip((comfort - 1) / between, 0.0, 1.0).max(axis=0)
    return far


def _path(board: Board, brood: BroodNeeds, settled: Settled, crowded: dict[str, Floats]) -> list[Dwelling]:
    """Return where the slowest fish of a brood live, phase by phase."""
    days = board.needs.days
    path = []
    for phase in range(len(brood.phases)):
        places = [p for p in settled.places if p.phase == phase and p.start < p.end]
        if places:
            run_cm = min(board.vessels[place.vessel].kind.sample.run_cm for place in places)
            start, until = days[places[0].start], days[places[0].end]
            path.append(Dwelling(run_cm, start, until, _by_day(board.needs, places, crowded)))
    return path


def _by_day(needs: Needs, places: list[Place], crowded: dict[str, Floats]) -> dict[date, float]:
    """Return the crowding on each day on which there is any, by the place where it is worst."""
    first, last = places[0].start, places[0].end
    worst = np.max([crowded[place.vessel][first:last] for place in places], axis=0)
    return {
        needs.days[first + slot] + timedelta(days=day): float(worst[slot])
        for slot in np.flatnonzero(worst)
        for day in range(int(needs.slot_days[first + slot]))
    }
