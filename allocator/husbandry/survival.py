"""How many fish of a brood are left."""

import numpy as np
from numpy.typing import NDArray

from allocator.frozen import kept_in_it
from allocator.rules import Estimate, RulePack

DAYS_A_MONTH = 30.4375
"""365.25 / 12, derived."""


def surviving_share(age_days: float, rules: RulePack, estimate: Estimate) -> float:
    """Return the share of hatched fish alive at an age, 0 to 1.

    Within a step of the pack losses are spread evenly in proportion (a constant daily rate); after the last
    step the pack's monthly survival goes on.

    Parameters
    ----------
    age_days
        Days after hatch, 0 or more.
    """
    alive, begun = 1.0, 0.0
    for step in rules.survival:
        until = step.until_age_days.value
        part = min(max(age_days - begun, 0.0), until - begun) / (until - begun)
        alive *= float(step.share.at(estimate) ** part)
        begun = until
        if age_days <= until:
            return alive
    monthly = rules.monthly_survival_after.at(estimate)
    return alive * float(monthly ** ((age_days - begun) / DAYS_A_MONTH))


LONGEST_DAYS = 2048
"""Days for which a table of shares is laid out at first: beyond any plan (5.6 years)."""


@kept_in_it
def surviving_by_day(rules: RulePack, estimate: Estimate, days: int = LONGEST_DAYS) -> NDArray[np.float64]:
    """Return the share of hatched fish alive at each whole age from 0 on, shape (days,): see `surviving_share`."""
    shares = np.array([surviving_share(age, rules, estimate) for age in range(days)])
    shares.setflags(write=False)
    return shares
