"""Whatever is done to a room file, it is read or refused; there is never a traceback."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from room_files import small_room, write

from allocator.problems import InputError
from allocator.reading import read_room

ODD = [
    "",
    "null",
    "0",
    "-1",
    "1e9",
    ".nan",
    ".inf",
    "[]",
    "{}",
    "[[]]",
    "{a: b}",
    "true",
    "2027-13-01",
    "x",
    "'",
    '"',
    ":",
]
ODD += [
    "&a",
    "*a",
    "!!str",
    "9999-12-31",
    "1 x 1 cm",
    "1e400 cm",
    "99999999999999999999 gal",
    "\u202e",
    "\t",
    "- ",
]


def reads_or_refuses(path):
    try:
        read_room(path)
    except InputError as error:
        assert error.problems  # noqa: PT017 - both outcomes are fine, a traceback is not


BASE = small_room() + (
    "breeding_groups: [{name: g, line: blue, males: 1, females: 1, lives_in: a, from: 2027-05-01, "
    "collect: {every: 7 days, from: 2027-05-02, until: 2027-06-01, eggs: 9}}]\n"
    "could_add: [{like: a, price: 12, most: 1}]\npins: [{brood: b, in: a, from: 2027-02-01}]\n"
    "racks: [{name: r, shelves: [{name: s, rated_kg: 12}]}]\n"
)


@given(st.data())
@settings(deadline=None, max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_value_replaced_by_anything_is_refused_or_read(tmp_path, data):
    spots = [i for i, char in enumerate(BASE) if char == " " and BASE[i - 1] in ":,"]
    spot = data.draw(st.sampled_from(spots))
    end = next(i for i in range(spot + 1, len(BASE) + 1) if i == len(BASE) or BASE[i] in ",}]\n")
    value = data.draw(st.sampled_from(ODD) | st.text(max_size=12))
    reads_or_refuses(write(tmp_path, BASE[: spot + 1] + value + BASE[end:]))


@given(st.data())
@settings(deadline=None, max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_text_cut_swapped_or_spoilt_is_refused_or_read(tmp_path, data):
    text = BASE
    for _ in range(data.draw(st.integers(1, 3))):
        start = data.draw(st.integers(0, len(text)))
        end = min(len(text), start + data.draw(st.integers(0, 15)))
        text = text[:start] + data.draw(st.text(max_size=4) | st.sampled_from(ODD)) + text[end:]
    path = tmp_path / "room.yaml"
    path.write_bytes(text.encode("utf-8", "replace"))
    reads_or_refuses(path)


@given(st.binary(max_size=200))
@settings(deadline=None, max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes_are_refused(tmp_path, content):
    path = tmp_path / "room.yaml"
    path.write_bytes(content)
    with pytest.raises(InputError):
        read_room(path)
