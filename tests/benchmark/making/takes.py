"""A take to be heard, and a folder that keeps takes once made, so that two runs hear the same."""

import hashlib
import inspect
import os
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
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
        path = self.folder / f"{name.replace(' ', '-').replace('/', '-')}-{recipe(make)}.npz"
        if not path.is_file():
            self.folder.mkdir(parents=True, exist_ok=True)
            samples, notes = make()
            unfinished = path.with_suffix(f".{os.getpid()}.npz")
            np.savez(unfinished, samples=samples, notes=notes)
            unfinished.replace(path)
        with np.load(path) as stored:
            return stored["samples"], stored["notes"]


def recipe(make: Callable[[], Made]) -> str:
    """Return a word that changes with the modules of the functions in ``make`` and with this package."""
    modules = {Path(inspect.getfile(function)) for function in functions_in(make)}
    modules |= set(Path(__file__).parent.glob("*.py"))
    return hashlib.blake2b(b"".join(path.read_bytes() for path in sorted(modules)), digest_size=4).hexdigest()


def functions_in(make: object) -> Iterator[Callable[..., object]]:
    """Yield the functions that ``make`` calls or is given, through any number of ``partial``."""
    if isinstance(make, partial):
        for inner in (make.func, *make.args, *make.keywords.values()):
            yield from functions_in(inner)
    elif inspect.isfunction(make):
        yield make


def seed_of(name: str) -> int:
    """Return a seed for a name; far from the small ones that the fit's material is made with."""
    return 1_000_000 + zlib.crc32(name.encode())
