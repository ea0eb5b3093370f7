"""A plan file is read back as it was written, and every fault of a broken one is named with its line."""

import json
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_rooms import small_plan

from allocator.plan import Added, FlowChange, Homeless, Move, NotTaken, Plan, Stay, Verdict
from allocator.problems import InputError, Problems
from allocator.reading import read_room
from allocator.reading.json_lines import load_json
from allocator.reading.plan_file import read_plan
from allocator.rules import FlowSetting
from allocator.writing import plan_json

NAMES = st.text(min_size=1, max_size=8).filter(lambda text: text.strip()) | st.sampled_from(
    ["1E2", "007", "[R4]", "<b>", "=x", "null", "🐟", '"', "\\", "\ud800", "a\u2028", "\x00"]
)
DAYS = st.dates(date(2020, 1, 1), date(2035, 1, 1))
FISH = st.integers(0, 10_000)


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    """Any plan that a plan file can hold, sound or not, in the order of a plan file."""

    def rows(row: st.SearchStrategy) -> tuple:
        return tuple(draw(st.lists(row, max_size=3)))

    later = st.integers(1, 400).map(lambda days: timedelta(days=days))
    span = st.tuples(DAYS, later).map(lambda pair: {"from_": pair[0], "until": pair[0] + pair[1]})
    return Plan(
        verdict=draw(st.sampled_from(Verdict)),
        proven=draw(st.booleans()),
        added=rows(st.builds(Added, like=NAMES, copies=FISH, from_=DAYS)),
        stays=rows(
            st.tuples(NAMES, NAMES, NAMES, span, FISH).map(
                lambda t: Stay(lot=t[0], brood=t[1], vessel=t[2], fish=t[4], **t[3])
            )
        ),
        moves=rows(
            st.builds(
                Move,
                on=DAYS,
                lot=NAMES,
                brood=NAMES,
                from_=st.none() | NAMES,
                to=st.none() | NAMES,
                fish=FISH,
            )
        ),
        flow=rows(st.builds(FlowChange, vessel=NAMES, from_=DAYS, setting=st.sampled_from(FlowSetting))),
        homeless=rows(st.tuples(NAMES, span, FISH).map(lambda t: Homeless(brood=t[0], fish=t[2], **t[1]))),
        not_taken=rows(st.builds(NotTaken, brood=NAMES, on=DAYS, eggs=FISH)),
    )


def same(one: Plan, other: Plan) -> bool:
    """Tell whether two plans say the same, in whatever order."""
    return all(
        sorted(map(repr, getattr(one, key))) == sorted(map(repr, getattr(other, key)))
        for key in ("added", "stays", "moves", "flow", "homeless")
    ) and (one.verdict, one.proven) == (other.verdict, other.proven)


@settings(deadline=None)
@given(plan=plans(), as_it_is=st.none() | plans(), digest=st.text(max_size=5))
def test_a_plan_comes_back_as_it_was_and_is_written_with_the_same_bytes(
    plan: Plan, as_it_is: Plan | None, digest: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.getbasetemp() / "plan.json"
    text = plan_json(plan, digest, as_it_is=as_it_is)
    path.write_bytes(text.encode("utf-8"))
    reading = read_plan(path)
    assert same(reading.plan, plan)
    assert reading.digest == digest
    assert (reading.as_it_is is None) == (as_it_is is None)
    assert as_it_is is None or (reading.as_it_is is not None and same(reading.as_it_is, as_it_is))
    assert plan_json(reading.plan, digest, as_it_is=reading.as_it_is) == text


JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**30), 10**30)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=10,
)


