"""The reference page of the cautions, made from their list.

`python -m allocator.reports.caution_page docs/reference/cautions.md` writes it; without a file it is printed.
"""

import sys
from collections.abc import Iterator
from pathlib import Path

from allocator.reports.caution_list import CAUTIONS, SPECIES, Caution, Situation
from allocator.reports.cautions import HOLDS

OPENING = """\
# Cautions

<!-- Made from the list by `python -m allocator.reports.caution_page docs/reference/cautions.md`.
     Change allocator/reports/caution_list.py, not this page. -->

Everything that the tool warns of: when, in which words, printed by which command, and what it rests on. A
caution is printed only where its situation is there. For `plan` and `tanks` the days looked at are those of
the whole plan, for `where` the one day, for `moves` the days asked for; where there is nothing to move,
`moves` prints none. `sheet` prints those of `moves`, on the card of a tank only that of water and mains;
`calendar` prints those of `moves` for the whole plan; `water` prints that of mains where fish swim.

That a caution is missing from a page means only that the plan does not show its situation. The list gives no
doses and judges no shelf, floor or law: labels, local codes, authorities and qualified people come first.
What "published" and "common practice" mean is said in [rule packs](rule-packs.md).

"""

WEIGHTS = """\
## How the weight of a shelf is worked out

`plan` and `tanks` print what each shelf carries beside the load that you state as `rated_kg` in the
[room file](room-file.md#racks). The figure is a sum and no judgement:

- water: inside length x width x water depth, at 1 kg a litre. Fresh water weighs a little less, 0.997 kg a
  litre at 25 C (Tanaka et al. 2001, Metrologia 38:301-309; the formula from memory, checked against a printed
  table), so the sum errs upwards by half a percent at most between 4 and 30 C.
  Salt water weighs more. Water that stands higher than the depth you gave weighs more too.
- the empty vessel: `empty_weight_kg` from the room file. Where it is missing, only the water is counted, the
  table says so, and the share used is "at least" so much.
- all vessels of the shelf, filled at the same time, also those that come later or go.
- the share used: the sum divided by the load you state, rounded up to a whole percent.

For example: two tanks of 50 x 25 cm, 24 cm deep, hold 30 litres each. With 5 kg of glass each they weigh
2 x (30 + 5) = 70 kg, which is 59 % of a stated 120 kg (58.3, rounded up).

Not counted: gravel, stands, filters, covers, the shelf itself. They matter: a published table of tank sizes
gives a tank of ten US gallons 100 lb from empty to filled, ten pounds a gallon, where water alone weighs
8.3 (read on a page of tank sizes).
"""


def page() -> str:
    """Return the whole page in Markdown."""
    used = [situation for situation in Situation if _of(situation)]
    contents = "\n".join(f"- [{_title(situation)}](#{_anchor(_title(situation))})" for situation in used)
    sections = ["\n".join(_section(situation)) for situation in used]
    end = "- [How the weight of a shelf is worked out](#how-the-weight-of-a-shelf-is-worked-out)\n"
    return OPENING + contents + "\n" + end + "\n" + "\n".join(sections) + "\n" + WEIGHTS


def _of(situation: Situation) -> list[Caution]:
    return [caution for caution in CAUTIONS if caution.situation is situation]


def _title(situation: Situation) -> str:
    return f"When {situation.value}"


def _anchor(title: str) -> str:
    """Return the anchor of a heading: small letters and digits, hyphens for spaces."""
    kept = "".join(char for char in title.lower() if char.isalnum() or char in "_- ")
    return kept.replace(" ", "-")


def _section(situation: Situation) -> Iterator[str]:
    yield f"## {_title(situation)}\n"
    if situation not in HOLDS:
        yield "The command that prints it knows of it.\n"
    for caution in _of(situation):
        text = caution.text.replace(SPECIES, "(the species of your lines)")
        yield f"**{caution.key}**: {text}\n"
        yield f"- printed by: {', '.join(f'`{name.value}`' for name in caution.pages)}"
        yield f"- evidence: {caution.evidence.value}"
        yield f"- source: {caution.source}\n"


def main(arguments: list[str]) -> None:
    """Write the page to the file that is named, or to standard output."""
    if arguments:
        Path(arguments[0]).write_text(page(), encoding="utf-8", newline="\n")
    else:
        sys.stdout.write(page())


if __name__ == "__main__":
    main(sys.argv[1:])
