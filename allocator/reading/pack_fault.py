"""One thing that is wrong with a rule pack."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong with one figure, by its dotted name. A mild one is only warned of."""

    name: str
    what: str
    hint: str | None = None
    mild: bool = False
