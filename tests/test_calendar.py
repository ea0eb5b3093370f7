"""The calendar file: by the rules of RFC 5545, by a second library, and by what a client makes of it.

The rules are written out here from the RFC's text: 3.1 (content lines, folding at 75 octets), 3.3.11 (escapes of
TEXT), 3.4 and 3.6.1 (what must be there, once). The client keeps to RFC 5546, 2.1.5: the same UID is the same
entry, and of two versions the one with the higher SEQUENCE counts.
"""

import re
from datetime import date, timedelta
from typing import NamedTuple

import pytest
import vobject
from hypothesis import given, settings
from hypothesis import strategies as st
from room_files import TINY
from small_rooms import TODAY, day, rehouse, retime, small_plan, small_room, stay

from allocator.cli import main
from allocator.console import Exit
from allocator.plan import Homeless, Plan
from allocator.reading import read_room
from allocator.reports.calendar_entries import entries
from allocator.reports.calendar_file import NotOursError, calendar_file, uid_of
from allocator.reports.tables import clean
from allocator.room import Room

MOST_OCTETS = 75
CONTENT_LINE = re.compile(
    r'[A-Z0-9-]+(;[A-Z0-9-]+=([^\x00-\x1f";:,]*|"[^\x00-\x1f"]*"))*:[^\x00-\x08\x0a-\x1f\x7f]*'
)
ESCAPED = re.compile(r"(?:[^\\;,]|\\[\\;,nN])*")
NASTY = (
    "<script>alert(1)</script>",
    "=cmd|' /C calc'!A0",
    'ten "3"; left, right',
    "back\\slash \\n \\, \\;",
    "حوض ٣",
    "x" * 80,
    "🐟🥚 " * 12,
    "line\r\nBEGIN:VEVENT",
    "tab\tbell\x07",
    "half \ud83d of a pair",
)


def content_lines(text: str) -> list[str]:
    """Return the unfolded lines of a file that keeps the RFC's rules for lines."""
    raw = text.encode("utf-8")
    assert raw.endswith(b"\r\n")
    physical = raw[:-2].split(b"\r\n")
    assert not any(b"\r" in line or b"\n" in line for line in physical)
    assert max(map(len, physical)) <= MOST_OCTETS
    for line in physical:
        line.decode("utf-8")  # no fold lies inside a character
    lines = text[:-2].replace("\r\n ", "").split("\r\n")
    assert [line for line in lines if not CONTENT_LINE.fullmatch(line)] == []
    return lines


def keeps_the_rules(text: str) -> None:
    lines = content_lines(text)
    assert (lines[0], lines[-1]) == ("BEGIN:VCALENDAR", "END:VCALENDAR")
    head = lines[1 : lines.index("BEGIN:VEVENT")] if "BEGIN:VEVENT" in lines else lines[1:-1]
    assert [line for line in head if line.startswith("VERSION:")] == ["VERSION:2.0"]
    assert sum(line.startswith("PRODID:") for line in head) == 1
    assert "TZID" not in text
    uids, body = [], None
    for line in lines[1 + len(head) : -1]:
        if line == "BEGIN:VEVENT":
            assert body is None
            body = []
        elif line == "END:VEVENT":
            uids.append(uid_of_a_whole_entry(body))
            body = None
        else:
            body.append(line)
    assert body is None
    assert len(uids) == len(set(uids))


def uid_of_a_whole_entry(body: list[str]) -> str:
    values = {line.partition(":")[0]: line.partition(":")[2] for line in body}
    assert len(values) == len(body), "each property stands once"
    assert re.fullmatch(r"\d{8}T000000Z", values["DTSTAMP"])
    start, end = values["DTSTART;VALUE=DATE"], values["DTEND;VALUE=DATE"]
    assert date.fromisoformat(end) - date.fromisoformat(start) == timedelta(days=1)
    assert re.fullmatch(r"\d+", values["SEQUENCE"])
    assert values["STATUS"] in {"CONFIRMED", "CANCELLED"}
    assert ESCAPED.fullmatch(values["SUMMARY"])
    assert ESCAPED.fullmatch(values["DESCRIPTION"])
    return values["UID"]


