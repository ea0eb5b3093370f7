"""What the checker has to say about a plan, rule by rule."""

from collections.abc import Sequence

from allocator.check.breach import Breach
from allocator.codes import Rule
from allocator.reports.tables import clean, paragraph
from allocator.reports.words import count_of, day_words

MOST_OF_A_RULE = 25


def check_text(breaches: Sequence[Breach]) -> str:
    """Return `keeps every rule`, or the breaches grouped by the code of their rule."""
    if not breaches:
        return "The plan keeps every rule."
    found = [breach for breach in breaches if breach.as_found]
    broken = [breach for breach in breaches if not breach.as_found]
    parts = []
    if broken:
        rules = len({breach.rule for breach in broken})
        parts.append(f"The plan breaks {count_of(rules, 'rule')}, in {count_of(len(broken), 'place')}.")
        parts += _by_rule(broken)
    else:
        parts.append("The plan keeps every rule that it could keep.")
    if found:
        parts.append("So today, before any plan could change it:")
        parts += _by_rule(found)
    return "\n\n".join(parts)


def _by_rule(breaches: Sequence[Breach]) -> list[str]:
    parts = []
    for rule in Rule:
        of_rule = sorted(
            (breach for breach in breaches if breach.rule is rule),
            key=lambda b: (b.day, b.vessel or "", b.brood or "", b.text),
        )
        if of_rule:
            lines = [paragraph(f"{rule.value}: {rule.text}", hanging="  ")]
            lines += [_line(breach) for breach in of_rule[:MOST_OF_A_RULE]]
            if len(of_rule) > MOST_OF_A_RULE:
                lines.append(f"  and {len(of_rule) - MOST_OF_A_RULE} more")
            parts.append("\n".join(lines))
    return parts


def _line(breach: Breach) -> str:
    where = ", ".join(
        [day_words(breach.day), *(clean(name) for name in (breach.vessel, breach.brood) if name)]
    )
    return paragraph(f"{where}: {clean(breach.text)}", indent="  ", hanging="    ")
