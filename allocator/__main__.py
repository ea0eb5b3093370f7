"""Run the tool with `python -m allocator`."""

import sys

from allocator.cli import main

if __name__ == "__main__":
    sys.exit(main())
