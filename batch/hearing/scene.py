"""What sounds at all, note or not: talking, and strokes that are over at once.

A row every ROW frames says how likely somebody is talking around it; a stroke is everything
that starts. Talking is told from a line by what a pitch does in it: it hardly ever stays, half of
the sound has none, and the spectrum keeps changing. A logistic regression weighs these over
REACH rows to either side; ``scene.json`` holds it, ``training.fit_scene`` fits it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from batch.hearing.network import network
from batch.hearing.onsets import onset_rewards
from batch.hearing.params import HearingParams
from batch.hearing.spans import Ints
from batch.hearing.stretch import Stretch

Values = NDArray[np.floating]

ROW = 16  # frames, 93 ms: two rows a syllable
EVERY = 4  # frames, 23 ms: of which one is looked at
REACH = 13  # rows, 1.2 s: a few syllables to either side
AUDIBLE_DB = -35.0  # against the playing level: what is quieter is breath and room
NEAR, WIDE = 8, 16  # frames to either side, 46 and 93 ms, within which a pitch may stay
SOUNDING = 0.9  # share of those frames that must have a pitch
STAYS = 0.12  # semitones of spread within which a pitch stays
MOST_MOVE = 3.0  # semitones that count at most
LAG = 9  # frames, 52 ms, over which the spectrum changes
MOST_CHANGE_DB = 20.0  # that count at most
REGIONS = 8  # parts of the spectrum, low to high
LOW_REGIONS = 4  # of them: a voice has its vowels here, a hiss lies above
RING_DB = 20.0  # a stroke is over when it has fallen by this much
PEAK = 6  # frames, 35 ms, within which a stroke is loudest
LONGEST_RING = 60  # frames, 0.35 s: longer is no click
COLUMNS = ("voiced", "stays", "slides", "wanders", "hisses", "changes", "swells", "salience")


@dataclass(frozen=True, slots=True)
class Scene:
    """What sounds over a take.

    ``start_s``, ``audible`` (share), ``periodic`` (salience of the best pitch) and ``talking``
    (log-odds) have a value a row (n,); ``struck_s``, ``ring_s`` and ``struck_db`` (of full scale)
    one a stroke (m,).
    """

    start_s: Values
    audible: Values
    periodic: Values
    talking: Values
    struck_s: Values
    ring_s: Values
    struck_db: Values

    @property
    def row_s(self) -> float:
        """How long a row is."""
        return float(self.start_s[1] - self.start_s[0]) if len(self.start_s) > 1 else 0.0

    def between(self, from_s: float, to_s: float) -> "Scene":
        """Return the part that starts in ``from_s`` (inclusive) to ``to_s``."""
        row = (self.start_s >= from_s) & (self.start_s < to_s)
        stroke = (self.struck_s >= from_s) & (self.struck_s < to_s)
        rows = (values[row] for values in (self.start_s, self.audible, self.periodic, self.talking))
        return Scene(*rows, *(values[stroke] for values in (self.struck_s, self.ring_s, self.struck_db)))


def joined_scenes(scenes: Sequence[Scene]) -> Scene:
    """Return scenes that follow one another as one."""
    names = Scene.__dataclass_fields__
    return Scene(*(np.concatenate([getattr(s, name) for s in scenes] or [np.empty(0)]) for name in names))


def unheard(seconds: float, starts_at_s: float, params: HearingParams) -> Scene:
    """Return the scene of ``seconds`` of digital silence."""
    row_s = ROW * params.hop / params.rate_hz
    start_s = starts_at_s + row_s * np.arange(int(seconds / row_s))
    nothing, none = np.zeros(len(start_s)), np.empty(0)
    return Scene(start_s, nothing, nothing, nothing - np.inf, none, none, none)


def scene_of(stretch: Stretch, *, gain_db: float, starts_at_s: float, params: HearingParams) -> Scene:
    """Return what sounds in ``stretch``, timed from the take's start."""
    frame_s = params.hop / params.rate_hz
    sums, counts = row_sums(stretch)
    struck = np.flatnonzero(onset_rewards(stretch.strength.overall, params))
    peak_db, ring = _rings(stretch.level_db, struck)
    return Scene(
        start_s=starts_at_s + ROW * frame_s * np.arange(len(sums)),
        audible=counts[:, COLUMNS.index("voiced")] * EVERY / ROW,
        periodic=_best_salience(stretch, len(sums)),
        talking=talking_log_odds(sums, counts),
        struck_s=starts_at_s + frame_s * struck,
        ring_s=frame_s * ring,
        struck_db=peak_db + stretch.playing_db + gain_db,
    )


