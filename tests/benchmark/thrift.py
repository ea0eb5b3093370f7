"""What an empty vessel-day should be worth to first fit: `python -m tests.benchmark.thrift`.

Each room is settled once, from nothing and with nothing added, for several weights (see `allocator.model.option`).
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from allocator.model.first_fit import FirstFit
from allocator.model.option import Thrift
from allocator.needs import needs_of
from benchmark.rooms import bench_room

ROOMS = (
    ("tight-longs", "club", 1),
    ("bulk", "club", 1),
    ("half-full", "club", 1),
    ("tight-longs", "farm", 1),
)
WEIGHTS = (0.3, 3.0, 30.0, 300.0, 3000.0)


def main() -> None:
    """Print for each room and weight the fish-days without a home, and the strain."""
    for room in ROOMS:
        needs = needs_of(bench_room(*room))
        for weight in WEIGHTS:
            fit = FirstFit(needs, {}, Thrift(weight, weight / 30))
            fit.run()
            score = fit.board.score()
            print(*room, weight, score.homeless_fish_days, score.strain, sep="\t")


if __name__ == "__main__":
    main()
