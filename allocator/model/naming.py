"""Give the stretches of use of a class the names of its vessels, and read a solution out of the solver."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from allocator.model.cohorts import Cohort, Unit
from allocator.model.room_model import CohortModel
from allocator.model.settled import Place, Settled, home_parts, lost_until
from allocator.needs import Needs, VesselClass
from allocator.room import new_vessel_name


class NamingError(Exception):
    """The model opens more cohorts of a class at once than there are vessels: our bug."""


@dataclass(frozen=True)
class _Member:
    unit: Unit
    start: int
    end: int
    parts: int
    of: int


@dataclass(frozen=True)
class _Stretch:
    """A stretch of use of one vessel: who, from when until when; `home` names the vessel when it is known."""

    kind: VesselClass
    members: tuple[_Member, ...]
    home: str | None

    @property
    def start(self) -> int:
        return min(m.start for m in self.members)

    @property
    def end(self) -> int:
        return max(m.end for m in self.members)


@dataclass(frozen=True)
class Solution:
    """A whole settled room, with how many vessels of each class are added."""

    settled: tuple[Settled, ...]
    added: dict[int, int]

    def class_of(self, needs: Needs) -> dict[str, VesselClass]:
        """Return the class of each vessel, those that are added too."""
        kinds = dict(needs.class_of)
        for index, copies in self.added.items():
            kind = needs.classes[index]
            kinds |= {new_vessel_name(kind.like, number + 1): kind for number in range(copies)}
        return kinds


def read_solution(
    model: CohortModel,
    value: Callable[[object], int],
    prefer: Callable[[str, int], str | None] = lambda _brood, _slot: None,
) -> Solution:
    """Return what the solver settled, with vessels named.

    Parameters
    ----------
    model
        The model that was solved.
    value
        Returns the value of a literal or expression of the model.
    prefer
        Returns, for a brood's name and a slot, the vessel it had in an older plan; such names are kept where
        the vessel is free.
    """
    needs = model.needs
    entries: dict[int, list[int]] = {}
    homeless: dict[int, int | None] = {}
    for brood in needs.broods:
        b = brood.index
        slots = [
            next(s for s in model.dates.slots_of(b, number) if value(model.dates.by(b, number, s)))
            for number in range(len(brood.phases) + 1)
        ]
        gone = next((n for n in range(len(brood.phases)) if value(model.dates.gone(b, n))), None)
        homeless[b] = gone
        if gone is not None:
            leave = lost_until(brood, slots[gone])
            slots = slots[:gone] + [slots[gone]] * (len(brood.phases) - gone) + [leave]
        entries[b] = slots
    stretches: list[_Stretch] = []
    for cohort in model.cohorts.cohorts:
        stretches += _stretches(model, cohort, entries, homeless, value)
    names, added = _name(needs, stretches, prefer, adding=model.cohorts.adding)
    places: dict[int, list[Place]] = {brood.index: [] for brood in needs.broods}
    for stretch, name in zip(stretches, names, strict=True):
        for member in stretch.members:
            place = Place(member.unit.number, name, member.start, member.end, member.parts, member.of)
            places[member.unit.brood.index].append(place)
    settled = tuple(
        Settled(
            tuple(entries[b.index][:-1]),
            entries[b.index][-1],
            tuple(sorted(places[b.index], key=lambda p: (p.phase, p.start, p.vessel))),
            homeless[b.index],
        )
        for b in needs.broods
    )
    return Solution(settled, added)


def _stretches(
    model: CohortModel,
    cohort: Cohort,
    entries: dict[int, list[int]],
    homeless: dict[int, int | None],
    value: Callable[[object], int],
) -> list[_Stretch]:
    """Cut a cohort where its vessel stands empty for longer than it takes to clean it."""
    members: list[_Member] = []
    for unit in cohort.members:
        b = unit.brood.index
        gone = homeless[b]
        start, end = entries[b][unit.number], entries[b][unit.number + 1]
        if (start >= end and not unit.phase.homes) or (gone is not None and unit.number >= gone):
            continue
        if unit.phase.homes:
            share = next(share for name, share in unit.phase.homes if name == cohort.home)
            members.append(_Member(unit, start, end, *home_parts(share)))
        elif (count := value(model.cohorts.parts[unit.index, cohort.index])) > 0:
            members.append(_Member(unit, start, end, count, unit.phase.portions))
    pieces = _pieces(model.needs, members)
    return [
        _Stretch(cohort.kind, tuple(piece), cohort.home if number == 0 else None)
        for number, piece in enumerate(pieces)
    ]


def _name(
    needs: Needs,
    stretches: list[_Stretch],
    prefer: Callable[[str, int], str | None],
    *,
    adding: bool,
) -> tuple[list[str], dict[int, int]]:
    """Colour the stretches of each class with its vessels: in order of start, the preferred or first free name."""
    names = [""] * len(stretches)
    added: dict[int, int] = {}
    for kind in needs.classes:
        mine = sorted(
            (i for i, s in enumerate(stretches) if s.kind is kind),
            key=lambda i: (stretches[i].start, stretches[i].home is None, stretches[i].members[0].unit.index),
        )
        pool = list(kind.names)
        earlier: dict[str, list[_Stretch]] = {}
        for i in mine:
            stretch = stretches[i]
            if stretch.home is not None:
                name = stretch.home
            else:
                free = [n for n in pool if all(_follows(needs, e, stretch) for e in earlier.get(n, ()))]
                wanted = [
                    prefer(m.unit.brood.name, slot) for m in stretch.members for slot in (m.start, m.end - 1)
                ]
                name = next((n for n in wanted if n is not None and n in free), free[0] if free else "")
                if not name and added.get(kind.index, 0) >= (kind.most if adding else 0):
                    raise NamingError(kind.like)
                if not name:
                    added[kind.index] = added.get(kind.index, 0) + 1
                    name = new_vessel_name(kind.like, added[kind.index])
                    pool.append(name)
            names[i] = name
            earlier.setdefault(name, []).append(stretch)
    return names, added


def _follows(needs: Needs, before: _Stretch, after: _Stretch) -> bool:
    """Tell whether one stretch may follow another in the same vessel."""
    if before.end > after.start:
        return False
    arriving = [m.unit.brood for m in after.members]
    return all(
        needs.days[after.start] >= needs.clean_from(m.unit.brood, m.end)
        for m in before.members
        if any(not needs.may_share(m.unit.brood, other) for other in arriving)
    )


def trimmed(needs: Needs, solution: Solution) -> Solution:
    """Rename the added vessels that are in use to the first numbers, and drop the others."""
    new = {
        new_vessel_name(needs.classes[index].like, number): index
        for index, copies in solution.added.items()
        for number in range(1, copies + 1)
    }
    used: dict[int, list[str]] = {}
    for name in sorted({place.vessel for settled in solution.settled for place in settled.places}):
        if name in new:
            used.setdefault(new[name], []).append(name)
    renamed = {
        old: new_vessel_name(needs.classes[index].like, number)
        for index, names in used.items()
        for number, old in enumerate(sorted(names, key=lambda n: int(n.rsplit(" ", 1)[1])), start=1)
    }
    settled_again = tuple(
        replace(s, places=tuple(replace(p, vessel=renamed.get(p.vessel, p.vessel)) for p in s.places))
        for s in solution.settled
    )
    return Solution(settled_again, {index: len(names) for index, names in used.items()})


def renamed(needs: Needs, solution: Solution, prefer: Callable[[str, int], str | None]) -> Solution:
    """Return the same solution with the names that a plan in hand gives, where equal vessels allow it."""
    kinds = solution.class_of(needs)
    inside: dict[str, list[_Member]] = {}
    for brood, settled in zip(needs.broods, solution.settled, strict=True):
        for place in settled.places:
            unit = Unit(brood.index, brood, place.phase, place.start, place.end)
            member = _Member(unit, place.start, place.end, place.parts, place.of)
            inside.setdefault(place.vessel, []).append(member)
    stretches: list[_Stretch] = []
    for name in sorted(inside):
        for piece in _pieces(needs, inside[name]):
            found = any(m.unit.phase.homes for m in piece)
            stretches.append(_Stretch(kinds[name], tuple(piece), name if found else None))
    try:
        names, added = _name(needs, stretches, prefer, adding=bool(solution.added))
    except NamingError:
        return solution
    if added != solution.added:
        return solution
    places: dict[int, list[Place]] = {brood.index: [] for brood in needs.broods}
    for stretch, name in zip(stretches, names, strict=True):
        for m in stretch.members:
            places[m.unit.brood.index].append(Place(m.unit.number, name, m.start, m.end, m.parts, m.of))
    settled_again = tuple(
        replace(s, places=tuple(sorted(places[number], key=lambda p: (p.phase, p.start, p.vessel))))
        for number, s in enumerate(solution.settled)
    )
    return Solution(settled_again, solution.added)


def _pieces(needs: Needs, members: list[_Member]) -> list[list[_Member]]:
    """Cut what is in one vessel where it stands empty for longer than it takes to clean it."""
    pieces: list[list[_Member]] = []
    reach, clean = -1, needs.days[0]
    for member in sorted(members, key=lambda m: (m.start, m.unit.index)):
        # before it is clean only its own line may follow, so it is the same vessel
        if pieces and (member.start <= reach or needs.days[member.start] < clean):
            pieces[-1].append(member)
        else:
            pieces.append([member])
        reach = max(reach, member.end)
        clean = max(clean, needs.clean_from(member.unit.brood, member.end))
    return pieces
