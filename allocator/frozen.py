"""The base of every domain object."""

from collections.abc import Mapping
from typing import Any, Self

from pydantic import BaseModel, ConfigDict


class Frozen(BaseModel):
    """A value that never changes once it is made and knows no stray fields."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """Return a copy with some fields changed, without what was worked out from the old ones."""
        copy = super().model_copy(update=update, deep=deep)
        for name in set(copy.__dict__) - set(type(self).model_fields):
            del copy.__dict__[name]  # a cached property of the original
        return copy
