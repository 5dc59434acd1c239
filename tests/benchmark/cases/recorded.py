"""Hard ways of being recorded: noise, hum, clipping, rooms, backing, extremes of pitch, level and file."""

from collections.abc import Callable
from functools import partial

import numpy as np
import soxr

from batch.hearing.training.noise import RATE_HZ, hum, mixed, pink

from ..making import voices as on
from ..making.banks import on_bank
from ..making.company import band
from ..making.lines import invented
from ..making.rooms import at_level, breath, click, coded, in_room, knocks
from ..making.takes import Line, Made, leveled
from ..making.tones import Sound
from ..making.voices import Voice, play
from .case import Case, by_notes, by_tuning

SECONDS = 10.0
Rng = np.random.Generator
Spoil = Callable[[Rng, Sound, Line], Sound]


def spoilt(spoil: Spoil, rng: Rng, voice: Voice) -> Made:
    """Return a plain line after ``spoil`` has been at it."""
    line = invented(rng, SECONDS, voice.centre)
    return leveled(spoil(rng, play(rng, line, voice), line)), line


def as_it_is(rng: Rng, sound: Sound, line: Line) -> Sound:
    """Spoil nothing."""
    return sound


def breathy(rng: Rng, sound: Sound, line: Line) -> Sound:
    """Add breath 18 dB under the tone."""
    return mixed(sound, breath(rng, sound), -18.0)


def knocking(rng: Rng, sound: Sound, line: Line) -> Sound:
    """Add a knock of a key or string at every other note, as loud at its peak as half the line."""
    noise = knocks(rng, len(sound), line, 0.5)
    return sound + noise / np.abs(noise).max() * 0.5 * np.abs(sound).max()


def humming(level_db: float, rng: Rng, sound: Sound, line: Line) -> Sound:
    """Add mains hum."""
    return mixed(sound, hum(rng, len(sound)), level_db)


def noisy(level_db: float, rng: Rng, sound: Sound, line: Line) -> Sound:
    """Add pink noise."""
    return mixed(sound, pink(rng, len(sound)), level_db)


def clipped(over_db: float, rng: Rng, sound: Sound, line: Line) -> Sound:
    """Record ``over_db`` too loud."""
    top = np.abs(sound).max() * 10.0 ** (-over_db / 20.0)
    return np.clip(sound, -top, top)


def roomy(rt60_s: float, rng: Rng, sound: Sound, line: Line) -> Sound:
    """Record two steps away."""
    return in_room(rng, sound, rt60_s)


def clicking(level_db: float, rng: Rng, sound: Sound, line: Line) -> Sound:
    """Add a click, whose peak is at ``level_db`` of the line's."""
    ticks = click(len(sound), rng.uniform(90.0, 160.0))
    return sound + ticks * np.abs(sound).max() / np.abs(ticks).max() * 10.0 ** (level_db / 20.0)


def backed(level_db: float, rng: Rng, sound: Sound, line: Line) -> Sound:
    """Add a band."""
    return mixed(sound, on_bank(band(rng), len(sound) / RATE_HZ, room=0.3), level_db)


def phone(rng: Rng, sound: Sound, line: Line) -> Sound:
    """Pass through 8 kHz, half of which is all the band there is."""
    return np.asarray(soxr.resample(soxr.resample(sound, RATE_HZ, 8_000), 8_000, RATE_HZ))


def lossy(file: tuple[str, str, int], rng: Rng, sound: Sound, line: Line) -> Sound:
    """Pass through a lossy file: its ending, coding, and bits a second."""
    return coded(leveled(sound), *file).astype(np.float64)


def faint(rng: Rng, voice: Voice) -> Made:
    """Return a line at -50 dB, noise 20 dB under it."""
    line = invented(rng, SECONDS, voice.centre)
    quiet = at_level(play(rng, line, voice), -50.0)
    return mixed(quiet, pink(rng, len(quiet)), -20.0).astype(np.float32), line


def within(low: int, high: int, rng: Rng, voice: Voice) -> Made:
    """Return a line between two MIDI pitches at least an octave apart."""
    line = invented(rng, SECONDS, (low + high) // 2)
    line[:, 2] = [low + (pitch - low) % 12 if not low <= pitch <= high else pitch for pitch in line[:, 2]]
    return leveled(play(rng, line, voice)), line


def detuned(rng: Rng, voice: Voice) -> Made:
    """Return a line 40 cents sharp."""
    line = invented(rng, SECONDS, voice.centre) + np.array([0.0, 0.0, 0.4])
    return leveled(play(rng, line, voice)), line


PLAIN = (on.OUR_STRING, on.OUR_REED, on.GUITAR, on.TENOR)
SAMPLED = (on.GUITAR, on.TENOR, on.TRUMPET, on.PIANO)
WIND = (on.OUR_REED, on.OUR_FLUTE, on.TENOR)


def made(name: str, spoil: Spoil, voices: tuple[Voice, ...] = PLAIN) -> Case:
    """Return a case of a plain line spoilt."""
    return Case(name, voices, partial(spoilt, spoil), by_notes)


CASES = (
    made("breath 18 dB under", breathy, WIND),
    made("key and string noise", knocking),
    made("hum 20 dB under", partial(humming, -20.0)),
    made("noise 15 dB under", partial(noisy, -15.0)),
    made("clipped by 12 dB", partial(clipped, 12.0)),
    *(made(f"room, RT60 {s} s", partial(roomy, s)) for s in (0.4, 1.0, 1.8)),
    *(made(f"click {-db} dB under", partial(clicking, db)) for db in (-10.0, -20.0)),
    *(made(f"backing {-db} dB under", partial(backed, db), SAMPLED) for db in (-10.0, -20.0)),
    Case("low bass, E1 to G2", (on.BASS, on.OUR_STRING), partial(within, 28, 43), by_notes),
    Case("high register, C6 to C7", (on.PICCOLO, on.OUR_FLUTE), partial(within, 84, 96), by_notes),
    Case("quiet (-50 dB) in noise", PLAIN, faint, by_notes),
    made("MP3, 64 kbit/s", partial(lossy, (".mp3", "libmp3lame", 64_000))),
    made("AAC, 48 kbit/s", partial(lossy, (".m4a", "aac", 48_000))),
    made("Opus, 24 kbit/s", partial(lossy, (".webm", "libopus", 24_000))),
    made("phone, 8 kHz", phone),
    Case("40 cents sharp", (on.OUR_STRING, on.OUR_REED, on.OUR_HOLLOW), detuned, by_tuning),
)
