"""A train of strokes to beats and bars: which strokes are beats, which lie between, where the bar begins."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

LONGEST_PATTERN = 24
"""Places after which strokes repeat at most: 12/8 with a sixteenth each, 4/4 with sextuplets' halves."""
WINDOW = 96
"""Places in which a pattern must hold: a place lost elsewhere does not blur it."""
EXPLAINED = 0.35
"""Share of the strokes' differences that a pattern explains at least (clicks of our own synthesis)."""
BETTER = 0.7
"""A longer pattern leaves at most this share of what a shorter one leaves unexplained."""
MEDIAN_FROM = 5
"""Strokes of which the median is steadier than the mean: one cough among them does no harm."""
MEASURED = 0.05
"""Mean square difference, in steps, that strokes alike always have."""
DIFFERENT = 0.12
"""Mean square difference, in steps below, under which all strokes are alike."""
LEVEL_STEP_DB, SPECTRUM_STEP_DB = 3.0, 6.0
"""Differences that count as one step (our choice: a level of a click is measured to a decibel)."""
MOST_STEPS = 9.0
"""Square difference beyond which a stroke is no more another one: a cough tells as little as a click."""
SLIP = 6.0
"""Cost of a place lost or too many, in square steps."""
FELT_BPM, FELT_OCTAVES = 115.0, 0.8
"""Tempo that is felt most easily and how wide: Parncutt (1994, Music Perception 11(4)) gives about
700 ms for sounds alone; clicks are set to faster beats (our choice)."""
SLOWEST_BPM, FASTEST_BPM = 38.0, 290.0
"""Beyond them clicks are seldom beats: metronomes go from 40 to 208, programs to 300 (from memory)."""
HINT_OCTAVES = 0.06
"""How near a stated tempo is the click's."""
COMMON_BARS = {2: -0.5, 3: -0.1, 4: 0.3, 5: -0.6, 6: -0.7, 7: -0.9, 8: -1.2}
"""Log-odds of beats to a bar where no meter is stated (our choice)."""
OTHER_BAR = -3.0
FITS, HALF_FITS, UNFIT = 3.0, -1.0, -3.0
"""Log-odds of a reading with the stated beats a bar, with a part of them, and with others."""
EIGHTHS_FIT = 4.5
"""The same of three strokes a beat where a compound meter is stated: they are its eighths."""
TELLS = 3.0
"""Log-odds where strokes between the beats sound unlike the beats, and against where they do not."""
UNHEARD_DB = -999.0
"""Level of a place where no stroke is."""
UNLIKE = 1.0
"""Square steps between two sounds that are two."""
SOFTER_DB = 5.0
"""A stroke this much softer lies between beats rather than being one without an accent."""
STARTS = 0.25
"""How far the first stroke of all stands out by being that: a click begins with a bar."""
SPARSE = -1.5
"""Log-odds of a click that sounds on some beats only, before its tempo is looked at."""
DENSE = -3.0
"""The same of strokes alike of which only some are beats: who asks for finer clicks makes them softer."""
ACCENT_ALONE = -2.0
"""The same where a single louder stroke would be the only beat: it is mostly the bar's first."""


@dataclass(frozen=True, slots=True)
class Reading:
    """Of a pattern of ``length`` places, beats are each ``every`` from ``first`` on.

    ``per_bar`` of them make a bar. ``between`` are beats to a place, 1 unless the click sounds on some
    beats only; ``number`` is that in the bar of the beat at ``first``. ``told`` says whether accents
    tell the bar.
    """

    length: int
    first: int
    every: int
    per_bar: int
    between: int
    number: int
    told: bool
    log_odds: float


@dataclass(frozen=True, slots=True)
class Pattern:
    """How strokes repeat: the mean sound of each place (length, features), NaN where none sounds."""

    sounds: NDArray[np.float64]

    @property
    def length(self) -> int:
        """Places until it repeats."""
        return len(self.sounds)

    def levels_db(self) -> NDArray[np.float64]:
        """Return how loud each place is."""
        return self.sounds[:, 0] * LEVEL_STEP_DB

    def apart(self) -> NDArray[np.float64]:
        """Return (length, length) square steps from each sound to each; NaN where there is none."""
        return np.asarray(((self.sounds[:, None] - self.sounds[None]) ** 2).sum(axis=2))


def features_of(level_db: NDArray[np.floating], spectra_db: NDArray[np.floating]) -> NDArray[np.float64]:
    """Return (n, 1 + bands) in which square distances are square steps: level and shape of spectrum."""
    bands = spectra_db.shape[1]
    shape = spectra_db / (SPECTRUM_STEP_DB * math.sqrt(bands))
    return np.column_stack([level_db / LEVEL_STEP_DB, shape]).astype(np.float64)


