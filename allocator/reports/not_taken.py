"""Collections that need not be taken: which weeks to leave the mop out, and what not to collect."""

from collections.abc import Iterator

from allocator.plan import NotTaken, Plan
from allocator.reports.blocks import Block, Grid, blocks_text
from allocator.reports.tables import Column, clean
from allocator.reports.words import count_of, day_words, in_words, week_start
from allocator.room import Brood, CollectedBy, Room

NOT_TAKEN = "not taken"
TO_DO = {
    CollectedBy.PICKING: "do not collect",
    CollectedBy.MOP: "leave the mop out",
    CollectedBy.YOUNG: "do not set up the young",
}


def optional_of(room: Room) -> list[Brood]:
    """Return the planned collections that are taken only if they fit."""
    return [brood for brood in room.broods if brood.optional]


def left_out(room: Room, plan: Plan) -> Iterator[tuple[NotTaken, Brood]]:
    """Yield the collections of a room that a plan does not take, in order of days."""
    for row in sorted(plan.not_taken, key=lambda row: (row.on, row.brood)):
        brood = room.brood_named.get(row.brood)
        if brood is not None:
            yield row, brood


def left_out_words(room: Room, plan: Plan) -> str:
    """Return how many of them are left out: `2 of the 5 collections that are taken only if they fit are left out`."""
    number, many = len(plan.not_taken), len(optional_of(room))
    if many == 1:
        return "the collection that is taken only if it fits is left out"
    are = "is" if number == 1 else "are"
    which = _all(many) if number == many else f"{in_words(number)} of the {in_words(many)}"
    return f"{which} collections that are taken only if they fit {are} left out"


def _all(many: int) -> str:
    return "both" if many == 2 else f"all {in_words(many)}"  # noqa: PLR2004 - so it is called


def not_taken_text(room: Room, plan: Plan, as_it_is: Plan | None = None) -> str:
    """Return which collections are left out, as it is printed, or nothing; see `not_taken_blocks`."""
    blocks = not_taken_blocks(room, plan, as_it_is)
    parts = [blocks_text(blocks[:1]), blocks_text(blocks[1:], indent="  ")]
    return "\n".join(part for part in parts if part)


def not_taken_blocks(room: Room, plan: Plan, as_it_is: Plan | None = None) -> list[Block]:
    """Return which collections are left out, week by week; nothing where all are always taken.

    Parameters
    ----------
    as_it_is
        The plan with nothing added, where that is another one.
    """
    optional = optional_of(room)
    if not optional:
        return []
    if not plan.not_taken:
        many = f"{_all(len(optional)).capitalize()} collections that are taken only if they fit are taken."
        one = "The collection that is taken only if it fits is taken."
        blocks: list[Block] = [one if len(optional) == 1 else many]
    else:
        by_priority = len({brood.priority for brood in optional}) > 1
        number = count_of(len(plan.not_taken), "collection")
        some = f"{number} of {len(optional)} taken only if they fit"
        one = "the collection that is taken only if it fits"
        blocks = [
            f"Leave out: {one if len(optional) == 1 else some}",
            _grid(room, plan, by_priority=by_priority),
        ]
    if as_it_is is not None and as_it_is != plan and as_it_is.not_taken:
        blocks.append(f"With what you have, nothing added, {left_out_words(room, as_it_is)}.")
    return blocks


def _grid(room: Room, plan: Plan, *, by_priority: bool) -> Grid:
    columns = [
        Column("week of"),
        Column("line"),
        Column("what to do", least=14),
        Column("collection", least=12),
    ]
    columns.append(Column("eggs", right=True))
    columns += [Column("priority", right=True)] if by_priority else []
    rows = []
    for row, brood in left_out(room, plan):
        cells = [
            day_words(week_start(row.on)),
            clean(brood.line),
            TO_DO[brood.by],
            clean(row.brood),
            str(row.eggs),
        ]
        rows.append([*cells, str(brood.priority)] if by_priority else cells)
    return Grid(tuple(columns), tuple(map(tuple, rows)))