class Seen(NamedTuple):
    """An entry as the second library reads it."""

    sequence: int
    on: date
    title: str
    details: str
    status: str


def read_by_another(text: str) -> dict[str, Seen]:
    calendar = vobject.readOne(text)
    return {
        event.uid.value: Seen(
            int(event.sequence.value),
            event.dtstart.value,
            event.summary.value,
            event.description.value,
            event.status.value,
        )
        for event in calendar.contents.get("vevent", [])
    }


class Client:
    """A calendar program that honours identity and nothing else: it is given one file after another."""

    def __init__(self) -> None:
        self.kept: dict[str, Seen] = {}

    def take(self, text: str) -> None:
        for uid, seen in read_by_another(text).items():
            if uid not in self.kept or seen.sequence > self.kept[uid].sequence:
                self.kept[uid] = seen

    def shown_from(self, first: date) -> list[tuple[date, str, str]]:
        live = [s for s in self.kept.values() if s.status == "CONFIRMED" and s.on >= first]
        return sorted((s.on, s.title, s.details) for s in live)


def wanted(room: Room, plan: Plan) -> list[tuple[date, str, str]]:
    return sorted((e.on, e.title, "\n".join(e.details)) for e in entries(room, plan))


def without(plan: Plan, brood: str) -> Plan:
    return plan.model_copy(
        update={
            "stays": tuple(s for s in plan.stays if s.brood != brood),
            "moves": tuple(m for m in plan.moves if m.brood != brood),
        }
    )


def titles(text: str) -> dict[str, Seen]:
    return {seen.title.partition(" (")[0]: seen for seen in read_by_another(text).values()}


# By the rules, and by another library


def renamed(room: Room, plan: Plan, names: dict[str, str]) -> tuple[Room, Plan]:
    """Return room and plan with some vessels and broods called something else."""

    def new(name: str | None) -> str | None:
        return names.get(name, name) if name is not None else None

    vessels = tuple(v.model_copy(update={"name": new(v.name)}) for v in room.vessels)
    broods = tuple(
        b.model_copy(
            update={
                "name": new(b.name),
                "homes": tuple(h.model_copy(update={"vessel": new(h.vessel)}) for h in b.homes),
            }
        )
        for b in room.broods
    )
    groups = tuple(g.model_copy(update={"vessel": new(g.vessel)}) for g in room.groups)
    stays = tuple(
        s.model_copy(update={"vessel": new(s.vessel), "brood": new(s.brood), "lot": new(s.lot)})
        for s in plan.stays
    )
    moves = tuple(
        m.model_copy(
            update={"from_": new(m.from_), "to": new(m.to), "brood": new(m.brood), "lot": new(m.lot)}
        )
        for m in plan.moves
    )
    flow = tuple(f.model_copy(update={"vessel": new(f.vessel)}) for f in plan.flow)
    return (
        room.model_copy(update={"vessels": vessels, "broods": broods, "groups": groups}),
        plan.model_copy(update={"stays": stays, "moves": moves, "flow": flow}),
    )


@pytest.mark.parametrize("name", NASTY)
def test_no_name_breaks_the_file(name: str) -> None:
    names = {"ten 1": name, "K1": f"K {name}"}
    room, plan = renamed(small_room(name=f"room {name}"), small_plan(), names)
    made = calendar_file(room, plan)
    keeps_the_rules(made.text)
    seen = read_by_another(made.text)
    assert sorted((s.on, s.title, s.details) for s in seen.values()) == wanted(room, plan)
    assert any(clean(name) in s.title for s in seen.values())
    again = calendar_file(room, plan, made.text)
    assert (again.text, again.same) == (made.text, made.new)


