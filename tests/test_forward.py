"""A room file brought forward: layout kept, the same room along every way, and the old plan still good from there on."""

import re
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path
from random import Random
from typing import Any

import pytest
from forward_rooms import cut_at, room_data, scribbled
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from room_files import EVERYTHING, SCENARIOS, TINY

from allocator.asked import write_plan
from allocator.check import check_plan, room_for
from allocator.model import improving
from allocator.onward.agreeing import differences
from allocator.onward.brood_edits import homes_value
from allocator.onward.carrying import carried
from allocator.onward.edits import Add, Drop, Edit, Put, applied
from allocator.onward.fates import Became, Part
from allocator.onward.in_text import text_with
from allocator.onward.room_edits import Onward
from allocator.onward.told import Told
from allocator.plan import Plan
from allocator.planner import plan_room
from allocator.problems import InputError, Problems
from allocator.reading import lines
from allocator.reading.gather import Parts, gather
from allocator.reading.packs import load_pack
from allocator.reading.room_file import RoomReading, read_room, room_of
from allocator.reading.source import load_text
from allocator.result import NoPlanInTime
from allocator.room import Room
from allocator.workbook.room_out import same_room_file

DAY = timedelta(days=1)
LONG_AGO = date(2000, 1, 1)


def few(examples: int) -> settings:
    """Return settings for so many rooms, the same ones on every run."""
    return settings(
        deadline=None,
        derandomize=True,
        max_examples=examples,
        phases=(Phase.explicit, Phase.generate),
        suppress_health_check=list(HealthCheck),
        database=None,
    )


