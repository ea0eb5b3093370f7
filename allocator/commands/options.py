"""Arguments and options that several commands have."""

from pathlib import Path
from typing import Annotated

import typer

RoomFile = Annotated[
    Path,
    typer.Argument(
        metavar="ROOM",
        help="The room file (YAML), or a workbook (.xlsx).",
        show_default=False,
        readable=False,  # not asked by the command line library: our readers say file and line
    ),
]
Today = Annotated[
    str | None,
    typer.Option("--today", metavar="DATE", help="Plan as if today were DATE, such as 2027-01-09."),
]
Seconds = Annotated[
    str | None,
    typer.Option("--time", metavar="SECONDS", help="Stop looking for a better plan after so long."),
]
PlanFile = Annotated[
    Path | None,
    typer.Option(
        "--plan",
        metavar="PLAN.json",
        help="Read this plan, check it, and do not plan again.",
        readable=False,
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print as JSON.")]
NoCare = Annotated[bool, typer.Option("--no-care", help="Leave the care of the fish out: moves only.")]
