"""What a terminal shows and what a pipe gets: styles, widths, ASCII, and terminals that can do little."""

import ast
import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from functools import cache
from io import StringIO
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from room_files import EVERYTHING, SCENARIOS, TINY

from allocator import console, styles
from allocator.asked import write_plan
from allocator.cli import app, main
from allocator.console import DRAWN, WIDEST, Exit, guarded, live_line, paper_of_stdout, say
from allocator.model import improving
from allocator.paper import WIDTH, Paper, printed_on
from allocator.planner import plan_room
from allocator.reading import read_room
from allocator.reports.tables import Column, clean, display_width, paragraph, table
from allocator.reports.words import WEEK

ROOT = Path(__file__).parent.parent
ESCAPE = re.compile(r"\x1b\[[0-9;]*m")
"""Select graphic rendition: ECMA-48, 8.3.117."""

ROOMS = ("everything.yaml", "too-small.yaml", "club-room.yaml")
"""One with every key, one that needs tanks, and a large one."""
OF_A_PLAN = ("moves", "where --on", "rack --on", "water --on", "tanks", "sheet")
"""Commands that only read a plan, tried on every room."""

OF_TINY = {
    "plan": "plan ROOM",
    "moves": "moves ROOM --plan PLAN",
    "where": "where ROOM --plan PLAN --on 2027-02-06",
    "rack": "rack ROOM --plan PLAN --on 2027-02-06",
    "water": "water ROOM",
    "tanks": "tanks ROOM --plan PLAN",
    "check": "check ROOM PLAN",
    "rules": "rules rainbowfish-large",
    "new": "new FOLDER/new.yaml",
    "fit": "fit ROOM --plan PLAN",
    "pair": "pair ROOM --plan PLAN --in long --until 2027-02-01 --every 28 --eggs 10",
    "compare": "compare ROOM --with one_box",
    "calendar": "calendar ROOM --plan PLAN --out FOLDER/room.ics",
    "sheet": "sheet ROOM --plan PLAN",
    "pace": "pace ROOM --time 0.01",
    "luck": "luck ROOM --plan PLAN --replays 20",
    "target": "target ROOM --plan PLAN --fish 5 --by 2027-12-04",
    "why": "why ROOM A",
    "report": "report ROOM --plan PLAN --out FOLDER/plan.html",
    "sheet_in": "sheet-in FOLDER/filled-in.xlsx",
    "forward": "forward ROOM PLAN --to 2027-02-06",
    "sheet_out": "sheet-out ROOM --out FOLDER/room.xlsx",
}
"""How each command is tried on the smallest room; `_` stands for a space."""


class Terminal(StringIO):
    """A text stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def terminal(monkeypatch: pytest.MonkeyPatch) -> Terminal:
    """Return a terminal of 80 columns that stdout goes to from now on (pytest puts its own in place after fixtures)."""
    screen = Terminal()
    monkeypatch.setattr(sys, "stdout", screen)
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.delenv("NO_COLOR", raising=False)
    return screen


@pytest.fixture(autouse=True)
def hardly_any_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """Plan with next to no search: how good a plan is does not matter here."""
    monkeypatch.setattr(improving, "WORK", dict.fromkeys(improving.WORK, 0.02))


@pytest.fixture(scope="session")
def plans(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Return a way to get a plan of a scenario as a file."""
    folder = tmp_path_factory.mktemp("plans")

    @cache
    def plan_of(name: str) -> Path:
        file, reading = folder / f"{name}.json", read_room(SCENARIOS / name)
        write_plan(plan_room(reading.room), reading.digest, file, None)
        return file

    return plan_of


@cache
def rules_in_a_pipe(*names: str) -> str:
    """Return the rules as a pipe gets them."""
    return run("rules", *names).stdout


