"""Everything that hears notes or onsets in a sound, behind one call."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib.util import find_spec

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from .making.takes import Line, Samples, Take


@dataclass(frozen=True, slots=True)
class Heard:
    """What a listener found: onsets (s), notes (n, 3) or None if it hears only onsets, and what it cost."""

    onsets_s: NDArray[np.float64]
    notes: Line | None
    cpu_s: float


Hear = Callable[[Samples, int], "Line | NDArray[np.float64]"]  # notes (n, 3), or onsets (n,)


@dataclass(frozen=True, slots=True)
class Listener:
    """A name, the means to start, which loads libraries and compiles, and how notes come out."""

    name: str
    needs: str
    start: Callable[[], Hear]

    @property
    def missing(self) -> str | None:
        """Return what to install, or None."""
        return None if find_spec(self.needs) else f"{self.name} is left out: pip install '.[benchmark]'"


def hear(ear: Hear, take: Take) -> Heard:
    """Return what ``ear`` finds in a mono take, on one thread, and the processor seconds it took."""
    with threadpool_limits(limits=1):
        before = time.process_time()
        found = ear(take.samples, take.rate_hz)
        cpu_s = time.process_time() - before
    if found.ndim == 1:
        return Heard(found, None, cpu_s)
    return Heard(found[:, 0], found, cpu_s)


def takemill() -> Hear:
    """Hear as ``takemill run`` does."""
    from batch.hearing import hear_notes

    def listen(samples: Samples, rate_hz: int) -> Line:
        notes = hear_notes(lambda: [samples], rate_hz)
        return np.array([(n.onset_s, n.offset_s, n.pitch_midi) for n in notes]).reshape(-1, 3)

    return listen


def swift_f0(hold_ms: float) -> Callable[[], Hear]:
    """Hear by swift-f0: pitch by a network, notes by its own segmentation."""

    def start() -> Hear:
        from swift_f0 import SwiftF0, segment_notes

        detector = SwiftF0(threads=1, spin=False)

        def listen(samples: Samples, rate_hz: int) -> Line:
            notes = segment_notes(detector.detect(samples, rate_hz), pitch_hold_ms=hold_ms)
            found = [(n.start, n.end, 69.0 + 12.0 * np.log2(n.pitch_hz / 440.0)) for n in notes]
            return np.array(found).reshape(-1, 3)

        return listen

    return start


def onset_detect() -> Hear:
    """Hear onsets by librosa: spectral flux, peaks picked."""
    import librosa

    def listen(samples: Samples, rate_hz: int) -> NDArray[np.float64]:
        return np.asarray(librosa.onset.onset_detect(y=samples, sr=rate_hz, units="time"))

    return listen


def pyin() -> Hear:
    """Hear by librosa's pyin and onset_detect, see ``segmentation``."""
    from .segmentation import pyin_notes

    return pyin_notes


LISTENERS = (
    Listener("takemill", "batch", takemill),
    Listener("pyin", "librosa", pyin),
    Listener("swift-f0", "swift_f0", swift_f0(80.0)),  # its default
    Listener("swift-f0-40ms", "swift_f0", swift_f0(40.0)),
    Listener("onset_detect", "librosa", onset_detect),
)
