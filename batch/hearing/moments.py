"""When each note starts and is let go: every frame's evidence, and fitted verdicts.

Attacks rise at once or over a tenth of a second, releases end in silence, in a slower fall or
under the next note. What they look like frame by frame (levels and bands before and after, how
far into the note) is weighed by small networks fitted on rendered solos; the moment chosen is
the one most likely to be right within the tolerance a listener has.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from batch.hearing.boundaries import Columns
from batch.hearing.features import Floats
from batch.hearing.network import network
from batch.hearing.onsets import REGIONS
from batch.hearing.spans import Ints, Spans
from batch.hearing.stretch import Stretch

EARLIEST, LATEST = -16, 6  # frames around a found start in which the true one is looked for: -93 to 35 ms
ATTACK_REACH = 3  # frames, 17 ms: a start is right within it
RELEASE_REACH = 7  # frames, 41 ms: an end is right within it
HOLD = 3  # frames, 17 ms: no note is let go sooner
# A struck string that dies away shows no release: the chance that it lies anywhere stays small, and is
# largest early by accident. Chosen on 46 solos of the corpus, played by eight instruments of a bank the
# networks were not fitted on (0.15 to 0.4 and 0.2 to 0.4 s do alike); on 45 others, of 60 ends that were
# heard a quarter of a second early 25 are left, and 13 late ones where there were 12.
UNSURE = 0.25  # chance of a release around its likeliest moment, below which that moment says nothing
TAIL = 70  # frames, 406 ms before its pitch is gone: where the release lies then
STEPS_ATTACK = (-12, -8, -5, -3, -2, -1, 1, 2, 3, 5, 8, 12)  # frames from here at which level is compared
STEPS_RELEASE = (-16, -8, -4, -2, 2, 4, 8, 16)
NEVER = -30.0  # log-odds of a frame that cannot be the moment
BODY = 20.0  # frames, 116 ms: lengths are counted as logarithms of this


def attack_frames(spans: Spans, stretch: Stretch) -> Ints:
    """Return (n,) the frame at which each note begins to sound, rising."""
    if not len(spans):
        return spans.start
    frames = attack_options(spans, stretch)
    odds = network("attacks").log_odds(attack_evidence(spans, frames, stretch).reshape(frames.size, -1))
    likely = _probability(np.where(frames < 0, np.float32(NEVER), odds.reshape(frames.shape)))
    right = uniform_filter1d(likely, 2 * ATTACK_REACH + 1, axis=1, mode="constant")
    chosen = frames[np.arange(len(spans)), right.argmax(axis=1)]
    return np.maximum.accumulate(np.maximum(chosen, 0))


def attack_options(spans: Spans, stretch: Stretch) -> Ints:
    """Return (n, frames) where each note might begin; -1 where that is in the note before or outside."""
    frames = spans.start[:, None] + np.arange(EARLIEST, LATEST + 1)
    earliest = np.concatenate([[0], spans.start[:-1] + HOLD])[:, None]
    return np.where((frames < earliest) | (frames >= len(stretch)), -1, frames)


def attack_evidence(spans: Spans, frames: Ints, stretch: Stretch) -> Floats:
    """Return (n, frames, columns) what speaks for each frame being the note's first."""
    last = len(stretch) - 1
    here = np.clip(frames, 0, last)
    level, strength = stretch.level_db, stretch.strength.overall
    top = stretch.loudest_ahead[spans.start][:, None]
    pitch = spans.pitch[:, None]
    columns = [
        (frames - spans.start[:, None]) / 10.0,
        (level[here] - top) / 10.0,
        *((level[np.clip(here + step, 0, last)] - top) / 10.0 for step in STEPS_ATTACK),
        *(np.minimum(strength[np.clip(here + step, 0, last)], 2.0) for step in (-4, -2, -1, 0, 1, 2, 4)),
        stretch.peak[spans.start][:, None],
        *(stretch.salience[np.clip(here + step, 0, last), pitch] for step in (-8, -4, 0, 4, 8)),
        np.log1p(np.clip(spans.start - np.concatenate([[-200], spans.end[:-1]]), 0, 100))[:, None] / 2.0,
        pitch / 24.0,
    ]
    return np.stack(np.broadcast_arrays(*columns), axis=-1).astype(np.float32)


