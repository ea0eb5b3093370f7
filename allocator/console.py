"""The tool's one mouth: text to stdout, complaints to stderr, a live line while planning, and exit codes."""

import os
import sys
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from enum import IntEnum
from typing import TYPE_CHECKING

from allocator.interrupt import INTERRUPTED, STOPPED

if TYPE_CHECKING:
    from allocator.result import Progress

MOST_PROBLEMS = 25
BROKEN_PIPE = 141
NAME = "allocator"
DEBUG_VARIABLE = "ALLOCATOR_DEBUG"


class Exit(IntEnum):
    """Exit codes, the same for every command."""

    FITS = 0
    DOES_NOT_FIT = 1
    BAD_INPUT = 2
    NO_PLAN = 3
    BUG = 70


class UserError(Exception):
    """Something the user can put right; carries lines for stderr."""

    def __init__(self, what: str, hint: str | None = None) -> None:
        super().__init__(what if hint is None else f"{what}. Hint: {hint}")


Shows = Callable[["Progress"], None]
"""Shows how far a plan has come."""


class ReaderGoneError(Exception):
    """Whoever read stdout has closed it."""


def say(text: str) -> None:
    """Print to stdout, as it is."""
    try:
        sys.stdout.write(text.rstrip("\n") + "\n")
        sys.stdout.flush()
    except BrokenPipeError as error:
        # As the error that it is, the command line library would take it for one of its own.
        raise ReaderGoneError from error
    except OSError as error:
        from allocator.writing import plain_words  # noqa: PLC0415 - keeps --help quick

        _let_go_of_stdout()
        raise UserError(f"the answer cannot be printed: {plain_words(error)[0]}") from error


def _let_go_of_stdout() -> None:
    """Keep the interpreter from complaining when it flushes what nobody can take any more."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def complain(lines: Sequence[str]) -> None:
    """Print to stderr, at most 25 lines and how many more there are."""
    shown = list(lines[:MOST_PROBLEMS])
    if len(lines) > MOST_PROBLEMS:
        shown.append(f"and {len(lines) - MOST_PROBLEMS} more")
    sys.stderr.write("\n".join(shown) + "\n")


@contextmanager
def live_line() -> Iterator[Shows]:
    """Show progress on one line of stderr, if stderr is a terminal; it is gone when the work is done."""
    if not sys.stderr.isatty():
        yield _show_nothing
        return
    from rich.console import Console  # noqa: PLC0415 - a tenth of a second that only planning pays
    from rich.text import Text  # noqa: PLC0415

    console = Console(stderr=True)
    with console.status(Text("planning; Ctrl-C ends it with the best plan so far")) as status:
        yield lambda progress: status.update(Text(progress_words(progress)))


def _show_nothing(_: "Progress") -> None:
    """Keep quiet where nobody is watching."""


def progress_words(progress: "Progress") -> str:
    """Return `fewest tanks: 240 so far, at best 120, 12 s`."""
    words = progress.stage
    if progress.value is not None:
        words += f": {progress.value:g} so far"
        if progress.bound is not None:
            words += f", at best {progress.bound:g}"
    return f"{words}, {progress.seconds:.0f} s (Ctrl-C ends it with the best plan so far)"


def guarded(run: Callable[[], int], *, debug: bool) -> int:
    """Run a command and turn whatever goes wrong into a message and an exit code.

    This is the only place that does so.
    """
    for stream in (sys.stdout, sys.stderr):
        # A name that the terminal's character set lacks is shown as an escape and does not stop the run.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    try:
        code = run()
    except KeyboardInterrupt:
        complain([STOPPED])
        return INTERRUPTED
    except ReaderGoneError:
        _let_go_of_stdout()
        return BROKEN_PIPE
    except Exception as fault:  # noqa: BLE001 - the last stop before the user
        if debug:
            traceback.print_exc()
        if _is_interrupt(fault):
            complain([STOPPED])
            return INTERRUPTED
        return _explain(fault)
    if code == INTERRUPTED:  # the command line library makes an exit code of Ctrl-C
        complain([STOPPED])
    return code


def _is_interrupt(fault: Exception) -> bool:
    """Tell whether Ctrl-C was heard while something was loaded, which then could not be."""
    seen: set[int] = set()
    cause: BaseException | None = fault if isinstance(fault, ImportError) else None
    while cause is not None and id(cause) not in seen:
        if isinstance(cause, KeyboardInterrupt):
            return True
        seen.add(id(cause))
        cause = cause.__cause__ or cause.__context__
    return False


def _explain(fault: Exception) -> int:
    from allocator.problems import InputError  # noqa: PLC0415 - keeps --help quick

    usage = getattr(fault, "format_message", None)
    if usage is not None:
        complain([f"{NAME}: {_lower(usage())} Hint: {_help_command(fault)}"])
        return Exit.BAD_INPUT
    if isinstance(fault, InputError):
        complain([str(problem) for problem in fault.problems])
        return Exit.BAD_INPUT
    if isinstance(fault, UserError):
        complain([f"{NAME}: {fault}"])
        return Exit.BAD_INPUT
    if isinstance(fault, OSError):
        where = f"{fault.filename}: " if fault.filename else ""
        complain([f"{NAME}: {where}{_lower(fault.strerror or str(fault))}"])
        return Exit.BAD_INPUT
    if type(fault).__name__ == "NoPlanInTime":
        complain([f"{NAME}: {fault}. Hint: give more time"])
        return Exit.NO_PLAN
    where = f"{type(fault).__name__} at {_place(fault)}"
    complain(
        [
            f"{NAME}: this is a fault of the tool, not of your files: {where}.",
            f"Please report it, with what the same command prints as `{NAME} --debug ...`.",
        ]
    )
    return Exit.BUG


def _lower(message: str) -> str:
    """Return a message that begins like all others and ends with a full stop."""
    text = message.strip().rstrip(".")
    return f"{text[:1].lower()}{text[1:]}."


def _help_command(fault: Exception) -> str:
    context = getattr(fault, "ctx", None)
    path = context.command_path if context is not None else NAME
    return f"{path} --help"


def _place(fault: Exception) -> str:
    frames = traceback.extract_tb(fault.__traceback__)
    return f"{os.path.basename(frames[-1].filename)}:{frames[-1].lineno}" if frames else "an unknown place"  # noqa: PTH119
