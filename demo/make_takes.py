"""Make the demo's takes: an evening of the Lantern Street Four, an invented group.

Ana plays the lead line on six tunes in the back room of the Copper Kettle. Each take has a
character, so that the ranking can be checked by eye:

    one-idea        the same two bars, again and again
    waterfall       runs without end: long, dense, all alike
    slow-lantern    long held notes, sparse and legato
    off-kilter      everything leans against the beat
    talking-back    short questions, long answers
    everything      long and short, dense and sparse, high and low, in the groove and out of it

The sound is synthesised here, so the repository holds none: ``python demo/make_takes.py DIR``.
"""

import sys
from dataclasses import dataclass
from pathlib import Path

import mido
import numpy as np
import soundfile
from mutagen.flac import FLAC

RATE_HZ = 44_100
TEMPO_BPM = 132
BEAT_S = 60 / TEMPO_BPM
DATE = "2026-03-14"

Line = list[tuple[float, float, int]]
"""Notes as (start in beats, length in beats, MIDI pitch)."""


@dataclass(frozen=True)
class Tune:
    """A take to be made: its file name, its title, its phrases with the beat each starts on."""

    name: str
    title: str
    phrases: list[tuple[float, Line]]


def steps(pitches: list[int], step: float, length: float | None = None, start: float = 0.0) -> Line:
    """Return notes one ``step`` of beats apart; ``length`` of them is sounding."""
    return [(start + i * step, length or step * 0.9, pitch) for i, pitch in enumerate(pitches)]


def at(times: list[float], pitches: list[int], length: float) -> Line:
    """Return notes at the beats given."""
    return [(time, length, pitch) for time, pitch in zip(times, pitches, strict=True)]


def scale(start: int, count: int, rises: bool = True) -> list[int]:
    """Return ``count`` notes up or down a D dorian scale from ``start``."""
    dorian = [p for octave in range(10) for p in (12 * octave + d for d in (0, 2, 4, 5, 7, 9, 11))]
    first = min(range(len(dorian)), key=lambda i: abs(dorian[i] - start))
    return [dorian[first + (i if rises else -i)] for i in range(count)]


def every(beats: float, lines: list[Line]) -> list[tuple[float, Line]]:
    """Return lines that start ``beats`` apart, after a bar of silence."""
    return [(4 + beats * i, line) for i, line in enumerate(lines)]


OFF_BEATS = [0.5, 1.5, 2.5, 3.5, 4.5, 5.5, 6.5]

TUNES = [
    Tune("one-idea", "One Idea", every(8, [steps([62, 65, 67, 69, 67, 65, 64, 62, 60, 62], 0.5)] * 9)),
    Tune(
        "waterfall",
        "Waterfall",
        every(
            12,
            [
                steps(scale(p, 18) + scale(p + 12, 18, rises=False), 0.25)
                for p in (62, 64, 60, 62, 65, 62)
            ],
        ),
    ),
    Tune(
        "slow-lantern",
        "Slow Lantern",
        every(10, [steps(p, 2.0, 1.97) for p in ([62, 65, 64, 60], [65, 69, 67, 64], [64, 62, 60, 57]) * 2]),
    ),
    Tune(
        "off-kilter",
        "Off Kilter",
        every(
            10,
            [
                at(OFF_BEATS, [p, p + 3, p + 5, p + 3, p + 7, p + 5, p + 3], 0.4)
                for p in (62, 64, 60, 67, 62, 65, 60)
            ],
        ),
    ),
    Tune(
        "talking-back",
        "Talking Back",
        [
            (start + offset, line)
            for i, start in enumerate(range(4, 84, 16))
            for offset, line in (
                (0.0, steps(scale(74 + i, 6, rises=False), 0.25, 0.12)),
                (4.0, steps([57, 60, 62, 65, 64, 60, 57, 55, 57], 1.0, 0.97)),
            )
        ],
    ),
    Tune(
        "everything",
        "Everything at Once",
        [
            (4, steps([62, 65, 69], 1.0, 0.95)),
            (9, steps(scale(60, 14) + scale(84, 14, rises=False), 0.25)),
            (18.5, at([0.0, 1.0, 2.0, 3.0, 4.0, 5.0], [79, 76, 79, 72, 79, 74], 0.3)),
            (26, steps([50, 57, 53, 60], 3.0, 2.9)),
            (40, steps([86, 84, 81, 79, 77], 0.25, 0.1)),
            (43.5, at(OFF_BEATS, [62, 74, 60, 72, 65, 77, 62], 0.25)),
            (53, steps(scale(48, 20), 0.5, 0.47)),
            (66, steps([81, 69], 0.5, 0.2)),
            (70, steps([74, 74, 72, 69, 67, 65, 62, 60, 57, 55, 53, 52], 1 / 3, 0.3)),
            (77, at(OFF_BEATS, [84, 79, 76, 72, 81, 77, 74], 0.2)),
            (87, steps([50, 62, 52], 2.0, 1.95)),
        ],
    ),
]  # fmt: skip