def run(*arguments: object, encoding: str = "utf-8", **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the tool with its output in pipes."""
    return subprocess.run(
        [sys.executable, "-m", "allocator", *map(str, arguments)],
        capture_output=True,
        text=True,
        encoding=encoding,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": encoding, **environment},
    )


def on_a_terminal(*arguments: object, columns: int = 80, **environment: str) -> str:
    """Run the tool with stdout on a real pseudo-terminal, and return what it writes there."""
    pty = pytest.importorskip("pty", reason="there are pseudo-terminals on POSIX only")
    import fcntl  # noqa: PLC0415 - the same
    import struct  # noqa: PLC0415
    import termios  # noqa: PLC0415

    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40 if columns else 0, columns, 0, 0))
    given_here = {
        name: value for name, value in os.environ.items() if name not in {"NO_COLOR", "COLUMNS", "LINES"}
    }
    with subprocess.Popen(
        [sys.executable, "-m", "allocator", *map(str, arguments)],
        stdout=theirs,
        stderr=subprocess.DEVNULL,
        env={
            **given_here,
            "PYTHONPATH": str(ROOT),
            "TERM": "xterm-256color",
            "PYTHONUTF8": "1",
            **environment,
        },
    ):
        os.close(theirs)
        written = b""
        while True:
            try:
                part = os.read(ours, 65536)
            except OSError:  # Linux says so when the other side is closed
                break
            if not part:
                break
            written += part
    os.close(ours)
    return written.decode().replace("\r\n", "\n")


def recorded(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, str]]:
    """Return a list that takes (text, what is shown of it) of all that is said on a terminal from now on."""
    said: list[tuple[str, str]] = []
    real = console._styled

    def styled(text: str) -> str:
        said.append((text, real(text)))
        return said[-1][1]

    monkeypatch.setattr(console, "_styled", styled)
    return said


# Styles take nothing away and add nothing


@pytest.mark.parametrize("name", ROOMS)
@pytest.mark.parametrize("command", OF_A_PLAN)
def test_without_its_styles_every_page_is_the_plain_text(
    name: str, command: str, plans: Callable[[str], Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    said, screen = recorded(monkeypatch), terminal(monkeypatch)
    assert main(of_a_plan(command, name, plans)) in {Exit.FITS, Exit.DOES_NOT_FIT}
    assert ESCAPE.search(screen.getvalue())
    assert [ESCAPE.sub("", styled) for _, styled in said] == [text for text, _ in said]
    assert ESCAPE.sub("", screen.getvalue()) == "".join(text for text, _ in said)


def of_a_plan(command: str, name: str, plans: Callable[[str], Path]) -> list[str]:
    """Return the arguments of a command on a scenario and its plan, three weeks after its plan begins."""
    word, *on = command.split()
    day = read_room(SCENARIOS / name).room.today + 3 * WEEK
    return [word, str(SCENARIOS / name), "--plan", str(plans(name)), *(f"--on={day}" for _ in on)]


def test_every_command_is_tried_here() -> None:
    assert set(OF_TINY) | {"open"} == {  # which goes on until Ctrl-C
        command.callback.__name__ for command in app.registered_commands if command.callback
    }


@pytest.mark.parametrize("command", OF_TINY)
def test_without_its_styles_every_command_says_the_same(
    command: str,
    plans: Callable[[str], Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    main(["sheet-out", str(TINY), "--out", str(tmp_path / "filled-in.xlsx")])  # for those that read one
    said, screen = recorded(monkeypatch), terminal(monkeypatch)
    code = main(filled(OF_TINY[command], plans, tmp_path))
    assert code in {Exit.FITS, Exit.DOES_NOT_FIT}
    assert said
    assert [ESCAPE.sub("", styled) for _, styled in said] == [text for text, _ in said]
    assert screen.getvalue() == "".join(styled for _, styled in said)


def filled(line: str, plans: Callable[[str], Path], folder: Path) -> list[str]:
    words = {"ROOM": str(TINY), "PLAN": str(plans("tiny.yaml"))}
    return [
        words.get(word, word.replace("FOLDER", str(folder)).replace("one_box", "one box"))
        for word in line.split()
    ]


@given(st.text())
def test_any_text_keeps_every_character_and_its_spans_lie_within(text: str) -> None:
    found = list(styles.spans(text))
    assert all(0 <= span.start < span.end <= len(text) for span in found)
    cleaned = "".join(
        char for char in text if char not in "\a\b\v\f\r"
    )  # rich drops these; `clean` shows them
    assert styles.styled(cleaned).plain == cleaned


@pytest.mark.parametrize(
    "name", ["[bold]", "[/R4]", "[red]x[/red]", ":fish:", "https://example.org", "1e5 'a'", "\\["]
)
def test_names_are_never_read_as_markup(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    screen = terminal(monkeypatch)
    guarded(lambda: say(f"Everything fits.\n\nHeading\n  {name}") or 0, debug=False)
    assert screen.getvalue() == f"\x1b[1;32mEverything fits.\x1b[0m\n\n\x1b[1mHeading\x1b[0m\n  {name}\n"


# What stands out


def marked(text: str) -> dict[str, str]:
    """Return what stands out, and how."""
    return {text[span.start : span.end]: span.style for span in styles.spans(text)}


def test_verdict_headings_and_shortages_stand_out() -> None:
    text = (
        "Needs more tanks: 1 more like long, in use from Sat 22 Apr 2028 (price\n120).\n\n"
        "With what you have\n  no home for   fish\n  -----------  ----\n  L                4\n\n"
        "box 1, 3 l (0.8 US gal), flow still: 139 % full, too full (number of fish\n  fills it first)\n    L  lake\n\n"
        "Fish and lengths are what the plan expects.\n\nEmpty: box 2.\n\nCautions\n  - Never release fish.\n"
    )
    assert marked(text) == {
        "Needs more tanks: 1 more like long, in use from Sat 22 Apr 2028 (price\n120).": styles.BAD,
        "With what you have": styles.HEADING,
        "no home for": styles.BAD,
        "  -----------  ----": styles.FAINT,
        "box 1, 3 l (0.8 US gal), flow still": styles.HEADING,
        "too full": styles.BAD,
        "Empty": styles.HEADING,
        "Cautions": styles.HEADING,
    }


def test_good_news_is_told_from_bad() -> None:
    assert marked("Everything fits.\n") == {"Everything fits.": styles.GOOD}
    wrong = "Everything fits once what is wrong today is put right (see below)."
    assert marked(wrong) == {wrong: styles.BAD}
    assert marked("Where the fish are: room\n") == {"Where the fish are": styles.HEADING}


def test_a_shortage_is_told_in_words_too() -> None:
    """Nothing hangs on colour: every style but a heading's lies on words that mean the same without it."""
    for words in (*styles.GOOD_NEWS, *styles.BAD_NEWS, *styles.SHORTAGES):
        assert re.search(r"[a-z]{2}", words, re.IGNORECASE)


def strings(file: Path) -> list[ast.Constant]:
    """Return the strings of a module that are not docstrings."""
    nodes = list(ast.walk(ast.parse(file.read_text(encoding="utf-8"))))
    told = {id(node.value) for node in nodes if isinstance(node, ast.Expr)}
    return [
        n for n in nodes if isinstance(n, ast.Constant) and isinstance(n.value, str) and id(n) not in told
    ]


@pytest.mark.parametrize("words", [*styles.GOOD_NEWS, *styles.BAD_NEWS, *styles.SHORTAGES])
def test_what_stands_out_is_what_reports_say(words: str) -> None:
    """Each stands in a string of a report, so that a change of words there does not pass unseen."""
    files = (ROOT / "allocator" / "reports").glob("*.py")
    said = {node.value for file in files for node in strings(file)}
    assert any(words in text for text in said)


# Pipes, NO_COLOR and terminals that can do little


def test_a_real_terminal_shows_styles_and_a_pipe_gets_none(plans: Callable[[str], Path]) -> None:
    given_here = ("rack", EVERYTHING, "--plan", plans("everything.yaml"))
    piped, shown = run(*given_here).stdout, on_a_terminal(*given_here)
    assert "\x1b" not in piped
    assert "\x1b[1mThe rack on" in shown
    assert ESCAPE.sub("", shown) == piped


@pytest.mark.parametrize(
    "environment",
    [
        {"NO_COLOR": "1"},
        {"TERM": "dumb"},
        {"NO_COLOR": "1", "FORCE_COLOR": "1"},
    ],
    ids=str,
)
def test_no_color_and_dumb_terminals_print_what_a_pipe_gets(environment: dict[str, str]) -> None:
    """NO_COLOR: "when present and not an empty string" (no-color.org, as read from memory)."""
    assert on_a_terminal("rules", columns=200, **environment) == rules_in_a_pipe()


def test_an_empty_no_color_is_none() -> None:
    assert "\x1b[1m" in on_a_terminal("rules", NO_COLOR="")


def test_force_color_styles_no_pipe() -> None:
    assert "\x1b" not in run("rules", FORCE_COLOR="1", CLICOLOR_FORCE="1").stdout


@pytest.mark.parametrize(("columns", "set_to"), [(40, None), (0, None), (300, "40"), (300, "nonsense")])
def test_a_narrow_terminal_or_one_of_no_known_size_has_80_columns(columns: int, set_to: str | None) -> None:
    environment = {"COLUMNS": set_to} if set_to else {}
    shown = on_a_terminal("rules", "rainbowfish-large", columns=columns, **environment)
    piped = rules_in_a_pipe("rainbowfish-large")
    if set_to == "nonsense":  # then the terminal's own size counts
        assert ESCAPE.sub("", shown) != piped
    else:
        assert ESCAPE.sub("", shown) == piped


@pytest.mark.parametrize(("columns", "width"), [(100, 100), (300, WIDEST)])
def test_a_wide_terminal_has_wider_tables_and_no_wider_prose(columns: int, width: int) -> None:
    shown = ESCAPE.sub("", on_a_terminal("rules", "rainbowfish-large", columns=columns))
    piped = rules_in_a_pipe("rainbowfish-large")
    assert WIDTH < max(map(display_width, shown.splitlines())) <= width
    assert sorted(shown.replace("-", "").split()) == sorted(piped.replace("-", "").split())
    with printed_on(Paper(width=width)):
        assert max(map(len, paragraph("a word " * 99).splitlines())) <= WIDTH


def test_a_table_wraps_less_the_wider_the_paper() -> None:
    columns, row = (Column("a"), Column("b")), ("word " * 20, "other " * 20)
    heights = []
    for width in (80, 100, 120, 300):
        with printed_on(Paper(width=width)):
            text = table(columns, [row])
        assert max(map(display_width, text.splitlines())) <= width
        heights.append(text.count("\n"))
    assert all(more > less for more, less in pairwise(heights))


def test_the_paper_of_stdout(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = terminal(monkeypatch)
    assert paper_of_stdout(plain=False) == Paper(styled=True)
    assert paper_of_stdout(plain=True) == Paper(plain=True, boxes=False)
    monkeypatch.setattr(sys, "stdout", StringIO())
    assert paper_of_stdout(plain=False) == Paper()
    assert screen.getvalue() == ""


@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "cp1255", "cp850"])
def test_other_code_pages_stop_nothing(encoding: str, plans: Callable[[str], Path]) -> None:
    """A name that they lack is an escape; boxes are drawn only where all of them can be (cp850 has them)."""
    done = run("rack", EVERYTHING, "--plan", plans("everything.yaml"), encoding=encoding)
    assert done.returncode == Exit.FITS, done.stderr
    assert "[R4] 1" in done.stdout
    assert ("┌" in done.stdout) == (encoding == "cp850")
    assert not any(f"\\u{ord(char):04x}" in done.stdout for char in DRAWN)
    assert "\\U0001f41f" in done.stdout


