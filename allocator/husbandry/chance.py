"""What chance does to vessels that are filled as broods happen to come: Erlang's loss formula.

It holds for arrivals that do not know of each other (Poisson), equal vessels, one for each brood, and broods that
are lost when none is free. How long each brood stays matters through its mean only. A. K. Erlang (1917); the
recursion as given in several manuals of telephone traffic, after which published tables are made.
"""

_HALVINGS = 60
"""Each halves what is not known: after so many a float knows no better (derived: 2 to the 60th is above 1e18)."""


def erlang_b(vessels: int, offered: float) -> float:
    """Return the share of broods that find every vessel taken, 0 to 1.

    Parameters
    ----------
    vessels
        How many there are, 0 or more.
    offered
        Broods a day times the mean days that each needs a vessel, 0 or more: by Little's law (1961), so many
        vessels would be in use on average if nobody were turned away.

    Raises
    ------
    ValueError
        If one of them is below 0.
    """
    if vessels < 0 or offered < 0:
        raise ValueError(f"vessels and offered must be 0 or more (got {vessels} and {offered:g})")
    share = 1.0
    for number in range(1, vessels + 1):
        share = offered * share / (number + offered * share)
    return share


def most_offered(vessels: int, share: float) -> float:
    """Return how much may be offered so that no larger share is turned away: see `erlang_b`.

    Raises
    ------
    ValueError
        If the share does not lie between 0 and 1, both excluded.
    """
    if not 0 < share < 1:
        raise ValueError(f"the share must be between 0 and 1 (got {share:g})")
    low, high = 0.0, float(vessels + 1)
    while erlang_b(vessels, high) < share:
        high *= 2
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if erlang_b(vessels, middle) <= share else (low, middle)
    return low
