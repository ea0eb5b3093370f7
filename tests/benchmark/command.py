"""The command line of the benchmark: which rooms, and what to do with them."""

import argparse
import signal
import sys
from pathlib import Path

from benchmark.children import child
from benchmark.frozen import SEEDS, names, room_named, size_of
from benchmark.many import Asked, run
from benchmark.room_file import as_file

INSTANCES = "--instances"
FILE = ".yaml"


def main(argv: list[str]) -> int:
    """Do what the options ask for; return the exit code."""
    if any(word == INSTANCES or word.startswith(f"{INSTANCES}=") for word in argv):
        from benchmark import instances  # noqa: PLC0415 - another mode, with options of its own

        return int(instances.main(argv) or 0)
    parser = _parser()
    asked = parser.parse_args(argv)
    if asked.child:
        return child(asked.child, asked.seconds, plain=asked.plain_milp)
    rooms = _rooms(parser, asked)
    if asked.replan:
        from benchmark import replan  # noqa: PLC0415 - another mode, of whole commands

        return replan.run(rooms, asked.runs, asked.seed, asked.seconds)
    if asked.write is not None:
        asked.write.mkdir(parents=True, exist_ok=True)
        for name in rooms:
            (asked.write / f"{name}.yaml").write_text(as_file(room_named(name)), encoding="utf-8")
        return 0
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # ended like Ctrl-C: the child too, and a table
    return run(
        Asked(
            rooms=tuple(rooms),
            seconds=asked.seconds,
            give_up=asked.give_up,
            runs=asked.runs,
            json_file=asked.json,
            keep=asked.keep,
            plain=asked.plain_milp,
        )
    )


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmark",
        description="Plan made-up rooms, each in a process of its own, and tell how well and how fast. "
        f"Published instances: {INSTANCES} DIR (see {INSTANCES} --help).",
    )
    parser.add_argument("--set", choices=[*SEEDS, "all"], help="the rooms of one size, or all forty")
    parser.add_argument("--room", action="append", default=[], help="one room, such as club-tight-longs-3")
    parser.add_argument("--list", action="store_true", help="print the names of the rooms and stop")
    parser.add_argument(
        "--seconds",
        type=float,
        help="time for each plan (--time); without it: the planner's own budget of work",
    )
    parser.add_argument("--give-up", type=float, default=1800, help="end a room after so many seconds (1800)")
    parser.add_argument("--runs", type=int, default=1, help="plan each room so many times")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write everything to a file as well")
    parser.add_argument("--keep", action="store_true", help="put what is better into frozen.csv")
    parser.add_argument(
        "--plain-milp", action="store_true", help="the weekly model per vessel instead, in HiGHS"
    )
    parser.add_argument(
        "--replan",
        action="store_true",
        help="add a brood to each planned room: planned cold, and again with the plan in hand (whole commands; "
        "--room may be a room file)",
    )
    parser.add_argument("--seed", type=int, default=1, help="of the brood that --replan adds (1)")
    parser.add_argument("--write", type=Path, metavar="DIR", help="write the rooms as room files and stop")
    parser.add_argument("--child", help=argparse.SUPPRESS)
    return parser


def _rooms(parser: argparse.ArgumentParser, asked: argparse.Namespace) -> list[str]:
    wanted = list(asked.room)
    if asked.set is not None:
        wanted += [name for name in names() if asked.set in ("all", size_of(name)) and name not in wanted]
    if asked.list:
        sys.stdout.write("\n".join(wanted or names()) + "\n")
        sys.exit(0)
    if not wanted:
        parser.error("say which rooms: --set home, --set all, --room NAME")
    for name in asked.room:
        if asked.replan and name.endswith(FILE):
            continue
        try:
            size_of(name)
        except KeyError:
            parser.error(f"there is no room {name}; --list tells the names")
    return wanted
