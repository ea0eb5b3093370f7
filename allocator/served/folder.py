"""Where the page keeps its plans: beside nothing of the keeper's."""

import os
import sys
from hashlib import sha256
from pathlib import Path

VARIABLE = "ALLOCATOR_STATE"
"""Names another folder, where somebody wants one."""

NAME = "allocator"


def state_folder() -> Path:
    """Return the folder for what a program keeps from one run to the next.

    Linux and the like: XDG Base Directory Specification, version 0.8 (freedesktop.org, 2021). macOS: Apple, File System
    Programming Guide. Windows: the known folder LocalAppData.
    """
    if named := os.environ.get(VARIABLE):
        return Path(named)
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / NAME
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / NAME
    named = os.environ.get("XDG_STATE_HOME", "")
    # The specification: a path that is not absolute is to be ignored.
    return (Path(named) if Path(named).is_absolute() else Path.home() / ".local" / "state") / NAME


def folder_of(room: Path) -> Path:
    """Return where what belongs to a room file is kept.

    By the place of the file, not by what it says: a plan must be found again when the room has changed, to go on from it.
    """
    place = os.path.realpath(room)
    return state_folder() / "rooms" / sha256(place.encode("utf-8", "surrogatepass")).hexdigest()[:20]
