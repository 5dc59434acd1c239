"""Notes from librosa's pyin, by the plainest segmentation that serves it well.

A note goes on while the pitch is voiced and within PITCH_STEP of the note so far; a step must last
STEP_S. ``librosa.onset.onset_detect`` cuts repeated notes, and a note that the pitch shows late
starts at the onset before it. Notes under SHORTEST_S are dropped.
"""

import librosa
import numpy as np
from numpy.typing import NDArray
from scipy.signal import medfilt

from .making.takes import Line, Samples

LOWEST, HIGHEST = "C1", "C7"
FRAME, HOP = 2048, 256  # half the default hop, which heard fewer notes
RESOLUTION = 0.2  # semitones; its default of 0.1 costs four times as much, and 50 cents are what counts
PITCH_STEP = 0.7  # semitones: a step of one counts, vibrato of 30 cents does not; wider vibrato cuts
STEP_S = 0.04
SHORTEST_S = 0.04
SMOOTHED = 5  # frames
LATE_S = 0.06  # by which the pitch may follow an onset: about half of FRAME at 22.05 kHz


def pyin_notes(samples: Samples, rate_hz: int) -> Line:
    """Return the notes (n, 3) of a mono take."""
    f0, voiced, _ = librosa.pyin(
        samples,
        sr=rate_hz,
        fmin=float(librosa.note_to_hz(LOWEST)),
        fmax=float(librosa.note_to_hz(HIGHEST)),
        frame_length=FRAME,
        hop_length=HOP,
        resolution=RESOLUTION,
    )
    onsets_s = librosa.onset.onset_detect(y=samples, sr=rate_hz, hop_length=HOP, units="time")
    return segmented(np.where(voiced, librosa.hz_to_midi(f0), np.nan), onsets_s, HOP / rate_hz)


def segmented(pitch: NDArray[np.float64], onsets_s: NDArray[np.float64], frame_s: float) -> Line:
    """Return notes (n, 3) of a track of MIDI pitches, NaN where nothing is, and its onsets."""
    smooth = np.where(np.isnan(pitch), np.nan, medfilt(np.nan_to_num(pitch, nan=0.0), SMOOTHED))
    smooth[smooth == 0.0] = np.nan
    starts = set(np.round(onsets_s / frame_s).astype(int).tolist())
    lasting = max(1, round(STEP_S / frame_s))
    notes: list[tuple[int, int, float]] = []
    first: int | None = None
    for at in range(len(smooth) + 1):
        if first is not None and ends(smooth, first, at, lasting, starts):
            notes.append((first, at, float(np.median(smooth[first:at]))))
            first = None
        if first is None and at < len(smooth) and not np.isnan(smooth[at]):
            first = at
    line = np.array([(a * frame_s, b * frame_s, midi) for a, b, midi in notes]).reshape(-1, 3)
    line = line[line[:, 1] - line[:, 0] >= SHORTEST_S]
    return begun_at_onsets(line, onsets_s)


def ends(smooth: NDArray[np.float64], first: int, at: int, lasting: int, starts: set[int]) -> bool:
    """Return whether the note that began at frame ``first`` is over at frame ``at``."""
    if at == len(smooth) or np.isnan(smooth[at]) or (at in starts and at > first):
        return True
    if at == first:
        return False
    ahead = smooth[at : at + lasting]
    return bool(np.all(np.abs(ahead - np.median(smooth[first:at])) > PITCH_STEP))


def begun_at_onsets(line: Line, onsets_s: NDArray[np.float64]) -> Line:
    """Return ``line`` with each note moved back to the onset up to LATE_S before it, if there is one."""
    line = line.copy()
    floor = 0.0
    for note in line:
        before = onsets_s[(onsets_s <= note[0]) & (onsets_s >= max(note[0] - LATE_S, floor))]
        if len(before):
            note[0] = before[-1]
        floor = note[1]
    return line
