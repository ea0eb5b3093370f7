"""How often does the plan hold? Many replays of it, each with other eggs, hatches, deaths and growth.

Replays are made in batches of fixed size, each from a seed of its own: where and by how many workers they are worked out
changes no number.
"""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future
from time import monotonic
from typing import TYPE_CHECKING

import numpy as np

from allocator.husbandry.stocking import Cap
from allocator.plan import Plan
from allocator.questions.luck_draws import Ints
from allocator.questions.luck_play import Played, play
from allocator.questions.luck_script import Script
from allocator.replies.luck import Chance, Luck, Replanned, Slip, Spares, VesselMonth, Week, WithoutHome
from allocator.result import Progress
from allocator.room import Room

if TYPE_CHECKING:
    from allocator.questions.luck_replan import Followed

REPLAYS = 1000
SEED = 1
BATCH = 100
"""Replays in a batch. Another size would give other numbers for the same seed."""

MOST_SPARES = 3
"""Spare vessels of a kind that are tried (judgement)."""

NAMED_IN_WEEK = 3
OFTEN, NEARLY_ALWAYS = 0.80, 0.95


def luck_of(
    room: Room,
    plan: Plan,
    *,
    replays: int = REPLAYS,
    seed: int = SEED,
    replan: int = 0,
    executor: Executor | None = None,
    progress: Callable[[Progress], None] | None = None,
    over: Callable[[], bool] = lambda: False,
) -> Luck:
    """Return how often a plan holds.

    Parameters
    ----------
    room
        With the vessels that the plan adds.
    replays
        1 or more.
    replan
        The first so many of them are made a second time with a new plan each month; that takes seconds each.
    executor
        Where the replays are worked out: any executor of the standard library's kind. Here, one after another, if left
        out. The numbers are the same.
    over
        Asked between batches, and between the months of replays with new plans; once it says yes, the reply is about
        those that are done, at least one batch.

    Raises
    ------
    ValueError
        If there is no replay to make, fewer than are to be made with new plans, or the seed is below 0.
    """
    if not (replays >= 1 and 0 <= replan <= replays and seed >= 0):
        raise ValueError(
            "replays must be 1 or more, replan from 0 to that, and the seed 0 or more "
            f"(got {replays}, {replan} and {seed})"
        )
    started = monotonic()
    script = Script(room, plan)
    batches = _batches(seed, replays)
    done: list[Played] = []
    for played in _worked_out(script, batches, executor, over):
        done.append(played)
        if progress is not None:
            made = sum(batch.replays for batch in done)
            progress(Progress(stage=f"replays: {made} of {replays}", seconds=monotonic() - started))
    reply = _reply(script, done, seed, replays)
    if not replan or reply.stopped:
        return reply.model_copy(update={"replan_asked_for": replan})
    followed: list[Followed] = []
    for one in _followed(script, batches, replan, executor, over):
        followed.append(one)
        if progress is not None:
            progress(
                Progress(
                    stage=f"replays with new plans: {len(followed)} of {replan}",
                    seconds=monotonic() - started,
                )
            )
    return reply.model_copy(update={"replan_asked_for": replan, "replanned": _replanned(followed, done)})


def sweep(
    rooms: Sequence[tuple[Room, Plan | None]],
    executor: Executor | None = None,
    *,
    replays: int = REPLAYS,
    seed: int = SEED,
) -> list[Luck]:
    """Return how often the plan of each of many rooms holds, in their order; one task for each room.

    Parameters
    ----------
    rooms
        Each with its plan, or None: then it is planned first, by the worker.
    executor
        Any executor of the standard library's kind; here, one after another, if left out.
    """
    if executor is None:
        return [_luck_of_room(room, plan, replays, seed) for room, plan in rooms]
    tasks = [executor.submit(_luck_of_room, room, plan, replays, seed) for room, plan in rooms]
    return [task.result() for task in tasks]