def pattern_of(places: NDArray[np.int64], features: NDArray[np.float64]) -> Pattern:
    """Return the shortest pattern that explains how strokes at ``places`` (n,) differ.

    One of length 1 where they are alike, or differ without order.
    """
    windows = list(_windows(places, features))
    spread = sum(
        float(((f - np.median(f, axis=0)) ** 2).sum(axis=1).clip(max=MOST_STEPS).sum()) for _, f in windows
    )
    count = sum(len(p) for p, _ in windows)
    if not windows or spread / count < DIFFERENT:
        return _means(places, features, 1)
    explained = {length: _explained(windows, length) for length in range(2, LONGEST_PATTERN + 1)}
    length, rest = 1, 1.0 - EXPLAINED
    for longer, share in explained.items():
        left = max(1.0 - share, MEASURED / max(spread / count, MEASURED))
        if left < (rest * BETTER if length > 1 else rest):
            length, rest = longer, left
    if length == 1:
        return _means(places, features, 1)
    clearest = max(windows, key=lambda w: _explained([w], length))
    return _means(*clearest, length)


def _windows(
    places: NDArray[np.int64], features: NDArray[np.float64]
) -> Iterator[tuple[NDArray[np.int64], NDArray[np.float64]]]:
    for start in range(0, int(places[-1]) + 1, WINDOW):
        inside = slice(*np.searchsorted(places, [start, start + WINDOW]))
        if inside.stop - inside.start >= 8:  # noqa: PLR2004  fewer show no pattern
            yield places[inside], features[inside]


def _explained(windows: list[tuple[NDArray[np.int64], NDArray[np.float64]]], length: int) -> float:
    """Return the share of variance that goes where each place of the pattern has its own mean.

    Corrected for the number of means, as the adjusted coefficient of determination is.
    """
    within, total = 0.0, 0.0
    for places, features in windows:
        own = places % length
        kinds = len(np.unique(own))
        if len(places) < 2 * kinds:
            continue
        rest = features - _means(places, features, length).sounds[own]
        around = features - features.mean(axis=0)
        within += float((rest**2).sum()) * (len(places) - 1) / max(len(places) - kinds, 1)
        total += float((around**2).sum())
    return 1.0 - within / total if total > 0.0 else -1.0


def _means(places: NDArray[np.int64], features: NDArray[np.float64], length: int) -> Pattern:
    own = places % length
    sounds = np.full((length, features.shape[1]), np.nan)
    for place in np.unique(own):
        mine = features[own == place]
        sounds[place] = np.median(mine, axis=0) if len(mine) >= MEDIAN_FROM else mine.mean(axis=0)
    return Pattern(sounds)


