"""The map of the house: imports run one way without knots, modules stay small and say what they are."""

import ast
from collections.abc import Iterator
from pathlib import Path

import networkx as nx
import pytest

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "allocator"

FLOORS = (
    ("frozen", "units", "problems", "paper"),
    ("rules", "codes", "room", "plan", "result", "replies", "changes", "in_use", "interrupt", "rule_rows"),
    ("husbandry",),
    ("reading", "writing", "workbook"),
    ("needs", "check", "onward"),
    ("model",),
    (
        "answering",
        "afresh",
        "asked_by_name",
        "finishing",
        "housing",
        "least_cost",
        "level_one",
        "planner",
        "quickly",
        "taking",
    ),
    ("questions",),
    ("reports",),
    ("served",),
    ("cli", "commands", "console", "styles", "asked", "__main__"),
)
"""A module imports from its own floor or a lower one; the last floor imports from all."""

FORBIDDEN = {
    "check": ("needs", "model", "planner", "reports"),
    "reports": ("needs", "model", "planner", "questions"),
    "questions": ("reading", "writing"),
    "onward": ("needs", "check"),
    "needs": ("check", "reading", "writing"),
    "model": ("check", "reading", "writing"),
    "asked_by_name": ("reading", "writing"),
    "least_cost": ("reading", "writing"),
    "level_one": ("reading", "writing"),
    "planner": ("reading", "writing"),
    "quickly": ("reading", "writing"),
    "housing": ("reading", "writing"),
    "console": ("reading", "check", "planner", "model", "needs", "reports"),
}
"""What a floor alone would allow and must not be: the checker shares nothing with the search, and so on."""

SOLVER = "ortools"
WEB = {"starlette", "uvicorn", "anyio", "http", "socket", "multiprocessing"}
MOST_LINES = 400
LONG_STILL: set[str] = set()
"""Modules that are too long and wait to be split. A name leaves this list when its module is short enough."""

FILES = sorted(PACKAGE.rglob("*.py"))


def module_of(file: Path) -> str:
    """Return `reading.lines` for allocator/reading/lines.py, and `reading` for its __init__.py."""
    parts = file.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {module_of(file) for file in FILES}


def tree_of(file: Path) -> ast.Module:
    return ast.parse(file.read_text(encoding="utf-8"))


def imported(node: ast.AST) -> Iterator[str]:
    """Yield what an import statement names, in full."""
    if isinstance(node, ast.Import):
        yield from (alias.name for alias in node.names)
    elif isinstance(node, ast.ImportFrom):
        assert node.level == 0, "imports are written out in full"
        assert node.module is not None
        for alias in node.names:
            whole = f"{node.module}.{alias.name}"
            yield whole if whole.removeprefix("allocator.") in MODULES else node.module


def own_imports(file: Path) -> set[str]:
    """Return the modules of the package that a file imports, anywhere in it, without the package's name."""
    names = {name for node in ast.walk(tree_of(file)) for name in imported(node)}
    return {
        name.removeprefix("allocator").removeprefix(".")
        for name in names
        if name.split(".")[0] == "allocator"
    } - {""}


def top(module: str) -> str:
    return module.split(".", maxsplit=1)[0]


def floor(module: str) -> int:
    return next(number for number, names in enumerate(FLOORS) if top(module) in names)


def test_every_module_has_its_floor() -> None:
    known = {name for names in FLOORS for name in names}
    assert {top(module) for module in MODULES - {""}} == known


@pytest.mark.parametrize("file", FILES, ids=module_of)
def test_imports_run_one_way(file: Path) -> None:
    module = module_of(file)
    if not module:
        assert own_imports(file) == set()
        return
    upward = {name for name in own_imports(file) if floor(name) > floor(module)}
    assert upward == set(), f"{module} is on floor {floor(module)}"
    never = FORBIDDEN.get(top(module), ())
    assert {name for name in own_imports(file) if top(name) in never} == set()


@pytest.mark.parametrize("file", FILES, ids=module_of)
def test_only_the_model_knows_the_solver(file: Path) -> None:
    names = {name.split(".")[0] for node in ast.walk(tree_of(file)) for name in imported(node)}
    assert SOLVER not in names or top(module_of(file)) == "model"


@pytest.mark.parametrize("file", FILES, ids=module_of)
def test_only_the_page_knows_the_web(file: Path) -> None:
    names = {name.split(".")[0] for node in ast.walk(tree_of(file)) for name in imported(node)}
    assert not names & WEB or top(module_of(file)) == "served"


def test_no_knots() -> None:
    graph = nx.DiGraph((module_of(file), name) for file in FILES for name in own_imports(file))
    knots = [sorted(part) for part in nx.strongly_connected_components(graph) if len(part) > 1]
    assert knots == []


@pytest.mark.parametrize("file", FILES, ids=module_of)
def test_modules_are_small(file: Path) -> None:
    lines = len(file.read_text(encoding="utf-8").splitlines())
    if file.relative_to(PACKAGE).as_posix() in LONG_STILL:
        assert lines > MOST_LINES, "it is short enough now: take it off the list"
    else:
        assert lines <= MOST_LINES


@pytest.mark.parametrize("file", FILES, ids=module_of)
def test_everything_public_says_what_it_is(file: Path) -> None:
    silent = [name for name, node in public("", tree_of(file)) if not ast.get_docstring(node)]
    assert silent == []


def public(path: str, parent: ast.Module | ast.ClassDef) -> Iterator[tuple[str, ast.AST]]:
    """Yield the module itself, and each public class, function and method in it, with a dotted name."""
    yield path or "(module)", parent
    for node in parent.body:
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            yield from public(f"{path}.{node.name}".lstrip("."), node)
        elif isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            yield f"{path}.{node.name}".lstrip("."), node