@settings(deadline=None)
@given(
    data=st.dictionaries(st.text(max_size=3), JSON, max_size=3), indent=st.sampled_from([None, 0, 2, "\t"])
)
def test_json_is_read_as_the_standard_library_reads_it(
    data: dict, indent: int | str | None, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.getbasetemp() / "some.json"
    text = json.dumps(data, indent=indent)
    path.write_text(text, encoding="utf-8")
    source = load_json(path, Problems("some.json"))
    assert source is not None
    assert source.data == json.loads(text)


@settings(deadline=None)
@given(place=st.integers(0, 400), char=st.sampled_from(list('{}[],:"x0-\\\n')))
def test_a_broken_file_is_a_problem_exactly_where_the_standard_library_refuses_it(
    place: int, char: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.getbasetemp() / "plan.json"
    whole = plan_json(small_plan(), "abc")
    text = whole[:place] + char + whole[place + 1 :]
    path.write_text(text, encoding="utf-8", newline="")
    problems = Problems("plan.json")
    source = load_json(path, problems)
    try:
        expected = json.loads(text)
    except ValueError:
        assert source is None
        assert problems.errors
    else:
        assert source is not None
        assert source.data == expected


def broken(old: str, new: str) -> str:
    text = plan_json(small_plan(), "abc", versions={})
    assert old in text
    return text.replace(old, new, 1)


FIRST_STAY = (
    '{"lot": "B1", "brood": "B1", "vessel": "box 3", "from": "2027-01-09", "until": "2027-01-30", "fish": 20}'
)
BROKEN = {
    "nothing in it": (plan_json(small_plan(), "abc", versions={}), " \n", 1, "the file is empty"),
    "a room file": ("{\n", "fish_room: attic\n{\n", 1, "this is a room file, not a plan file. Hint: write"),
    "not json": ('"proven": false', '"proven": maybe', 4, "this is not a value"),
    "comma missing": ('"format": 1,', '"format": 1', 3, "a comma or } is missing"),
    "comma too many": (FIRST_STAY, FIRST_STAY.replace(": 20}", ": 20,}"), 7, "a key is missing"),
    "quote missing": ('"verdict": "fits"', '"verdict": "fits', 3, "text in quotes is not closed"),
    "colon missing": ('"format": 1', '"format" 1', 2, "the key 'format' has no colon after it"),
    "another format": ('"format": 1', '"format": 2', 2, "of a format that cannot be read (got 2)"),
    "true is no format": ('"format": 1', '"format": true', 2, "of a format that cannot be read (got True)"),
    "no format": ('"format": 1,\n', "", 1, "of a format that cannot be read (got 'no format')"),
    "unknown verdict": ('"fits"', '"fit"', 3, "verdict is not one that is known (got 'fit'). Hint: did you"),
    "proven is a word": ("false", '"no"', 4, "proven must be true or false (got 'no')"),
    "key missing": ('"homeless": [],\n', "", 1, "the key 'homeless' is missing"),
    "key unknown": (
        '"added": []',
        '"addde": []',
        5,
        "the key 'addde' is not known. Hint: did you mean 'added'?",
    ),
    "key twice": ('"proven": false', '"proven": false, "proven": true', 4, "the key 'proven' is there twice"),
    "not a list": ('"added": []', '"added": {}', 5, "added must be a list in brackets (got {})"),
    "row is text": (FIRST_STAY, '"B1 in box 3"', 7, "stays: a row must be keys and values in braces"),
    "row key missing": ('"lot": "B1", ', "", 7, "stays: the key 'lot' is missing"),
    "row key unknown": ('"vessel": "box 3"', '"tank": "box 3"', 7, "the key 'tank' is not known"),
    "no such day": ('"2027-01-30"', '"2027-02-30"', 7, "stays: until cannot be used: there is no such day"),
    "day in words": (
        '"2027-01-30"',
        '"30 January"',
        7,
        "stays: until cannot be used: a date must be written",
    ),
    "day as number": ('"2027-01-30"', "20270130", 7, "stays: until must be a date (got 20270130)"),
    "day far away": ('"2027-01-30"', '"2207-01-30"', 7, "stays: until must lie in the years 1970 to 2100"),
    "part of a fish": ('"fish": 20', '"fish": 20.5', 7, "stays: fish must be a whole number (got 20.5)"),
    "fish in words": ('"fish": 20', '"fish": "20"', 7, "stays: fish must be a whole number (got '20')"),
    "fish below none": ('"fish": 20', '"fish": -1', 7, "stays: fish must be from 0 to 10000000 (got -1)"),
    "name is a number": ('"vessel": "box 3"', '"vessel": 3', 7, "stays: vessel must be a name (got 3)"),
    "name is empty": ('"vessel": "box 3"', '"vessel": " "', 7, "stays: vessel must not be empty (got ' ')"),
    "unknown setting": (
        '"setting": "still"',
        '"setting": "stil"',
        39,
        "flow: setting is not a flow setting (got 'stil'). Hint: did you mean 'still'?",
    ),
    "setting is a number": (
        '"setting": "still"',
        '"setting": 0',
        39,
        "flow: setting is not a flow setting (got 0)",
    ),
    "digest is a number": ('"abc"', "12", 57, "input_digest must be text in quotes (got 12)"),
    "versions are a list": ('"versions": {}', '"versions": []', 56, "versions must be names and versions"),
    "nested plan is a list": (
        '"with_what_you_have": null',
        '"with_what_you_have": [1]',
        58,
        "with_what_you_have must be a plan in braces, or null",
    ),
    "nested plan is empty": (
        '"with_what_you_have": null',
        '"with_what_you_have": {}',
        58,
        "the key 'verdict' is missing",
    ),
    "more after the end": ("null\n}\n", "null\n}\n}\n", 60, "something stands after the end"),
    "the file ends": ("null\n}\n", "null\n", 59, "a comma or } is missing (the file ends)"),
    "a long number": ('"fish": 20', '"fish": ' + "2" * 5000, 7, "a number is too long"),
    "deep brackets": ('"added": []', '"added": ' + "[" * 5000, 5, "brackets are nested too deep"),
}


def test_a_plan_in_place_of_a_room_is_told_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    path.write_text(plan_json(small_plan(), "abc", versions={}), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_room(path)
    assert [str(problem) for problem in caught.value.problems] == [
        (
            f"{path.as_posix()}:1: this is a plan file, not a room file. "
            "Hint: give the room file here, and the plan where a plan file is asked for"
        )
    ]


@pytest.mark.parametrize("kind", BROKEN)
def test_a_broken_plan_file_names_the_line_and_what_is_wrong(kind: str, tmp_path: Path) -> None:
    old, new, line, words = BROKEN[kind]
    path = tmp_path / "plan.json"
    path.write_text(broken(old, new), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_plan(path)
    told = [str(problem) for problem in caught.value.problems]
    assert any(text.startswith(f"{path.as_posix()}:{line}: ") and words in text for text in told), told


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "the file is empty"),
        (b"[]", "this is not a plan file"),
        (b'{"verdict": "\xff"}', "the file is not UTF-8 text (got byte 0xff)"),
        (b"{}", "the key 'stays' is missing"),
    ],
)
def test_a_file_that_is_no_plan_at_all(content: bytes, words: str, tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_plan(path)
    assert words in str(caught.value)


def test_a_path_that_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no such file"):
        read_plan(tmp_path / "none.json")
    with pytest.raises(InputError, match="this is a folder"):
        read_plan(tmp_path)
    with pytest.raises(InputError, match="cannot be opened"):
        read_plan(Path("a\0b"))


def test_all_problems_are_told_at_once(tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    text = broken('"fits"', '"fine"').replace('"fish": 24', '"fish": null').replace("2027-03-06", "6 March")
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_plan(path)
    lines = [problem.line for problem in caught.value.problems]
    assert lines == sorted(lines)
    assert len(set(lines)) > 5
