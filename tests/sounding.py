"""Takes made for tests: small files with a known line in them."""

from collections.abc import Sequence
from pathlib import Path

import mido
import numpy as np
import soundfile

RATE_HZ = 22_050

TimedNote = tuple[float, float, int]
"""Onset and offset in seconds, MIDI pitch."""


def line(phrases: int = 6, notes: int = 6, step_s: float = 0.2, rest_s: float = 1.0) -> list[TimedNote]:
    """Return phrases of equal steps with a rest after each."""
    made = []
    for phrase in range(phrases):
        start = 0.5 + phrase * (notes * step_s + rest_s)
        made += [
            (start + i * step_s, start + (i + 0.85) * step_s, 60 + (2 * i + 3 * phrase) % 14)
            for i in range(notes)
        ]
    return made


def sound_of(notes: Sequence[TimedNote], rate_hz: int = RATE_HZ) -> np.ndarray:
    """Return the notes as decaying tones of six harmonics, shape (n,), peak 0.5."""
    sound = np.zeros(round((max(end for _, end, _ in notes) + 0.5) * rate_hz))
    for onset, offset, pitch in notes:
        time_s = np.arange(round((offset - onset + 0.02) * rate_hz)) / rate_hz
        frequency = 440 * 2 ** ((pitch - 69) / 12)
        harmonics = [k for k in range(1, 7) if k * frequency < rate_hz / 2]
        wave = sum(np.sin(2 * np.pi * k * frequency * time_s) / k for k in harmonics)
        edge = np.minimum(1, time_s / 0.005) * np.clip((time_s[-1] - time_s) / 0.02, 0, 1)
        first = round(onset * rate_hz)
        sound[first : first + len(time_s)] += wave * edge * np.exp(-1.5 * time_s)
    return 0.5 * sound / np.abs(sound).max()


def write_take(path: Path, notes: Sequence[TimedNote] | None = None, rate_hz: int = RATE_HZ) -> Path:
    """Write a take with these notes in the format that the suffix says."""
    soundfile.write(path, sound_of(notes or line(), rate_hz), rate_hz)
    return path


def write_midi_take(path: Path, notes: Sequence[TimedNote] | None = None, tempo_bpm: float = 120) -> Path:
    """Write the notes as a MIDI take on a steady tempo in 4/4."""
    midi = mido.MidiFile(type=0, ticks_per_beat=960)
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(tempo_bpm))])
    events = []
    for onset, offset, pitch in notes or line():
        events.append((onset, 1, mido.Message("note_on", note=pitch, velocity=90)))
        events.append((offset, 0, mido.Message("note_off", note=pitch)))
    last = 0
    for time_s, _, message in sorted(events, key=lambda event: event[:2]):
        tick = round(time_s * tempo_bpm / 60 * 960)
        track.append(message.copy(time=tick - last))
        last = tick
    midi.tracks.append(track)
    midi.save(path)
    return path


def write_tempo_map(path: Path, tempo_bpm: float = 120) -> Path:
    """Write a session's tempo map of one tempo in 4/4."""
    midi = mido.MidiFile(type=1, ticks_per_beat=960)
    midi.tracks.append(mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(tempo_bpm))]))
    midi.save(path)
    return path
