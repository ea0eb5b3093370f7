"""One rule that a plan breaks, in plain words."""

from datetime import date

from allocator.codes import Rule
from allocator.frozen import Frozen


class Breach(Frozen):
    """What is wrong, on which day, with which brood in which vessel.

    `as_found` says that the breach comes only from where the fish are today: no plan could have avoided it.
    """

    rule: Rule
    day: date
    brood: str | None
    vessel: str | None
    text: str
    as_found: bool = False