@settings(max_examples=15, deadline=None)
@given(st.text(min_size=1), st.text(min_size=1))
def test_any_name_is_read_back_as_it_was_written(vessel: str, brood: str) -> None:
    room, plan = renamed(small_room(name=vessel), small_plan(), {"ten 1": f"t{vessel}", "K1": f"k{brood}"})
    made = calendar_file(room, plan)
    keeps_the_rules(made.text)
    assert sorted((s.on, s.title, s.details) for s in read_by_another(made.text).values()) == wanted(
        room, plan
    )
    assert calendar_file(room, plan, made.text).text == made.text


def test_a_split_is_one_entry_with_both_tanks_and_its_reasons() -> None:
    seen = titles(calendar_file(small_room(), small_plan()).text)["P1: move from box 2 to ten 2 and ten 3"]
    assert seen.on == day("01-30")
    assert seen.details.splitlines()[:2] == [
        "P1 a, 24 fish, box 2 to ten 2, flow: still (reached 7 mm (0.3 in), 11 days old; split over two vessels)",
        "P1 b, 16 fish, box 2 to ten 3, flow: still (reached 7 mm (0.3 in), 11 days old; split over two vessels)",
    ]


def test_care_can_be_left_out() -> None:
    whole = entries(small_room(), small_plan())
    moves = entries(small_room(), small_plan(), care=False)
    assert {e.category for e in whole} > {e.category for e in moves}
    assert [e for e in whole if e.category != "Care"] == moves


def test_fish_without_a_home_are_in_the_calendar_too() -> None:
    lost = small_plan().model_copy(
        update={
            "stays": (stay("K1", "box 1", TODAY, day("01-16"), 24),),
            "moves": (),
            "homeless": (Homeless(brood="K1", **{"from": day("01-16")}, until=day("07-03"), fish=24),),
        }
    )
    seen = titles(calendar_file(small_room(), lost).text)["K1: no home"]
    assert (seen.on, seen.title) == (day("01-16"), "K1: no home (24 fish, out of box 1)")
    assert seen.details == "no room: have a taker before this day"


# A new plan over the old one


def test_a_move_put_off_is_the_same_entry_with_its_number_raised() -> None:
    room, plan = small_room(), small_plan()
    later = retime(plan, "K1", day("01-16"), day("01-23"))
    first = calendar_file(room, plan)
    second = calendar_file(room, later, first.text)
    old, new = read_by_another(first.text), read_by_another(second.text)
    assert old.keys() == new.keys()
    moved = {uid for uid in new if old[uid].on != new[uid].on}
    assert [new[uid].title for uid in moved] == ["K1: move from box 1 to ten 1 (24 fish)"]
    for uid in new:
        assert new[uid].sequence == (1 if new[uid] != old[uid] else 0)
    assert second.cancelled == second.new == 0


def test_the_next_tank_of_the_kind_is_the_same_entry_told_anew() -> None:
    room, plan = small_room(), small_plan()
    first = calendar_file(room, plan)
    second = calendar_file(room, rehouse(plan, "B1", "ten 4", "ten 8"), first.text)
    assert (second.new, second.cancelled) == (0, 0)
    old, new = titles(first.text), titles(second.text)
    assert old["B1: move from box 3 to ten 4"].sequence == 0
    assert new["B1: move from box 3 to ten 8"].sequence == 1
    assert "B1: move from box 3 to ten 4" not in new


def test_what_is_dropped_is_cancelled_and_what_comes_back_is_confirmed() -> None:
    room, plan = small_room(), small_plan()
    first = calendar_file(room, plan)
    second = calendar_file(room, without(plan, "M1"), first.text)
    third = calendar_file(room, plan, second.text)
    name = "M1: set up the whole mop in ten 6"
    told = [titles(made.text)[name] for made in (first, second, third)]
    assert [(seen.status, seen.sequence) for seen in told] == [
        ("CONFIRMED", 0),
        ("CANCELLED", 1),
        ("CONFIRMED", 2),
    ]
    keeps_the_rules(second.text)
    assert calendar_file(room, without(plan, "M1"), second.text).text == second.text


