"""Backings that a player may have recorded along with: small bands in the common feels, every beat known.

Not those that the network of ``batch.beats`` was fitted on: other patterns, written out in beats,
other harmony and timing, and a bank it has not heard.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import mido
import numpy as np
from numpy.typing import NDArray

from .banks import Event, on_bank
from .company import PERCUSSION
from .takes import Samples, leveled, seed_of

SECONDS = 40.0
BASS, KEYS, PAD = 1, 2, 3
KICK, RIM, SNARE, HAT, FOOT, RIDE, CRASH, SHAKER = 35, 37, 40, 42, 44, 59, 57, 82

Stroke = tuple[float, int, int]
"""Beat from the bar's start (from 0), drum or step over the root, velocity."""


@dataclass(frozen=True, slots=True)
class Feel:
    """What each player does in a bar: strokes of drums, of the bass, and of chords (their step unused)."""

    name: str
    tempos_bpm: tuple[float, ...]
    beats: int
    meter: tuple[int, int]
    drums: tuple[Stroke, ...]
    bass: tuple[Stroke, ...]
    chords: tuple[Stroke, ...]
    bars_a_chord: int = 1
    fill: tuple[Stroke, ...] = ()


@dataclass(frozen=True, slots=True)
class Played:
    """A backing (n,), when its beats are and each one's number in its bar."""

    samples: Samples
    beats_s: NDArray[np.float64]
    beat_in_bar: NDArray[np.int64]


def each(drum: int, beats: tuple[float, ...], velocity: int = 80) -> tuple[Stroke, ...]:
    """Return a stroke of one drum at each of ``beats``."""
    return tuple((beat, drum, velocity) for beat in beats)


T = 2 / 3  # where a swung eighth falls
FEELS = (
    Feel(
        "swing", (118, 152, 205, 262), 4, (4, 4),
        (*each(RIDE, (0, 1, 1 + T, 2, 3, 3 + T)), *each(FOOT, (1, 3), 70), *each(SNARE, (2 + T,), 40)),
        ((0, 0, 90), (1, 4, 85), (2, 7, 88), (3, 11, 85)),
        ((0, 0, 70), (1 + T, 0, 75)),
        fill=each(SNARE, (2, 2 + T, 3, 3 + T), 75),
    ),
    Feel(
        "ballad", (60, 72, 84), 4, (4, 4),
        (*each(RIDE, (0, 1, 1 + T, 2, 3, 3 + T), 55), *each(FOOT, (1, 3), 60), *each(RIM, (3,), 50)),
        ((0, 0, 80), (2, 7, 75)),
        ((0, 0, 65), (2, 0, 55)),
    ),
    Feel(
        "bossa", (116, 138, 160), 4, (4, 4),
        (*each(HAT, (0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5), 60), *each(KICK, (0, 1.5, 2, 3.5), 70),
         *each(RIM, (0, 1.5, 3), 75)),
        ((0, 0, 88), (1.5, 7, 80), (2, 7, 85), (3.5, 0, 75)),
        ((0, 0, 65), (1, 0, 65), (2.5, 0, 70)),
        bars_a_chord=2,
    ),
    Feel(
        "samba", (184, 216), 4, (4, 4),
        (*each(SHAKER, (0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5), 75), *each(KICK, (0, 1.5, 2, 3.5), 85),
         *each(SNARE, (0.5, 2, 3), 55)),
        ((0, 0, 85), (1.5, 0, 75), (2, 7, 92), (3.5, 7, 75)),
        ((0.5, 0, 70), (1.5, 0, 70), (3, 0, 70)),
        bars_a_chord=2,
    ),
    Feel(
        "rock", (96, 124, 148, 172), 4, (4, 4),
        (*each(HAT, (0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5), 75), *each(KICK, (0, 2, 2.5), 100),
         *each(SNARE, (1, 3), 100)),
        tuple((k / 2, 0, 85) for k in range(8)),
        ((0, 0, 85), (1.5, 0, 80), (2.5, 0, 80)),
        fill=(*each(SNARE, (2, 2.25, 2.5, 2.75), 95), *each(45, (3, 3.25), 95), *each(41, (3.5, 3.75), 95)),
    ),
    Feel(
        "funk", (88, 98, 108), 4, (4, 4),
        (
            *each(HAT, tuple(k / 4 for k in range(16)), 65), *each(KICK, (0, 0.75, 2.25, 2.5), 98),
            *each(SNARE, (1, 3), 102), *each(SNARE, (1.75, 2.75), 35),
        ),
        ((0, 0, 95), (0.75, 0, 80), (1.5, 12, 85), (2.25, 0, 80), (3.25, 10, 80), (3.75, 12, 80)),
        ((0.5, 0, 80), (1.25, 0, 75), (2.5, 0, 80), (3.25, 0, 75)),
        bars_a_chord=2,
    ),
    Feel(
        "shuffle", (88, 116, 140), 4, (4, 4),
        (*each(HAT, (0, T, 1, 1 + T, 2, 2 + T, 3, 3 + T), 75), *each(KICK, (0, 2), 95),
         *each(SNARE, (1, 3), 98)),
        ((0, 0, 88), (1, 4, 85), (2, 7, 88), (3, 9, 85)),
        ((0, 0, 70), (T, 0, 60), (1, 0, 75), (1 + T, 0, 60), (2, 0, 70), (2 + T, 0, 60), (3, 0, 75),
         (3 + T, 0, 60)),
    ),
    Feel(
        "waltz", (96, 138, 176), 3, (3, 4),
        (*each(RIDE, (0, 1, 1 + T, 2), 75), *each(FOOT, (1, 2), 65), *each(KICK, (0,), 75)),
        ((0, 0, 88),),
        ((1, 0, 65), (2, 0, 65)),
    ),
    Feel(
        "6/8", (52, 66, 80), 2, (6, 8),
        (*each(HAT, (0, 1 / 3, T, 1, 4 / 3, 1 + T), 70), *each(KICK, (0, T), 92), *each(SNARE, (1,), 95)),
        ((0, 0, 88), (1, 7, 80), (1 + T, 7, 70)),
        tuple((k / 3, 0, 65) for k in range(6)),
        bars_a_chord=2,
    ),
)  # fmt: skip

