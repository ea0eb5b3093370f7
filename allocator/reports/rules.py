"""The rules in force: each figure with its unit, how well it is known, and where it comes from."""

from collections.abc import Sequence

from allocator.reports.tables import Column, clean, paragraph, table
from allocator.reports.words import joined
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
    parts.append(paragraph(evidence_words(rule_rows(pack), evidence)))
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


def evidence_words(rows: Sequence[RuleRow], evidence: Evidence | None = None) -> str:
    """Return how many values are known how well, or known in one way: `12 of 40 values are from memory.`.

    Parameters
    ----------
    rows
        All the values of a pack.
    evidence
        The kind to tell of; all that there are if it is left out.
    """
    counts = count_by_evidence(rows)
    if evidence is not None and counts[evidence] == 0:
        return f"None of {len(rows)} values is {evidence.value}."
    kinds = [kind for kind, number in counts.items() if number and evidence in (None, kind)]
    said = [f"{counts[kind]} {'is' if counts[kind] == 1 else 'are'} {kind.value}" for kind in kinds]
    number, rest = joined(said).split(" ", 1)
    return f"{number} of {len(rows)} values {rest}."


def pack_list_text(packs: Sequence[RulePack]) -> str:
    """Return the shipped packs with what they are about and how well their values are known."""
    parts = ["Rule packs that come with the tool. To see one: allocator rules NAME"]
    for pack in packs:
        about = paragraph(clean(pack.about), indent="  ")
        known = paragraph(evidence_words(rule_rows(pack)), indent="  ")
        parts.append(f"{clean(pack.name)}\n{about}\n{known}")
    return "\n\n".join(parts)


def rules_json(packs: Titled, evidence: Evidence | None = None) -> list[dict[str, object]]:
    """Return the same as plain values, for programs: see `docs/reference/rule-packs.md`."""
    return [
        {
            "for": title,
            "pack": row.pack,
            "name": row.name,
            "value": row.value,
            "unit": row.unit,
            "word": row.word,
            "evidence": row.evidence.value,
            "source": row.source,
            "origin": row.origin,
        }
        for title, pack in packs
        for row in rule_rows(pack, evidence)
    ]