def notes_of(tune: Tune) -> Line:
    """Return the notes of a tune in beats from its start."""
    return [
        (at_beat + start, length, pitch) for at_beat, line in tune.phrases for start, length, pitch in line
    ]


def sound_of(tune: Tune) -> np.ndarray:
    """Return the tune as mono sound: a plucked tone of eight harmonics that dies away slowly."""
    notes = notes_of(tune)
    end_s = max((start + length) * BEAT_S for start, length, _ in notes) + 1.0
    sound = np.zeros(round(end_s * RATE_HZ))
    for start, length, pitch in notes:
        first = round(start * BEAT_S * RATE_HZ)
        tone = tone_of(pitch, length * BEAT_S)
        sound[first : first + len(tone)] += tone
    room = np.random.default_rng(7).normal(0, 10 ** (-66 / 20), len(sound))
    return 0.5 * sound / np.abs(sound).max() + room


def tone_of(pitch: int, length_s: float) -> np.ndarray:
    """Return one note with a quick attack and a short release."""
    time_s = np.arange(round((length_s + 0.03) * RATE_HZ)) / RATE_HZ
    frequency = 440 * 2 ** ((pitch - 69) / 12)
    harmonics = [k for k in range(1, 9) if k * frequency < RATE_HZ / 2]
    wave = sum(
        np.sin(2 * np.pi * k * frequency * time_s) * np.exp(-0.6 * k * time_s) / k**1.5 for k in harmonics
    )
    rise = np.minimum(1, time_s / 0.006)
    fall = np.clip((length_s + 0.03 - time_s) / 0.03, 0, 1)
    return np.asarray(wave * rise * fall)


def write_tempo_map(folder: Path) -> None:
    """Write the session's tempo map, as a recording program exports it."""
    midi = mido.MidiFile(type=1, ticks_per_beat=960)
    midi.tracks.append(
        mido.MidiTrack(
            [
                mido.MetaMessage("time_signature", numerator=4, denominator=4),
                mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(TEMPO_BPM)),
            ]
        )
    )
    midi.save(folder / "tempo.mid")


def make_takes(folder: Path) -> list[Path]:
    """Write every take and the tempo map into ``folder``; return the takes."""
    folder.mkdir(parents=True, exist_ok=True)
    made = []
    for tune in TUNES:
        path = folder / f"{tune.name}.flac"
        soundfile.write(path, sound_of(tune), RATE_HZ)
        tags = FLAC(path)
        tags["title"], tags["date"] = tune.title, DATE
        tags.save()
        made.append(path)
    write_tempo_map(folder)  # last: where it is, the takes are
    return made


if __name__ == "__main__":
    for made in make_takes(Path(sys.argv[1])):
        print(f"made {made}")