def phases(pattern: Pattern, places: NDArray[np.int64], features: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return the place in the pattern of every place of the train; it may slip where the sounds say so.

    The likeliest path of a Markov chain (Viterbi) that goes on by one from place to place.
    """
    length, count = pattern.length, int(places[-1]) + 1
    cost = np.zeros((count, length))
    off = ((features[:, None] - np.nan_to_num(pattern.sounds)[None]) ** 2).sum(axis=2).clip(max=MOST_STEPS)
    cost[places] = np.where(np.isnan(pattern.sounds[:, 0]), MOST_STEPS, off)
    best, back = cost[0].copy(), np.zeros((count, length), np.int64)
    for at in range(1, count):
        straight = np.roll(np.arange(length), 1)
        leap = int(best.argmin())
        leaps = best[leap] + SLIP < best[straight]
        back[at] = np.where(leaps, leap, straight)
        best = np.where(leaps, best[leap] + SLIP, best[straight]) + cost[at]
    path = np.empty(count, np.int64)
    path[-1] = best.argmin()
    for at in range(count - 1, 0, -1):
        path[at - 1] = back[at, path[at]]
    return path


def readings(
    pattern: Pattern, apart_s: float, *, beats_per_bar: int | None, compound: bool, tempo_bpm: float | None
) -> list[Reading]:
    """Return what the pattern may mean, likeliest first, ``apart_s`` being from place to place."""
    found = [
        _weighed(apart_s, reading, beats_per_bar=beats_per_bar, compound=compound, tempo_bpm=tempo_bpm)
        for reading in (*_divided(pattern, beats_per_bar), *_sparse(pattern, beats_per_bar))
    ]
    return sorted(found, key=lambda reading: -reading.log_odds)


def _divided(pattern: Pattern, beats_per_bar: int | None) -> Iterator[Reading]:
    """Yield the readings in which every beat has a stroke."""
    length = pattern.length
    if length == 1:
        for every, odds in ((1, 0.0), (2, DENSE), (3, DENSE - 1.0), (4, DENSE - 1.0)):
            yield Reading(every, 0, every, beats_per_bar or 4, 1, 1, told=False, log_odds=odds)
        return
    for every in (d for d in (1, 2, 3, 4, 6) if length % d == 0):
        first, odds = _start_of(pattern, every)
        told = length > every
        per_bar = length // every if told else beats_per_bar or 4
        yield Reading(length, first, every, per_bar, 1, 1, told=told, log_odds=odds)


def _start_of(pattern: Pattern, every: int) -> tuple[int, float]:
    """Return where the bar begins if beats are ``every`` places apart, and what the sounds say for that."""
    apart, levels_db = pattern.apart(), np.nan_to_num(pattern.levels_db(), nan=UNHEARD_DB)
    known = np.isfinite(apart)
    alone = np.where(known.any(axis=1), np.nansum(apart, axis=1) / np.maximum(known.sum(axis=1), 1), -1.0)
    loud = np.clip((levels_db - np.median(levels_db)) / LEVEL_STEP_DB, -3.0, 3.0)
    bright = np.nan_to_num(pattern.sounds[:, 1:], nan=0.0) @ np.linspace(
        0.0, 0.2, pattern.sounds.shape[1] - 1
    )
    standing_out = alone / max(alone.max(), 1e-9) + 0.3 * loud + 0.02 * bright
    standing_out[0] += STARTS
    first = int(np.argmax(np.round(standing_out, 6)))
    return first, _on_and_off(apart, levels_db, first, every) if every > 1 else _all_beats(levels_db, first)


def _all_beats(levels_db: NDArray[np.float64], first: int) -> float:
    """Return log-odds that all strokes are beats: less where all but one in two or three are much softer."""
    others = np.delete(levels_db, first)
    return -1.0 if levels_db[first] - others.max() > SOFTER_DB and len(others) <= 3 else 0.0  # noqa: PLR2004


def _on_and_off(apart: NDArray[np.float64], levels_db: NDArray[np.float64], first: int, every: int) -> float:
    """Return log-odds that beats are ``every`` places: whether they stand out of what lies between."""
    beats = (np.arange(len(levels_db)) - first) % every == 0
    inner = ~beats & (levels_db > UNHEARD_DB)
    plain = beats & (levels_db > UNHEARD_DB)
    plain[first] = False
    if not inner.any():
        return 0.0
    if not plain.any():
        return ACCENT_ALONE / 4 if levels_db[first] - levels_db[inner].max() > SOFTER_DB else ACCENT_ALONE
    across = float(np.nanmedian(apart[np.ix_(plain, inner)]))
    softer = float(np.median(levels_db[plain]) - np.median(levels_db[inner]))
    others = apart[np.ix_(inner, inner)][~np.eye(int(inner.sum()), dtype=bool)]
    same = float(np.nanmedian(others)) if len(others) else 0.0
    unlike = across > UNLIKE and across > 2.0 * same and softer > -1.0
    return TELLS if unlike else -TELLS


def _sparse(pattern: Pattern, beats_per_bar: int | None) -> Iterator[Reading]:
    """Yield the readings in which beats lie between the strokes: on 2 and 4, on 1 only, on 1 and 3."""
    per_bar = beats_per_bar or 4
    if pattern.length == 1:
        if per_bar % 2 == 0 and per_bar > 2:  # noqa: PLR2004  backbeats
            yield Reading(1, 0, 1, per_bar, 2, 2, told=False, log_odds=SPARSE)
        yield Reading(1, 0, 1, per_bar, per_bar, 1, told=False, log_odds=SPARSE - 0.6)
    elif per_bar % pattern.length == 0 and pattern.length < per_bar and beats_per_bar:
        between = per_bar // pattern.length
        first, odds = _start_of(pattern, 1)
        yield Reading(pattern.length, first, 1, per_bar, between, 1, told=True, log_odds=odds + 2.0 * SPARSE)


def _weighed(
    apart_s: float,
    reading: Reading,
    *,
    beats_per_bar: int | None,
    compound: bool,
    tempo_bpm: float | None,
) -> Reading:
    """Return ``reading`` with what tempo and meter say for it."""
    bpm = 60.0 * reading.between / (apart_s * reading.every)
    odds = reading.log_odds - 0.5 * (math.log2(bpm / FELT_BPM) / FELT_OCTAVES) ** 2
    odds -= 8.0 * max(0.0, math.log2(SLOWEST_BPM / bpm), math.log2(bpm / FASTEST_BPM))
    if tempo_bpm:
        odds -= min(6.0, 0.5 * (math.log2(bpm / tempo_bpm) / HINT_OCTAVES) ** 2)
    if reading.told:
        odds += _bar_odds(reading, beats_per_bar)
    if compound and reading.every == 3 and reading.between == 1:  # noqa: PLR2004  eighths of a dotted quarter
        odds += EIGHTHS_FIT
    return replace(reading, log_odds=odds)


def _bar_odds(reading: Reading, beats_per_bar: int | None) -> float:
    if beats_per_bar is None:
        return COMMON_BARS.get(reading.per_bar, OTHER_BAR)
    if reading.per_bar == beats_per_bar:
        return FITS
    return HALF_FITS if beats_per_bar % reading.per_bar == 0 else UNFIT
