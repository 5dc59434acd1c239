"""Strokes to a pulse where the companion is a click: even strokes of few sounds, and next to nothing else."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batch.beats.companion.accents import Reading, features_of, pattern_of, phases, readings
from batch.beats.companion.strokes import Strokes
from batch.beats.companion.trains import Train, best_train
from batch.beats.pulse import Pulse
from batch.tempo import MeterChange

FEWEST = 6
"""Strokes of a click: a count-in alone is none."""
FULL_RISE_DB = 18.0
"""A stroke that rises this much counts whole."""
SOFT_DB = 26.0
"""A stroke this far under the loud ones counts little: an echo, a cough."""

MOST_COMPARED = 500
"""Strokes that one is compared with."""
COVERED, STRAY, UNLIKE = 0.85, 0.04, 0.3
"""What a machine's click keeps to, in noise too: backings of an invented band have 0.31 or more where
their train covers so much."""
ALONE, STRAY_BY_HAND, UNLIKE_BY_HAND = 0.95, 0.006, 0.8
"""The same for sounds that differ from stroke to stroke, as sampled ones do, if little else sounds."""
DRUMMED = 0.1
"""A drum kit has so many bass drums at least, and as many other sounds."""
KIN, STRANGE = 5, 2.5
"""A stroke has as many others within so many square steps; words have none (clicks and words of our own)."""


@dataclass(frozen=True, slots=True)
class Click:
    """A pulse found in strokes, and what tells whether they are a click.

    ``covered`` is the share of the strokes in the train, ``stray`` how uneven it is, ``unlike`` how far its
    strokes are from others of the same sound (square steps), ``low_share`` how many are bass drums.
    """

    pulse: Pulse
    covered: float
    stray: float
    unlike: float
    low_share: float

    @property
    def is_one(self) -> bool:
        """Whether strokes are as even, as alike and as alone as a click's."""
        drummed = DRUMMED < self.low_share < 1.0 - DRUMMED
        machine = self.covered > COVERED and self.unlike < UNLIKE
        by_hand = self.covered > ALONE and self.unlike < UNLIKE_BY_HAND and self.stray < STRAY_BY_HAND
        return (machine or by_hand) and self.stray < STRAY and not drummed


def click_in(strokes: Strokes, meter: tuple[int, int] | None, tempo_bpm: float | None) -> Click | None:
    """Return the click that ``strokes`` are, or None where they are no train."""
    if len(strokes) < FEWEST:
        return None
    weights = weights_of(strokes)
    train = best_train(strokes.times_s, weights)
    train = _less_strangers(train, strokes) if train else None
    if train is None or len(train.strokes) < FEWEST:
        return None
    apart_s = float(np.median(np.diff(strokes.times_s[train.strokes]) / np.diff(train.places)))
    features = features_of(strokes.level_db[train.strokes], strokes.spectra_db[train.strokes])
    pattern = pattern_of(train.places, features)
    stated = MeterChange(0, *meter) if meter else None
    found = readings(
        pattern,
        apart_s,
        beats_per_bar=stated.beats_per_bar if stated else None,
        compound=stated is not None and stated.is_compound,
        tempo_bpm=tempo_bpm,
    )
    odds = np.array([reading.log_odds for reading in found])
    share = float(1.0 / np.exp(odds - odds[0]).sum())
    covered, stray = _covered(strokes, train, weights), _stray(strokes, train)
    beats_s, numbers = _beats(strokes, train, found[0], phases(pattern, train.places, features))
    if len(beats_s) < 2:  # noqa: PLR2004  a pulse has two
        return None
    confidence = share * covered * float(np.clip(1.2 - 10.0 * stray, 0.0, 1.0))
    pulse = Pulse(tuple(beats_s.tolist()), tuple(numbers.tolist()), found[0].per_bar, confidence)
    low = float(np.mean(strokes.low_share[train.strokes] > 0.5))  # noqa: PLR2004  most of it
    return Click(pulse, covered, stray, _unlike(features), low)


def _unlike(features: NDArray[np.float64]) -> float:
    """Return how far four of five strokes are at most from a few others."""
    known = features[:: max(1, len(features) // MOST_COMPARED)]
    kin = min(KIN, len(known) // 4)
    off = [float(np.partition(((known - one) ** 2).sum(axis=1), kin)[kin]) for one in known]
    return float(np.percentile(off, 80))


def _less_strangers(train: Train, strokes: Strokes) -> Train:
    """Return ``train`` without what sounds like none of its strokes at either end: a spoken count-in."""
    features = features_of(strokes.level_db[train.strokes], strokes.spectra_db[train.strokes])
    known = features[:: max(1, len(features) // MOST_COMPARED)]

    def is_strange(at: int) -> bool:
        off = np.sort(((known - features[at]) ** 2).sum(axis=1))
        return bool(off[min(KIN, len(off) // 8)] > STRANGE)

    first, last = 0, len(features) - 1
    while first < last and is_strange(first):
        first += 1
    while last > first and is_strange(last):
        last -= 1
    kept = slice(first, last + 1)
    return Train(train.strokes[kept], train.places[kept] - train.places[first])


def weights_of(strokes: Strokes) -> NDArray[np.float64]:
    """Return what each stroke is worth, 0 to 1: clear ones and loud ones more."""
    clear = np.clip(strokes.rise_db / FULL_RISE_DB, 0.1, 1.0)
    loud_db = np.percentile(strokes.level_db, 90)
    loud = np.clip(1.0 - (loud_db - strokes.level_db - SOFT_DB / 2) / (SOFT_DB / 2), 0.05, 1.0)
    return np.asarray(clear * loud, dtype=np.float64)


def _covered(strokes: Strokes, train: Train, weights: NDArray[np.float64]) -> float:
    """Return the share of the strokes' worth that is in the train, while it lasts."""
    first, last = train.strokes[0], train.strokes[-1]
    return float(weights[train.strokes].sum() / weights[first : last + 1].sum())


def _stray(strokes: Strokes, train: Train) -> float:
    """Return how much a typical distance differs from the one before, as a share of it."""
    times_s, places = strokes.times_s[train.strokes], train.places
    apart = np.diff(times_s) / np.diff(places)
    return float(np.median(np.abs(np.diff(apart))) / np.median(apart)) if len(apart) > 1 else 1.0


def _beats(
    strokes: Strokes, train: Train, reading: Reading, phase: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Return when the beats are, and their numbers."""
    times_s = train.times_of_all(strokes.times_s)
    if reading.length != 1 and len(set(phase.tolist())) == 1:  # strokes alike: every so many is a beat
        phase = np.arange(len(times_s)) % reading.length
    since = (phase - reading.first) % reading.length
    beats = np.flatnonzero(since % reading.every == 0)
    numbers = since[beats] // reading.every * reading.between + reading.number - 1
    if reading.between > 1:
        finer = np.arange((len(beats) - 1) * reading.between + 1)
        where = np.interp(finer / reading.between, np.arange(len(beats)), beats)
        steps = finer % reading.between
        return np.interp(where, np.arange(len(times_s)), times_s), (
            _going_on(numbers[finer // reading.between], steps, reading) + 1
        )
    if not reading.told:
        numbers = np.arange(len(beats)) + reading.number - 1
    return times_s[beats], numbers % reading.per_bar + 1


def _going_on(numbers: NDArray[np.int64], steps: NDArray[np.int64], reading: Reading) -> NDArray[np.int64]:
    if reading.told:
        return (numbers + steps) % reading.per_bar
    return (np.arange(len(numbers)) + reading.number - 1) % reading.per_bar
