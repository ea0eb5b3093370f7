"""The command `luck`: it tells how often the plan holds."""

# ruff: noqa: PLC0415, FBT002, D301 - `--help` must not pay for what only a command needs; the function
# has the shape that typer reads, and \b keeps its lines apart

from typing import Annotated

import typer

from allocator.asked import answered, exit_code, seconds_of
from allocator.commands.options import AsJson, PlanFile, RoomFile, Seconds, Today
from allocator.console import UserError, live_line, say

MOST_REPLAYS = 1_000_000
MOST_REPLANNED = 1000
HIGHEST_SEED = 2**63 - 1


def luck(
    room: RoomFile,
    replays: Annotated[
        int, typer.Option("--replays", metavar="N", help="How often the plan is replayed.")
    ] = 1000,
    replan: Annotated[
        int,
        typer.Option(
            "--replan",
            metavar="N",
            help="So many replays also with a new plan each month; takes seconds each.",
        ),
    ] = 0,
    seed: Annotated[
        int, typer.Option("--seed", metavar="N", help="Another number draws another run of luck.")
    ] = 1,
    plan_file: PlanFile = None,
    as_json: AsJson = False,
    time: Seconds = None,
    today: Today = None,
) -> int:
    """Tell how often the plan holds if eggs, hatches, deaths and growth differ.

    \b
    Example:
      allocator luck my-room.yaml --plan plan.json
    """
    from allocator.interrupt import stop_on_interrupt
    from allocator.questions.luck import luck_of
    from allocator.reports.luck import luck_text

    _within("--replays", replays, 1, MOST_REPLAYS)
    _within("--replan", replan, 0, min(replays, MOST_REPLANNED))
    _within("--seed", seed, 0, HIGHEST_SEED)
    answer = answered(room, plan_file, seconds_of(time), today)
    with stop_on_interrupt() as stop, live_line() as show:
        found = luck_of(
            answer.room,
            answer.plan,
            replays=replays,
            seed=seed,
            replan=replan,
            progress=show,
            over=stop.is_set,
        )
    say(found.model_dump_json(indent=2) if as_json else luck_text(found))
    return exit_code(answer.plan)


def _within(option: str, number: int, least: int, most: int) -> None:
    if not least <= number <= most:
        raise UserError(f"{option} must be from {least} to {most} (got {number})")