def _luck_of_room(room: Room, plan: Plan | None, replays: int, seed: int) -> Luck:
    if plan is None:
        from allocator.planner import plan_room  # noqa: PLC0415 - the solver is loaded only where it is needed

        result = plan_room(room)
        room, plan = result.room, result.best.plan
    return luck_of(room, plan, replays=replays, seed=seed)


def _batches(seed: int, replays: int) -> list[tuple[np.random.SeedSequence, int]]:
    """Return the seed and the size of each batch; more replays only add batches."""
    sizes = [BATCH] * (replays // BATCH) + ([replays % BATCH] if replays % BATCH else [])
    return list(zip(np.random.SeedSequence(seed).spawn(len(sizes)), sizes, strict=True))


def _worked_out(
    script: Script,
    batches: list[tuple[np.random.SeedSequence, int]],
    executor: Executor | None,
    over: Callable[[], bool],
) -> Iterator[Played]:
    """Yield batches in their order, until it is over."""
    if executor is None:
        for number, (seed, replays) in enumerate(batches):
            if number and over():
                return
            yield play(script, seed, replays)
        return
    tasks: list[Future[Played]] = [executor.submit(play, script, *batch) for batch in batches]
    try:
        for number, task in enumerate(tasks):
            if number and over():
                return
            yield task.result()
    finally:
        for task in tasks:
            task.cancel()


def _followed(
    script: Script,
    batches: list[tuple[np.random.SeedSequence, int]],
    replan: int,
    executor: Executor | None,
    over: Callable[[], bool],
) -> "Iterator[Followed]":
    """Yield the first replays, each with new plans, until it is over."""
    from allocator.questions.luck_replan import follow  # noqa: PLC0415 - the solver is loaded only where it is needed

    asked = [(*batches[number // BATCH], number % BATCH) for number in range(replan)]
    if executor is None:
        for one in asked:
            found = follow(script, *one, over)
            if found is None:
                return
            yield found
        return
    tasks = [executor.submit(follow, script, *one) for one in asked]
    try:
        for task in tasks:
            if over():
                return
            found = task.result()
            if found is not None:
                yield found
    finally:
        for task in tasks:
            task.cancel()


def _replanned(followed: "list[Followed]", done: list[Played]) -> Replanned | None:
    """Return what new plans come to, beside the plan as it stands in the same replays; None if none was done."""
    if not followed:
        return None
    n = len(followed)
    anew = np.array([one.without_home for one in followed])
    fixed = np.concatenate([batch.without_home for batch in done])[:n]
    return Replanned(
        replays=n,
        overfull=Chance.of(int((anew > 0).sum()), n),
        without_home=without_home_of(anew),
        fixed_overfull=Chance.of(int((fixed > 0).sum()), n),
        fixed_without_home=without_home_of(fixed),
        plans=sum(one.plans for one in followed),
        kept_old=sum(one.kept_old for one in followed),
    )


def _reply(script: Script, done: list[Played], seed: int, asked_for: int) -> Luck:
    n = sum(batch.replays for batch in done)
    without_home = np.concatenate([batch.without_home for batch in done])
    spares = np.concatenate([batch.spares for batch in done], axis=1)
    any_by_month = sum_of([batch.any_by_month for batch in done])
    lived_in = sorted({leg.vessel for leg in script.legs})
    by_month = sum_of([batch.by_month for batch in done])
    caps = sum_of([batch.caps for batch in done])
    return Luck(
        room=script.room.name,
        today=script.today,
        seed=seed,
        asked_for=asked_for,
        replays=n,
        overfull=Chance.of(sum(int(batch.overfull.sum()) for batch in done), n),
        by_month=tuple(
            (month, Chance.of(int(times), n))
            for month, times in zip(script.months, any_by_month, strict=True)
        ),
        by_vessel=tuple(
            VesselMonth(
                vessel=script.vessels[vessel].name,
                month=month,
                overfull=Chance.of(int(by_month[vessel, place]), n),
                runs_out=list(Cap)[int(caps[vessel].argmax())].value if by_month[vessel, place] else None,
            )
            for vessel in lived_in
            for place, month in enumerate(script.months)
        ),
        worst_week=_worst_week(script, done, n),
        without_home=without_home_of(without_home),
        too_short=Chance.of(sum(int(batch.too_short.sum()) for batch in done), n),
        spares=tuple(_spares(script, spares, n)),
        spares_at_80=_enough(script, spares, OFTEN),
        spares_at_95=_enough(script, spares, NEARLY_ALWAYS),
        slips=_slips(script, done, n),
        waits=_waits(done, n),
        homeless_in_plan=sum(row.fish for row in script.plan.homeless),
    )


def sum_of(counts: Sequence[Ints]) -> Ints:
    """Return counts added up place by place."""
    total: Ints = np.sum(counts, axis=0)
    return total


def quantile(values: Ints, share: float) -> int:
    """Return the smallest number that at least so many of the values are not above."""
    return int(np.quantile(values, share, method="inverted_cdf"))


def without_home_of(fish: Ints) -> WithoutHome:
    """Return what is told of the fish that are too many, from their number in each replay."""
    return WithoutHome(
        mean=float(fish.mean()), at_80=quantile(fish, OFTEN), at_95=quantile(fish, NEARLY_ALWAYS)
    )


def _is_lived_in(script: Script, kind: str) -> bool:
    return any(script.vessels[leg.vessel].declared_as == kind for leg in script.legs)


def _spares(script: Script, lacking: Ints, n: int) -> Iterator[Spares]:
    """Yield what so many spare vessels are good for: of each kind alone, then of every kind at once."""
    rows = [(kind, lacking[place]) for place, kind in enumerate(script.kinds) if _is_lived_in(script, kind)]
    for kind, row in [*rows, (None, lacking.max(axis=0))]:
        for extra in range(MOST_SPARES + 1):
            yield Spares(like=kind, spares=extra, too_few=Chance.of(int((row > extra).sum()), n))


def _enough(script: Script, spares: Ints, share: float) -> tuple[tuple[str, int], ...]:
    return tuple(
        (kind, quantile(lacking, share))
        for kind, lacking in zip(script.kinds, spares, strict=True)
        if _is_lived_in(script, kind)
    )


def _worst_week(script: Script, done: list[Played], n: int) -> Week | None:
    """Return the week in which something is overfull most often, the first of them; None where nothing ever is."""
    times = sum_of([batch.any_by_week for batch in done])
    week = int(times.argmax())
    if not times[week]:
        return None
    by_vessel = sum_of([batch.by_week for batch in done])[:, week]
    worst = [int(v) for v in np.argsort(-by_vessel, kind="stable")[:NAMED_IN_WEEK] if by_vessel[v]]
    return Week(
        monday=script.mondays[week],
        overfull=Chance.of(int(times[week]), n),
        vessels=tuple((script.vessels[v].name, Chance.of(int(by_vessel[v]), n)) for v in worst),
    )


def _slips(script: Script, done: list[Played], n: int) -> tuple[Slip, ...]:
    small, long, late = (
        np.concatenate([getattr(batch, name) for batch in done], axis=1)
        for name in ("too_small", "too_long", "late_days")
    )
    placed = sorted({leg.brood for leg in script.legs})
    return tuple(
        Slip(
            brood=script.room.broods[brood].name,
            too_small=Chance.of(int(small[brood].sum()), n),
            too_long=Chance.of(int(long[brood].sum()), n),
            not_ready=Chance.of(int((late[brood] > 0).sum()), n),
            late_at_80=quantile(late[brood], OFTEN),
            late_at_95=quantile(late[brood], NEARLY_ALWAYS),
        )
        for brood in placed
    )


def _waits(done: list[Played], n: int) -> Chance:
    """Return the chance that some fish are not ready for a move or a sale on the day of the plan."""
    waits = [batch.too_small.any(axis=0) | (batch.late_days > 0).any(axis=0) for batch in done]
    return Chance.of(sum(int(some.sum()) for some in waits), n)
