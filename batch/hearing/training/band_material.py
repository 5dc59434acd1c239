"""Make material for ``fit_together``: ``python -m batch.hearing.training.band_material CORPUS OUT [TAKES]``.

Chords, bands, and lines taken for them, with every pitch that was struck in the truth:
``NAME.truth.json`` holds ``kind`` ("line", "chords", "band"), ``notes`` of all pitched parts and
``lead``, the line's (of a chord its top), each as [onset_s, offset_s, MIDI pitch], and
``backing_db`` of a band. Needs what ``material`` needs.
"""

import json
import sys
from collections.abc import Iterator
from pathlib import Path

import mido
import numpy as np
import soundfile as sf

from batch.hearing.training.company import PERCUSSION
from batch.hearing.training.lines import TAKE_S, Line, excerpt, solos_in
from batch.hearing.training.material import BANKS
from batch.hearing.training.noise import RATE_HZ, Samples, mixed, pink, reverberant
from batch.hearing.training.performers import ROOM, a_room, played

Events = Iterator[tuple[float, mido.Message]]
Struck = list[tuple[float, float, int]]  # onset_s, offset_s, MIDI pitch

KINDS = ("line", "chords", "chords", "band")
KEYS = [0, 0, 0, 1, 2, 4, 4, 5, 16, 17, 18, 21, 11, 12]
GUITARS = [24, 24, 25, 25, 26, 26, 27, 27, 28, 29, 30]
BOWED = [40, 42, 48]
RINGING = [0, 1, 4, 11, 11, 14, 24, 25, 26, 27, 46, 108]  # what a pedal or open strings leave sounding
VOICINGS: dict[str, tuple[int, ...]] = {
    "triad": (0, 4, 7), "minor": (0, 3, 7), "sixth": (0, 4, 9), "fourths": (0, 5, 10),
    "shell": (0, 4, 10), "seventh": (0, 4, 7, 11), "dominant": (0, 4, 7, 10),
    "minor seventh": (0, 3, 7, 10), "drop two": (0, 7, 10, 16), "rootless": (0, 3, 7, 14),
    "wide": (0, 7, 16), "wide minor": (0, 7, 15, 22), "open": (0, 7, 12, 16, 19, 24),
    "barre": (0, 7, 12, 15, 19, 24), "five": (0, 4, 7, 9, 14),
}  # fmt: skip
DOUBLE_STOPS = (3, 4, 4, 5, 7, 8, 9, 9, 12, 15, 16)  # semitones under the melody
POWER = ((0, 7), (0, 7, 12))
REEDS = [56, 57, 64, 65, 66, 67, 71]
LEADS = [0, 4, 11, 26, 26, 27, 29, 40, 56, 56, 59, 64, 65, 66, 66, 71, 73, 82]
PEDAL = ((0.0, 0), (0.05, 127))  # s, position: let go and pressed again
LOUDEST_BACKING_DB, SOFTEST_BACKING_DB = 2.0, -7.0  # a band; more than 10 dB down it is bleed


def chord_at(rng: np.random.Generator, manner: str, top: int) -> list[int]:
    """Return the pitches of one chord under ``top``, rising."""
    if manner == "double":
        return [top - int(rng.choice(DOUBLE_STOPS)), top]
    names = list(VOICINGS)
    shape = POWER[rng.integers(2)] if manner == "power" else VOICINGS[names[rng.integers(len(names))]]
    return [top - shape[-1] + step for step in shape]


def strummed(
    rng: np.random.Generator, pitches: list[int], at: float, until: float, spread_s: float
) -> Struck:
    """Return a chord with its strings ``spread_s`` apart, down or up, all damped at about one time."""
    order = pitches if rng.random() < 0.7 else pitches[::-1]  # noqa: PLR2004  share of strokes that go down
    starts = at + np.arange(len(order)) * spread_s * rng.uniform(0.7, 1.3)
    return [(float(s), max(until, float(s) + 0.06), p) for s, p in zip(starts, order, strict=True)]


