"""Settle a few broods anew with the solver, all at once, while everybody else stays where they are.

A step of a search in a room that is too large to be told to the solver as a whole.
"""

from collections.abc import Callable, Collection, Iterable
from dataclasses import replace
from threading import Event

import numpy as np

from allocator.model.board import Board
from allocator.model.cohorts import Unit
from allocator.model.company import Company
from allocator.model.holding_back import hold_back
from allocator.model.laid import Laid, Stay, Stretch, in_stretches
from allocator.model.naming import (
    Member,
    NamingError,
    Solution,
    dates_in,
    members_in,
    name_all,
    stretches_of,
)
from allocator.model.naming import Stretch as Named
from allocator.model.rank import Rank, Slotted
from allocator.model.room_model import CohortModel
from allocator.model.search import Budget, search
from allocator.model.settled import Place, Settled, place_comfort, place_load
from allocator.needs import Bools, BroodNeeds, Needs
from allocator.room import new_vessel_name

Rest = list[tuple[str, tuple[Stay, ...]]]
"""Stretches of use, by vessel, that the model is not told of."""


class Resettling:
    """Settles broods of a board anew, with less strain.

    Parameters
    ----------
    board
        On which everybody is settled, and nobody is held back by company for longer than is planned; it is changed
        when something better is found.
    """

    def __init__(self, board: Board) -> None:
        self.board = board
        self.needs = _with_added(board.needs, board.added)
        self.work = 0.0
        self._company = Company()
        self._spare = Board(board.needs, board.added)

    def keeps_company(self) -> bool:
        """Put off the sales of those whom company holds back; False where a vessel is promised to others by then."""
        board = self.board
        done = hold_back(board.needs, Solution(board.solution(), board.added), self._later_than, self._spare)
        if done is not None:
            board.settle_as(done.settled)
        return done is not None

    def step(self, free: Iterable[int], budget: Budget, stop: Event) -> bool:
        """Settle some broods anew; tell whether the room is better for it. If not it is as it was before.

        Parameters
        ----------
        free
            Who is settled anew, by index. All who are found in one vessel today are, or none.
        budget
            What the solver may spend.
        stop
            Ends it early.
        """
        before, score = self.board.solution(), self.board.score()
        chosen = sorted(self._with_mates(free))
        if any(before[index].homeless is not None for index in chosen):
            return False
        settled = self._solved(chosen, budget, stop)
        if settled:
            self.board.settle_as(settled.get(index, one) for index, one in enumerate(before))
            if self.keeps_company() and self.board.score().key() < score.key():
                return True
            self.board.settle_as(before)
        return False

    def _later_than(self, solution: Solution) -> dict[str, int]:
        self._spare.settle_as(solution.settled)
        return self._company.held_back_on(self._spare)

    def _with_mates(self, free: Iterable[int]) -> set[int]:
        """Return some broods with all who are found in one vessel with any of them today."""
        chosen: set[int] = set()
        more = set(free)
        while more:
            chosen |= more
            homes = {name for index in more for name, _ in self.needs.broods[index].phases[0].homes}
            more = {index for name in homes for index in self.board.vessels[name].found} - chosen
        return chosen

    def _solved(self, chosen: list[int], budget: Budget, stop: Event) -> dict[int, Settled]:
        """Return how broods are settled with less strain, and whose vessels are then called otherwise; empty if none."""
        board, needs = self.board, self.needs
        vessels = [vessel for vessel in board.vessels.values() if vessel.occupants]
        stretches = {vessel.name: _stretches_in(needs, vessel) for vessel in vessels}
        strain = board.score().strain
        taken = {index: board.take(index) for index in chosen}
        strain -= board.score().strain
        laid, rest = self._laid(chosen, stretches)
        for index, one in taken.items():
            board.put(index, one)
        names = {needs.broods[index].name for index in chosen}
        lines = frozenset(brood.line for brood in needs.broods)
        model = CohortModel(
            replace(needs.only(names), lines_beside=lines), adding=False, homeless=False, laid=laid
        )
        objective = model.objectives["strain"]
        if isinstance(objective, int):
            return {}
        model.model.minimize(objective)
        model.model.add(objective < strain + model.filling.laid_strain)
        found = search(model.model, budget, stop=stop)
        self.work += found.work
        if found.value is None:
            return {}
        try:
            return self._read(model, found.value, chosen, rest)
        except NamingError:
            return {}

    def _laid(self, chosen: list[int], stretches: dict[str, list[list[Stay]]]) -> tuple[Laid, Rest]:
        """Return those who stay as the model is told of them, and what it is not told of."""
        board, broods = self.board, self.needs.broods
        free = {place: broods[index] for place, index in enumerate(chosen)}
        homes = {name for brood in free.values() for name, _ in brood.phases[0].homes}
        in_use = {kind: self._in_use(rank) for kind, rank in board.ranks.items()}
        told: list[Stretch] = []
        rest: Rest = []
        for name, groups in stretches.items():
            vessel = board.vessels[name]
            kept = in_use[vessel.kind.index][vessel.row]
            starts = [min(place.start for _, place in group) for group in groups]
            for number, group in enumerate(groups):
                staying = tuple(stay for stay in group if stay[0] not in chosen)
                home = name if name in homes and number == 0 else None
                if not staying and home is None:
                    continue
                span = slice(starts[number], starts[number + 1] if number + 1 < len(groups) else None)
                stretch = self._stretch(vessel, staying, home, _only(kept, span))
                closed = {
                    place: shut
                    for place, brood in free.items()
                    if (shut := self._closed(brood, stretch)) is not None
                }
                if closed:
                    told.append(replace(stretch, closed=closed))
                else:
                    rest.append((name, staying))
        busy = {kind: use.sum(axis=0) for kind, use in in_use.items()}
        return Laid(tuple(told), busy, board.moves.copy()), rest

    def _in_use(self, rank: Rank) -> Bools:
        """Return in which slots each vessel of a class is used, or is kept from strangers; shape (vessels, slots)."""
        used: Bools = (rank.kept if self.needs.strangers else rank.heads) > 0
        return used

    def _stretch(self, vessel: Slotted, staying: tuple[Stay, ...], home: str | None, kept: Bools) -> Stretch:
        needs, kind = self.needs, self.needs.classes[vessel.kind.index]
        load, comfort = np.zeros_like(vessel.load), np.zeros_like(vessel.comfort)
        there = np.zeros(needs.slots, dtype=np.bool_)
        for index, place in staying:
            brood, span = needs.broods[index], slice(place.start, place.end)
            load[:, span] += place_load(brood, kind.index, place.parts, place.of)[:, span]
            comfort[:, span] += place_comfort(brood, kind.index, place.parts, place.of)[:, span]
            there[span] = True
        return Stretch(kind, home, staying, load, comfort, there, kept, {})

    def _closed(self, brood: BroodNeeds, stretch: Stretch) -> Bools | None:
        """Return when a brood must not be with those who stay; None where it never could be with any of them."""
        needs = self.needs
        closed = np.zeros(needs.slots, dtype=np.bool_)
        for index, place in stretch.members:
            mate = needs.broods[index]
            if not needs.may_share(brood, mate):
                return None
            span = slice(place.start, place.end)
            alone = mate.phases[place.phase].alone
            closed[span] |= needs.clash(brood, False, mate, alone)[span]
        at_home = any(name == stretch.home for name, _ in brood.phases[0].homes)
        open_to_it = _only(stretch.there & ~closed, slice(brood.start, brood.sale_slots[-1]))
        return closed if at_home or open_to_it.any() else None

    def _read(
        self, model: CohortModel, value: Callable[[object], int], chosen: list[int], rest: Rest
    ) -> dict[int, Settled]:
        """Return how those are settled who are settled anew, or whose vessels are called otherwise then."""
        needs, board = self.needs, self.board
        dates = dates_in(model, value)
        stretches: list[Named] = []
        for cohort in model.cohorts.cohorts:
            staying = cohort.laid.members if cohort.laid is not None else ()
            members = [self._member(stay) for stay in staying]
            for member in members_in(model, cohort, dates, value):
                index = chosen[member.unit.brood.index]
                unit = Unit(index, needs.broods[index], member.unit.number, member.start, member.end)
                members.append(replace(member, unit=unit))
            stretches += stretches_of(needs, cohort.kind, cohort.home or self._found_in(staying), members)
        for name, staying in rest:
            members = [self._member(stay) for stay in staying]
            stretches += stretches_of(needs, needs.class_of[name], self._found_in(staying), members)
        now = {
            (needs.broods[index].name, slot): place.vessel
            for index, settled in board.settled.items()
            for place in settled.places
            for slot in (place.start, place.end - 1)
        }
        names, _ = name_all(needs, stretches, lambda brood, slot: now.get((brood, slot)), adding=False)
        places: dict[int, list[Place]] = {index: [] for index in chosen}
        for stretch, name in zip(stretches, names, strict=True):
            for m in stretch.members:
                place = Place(m.unit.number, name, m.start, m.end, m.parts, m.of)
                places.setdefault(m.unit.brood.index, []).append(place)
        settled = board.settled | {chosen[place]: one for place, one in dates.items()}
        return {
            index: replace(settled[index], places=tuple(sorted(mine, key=_in_order)))
            for index, mine in places.items()
        }

    def _member(self, stay: Stay) -> Member:
        index, place = stay
        unit = Unit(index, self.needs.broods[index], place.phase, place.start, place.end)
        return Member(unit, place.start, place.end, place.parts, place.of)

    def _found_in(self, staying: Collection[Stay]) -> str | None:
        """Return the vessel of those who stay, if any of them is found in it today."""
        broods = self.needs.broods
        return next((p.vessel for index, p in staying if broods[index].phases[p.phase].homes), None)


def _with_added(needs: Needs, added: dict[int, int]) -> Needs:
    """Return the same tables with added vessels as if they had always been there, and nothing more to add."""
    classes = []
    for kind in needs.classes:
        new = tuple(new_vessel_name(kind.like, number + 1) for number in range(added.get(kind.index, 0)))
        classes.append(replace(kind, names=kind.names + new, price=0, most=0))
    return replace(needs, classes=tuple(classes))


def _stretches_in(needs: Needs, vessel: Slotted) -> list[list[Stay]]:
    return in_stretches(needs, [(index, place) for index, place, _ in vessel.occupants])


def _only(slots: Bools, span: slice) -> Bools:
    """Return the same with all slots outside a span left out."""
    kept = np.zeros_like(slots)
    kept[span] = slots[span]
    return kept


def _in_order(place: Place) -> tuple[int, int, str]:
    return place.phase, place.start, place.vessel
