"""What all files that are read into values have in common."""

from pydantic import BaseModel, ConfigDict


class FrozenModel(BaseModel):
    """A value that was read from a file: it does not change, and no key is unknown."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class StrictModel(FrozenModel):
    """The same, where no text passes for a number and every number is finite."""

    model_config = ConfigDict(strict=True, allow_inf_nan=False)
