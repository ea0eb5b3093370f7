"""Run the benchmark: `python -m tests.benchmark --help`, from the root of a checkout."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from benchmark.command import main

if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
