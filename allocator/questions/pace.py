"""What can this room sustain? Broods a month for ever, by line and mixed: a bound, and what a checked plan reaches."""

from collections import defaultdict
from collections.abc import Callable, Sequence
from math import isinf
from time import monotonic

from allocator.husbandry.chance import erlang_b, most_offered
from allocator.interrupt import stop_on_interrupt
from allocator.plan import Plan
from allocator.questions.pace_bound import Bound, Living
from allocator.questions.pace_measured import Measured, measured
from allocator.questions.pace_room import Collection, emptied, typical, weights_of, with_one_more
from allocator.questions.pace_run import Search, Stream, most_found, most_possible, period_for
from allocator.replies.pace import (
    MONTH_DAYS,
    Binding,
    Bottleneck,
    Collected,
    Lacking,
    PaceReply,
    Seen,
    Sustained,
    Unplanned,
    VesselsPace,
)
from allocator.result import Progress
from allocator.room import Room

ONE_IN_TWENTY = 0.05

NEGLIGIBLE = 0.005
"""A part in holding the pace that is not worth a line (judgement)."""


def pace_of(
    room: Room,
    *,
    line: str | None = None,
    eggs: int | None = None,
    seconds: float | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> PaceReply:
    """Return what a room can sustain.

    Parameters
    ----------
    room
        As read. Its present broods count only for how many eggs a collection has: what is asked for is the steady state.
    line
        Look at this line only.
    eggs
        Eggs in a collection, for all lines that are looked at.
    seconds
        Wall time to stay within, roughly.
    progress
        Called often with how far the search is.
    """
    started = monotonic()
    empty = emptied(room)
    names = [found.name for found in room.lines if line is None or found.name == line]
    kinds = {name: typical(room, room.line_named[name], eggs) for name in names}
    with stop_on_interrupt() as stop:
        search = Search(
            stop,
            None if seconds is None else started + seconds,
            started,
            progress or (lambda _: None),
        )
        asked = [Asked(empty, [kinds[name]], [1.0]) for name in names]
        able = [one for one in asked if one.bound.lacking is None]
        names = [one.collections[0].line for one in able]
        shares = {name: share for name, share in weights_of(room).items() if name in names}
        mixed = None
        if len(shares) > 1:
            weights = [share / sum(shares.values()) for share in shares.values()]
            mixed = Asked(empty, [kinds[name] for name in shares], weights)
        order = [mixed, *asked] if mixed is not None else asked
        steps = [one.find for one in order]
        if mixed is not None or len(able) == 1:
            steps.append((mixed or able[0]).find_with_one_more)
        for done, step in enumerate(steps):
            mine = search.share(len(steps) - done)
            step(mine)
            search.cut_short |= mine.cut_short
        return PaceReply(
            room=room.name,
            today=room.today,
            each=tuple(one.sustained() for one in asked),
            mixed=mixed.sustained() if mixed is not None else None,
            stopped=search.cut_short,
        )


class Asked:
    """Some lines in fixed shares: what is known of the pace at which their broods may come.

    Parameters
    ----------
    room
        From `emptied`.
    collections, weights
        What is collected, and in which shares.
    """

    def __init__(self, room: Room, collections: Sequence[Collection], weights: Sequence[float]) -> None:
        self.room, self.collections, self.weights = room, collections, weights
        self.living = Living(room, collections)
        self.bound: Bound = self.living.bound(weights)
        self.period = period_for(self.bound.pace)
        self.stream = self._stream(room, self.living, self.bound.pace)
        self.more = {name: self._with_one_more(name) for name in self._names()}
        self.more_found: dict[str, int] = {}
        self.count = 0
        self.possible = self.stream.most
        self.plan: Plan | None = None
        self.done = False
        self.measured: Measured | None = None

    def _names(self) -> list[str]:
        """Return the names of the vessels that broods may live in, in the order of the room."""
        used = {way.kind for way in self.living.ways}
        return list(dict.fromkeys(self.living.kinds[kind].sample.declared_as for kind in sorted(used)))

    def _stream(self, room: Room, living: Living, pace: float) -> Stream:
        name = self.collections[0].line if len(self.collections) == 1 else "mixed"
        return Stream(room, self.collections, self.weights, living.longest(), pace, name, self.period)

    def _with_one_more(self, name: str) -> Stream:
        room = with_one_more(self.room, name)
        living = Living(room, self.collections)
        return self._stream(room, living, living.bound(self.weights).pace)

    def find(self, search: Search) -> None:
        """Look for the most that a checked plan reaches."""
        self.count, self.plan = most_found(self.stream, search)
        self.done = not search.cut_short
        self.possible = most_possible(self.stream, search, self.count)
        if self.plan is not None:
            first = {kind.line: self._first_vessels(number) for number, kind in enumerate(self.collections)}
            self.measured = measured(self.stream, self.count, self.plan, first)

    def find_with_one_more(self, search: Search) -> None:
        """Look for the same with one more of each vessel, if the search without it came to its end."""
        for name, stream in self.more.items():
            if search.over() or not self.done:
                return
            found, _ = most_found(stream, search, self.count)
            if not search.cut_short or found > self.count:
                self.more_found[name] = found

    def _first_vessels(self, number: int) -> frozenset[str]:
        samples = {self.living.kinds[kind].sample.declared_as for kind in self.living.first_homes(number)}
        return frozenset(vessel.name for vessel in self.room.vessels if vessel.declared_as in samples)

    def sustained(self) -> Sustained:
        """Return what is known."""
        lines = [self.room.line_named[kind.line] for kind in self.collections]
        lacking = None
        if self.bound.lacking is not None:
            number, stage = self.bound.lacking
            lacking = Lacking(line=lines[number].name, stage=lines[number].rules.stages[stage].name)
        return Sustained(
            collected=tuple(
                Collected(line=kind.line, eggs=kind.eggs, why=kind.why, share=share)
                for kind, share in zip(self.collections, self.weights, strict=True)
            ),
            at_most=self.bound.pace * MONTH_DAYS,
            at_most_evenly=min(_a_month(self.possible, self.period), self.bound.pace * MONTH_DAYS),
            found=_a_month(self.count, self.period) if self.measured is not None else None,
            count=self.count,
            possible=self.possible,
            period_days=self.period,
            proven=self.count >= self.possible,
            bottleneck=self._bottleneck(),
            binding=self._binding(),
            vessels=tuple(self._vessels(name) for name in self.more),
            lacking=lacking,
            run=self.measured.run if self.measured is not None else None,
            unplanned=tuple(self._unplanned()),
        )

    def _binding(self) -> tuple[Binding, ...]:
        parts: dict[tuple[str, str], float] = defaultdict(float)
        for (line, stage, kind), part in self.bound.binding.items():
            rules = self.room.line_named[self.collections[line].line].rules
            parts[rules.stages[stage].name, self.living.kinds[kind].sample.declared_as] += part
        found = [
            Binding(stage=stage, vessels=vessels, part=part)
            for (stage, vessels), part in parts.items()
            if part >= NEGLIGIBLE
        ]
        return tuple(sorted(found, key=lambda binding: (-binding.part, binding.stage, binding.vessels)))

    def _bottleneck(self) -> Bottleneck | None:
        """Return the vessels of which one more buys most, else the fullest, else what sets the bound; with the stage."""
        buys = {name: found - self.count for name, found in self.more_found.items()}
        if self.measured is None:
            first = next(iter(self._binding()), None)
            return (
                None
                if first is None
                else Bottleneck(stage=first.stage, vessels=first.vessels, seen=Seen.BOUND)
            )
        full = {name: self.measured.mean_in_use[name] / max(self._copies(name), 1) for name in self.more}
        if len(buys) < len(self.more):
            buys = {}  # it would be unfair to those that were not looked at
        seen = Seen.ONE_MORE if max(buys.values(), default=0) > 0 else Seen.FULLEST
        name = max(self.more, key=lambda n: (buys.get(n, 0), full[n]))
        stages = [use for use in self.measured.run.stages if use.vessels == name]
        stage = max(stages, key=lambda use: use.broods_mean, default=None)
        return None if stage is None else Bottleneck(stage=stage.stage, vessels=name, seen=seen)

    def _kinds(self, name: str) -> frozenset[int]:
        kinds = enumerate(self.living.kinds)
        return frozenset(number for number, kind in kinds if kind.sample.declared_as == name)

    def _copies(self, name: str) -> int:
        return sum(self.living.kinds[number].copies for number in self._kinds(name))

    def _vessels(self, name: str) -> VesselsPace:
        alone = self.living.bound(self.weights, only=self._kinds(name)).pace
        stream, found = self.more[name], self.more_found.get(name)
        return VesselsPace(
            vessels=name,
            copies=self._copies(name),
            at_most=None if isinf(alone) else alone * MONTH_DAYS,
            mean_in_use=self.measured.mean_in_use[name] if self.measured is not None else None,
            most_in_use=self.measured.most_in_use[name] if self.measured is not None else None,
            one_more_at_most=stream.bound * MONTH_DAYS,
            one_more_found=None if found is None else _a_month(found, self.period),
        )

    def _unplanned(self) -> list[Unplanned]:
        """Return what chance does to vessels in which broods begin and nothing else lives."""
        if self.measured is None:
            return []
        days = self.measured.first_days
        lines_of: dict[frozenset[int], list[int]] = defaultdict(list)
        for number in range(len(self.collections)):
            lines_of[self.living.first_homes(number)].append(number)
        found = []
        for homes, lines in lines_of.items():
            others = [kinds for kinds in lines_of if kinds != homes and kinds & homes]
            nursery = any(self.living.kinds[kind].young_of is not None for kind in homes)
            if homes & self.living.later_homes() or others or nursery:
                continue
            a_day = self.count / self.period
            share = sum(self.weights[number] for number in lines)
            each = sum(self.weights[n] * days.get(self.collections[n].line, 0.0) for n in lines) / share
            copies = sum(self.living.kinds[kind].copies for kind in homes)
            names = dict.fromkeys(self.living.kinds[kind].sample.declared_as for kind in sorted(homes))
            found.append(
                Unplanned(
                    lines=tuple(self.collections[number].line for number in lines),
                    vessels=" or ".join(names),
                    copies=copies,
                    days_each=each,
                    turned_away=erlang_b(copies, a_day * share * each),
                    pace_for_one_in_twenty=most_offered(copies, ONE_IN_TWENTY) / each * MONTH_DAYS,
                )
            )
        return found


def _a_month(count: int, period: int) -> float:
    """Return broods a month."""
    return count / period * MONTH_DAYS
