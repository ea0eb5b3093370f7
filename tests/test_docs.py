"""The docs say what the program does: examples are run, made pages are fresh, links lead somewhere."""

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest
from doc_pages import DOCS, ROOT, commands, examples, lived, missing, pages
from pydantic import TypeAdapter
from ruamel.yaml import YAML

from allocator.cli import app
from allocator.codes import Rule
from allocator.reading.shape import RoomFile

LINK = re.compile(r"\[[^\]]+\]\((?!https?:)([^)#]*)(#[^)]*)?\)")
TEXTS = [*pages(), ROOT / "README.md", ROOT / "DEVELOPERS.md"]


def name_of(page: Path) -> str:
    return page.relative_to(ROOT).as_posix()


@pytest.mark.parametrize("page", pages(), ids=name_of)
def test_the_examples_of_a_page_do_what_it_says(page: Path, tmp_path: Path) -> None:
    for command, done in lived(page.read_text(encoding="utf-8"), tmp_path):
        assert done.returncode == command.code, f"{command.line}\n{done.stdout}{done.stderr}"
        lost = missing(command.shown, done.stdout + done.stderr)
        assert lost == [], f"{command.line} does not print these lines (any more)"


@pytest.mark.parametrize("page", pages(), ids=name_of)
def test_parts_of_room_files_can_be_read(page: Path) -> None:
    for example in examples(page.read_text(encoding="utf-8")):
        if example.kind != "yaml" or example.why is not None or example.body.startswith("# file: "):
            continue
        part = YAML(typ="base", pure=True).load(example.body)
        for key, value in part.items():
            names = {field.alias or name: field for name, field in RoomFile.model_fields.items()}
            assert key in names
            TypeAdapter(names[key].annotation).json_schema()
            readable(names[key].annotation, value)


def readable(annotation: object, value: object) -> None:
    """Fail unless a value has the keys that a part of a room file may have; numbers are left as they are."""
    TypeAdapter(annotation).validate_python(typed(value))


def typed(value: object) -> object:
    """Turn what looks like a number into one, as the reader of room files does."""
    if isinstance(value, dict):
        return {key: typed(part) for key, part in value.items()}
    if isinstance(value, list):
        return [typed(part) for part in value]
    if isinstance(value, str):
        if value in {"true", "false"}:
            return value == "true"
        if re.fullmatch(r"\d+", value):
            return int(value)
        if re.fullmatch(r"\d+\.\d+", value):
            return float(value)
    return value


@pytest.mark.parametrize("text", TEXTS, ids=name_of)
def test_links_lead_somewhere(text: Path) -> None:
    for found in LINK.finditer(text.read_text(encoding="utf-8")):
        target = (text.parent / found[1]) if found[1] else text
        assert target.exists(), found[0]
        if found[2]:
            assert found[2][1:] in anchors(target), found[0]


def anchors(page: Path) -> set[str]:
    heads = re.findall(r"^#+ (.+)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-") for head in heads}


def test_every_page_is_in_the_index() -> None:
    linked = {
        (DOCS / found[1]).resolve()
        for found in LINK.finditer((DOCS / "index.md").read_text(encoding="utf-8"))
    }
    assert {page for page in pages() if page.name != "index.md"} <= linked


def made_pages() -> ModuleType:
    spec = importlib.util.spec_from_file_location("made_pages", DOCS / "pages.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_pages_made_from_the_code_are_fresh() -> None:
    for page, text in made_pages().PAGES.items():
        assert page.read_text(encoding="utf-8") == text(), "run: python docs/pages.py"


def test_every_command_has_a_section() -> None:
    page = (DOCS / "reference" / "commands.md").read_text(encoding="utf-8")
    names = [
        command.callback.__name__.replace("_", "-") for command in app.registered_commands if command.callback
    ]
    assert names
    assert all(f"\n## `allocator {name}`\n" in page for name in names)


def test_every_rule_is_in_the_page_of_the_model() -> None:
    page = (DOCS / "explanation" / "the-model.md").read_text(encoding="utf-8")
    assert [rule.value for rule in Rule if f"| `{rule.value}` |" not in page] == []


def test_every_key_of_a_room_file_is_explained() -> None:
    page = (DOCS / "reference" / "room-file.md").read_text(encoding="utf-8")
    schema = RoomFile.model_json_schema(by_alias=True)
    keys = set(schema["properties"])
    for part in schema["$defs"].values():
        keys |= set(part.get("properties", {}))
    explained = {word for span in re.findall(r"`([^`\n]+)`", page) for word in re.findall(r"\w+", span)}
    assert sorted(keys - explained) == []


# The harness itself


def test_a_line_that_is_not_printed_is_missed() -> None:
    printed = "one\ntwo\nthree\nfour\n"
    assert missing(["one", "two"], printed) == []
    assert missing(["two", "...", "four"], printed) == []
    assert missing(["one", "three"], printed) == ["three"]
    assert missing(["...", "four", "...", "one"], printed) == ["one"]


def test_a_command_is_told_from_what_it_prints() -> None:
    first, second = commands("$ allocator new x\nWrote x.\n$ allocator plan x\n$ echo $?\n1\n")
    assert (first.line, first.shown, first.code) == ("allocator new x", ["Wrote x."], 0)
    assert (second.line, second.shown, second.code) == ("allocator plan x", [], 1)
