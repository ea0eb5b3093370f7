"""The reference pages that are made from the code: `python docs/pages.py` writes them anew.

A test fails when one of them says anything else than the code does.
"""

# ruff: noqa: INP001 - a script, not a package

import ast
import sys
from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path

from typer.testing import CliRunner

from allocator.asked import pack_named
from allocator.cli import app
from allocator.codes import Rule
from allocator.console import NAME
from allocator.reading.packs import shipped_packs
from allocator.rule_rows import count_by_evidence, rule_rows
from allocator.rules import Evidence

ROOT = Path(__file__).parent.parent
REFERENCE = ROOT / "docs" / "reference"
EVIDENCE = ROOT / "docs" / "explanation" / "evidence.md"

COMMANDS_OPENING = """\
# Commands

<!-- Made from the command line's own help by `python docs/pages.py`.
     Change allocator/cli.py, not this page. -->

What each command prints for `--help`. All of them use the same [exit codes](exit-codes.md). Plans go to
standard output, complaints and the live line of progress to standard error. `Ctrl-C` while a plan is looked
for ends the search with the best plan so far.
"""

RULES_OPENING = """\
# Rule codes

<!-- Made from allocator/codes.py and the checker by `python docs/pages.py`.
     Change those, not this page. -->

A plan must keep every one of these. The code stands in what `allocator check` prints; each has
one function in the checker, in the module that is named. What the search does to keep it is in
[the model](../explanation/the-model.md); the figures behind it are in [rule packs](rule-packs.md).

| code | what it asks | checked in |
|---|---|---|
"""

RULES_END = """
What is wrong today already (fish found in too small a tank, say) is told, marked as found, and is not held
against the plan: no plan could have avoided it.
"""


def commands_page() -> str:
    """Return the page of commands: the help of each, 80 columns wide."""
    names = [
        command.callback.__name__.replace("_", "-") for command in app.registered_commands if command.callback
    ]
    sections = [_section(NAME, []), *(_section(f"{NAME} {name}", [name]) for name in names)]
    return "\n".join([COMMANDS_OPENING, *sections])


def _section(title: str, command: list[str]) -> str:
    runner = CliRunner(env={"COLUMNS": "80", "TERMINAL_WIDTH": "80", "NO_COLOR": "1"})
    shown = runner.invoke(app, [*command, "--help"], prog_name=NAME).output
    return f"## `{title}`\n\n```text\n{shown.rstrip()}\n```\n"


def rules_page() -> str:
    """Return the page of rule codes."""
    checked = dict(_checked_in())
    rows = (f"| `{rule.value}` | {rule.text} | `{checked[rule.name]}` |\n" for rule in Rule)
    return RULES_OPENING + "".join(rows) + RULES_END


def _checked_in() -> Iterator[tuple[str, str]]:
    """Yield each rule's name and the module of its function `check_...` in the checker."""
    for file in sorted((ROOT / "allocator" / "check").glob("*.py")):
        for node in ast.parse(file.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and node.name.startswith("check_"):
                yield node.name.removeprefix("check_").upper(), f"allocator/check/{file.name}"


COUNTS_BEGIN = "<!-- counts: python docs/pages.py -->\n"
COUNTS_END = "<!-- end of counts -->\n"


def evidence_page() -> str:
    """Return the page of evidence with its table of counts made anew; the rest of it is left as it is."""
    page = EVIDENCE.read_text(encoding="utf-8")
    before, _, rest = page.partition(COUNTS_BEGIN)
    _, _, after = rest.partition(COUNTS_END)
    return before + COUNTS_BEGIN + "".join(f"{row}\n" for row in _count_rows()) + COUNTS_END + after


def _count_rows() -> Iterator[str]:
    """Yield how many values of each pack are of each kind, and of all packs together."""
    kinds = [kind for kind in Evidence if kind is not Evidence.KEEPER]
    yield f"| pack | {' | '.join(kind.value for kind in kinds)} | values |"
    yield f"|---|{'---:|' * (len(kinds) + 1)}"
    totals: Counter[Evidence] = Counter()
    for name in shipped_packs():
        counts = count_by_evidence(rule_rows(pack_named(name)))
        totals.update(counts)
        yield _count_row(name, counts, kinds)
    yield _count_row("all packs", totals, kinds)


def _count_row(name: str, counts: Mapping[Evidence, int], kinds: list[Evidence]) -> str:
    numbers = [counts[kind] for kind in kinds]
    return f"| {name} | {' | '.join(map(str, [*numbers, sum(numbers)]))} |"


PAGES = {
    REFERENCE / "commands.md": commands_page,
    REFERENCE / "rules.md": rules_page,
    EVIDENCE: evidence_page,
}

if __name__ == "__main__":
    for page, text in PAGES.items():
        page.write_text(text(), encoding="utf-8", newline="\n")
        sys.stdout.write(f"wrote {page.relative_to(ROOT)}\n")
