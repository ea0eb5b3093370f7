"""The commented room that a new keeper starts from."""

from importlib.resources import files


def starter_text() -> str:
    """Return a room file with a comment beside every key."""
    return (files("allocator.reading") / "starter.yaml").read_text(encoding="utf-8")
