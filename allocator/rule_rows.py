"""The figures of a rule pack as flat rows, for lists and pages: which number, from where, how well known."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from allocator.rules import Evidence, FlowSetting, RulePack

SETTING_UNIT = "setting"
"""The unit of figures that are flow settings and read better as words."""


@dataclass(frozen=True, slots=True)
class RuleRow:
    """One figure of one pack. `name` is the dotted name by which a keeper can change it."""

    pack: str
    name: str
    value: float
    unit: str
    evidence: Evidence
    source: str
    origin: str

    @property
    def word(self) -> str | None:
        """A flow setting as a word; None for all other values."""
        return FlowSetting(int(self.value)).word if self.unit == SETTING_UNIT else None

    @property
    def shown(self) -> str:
        """The value as text without its unit: a flow setting as a word, a number as short as can be."""
        return self.word or f"{self.value:g}"


def rule_rows(pack: RulePack, evidence: Evidence | None = None) -> list[RuleRow]:
    """Return the figures of a pack in its own order, all or only those of one kind of evidence."""
    return [
        RuleRow(pack.name, name, figure.value, figure.unit, figure.evidence, figure.source, figure.origin)
        for name, figure in pack.figures()
        if evidence in (None, figure.evidence)
    ]


def count_by_evidence(rows: Iterable[RuleRow]) -> dict[Evidence, int]:
    """Return how many figures have each kind of evidence, strongest first; 0 where there is none."""
    counted = Counter(row.evidence for row in rows)
    return {kind: counted[kind] for kind in Evidence}
