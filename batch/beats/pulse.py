"""The beats that a listener found, and how sure that is."""

from dataclasses import dataclass
from itertools import pairwise


@dataclass(frozen=True, slots=True)
class Pulse:
    """Beats found by listening, in seconds from the start of the take.

    ``beat_in_bar`` counts from 1. ``confidence``, 0 to 1, is calibrated: of pulses this sure, at
    least that share have beats of F 0.9 or more (within 70 ms, the first 5 s left out: mir_eval's
    beat measure).
    """

    beats_s: tuple[float, ...]
    beat_in_bar: tuple[int, ...]
    beats_per_bar: int
    confidence: float

    def __post_init__(self) -> None:
        if len(self.beats_s) < 2:  # noqa: PLR2004  one beat has no length
            raise ValueError("a pulse needs at least two beats")
        if len(self.beats_s) != len(self.beat_in_bar):
            raise ValueError("beats_s and beat_in_bar must have one entry a beat")
        if any(b <= a for a, b in pairwise(self.beats_s)):
            raise ValueError("beats must rise")
        if not 0 <= self.confidence <= 1:
            raise ValueError(f"confidence must be 0 to 1, got {self.confidence}")
