"""What the keeper tells that did not go as planned."""

from collections.abc import Iterable

from pydantic import Field

from allocator.frozen import Frozen


class Counted(Frozen):
    """A count on the day that the room is carried to, with the mean length where it was measured."""

    fish: int
    mm: float | None = None


class Told(Frozen):
    """What differs from the plan, by the name of the brood.

    Attributes
    ----------
    not_done
        Broods with which nothing was done that was planned: not collected, not moved, not sold.
    gone
        Broods of which nothing is left: sold earlier, given away, lost.
    eggs
        Eggs that were really collected.
    counts
        Fish (or eggs) counted.
    homes
        The one vessel in which a brood is, whatever the plan says.
    """

    not_done: tuple[str, ...] = ()
    gone: tuple[str, ...] = ()
    eggs: dict[str, int] = Field(default_factory=dict)
    counts: dict[str, Counted] = Field(default_factory=dict)
    homes: dict[str, str] = Field(default_factory=dict)

    @property
    def named(self) -> tuple[str, ...]:
        """Every brood that is named, once."""
        return tuple(dict.fromkeys((*self.not_done, *self.gone, *self.eggs, *self.counts, *self.homes)))


class NotPossibleError(ValueError):
    """What is told, or the plan, does not go with the room: what is wrong, and what would help.

    `each` has all that is wrong, where it is more than one thing.
    """

    def __init__(self, what: str, hint: str | None = None) -> None:
        super().__init__(what)
        self.what = what
        self.hint = hint
        self.each: tuple[NotPossibleError, ...] = (self,)


def refuse(wrong: Iterable[NotPossibleError]) -> None:
    """Raise all that is wrong as one, if anything is."""
    each = tuple(wrong)
    if each:
        together = NotPossibleError(each[0].what, each[0].hint)
        together.each = each
        raise together
