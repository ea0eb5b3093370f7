"""The base of every domain object."""

from pydantic import BaseModel, ConfigDict


class Frozen(BaseModel):
    """A value that never changes once it is made and knows no stray fields."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)
