"""Where the tool begins: `allocator`, or `python -m allocator`."""

# ruff: noqa: PLC0415 - the rest is loaded only once Ctrl-C is harmless

import signal
import sys


def main() -> int:
    """Load the command line and run it; Ctrl-C while it is loaded ends the run without a word."""
    before = signal.getsignal(signal.SIGINT)
    if before is signal.default_int_handler:  # where Ctrl-C is to be ignored, it still is
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    from allocator.cli import main as run

    signal.signal(signal.SIGINT, before)
    return run()


if __name__ == "__main__":
    sys.exit(main())
