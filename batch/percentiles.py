"""Where a number lies among those of annotated jazz solos."""

from dataclasses import dataclass
from importlib.resources import files

import numpy as np
from pydantic import TypeAdapter


@dataclass(frozen=True, slots=True)
class Percentiles:
    """A table of percentiles: ``values`` rise, one for each of ``ranks`` 0..100."""

    ranks: tuple[float, ...]
    values: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.ranks) != len(self.values):
            raise ValueError("ranks and values must have one entry each")
        if np.any(np.diff(self.values) < 0) or np.any(np.diff(self.ranks) <= 0):
            raise ValueError("percentiles must rise")

    def position(self, values: np.ndarray) -> np.ndarray:
        """Map values to 0..1; below the lowest rank is 0 and above the highest 1.

        A run of equal percentiles maps to its middle.
        """
        low, high = self.ranks[0], self.ranks[-1]
        from_left = np.interp(values, self.values, self.ranks)
        mirrored = np.interp(-values, [-v for v in reversed(self.values)], [-r for r in reversed(self.ranks)])
        return ((from_left - mirrored) / 2 - low) / (high - low)


def load_percentiles() -> dict[str, Percentiles]:
    """Read the tables that ``batch.fit_percentiles`` wrote."""
    text = files("batch").joinpath("percentiles.json").read_text(encoding="utf-8")
    return TypeAdapter(dict[str, Percentiles]).validate_json(text)
