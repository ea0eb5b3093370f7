"""The base of every domain object."""

from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any, Concatenate, ParamSpec, Self, TypeVar

from pydantic import BaseModel, ConfigDict

Of = TypeVar("Of", bound="Frozen")
More = ParamSpec("More")
Out = TypeVar("Out")


class Frozen(BaseModel):
    """A value that never changes once it is made and knows no stray fields."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """Return a copy with some fields changed, without what was worked out from the old ones."""
        copy = super().model_copy(update=update, deep=deep)
        for name in set(copy.__dict__) - set(type(self).model_fields):
            del copy.__dict__[name]  # a cached property of the original
        return copy


class _Known:
    """What was worked out; no plain dictionary, for equal objects are looked for by all that is in them.

    Tables of numbers in one cannot be asked whether they are the same, and need not be.
    """

    def __init__(self) -> None:
        self.found: dict[object, Any] = {}


def kept_in_it(work: Callable[Concatenate[Of, More], Out]) -> Callable[Concatenate[Of, More], Out]:
    """Return a function that keeps what it works out in the object that it works on, and goes with it.

    `functools.cache` finds an object by what it says: one that says the same as another but is not the same, as a rule
    pack that was read twice, is then compared figure by figure at every look.
    """
    place = f"{work.__module__}.{work.__qualname__}"

    @wraps(work)
    def kept(of: Of, /, *more: More.args, **named: More.kwargs) -> Out:
        known: dict[object, Out] = of.__dict__.setdefault(place, _Known()).found
        asked = (more, *named.items())
        if asked not in known:
            known[asked] = work(of, *more, **named)
        return known[asked]

    return kept
