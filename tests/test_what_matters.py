"""Which figures change the number of tanks needed: the table of the page is what a tenth more and less really do.

All figures take some minutes (`python tests/perturbed.py`, which writes the table). Here: every figure that is listed,
and a sample of those that are not, drawn with a fixed seed.
"""

import re
from random import Random

import pytest
from perturbed import (
    ENDS,
    PAGE,
    TENTH,
    base,
    block,
    changed_pack,
    changed_value,
    effect_of,
    figures_to_change,
    making_way,
    pack_as_it_is,
    row_of,
    words,
    written,
)
from ten_lines import Tanks, by_first_fit, by_trying, floor_of, room_under

from allocator.needs import needs_of
from allocator.planner import plan_room
from allocator.reading.packs import change_figure
from allocator.room import Room
from allocator.rule_rows import SETTING_UNIT

BLOCK = written(PAGE.read_text(encoding="utf-8"))
ROWS = {found[1]: found[0] for found in re.finditer(r"^\| `([^`]+)` .*\|$", BLOCK, re.MULTILINE)}
OPEN = re.findall(r"`([^`]+)`", BLOCK.partition("Not settled")[2])

SAMPLE, SEED = 24, 2027
REST = sorted(set(figures_to_change()) - set(ROWS) - set(OPEN))


@pytest.mark.parametrize("name", [*ROWS])
def test_a_figure_that_is_listed_changes_the_number_as_the_table_says(name: str) -> None:
    effect = effect_of(name)
    assert effect.size > 0
    assert ROWS[name] == row_of(effect)


@pytest.mark.parametrize("name", Random(SEED).sample(REST, SAMPLE))  # noqa: S311 - a sample, no secret
def test_a_figure_that_is_not_listed_leaves_the_number_as_it_is(name: str) -> None:
    for tanks in effect_of(name).both:
        assert tanks is None or words(tanks) == "same"


def test_the_text_above_the_table_is_what_the_script_writes() -> None:
    listed = [effect_of(name) for name in [*ROWS, *OPEN]]
    changed, refused = re.search(r"changes of\n(\d+) values (\d+) are refused", BLOCK).groups()  # type: ignore[union-attr]
    assert int(changed) == len(figures_to_change())
    assert int(refused) == sum(
        changed_pack(name, part) is None for name in figures_to_change() for part in (TENTH, -TENTH)
    )
    made = block(listed).replace(f"{2 * len(listed)} changes of", f"{2 * int(changed)} changes of")
    left_out = len(list(pack_as_it_is().figures())) - len(figures_to_change())
    head = re.sub(r"\d+ values \d+ are refused", f"{changed} values {refused} are refused", made)
    head = re.sub(r"a tenth of 0\); \d+", f"a tenth of 0); {left_out}", head)
    assert head == BLOCK


def test_the_table_is_sorted_by_what_a_figure_does() -> None:
    sizes = [effect_of(name).size for name in ROWS]
    assert sizes == sorted(sizes, reverse=True)


def test_the_number_of_the_pack_as_it_is_is_exact_and_first_fit_finds_it() -> None:
    assert base().exact
    assert f"as it is {base().found} must be added" in BLOCK
    needs = needs_of(room_under(pack_as_it_is()))
    added, homeless = by_first_fit(needs, base().floor)
    assert (sum(added.values()), homeless) == (base().found, 0)


def alone(number: int) -> Room:
    """Return the room with one of its broods only."""
    room = room_under(pack_as_it_is())
    brood = room.broods[number]
    line = room.line_named[brood.line]
    pins = tuple(pin for pin in room.pins if pin.brood == brood.name)
    few = tuple(add.model_copy(update={"most": 5}) for add in room.could_add)
    update = {"lines": (line,), "broods": (brood,), "pins": pins, "could_add": few}
    return room.model_copy(update=update)


@pytest.mark.parametrize("number", range(10))
def test_the_planner_needs_as_many_for_a_brood_alone(number: int) -> None:
    """A plan that the checker has passed needs what trying all days gives, and no fewer than the floor."""
    room = alone(number)
    needs = needs_of(room)
    tried = by_trying(needs)
    assert tried is not None
    best = plan_room(room).best.plan
    assert best.homeless == ()
    planned = sum(add.copies for add in best.added)
    assert floor_of(needs) == sum(tried.values()) == planned


def test_changes_are_a_tenth_in_whole_days_where_days_are_whole_and_no_share_passes_one() -> None:
    figures = dict(pack_as_it_is().figures())

    def both(name: str) -> tuple[float, float]:
        return changed_value(name, figures[name], 0.1), changed_value(name, figures[name], -0.1)

    assert both("sale_mm") == pytest.approx((66, 54))
    assert both("length.1.age_days") == pytest.approx((7.7, 6.3))
    assert both("clean_out_days") == (2, 0)
    assert both("incubation_days.expected") == (9, 7)
    assert both("survival.2.share.expected") == pytest.approx((1, 0.873))
    values = {name: figure.value for name, figure in figures.items()}
    assert making_way("survival.3.share.expected", 0.828, values) == {
        "survival.3.share.expected": 0.828,
        "survival.3.share.low": 0.828,
    }
    assert [name for name in figures_to_change() if figures[name].unit == SETTING_UNIT] == []
    assert set(ENDS) == {"expected", "typical"}


def test_a_change_that_must_matter_is_seen() -> None:
    """A third less room for each fish must fill more tanks: else the test above could not fail."""
    changed = change_figure(pack_as_it_is(), "room.8.fish_per_litre.limit", 0.4, "tests", "a third less")
    assert changed is not None
    needs = needs_of(room_under(changed))
    assert floor_of(needs) > base().found


def test_the_reasons_that_the_page_gives_hold() -> None:
    values = {name: figure.value for name, figure in pack_as_it_is().figures()}
    page = PAGE.read_text(encoding="utf-8")
    b, cm = values["weight_b"], values["sale_mm"] / 10
    grams, heads, weight = (
        values["weight_a"] * cm**b,
        "room.8.fish_per_litre.limit",
        "room.8.grams_per_litre.limit",
    )
    by_heads, by_weight = 1 / values[heads], grams / values[weight]
    assert f"{by_heads:.2f} litres a fish" in page
    assert f"{by_weight:.2f} by its weight" in page
    assert by_weight < by_heads
    assert f"{cm ** (b * 0.1):.1f} times as heavy" in page
    assert by_weight * cm ** (b * 0.1) > by_heads
    assert f"{1.1**b:.2f} times as heavy" in page
    assert by_weight * 1.1**b > by_heads
    assert values["room.7.fish_per_litre.limit"] == values[heads]
    memory = BLOCK.partition("From memory among them")[2].partition("\n")[0]
    for name in re.findall(r"`([^`]+)`", memory):
        assert f"`{name}`" in page.partition("To measure first")[2]


def test_what_is_not_proven_is_told_as_a_span() -> None:
    number = base().found
    assert words(Tanks(number, number, 0, ())) == "same"
    assert words(Tanks(number + 2, number + 2, 0, ())) == "+2"
    assert words(Tanks(number - 1, number + 3, 0, ())) == "-1 to +3"
    assert words(Tanks(number, number, 12, ())) == "+0 or more; some find no home"
    assert words(None) == "refused"