def release_frames(spans: Spans, stretch: Stretch) -> Ints:
    """Return (n,) the frame at which each note is let go, at the latest where the next starts."""
    if not len(spans):
        return spans.end
    owner = owners(spans, stretch)
    frames = np.flatnonzero(owner >= 0)
    odds = np.full(len(stretch), NEVER, np.float32)
    odds[frames] = network("releases").log_odds(release_evidence(spans, owner, frames, stretch))
    likely = _probability(odds)
    until = np.append(spans.start[1:], len(stretch))
    gone = np.minimum(spans.end, until)
    notes = zip(spans.start.tolist(), until.tolist(), gone.tolist(), strict=True)
    return np.array([likeliest_release(likely, *note) for note in notes])


def owners(spans: Spans, stretch: Stretch) -> Ints:
    """Return (frames,) the note that could be let go at each frame, -1 where none could."""
    owner = np.searchsorted(spans.start, np.arange(len(stretch)), side="right") - 1
    return np.where(np.arange(len(stretch)) - spans.start[owner] >= HOLD, owner, -1)


def release_evidence(spans: Spans, owner: Ints, frames: Ints, stretch: Stretch) -> Floats:
    """Return (k, columns) what speaks for its note being let go at each of ``frames`` (k,)."""
    note, last = owner[frames], len(stretch) - 1
    until = np.append(spans.start[1:], last + 1)[note]
    since = frames - spans.start[note]
    top = stretch.loudest_ahead[spans.start[note]]
    columns = [
        np.log(since / BODY),
        np.log1p(np.clip(until - frames, 0, 200)) / 2.0,
        np.clip((frames - spans.end[note]) / 10.0, -3.0, 3.0),
        np.log(spans.length[note] / BODY),
        np.log1p(np.clip(until - spans.end[note], 0, 100)) / 2.0,
        np.minimum(stretch.peak[np.minimum(until, last)], 2.0),
        spans.pitch[note] / 24.0,
        *_falls(frames, top, stretch),
        *(stretch.salience[np.clip(frames + step, 0, last), spans.pitch[note]] for step in (-8, -3, 0, 3, 8)),
        (stretch.level_db[frames] - top) / since,
    ]
    return np.stack(columns, axis=1).astype(np.float32)


def _falls(frames: Ints, top: Floats, stretch: Stretch) -> Columns:
    """How level and bands stand here, before and after, in tens of dB."""
    last = len(stretch) - 1
    smooth = uniform_filter1d(stretch.level_db, 5)
    bands = uniform_filter1d(_regions(stretch), 3, axis=0)
    after, before = np.minimum(frames + 5, last), np.maximum(frames - 5, 0)
    falls = (bands[before] - bands[frames], bands[frames] - bands[after])
    return [
        (stretch.level_db[frames] - top) / 10.0,
        stretch.level_db[frames] / 10.0,
        *((smooth[np.clip(frames + step, 0, last)] - smooth[frames]) / 10.0 for step in STEPS_RELEASE),
        *(np.clip(fall.T[region] / 10.0, -2.0, 3.0) for fall in falls for region in range(REGIONS)),
    ]


def _regions(stretch: Stretch) -> Floats:
    parts = np.array_split(stretch.frames.bands_db, REGIONS, axis=1)
    return np.stack([part.mean(axis=1) for part in parts], axis=1)


def _probability(odds: Floats) -> NDArray[np.float32]:
    return np.asarray(1.0 / (1.0 + np.exp(-odds)), dtype=np.float32)


def likeliest_release(likely: Floats, start: int, until: int, gone: int) -> int:
    """Return the frame around which a note is most likely let go.

    Parameters
    ----------
    likely : ndarray, shape (frames,), 0 to 1
        How likely the release is in each frame.
    start, until : int
        The note's first frame, and the one it must have ended by.
    gone : int
        Where its pitch is heard no more, at most ``until``. If the release shows nowhere, it is looked for
        in the ``TAIL`` before.
    """
    mine = likely[start:until]
    reach = min(RELEASE_REACH, len(mine) // 4)
    sums = np.convolve(mine, np.ones(2 * reach + 1), mode="same")[: len(mine)]
    centre = int(sums.argmax())
    tail = slice(max(centre, gone - start - TAIL), gone - start)
    if sums[centre] < UNSURE and tail.start < tail.stop:
        centre = tail.start + int(sums[tail].argmax())
    near = slice(max(centre - reach, 0), centre + reach + 1)
    weights = mine[near] + 1e-9
    return start + near.start + round(float(weights @ np.arange(len(weights)) / weights.sum()))