LINEUPS = {
    "whole": ("drums", "bass", "chords"),
    "no drums": ("bass", "chords"),
    "no bass": ("drums", "chords"),
    "drums and bass": ("drums", "bass"),
    "pad first": ("drums", "bass", "chords"),
    "drifting": ("drums", "bass", "chords"),
}
CHANGES = (
    (2, (3, 5, 10)),
    (7, (4, 5, 9)),
    (0, (4, 7, 11)),
    (9, (4, 7, 10)),
    (5, (4, 7, 11)),
    (4, (3, 7, 10)),
)
"""Roots over C and what stands over them."""
JITTER_S, DRIFT = 0.008, 0.02


def backings() -> Iterator[tuple[Feel, float, str]]:
    """Yield every backing: feel, tempo, and who plays."""
    for feel in FEELS:
        for tempo_bpm in feel.tempos_bpm:
            for lineup in LINEUPS:
                yield feel, tempo_bpm, lineup


def backing_made(feel: Feel, tempo_bpm: float, lineup: str) -> tuple[Samples, NDArray[np.float64]]:
    """Return a backing, and its beats (n, 3): when, its number in the bar, 0."""
    rng = np.random.default_rng(seed_of(f"backing {feel.name} {tempo_bpm} {lineup}"))
    count = int(SECONDS * tempo_bpm / 60 * 1.1)
    turning = DRIFT * np.sin(np.arange(count) / 17.0 + rng.uniform(0, 6)) + rng.normal(0, 0.003, count)
    spans = 60.0 / tempo_bpm * (1.0 + turning * (4.0 if lineup == "drifting" else 0.25))
    beats_s = 0.4 + np.concatenate([[0.0], np.cumsum(spans)[:-1]])
    events = [e for e in played_by(rng, feel, beats_s, lineup) if e[0] < SECONDS or e[1].type == "note_off"]
    samples = on_bank([(min(max(at, 0.0), SECONDS), m) for at, m in events], SECONDS, room=0.3)
    inside = beats_s < SECONDS - 0.2
    numbers = np.arange(count) % feel.beats + 1
    return leveled(samples), np.column_stack([beats_s, numbers, np.zeros(count)])[inside]


