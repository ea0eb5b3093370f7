"""The tool's one mouth: text to stdout, complaints to stderr, a live line while planning, and exit codes."""

import json
import os
import shutil
import sys
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from enum import IntEnum
from pathlib import Path
from typing import TYPE_CHECKING

from allocator.interrupt import INTERRUPTED, STOPPED
from allocator.paper import WIDTH, Paper, paper, printed_on

if TYPE_CHECKING:
    from allocator.result import Progress

MOST_PROBLEMS = 25
BROKEN_PIPE = 141
NAME = "allocator"
DEBUG_VARIABLE = "ALLOCATOR_DEBUG"
PLAIN_VARIABLE = "ALLOCATOR_PLAIN"
WIDEST = 120
"""Tables grow no wider than this on a wider terminal: the eye must find the way along a row (judgement)."""

DRAWN = "┌─┐│└┘█░"
"""Characters that pictures are drawn with."""

PLANNING = "planning; Ctrl-C ends it with the best plan so far"

_DUMB = ("dumb", "unknown")
_BEGINS_DATA = ("{", "[\n")


class Exit(IntEnum):
    """Exit codes, the same for every command."""

    FITS = 0
    DOES_NOT_FIT = 1
    BAD_INPUT = 2
    NO_PLAN = 3
    BUG = 70


class UserError(Exception):
    """Something the user can put right; carries a line for stderr, or several."""

    def __init__(self, what: str, hint: str | None = None) -> None:
        super().__init__(what if hint is None else f"{what}. Hint: {hint}")
        self.lines: tuple[str, ...] = (str(self),)

    @classmethod
    def all_of(cls, errors: Sequence["UserError"]) -> "UserError":
        """Return one or more errors as one, so that all are told at once."""
        together = cls("; ".join(map(str, errors)))
        together.lines = tuple(line for error in errors for line in error.lines)
        return together


Shows = Callable[["Progress"], None]
"""Shows how far a plan has come."""


class ReaderGoneError(Exception):
    """Whoever read stdout has closed it."""


def paper_of_stdout(*, plain: bool) -> Paper:
    """Return what stdout can show: a page of 80 columns, or a terminal that may be wider and shows styles.

    `NO_COLOR` (no-color.org) and `TERM=dumb` make a terminal print what a file would get.
    """
    out = sys.stdout
    if plain:
        return Paper(plain=True, boxes=False)
    no_style = bool(os.environ.get("NO_COLOR")) or os.environ.get("TERM") in _DUMB
    if no_style or not out.isatty():
        return Paper(boxes=_can_draw(out.encoding))
    width = min(max(shutil.get_terminal_size((WIDTH, 24)).columns, WIDTH), WIDEST)
    return Paper(width=width, boxes=_can_draw(out.encoding), styled=True)


def _can_draw(encoding: str | None) -> bool:
    try:
        DRAWN.encode(encoding or "utf-8")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def say(text: str) -> None:
    """Print to stdout, as it is; a terminal shows headings in bold and what is short in colour too."""
    shown = text.rstrip("\n") + "\n"
    if shown.startswith(_BEGINS_DATA):
        shown = _data(shown)
    elif paper().styled:
        shown = _styled(shown)
    try:
        sys.stdout.write(shown)
        sys.stdout.flush()
    except BrokenPipeError as error:
        # As the error that it is, the command line library would take it for one of its own.
        raise ReaderGoneError from error
    except OSError as error:
        from allocator.writing import plain_words  # noqa: PLC0415 - keeps --help quick

        _let_go_of_stdout()
        raise UserError(f"the answer cannot be printed: {plain_words(error)[0]}") from error


def _styled(text: str) -> str:
    from rich.console import Console  # noqa: PLC0415 - a tenth of a second that only a terminal pays

    from allocator.styles import styled  # noqa: PLC0415

    console = Console(file=sys.stdout, soft_wrap=True, highlight=False)
    if console.legacy_windows:  # knows no escape sequences
        return text
    with console.capture() as captured:  # a closed pipe is for `say` to meet, not for the library
        console.print(styled(text), end="")
    return captured.get()


def _data(text: str) -> str:
    """Return JSON that stdout can take: other letters as JSON's own escapes, for those of Python are none."""
    try:
        text.encode("ascii" if paper().plain else sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:
        return "".join(char if char.isascii() else json.dumps(char)[1:-1] for char in text)
    return text


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
    if paper().plain:  # a line that changes all the time is read aloud all the time
        complain([PLANNING])
        yield _show_nothing
        return
    from rich.console import Console  # noqa: PLC0415 - a tenth of a second that only planning pays
    from rich.text import Text  # noqa: PLC0415

    console = Console(stderr=True)
    with console.status(Text(PLANNING)) as status:
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


def guarded(run: Callable[[], int], *, debug: bool, plain: bool = False) -> int:
    """Run a command and turn whatever goes wrong into a message and an exit code.

    This is the only place that does so.
    """
    _stand_in_for_what_is_closed()
    for stream in (sys.stdout, sys.stderr):
        # A name that the terminal's character set lacks is shown as an escape and does not stop the run.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace", encoding="ascii" if plain else None)
    try:
        with printed_on(paper_of_stdout(plain=plain)):
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


def _stand_in_for_what_is_closed() -> None:
    """Let a run without stdout or stderr, as some schedulers start it, do its work: Python has None in their place."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115 - to the end of the run


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
        complain([f"{NAME}: {line}" for line in fault.lines])
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
    """Return a message that begins like all others and ends with a full stop, or with its question mark."""
    text = message.strip().rstrip(".")
    return f"{text[:1].lower()}{text[1:]}" + ("" if text.endswith("?") else ".")


def _help_command(fault: Exception) -> str:
    context = getattr(fault, "ctx", None)
    path = context.command_path if context is not None else NAME
    return f"{path} --help"


def _place(fault: Exception) -> str:
    frames = traceback.extract_tb(fault.__traceback__)
    return f"{os.path.basename(frames[-1].filename)}:{frames[-1].lineno}" if frames else "an unknown place"  # noqa: PTH119
