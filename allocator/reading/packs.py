"""Find rule packs, read them, and change single figures of them."""

from collections.abc import Mapping
from functools import partial
from importlib.resources import files
from pathlib import Path

from allocator.frozen import Frozen
from allocator.problems import Problems, display_path, nearest
from allocator.reading.pack_lint import lint, note_faults
from allocator.reading.pack_shape import PackReader
from allocator.reading.source import load_yaml
from allocator.rules import Evidence, Figure, RulePack, label_of

PACK_ENDINGS = (".yaml", ".yml")


def packs_dir() -> Path:
    """Return the folder of the shipped packs: inside the installed package, or `rules/` of a checkout."""
    package = Path(str(files("allocator")))
    installed = package / "packs"
    return installed if installed.is_dir() else package.parent / "rules"


def shipped_packs() -> list[str]:
    """Return the names of the packs that come with the tool, sorted."""
    return sorted(path.stem for path in packs_dir().glob("*.yaml"))


def load_pack(
    name_or_path: str, *, relative_to: Path, problems: Problems, line: int
) -> tuple[RulePack, Path] | None:
    """
    Return a rule pack and the file it was read from, or None when it cannot be used.

    Parameters
    ----------
    name_or_path
        The name of a shipped pack, or the path of a keeper's own.
    relative_to
        The folder (or a file in the folder) from which an own pack's path counts.
    problems
        Takes up everything that is wrong, in the pack's own file and lines.
    line
        Where `name_or_path` was said, for a pack that is not there.
    """
    return _load(name_or_path, relative_to, problems, line, ())


def _load(
    name_or_path: str, relative_to: Path, problems: Problems, line: int, asked_by: tuple[Path, ...]
) -> tuple[RulePack, Path] | None:
    path = _find(name_or_path, relative_to)
    if path is None:
        problems.add(
            line,
            "no such rule pack",
            found=f"got {name_or_path!r}",
            hint=nearest(name_or_path, shipped_packs()) or "shipped packs: " + ", ".join(shipped_packs()),
        )
        return None
    if path in asked_by:
        problems.add(line, "a rule pack is based on itself", found=f"got {name_or_path!r}")
        return None
    shipped = path.parent == packs_dir()
    inner = Problems(path.name if shipped else display_path(path))
    pack = _read(path, path.stem if shipped else path.name, inner, (*asked_by, path))
    problems.found.extend(inner.found)
    return None if pack is None or inner.errors else (pack, path)


def _find(name_or_path: str, relative_to: Path) -> Path | None:
    if name_or_path in shipped_packs():
        return packs_dir() / f"{name_or_path}.yaml"
    folder = relative_to if relative_to.is_dir() else relative_to.parent
    own = folder / name_or_path
    return own if own.suffix in PACK_ENDINGS and own.is_file() else None


def _read(path: Path, origin: str, problems: Problems, asked_by: tuple[Path, ...]) -> RulePack | None:
    source = load_yaml(path, problems)
    if source is None:
        return None
    data = source.data
    base = None
    if "based_on" in data:
        line = source.line(("based_on",))
        loaded = _load(str(data["based_on"]), path, problems, line, asked_by)
        if loaded is None:
            return None
        base = loaded[0]
    reader = PackReader(source, problems, origin, base)
    pack = reader.read()
    if pack is None:
        return None
    pack = _change_own(pack, data.get("figures", {}), reader)
    alone = None if base is None else partial(with_one_of, pack, base)
    note_faults(lint(pack), problems, reader.lines, alone=alone)
    return pack


def with_one_of(pack: RulePack, base: RulePack, name: str) -> RulePack | None:
    """Return a pack with one figure of another, or None when they do not both have it."""
    figure = dict(pack.figures()).get(name)
    return None if figure is None else change_figure(base, name, figure.value, pack.origin, figure.source)


def _change_own(pack: RulePack, changes: object, reader: PackReader) -> RulePack:
    """Apply the `figures` of an own pack: single numbers by their dotted names."""
    if not isinstance(changes, Mapping):
        line = reader.source.line(("figures",))
        reader.problems.add(line, "figures must be a list of dotted names and their values")
        return pack
    for name, value in changes.items():
        line = reader.source.line(("figures", name))
        if isinstance(value, bool) or not isinstance(value, int | float):
            reader.problems.add(line, f"{name} must be a number", found=f"got {value!r}")
            continue
        changed = change_figure(
            pack, str(name), value, reader.origin, f"the keeper's own figure, in {reader.origin}"
        )
        if changed is None:
            hint = nearest(str(name), [known for known, _ in pack.figures()])
            reader.problems.add(line, "no such figure in the rule pack", found=f"got {name!r}", hint=hint)
            continue
        reader.lines[str(name)] = line
        pack = changed
    return pack


def change_figure(
    pack: RulePack,
    dotted_name: str,
    value: float,
    origin: str,
    source: str,
    *,
    problems: Problems | None = None,
    line: int = 1,
) -> RulePack | None:
    """
    Return the pack with one figure replaced by the keeper's own, or None when there is no such figure.

    Parameters
    ----------
    dotted_name
        As in `RulePack.figures()`: `sale_mm`, `room.3.fish_per_litre.limit`, `stages.rearing.until_mm`.
    value
        In the unit of the figure, which stays.
    origin
        The file in which the keeper said it.
    source
        Why, in the keeper's words, or where it was said.
    problems
        Takes up what is wrong with the pack after the change. Leave it out while several figures are changed
        one after another, and lint the pack after the last.
    line
        Where it was said.
    """
    if dotted_name not in {name for name, _ in pack.figures()}:
        return None
    changed = _replaced(pack, dotted_name.split("."), value, origin, source)
    assert isinstance(changed, RulePack)  # noqa: S101 - a pack stays a pack
    if problems is not None:
        note_faults(lint(changed), problems, {}, line)
    return changed


def _replaced(node: object, path: list[str], value: float, origin: str, source: str) -> object:
    if isinstance(node, Figure):
        return node.model_copy(
            update={"value": float(value), "evidence": Evidence.KEEPER, "origin": origin, "source": source}
        )
    first, rest = path[0], path[1:]
    if isinstance(node, tuple):
        return tuple(
            _replaced(part, rest, value, origin, source) if label_of(part, number) == first else part
            for number, part in enumerate(node, start=1)
        )
    assert isinstance(node, Frozen)  # noqa: S101 - packs hold nothing else on the way to a figure
    return node.model_copy(update={first: _replaced(getattr(node, first), rest, value, origin, source)})