@pytest.mark.parametrize("options", [{"encoding": "cp1252"}, {"ALLOCATOR_PLAIN": "1"}], ids=str)
def test_json_stays_json_whatever_the_code_page(options: dict[str, str]) -> None:
    """Python's own escapes of letters beyond the first 65 536 are not JSON (RFC 8259, section 7)."""
    given_here = ("rules", "--room", EVERYTHING, "--json")
    plain, there = json.loads(run(*given_here).stdout), run(*given_here, **options)  # type: ignore[arg-type]
    assert json.loads(there.stdout) == plain
    assert "🐟" in json.dumps(plain, ensure_ascii=False)
    assert "\\ud83d\\udc1f" in there.stdout


# --plain


@pytest.mark.parametrize("command", OF_TINY)
def test_plain_is_ascii_in_every_command(
    command: str, plans: Callable[[str], Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["--plain", *filled(OF_TINY[command], plans, tmp_path)])
    said = capsys.readouterr()
    assert said.out.isascii()
    assert "\\x" not in said.out
    assert said.err.isascii()


@pytest.mark.parametrize("command", OF_A_PLAN)
def test_plain_is_ascii_with_any_names_and_keeps_to_the_page(
    command: str, plans: Callable[[str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["--plain", *of_a_plan(command, "everything.yaml", plans)]) == Exit.FITS
    text = capsys.readouterr().out
    assert text.isascii()
    assert ("\\U0001f41f" in text) == (command not in {"water --on", "tanks"})  # which name vessels only
    assert max(map(len, text.splitlines())) <= WIDTH
    assert "\\\\" not in text, "a name was escaped twice"


def test_reports_write_no_other_letters_themselves() -> None:
    """But for the signs that have another form on plain paper."""
    found = {
        (file.name, "".join(sorted({char for char in node.value if not char.isascii()})))
        for file in sorted((ROOT / "allocator" / "reports").glob("*.py"))
        for node in strings(file)
        if not node.value.isascii()
    }
    assert {name for name, _ in found} == {"rack.py", "tables.py", "words.py"}
    assert {signs for name, signs in found if name == "words.py"} == {"±"}


@given(st.text())
def test_plain_names_are_ascii_and_can_be_read_back(name: str) -> None:
    """So two names never look the same. Read back by Python's own decoder."""
    with printed_on(Paper(plain=True)):
        shown = clean(name)
    assert shown.isascii()
    assert shown.isprintable()
    assert shown.encode("ascii").decode("unicode_escape") == name


def test_plain_goes_by_option_or_environment_and_shows_no_styles() -> None:
    by_option, by_environment = on_a_terminal("--plain", "rules"), on_a_terminal("rules", ALLOCATOR_PLAIN="1")
    assert by_option == by_environment
    assert "\x1b" not in by_option


@pytest.mark.parametrize(
    "arguments",
    [
        ("sheet", "--out", "page.html"),
        ("sheet", "--tank", "long 1", "--out", "page.html"),
        ("calendar", "--out", "room.ics"),
        ("report", "--out", "page.html"),
    ],
    ids=str,
)
def test_files_are_the_same_from_every_terminal(
    arguments: tuple[str, ...], plans: Callable[[str], Path], tmp_path: Path
) -> None:
    word, *rest, name = arguments
    file = tmp_path / name

    def made(*before: str) -> list[str]:
        file.unlink(missing_ok=True)
        done = run(*before, word, EVERYTHING, "--plan", plans("everything.yaml"), *rest, file)
        assert done.returncode == Exit.FITS, done.stderr
        lines = file.read_text(encoding="utf-8").splitlines()
        return [line for line in lines if not line.startswith(("DTSTAMP", "LAST-MODIFIED", "CREATED"))]

    assert made("--plain") == made()
    if word == "calendar":  # and it knows its own file again
        assert (
            run("--plain", word, EVERYTHING, "--plan", plans("everything.yaml"), *rest, file).returncode
            == Exit.FITS
        )


def test_no_line_that_changes_all_the_time_is_read_aloud(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = Terminal()
    monkeypatch.setattr(sys, "stderr", screen)
    with printed_on(Paper(plain=True)), live_line():
        pass
    assert screen.getvalue() == "planning; Ctrl-C ends it with the best plan so far\n"


def test_a_reader_that_goes_away_is_no_fault_in_plain_either() -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "allocator", "--plain", "rules", "rainbowfish-large"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        said = process.stderr.read()
    assert said == b""
