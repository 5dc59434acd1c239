"""Lines played by sampled instruments: material for ``fit``. Needs fluidsynth.

How a line is played decides what can be heard of it: tied or short, with one attack for many
pitches, ringing on, with ghost notes, bent, out of tune. What was played comes back with it.
"""

import subprocess
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import mido
import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from batch.hearing.training.lines import TAKE_S, Line
from batch.hearing.training.noise import RATE_HZ, Samples

Event = tuple[float, mido.Message]
# General MIDI programs (from 0), those players of lines use the more often; left out are those that
# sound another pitch than the key's in one of the banks, or only long after it.
KEYS = [0, 0, 1, 2, 4, 4, 5, 6, 11, 11, 12, 21, 22]
GUITARS = [24, 24, 25, 25, 26, 26, 26, 26, 27, 27, 27, 28, 29, 29, 30, 30]
BASSES = [32, 32, 33, 33, 34, 35]
BOWED = [40, 40, 40, 41, 42, 42, 42, 44, 46, 48]
VOICES = [52, 52, 53, 53, 54, 85, 91]
BRASS = [56, 56, 56, 57, 58, 59, 60, 61]
REEDS = [64, 64, 65, 65, 65, 66, 66, 66, 66, 67, 67, 68, 69, 70, 71, 71]
OTHERS = [72, 73, 73, 74, 75, 76, 79, 80, 81, 82, 84, 104, 105, 106, 107, 110]
PROGRAMS = KEYS + GUITARS + BASSES + BOWED + VOICES + BRASS + REEDS + OTHERS
STRUCK = frozenset(KEYS + GUITARS + [46])  # may play chords and ring on
SLOW = frozenset([41, 42, 43, 44, 48, 52, 53, 54, 91])  # speak too slowly for quick lines
ELECTRIC = frozenset([2, 4, 5, 26, 27, 28, 29, 30, 33, 34, 80, 81, 82])
CENTRES = {range(32, 36): 38, range(42, 44): 46, range(57, 59): 48, range(70, 71): 46, range(72, 76): 76}
MIDDLE = 60  # of every other program: MIDI pitch
ROOM = 0.5  # level of a room's reverb, of fluidsynth's 0 to 1
WHEEL_RANGE = 12.0  # semitones of a full pitch wheel
WHEEL_HZ = 200  # how often the wheel moves
TIE_S = 0.08  # notes closer than this may be slurred
WIDEST = 7  # semitones a slur may leave the note struck
OFTEN = {"as written": 0.4, "legato": 0.17, "slurred": 0.15, "ringing": 0.13, "soft": 0.15}


@dataclass(frozen=True, slots=True)
class Touch:
    """How a player plays a take: articulation, ghost notes (share), dynamics (velocities), bends, cents."""

    articulation: str = "as written"
    ghosts: float = 0.0
    dynamics: float = 10.0
    bends: bool = False
    tuning: float = 0.0

    @classmethod
    def drawn(cls, rng: np.random.Generator, program: int) -> "Touch":
        """Return one as chance has it; only struck instruments ring on."""
        articulation = str(rng.choice(list(OFTEN), p=list(OFTEN.values())))
        if articulation == "ringing" and program not in STRUCK:
            articulation = "legato"
        return cls(
            articulation,
            ghosts=float(rng.choice([0.0, 0.0, 0.0, 0.15])),
            dynamics=float(rng.choice([8.0, 12.0, 25.0])),
            bends=bool(articulation != "ringing" and rng.random() < 0.35),  # noqa: PLR2004  share
            tuning=float(rng.choice([0.0, rng.uniform(-0.45, 0.45)])),
        )


def a_room(rng: np.random.Generator, share: float) -> float:
    """Return the level of the reverb that ``share`` of takes have, 0 for the others."""
    return ROOM if rng.random() < share else 0.0


