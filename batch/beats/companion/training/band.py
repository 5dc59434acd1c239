"""Backings that an invented band plays, with every beat known: material for ``fit``. Needs fluidsynth.

A draw fixes one pattern from a style, which the band then varies from bar to bar. Players leave
out, drift, lay back, fill, and start with pads or a count-off.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import mido
import numpy as np
from numpy.typing import NDArray

from batch.beats.companion.training.styles import (
    CRASH,
    HIGH_TOM,
    KICK,
    LOW_TOM,
    SNARE,
    STICK,
    STYLES,
    Style,
    Voice,
)
from batch.hearing.training.performers import played

Event = tuple[float, mido.Message]

RATE_HZ = 22_050
DRUMS = 9
BASSES = [32, 32, 33, 33, 34, 35, 36, 38, 39]
CHORDS = [0, 0, 1, 4, 4, 5, 6, 11, 16, 17, 24, 25, 26, 26, 27, 27, 28, 61, 48]
PADS = [48, 49, 50, 89, 90, 91, 94, 52]
KINDS = [(0, 4, 7), (0, 3, 7), (0, 4, 7, 10), (0, 3, 7, 10), (0, 4, 7, 11), (0, 3, 6, 10), (0, 5, 7, 10)]


@dataclass(frozen=True, slots=True)
class Backing:
    """Sound (n,) at RATE_HZ, and when its beats and bars are."""

    style: str
    samples: NDArray[np.float32]
    beats_s: NDArray[np.float64]
    beat_in_bar: NDArray[np.int64]
    beats_per_bar: int


OFTEN = {"X": 0.98, "x": 0.75, "o": 0.25, ".": 0.012}
LOUD = {"X": 1.0, "x": 0.8, "o": 0.6, ".": 0.5}


@dataclass
class _Draw:
    """One band's ways through one backing."""

    rng: np.random.Generator
    style: Style
    tempo_bpm: float
    jitter_s: float
    late_s: dict[int, float] = field(default_factory=dict)
    long_share: float = 0.5


def backing(
    rng: np.random.Generator, bank: Path, *, seconds: float = 36.0, style: Style | None = None
) -> Backing:
    """Return what an invented band plays, drawn from ``rng``, with the sounds of ``bank``."""
    style = style or STYLES[int(rng.choice(len(STYLES), p=_weights()))]
    low, high = np.log(style.tempo_bpm)
    draw = _Draw(
        rng, style, float(np.exp(rng.uniform(low, high))), float(rng.choice([0.001, 0.004, 0.008, 0.012]))
    )
    draw.late_s = {channel: float(rng.normal(0, 0.006)) for channel in (1, 2, DRUMS)}
    if style.swings:
        draw.long_share = float(
            np.clip(0.667 + rng.normal(0, 0.03) - 0.08 * (draw.tempo_bpm > 220), 0.54, 0.75)
        )
    beats_s = _beats(draw, seconds)
    numbers = np.arange(len(beats_s)) % style.beats + 1
    # What is held at the end is let go there: a synthesizer waits for the last note.
    events = [
        (min(at, seconds), m) for at, m in _events(draw, beats_s) if at < seconds or m.type == "note_off"
    ]
    room = float(rng.choice([0.0, 0.2, 0.5, 0.8]))
    samples = played(((max(at, 0.0), message) for at, message in events), bank, seconds=seconds, room=room)
    inside = beats_s < seconds - 0.1
    recorded = _recorded(rng, samples)
    return Backing(style.name, recorded, beats_s[inside], numbers[inside], style.beats)


def _weights() -> NDArray[np.float64]:
    weights = np.array(
        [2.5 if s.name == "swing" else 0.4 if s.name in {"five", "seven"} else 1.0 for s in STYLES]
    )
    return np.asarray(weights / weights.sum())


def _beats(draw: _Draw, seconds: float) -> NDArray[np.float64]:
    """Return when the beats are: a machine's, a drifting band's, or one that speeds up."""
    rng = draw.rng
    count = int(seconds * draw.tempo_bpm / 60 * 1.6) + 8
    walk = np.cumsum(rng.normal(0, 1, count)) * float(rng.choice([0.0, 0.0, 0.002, 0.005]))
    ramp = np.linspace(0, float(rng.choice([0, 0, 0, 0.12, -0.12])), count)
    breathing = float(rng.choice([0.0, 0.01])) * np.sin(np.arange(count) / rng.uniform(6, 20))
    spans = 60 / draw.tempo_bpm * np.exp(walk + ramp + breathing)
    return np.asarray(rng.uniform(0.05, 1.2) + np.concatenate([[0.0], np.cumsum(spans)]))


