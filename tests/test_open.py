"""The page of `open`: who is let in, what each address answers, and that nothing a keeper writes gets out of hand.

Outside: html5lib, which reads pages as browsers do, and icalendar, which reads calendars.
"""

import json
import os
import subprocess
import sys
from dataclasses import replace
from datetime import date
from importlib import util
from pathlib import Path
from urllib.parse import urlsplit

import html5lib
import pytest
from icalendar import Calendar
from opened import HERE, app_of, desk_of, form_token, keeper, post, stranger, tiny_file
from shown_pages import ODD_ROOM, answer_of
from starlette.testclient import TestClient

from allocator.cli import main
from allocator.console import Exit
from allocator.problems import InputError, Problem
from allocator.reading.plan_file import read_plan
from allocator.room import Span
from allocator.served import app as served_app
from allocator.served import folder
from allocator.served.app import NO_PLAN
from allocator.served.asking import NotUnderstoodError, fit_told
from allocator.served.guard import HEADERS, MOST_BODY_BYTES, MOST_QUERY_BYTES, Guard
from allocator.served.serving import PortTakenError, desk_for, serve
from allocator.served.store import MOST_ANSWERS, MOST_TICKS, InHand, Store

PAGES = ("/", "/ask", "/fit?line=blue&eggs=30&on=2027-03-06&by=picking", "/take", "/sheet.html")
FILES = ("/calendar.ics", "/plan.json", "/progress", "/ticks", "/live.js")
FORMS = ("/plan", "/what-if", "/stop", "/tick")
FIT = {"line": "blue", "eggs": "30", "on": "2027-03-06", "by": "picking"}