def played_by(
    rng: np.random.Generator, feel: Feel, beats_s: NDArray[np.float64], lineup: str
) -> Iterator[Event]:
    """Yield what the players do."""
    for channel, programs in ((BASS, (32, 33)), (KEYS, (0, 4, 26)), (PAD, (50, 89))):
        yield 0.0, mido.Message("program_change", program=int(rng.choice(programs)), channel=channel)
    key, start = int(rng.integers(0, 12)), int(rng.integers(0, len(CHANGES)))
    for bar in range((len(beats_s) - 1) // feel.beats):
        times = beats_s[bar * feel.beats :][: feel.beats + 1]
        root, kind = CHANGES[(start + bar // feel.bars_a_chord) % len(CHANGES)]
        root = (root + key) % 12
        if lineup == "pad first" and bar < 4:
            yield from sounded(times[0], times[-1], [52 + (root + k) % 12 for k in (0, *kind)], PAD, 70)
            continue
        for part in LINEUPS[lineup]:
            yield from PLAYERS[part](rng, feel, times, bar, (root, kind))


Chord = tuple[int, tuple[int, ...]]
"""A root from C, and what stands over it."""


def drummed(
    rng: np.random.Generator, feel: Feel, times: NDArray[np.float64], bar: int, chord: Chord
) -> Iterator[Event]:
    """Yield a bar of drums; every eighth one ends with a fill, and the next starts with a crash."""
    strokes = feel.drums
    if bar % 8 == 7 and feel.fill:
        first = min(beat for beat, _, _ in feel.fill)
        strokes = (*(s for s in strokes if s[0] < first), *feel.fill)
    if bar % 8 == 0 and bar:
        strokes = (*strokes, (0, CRASH, 85))
    for beat, drum, velocity in strokes:
        if rng.random() < 0.96:
            at = time_of(rng, times, beat)
            yield from sounded(at, at + 0.1, [drum], PERCUSSION, touched(rng, velocity))


def walked(
    rng: np.random.Generator, feel: Feel, times: NDArray[np.float64], bar: int, chord: Chord
) -> Iterator[Event]:
    """Yield a bar of bass."""
    root, kind = chord
    for at, (beat, step, velocity) in enumerate(feel.bass):
        later = feel.bass[at + 1][0] if at + 1 < len(feel.bass) else feel.beats
        note = 28 + (root + 8) % 12 + (step if rng.random() < 0.8 else int(rng.choice(kind)))
        start, end = time_of(rng, times, beat), time_of(rng, times, later)
        yield from sounded(start, start + 0.85 * (end - start), [note], BASS, touched(rng, velocity))


def comped(
    rng: np.random.Generator, feel: Feel, times: NDArray[np.float64], bar: int, chord: Chord
) -> Iterator[Event]:
    """Yield a bar of chords, some left out."""
    root, kind = chord
    for beat, _, velocity in feel.chords:
        if rng.random() < 0.88:
            at = time_of(rng, times, beat)
            notes = [52 + (root + k) % 12 for k in kind]
            yield from sounded(at, at + 0.35 * (times[1] - times[0]), notes, KEYS, touched(rng, velocity))


Player = Callable[[np.random.Generator, Feel, NDArray[np.float64], int, Chord], Iterator[Event]]
PLAYERS: dict[str, Player] = {"drums": drummed, "bass": walked, "chords": comped}


def time_of(rng: np.random.Generator, times: NDArray[np.float64], beat: float) -> float:
    """Return when a player plays what is written at ``beat`` of the bar."""
    return float(np.interp(beat, np.arange(len(times)), times) + rng.normal(0, JITTER_S))


def touched(rng: np.random.Generator, velocity: int) -> int:
    """Return ``velocity`` as a hand has it."""
    return int(np.clip(velocity + rng.normal(0, 7), 12, 127))


def sounded(start_s: float, end_s: float, notes: list[int], channel: int, velocity: int) -> Iterator[Event]:
    """Yield notes struck together."""
    for note in notes:
        yield start_s, mido.Message("note_on", note=note, velocity=velocity, channel=channel)
        yield max(end_s, start_s + 0.03), mido.Message("note_off", note=note, channel=channel)