def test_what_is_past_stays_as_it_is() -> None:
    room, plan = small_room(), small_plan()
    first = calendar_file(room, plan)
    then = day("02-06")
    rest = plan.model_copy(update={"moves": tuple(m for m in plan.moves if m.on >= then)})
    second = calendar_file(room.model_copy(update={"today": then}), rest, first.text)
    old, new = read_by_another(first.text), read_by_another(second.text)
    past = {uid for uid, seen in old.items() if seen.on < then}
    assert past
    assert {uid: new[uid] for uid in past} == {uid: old[uid] for uid in past}


def test_a_change_is_stamped_with_the_day_of_the_plan_and_nothing_else_is() -> None:
    room, plan = small_room(), small_plan()
    first = calendar_file(room, plan)
    tomorrow = room.model_copy(update={"today": TODAY + timedelta(days=1)})
    second = calendar_file(tomorrow, retime(plan, "M1", day("08-07"), day("08-14")), first.text)
    stamps = {
        event.summary.value: event.dtstamp.value.date()
        for event in vobject.readOne(second.text).contents["vevent"]
    }
    assert stamps.pop("M1: sell from long 1 (20 fish)") == TODAY + timedelta(days=1)
    assert stamps["K1: sell from long 1 (24 fish)"] == TODAY


def test_identity_hangs_on_no_day() -> None:
    room, plan = small_room(), small_plan()
    late = room.model_copy(update={"today": day("01-05")})
    assert {uid_of(room, e) for e in entries(room, plan, care=False)} == {
        uid_of(late, e) for e in entries(late, plan, care=False)
    }
    other = room.model_copy(update={"name": "another room"})
    assert not {uid_of(room, e) for e in entries(room, plan)} & {
        uid_of(other, e) for e in entries(other, plan)
    }


CHANGES = st.lists(
    st.one_of(
        st.tuples(st.just("drop"), st.sampled_from(["K1", "P1", "B1", "M1"])),
        st.tuples(st.just("late"), st.sampled_from(["K1", "P1", "B1", "M1"])),
        st.tuples(st.just("other tank"), st.sampled_from(["ten 7", "ten 8", "long 2"])),
        st.tuples(st.just("days pass"), st.integers(1, 40)),
        st.tuples(st.just("no care"), st.none()),
        st.tuples(st.just("as at first"), st.none()),
    ),
    max_size=6,
)


@settings(max_examples=12, deadline=None)
@given(CHANGES)
def test_a_client_shows_the_last_plan_and_nothing_twice(changes: list[tuple[str, object]]) -> None:
    """Whatever comes in between: what a client shows from today on is what a first export of the last plan says."""
    room, plan = small_room(), small_plan()
    client, text = Client(), None
    for change, value in [("as at first", None), *changes, ("again", None)]:
        if change == "drop":
            plan = without(plan, str(value))
        elif change == "late":
            for on in sorted({m.on for m in plan.moves if m.brood == value}, reverse=True)[:1]:
                plan = retime(plan, str(value), on, on + timedelta(days=7))
        elif change == "other tank":
            plan = rehouse(plan, "B1", "ten 4", str(value))
        elif change == "days pass":
            room = room.model_copy(update={"today": room.today + timedelta(days=int(str(value)))})
            plan = plan.model_copy(update={"moves": tuple(m for m in plan.moves if m.on >= room.today)})
        elif change == "as at first":
            moves = tuple(m for m in small_plan().moves if m.on >= room.today)
            plan = small_plan().model_copy(update={"moves": moves})
        text = calendar_file(room, plan, text, care=change != "no care").text
        client.take(text)
    assert client.shown_from(room.today) == wanted(room, plan)
    keeps_the_rules(text)


