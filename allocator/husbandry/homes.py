"""How many fish of a brood are in each of its homes today."""

from datetime import date
from math import ceil

from allocator.husbandry.life import Life


def fish_today(life: Life, today: date) -> dict[str, int]:
    """Return how many fish of a brood in being are in each of its homes today.

    As the keeper gave it; what is left of the brood, rounded up, is shared out evenly over the other homes.
    """
    homes = life.brood.homes
    open_homes = [home.vessel for home in homes if home.fish is None]
    left = max(0, ceil(life.heads(today)) - sum(home.fish or 0 for home in homes))
    share = {
        name: left // len(open_homes) + (place < left % len(open_homes))
        for place, name in enumerate(open_homes)
    }
    return {home.vessel: share[home.vessel] if home.fish is None else home.fish for home in homes}