def played(events: Iterable[Event], bank: Path, *, seconds: float = TAKE_S, room: float = 0.0) -> Samples:
    """Return ``seconds`` of ``events`` (s, message) by fluidsynth; ``room`` is the level of its reverb."""
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=1_000_000)])
    now = 0
    for at_s, message in sorted(events, key=lambda event: event[0]):
        ticks = round(at_s * 1000)
        track.append(message.copy(time=ticks - now))
        now = ticks
    with tempfile.TemporaryDirectory() as folder:
        midi, wav = Path(folder, "line.mid"), Path(folder, "line.wav")
        mido.MidiFile(ticks_per_beat=1000, tracks=[track]).save(midi)
        reverb = ["-R", "1", "-o", f"synth.reverb.level={room}"] if room else ["-R", "0"]
        to_file = ["-o", "synth.dynamic-sample-loading=1", "-r", str(RATE_HZ), "-F", str(wav)]
        command = ["fluidsynth", "-ni", "-g", "0.6", "-C", "0", *reverb, *to_file, str(bank), str(midi)]
        subprocess.run(command, check=True, capture_output=True)
        samples = sf.read(wav, always_2d=True)[0].mean(axis=1)
    count = round(seconds * RATE_HZ)
    return np.pad(samples, (0, max(0, count - len(samples))))[:count]


def performance(rng: np.random.Generator, line: Line, program: int, touch: Touch) -> tuple[list[Event], Line]:
    """Return the events of ``line`` as ``touch`` plays it, and its notes as they sound."""
    struck = ~_slurred(rng, line) if touch.articulation == "slurred" else np.ones(len(line), bool)
    velocity = _velocities(rng, line, touch)
    release = _releases(rng, line, touch, struck)
    events = [program_of(program), *_wheel_range()]
    events += wheel(rng, line, struck, touch)
    for at in np.flatnonzero(struck):
        note = int(line[at, 2])
        events.append((line[at, 0], mido.Message("note_on", note=note, velocity=int(velocity[at]))))
        events.append((release[at], mido.Message("note_off", note=note)))
    sounding = line + np.array([0.0, 0.0, touch.tuning])
    if touch.articulation == "ringing":
        sounding[:, 1] = np.minimum(release, np.append(line[1:, 0], TAKE_S))
    return events, sounding


def program_of(program: int) -> Event:
    """Return the choice of an instrument."""
    return 0.0, mido.Message("program_change", program=program)


def _wheel_range() -> Iterator[Event]:
    """Yield the registered parameter for the wheel's range."""
    for control, value in ((101, 0), (100, 0), (6, int(WHEEL_RANGE))):
        yield 0.0, mido.Message("control_change", control=control, value=value)


def _slurred(rng: np.random.Generator, line: Line) -> NDArray[np.bool_]:
    """Return (n,) which notes have no attack of their own: close to the one before, near the one struck."""
    slurred = np.zeros(len(line), bool)
    share, struck = rng.uniform(0.2, 0.7), line[0, 2]
    for at in range(1, len(line)):
        tied = line[at, 0] - line[at - 1, 1] < TIE_S and line[at, 2] != line[at - 1, 2]
        slurred[at] = tied and abs(line[at, 2] - struck) <= WIDEST and rng.random() < share
        struck = struck if slurred[at] else line[at, 2]
    return slurred


def _velocities(rng: np.random.Generator, line: Line, touch: Touch) -> NDArray[np.float64]:
    """Return (n,) MIDI velocities: ghost notes soft, tied notes softer where they are hammered."""
    velocity = np.clip(rng.normal(88.0, touch.dynamics, len(line)), 30.0, 122.0)
    velocity = np.where(rng.random(len(line)) < touch.ghosts, rng.uniform(16.0, 46.0, len(line)), velocity)
    if touch.articulation == "soft":
        tied = np.append(False, line[1:, 0] - line[:-1, 1] < TIE_S)
        velocity *= np.where(tied & (rng.random(len(line)) < 0.6), rng.uniform(0.35, 0.7), 1.0)  # noqa: PLR2004
    return np.clip(velocity, 12.0, 122.0)


