"""The rules in force: each figure with its unit, how well it is known, and where it comes from."""

from collections.abc import Sequence

from allocator.reports.tables import Column, clean, paragraph, table
from allocator.reports.words import count_of, joined
from allocator.rule_rows import RuleRow, count_by_evidence, rule_rows
from allocator.rules import Evidence, RulePack

COLUMNS = (
    Column("figure", least=38),
    Column("value", right=True, least=8),
    Column("unit", least=10),
    Column("evidence", least=10),
    Column("from", right=True, least=4),
)

Titled = Sequence[tuple[str, RulePack]]


def rules_text(packs: Titled, evidence: Evidence | None = None) -> str:
    """Return the figures of some packs, all or only those of one kind of evidence.

    Parameters
    ----------
    packs
        (what the pack is for, such as `line kutubu`, and the pack).
    """
    return "\n\n\n".join(_pack_text(title, pack, evidence) for title, pack in packs)


def _pack_text(title: str, pack: RulePack, evidence: Evidence | None) -> str:
    rows = rule_rows(pack, evidence)
    parts = [
        paragraph(f"{clean(title)}: rules {clean(pack.name)}"),
        paragraph(clean(pack.about), indent="  "),
    ]
    parts.append(paragraph(evidence_words(rows)))
    if not rows:
        return "\n\n".join(parts)
    numbers = {
        source: n for n, source in enumerate(dict.fromkeys((r.source, r.origin) for r in rows), start=1)
    }
    shown = [
        (clean(r.name), r.shown, clean(r.unit), r.evidence.value, f"({numbers[r.source, r.origin]})")
        for r in rows
    ]
    parts.append(table(COLUMNS, shown))
    sources = ["Where they come from"]
    for (source, origin), number in numbers.items():
        text = f"({number}) {clean(source)} [said in {clean(origin)}]"
        sources.append(paragraph(text, indent="  ", hanging="      "))
    parts.append("\n".join(sources))
    return "\n\n".join(parts)


def evidence_words(rows: Sequence[RuleRow]) -> str:
    """Return how many figures are known how well: `112 figures: 32 published and 80 from memory.`."""
    counts = [f"{n} {kind.value}" for kind, n in count_by_evidence(rows).items() if n]
    return f"{count_of(len(rows), 'figure')}: {joined(counts)}." if counts else "No figures of this kind."


def pack_list_text(packs: Sequence[RulePack]) -> str:
    """Return the shipped packs with what they are about."""
    parts = ["Rule packs that come with the tool. To see one: allocator rules NAME"]
    for pack in packs:
        words = f"{clean(pack.about)} {evidence_words(rule_rows(pack))}"
        parts.append(f"{clean(pack.name)}\n{paragraph(words, indent='  ')}")
    return "\n\n".join(parts)


def rules_json(packs: Titled, evidence: Evidence | None = None) -> list[dict[str, object]]:
    """Return the same as plain values, for programs."""
    return [
        {
            "for": title,
            "pack": row.pack,
            "name": row.name,
            "value": row.value,
            "unit": row.unit,
            "evidence": row.evidence.value,
            "source": row.source,
            "origin": row.origin,
        }
        for title, pack in packs
        for row in rule_rows(pack, evidence)
    ]
