"""Frames to onset strength and silence: where something is struck, and where nobody plays."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from batch.hearing.features import Floats, Frames
from batch.hearing.params import HearingParams

SILENT_DB = -100.0  # under the peak: digital silence, no part of any noise floor
PLAYING_RANGE_DB = 25.0  # frames this close to the loudest ones are the line itself
LOUDEST = 99.5  # percentile that stands for "the loudest": a click is not it
NOISE = 5.0  # percentile of the level that stands for the noise floor
BAND_NOISE = 8.0  # the same for a single band, which fluctuates more
MEAN_FRAMES = 41  # 240 ms, the neighbourhood an onset must stand out of
PEAK_REACH = 4  # frames to either side that a peak tops: 23 ms, half the shortest note
RECENT_S = 0.25  # s, how far back "recently" reaches when a drop of level is judged
RISE_DB = 20.0  # rise of level that counts at most
REGIONS = 3  # low, middle, high: a struck string starts in all, a change of pitch in some
LOUD = 98.0  # percentile over all bands and frames that stands for the loudest
QUIET_DB = 50.0  # under the playing level: no rise from below it counts
STILL_NOISE_DB = 3.0  # over the noise floor: noise's own fluctuation
STRENGTH_DB = 12.0  # a rise of this much in every band has strength 1
FULL_STRENGTH = 0.5  # strength of an unmistakable onset (rendered solos)
MOST_REWARD = 1.5  # onsets beyond it earn no more


@dataclass(frozen=True, slots=True)
class Loudness:
    """Levels of a stretch of sound, dB: the line's, the noise's, and what is just not digital silence."""

    playing_db: float
    noise_db: float
    audible_db: float


def loudness_of(level_db: Floats) -> Loudness:
    """Return the levels of a stretch, whatever share of it is silent."""
    audible_db = float(level_db.max()) + SILENT_DB
    audible = level_db[level_db > audible_db]
    loudest = np.percentile(audible, LOUDEST)
    playing = float(np.median(audible[audible > loudest - PLAYING_RANGE_DB]))
    return Loudness(playing, float(np.percentile(audible, NOISE)), audible_db)


@dataclass(frozen=True, slots=True)
class Strength:
    """How much starts at each frame: ``overall`` (n,), and in low, middle and high bands (n, 3)."""

    overall: Floats
    regions: Floats


def onset_strength(frames: Frames, loudness: Loudness, params: HearingParams) -> Strength:
    """Return how much starts at each frame: SuperFlux on decibels plus the rise of level.

    Bands are held at their noise floor first, so that noise does not rise. A departure from
    the source: the mean over bands of a rise in dB, so that gain does not matter.
    """
    lag = params.flux_lag
    bands = np.maximum(frames.bands_db, _band_floor_db(frames, loudness, params))
    before = maximum_filter1d(bands, 3, axis=1)
    rises = np.zeros_like(bands)
    rises[lag:] = np.clip(bands[lag:] - before[:-lag], 0.0, params.flux_top_db)
    quiet = max(loudness.playing_db - QUIET_DB, loudness.noise_db + STILL_NOISE_DB)
    level = np.maximum(frames.level_db, np.float32(quiet))
    rise = np.zeros(len(frames), np.float32)
    rise[lag:] = np.clip(level[lag:] - level[:-lag], 0.0, RISE_DB)
    overall = rises.mean(axis=1) + np.float32(params.level_weight) * rise
    regions = np.stack([part.mean(axis=1) for part in np.array_split(rises, REGIONS, axis=1)], axis=1)
    return Strength(_in_strengths(overall), _in_strengths(regions))


def _in_strengths(rise_db: NDArray[np.floating]) -> Floats:
    return np.asarray(rise_db / STRENGTH_DB, dtype=np.float32)


def _band_floor_db(frames: Frames, loudness: Loudness, params: HearingParams) -> Floats:
    """Return (bands,) the level under which a band holds nothing."""
    playing = frames.level_db > loudness.playing_db - PLAYING_RANGE_DB
    audible = frames.level_db > loudness.audible_db
    silence = np.percentile(frames.bands_db[playing], LOUD) + params.band_floor_db
    noise = np.percentile(frames.bands_db[audible], BAND_NOISE, axis=0) + params.band_noise_margin_db
    return np.maximum(silence, noise).astype(np.float32)


def onset_rewards(strength: Floats, params: HearingParams) -> Floats:
    """Return (n,) 0 except at peaks of ``strength`` that stand out, there 0 to MOST_REWARD."""
    around = uniform_filter1d(strength, MEAN_FRAMES)
    peak = strength == maximum_filter1d(strength, 2 * PEAK_REACH + 1)
    peak &= strength > params.onset_floor + params.onset_over_mean * around
    return np.where(peak, np.minimum(strength / FULL_STRENGTH, MOST_REWARD), 0.0).astype(np.float32)


def silence_evidence(level_db: Floats, loudness: Loudness, params: HearingParams) -> Floats:
    """Return (n,) from -1 (sounding) to 1 (silent)."""
    frame_s = params.hop / params.rate_hz
    recent = int(RECENT_S / frame_s)
    loudest = maximum_filter1d(level_db, recent, origin=recent // 2)
    threshold = np.maximum(
        loudest - params.drop_db - params.noise_margin_db,
        max(loudness.playing_db + params.silence_db, _over_noise(loudness, params)),
    )
    return np.asarray(np.clip((threshold - level_db) / 6.0, -1.0, 1.0), dtype=np.float32)


def _over_noise(loudness: Loudness, params: HearingParams) -> float:
    """Return the level under which only noise sounds. A take without rests shows no noise floor."""
    over = loudness.noise_db + params.noise_margin_db
    return min(over, loudness.playing_db - 3 * params.noise_margin_db)
