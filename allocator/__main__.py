"""Where the tool begins: `allocator`, or `python -m allocator`."""

# ruff: noqa: PLC0415 - the rest is loaded only once Ctrl-C is harmless

import sys

from allocator.interrupt import stop_while_loading


def main() -> int:
    """Load the command line and run it; Ctrl-C while it is loaded ends the run."""
    with stop_while_loading():
        from allocator.cli import main as run

    return run()


if __name__ == "__main__":
    sys.exit(main())
