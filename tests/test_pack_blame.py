"""Faults of a rule pack are told where the figure stands that brings them about, and each in full."""

import pytest
from room_files import small_room, write

from allocator.problems import InputError, Problems
from allocator.reading import read_room
from allocator.reading.pack_fault import Fault
from allocator.reading.pack_lint import note_faults
from allocator.reading.packs import load_pack, packs_dir


def told(tmp_path, text):
    (tmp_path / "mine.yaml").write_text(text, encoding="utf-8")
    problems = Problems("room.yaml")
    load_pack("mine.yaml", relative_to=tmp_path, problems=problems, line=1)
    return [f"{problem.line}: {problem.what}" for problem in problems.errors]


@pytest.mark.parametrize(
    "text",
    [
        "based_on: rainbowfish-large\nfigures:\n  weight_a: 0.011\n  sale_mm: 6\n  clean_out_days: 2\n",
        "based_on: rainbowfish-large\nweight_a: 0.011\n\nsale_mm: 6\nclean_out_days: 2\n",
    ],
    ids=["figures", "keys"],
)
def test_a_fault_of_the_base_is_told_at_the_figure_that_brings_it_about(tmp_path, text):
    """Fish sold at 6 mm never reach the rearing tanks of the base: line 4 is to blame for it, and no other."""
    found = told(tmp_path, text)
    assert (
        "4: stages.rearing.from_mm is not below sale_mm: the fish are sold before they may move in" in found
    )
    assert "4: stages.grow-out leaves no day to move in on the slow curve" in found
    assert {line.split(":")[0] for line in found} == {"4"}


def test_a_fault_that_no_figure_brings_about_alone_is_told_at_the_first_in_the_file():
    problems = Problems("mine.yaml")
    lines = {"weight_a": 9, "sale_mm": 7}
    note_faults([Fault("stages.rearing", "leaves no day")], problems, lines, alone=lambda _: None)
    assert [problem.line for problem in problems.errors] == [7]


def test_in_a_room_file_too(tmp_path):
    text = small_room().replace(
        "rules: rainbowfish-large}",
        "rules: rainbowfish-large,\n change: {clean_out_days: {value: 2, why: a},\n  sale_mm: {value: 6, why: b}}}",
    )
    with pytest.raises(InputError) as caught:
        read_room(write(tmp_path, text))
    lines = {problem.line for problem in caught.value.problems if problem.what.startswith("stages.")}
    assert lines == {7}


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("sale_mm: {value: ", "sale_mm: {valeu: 4, evidence: hearsay, x: ", "unknown kind of evidence"),
        ("sale_mm: {value: ", "sale_cm: {evidence: hearsay, value: ", "unknown kind of evidence"),
        ("  grade: {evidence: from memory, source:", "  grade: {evidence: hearsay, sauce:", "unknown kind of evidence"),
        ("sale_mm: {value: ", "sale_mm: {unit: grammes, value: ", "sale_mm: unknown unit"),
    ],
    ids=["no-value", "unknown-key", "sources", "unit"],
)  # fmt: skip
def test_a_wrong_key_hides_nothing_else_of_its_row(tmp_path, old, new, said):
    text = (packs_dir() / "rainbowfish-large.yaml").read_text(encoding="utf-8")
    assert old in text
    found = told(tmp_path, text.replace(old, new, 1))
    assert any(line.split(": ", 1)[1].startswith(said) for line in found), found
