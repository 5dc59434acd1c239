"""What settings are made of: a section, and the kinds of values in several of them."""

from typing import Annotated, TypeVar

from pydantic import BaseModel, ConfigDict, Field

Name = TypeVar("Name", bound=str)

Tempo = Annotated[float, Field(ge=20, le=400, allow_inf_nan=False)]
"""Beats a minute. The limits are those of common metronomes with room to spare (from memory)."""
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1)]

CONTRADICTION = "contradiction"
"""The type of the error for two settings that cannot both be kept."""


class Section(BaseModel):
    """A section of the file; what it does not know is a mistake."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


def once(names: tuple[Name, ...]) -> tuple[Name, ...]:
    """Take what is named twice once."""
    return tuple(dict.fromkeys(names))
