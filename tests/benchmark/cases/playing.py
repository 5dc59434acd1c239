"""Hard ways of playing: fast, repeated, in octaves, ringing, slow, ghostly, tied, bent, wavering."""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np
from scipy.ndimage import gaussian_filter1d

from batch.hearing.training.noise import RATE_HZ

from ..making import voices as on
from ..making.lines import LEAD_IN_S, human, invented, steady
from ..making.takes import Line, Made, leveled
from ..making.tones import AUDIBLE, END_S, edges, held, line_of, sounded
from ..making.voices import Voice, play
from .case import EVERY_GHOST, Case, by_ghosts, by_held_notes, by_notes, by_pieces

SCALE = (0, 2, 4, 5, 7, 9, 11)
REST_S = 0.6
SECONDS = 10.0
GHOST_DB = -20.0
TOUCH_S = 0.02  # common practice, no source

Rng = np.random.Generator


def scale_run(rng: Rng, count: int, centre: int) -> list[float]:
    """Return ``count`` pitches up or down a scale about ``centre``."""
    pitches = [float(centre - 7 + 12 * (k // 7) + SCALE[k % 7]) for k in range(count)]
    return pitches if rng.random() < 0.5 else pitches[::-1]


def in_bursts(bursts: Sequence[Sequence[float]], every_s: float, share: float) -> Line:
    """Return bursts of pitches ``every_s`` apart, each note sounding for a ``share``, rests between."""
    at_s, lines = LEAD_IN_S, []
    for pitches in bursts:
        lines.append(steady(pitches, every_s, share * every_s, at_s))
        at_s = lines[-1][-1, 1] + REST_S
    return np.concatenate(lines)


def fast(every_s: float, rng: Rng, voice: Voice) -> Made:
    """Return runs of eight notes."""
    runs = [scale_run(rng, 8, voice.centre + int(rng.integers(-3, 8))) for _ in range(8)]
    line = in_bursts(runs, every_s, 0.92)
    return leveled(play(rng, line, voice)), line


def repeated(every_s: float, rng: Rng, voice: Voice) -> Made:
    """Return one pitch struck six times without a rest, then another.

    The tongue or the pick stops our tones for TOUCH_S before it starts the next; sampled ones go over
    into the next as the bank's releases have it.
    """
    touch_s = 0.001 if isinstance(voice.sound, int) else TOUCH_S
    bursts = [[float(voice.centre + rng.integers(-5, 8))] * 6 for _ in range(8)]
    line = in_bursts(bursts, every_s, 1.0 - touch_s / every_s)
    if isinstance(voice.sound, int):
        return leveled(play(rng, line, voice)), line
    return leveled(line_of(line, replace(voice.timbre, release_s=TOUCH_S / 2.0))), line


def octaves(rng: Rng, voice: Voice) -> Made:
    """Return leaps of an octave up and down."""
    pitches = [float(voice.centre - 6 + rng.integers(0, 3) + leap) for leap in (0, 12, 0, 12, 24, 12) * 5]
    line = steady(pitches, 0.25, 0.23)
    return leveled(play(rng, line, voice)), line


def weighted(weights: tuple[float, ...], rng: Rng, voice: Voice) -> Made:
    """Return a line whose partials have these weights."""
    line = invented(rng, SECONDS, voice.centre)
    return leveled(line_of(line, replace(voice.timbre, weights=weights))), line


def with_subharmonic(rng: Rng, voice: Voice) -> Made:
    """Return a line with half its frequency 12 dB under it, and the odd partials of that half."""
    line = invented(rng, SECONDS, voice.centre)
    below = line - np.array([0.0, 0.0, 12.0])
    odd = tuple(w if k % 2 == 0 else 0.0 for k, w in enumerate((1.0, 0, 0.8, 0, 0.5, 0, 0.3)))
    sound = line_of(line, voice.timbre)
    return leveled(sound + 0.25 * line_of(below, replace(voice.timbre, weights=odd))[: len(sound)]), line


def ringing(rng: Rng, voice: Voice) -> Made:
    """Return a line each of whose notes rings on for 1.5 s under the next ones."""
    line = invented(rng, SECONDS, voice.centre)
    if isinstance(voice.sound, int):
        longer = line + np.array([0.0, 1.5, 0.0])
        return leveled(play(rng, longer, voice)), line
    return leveled(line_of(line, voice.timbre, ring_s=1.5)), line


def slow(attack_s: float, rng: Rng, voice: Voice) -> Made:
    """Return held notes that swell; a note begins where it reaches -20 dB of its level."""
    line = steady(rng.permutation(scale_run(rng, 14, voice.centre)).tolist(), 0.6, 0.5)
    sound = line_of(line, replace(voice.timbre, attack_s=attack_s))
    return leveled(sound), line + np.array([AUDIBLE * attack_s, 0.0, 0.0])


def ghosts(rng: Rng, voice: Voice) -> Made:
    """Return a line of which every fourth note is 20 dB softer."""
    line = invented(rng, SECONDS, voice.centre)
    soft = np.arange(len(line)) % EVERY_GHOST == 0
    loud, faint = play(rng, line[~soft], voice), play(rng, line[soft], voice)
    sound = np.zeros(max(len(loud), len(faint)))
    sound[: len(loud)] += loud
    sound[: len(faint)] += faint * 10.0 ** (GHOST_DB / 20.0)
    return leveled(sound), line


def tied(glide_s: float, rng: Rng, voice: Voice) -> Made:
    """Return groups of four notes with one attack: the pitch goes on to the next within ``glide_s``."""
    length_s, sound, lines = 0.2, np.zeros(int((LEAD_IN_S + 10 * 1.3 + END_S) * RATE_HZ)), []
    for group in range(10):
        steps = np.cumsum([0, *rng.choice([-4, -3, -2, -1, 1, 2, 3, 4], 3)])
        line = steady((voice.centre + steps).tolist(), length_s, length_s, LEAD_IN_S + 1.3 * group)
        curve = np.repeat(line[:, 2], int(length_s * RATE_HZ))
        curve = gaussian_filter1d(curve, glide_s * RATE_HZ / 3.0, mode="nearest") if glide_s else curve
        first = round(line[0, 0] * RATE_HZ)
        level = edges(len(curve), voice.timbre)
        sound[first : first + len(curve)] += sounded(curve, level, voice.timbre)
        lines.append(line)
    return leveled(sound), np.concatenate(lines)


def bent(semitones: float, back: bool, rng: Rng, voice: Voice) -> Made:
    """Return held notes bent up after a quarter of a second, and let down again if ``back``."""
    times = [0.0, 0.25, 0.45, 0.65, 0.85, 1.1]
    moves = [0.0, 0.0, semitones, semitones, 0.0, 0.0] if back else [0.0, 0.0, *[semitones] * 4]
    curve = np.interp(np.arange(int(1.1 * RATE_HZ)) / RATE_HZ, times, moves)
    line = steady(rng.permutation(scale_run(rng, 10, voice.centre)).tolist(), 1.4, 1.0)
    return leveled(held(curve, line, voice.timbre)), line


def wavering(cents: float, rng: Rng, voice: Voice) -> Made:
    """Return held notes with vibrato of 5 to 6.5 Hz that sets in within 0.2 s."""
    time_s = np.arange(int(1.5 * RATE_HZ)) / RATE_HZ
    turns = np.sin(2.0 * np.pi * rng.uniform(5.0, 6.5) * time_s)
    line = steady(rng.permutation(scale_run(rng, 8, voice.centre)).tolist(), 1.7, 1.4)
    return leveled(held(cents / 100.0 * np.minimum(time_s / 0.2, 1.0) * turns, line, voice.timbre)), line


def even(rng: Rng, voice: Voice) -> Made:
    """Return a plain line, for comparison."""
    line = human(rng, [tuple(note) for note in invented(rng, SECONDS, voice.centre)])
    return leveled(play(rng, line, voice)), line


QUICK = (on.OUR_STRING, on.OUR_REED, on.GUITAR, on.ALTO, on.PIANO)
BLOWN = (on.OUR_REED, on.OUR_FLUTE, on.OUR_VOICE)
LEAPING = (on.OUR_STRING, on.OUR_REED, on.OUR_HOLLOW, on.OUR_DRIVEN, on.DISTORTED, on.TENOR)
RINGING = (on.OUR_STRING, on.OUR_BELL, on.VIBRAPHONE, on.STEEL, on.PIANO)
TIED = (on.OUR_STRING, on.OUR_REED, on.OUR_VOICE)
STRONG_SECOND = (0.25, 1.0, 0.4, 0.5, 0.2, 0.2, 0.1)
WEAK_FIRST = (0.03, 0.6, 1.0, 0.8, 0.6, 0.4, 0.3, 0.2)

CASES = (
    Case("a plain line", (*QUICK, on.TRUMPET), even, by_notes),
    *(Case(f"notes {ms} ms apart", QUICK, partial(fast, ms / 1000), by_notes) for ms in (50, 60, 70)),
    *(
        Case(f"repeated notes {ms} ms apart", QUICK, partial(repeated, ms / 1000), by_notes)
        for ms in (70, 100, 150)
    ),
    Case("octave leaps", LEAPING, octaves, by_notes),
    Case("second partial 12 dB over the first", (on.OUR_REED,), partial(weighted, STRONG_SECOND), by_notes),
    Case("first partial 30 dB under the others", (on.OUR_REED,), partial(weighted, WEAK_FIRST), by_notes),
    Case("subharmonic 12 dB under", (on.OUR_REED,), with_subharmonic, by_notes),
    Case("ringing on 1.5 s", RINGING, ringing, by_notes),
    *(Case(f"attack of {ms} ms", BLOWN, partial(slow, ms / 1000), by_notes) for ms in (80, 140, 200)),
    Case("ghost notes 20 dB under", (on.OUR_STRING, on.OUR_REED, on.GUITAR, on.TENOR), ghosts, by_ghosts),
    Case("hammer-ons, no attack", TIED, partial(tied, 0.0), by_notes),
    Case("tied within 30 ms", TIED, partial(tied, 0.03), by_notes),
    Case("slides of 80 ms", TIED, partial(tied, 0.08), by_notes),
    Case("bend of 1 semitone", TIED, partial(bent, 1.0, False), by_pieces),
    Case("bend of 2 semitones", TIED, partial(bent, 2.0, False), by_pieces),
    Case("bend of 2 and back", TIED, partial(bent, 2.0, True), by_pieces),
    *(
        Case(f"vibrato of {cents} cents", (*BLOWN, on.OUR_STRING), partial(wavering, cents), by_held_notes)
        for cents in (20, 40, 60)
    ),
)
