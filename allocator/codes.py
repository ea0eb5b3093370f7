"""The hard rules: one short code each, used by the model, the checker, the explanations and the docs."""

from enum import StrEnum
from typing import Self


class Rule(StrEnum):
    """A rule that no plan may break. The value is the code; the text says what it asks."""

    text: str

    def __new__(cls, code: str, text: str) -> Self:
        """Make a member whose value is the code and that carries its sentence."""
        member = str.__new__(cls, code)
        member._value_ = code
        member.text = text
        return member

    HOUSED = (
        "housed",
        "every fish has a home every day until it is ready to sell, or is listed as homeless, or not taken if it may be",
    )
    READY = "ready", "no fish are sold before they are long enough, where and in the company they have lived"
    ONE_PLACE = "one-place", "a lot is in one vessel at a time"
    FISH = "fish", "no fish are lost or made up when lots split, join or move"
    ROOM = "room", "no vessel holds more than the limit of any cap on any day"
    FLOW = "flow", "no vessel runs stronger than its weakest fish bear, nor outside its own range"
    STAGE = "stage", "each stage of life in the right kind of vessel, none skipped unless the pack says so"
    WINDOW = "window", "no move before the fish can be handled, none after the latest size"
    LINE = "line", "one line in a vessel unless the lines may share"
    SIZE = "size", "the longest fish in a vessel is not too long for the shortest"
    FRY = (
        "fry",
        "no brood in a vessel in which a breeding group lives, but its own young while it guards them",
    )
    SNAIL = "snail", "eggs only where there are no snails, if the pack asks for it"
    ALONE = "alone", "a mop in its tank, and a stage that must be alone, shares with no other brood"
    VESSEL = "vessel", "only vessels that are there, on the days they are there"
    CLEAN = "clean", "between two lines a vessel stands empty for the clean-out days"
    MOVE_DAY = "move-day", "fish are moved only on the keeper's move days, never on days away"
    MOST_MOVES = "most-moves", "no more moves on a day than the keeper can do"
    PINNED = "pinned", "what the keeper has pinned holds"
    ORDERED = "ordered", "fish that are promised for an order are kept until its day"
    TODAY = "today", "fish that are somewhere today are there today"
    AGREE = (
        "agree",
        "stays, moves, flow settings, added tanks, homeless fish and collections not taken tell one story",
    )
