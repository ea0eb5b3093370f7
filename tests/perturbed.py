"""Which figures of a pack change the number of tanks that a room needs: each a tenth more, and a tenth less.

`python tests/perturbed.py` works out all of them and writes the table into docs/explanation/evidence.md.

How each figure is changed:

- a tenth of its value up and down, by the way in which a keeper changes a figure;
- days that a plan counts as whole days: a tenth, rounded to whole days, but one day at the least;
- a share goes up to 1 and no further;
- where the middle of a band or the typical curve would pass the ends beside it, these give way: a plan looks at the
  middle only;
- flow settings are left out: a setting has no tenth;
- what the linter of packs refuses (a limit below comfort, a share above 1) is counted and goes no further.

How the tanks are counted: see `ten_lines`. A figure is said to change the number only where no plan can do with the
number of the pack as it is, or a plan with fewer is known.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

from ten_lines import Tanks, tanks_under

from allocator.problems import Problems
from allocator.reading.pack_lint import lint
from allocator.reading.packs import change_figure, load_pack, packs_dir
from allocator.reports.words import count_of, joined
from allocator.rule_rows import SETTING_UNIT
from allocator.rules import Evidence, Figure, RulePack

ROOT = Path(__file__).parent.parent
PAGE = ROOT / "docs" / "explanation" / "evidence.md"
BEGIN, END = "<!-- what matters: python tests/perturbed.py -->\n", "<!-- end of what matters -->\n"

TENTH = 0.1


# ---- a tenth more, a tenth less -------------------------------------------------------------------------------


@cache
def pack_as_it_is(name: str = "rainbowfish-large") -> RulePack:
    """Return a shipped pack."""
    problems = Problems(name)
    loaded = load_pack(name, relative_to=packs_dir(), problems=problems, line=1)
    assert loaded is not None, problems.found
    return loaded[0]


@cache
def base() -> Tanks:
    """Return what the room needs under the pack as it is."""
    return tanks_under(pack_as_it_is())


def changed_value(name: str, figure: Figure, part: float) -> float:
    """Return a figure a part more (or less, below 0): in whole days where a plan counts whole days."""
    step = figure.value * part
    if figure.unit == "days" and "age_days" not in name:
        step = round(step) or (1 if part > 0 else -1)
    return min(figure.value + step, 1.0) if figure.unit in SHARES else figure.value + step


SHARES = {"share", "share a month", "share of full pace"}
ENDS = {"expected": ("low", "high"), "typical": ("slow", "fast")}
"""What lies on both sides of the figure that is planned on."""


def making_way(name: str, value: float, values: dict[str, float]) -> dict[str, float]:
    """Return the figures to change for one to have a value: itself, and the ends of its band that it would pass."""
    stem, _, last = name.rpartition(".")
    changes = {name: value}
    if last in ENDS:
        low, high = (f"{stem}.{end}" for end in ENDS[last])
        changes |= {low: value} if value < values[low] else {}
        changes |= {high: value} if value > values[high] else {}
    return changes


@dataclass(frozen=True)
class Effect:
    """What a tenth more and a tenth less of a figure do. None: the linter refuses it, or it is no change."""

    name: str
    figure: Figure
    more: Tanks | None
    less: Tanks | None

    @property
    def both(self) -> tuple[Tanks | None, Tanks | None]:
        """A tenth more, a tenth less."""
        return self.more, self.less

    @cached_property
    def size(self) -> int:
        """By how many tanks the number surely changes at the most, whichever way; 0 where it may not change at all."""
        return max(surely(tanks) for tanks in self.both)


def surely(tanks: Tanks | None) -> int:
    """Return by how many tanks the number surely differs from that of the pack as it is."""
    if tanks is None:
        return 0
    fewer = base().floor - tanks.found if tanks.homeless == 0 else 0
    return max(tanks.floor - base().found, fewer, 0)


@cache
def effect_of(name: str) -> Effect:
    """Return what a tenth more and a tenth less of a figure do."""
    packs = (changed_pack(name, part) for part in (TENTH, -TENTH))
    more, less = (None if pack is None else tanks_under(pack) for pack in packs)
    return Effect(name, dict(pack_as_it_is().figures())[name], more, less)


def changed_pack(name: str, part: float) -> RulePack | None:
    """Return the pack with a figure changed; None where the linter refuses it or there is nothing to change."""
    pack = pack_as_it_is()
    values = {known: found.value for known, found in pack.figures()}
    value = changed_value(name, dict(pack.figures())[name], part)
    if value == values[name]:
        return None
    for other, number in making_way(name, value, values).items():
        changed = change_figure(pack, other, number, "perturbed", "a tenth")
        assert changed is not None
        pack = changed
    return None if any(not fault.mild for fault in lint(pack)) else pack


def figures_to_change() -> list[str]:
    """Return the names of all figures but the flow settings."""
    return [name for name, figure in pack_as_it_is().figures() if figure.unit != SETTING_UNIT]


# ---- the table of the page ------------------------------------------------------------------------------------


def block(effects: list[Effect]) -> str:
    """Return the part of the page between its two marks."""
    listed = sorted((e for e in effects if e.size), key=lambda e: -e.size)
    return BEGIN + "\n".join(_lines(effects, listed)) + "\n" + END


def _lines(effects: list[Effect], listed: list[Effect]) -> Iterator[str]:
    kinds = joined([count_of(number, like, PLURAL[like]) for like, number in base().by_kind])
    left_out = len(list(pack_as_it_is().figures())) - len(effects)
    refused = sum(tanks is None for effect in effects for tanks in effect.both)
    memory = [f"`{e.name}`" for e in listed if e.figure.evidence is Evidence.MEMORY]
    unsettled = [e for e in effects if not e.size and any(t and not _as_before(t) for t in e.both)]
    yield f"With the pack as it is {base().found} must be added: {kinds}. Of the {2 * len(effects)} changes of"
    yield f"{len(effects)} values {refused} are refused by the linter of packs, or are none (a tenth of 0); {left_out}"
    yield "flow settings are left out."
    yield f"These {len(listed)} values change the number:\n"
    yield "| value | as it is | unit | evidence | a tenth more | a tenth less |"
    yield "|---|---:|---|---|---:|---:|"
    for effect in listed:
        yield row_of(effect)
    yield ""
    yield f"From memory among them: {joined(memory) or 'none'}.\n"
    names = joined([f"`{e.name}`" for e in unsettled])
    yield f"Not settled, because plan and bound do not meet: {names or 'none'}."


def row_of(effect: Effect) -> str:
    """Return one row of the table."""
    figure = effect.figure
    cells = (f"`{effect.name}`", f"{figure.value:g}", figure.unit, figure.evidence.value)
    return "| " + " | ".join((*cells, *(words(tanks) for tanks in effect.both))) + " |"


PLURAL = {"box": "boxes", "ten": "tens", "long": "long tanks"}


def _as_before(tanks: Tanks) -> bool:
    return tanks.homeless == 0 and tanks.found == tanks.floor == base().found


def words(tanks: Tanks | None) -> str:
    """Return a change of the number in a few characters: `+2`, `-1`, `same`, `+1 to +3`, `refused`."""
    if tanks is None:
        return "refused"
    low, high = tanks.floor - base().found, tanks.found - base().found
    if tanks.homeless:
        return f"{low:+d} or more; some find no home"
    if low == high:
        return f"{low:+d}" if low else "same"
    return f"{low:+d} to {high:+d}"


def written(page: str) -> str:
    """Return the part of a page that stands between the two marks, marks included."""
    return page[page.index(BEGIN) : page.index(END) + len(END)]


def main() -> None:
    """Work out all figures and write the table into the page."""
    effects = []
    for name in figures_to_change():
        effects.append(effect_of(name))
        if effects[-1].size or "-v" in sys.argv:
            sys.stderr.write(f"{name}: {' / '.join(map(words, effects[-1].both))}\n")
    page = PAGE.read_text(encoding="utf-8")
    PAGE.write_text(page.replace(written(page), block(effects)), encoding="utf-8", newline="\n")
    sys.stdout.write(f"wrote {PAGE.relative_to(ROOT)}\n")


if __name__ == "__main__":
    main()