@pytest.fixture(autouse=True, scope="module")
def _little_work() -> Iterator[None]:
    """Let every level take a little work only, and read every pack once: any checked plan will do."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(improving, "WORK", dict.fromkeys(improving.WORK, 0.05))
        patch.setattr(lines, "load_pack", _read_once)  # else the packs of a room are read some twenty times
        yield


_PACKS: dict[str, Any] = {}


def _read_once(name: str, **where: Any) -> Any:
    if name not in _PACKS:
        _PACKS[name] = load_pack(name, **where)
    return _PACKS[name]


def read_text(text: str, folder: Path = SCENARIOS, today: date | None = None) -> tuple[RoomReading, Parts]:
    problems = Problems("room.yaml")
    source = load_text(text, problems)
    problems.raise_errors()
    assert source is not None
    return room_of(source, folder / "room.yaml", problems, today), gather(source, Problems("room.yaml"))


def brought(
    text: str, plan: Plan, day: date, told: Told | None = None, folder: Path = SCENARIOS
) -> tuple[str, Onward]:
    """Bring the text of a room file forward, and hold the new text against the new data."""
    reading, parts = read_text(text, folder)
    onward, edits = carried(parts, reading.room, plan, day, told or Told(), LONG_AGO)
    new = text_with(text, edits)
    source = load_text(new, Problems("new.yaml"))
    assert source is not None
    assert same_room_file(applied(parts.source.data, edits), source.data)
    return new, onward


def plain(value: Any) -> Any:
    """Return data as text, without what is empty: how a list that has become empty is written is not looked at."""
    if isinstance(value, dict):
        found = {key: plain(part) for key, part in value.items()}
        return {key: part for key, part in found.items() if part not in (None, {}, [])}
    if isinstance(value, list):
        return [plain(part) for part in value]
    return None if value is None else str(getattr(value, "written", value))


# -- layout --------------------------------------------------------------------------------------------------


def some_edits(data: dict[str, Any], random: Random) -> list[Edit]:  # noqa: C901 - one whim after another
    """Return edits of every kind, at places that are there."""
    puts: list[Edit] = [Put(("today",), "2027-03-01", after=("gallon", "fish_room"))]
    drops: list[Drop] = []
    count = {"on": "2027-03-01", "fish": 3}
    for place, brood in enumerate(data.get("broods", [])):
        loc = ("broods", place)
        homes = random.choice(["ten 1", ["a b", "c"], [{"vessel": "x", "fish": 3}, {"vessel": "y"}]])
        if random.random() < 0.5:
            puts.append(Put((*loc, "lives_in"), homes, after=("laid_over_days", "eggs")))
        if random.random() < 0.3:
            puts.append(Put((*loc, "eggs"), 77))
        if random.random() < 0.3:
            more = isinstance(brood.get("counted"), list)
            puts.append(Add((*loc, "counted"), count) if more else Put((*loc, "counted"), [count]))
        if random.random() < 0.3:
            drops.append(Drop(loc, "gone # so - it {was}"))
        elif random.random() < 0.5:
            drops.append(
                Drop((*loc, random.choice([key for key in ("take", "name", "line") if key in brood])))
            )
    collect = ("breeding_groups", 0, "collect")
    if random.random() < 0.5:
        listed = isinstance(data["breeding_groups"][0]["collect"], list)
        puts.append(Put((*collect, 0, "from") if listed else (*collect, "from"), "2027-03-01"))
    if random.random() < 0.3:
        drops.append(Drop(collect))
    if "away" in data["keeper"]:
        drops.append(Drop(("keeper", "away") if random.random() < 0.5 else ("keeper", "away", 0)))
    for key in ("pins", "could_add"):
        drops += [Drop((key, place)) for place in range(len(data.get(key, []))) if random.random() < 0.5]
    drops.sort(
        key=lambda drop: [(isinstance(s, str), 0 if isinstance(s, str) else s, str(s)) for s in drop.loc]
    )
    new = {
        "name": "new",
        "line": "red",
        "collected": "2027-02-01",
        "eggs": 30,
        "lives_in": ["box 1", "box 2"],
    }
    adds = [Add(("broods",), new | {"name": f"new {n}"}, "r") for n in range(random.randint(0, 3))]
    return [*puts, *reversed(drops), *adds, Add(("vessels",), {"name": "ten 9", "kind": "rearing"})]


@few(25)
@given(st.integers(0, 99_999))
def test_an_edited_text_says_what_the_edited_data_say(seed: int) -> None:
    random = Random(seed)  # noqa: S311 - made-up rooms, no secrets
    data = room_data(seed)
    text = scribbled(data, seed)
    edits = some_edits(data, random)
    source = load_text(text_with(text, edits), Problems("new.yaml"))
    assert source is not None
    assert plain(source.data) == plain(applied(data, edits))


@few(20)
@given(st.integers(0, 99_999))
def test_what_is_not_changed_stays_to_the_letter(seed: int) -> None:
    """Every line that has no part in a change is there afterwards, in the same order."""
    data = room_data(seed)
    text = scribbled(data, seed)
    edits: list[Edit] = [Put(("today",), "2027-03-01")]
    edits += [Put(("broods", place, "eggs"), 77) for place in range(len(data["broods"]))]
    new = text_with(text, edits)
    eggs = re.compile(r"(eggs['\"]?: )\S+?(?=[,}\s]|$)", re.MULTILINE)
    day = re.compile(r"""(today['"]?: )['"]?[\d-]{10}['"]?""")
    head, broods, rest = re.split(
        r"""(?m)^(?=["']?broods|["']?could_add|["']?pins)""", f"{text}\npins:", maxsplit=2
    )
    wanted = day.sub(r"\g<1>2027-03-01", head) + eggs.sub(r"\g<1>77", broods) + rest
    assert new == wanted.removesuffix("\npins:")


def test_a_list_that_loses_all_its_items_can_be_filled_again() -> None:
    text = "a: 1 # one\nb: [x,] # two\nbroods: # three\n  # four\n  - {name: x}\n  - name: y # five\n# six\n"
    gone = text_with(text, [Drop(("broods", 1)), Drop(("broods", 0), "sold"), Drop(("b", 0))])
    assert gone == "a: 1 # one\nb: [] # two\nbroods: # three\n  # four\n  # sold\n# six\n"
    again = text_with(gone, [Add(("broods",), {"name": "z"}, "new"), Add(("b",), "y")])
    assert "\n  - {name: z} # new\n" in again
    source = load_text(again, Problems("x"))
    assert source is not None
    assert source.data == {"a": 1, "b": ["y"], "broods": [{"name": "z"}]}


# -- along a plan --------------------------------------------------------------------------------------------


def breaches(room: Room, plan: Plan) -> list[str]:
    return [str(breach) for breach in check_plan(room_for(room, plan), plan) if not breach.as_found]


def some_days(room: Room, plan: Plan, random: Random, number: int) -> list[date]:
    end = max([stay.until for stay in plan.stays], default=room.today)
    return [room.today + random.randint(0, (end - room.today).days + 9) * DAY for _ in range(number)]


@few(8)
@given(st.integers(0, 9_999))
def test_the_old_plan_is_good_from_there_on_and_two_steps_are_one(seed: int) -> None:
    """Rooms of any kind and layout; the checker, which knows nothing of how files are brought forward, is the judge."""
    random = Random(seed)  # noqa: S311 - the same
    text = scribbled(room_data(seed), seed)
    try:
        room = read_text(text)[0].room
    except InputError:
        return
    try:
        plan = plan_room(room, seconds=2).best.plan
    except NoPlanInTime:  # on a busy computer; other rooms are tried
        return
    for day in some_days(room, plan, random, 3):
        new, onward = brought(text, plan, day)
        later = read_text(new)[0].room
        assert later.today == day
        assert {brood.name for brood in later.broods if brood.collected < day} == {
            fate.name for fate in onward.fates if fate.is_there
        }
        if onward.bought:
            continue
        if day > room.today:
            assert differences(later, plan) == []
        halfway = room.today + random.randint(0, (day - room.today).days) * DAY
        two_steps = read_text(brought(brought(text, plan, halfway)[0], plan, day)[0])[0].room
        assert by_name(two_steps) == by_name(later)
        assert (two_steps.pins, two_steps.keeper, two_steps.groups) == (
            later.pins,
            later.keeper,
            later.groups,
        )
        if not plan.homeless:
            assert breaches(later, cut_at(plan, later)) == []


def by_name(room: Room) -> dict[str, Any]:
    return {brood.name: brood for brood in room.broods}


@pytest.fixture(scope="module")
def plan_of(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Path], tuple[Plan, Path]]:
    """Return a way to plan a scenario once, and the file of the plan."""
    folder = tmp_path_factory.mktemp("plans")
    known: dict[Path, tuple[Plan, Path]] = {}

    def planned(file: Path) -> tuple[Plan, Path]:
        if file not in known:
            reading = read_room(file)
            result = plan_room(reading.room, seconds=6)
            target = folder / f"{file.stem}.json"
            write_plan(result, reading.digest, target, None)
            known[file] = result.best.plan, target
        return known[file]

    return planned


@pytest.mark.parametrize("name", ["tiny", "home-rack", "everything", "three-ways", "too-small"])
def test_scenarios_can_be_lived_by(name: str, plan_of: Callable[[Path], tuple[Plan, Path]]) -> None:
    """Month by month to the end; what was written by hand in the file stays, and nobody loses a home."""
    file = SCENARIOS / f"{name}.yaml"
    plan, _ = plan_of(file)
    text = file.read_text(encoding="utf-8")
    remarks = re.findall(r"(?m)^#.*$", text)
    room = read_text(text)[0].room
    end = max(stay.until for stay in plan.stays) + 40 * DAY
    day = room.today
    while (day := day + 31 * DAY) < end:
        new, onward = brought(text, plan, day)
        later = read_text(new)[0].room
        assert re.findall(r"(?m)^#.*$", new) == remarks
        if not onward.bought and not plan.homeless:
            assert breaches(later, cut_at(plan, later)) == []
    assert {fate.became for fate in onward.fates} <= {Became.SOLD, Became.NOT_TAKEN, Became.NO_HOME}


def test_orders_follow_their_broods(plan_of: Callable[[Path], tuple[Plan, Path]]) -> None:
    """Who is gone is no longer promised to anybody, and an order without broods is no order."""
    text, (plan, _) = EVERYTHING.read_text(encoding="utf-8"), plan_of(EVERYTHING)
    order = read_text(text)[0].room.orders[0]
    first, *others = order.broods
    assert others
    day = read_text(text)[0].room.today + 45 * DAY
    fewer, onward = brought(text, plan, day, Told(gone=(first,)))
    assert read_text(fewer)[0].room.orders[0].broods == tuple(others)
    assert (onward.orders_fewer, onward.orders_over) == ((order.name,), ())
    none, onward = brought(text, plan, day, Told(gone=order.broods))
    assert read_text(none)[0].room.orders == ()
    assert (onward.orders_fewer, onward.orders_over) == ((), (order.name,))


def test_a_new_plan_is_the_old_one(plan_of: Callable[[Path], tuple[Plan, Path]]) -> None:
    plan, _ = plan_of(TINY)
    text = TINY.read_text(encoding="utf-8")
    day = date(2027, 2, 6)
    room = read_text(brought(text, plan, day)[0])[0].room
    again = plan_room(room, against=plan)
    change = next(level for level in again.best.levels if level.name.startswith("change"))
    assert again.best.plan.homeless == plan.homeless
    assert change.value == 0


def test_on_the_same_day_nothing_is_changed() -> None:
    """Round trip: with nothing done, the room is the same and so is the text."""
    for file in (TINY, EVERYTHING, SCENARIOS / "club-room.yaml"):
        text = file.read_text(encoding="utf-8")
        room = read_text(text)[0].room
        assert brought(text, Plan(verdict="fits", proven=True), room.today)[0] == text


def test_a_file_without_a_day_has_none_where_the_clock_says_the_same() -> None:
    text = TINY.read_text(encoding="utf-8").replace("today: 2027-01-02\n", "")
    assert "today:" not in text
    room, parts = read_text(text, today=date(2027, 1, 2))
    plan = Plan(verdict="fits", proven=True)
    for clock, written in ((date(2027, 1, 2), False), (date(2027, 1, 3), True)):
        onward, edits = carried(parts, room.room, plan, date(2027, 1, 2), Told(), clock)
        assert onward.today_is_written is written
        assert ("today: 2027-01-02\n" in text_with(text, edits)) is written


def test_parts_of_a_brood_keep_their_shares() -> None:
    equal = (Part(vessel="a", fish=9), Part(vessel="b", fish=8))
    assert homes_value(equal, 17) == ["a", "b"]
    unequal = (Part(vessel="a", fish=10), Part(vessel="b", fish=20), Part(vessel="c", fish=10))
    assert homes_value(unequal, 36) == [
        {"vessel": "a", "fish": 9},
        {"vessel": "b"},
        {"vessel": "c", "fish": 9},
    ]
    assert homes_value(unequal[:1], 3) == "a"
