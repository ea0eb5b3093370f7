"""The search in a process of its own: begun from a page, watched from two, ended in every way, never left behind."""

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path
from threading import Event
from urllib.parse import urlsplit

import pytest
from opened import HERE, app_of, desk_of, keeper, post, tiny_file, wait
from shown_pages import ROOT, answer_of

from allocator.check import check_plan
from allocator.cli import main
from allocator.console import Exit
from allocator.planner import plan_room
from allocator.problems import InputError, Problem
from allocator.reading import read_room
from allocator.reading.plan_file import read_plan
from allocator.result import Progress, Result
from allocator.served import folder
from allocator.served.jobs import ENDED_BY_ITSELF, Jobs, State, Status
from allocator.served.pages import progress_of, time_words
from allocator.served.worker import Task

LONG = ROOT / "scenarios" / "home-rack.yaml"
"""Takes long enough to be ended before it is done."""

posix_only = pytest.mark.skipif(os.name != "posix", reason="signals as they are on POSIX")


@pytest.fixture(autouse=True)
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep what the page keeps in a folder of this test."""
    monkeypatch.setenv(folder.VARIABLE, str(tmp_path / "state"))
    return tmp_path / "state"


def long_file(folder_: Path) -> Path:
    file = folder_ / "long.yaml"
    file.write_bytes(LONG.read_bytes())
    return file


def long_task() -> Task:
    return Task(read_room(LONG).room)


def status_of(jobs: Jobs) -> Status:
    status = jobs.status()
    assert status is not None
    return status


def until_it_searches(jobs: Jobs) -> None:
    """Wait until the other process has something to tell."""
    while (status := status_of(jobs)).progress is None:
        assert status.going_on
        time.sleep(0.02)


def until_there_is_a_plan(jobs: Jobs) -> None:
    while (progress := status_of(jobs).progress) is None or progress.value is None:
        assert status_of(jobs).going_on
        time.sleep(0.02)


def test_a_plan_is_made_and_two_browsers_see_the_same(tmp_path: Path) -> None:
    desk = desk_of(tiny_file(tmp_path), planned=None)
    app = app_of(desk)
    one, other = keeper(app), keeper(app)
    assert post(one, "/plan") == 303
    seen = [client.get("/working").text for client in (one, other)]
    assert all("Planning the room" in page for page in seen)
    assert all('http-equiv="refresh"' in page for page in seen)  # for browsers without scripts
    assert other.get("/progress").json()["going"] is True
    assert other.get("/").headers["location"] == "/working"
    wait(desk.jobs)
    for client in (one, other):
        assert client.get("/working").headers["location"] == "/"
        assert "Everything fits." in client.get("/").text
    result = answer_of("tiny").result
    assert result is not None
    found = desk.store.in_hand()
    assert found is not None
    assert found.plan == result.best.plan
    again = keeper(app_of(desk_of(tmp_path / "my-room.yaml", planned=None)))
    assert "Everything fits." in again.get("/").text


def test_only_one_thing_at_a_time(tmp_path: Path) -> None:
    desk = desk_of(long_file(tmp_path), planned=None)
    client = keeper(app_of(desk))
    desk.begin()
    assert post(client, "/what-if", more="long", number="1") == 303
    assert "so this was not begun" in client.get("/working?busy=1").text
    assert status_of(desk.jobs).title == "Planning the room"
    assert not desk.plan()
    desk.jobs.stop(drop=True)
    wait(desk.jobs)


def test_ended_early_the_best_plan_so_far_is_shown(tmp_path: Path) -> None:
    desk = desk_of(long_file(tmp_path), planned=None)
    client = keeper(app_of(desk))
    assert post(client, "/plan") == 303
    until_there_is_a_plan(desk.jobs)
    assert post(client, "/stop", how="keep") == 303
    wait(desk.jobs)
    assert status_of(desk.jobs).state is State.DONE
    found = desk.store.in_hand()
    assert found is not None
    assert found.result is not None
    assert found.result.stopped
    assert not [breach for breach in check_plan(found.room, found.plan) if not breach.as_found]
    assert "best checked plan it had" in client.get("/").text


def test_given_up_all_is_as_it_was(tmp_path: Path) -> None:
    file = tiny_file(tmp_path)
    desk = desk_of(file)
    before = desk.store.plan_file.read_bytes()
    file.write_bytes(LONG.read_bytes())
    client = keeper(app_of(desk))
    assert post(client, "/plan") == 303
    until_it_searches(desk.jobs)
    assert "is under way" in client.get("/").text
    assert post(client, "/stop", how="drop") == 303
    wait(desk.jobs)
    assert status_of(desk.jobs).state is State.DROPPED
    assert "It was given up. All is as it was." in client.get("/working").text
    assert desk.store.plan_file.read_bytes() == before
    assert "First winter" in client.get("/").text


def test_a_room_that_changes_is_planned_on_from_the_plan_in_hand(tmp_path: Path) -> None:
    file = tiny_file(tmp_path)
    desk = desk_of(file)
    text = file.read_text(encoding="utf-8").replace("copies: 2, kind: rearing", "copies: 3, kind: rearing")
    file.write_text(text, encoding="utf-8")
    client = keeper(app_of(desk))
    assert post(client, "/plan") == 303
    wait(desk.jobs)
    shown = client.get("/").text
    assert "has changed" not in shown
    assert "ten 3" in shown
    result, found = answer_of("tiny").result, desk.store.in_hand()
    assert found is not None
    assert result is not None
    assert found.plan.stays == result.best.plan.stays  # nobody wants a room turned over


def test_what_if_says_what_the_command_prints(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tiny_file(tmp_path)
    assert main(["compare", str(file), "--with", "one more ten", "--without", "C"]) == Exit.FITS
    printed = capsys.readouterr().out
    desk = desk_of(file)
    client = keeper(app_of(desk))
    assert post(client, "/what-if", more="ten", number="1", without="brood C") == 303
    assert "What if: one more ten, without C" in client.get("/working").text
    assert "best plan so far" not in client.get("/working").text  # there is nothing to end it with
    wait(desk.jobs)
    assert client.get("/working").headers["location"] == "/answers/1"
    assert printed.strip() in client.get("/answers/1").text
    again = keeper(app_of(desk_of(file, planned=None)))
    assert printed.strip() in again.get("/answers/1").text


def test_what_if_can_be_given_up(tmp_path: Path) -> None:
    desk = desk_of(long_file(tmp_path), planned=None)
    client = keeper(app_of(desk))
    assert post(client, "/what-if", more="long", number="1") == 303
    until_it_searches(desk.jobs)
    assert post(client, "/stop", how="keep") == 303
    wait(desk.jobs)
    assert status_of(desk.jobs).state is State.DROPPED
    assert desk.store.answers() == ()


def test_a_process_that_is_killed_is_told_and_another_search_can_be_begun(tmp_path: Path) -> None:
    desk = desk_of(long_file(tmp_path))
    client = keeper(app_of(desk))
    assert post(client, "/plan") == 303
    running = desk.jobs._running
    assert running is not None
    until_it_searches(desk.jobs)
    running.process.kill()
    wait(desk.jobs)
    assert status_of(desk.jobs).state is State.FAILED
    assert ENDED_BY_ITSELF in client.get("/working").text
    assert ENDED_BY_ITSELF in client.get("/ask").text
    assert desk.plan()
    desk.jobs.close(grace=0)
    assert not status_of(desk.jobs).going_on


def test_whoever_does_not_end_in_time_is_ended() -> None:
    jobs = Jobs(grace=0)
    assert jobs.start(long_task(), "long", lambda _: "/")
    jobs.stop()
    wait(jobs)
    assert status_of(jobs).state is State.DROPPED


def test_no_plan_in_time_is_told() -> None:
    jobs = Jobs()
    task = Task(read_room(LONG).room, seconds=1e-9)
    assert jobs.start(task, "hasty", lambda _: "/")
    wait(jobs)
    assert status_of(jobs).state is State.FAILED
    assert "not even a first one" in status_of(jobs).why


def test_an_answer_that_cannot_be_kept_is_told() -> None:
    def full(_: object) -> str:
        raise InputError([Problem("plan.json", 1, "the file cannot be written", "the disk is full")])

    def broken(_: object) -> str:
        raise KeyError

    room = answer_of("tiny").reading.room
    jobs = Jobs()
    for done, state_, told in ((full, State.DONE, "the disk is full"), (broken, State.FAILED, "KeyError")):
        assert jobs.start(Task(room), "tiny", done)
        wait(jobs)
        assert status_of(jobs).state is state_
        assert told in status_of(jobs).why


def test_a_fault_in_the_other_process_is_told() -> None:
    jobs = Jobs()
    tiny = answer_of("tiny").reading.room
    later = tiny.model_copy(update={"today": tiny.today.replace(day=9)})
    assert jobs.start(Task(tiny, other=later), "two days", lambda _: "/")
    wait(jobs)
    assert status_of(jobs).state is State.FAILED
    assert "ValueError at compare.py:" in status_of(jobs).why


def test_the_planner_stops_on_an_event_and_leaves_ctrl_c_alone() -> None:
    stop = Event()
    before = signal.getsignal(signal.SIGINT)
    heard = []

    def show(progress: Progress) -> None:
        heard.append(signal.getsignal(signal.SIGINT))
        if progress.value is not None:
            stop.set()

    result = plan_room(read_room(LONG).room, progress=show, stop=stop)
    assert isinstance(result, Result)
    assert result.stopped
    assert set(heard) == {before}


def test_progress_in_words() -> None:
    assert progress_of(None) == {"going": False}
    told = progress_of(
        Status("x", State.RUNNING, may_stop=True, progress=Progress(stage="strain", value=3.0, bound=1.0))
    )
    assert (told["stage"], told["found"]) == ("strain", "Least so far: 3; at best 1.")
    assert time_words(1) == "1 second"
    assert time_words(61.7) == "1 minute 1 second"
    assert time_words(150) == "2 minutes 30 seconds"


# -- nothing is left behind ------------------------------------------------------------------------------

ORPHANED = """
import os, time
from allocator.served.jobs import Jobs
from allocator.served.worker import Task