def chordal(rng: np.random.Generator, line: Line) -> tuple[Struck, Line, int]:
    """Return what a chordal player makes of ``line``: all notes struck, the top voice, and the program."""
    manner = str(rng.choice(["strum", "strum", "voicing", "voicing", "double", "double", "power"]))
    program = {
        "strum": GUITARS, "voicing": KEYS, "double": KEYS + GUITARS + BOWED,
        "power": [27, 28, 29, 29, 30, 30],
    }[manner]  # fmt: skip
    spread = {"strum": rng.uniform(0.005, 0.02), "voicing": 0.004, "double": 0.006, "power": 0.008}[manner]
    if manner == "strum" and rng.random() < 0.25:  # noqa: PLR2004  share: slow strums
        spread = rng.uniform(0.02, 0.03)
    share = rng.choice([1.0, 1.0, 0.6])  # of the notes; the rest stays single
    shift = -12 if manner == "power" else 0
    struck: Struck = []
    tops = []
    apart = rng.uniform(0.14, 0.3)
    kept = [row for row, gap in zip(line, np.diff(line[:, 0], append=1e9), strict=True) if gap > apart]
    for onset, offset, pitch in kept:
        top = int(pitch) + shift
        chord = chord_at(rng, manner, top) if rng.random() < share else [top]
        until = max(offset, onset + 0.12)
        struck += strummed(rng, chord, onset, until, spread)
        tops.append((onset, until, top))
    return struck, np.array(tops), int(rng.choice(program))


def as_struck(line: Line) -> Struck:
    """Return a line's notes with whole pitches."""
    return [(float(onset), float(offset), int(pitch)) for onset, offset, pitch in line]


def program_of(rng: np.random.Generator, programs: list[int]) -> tuple[float, mido.Message]:
    """Return the choice of one of ``programs``."""
    return 0.0, mido.Message("program_change", program=int(rng.choice(programs)))


def events_of(struck: Struck, rng: np.random.Generator, channel: int = 0) -> Events:
    """Yield the notes of ``struck`` with an even touch."""
    for onset, offset, pitch in struck:
        velocity = int(np.clip(rng.normal(84, 8), 50, 115))
        yield onset, mido.Message("note_on", note=pitch, velocity=velocity, channel=channel)
        yield offset, mido.Message("note_off", note=pitch, channel=channel)


def rhythm_section(rng: np.random.Generator) -> tuple[list[tuple[float, mido.Message]], Struck]:
    """Return a walking or two-beat bass, comping chords and a drum kit, and its pitched notes."""
    beat_s = 60.0 / rng.uniform(90.0, 220.0)
    swing = rng.choice([0.5, 0.6, 0.66])
    beats = np.arange(0.1, TAKE_S - 1.0, beat_s)
    pitched: dict[int, Struck] = {1: [], 2: []}
    drums: list[tuple[float, int, int]] = []
    root, shape = 40, VOICINGS["dominant"]
    sparse = rng.random() < 0.3  # noqa: PLR2004  share
    for beat, at in enumerate(beats):
        if beat % 4 == 0:
            root = int(rng.integers(31, 43))
            shape = list(VOICINGS.values())[rng.integers(len(VOICINGS))]
        if not (sparse and beat % 2):
            step = 0 if beat % 4 == 0 else int(rng.choice([2, 3, 4, 5, 7, 9, 10, 12]))
            pitched[1].append((at, at + beat_s * 0.9, root + step))
        for late in (0.0, swing):
            if rng.random() < 0.3:  # noqa: PLR2004  share of places where a chord falls
                start = at + late * beat_s
                length = beat_s * rng.choice([0.3, 0.8, 1.6])
                pitched[2] += strummed(rng, [root + 12 + s for s in shape], start, start + length, 0.004)
        drums += [(at, 51, 80)] + ([(at + swing * beat_s, 51, 60)] if beat % 2 else [])
        drums += [(at, 44, 70)] if beat % 2 else [(at, 36, 75)]
        drums += [(at + swing * beat_s, int(rng.choice([38, 36, 42])), int(rng.integers(35, 90)))] * bool(
            rng.random() < 0.4  # noqa: PLR2004  share
        )
    programs = int(rng.choice([32, 33, 34, 35])), int(rng.choice([0, 0, 1, 4, 16, 25, 26, 27]))
    events = [
        (0.0, mido.Message("program_change", program=p, channel=c)) for c, p in enumerate(programs, start=1)
    ]
    for channel, struck in pitched.items():
        events += events_of(struck, rng, channel)
    for start, sound, velocity in drums:
        events.append((start, mido.Message("note_on", note=sound, velocity=velocity, channel=PERCUSSION)))
        events.append((start + 0.1, mido.Message("note_off", note=sound, channel=PERCUSSION)))
    return events, pitched[1] + pitched[2]


def a_bank(rng: np.random.Generator) -> Path:
    """Return one of the General MIDI banks."""
    return BANKS[rng.integers(len(BANKS))]


