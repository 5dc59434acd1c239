"""A take to be heard, and a folder that keeps takes once made, so that two runs hear the same."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]
Line = NDArray[np.float64]  # (n, 3): onset_s, offset_s, MIDI pitch

PEAK = 0.5
NO_NOTES: Line = np.empty((0, 3))


@dataclass(frozen=True, slots=True)
class Take:
    """Sound, shape (n,) or (n, channels), what was played, and the groups it is counted in."""

    name: str
    groups: tuple[str, ...]
    samples: Samples
    rate_hz: int
    notes: Line

    @property
    def duration_s(self) -> float:
        """Seconds of sound."""
        return len(self.samples) / self.rate_hz


@dataclass(frozen=True, slots=True)
class Planned:
    """A take that is made or read when it is wanted."""

    name: str
    groups: tuple[str, ...]
    take: Callable[[], Take]


Made = tuple[Samples, Line]


def leveled(samples: NDArray[np.floating], peak: float = PEAK) -> Samples:
    """Return ``samples`` with their highest peak at ``peak``; silence stays."""
    highest = float(np.abs(samples).max(initial=0.0))
    return np.asarray(samples * (peak / highest if highest else 1.0), dtype=np.float32)


@dataclass(frozen=True, slots=True)
class Store:
    """A folder of takes by name. What was made by other recipes than the present ones is not used."""

    folder: Path

    def kept(self, name: str, make: Callable[[], Made]) -> Made:
        """Return what ``make`` made when it was first asked for under this name."""
        path = self.folder / f"{name.replace(' ', '-').replace('/', '-')}-{recipes()}.npz"
        if not path.is_file():
            self.folder.mkdir(parents=True, exist_ok=True)
            samples, notes = make()
            partial = path.with_suffix(".partial.npz")
            np.savez(partial, samples=samples, notes=notes)
            partial.replace(path)
        with np.load(path) as stored:
            return stored["samples"], stored["notes"]


def recipes() -> str:
    """Return a word that changes with the modules that make takes."""
    sources = sorted(Path(__file__).parent.glob("*.py"))
    return hashlib.blake2b(b"".join(path.read_bytes() for path in sources), digest_size=4).hexdigest()
