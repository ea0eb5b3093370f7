"""The reference page of the shipped rule packs, made from the packs themselves.

`python -m allocator.reports.pack_page docs/reference/rule-packs.md` writes it; without a file it is printed.
"""

import sys
from collections.abc import Iterator
from pathlib import Path

from allocator.problems import Problems
from allocator.reading.packs import load_pack, packs_dir, shipped_packs
from allocator.rule_rows import RuleRow, count_by_evidence, rule_rows
from allocator.rules import RulePack

OPENING = """\
# Rule packs

<!-- Made from the packs by `python -m allocator.reports.pack_page docs/reference/rule-packs.md`.
     Change the packs in `rules/`, not this page. -->

Every figure that the planner uses for a kind of fish, with its unit, its evidence and its source. The name
in the first column is the one by which you can change it, in your room file or in a pack of your own.

Kinds of evidence, from the strongest to the weakest:

- **published**: read in the document that is named, often in its abstract only
- **derived**: worked out from other figures; the sum is given
- **common practice**: what keepers do; no document measures it
- **from memory**: a planning figure that was not seen in any document; change it as soon as you know better
- **keeper's own**: what you wrote yourself

`comfort` is where no loss of growth is expected. `limit` is the most that is ever planned; it is lower than
what fish have lived through in trials, and never a target. Your own counts, lengths and water tests
override all of it. What each kind is worth, and which values matter most:
[how sure is each number](../explanation/evidence.md).

`allocator rules` lists the packs, `allocator rules PACK` prints one of them, and `--room ROOM` the rules in force
in a room, line by line. `--evidence KIND` leaves only the values of one kind, and tells how many of all they are.
With `--json` the same is printed for programs, as a list with one row for each value, in the order of the pack:

| key | meaning |
|---|---|
| `for` | `pack`, or the line of the room, such as `line red` |
| `pack` | the name of the pack |
| `name` | the dotted name, as in the tables below |
| `value` | a number, in the unit beside it |
| `unit` | such as `mm`, `days`, `share`; `setting` for how strongly the water moves |
| `word` | the setting in a word (0 `still`, 1 `gentle`, 2 `normal`, 3 `strong`); null for all other values |
| `evidence` | one of the five kinds above |
| `source` | where it was published, the sum, or what it rests on |
| `origin` | the file it stands in: a shipped pack, a pack of your own, or your room file |
"""


def page() -> str:
    """Return the whole page in Markdown."""
    parts = [OPENING]
    for name in shipped_packs():
        problems = Problems(name)
        loaded = load_pack(name, relative_to=packs_dir(), problems=problems, line=1)
        problems.raise_errors()
        assert loaded is not None  # noqa: S101 - without errors there is a pack
        parts.append("\n".join(_section(loaded[0])))
    return "\n".join(parts)


def _section(pack: RulePack) -> Iterator[str]:
    rows = rule_rows(pack)
    notes = _notes(rows)
    counted = ", ".join(
        f"{number} {kind.value}" for kind, number in count_by_evidence(rows).items() if number
    )
    yield f"## {pack.name}\n"
    yield pack.about.strip() + "\n"
    snails = "must" if pack.eggs_need_snail_free else "need not"
    yield f"{len(rows)} figures: {counted}. Eggs {snails} be kept where there are no snails.\n"
    yield "Stages of life: " + "; ".join(_stages(pack)) + ".\n"
    yield "| figure | value | unit | evidence | source |"
    yield "|---|---:|---|---|---:|"
    for row in rows:
        cells = (f"`{row.name}`", row.shown, row.unit, row.evidence.value, str(notes[row.source]))
        yield "| " + " | ".join(_cell(cell) for cell in cells) + " |"
    yield ""
    yield "Sources:\n"
    for source, number in notes.items():
        yield f"{number}. {_cell(source)}"
    yield ""


def _stages(pack: RulePack) -> Iterator[str]:
    for stage in pack.stages:
        kinds = " or ".join(kind.value for kind in stage.kinds)
        words = [f"{kinds} vessel", "alone" if stage.alone else "may share"]
        if stage.with_parents:
            words = ["the vessel of the breeding group", "with the parents, no other brood"]
        if stage.may_skip:
            words.append("may be skipped")
        yield f"{stage.name} ({', '.join(words)})"


def _notes(rows: list[RuleRow]) -> dict[str, int]:
    return {
        source: number for number, source in enumerate(dict.fromkeys(row.source for row in rows), start=1)
    }


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("<", "&lt;")


def main(arguments: list[str]) -> None:
    """Write the page to the file that is named, or to standard output."""
    if arguments:
        Path(arguments[0]).write_text(page(), encoding="utf-8")
    else:
        sys.stdout.write(page())


if __name__ == "__main__":
    main(sys.argv[1:])