def clipped(rng: np.random.Generator, samples: Samples) -> Samples:
    """Return ``samples`` through a clipping amplifier."""
    return np.asarray(np.tanh(samples / np.abs(samples).max() * rng.uniform(2.0, 20.0)))


def growling(rng: np.random.Generator, samples: Samples) -> Samples:
    """Return ``samples`` modulated as by a voice hummed into the horn."""
    t = np.arange(len(samples)) / RATE_HZ
    return samples * (1.0 + rng.uniform(0.2, 0.7) * np.sin(2.0 * np.pi * rng.uniform(25.0, 90.0) * t))


def single(rng: np.random.Generator, solos: list[Line]) -> tuple[Samples, Line]:
    """Return a single line that is easily taken for more: ringing on, growled, or clipped."""
    how = str(rng.choice(["ringing", "growl", "driven"]))
    programs = {"ringing": RINGING, "growl": REEDS, "driven": [26, 27, 28, 29, 30]}[how]
    line = excerpt(rng, solos, slower=rng.uniform(0.95, 1.4), centre=60)
    events = [program_of(rng, programs), *events_of(as_struck(line), rng)]
    if how == "ringing":
        for at in np.arange(0.0, TAKE_S - 1.0, rng.uniform(1.5, 5.0)):
            events += [(at + by, mido.Message("control_change", control=64, value=v)) for by, v in PEDAL]
    samples = played(events, a_bank(rng), room=a_room(rng, 0.3))
    if how == "growl":
        samples = growling(rng, samples)
    return (clipped(rng, samples) if how == "driven" else samples), line


def chords(rng: np.random.Generator, solos: list[Line]) -> tuple[Samples, Struck, Line]:
    """Return chords or double stops, their notes and their top voice."""
    line = excerpt(rng, solos, slower=rng.uniform(1.0, 2.5), centre=float(rng.choice([62, 67, 72])))
    struck, top, program = chordal(rng, line)
    events = [(0.0, mido.Message("program_change", program=program)), *events_of(struck, rng)]
    samples = played(events, a_bank(rng), room=a_room(rng, 0.3))
    if program in (28, 29, 30) and rng.random() < 0.5:  # noqa: PLR2004  share
        samples = clipped(rng, samples)
    return samples, struck, top


def band(rng: np.random.Generator, solos: list[Line]) -> tuple[Samples, Struck, Line, float]:
    """Return a line over a rhythm section, all pitched notes, the line's, and the level of the backing."""
    line = excerpt(rng, solos, slower=rng.uniform(0.95, 1.4), centre=float(rng.choice([60, 67])))
    bank = a_bank(rng)
    lead = played([program_of(rng, LEADS), *events_of(as_struck(line), rng)], bank)
    events, pitched = rhythm_section(rng)
    level = rng.uniform(SOFTEST_BACKING_DB, LOUDEST_BACKING_DB)
    samples = mixed(lead, played(events, bank, room=ROOM), level)
    return samples, pitched + as_struck(line), line, float(level)


def main(corpus: str, out: str, takes: str = "500", first: str = "0") -> None:
    """Write ``takes`` takes to ``out``, the same ones every time."""
    solos = solos_in(Path(corpus))
    Path(out).mkdir(parents=True, exist_ok=True)
    for at in range(int(first), int(first) + int(takes)):
        rng = np.random.default_rng([7, at])
        kind, level = KINDS[at % len(KINDS)], None
        notes: Struck | Line
        if kind == "line":
            samples, lead = single(rng, solos)
            notes = lead
        elif kind == "chords":
            samples, notes, lead = chords(rng, solos)
        else:
            samples, notes, lead, level = band(rng, solos)
        if kind != "line" and rng.random() < 0.3:  # noqa: PLR2004  share
            samples = reverberant(rng, samples)
        if kind != "line" and rng.random() < 0.4:  # noqa: PLR2004  share
            samples = mixed(samples, pink(rng, len(samples)), -rng.uniform(24.0, 50.0))
        name = Path(out, f"take{at:04d}")
        sf.write(name.with_suffix(".flac"), 0.5 * samples / np.abs(samples).max(), RATE_HZ)
        truth = {"kind": kind, "notes": np.round(notes, 4).tolist(), "lead": np.round(lead, 4).tolist()}
        name.with_suffix(".truth.json").write_text(
            json.dumps(truth | {"backing_db": level}), encoding="utf-8"
        )


if __name__ == "__main__":
    main(*sys.argv[1:])
