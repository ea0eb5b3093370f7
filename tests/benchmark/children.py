"""One room in a process of its own, so that start-up is counted and memory is its own."""

import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryFile
from time import monotonic

from benchmark.one_room import Outcome, plan_one, print_outcome

MAIN = Path(__file__).parent / "__main__.py"
MOST_SAID = 400


def child(name: str, seconds: float | None, *, plain: bool) -> int:
    """Do one room in this process, and print what came of it for the parent."""
    if plain:
        from benchmark.weekly_milp import solve_one  # noqa: PLC0415 - HiGHS is only loaded for this

        print_outcome(solve_one(name, seconds))
    else:
        print_outcome(plan_one(name, seconds))
    return 0


@dataclass
class Task:
    """A room to be done: how long it may take, and how it is done."""

    room: str
    seconds: float | None
    give_up: float
    plain: bool = False


def outcome_of(task: Task) -> Outcome:
    """Do a room in a fresh process. Whatever goes wrong is told in the outcome, never raised.

    Only Ctrl-C is: the child is ended first.
    """
    command = [sys.executable, str(MAIN), "--child", task.room]
    command += [] if task.seconds is None else ["--seconds", str(task.seconds)]
    command += ["--plain-milp"] if task.plain else []
    begun = monotonic()
    with TemporaryFile() as out, TemporaryFile() as err:
        process = subprocess.Popen(command, stdout=out, stderr=err, start_new_session=True)
        try:
            code = process.wait(timeout=task.give_up)
        except subprocess.TimeoutExpired:
            _end(process)
            return Outcome(
                task.room, status="given up", wall=monotonic() - begun, error=f"after {task.give_up:g} s"
            )
        except BaseException:
            _end(process)
            raise
        wall = monotonic() - begun
        out.seek(0)
        err.seek(0)
        said, complained = out.read().decode(), err.read().decode()
    if code != 0:
        why = (complained.strip().splitlines() or ["it said nothing"])[-1]
        return Outcome(task.room, status="failed", wall=wall, error=f"exit code {code}: {why[:MOST_SAID]}")
    found = Outcome(**json.loads(said.strip().splitlines()[-1]))  # libraries may have said something before
    found.wall = wall - found.aside
    return found


def _end(process: subprocess.Popen[bytes]) -> None:
    process.kill()
    process.wait()