def _releases(
    rng: np.random.Generator, line: Line, touch: Touch, struck: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Return (n,) when each note's key is let go; a pitch is let go before it is struck again."""
    release = line[:, 1].copy()
    onset = line[:, 0]
    if touch.articulation in ("legato", "soft"):
        close = np.append(onset[1:] - release[:-1] < TIE_S, False)
        release = np.where(close, np.append(onset[1:], TAKE_S) + rng.uniform(0.0, 0.06), release)
    if touch.articulation == "ringing":
        release = np.minimum(release + rng.uniform(0.3, 2.5), TAKE_S)
    last = np.append(np.flatnonzero(struck)[1:], len(line)) - 1  # the last note of each slur
    release[np.flatnonzero(struck)] = release[last]
    for at in range(len(line)):
        again = np.flatnonzero((line[at + 1 :, 2] == line[at, 2]) & struck[at + 1 :])
        if len(again):
            release[at] = min(release[at], onset[at + 1 + again[0]] - 0.002)
    return np.maximum(release, onset + 0.01)


def wheel(rng: np.random.Generator, line: Line, struck: NDArray[np.bool_], touch: Touch) -> Iterator[Event]:
    """Yield the pitch wheel: slurs as quick or sliding steps, vibrato and bends if asked for."""
    curve = np.full(int(TAKE_S * WHEEL_HZ), touch.tuning)
    root = line[0, 2]
    slides = rng.random() < 0.4  # noqa: PLR2004  share
    for at, (onset, _, pitch) in enumerate(line):
        root = pitch if struck[at] else root
        until = line[at + 1, 0] if at + 1 < len(line) else TAKE_S
        first, last = int(onset * WHEEL_HZ), int(until * WHEEL_HZ)
        moves = bends(rng, last - first, line[at, 1] - onset) if touch.bends else 0.0
        curve[first:last] = touch.tuning + pitch - root + moves
        if not struck[at]:
            move_s = rng.uniform(0.03, 0.12) if slides else rng.uniform(0.0, 0.02)
            _slide(curve, first, int(move_s * WHEEL_HZ))
    moved = np.flatnonzero(np.diff(curve, prepend=np.inf) != 0.0)
    for at in moved.tolist():
        value = round(float(np.clip(curve[at] / WHEEL_RANGE, -1.0, 1.0)) * 8191)
        yield float(at / WHEEL_HZ), mido.Message("pitchwheel", pitch=value)


def _slide(curve: NDArray[np.float64], at: int, steps: int) -> None:
    """Replace the step in ``curve`` at ``at`` by a slope, most of it before: the note begins near its end."""
    start, stop = max(at - int(0.7 * steps), 1), min(at + int(0.3 * steps), len(curve) - 1)
    curve[start:stop] = np.linspace(curve[start - 1], curve[stop], stop - start + 2)[1:-1]


def bends(rng: np.random.Generator, count: int, length_s: float) -> NDArray[np.float64]:
    """Return (count,) semitones at WHEEL_HZ: vibrato (long notes, most), scoop, bend or fall (some)."""
    t = np.arange(count) / WHEEL_HZ
    semitones = np.zeros(count)
    if length_s > 0.25 and rng.random() < 0.7:  # noqa: PLR2004  s; share
        since = np.maximum(t - rng.uniform(0.05, 0.25), 0.0)
        turns = np.sin(2.0 * np.pi * rng.uniform(4.0, 7.5) * since)
        semitones += rng.uniform(0.1, 0.7) * np.minimum(since / rng.uniform(0.1, 0.4), 1.0) * turns
    if rng.random() < 0.2:  # noqa: PLR2004  share
        semitones -= rng.uniform(0.5, 2.0) * np.clip(1.0 - t / rng.uniform(0.03, 0.09), 0.0, 1.0)
    elif length_s > 0.3 and rng.random() < 0.15:  # noqa: PLR2004  s; share
        semitones -= rng.uniform(0.8, 2.2) * np.clip(1.0 - t / rng.uniform(0.08, 0.16), 0.0, 1.0)
    if length_s > 0.2 and rng.random() < 0.1:  # noqa: PLR2004  s; share
        left = np.maximum(length_s - t, 0.0)
        semitones -= rng.uniform(0.5, 4.0) * np.clip(1.0 - left / rng.uniform(0.05, 0.14), 0.0, 1.0)
    return semitones
