"""A room opened as a page, for the tests of it: the application as it is served, without a port."""

import re
import time
from collections.abc import Callable
from pathlib import Path

from shown_pages import ROOT, answer_of
from starlette.testclient import TestClient

from allocator.served.app import guarded_app
from allocator.served.desk import Desk
from allocator.served.guard import Guard
from allocator.served.jobs import Jobs
from allocator.served.serving import desk_for

HERE = "http://127.0.0.1:4711"
LONGEST_SECONDS = 60


def no_fault(fault: Exception) -> None:
    raise fault


def tiny_file(folder: Path) -> Path:
    """Return a room file of one's own: the smallest scenario."""
    file = folder / "my-room.yaml"
    file.write_bytes((ROOT / "scenarios" / "tiny.yaml").read_bytes())
    return file


def desk_of(room: Path, plan_file: Path | None = None, *, planned: str | None = "tiny") -> Desk:
    """Return a room on the desk, with the plan of a scenario in hand if one is named."""
    desk = desk_for(room, plan_file, None, None)
    if planned:
        answer = answer_of(planned)
        assert answer.result is not None
        desk.store.keep(answer.result, answer.reading)
    return desk


def app_of(desk: Desk, fault: Callable[[Exception], None] = no_fault) -> Guard:
    return guarded_app(desk, fault)


def stranger(app: Guard) -> TestClient:
    """Return a browser that has not been let in; it follows nothing."""
    return TestClient(app, base_url=HERE, follow_redirects=False)


def keeper(app: Guard) -> TestClient:
    """Return a browser that has opened the address with the token."""
    client = stranger(app)
    assert client.get("/", params={"token": app.token}).status_code == 303
    return client


def form_token(client: TestClient, page: str = "/take") -> str:
    """Return the token that stands in the forms."""
    found = re.search(r'data-form-token="([^"]+)"', client.get(page).text)
    assert found is not None
    return found[1]


def post(client: TestClient, to: str, **fields: str) -> int:
    """Send a form of ours, and return the status."""
    return client.post(to, data={"form_token": form_token(client), **fields}).status_code


def wait(jobs: Jobs) -> None:
    """Wait until nothing is under way."""
    end = time.monotonic() + LONGEST_SECONDS
    while (status := jobs.status()) is not None and status.going_on:
        assert time.monotonic() < end
        time.sleep(0.05)