class Endless:
    def __getattr__(self, name):
        if name.startswith("__"):
            raise AttributeError(name)
        time.sleep(3600)

if __name__ == "__main__":
    jobs = Jobs()
    jobs.start(Task(Endless()), "endless", lambda _: "/")
    while jobs.status().progress is None:
        time.sleep(0.02)
    os._exit(9)
"""


@posix_only
def test_the_other_process_does_not_outlive_the_server(tmp_path: Path) -> None:
    """It has the same standard output, so reading that to its end waits until the last of them is gone."""
    script = tmp_path / "orphaned.py"
    script.write_text(ORPHANED, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, str(script)],
        capture_output=True,
        check=False,
        timeout=60,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert (done.returncode, done.stderr) == (9, b"")


@posix_only
def test_ctrl_c_ends_it_with_the_best_plan_and_leaves_nobody_behind(tmp_path: Path) -> None:
    plan = tmp_path / "plan.json"
    server = subprocess.Popen(
        [
            sys.executable,
            "-W",
            "error",
            "-m",
            "allocator",
            "open",
            str(long_file(tmp_path)),
            "--plan",
            str(plan),
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        start_new_session=True,
    )
    assert server.stdout is not None
    first = [server.stdout.readline() for _ in range(5)]
    assert any(HERE.rsplit(":", 1)[0] in line and "/?token=" in line for line in first)
    port = next(urlsplit(line.strip()).port for line in first if "token=" in line)
    with socket.create_connection(("127.0.0.1", port or 0), timeout=30) as stray:
        stray.sendall(b"nonsense\r\n\r\n")  # answered, and nothing is said of it in the terminal
        assert b"400" in stray.recv(100)
    time.sleep(4)  # not measured: whether it has a plan by then or not, it must end
    os.killpg(server.pid, signal.SIGINT)  # as a terminal does: to all of them
    out, err = server.communicate(timeout=60)
    assert (server.returncode, err) == (Exit.FITS, "")
    assert out.endswith("Ended.\n")
    if plan.exists():
        assert read_plan(plan).plan.stays