# Files that are not ours


@pytest.mark.parametrize(
    "text",
    [
        "hello",
        "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//somebody//else//EN\r\nEND:VCALENDAR\r\n",
        "BEGIN:VCARD\r\nVERSION:4.0\r\nFN:A\r\nEND:VCARD\r\n",
        "BEGIN:VCALENDAR\r\nVERSION",
        "\0",
    ],
)
def test_what_is_not_ours_is_refused(text: str) -> None:
    with pytest.raises(NotOursError):
        calendar_file(small_room(), small_plan(), text)


def test_the_calendar_of_another_room_is_refused() -> None:
    text = calendar_file(small_room(name="upstairs"), small_plan()).text
    with pytest.raises(NotOursError, match="another room, upstairs"):
        calendar_file(small_room(name="downstairs"), small_plan(), text)


WHOLE = calendar_file(small_room(), small_plan()).text


@settings(max_examples=60, deadline=None)
@given(st.integers(0, len(WHOLE) - 1), st.integers(0, 60), st.text(max_size=8))
def test_a_damaged_file_is_refused_or_mended_and_never_a_crash(at: int, cut: int, put: str) -> None:
    damaged = WHOLE[:at] + put + WHOLE[at + cut :]
    try:
        made = calendar_file(small_room(), small_plan(), damaged)
    except NotOursError:
        return
    client = Client()
    client.take(made.text)
    assert set(wanted(small_room(), small_plan())) <= set(client.shown_from(TODAY))


# The command


@pytest.fixture(scope="module")
def tiny(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str]:
    """Return a room file and a plan of it."""
    folder = tmp_path_factory.mktemp("tiny")
    room, plan = folder / "room.yaml", folder / "plan.json"
    room.write_bytes(TINY.read_bytes())
    assert main(["plan", str(room), "--json", str(plan)]) == Exit.FITS
    return str(room), str(plan)


def test_the_command_writes_and_brings_up_to_date(tiny, tmp_path, capsys) -> None:
    room, plan = tiny
    file = tmp_path / "room.ics"
    assert main(["calendar", room, "--plan", plan, "--out", str(file)]) == Exit.FITS
    first = file.read_bytes()
    keeps_the_rules(first.decode("utf-8"))
    assert "new." in capsys.readouterr().out
    assert main(["calendar", room, "--plan", plan, "--out", str(file)]) == Exit.FITS
    assert file.read_bytes() == first
    assert "as before." in capsys.readouterr().out
    assert main(["calendar", room, "--plan", plan, "--out", str(file), "--no-care"]) == Exit.FITS
    assert "cancelled" in capsys.readouterr().out
    assert first.count(b"UID:") == file.read_bytes().count(b"UID:")
    assert read_room(tmp_path / room).room.name in file.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"fish_room: mine\n", "is not a calendar that can be read"),
        (b"\xff\xd8\xff", "is not a calendar"),
        (
            b"BEGIN:VCALENDAR\r\nPRODID:-//a//b//EN\r\nEND:VCALENDAR\r\n",
            "is not a calendar made by this tool",
        ),
    ],
)
def test_the_command_destroys_nothing_else(content, said, tiny, tmp_path, capsys) -> None:
    room, plan = tiny
    file = tmp_path / "mine.ics"
    file.write_bytes(content)
    assert main(["calendar", room, "--plan", plan, "--out", str(file)]) == Exit.BAD_INPUT
    shown = capsys.readouterr()
    assert shown.out == ""
    assert said in shown.err
    assert len(shown.err.splitlines()) == 1
    assert file.read_bytes() == content
    for place in (room, str(tmp_path), "", str(tmp_path / "no" / "x.ics")):
        assert main(["calendar", room, "--plan", plan, "--out", place]) == Exit.BAD_INPUT
