"""Room files on disk for the tests of reading."""

from pathlib import Path

SCENARIOS = Path(__file__).parent.parent / "scenarios"
EVERYTHING = SCENARIOS / "everything.yaml"
TINY = SCENARIOS / "tiny.yaml"


def write(tmp_path, text):
    path = tmp_path / "room.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def everything_with(tmp_path, old, new):
    text = EVERYTHING.read_text(encoding="utf-8")
    assert old in text
    (tmp_path / "packs").mkdir(exist_ok=True)
    for pack in (EVERYTHING.parent / "packs").glob("*.yaml"):
        (tmp_path / "packs" / pack.name).write_bytes(pack.read_bytes())
    return write(tmp_path, text.replace(old, new, 1))


SIZE = "inside: 50 x 25 cm, water_depth: 27 cm"


def small_room(**parts):
    default = {
        "vessel": f"{{name: a, kind: rearing, {SIZE}, flow: still, snail_free: true}}",
        "broods": "{name: b, line: blue, collected: 2026-12-01, eggs: 30, lives_in: a}",
    } | parts
    return (
        "fish_room: r\ntoday: 2027-01-09\nkeeper: {move_days: [saturday]}\n"
        f"vessels: [{default['vessel']}]\n"
        "lines: [{name: blue, species: Melanotaenia lacustris, rules: rainbowfish-large}]\n"
        f"broods: [{default['broods']}]\n"
    )
