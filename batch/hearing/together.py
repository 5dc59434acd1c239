"""Which pitches start together at an attack: one on a line, several in a strum.

At an attack the spectrum is looked at three times: just before, just after, and a little later.
What sounds in both later looks was struck and stays; what is louder than before was struck now,
so a string that rings on, a pedal or a room does not count. Every semitone is then weighed by
a small network that sees the spectrum around it, a partial's place at a time (``training.fit_together``).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from batch.hearing.features import Floats
from batch.hearing.network import network

Ints = NDArray[np.int64]

WINDOW = 2048  # samples, 93 ms: tells a third apart from C4 upwards, lower ones by their partials
SETTLED_S = 0.005  # s after the last string's attack: the first look
LATER_S = 0.050  # s, the second; what is gone by then was a passing note or a knock
BEFORE_S = 0.007  # s before the first string's attack the look at what rings on ends
LOOKS_S = LATER_S + 0.093  # s after an attack that must be free of the next one, nearly
LOWEST, HIGHEST = 36, 91  # MIDI pitches weighed: C2 to G6
TOP = 112  # MIDI pitch up to which partials are looked at: 5.3 kHz
UNDER, OVER = 24, 43  # semitones under and over a pitch that speak for and against it
FLOOR_DB = -50.0  # against the loudest partial
HEARD_DB, RISEN_DB = -34.0, 3.0  # how loud and new one of its first two partials must be to be weighed
SOUNDING_DB = -20.0  # against the loudest partial: what sounds on beside what is struck
LIKELY = 0.5  # probability from which a pitch was struck


@dataclass(frozen=True, slots=True)
class Looks:
    """Spectra by semitone from LOWEST - UNDER to TOP: ``sustained`` and ``risen``, (n, semitones).

    In twenties of dB: ``sustained`` against the loudest, ``risen`` against the time before.
    """

    sustained: Floats
    risen: Floats

    def __len__(self) -> int:
        return len(self.sustained)

    def only(self, which: NDArray[np.bool_]) -> "Looks":
        """Return the looks at the attacks where ``which`` holds."""
        return Looks(self.sustained[which], self.risen[which])

    @property
    def leading(self) -> NDArray[np.bool_]:
        """Whether what is loudest at each attack is new, (n,): a band far behind a held note is not."""
        loudest = self.sustained.argmax(axis=1)
        return np.asarray(self.risen[np.arange(len(self)), loudest] > RISEN_DB / 20.0)


@lru_cache(maxsize=2)
def _edges(rate_hz: int) -> Ints:
    """Return the first FFT bin of each semitone from LOWEST to TOP, and the last one's end."""
    midi = np.arange(LOWEST, TOP + 1) - 0.5
    return np.round(440.0 * 2.0 ** ((midi - 69.0) / 12.0) * WINDOW / rate_hz).astype(np.int64)


def _by_semitone(power: Floats, rate_hz: int) -> Floats:
    """Return (n, TOP - LOWEST) the loudest bin of each semitone, dB; at least one bin each."""
    loudest = np.maximum.reduceat(power[:, : _edges(rate_hz)[-1]], _edges(rate_hz)[:-1], axis=1)
    return np.asarray(10.0 * np.log10(loudest + np.float32(1e-12)), dtype=np.float32)


def looks_at(samples: Floats, first: Ints, last: Ints, rate_hz: int) -> Looks:
    """Look at attacks whose first and last strings start at samples ``first`` and ``last`` (n,)."""
    padded = np.pad(samples, (WINDOW, 2 * WINDOW))
    spectra = [
        _spectra(padded, start + WINDOW, rate_hz)
        for start in (
            first - round(BEFORE_S * rate_hz) - WINDOW,
            last + round(SETTLED_S * rate_hz),
            last + round(LATER_S * rate_hz),
        )
    ]
    sustained = np.minimum(spectra[1], spectra[2])
    loudest = sustained.max(axis=1, keepdims=True)
    floor = np.float32(FLOOR_DB)
    held = np.maximum(sustained - loudest, floor)
    risen = held - np.maximum(spectra[0] - loudest, floor)
    return Looks(_padded(held / 20.0, FLOOR_DB / 20.0), _padded(np.clip(risen, -10.0, 30.0) / 20.0, 0.0))


def _spectra(samples: Floats, start: Ints, rate_hz: int) -> Floats:
    views = np.lib.stride_tricks.sliding_window_view(samples, WINDOW)
    frames = views[np.clip(start, 0, len(views) - 1)]
    spectrum = fft.rfft(frames * np.hanning(WINDOW).astype(np.float32))
    return _by_semitone(spectrum.real**2 + spectrum.imag**2, rate_hz)


def _padded(values: Floats, outside: float) -> Floats:
    return np.pad(values, ((0, 0), (UNDER, 0)), constant_values=outside).astype(np.float32)


def foreign(looks: Looks) -> Ints:
    """Return (n,) how many semitones from LOWEST on sound at each attack without being new."""
    sounding = (looks.sustained > SOUNDING_DB / 20.0) & (looks.risen < RISEN_DB / 20.0)
    return np.asarray(sounding[:, UNDER:].sum(axis=1), dtype=np.int64)


def weighed(looks: Looks) -> tuple[Ints, Ints]:
    """Return (k,) which attack and which MIDI pitch is worth weighing: heard, and new."""
    count = HIGHEST - LOWEST
    pairs = [
        (looks.sustained[:, at : at + count] > HEARD_DB / 20.0)
        & (looks.risen[:, at : at + count] > RISEN_DB / 20.0)
        for at in (UNDER, UNDER + 12)
    ]
    attack, pitch = np.nonzero(pairs[0] | pairs[1])
    return attack, pitch + LOWEST


def struck_evidence(looks: Looks, attack: Ints, pitch: Ints) -> Floats:
    """Return (k, columns) what speaks for and against each pitch having been struck."""
    width = UNDER + OVER + 1
    padded = (
        np.pad(looks.sustained, ((0, 0), (0, width)), constant_values=FLOOR_DB / 20.0),
        np.pad(looks.risen, ((0, 0), (0, width))),
    )
    around = [
        np.lib.stride_tricks.sliding_window_view(values, width, axis=1)[attack, pitch - LOWEST]
        for values in padded
    ]
    return np.concatenate([*around, (pitch[:, None] - 60.0) / 24.0], axis=1).astype(np.float32)


def struck_together(looks: Looks) -> Floats:
    """Return (n, HIGHEST - LOWEST) the probability that each pitch from LOWEST was struck."""
    probability = np.zeros((len(looks), HIGHEST - LOWEST), np.float32)
    attack, pitch = weighed(looks)
    if len(attack):
        odds = network("together").log_odds(struck_evidence(looks, attack, pitch))
        probability[attack, pitch - LOWEST] = 1.0 / (1.0 + np.exp(-odds))
    return probability