@pytest.fixture(autouse=True)
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep what the page keeps in a folder of this test."""
    monkeypatch.setenv(folder.VARIABLE, str(tmp_path / "state"))
    return tmp_path / "state"


@pytest.fixture
def app(tmp_path: Path) -> Guard:
    return app_of(desk_of(tiny_file(tmp_path)))


@pytest.fixture
def client(app: Guard) -> TestClient:
    return keeper(app)


# -- who is let in ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("address", [*PAGES, *FILES, "/nothing"])
def test_without_the_token_nothing_is_shown(app: Guard, address: str) -> None:
    answer = stranger(app).get(address)
    assert answer.status_code == 403
    assert "First winter" not in answer.text
    assert app.token not in answer.text
    assert app.form_token not in answer.text


@pytest.mark.parametrize("token", ["", "x", "ü", "%00", "token"])
def test_a_wrong_token_opens_nothing(app: Guard, token: str) -> None:
    client = stranger(app)
    assert client.get("/", params={"token": token}).status_code == 403
    assert not client.cookies
    client.cookies.set("allocator-0", token.encode().hex())
    assert client.get("/").status_code == 403


def test_the_token_is_traded_for_a_cookie_that_only_the_browser_can_see(app: Guard) -> None:
    answer = stranger(app).get("/", params={"token": app.token})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    parts = {part.strip().lower() for part in answer.headers["set-cookie"].split(";")}
    assert {"httponly", "samesite=strict", "path=/"} <= parts


def test_two_runs_have_two_tokens(tmp_path: Path) -> None:
    desk = desk_of(tiny_file(tmp_path))
    assert len({app_of(desk).token, app_of(desk).token, app_of(desk).form_token}) == 3
    assert keeper(app_of(desk)).cookies != keeper(app_of(desk)).cookies


@pytest.mark.parametrize(
    "host", ["example.org", "127.0.0.1.example.org", "192.168.1.5", "testserver", "", "[::1]"]
)
def test_another_name_that_leads_here_is_refused(app: Guard, host: str) -> None:
    client = keeper(app)
    assert client.get("/", headers={"host": host}).status_code == 403
    assert stranger(app).get("/", params={"token": app.token}, headers={"host": host}).status_code == 403


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "LOCALHOST:4711"])
def test_names_of_this_computer_are_not(app: Guard, host: str) -> None:
    assert keeper(app).get("/", headers={"host": host}).status_code == 200


def test_where_the_port_is_known_another_one_is_refused(tmp_path: Path) -> None:
    guard = app_of(desk_of(tiny_file(tmp_path)))
    guard._port = 4711
    client = keeper(guard)
    assert client.get("/").status_code == 200
    assert client.get("/", headers={"host": "127.0.0.1:4712"}).status_code == 403
    assert client.get("/", headers={"host": "127.0.0.1"}).status_code == 403
    guard._port = 80
    assert client.get("/", headers={"host": "127.0.0.1"}).status_code == 200


@pytest.mark.parametrize("address", FORMS)
def test_forms_need_the_second_token(client: TestClient, address: str) -> None:
    good = form_token(client)
    for fields in ({"form_token": ""}, {"form_token": good[:-1]}, {"how": "keep"}):
        assert client.post(address, data=fields).status_code == 403
    assert client.get(address).status_code == 405
    assert client.get("/progress").json()["going"] is False


@pytest.mark.parametrize("address", FORMS)
def test_forms_of_other_pages_are_refused(client: TestClient, address: str) -> None:
    sent = {"form_token": form_token(client)}
    for headers in (
        {"origin": "https://example.org"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1.example.org"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},  # another port of this computer
    ):
        assert client.post(address, data=sent, headers=headers).status_code == 403
    assert client.get("/progress").json()["going"] is False


def test_what_is_too_large_or_of_another_kind_is_refused(client: TestClient) -> None:
    token = form_token(client)
    long = {"form_token": token, "words": "x" * MOST_BODY_BYTES}
    assert client.post("/tick", data=long).status_code == 413
    assert client.post("/tick", json={"form_token": token}).status_code == 415
    assert client.post("/tick", files={"form_token": token}).status_code == 415
    form = {"content-type": "application/x-www-form-urlencoded"}
    assert client.post("/tick", content=b"\xff\xfe", headers=form).status_code == 400
    assert client.post("/tick", content=b"&".join([b"a=1"] * 1000), headers=form).status_code == 400
    assert client.get("/ask", params={"x": "y" * MOST_QUERY_BYTES}).status_code == 414
    assert client.put("/plan").status_code == 405
    assert client.get("/ticks").json() == []


@pytest.mark.parametrize(
    "address", ["/../../etc/passwd", "/%2e%2e/my-room.yaml", "/my-room.yaml", "/served.css"]
)
def test_no_file_is_served_by_its_path(client: TestClient, address: str) -> None:
    assert client.get(address).status_code == 404


def test_every_answer_says_what_a_browser_may_do_with_it(app: Guard, client: TestClient) -> None:
    for answer in (
        stranger(app).get("/"),
        stranger(app).get("/", params={"token": app.token}),
        *(client.get(address) for address in (*PAGES, *FILES, "/nothing")),
    ):
        assert {name: answer.headers[name] for name in HEADERS} == HEADERS
    assert "http" not in HEADERS["Content-Security-Policy"]
    assert "default-src 'none'" in HEADERS["Content-Security-Policy"]


def test_a_fault_is_told_without_its_inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[Exception] = []
    guard = app_of(desk_of(tiny_file(tmp_path)), told.append)
    client = keeper(guard)

    def broken(*_: object) -> None:
        raise KeyError("a secret")

    monkeypatch.setattr(served_app, "choices", broken)
    answer = client.get("/ask")
    assert answer.status_code == 500
    assert "a fault of the tool" in answer.text
    assert "secret" not in answer.text
    assert [type(fault) for fault in told] == [KeyError]


# -- what each address answers ---------------------------------------------------------------------------


@pytest.mark.parametrize("address", [*PAGES, "/nothing", "/answers/1"])
def test_pages_are_sound_html(client: TestClient, address: str) -> None:
    """Html5lib, strict, finds no fault in them; the report is held to the same in its own tests."""
    answer = client.get(address)
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    if address not in {"/", "/sheet.html"}:
        html5lib.HTMLParser(strict=True).parse(answer.text)


def test_the_report_is_shown_with_the_day_that_is_asked_for(client: TestClient) -> None:
    shown = client.get("/").text
    assert "Everything fits." in shown
    assert "How sure this is" in shown
    assert "made from a plan file" not in shown
    day = client.get("/", params={"on": "2027-05-08"}).text
    assert "<b>Sat 8 May 2027</b> as asked" in day
    assert 'value="2027-05-08"' in day


@pytest.mark.parametrize(
    ("day", "told"),
    [
        ("2026-12-31", "before the plan begins"),
        ("soon", "is not a day"),
        ("<b>", "&lt;b&gt;"),
        ("9999-01-01", "year"),
    ],
)
def test_a_day_that_cannot_be_meant_is_told(client: TestClient, day: str, told: str) -> None:
    shown = client.get("/", params={"on": day}).text
    assert told in shown
    assert "Everything fits." in shown


def test_where_one_more_brood_would_live(
    client: TestClient, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """The page has every cell that the command prints."""
    plan = tmp_path / "plan.json"
    plan.write_text(client.get("/plan.json").text, encoding="utf-8")
    asked = ["--line", "blue", "--eggs", "30", "--on", "2027-03-06", "--by", "picking"]
    assert main(["fit", str(tmp_path / "my-room.yaml"), "--plan", str(plan), *asked]) == Exit.FITS
    printed = capsys.readouterr().out
    shown = client.get("/fit", params=FIT)
    assert shown.status_code == 200
    page = html5lib.parse(shown.text, namespaceHTMLElements=False)
    rows = [[" ".join(cell.itertext()).strip() for cell in row] for row in page.iter("tr")]
    assert ["hatchery", "box 1", "Sat 6 Mar 2027", "Sat 3 Apr 2027", "30", "7 to 45 %", "nobody"] in rows
    assert all(cell.split()[0] in printed for row in rows for cell in row)
    assert "Nothing changes for the others." in shown.text
    assert 'value="2027-03-06"' in shown.text  # the form still says what was asked


def test_no_room_is_told_with_what_is_in_the_way(tmp_path: Path) -> None:
    client = keeper(app_of(desk_of(tiny_file(tmp_path), planned="too-few")))
    shown = client.get("/fit", params=FIT | {"on": "2027-01-09", "eggs": "900"}).text
    assert "There is no room for it, with nobody else moved." in shown
    assert "blue 2027-01-09: " in shown


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"line": "red"}, "Of which line?"),
        ({"line": ""}, "Of which line?"),
        ({"eggs": "-3"}, "-3 is not a whole number"),
        ({"eggs": "1e9"}, "1e9 is not a whole number"),
        ({"eggs": "²"}, "is not a whole number"),
        ({"eggs": "9" * 300}, "999... is not a whole number"),
        ({"on": "2026-01-01"}, "is before the plan begins"),
        ({"on": "yesterday"}, "is not a day"),
        ({"by": "young"}, "How taken: young is not for blue, only picked eggs or a whole mop."),
    ],
)
def test_a_brood_that_cannot_be_meant_is_told(client: TestClient, asked: dict[str, str], told: str) -> None:
    answer = client.get("/fit", params=FIT | asked)
    assert answer.status_code == 422
    assert told in answer.text


def test_nothing_is_collected_on_a_day_away(tmp_path: Path) -> None:
    desk = desk_of(tiny_file(tmp_path))
    there = desk.store.in_hand()
    assert there is not None
    away = Span(start=date(2027, 12, 20), end=date(2027, 12, 27))
    keeper_away = there.room.keeper.model_copy(update={"away": (away,)})
    gone = replace(there, room=there.room.model_copy(update={"keeper": keeper_away}))
    with pytest.raises(NotUnderstoodError, match=r"away on Fri 24 Dec 2027.*such as Mon 27 Dec 2027"):
        fit_told(gone, FIT | {"on": "2027-12-24"})
    assert fit_told(gone, FIT | {"on": "2027-12-27"}).steps


def test_what_the_room_lacks_already_is_told_beside_a_yes(tmp_path: Path) -> None:
    client = keeper(app_of(desk_of(tiny_file(tmp_path), planned="too-few")))
    shown = client.get("/fit", params=FIT | {"on": "2027-07-10"}).text
    assert (
        "Your room needs more tanks even without this; they are counted here as there: 1 more box." in shown
    )


def test_what_is_left_empty_is_as_with_the_last_brood(client: TestClient) -> None:
    shown = client.get("/fit", params={"line": "blue", "eggs": "", "on": "", "by": ""}).text
    assert "One more brood: 30 eggs, picked, of blue on Sat 30 Jan 2027." in shown


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({}, "What shall be different?"),
        ({"more": "", "number": "3"}, "What shall be different?"),
        ({"more": "pond"}, "there are no vessels called"),
        ({"more": "ten", "number": "0"}, "How many more: 0"),
        ({"more": "ten", "number": "13"}, "How many more: 13"),
        ({"without": "vessel pond"}, "That cannot be"),
        ({"without": "everything box 1"}, "What shall be different?"),
    ],
)
def test_a_change_that_cannot_be_meant_is_told_and_begins_nothing(
    client: TestClient, asked: dict[str, str], told: str
) -> None:
    answer = client.post("/what-if", data={"form_token": form_token(client), **asked})
    assert answer.status_code == 422
    assert told in answer.text
    assert client.get("/progress").json()["going"] is False


def test_downloads(client: TestClient, tmp_path: Path) -> None:
    result = answer_of("tiny").result
    assert result is not None
    plan = client.get("/plan.json")
    assert plan.headers["content-disposition"] == 'attachment; filename="plan.json"'
    file = tmp_path / "plan.json"
    file.write_text(plan.text, encoding="utf-8")
    assert set(read_plan(file).plan.stays) == set(result.best.plan.stays)
    assert set(read_plan(file).plan.moves) == set(result.best.plan.moves)
    calendar = client.get("/calendar.ics")
    assert calendar.headers["content-type"].startswith("text/calendar")
    events = Calendar.from_ical(calendar.text).walk("VEVENT")
    assert len(events) >= len(result.best.plan.moves)
    assert (
        client.get("/calendar.ics").content == calendar.content
    )  # nothing changed, so nothing is to be changed
    assert "content-disposition" not in client.get("/sheet.html").headers
    assert "attachment" in client.get("/sheet.html?keep=1").headers["content-disposition"]


def events_of(calendar: str) -> dict[str, tuple[str, int]]:
    read = Calendar.from_ical(calendar).walk("VEVENT")
    return {str(event["UID"]): (str(event["STATUS"]), int(event["SEQUENCE"])) for event in read}


def test_a_calendar_of_a_new_plan_cancels_what_is_no_more(
    client: TestClient, tmp_path: Path, state: Path
) -> None:
    first = events_of(client.get("/calendar.ics").text)
    other = answer_of("tiny").result
    assert other is not None
    plan = other.best.plan
    fewer = plan.model_copy(update={"moves": plan.moves[:-1]})
    desk_of(tmp_path / "my-room.yaml", planned=None).store.calendar(InHand(other.room, fewer, ""))
    second = events_of(next(state.rglob("calendar.ics")).read_text(encoding="utf-8"))
    gone = [uid for uid, (status, _) in second.items() if status == "CANCELLED"]
    assert gone
    assert all(second[uid][1] > first[uid][1] for uid in gone)


def test_before_there_is_a_plan_the_page_says_so(tmp_path: Path) -> None:
    client = keeper(app_of(desk_of(tiny_file(tmp_path), planned=None)))
    assert "Plan the room" in client.get("/").text
    assert "Plan the room" in client.get("/take").text
    assert client.get("/sheet.html").status_code == 404
    assert NO_PLAN in client.get("/plan.json").text
    assert client.get("/fit", params=FIT).status_code == 422
    assert client.get("/working").headers["location"] == "/"
    assert post(client, "/stop", how="keep") == 303  # nothing to stop is no fault


# -- names that a page could stumble over ----------------------------------------------------------------


@pytest.mark.parametrize("address", ["/", "/ask", "/take", "/sheet.html", "/nothing"])
def test_names_stay_text(tmp_path: Path, address: str) -> None:
    room = tmp_path / "<img src=x onerror=alert(1)>.yaml"
    room.write_text(ODD_ROOM, encoding="utf-8")
    client = keeper(app_of(desk_of(room, planned="odd")))
    page = html5lib.parse(client.get(address).text, namespaceHTMLElements=False)
    assert [s.get("src") for s in page.iter("script")] in ([], ["/live.js"])
    assert not list(page.iter("img"))
    assert [e for e in page.iter() if any(name.startswith("on") for name in e.attrib)] == []
    for form in page.iter("form"):
        assert form.get("action", "").startswith("/")


def test_odd_names_can_be_asked_about(tmp_path: Path) -> None:
    room = tmp_path / "room.yaml"
    room.write_text(ODD_ROOM, encoding="utf-8")
    client = keeper(app_of(desk_of(room, planned="odd")))
    page = html5lib.parse(client.get("/ask").text, namespaceHTMLElements=False)
    lines = [option.get("value", "") for option in page.findall(".//select[@id='line']/option")]
    shown = client.get("/fit", params={"line": lines[0], "eggs": "20", "on": "2027-04-03", "by": ""})
    assert shown.status_code == 200
    assert "One more brood" in shown.text


# -- a room file that changes ----------------------------------------------------------------------------


def test_a_changed_room_file_is_told_and_the_plan_stays(client: TestClient, tmp_path: Path) -> None:
    file = tmp_path / "my-room.yaml"
    assert "has changed" not in client.get("/").text
    file.write_text(file.read_text(encoding="utf-8") + "# a note\n", encoding="utf-8")
    shown = client.get("/").text
    assert "The room file or its rules have changed since this plan was made." in shown
    assert "Plan anew, and change little" in shown
    assert "Everything fits." in shown


def test_problems_are_told_as_on_the_command_line(
    client: TestClient, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "my-room.yaml"
    file.write_text(
        file.read_text(encoding="utf-8").replace("line: blue", "line: bleu").replace("30 cm", "x"),
        encoding="utf-8",
    )
    assert main(["plan", str(file)]) == Exit.BAD_INPUT
    printed = capsys.readouterr().err.splitlines()
    page = html5lib.parse(client.get("/").text, namespaceHTMLElements=False)
    told = [" ".join(item.itertext()).strip() for item in page.findall(".//ul[@class='lines']/li")]
    assert told == printed
    assert "Everything fits." in client.get("/").text
    answer = client.post("/plan", data={"form_token": form_token(client)})
    assert answer.status_code == 422
    assert answer.text.count("did you mean &#39;blue&#39;?") == 3
    assert client.get("/ask").status_code == 200


def test_another_day_is_told(tmp_path: Path) -> None:
    file = tiny_file(tmp_path)
    desk_of(file)
    later = keeper(app_of(desk_for(file, None, date.fromisoformat("2027-01-09"), None)))
    shown = later.get("/").text
    assert "This plan was made for Sat 2 Jan 2027; today is Sat 9 Jan 2027." in shown
    assert "Plan anew, and change little" in shown


# -- what is kept ----------------------------------------------------------------------------------------


def test_a_restart_finds_the_plan_with_all_that_is_known_of_it(client: TestClient, tmp_path: Path) -> None:
    again = keeper(app_of(desk_of(tmp_path / "my-room.yaml", planned=None)))
    one, other = (text_of(c.get("/").text) for c in (client, again))
    assert one == other
    assert "made from a plan file" not in other


def test_a_plan_that_another_process_has_kept_is_shown(tmp_path: Path) -> None:
    file = tiny_file(tmp_path)
    waiting = keeper(app_of(desk_of(file, planned=None)))
    assert "No plan yet" in waiting.get("/").text
    before = waiting.get("/progress").json()["mark"]
    desk_of(file)
    assert "Everything fits." in waiting.get("/").text
    assert waiting.get("/progress").json()["mark"] != before


def text_of(page: str) -> list[str]:
    body = html5lib.parse(page, namespaceHTMLElements=False).find("body")
    assert body is not None
    return [text.strip() for text in body.itertext() if text.strip()]


def test_what_is_kept_lies_beside_nothing_of_the_keepers(
    client: TestClient, tmp_path: Path, state: Path
) -> None:
    client.get("/calendar.ics")
    assert {path.name for path in tmp_path.iterdir()} == {"my-room.yaml", "state"}
    kept = [path for path in state.rglob("*") if path.is_file()]
    assert {path.name for path in kept} == {"plan.json", "result.json", "calendar.ics"}
    if os.name == "posix":
        assert all(path.parent.stat().st_mode & 0o077 == 0 for path in kept)


def test_two_rooms_are_kept_apart_and_one_by_two_paths_is_not(tmp_path: Path) -> None:
    assert folder.folder_of(tmp_path / "a.yaml") != folder.folder_of(tmp_path / "b.yaml")
    assert folder.folder_of(tmp_path / "x" / ".." / "a.yaml") == folder.folder_of(tmp_path / "a.yaml")


@pytest.mark.parametrize("spoilt", ["", "{}", '{"format": 2}', "no json"])
def test_a_spoilt_or_foreign_result_falls_back_to_the_plan_file(
    tmp_path: Path, state: Path, spoilt: str
) -> None:
    file = tiny_file(tmp_path)
    desk_of(file)
    next(state.rglob("result.json")).write_text(spoilt, encoding="utf-8")
    shown = keeper(app_of(desk_of(file, planned=None))).get("/").text
    assert "Everything fits." in shown
    assert "made from a plan file" in shown


def test_a_result_that_breaks_a_rule_is_not_shown(tmp_path: Path, state: Path) -> None:
    file = tiny_file(tmp_path)
    desk_of(file)
    for name in ("result.json", "plan.json"):
        kept = next(state.rglob(name))
        kept.write_text(kept.read_text(encoding="utf-8").replace('"box 2"', '"box 1"'), encoding="utf-8")
    shown = keeper(app_of(desk_of(file, planned=None))).get("/").text
    assert "No plan yet" in shown
    assert "does not keep the rules of this room as it is now" in shown


def test_a_plan_file_of_ones_own_is_shown_and_written(tmp_path: Path) -> None:
    file, plan = tiny_file(tmp_path), tmp_path / "mine.json"
    assert main(["plan", str(file), "--json", str(plan)]) == Exit.FITS
    client = keeper(app_of(desk_of(file, plan, planned=None)))
    assert "made from a plan file" in client.get("/").text
    plan.unlink()
    desk_of(file, plan)
    assert read_plan(plan).digest == answer_of("tiny").reading.digest
    assert "made from a plan file" not in client.get("/").text


def test_a_plan_file_that_breaks_a_rule_is_told_and_not_shown(tmp_path: Path) -> None:
    file, plan = tiny_file(tmp_path), tmp_path / "mine.json"
    desk_of(file, plan)
    plan.write_text(plan.read_text(encoding="utf-8").replace('"box 2"', '"box 1"'), encoding="utf-8")
    shown = keeper(app_of(desk_of(file, plan, planned=None))).get("/").text
    assert "does not keep the rules of this room as it is now: it is not shown." in shown
    assert "box 1" in shown
    assert "takes its place there" in shown


def test_an_older_plan_file_is_told_to_be_older(tmp_path: Path) -> None:
    file, plan = tiny_file(tmp_path), tmp_path / "mine.json"
    assert main(["plan", str(file), "--json", str(plan)]) == Exit.FITS
    later = keeper(app_of(desk_for(file, plan, date.fromisoformat("2027-01-09"), None)))
    assert "was made for Sat 2 Jan 2027, and today is Sat 9 Jan 2027: it is not shown." in later.get("/").text


def test_only_so_many_answers_and_ticks_are_kept(tmp_path: Path) -> None:
    store = Store(tmp_path / "kept")
    for number in range(MOST_ANSWERS + 3):
        store.keep_answer(f"question {number}", date.fromisoformat("2027-01-02"), "abc", "so")
    assert [answer.number for answer in store.answers()] == list(range(4, MOST_ANSWERS + 4))
    store.tick("a", done=True)
    store.tick("b", done=True)
    store.tick("a", done=True)
    assert store.ticks() == ("b", "a")
    store.tick("b", done=False)
    assert store.ticks() == ("a",)
    assert MOST_TICKS > 1000


def test_ticks_are_seen_in_another_tab_and_after_a_restart(
    app: Guard, client: TestClient, tmp_path: Path
) -> None:
    assert post(client, "/tick", words="Sat 9 Jan 2027: <b>", done="1") == 204
    assert post(client, "/tick", words="", done="1") == 204
    assert keeper(app).get("/ticks").json() == ["Sat 9 Jan 2027: <b>"]
    again = keeper(app_of(desk_of(tmp_path / "my-room.yaml", planned=None)))
    assert again.get("/ticks").json() == ["Sat 9 Jan 2027: <b>"]
    assert post(again, "/tick", words="Sat 9 Jan 2027: <b>", done="0") == 204
    assert client.get("/ticks").json() == []


def test_an_answer_is_kept_and_told_to_be_old_when_the_room_changes(
    client: TestClient, tmp_path: Path
) -> None:
    desk = desk_of(tmp_path / "my-room.yaml")
    digest = answer_of("tiny").reading.digest
    desk.store.keep_answer("One more <ten>", date.fromisoformat("2027-01-02"), digest, "nothing <b>differs")
    assert "One more &lt;ten&gt;" in client.get("/ask").text
    shown = client.get("/answers/1").text
    assert "nothing &lt;b&gt;differs" in shown
    assert "have changed since then" not in shown
    file = tmp_path / "my-room.yaml"
    file.write_text(file.read_text(encoding="utf-8") + "# a note\n", encoding="utf-8")
    assert "have changed since then" in client.get("/answers/1").text
    assert client.get("/answers/2").status_code == 404


def test_a_disk_that_cannot_be_written_is_told_and_the_plan_is_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = desk_of(tiny_file(tmp_path), planned=None)
    answer = answer_of("tiny")
    assert answer.result is not None

    def full(path: Path, _: str) -> None:
        raise InputError([Problem(str(path), 1, "the file cannot be written", "the disk is full")])

    monkeypatch.setattr("allocator.served.store.write_atomically", full)
    with pytest.raises(InputError):
        desk.store.keep(answer.result, answer.reading)
    client = keeper(app_of(desk))
    assert "Everything fits." in client.get("/").text
    told = client.get("/calendar.ics")
    assert told.status_code == 422
    assert "the disk is full" in told.text


@pytest.mark.parametrize(
    ("platform", "environment", "ends"),
    [
        ("linux", {"XDG_STATE_HOME": "/state"}, "/state/allocator"),
        ("linux", {"XDG_STATE_HOME": "not/absolute"}, "/home/k/.local/state/allocator"),
        ("linux", {}, "/home/k/.local/state/allocator"),
        ("darwin", {}, "/home/k/Library/Application Support/allocator"),
        ("win32", {"LOCALAPPDATA": "/local"}, "/local/allocator"),
        ("win32", {}, "/home/k/AppData/Local/allocator"),
    ],
)
def test_where_each_system_keeps_such_things(
    monkeypatch: pytest.MonkeyPatch, platform: str, environment: dict[str, str], ends: str
) -> None:
    for name in (folder.VARIABLE, "XDG_STATE_HOME", "LOCALAPPDATA"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(sys, "platform", platform)
    monkeypatch.setattr(Path, "home", lambda: Path("/home/k"))
    assert folder.state_folder().as_posix() == ends


# -- the command -----------------------------------------------------------------------------------------


def test_without_the_packages_one_line_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    found = util.find_spec
    monkeypatch.setattr(
        "allocator.commands.open.find_spec", lambda name: None if name == "uvicorn" else found(name)
    )
    assert main(["open", str(tiny_file(tmp_path))]) == Exit.BAD_INPUT
    assert capsys.readouterr().err == (
        "allocator: the page needs what is not installed yet: uvicorn. Hint: python -m pip install uvicorn\n"
    )


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--port", "x"], "--port x: must be a whole number from 0 to 65535"),
        (["--port", "65536"], "--port 65536: must be"),
        (["--time", "0"], "--time must be above 0"),
        (["--today", "soon"], "--today soon"),
        (["--plan", "my-room.yaml"], "this is the room file itself"),
        (["--plan", "other.txt"], "other.txt:1:"),
    ],
)
def test_bad_usage(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: list[str],
    told: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    tiny_file(tmp_path)
    (tmp_path / "other.txt").write_text("notes of mine", encoding="utf-8")
    assert main(["open", "my-room.yaml", *arguments]) == Exit.BAD_INPUT
    assert told in capsys.readouterr().err
    assert (tmp_path / "other.txt").read_text(encoding="utf-8") == "notes of mine"


def test_a_room_that_is_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["open", str(tmp_path / "none.yaml")]) == Exit.BAD_INPUT
    assert "none.yaml" in capsys.readouterr().err


def test_a_port_in_use_is_told(tmp_path: Path) -> None:
    desk = desk_of(tiny_file(tmp_path))

    def ready(address: str) -> None:
        with pytest.raises(PortTakenError):
            serve(desk, urlsplit(address).port or 0, print, print)
        raise KeyboardInterrupt

    serve(desk, 0, ready, print)


def test_the_libraries_of_the_page_wait_until_it_is_opened() -> None:
    code = "import allocator.cli, sys; sys.exit(','.join({'starlette', 'uvicorn', 'anyio'} & set(sys.modules)) or 0)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_progress_is_plain_json(client: TestClient) -> None:
    told = json.loads(client.get("/progress").text)
    assert told["going"] is False
    assert told["mark"] == client.get("/").text.split('data-mark="')[1].split('"')[0]
    assert HERE not in json.dumps(told)