def _events(draw: _Draw, beats_s: NDArray[np.float64]) -> Iterator[Event]:
    rng, style = draw.rng, draw.style
    parts = {name for name in ("drums", "bass", "chords") if rng.random() < 0.85} or {
        str(rng.choice(["drums", "chords"]))
    }
    drums = style.drums[rng.integers(len(style.drums))]
    bass, chords = str(rng.choice(style.bass)), str(rng.choice(style.chords))
    pad = rng.random() < 0.2
    yield 0.0, mido.Message("program_change", program=int(rng.choice(BASSES)), channel=1)
    yield 0.0, mido.Message("program_change", program=int(rng.choice(CHORDS)), channel=2)
    yield 0.0, mido.Message("program_change", program=int(rng.choice(PADS)), channel=3)
    volumes = {
        1: rng.integers(70, 120),
        2: rng.integers(55, 115),
        3: rng.integers(40, 80),
        DRUMS: rng.integers(60, 120),
    }
    for channel, volume in volumes.items():
        yield 0.0, mido.Message("control_change", control=7, value=int(volume), channel=channel)
    bars = (len(beats_s) - 1) // style.beats
    intro = int(rng.choice([0, 0, 0, 0, 1, 2, 4])) if len(parts) > 1 else 0
    count_off = rng.random() < 0.15
    fills_every = int(rng.choice([4, 8, 8, 16]))
    rhythm = int(rng.choice(style.chord_beats or (style.beats,)))
    roots = _progression(rng, bars * style.beats // rhythm + 2)
    for bar in range(bars):
        times = beats_s[bar * style.beats : (bar + 1) * style.beats + 1]
        at = bar * style.beats
        if bar < intro:
            if count_off and bar == intro - 1:
                for beat in range(style.beats):
                    yield from _hit(draw, times[beat], STICK, 90)
            yield from _chord(
                draw, times[0], times[-1] - times[0], roots[at // rhythm], channel=3, velocity=70
            )
            continue
        if "drums" in parts:
            filling = bar % fills_every == fills_every - 1 and rng.random() < 0.8
            yield from _drums(draw, times, drums, filling, bar == intro or bar % fills_every == 0)
        if "bass" in parts:
            yield from _bass(draw, times, bass, roots=roots, at=at, rhythm=rhythm)
        if "chords" in parts:
            yield from _chords(draw, times, chords, roots=roots, at=at, rhythm=rhythm)
        if pad and at % rhythm == 0:
            span = beats_s[min(at + rhythm, len(beats_s) - 1)] - times[0]
            yield from _chord(draw, times[0], span, roots[at // rhythm], channel=3, velocity=60)


def _progression(rng: np.random.Generator, count: int) -> list[tuple[int, tuple[int, ...]]]:
    length = int(rng.choice([1, 2, 4, 4, 8, 12]))
    chords = [(int(rng.integers(0, 12)), KINDS[rng.integers(len(KINDS))]) for _ in range(length)]
    return [chords[at % length] for at in range(count)]


def _place(draw: _Draw, times: NDArray[np.float64], part: int, channel: int) -> float:
    """Return when part ``part`` of a bar is played."""
    beat, inner = divmod(part, draw.style.parts)
    share = inner / draw.style.parts
    if draw.style.swings and inner == 2:
        share = draw.long_share
    start, end = times[beat], times[beat + 1]
    return float(start + share * (end - start) + draw.rng.normal(0, draw.jitter_s) + draw.late_s[channel])


def _played(
    draw: _Draw, letters: str, times: NDArray[np.float64], channel: int
) -> Iterator[tuple[float, int, float]]:
    """Yield when, which part, and how loud (0 to 1) of what ``letters`` of one bar ask for."""
    parts = draw.style.beats * draw.style.parts
    for part in range(parts):
        letter = letters[part % len(letters)]
        if draw.rng.random() < OFTEN[letter]:
            yield _place(draw, times, part, channel), part, LOUD[letter] * draw.rng.uniform(0.85, 1.1)


def _drums(
    draw: _Draw, times: NDArray[np.float64], drums: Voice, filling: bool, crash: bool
) -> Iterator[Event]:
    rng, parts = draw.rng, draw.style.parts
    last = draw.style.beats * parts
    fill_from = last - parts * int(rng.choice([1, 2])) if filling else last
    for drum, letters in drums.items():
        for at_s, part, loud in _played(draw, letters, times, DRUMS):
            if part < fill_from:
                stressed = 1.1 if part % parts == 0 else 0.9
                yield from _hit(draw, at_s, drum, 88 * loud * stressed)
    for part in range(fill_from, last):
        if rng.random() < 0.75:
            drum = int(rng.choice([SNARE, SNARE, HIGH_TOM, 45, LOW_TOM, KICK]))
            yield from _hit(draw, _place(draw, times, part, DRUMS), drum, rng.uniform(60, 110))
    if crash and rng.random() < 0.5:
        yield from _hit(draw, _place(draw, times, 0, DRUMS), CRASH, 90)


def _hit(draw: _Draw, at_s: float, drum: int, velocity: float) -> Iterator[Event]:
    level = int(np.clip(velocity + draw.rng.normal(0, 6), 15, 127))
    yield at_s, mido.Message("note_on", note=drum, velocity=level, channel=DRUMS)
    yield at_s + 0.1, mido.Message("note_off", note=drum, channel=DRUMS)


def _bass(
    draw: _Draw,
    times: NDArray[np.float64],
    letters: str,
    *,
    roots: list[tuple[int, tuple[int, ...]]],
    at: int,
    rhythm: int,
) -> Iterator[Event]:
    rng = draw.rng
    onsets = list(_played(draw, letters, times, 1))
    ends = [onset[0] for onset in [*onsets[1:], (float(times[-1]), 0, 0.0)]][: len(onsets)]
    for (at_s, part, loud), end_s in zip(onsets, ends, strict=True):
        beat = at + part // draw.style.parts
        root, kind = roots[beat // rhythm]
        first = beat % rhythm == 0 and part % draw.style.parts == 0
        step = 0 if first or rng.random() < 0.35 else int(rng.choice([*kind, 12, 7, kind[1], kind[1] + 1]))
        note = 28 + (root + 8) % 12 + step
        yield at_s, mido.Message("note_on", note=note, velocity=int(np.clip(85 * loud, 20, 127)), channel=1)
        yield max(at_s + 0.05, at_s + 0.9 * (end_s - at_s)), mido.Message("note_off", note=note, channel=1)


def _chords(
    draw: _Draw,
    times: NDArray[np.float64],
    letters: str,
    *,
    roots: list[tuple[int, tuple[int, ...]]],
    at: int,
    rhythm: int,
) -> Iterator[Event]:
    short = draw.rng.random() < 0.5
    onsets = list(_played(draw, letters, times, 2))
    ends = [onset[0] for onset in [*onsets[1:], (float(times[-1]), 0, 0.0)]][: len(onsets)]
    for (at_s, part, loud), end_s in zip(onsets, ends, strict=True):
        chord = roots[(at + part // draw.style.parts) // rhythm]
        length = min(0.15, 0.9 * (end_s - at_s)) if short else 0.95 * (end_s - at_s)
        yield from _chord(draw, at_s, max(length, 0.05), chord, channel=2, velocity=75 * loud)


def _chord(
    draw: _Draw,
    at_s: float,
    length_s: float,
    chord: tuple[int, tuple[int, ...]],
    *,
    channel: int,
    velocity: float,
) -> Iterator[Event]:
    root, kind = chord
    for step in kind[draw.rng.integers(0, 2) :]:
        note = 52 + (root + step + 8) % 12
        at = at_s + float(draw.rng.uniform(0, 0.008))
        yield (
            at,
            mido.Message("note_on", note=note, velocity=int(np.clip(velocity, 15, 127)), channel=channel),
        )
        yield at_s + length_s, mido.Message("note_off", note=note, channel=channel)


def _recorded(rng: np.random.Generator, samples: NDArray[np.float64]) -> NDArray[np.float32]:
    """Return ``samples`` as played back or recorded: another tone colour, squeezed, or under some noise."""
    sound = samples / (np.abs(samples).max() + 1e-9)
    if rng.random() < 0.4:
        low, high = rng.uniform(-12, 6, 2)
        spectrum = np.fft.rfft(sound)
        place = np.linspace(0, 1, len(spectrum)) ** 0.4
        sound = np.fft.irfft(spectrum * 10 ** ((low + (high - low) * place) / 20), len(sound))
    if rng.random() < 0.3:
        sound = np.tanh(rng.uniform(1, 5) * sound / (np.abs(sound).max() + 1e-9))
    if rng.random() < 0.3:
        noise = rng.standard_normal(len(sound))
        sound = sound + noise * np.sqrt((sound**2).mean()) * 10 ** (-rng.uniform(15, 40) / 20)
    return np.asarray(0.5 * sound / (np.abs(sound).max() + 1e-9), dtype=np.float32)