def _best_salience(stretch: Stretch, rows: int) -> Values:
    """Return (rows,) how periodic each row's middle is."""
    middle = ROW * np.arange(rows) + ROW // 2
    return np.asarray(stretch.salience[middle].max(axis=1, initial=0.0))


def row_sums(stretch: Stretch) -> tuple[Values, Values]:
    """Return (rows, columns) sums of the evidence over each row, and how many values each sums."""
    rows = len(stretch) // ROW
    at = EVERY * np.arange(rows * ROW // EVERY, dtype=np.int64)
    values = evidence(stretch, at).reshape(rows, ROW // EVERY, len(COLUMNS))
    known = np.isfinite(values)
    return np.where(known, values, 0.0).sum(axis=1), known.sum(axis=1).astype(float)


def evidence(stretch: Stretch, at: Ints) -> Values:
    """Return (k, columns) what frames ``at`` (k,) tell, in the order of COLUMNS; NaN where nothing."""
    audible = stretch.level_db[at] > AUDIBLE_DB
    near, wide = stretch.contour_sum, (np.maximum(at - WIDE, 0), at + WIDE)
    voiced = near.mean(at, at + 1)[:, 0] > 0.5  # noqa: PLR2004  a frame is or is not
    spread = stretch.pitch_between(at - NEAR, at + NEAR)[1]
    spread[near.mean(at - NEAR, at + NEAR)[:, 0] < SOUNDING] = np.nan
    slide = np.abs(stretch.pitch_between(at, wide[1])[0] - stretch.pitch_between(wide[0], at)[0])
    slide[near.mean(*wide)[:, 0] < SOUNDING] = np.nan
    shape = _shapes_db(stretch, at)
    before = _shapes_db(stretch, np.maximum(at - LAG, 0))
    change = np.sqrt(((shape - before) ** 2).mean(axis=1))
    high = shape[:, LOW_REGIONS:].max(axis=1) > shape[:, :LOW_REGIONS].max(axis=1)
    swell = np.abs(stretch.level_db[np.minimum(at + LAG // 2, len(stretch) - 1)] - stretch.level_db[at])
    columns = [
        np.where(audible, voiced, np.nan),
        np.where(np.isfinite(spread), spread < STAYS, np.nan),
        np.minimum(slide, MOST_MOVE),
        np.minimum(spread, MOST_MOVE),
        np.where(audible, high & ~voiced, np.nan),
        np.where(audible, np.minimum(change, MOST_CHANGE_DB), np.nan),
        np.where(audible, np.minimum(swell, MOST_CHANGE_DB), np.nan),
        np.where(voiced, stretch.salience[at].max(axis=1), np.nan),
    ]
    return np.stack(columns, axis=1)


def _shapes_db(stretch: Stretch, at: Ints) -> Values:
    """Return (k, REGIONS) the spectrum of frames ``at`` (k,) against its own mean."""
    bands = stretch.frames.bands_db[at]
    parts = np.stack([part.mean(axis=1) for part in np.array_split(bands, REGIONS, axis=1)], axis=1)
    return np.asarray(parts - parts.mean(axis=1, keepdims=True))


def _rings(level_db: Values, struck: Ints) -> tuple[Values, Values]:
    """Return (m,) how loud each stroke gets, and for how many frames it stays within RING_DB of that."""
    after = level_db[np.minimum(struck[:, None] + np.arange(LONGEST_RING), len(level_db) - 1)]
    peak = after[:, :PEAK].max(axis=1)
    over = after < (peak - RING_DB)[:, None]
    over[:, : PEAK // 2] = False  # the rise itself
    over[:, -1] = True
    return peak, over.argmax(axis=1)


def around(sums: Values, counts: Values) -> Values:
    """Return (rows, 2 * columns) the mean evidence of REACH rows to either side, and its square."""
    size = 2 * REACH + 1
    total, many = (uniform_filter1d(v, size, axis=0, mode="constant") * size for v in (sums, counts))
    mean = np.where(many > 0.5, total / np.maximum(many, 1.0), 0.0)  # noqa: PLR2004  rounding
    return np.concatenate([mean, mean**2], axis=1)


def talking_log_odds(sums: Values, counts: Values) -> Values:
    """Return (rows,) the log-odds that somebody talks around each row; -inf where nothing sounds."""
    odds = network("scene").log_odds(around(sums, counts))
    heard = uniform_filter1d(counts[:, 0], 2 * REACH + 1, mode="constant") > 0.0
    return np.where(heard, odds, -np.inf)
