"""Make the material that ``fit`` fits on: ``python -m batch.hearing.material CORPUS OUT [TAKES]``.

CORPUS holds ``notes.csv.gz`` (solo, onset_s, duration_s, pitch, ...), annotated solos. Written
are takes (``NAME.flac``) with what was played (``NAME.truth.json``). Two thirds are played by
sampled instruments: needs fluidsynth and a General MIDI bank of Debian's, of which any will do.
The rest is synthesised: sung, blown and plucked (``synthesis``), ``speech``, and ``noise``.
"""

import csv
import gzip
import json
import subprocess
import sys
import tempfile
from collections import defaultdict
from collections.abc import Callable, Iterator
from pathlib import Path

import mido
import numpy as np
import soundfile as sf
from numpy.typing import NDArray

from batch.hearing.noise import RATE_HZ, Samples, hum, mixed, nothing, pink, reverberant
from batch.hearing.speech import speech
from batch.hearing.synthesis import MANNERS, synthesised

Line = NDArray[np.float64]  # (n, 3): onset_s, offset_s, MIDI pitch
BANKS = Path("/usr/share/sounds/sf2")  # where Debian keeps General MIDI banks
# General MIDI programs (from 0), those players of lines use the more often.
KEYS = [0, 0, 1, 2, 4, 4, 5, 6, 11, 11, 12, 13, 16, 18, 21, 22]
GUITARS = [24, 24, 25, 25, 26, 26, 26, 26, 27, 27, 27, 28, 29, 29, 30, 30, 31]
BASSES = [32, 32, 33, 33, 34, 35]
BOWED = [40, 40, 41, 42, 42, 44, 46, 48, 49]
VOICES = [52, 52, 53, 53, 54, 85, 91]
BRASS = [56, 56, 56, 57, 58, 59, 60, 61]
REEDS = [64, 64, 65, 65, 66, 66, 66, 66, 67, 67, 68, 69, 70, 71, 71]
OTHERS = [72, 73, 73, 74, 75, 76, 77, 78, 79, 80, 81, 82, 84, 104, 105, 106, 107, 110]
PROGRAMS = KEYS + GUITARS + BASSES + BOWED + VOICES + BRASS + REEDS + OTHERS
CENTRES = {range(32, 36): 40, range(42, 44): 46, range(57, 59): 48, range(70, 71): 46, range(72, 76): 76}
MIDDLE = 60  # of every other program: MIDI pitch
SITUATIONS = ("clean", "expressive", "noisy", "room", "bleed", "ghost", "fast", "click")
TAKE_S = 25.0
BEND_RANGE = 2.0  # semitones of a full pitch wheel
PERCUSSION = 9  # the General MIDI drum channel
COUNTS_IN = (33, 34, 37, 42, 44, 51, 56, 75, 76, 77)  # drum sounds that mark a beat
SHORTEST_S = 0.03
MOST_SILENT = 8  # notes: an excerpt with fewer is tried again


def solos_in(corpus: Path) -> list[Line]:
    """Return every solo's notes, by onset, none overlapping the next."""
    solos: dict[str, list[tuple[float, float, float]]] = defaultdict(list)
    with gzip.open(corpus / "notes.csv.gz", "rt", encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            onset = float(row["onset_s"])
            solos[row["solo"]].append((onset, onset + float(row["duration_s"]), float(row["pitch"])))
    return [without_overlap(np.array(sorted(notes))) for notes in solos.values()]


def without_overlap(line: Line) -> Line:
    """Return ``line`` with each note ending before the next begins; too short ones are left out."""
    line = line.copy()
    line[:-1, 1] = np.minimum(line[:-1, 1], line[1:, 0] - 0.001)
    return line[line[:, 1] - line[:, 0] >= SHORTEST_S]


def excerpt(rng: np.random.Generator, solos: list[Line], *, slower: float, centre: float) -> Line:
    """Return TAKE_S of a solo, ``slower`` times as slow, in the octave nearest ``centre`` (MIDI pitch)."""
    while True:
        line = solos[rng.integers(len(solos))] * np.array([slower, slower, 1.0])
        start = line[0, 0] + rng.uniform(0.0, max(0.0, float(np.ptp(line[:, 0])) - TAKE_S)) - 0.5
        line = line - np.array([start, start, 0.0])
        line = line[(line[:, 0] >= 0.2) & (line[:, 1] < TAKE_S - 0.5)]  # noqa: PLR2004  s of silence kept
        if len(line) >= MOST_SILENT:
            octaves = np.round((centre - np.median(line[:, 2])) / 12.0)
            return line + np.array([0.0, 0.0, 12.0 * octaves + rng.integers(-3, 4)])


def played(events: list[tuple[float, mido.Message]], bank: Path, *, in_a_room: bool = False) -> Samples:
    """Return TAKE_S of ``events`` (s, message) as fluidsynth plays them."""
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=1_000_000)])
    now = 0
    for at_s, message in sorted(events, key=lambda event: event[0]):
        ticks = round(at_s * 1000)
        track.append(message.copy(time=ticks - now))
        now = ticks
    with tempfile.TemporaryDirectory() as folder:
        midi, wav = Path(folder, "line.mid"), Path(folder, "line.wav")
        mido.MidiFile(ticks_per_beat=1000, tracks=[track]).save(midi)
        room = ["-R", "1", "-o", "synth.reverb.level=0.5"] if in_a_room else ["-R", "0"]
        to_file = ["-r", str(RATE_HZ), "-F", str(wav)]
        command = ["fluidsynth", "-ni", "-g", "0.6", "-C", "0", *room, *to_file, str(bank), str(midi)]
        subprocess.run(command, check=True, capture_output=True)
        samples = sf.read(wav, always_2d=True)[0].mean(axis=1)
    count = int(TAKE_S * RATE_HZ)
    return np.pad(samples, (0, max(0, count - len(samples))))[:count]


def performance(
    rng: np.random.Generator, line: Line, program: int, situation: str
) -> Iterator[tuple[float, mido.Message]]:
    """Yield the events of ``line``, by onset: an even touch, ghost notes, bends and vibrato if asked for."""
    yield 0.0, mido.Message("program_change", program=program)
    touch = np.clip(rng.normal(88, 10, len(line)), 50, 120)
    if situation == "ghost":
        touch = np.where(rng.random(len(line)) < 0.15, rng.uniform(16, 46, len(line)), touch)  # noqa: PLR2004
    for (onset, offset, pitch), velocity in zip(line, touch, strict=True):
        if situation == "expressive":
            yield from bends(rng, onset, offset)
        yield onset, mido.Message("note_on", note=int(pitch), velocity=int(velocity))
        yield offset, mido.Message("note_off", note=int(pitch))


def bends(rng: np.random.Generator, onset: float, offset: float) -> Iterator[tuple[float, mido.Message]]:
    """Yield a note's vibrato (long notes, most) or scoop (others, some), and the wheel at rest before it."""
    t = np.arange(0.0, offset - onset, 0.006)
    semitones = np.zeros(len(t))
    if t[-1] > 0.25 and rng.random() < 0.7:  # noqa: PLR2004  s; share
        since = np.maximum(t - rng.uniform(0.05, 0.2), 0.0)
        turns = np.sin(2.0 * np.pi * rng.uniform(4.5, 7.0) * since)
        semitones += rng.uniform(0.15, 0.65) * np.minimum(since / 0.15, 1.0) * turns
    if rng.random() < 0.25:  # noqa: PLR2004  share
        semitones -= rng.uniform(0.5, 1.8) * np.clip(1.0 - t / rng.uniform(0.03, 0.09), 0.0, 1.0)
    for at, bend in zip(onset + t, semitones, strict=True):
        yield float(at), mido.Message("pitchwheel", pitch=round(bend / BEND_RANGE * 8191))


def band(rng: np.random.Generator) -> Iterator[tuple[float, mido.Message]]:
    """Yield a walking bass, off-beat chords and a ride cymbal."""
    yield 0.0, mido.Message("program_change", program=int(rng.choice([32, 33, 35])), channel=1)
    yield 0.0, mido.Message("program_change", program=int(rng.choice([0, 1, 4, 26])), channel=2)
    beat_s = 60.0 / rng.uniform(110.0, 220.0)
    root = 40
    for beat, at in enumerate(np.arange(0.1, TAKE_S - 1.0, beat_s)):
        root = int(rng.integers(34, 46)) if beat % 8 == 0 else root
        yield from struck(at, 0.9 * beat_s, root + int(rng.choice([0, 4, 7, 10, 12])), channel=1)
        yield from struck(at, 0.1, 51, channel=PERCUSSION)
        if beat % 4 == 1:
            for third in (16, 22, 26):
                yield from struck(at, 0.8 * beat_s, root + third, channel=2)


def ticks(rng: np.random.Generator) -> Iterator[tuple[float, mido.Message]]:
    """Yield a click."""
    sound = int(rng.choice(COUNTS_IN))
    for at in np.arange(0.1, TAKE_S - 1.0, 60.0 / rng.uniform(60.0, 280.0)):
        yield from struck(at, 0.1, sound, channel=PERCUSSION)


def struck(at_s: float, for_s: float, note: int, *, channel: int) -> Iterator[tuple[float, mido.Message]]:
    """Yield one note of the accompaniment."""
    yield float(at_s), mido.Message("note_on", note=note, velocity=75, channel=channel)
    yield float(at_s + for_s), mido.Message("note_off", note=note, channel=channel)


def rendered(rng: np.random.Generator, solos: list[Line]) -> tuple[Samples, Line]:
    """Return a solo by a sampled instrument in one of the situations, and its notes."""
    program, situation = int(rng.choice(PROGRAMS)), str(rng.choice(SITUATIONS))
    banks = sorted({bank.resolve() for bank in BANKS.glob("*.sf2")})  # one has a second name
    if not banks:
        raise FileNotFoundError(f"no *.sf2 in {BANKS}: install fluid-soundfont-gm or timgm6mb-soundfont")
    bank = banks[rng.integers(len(banks))]
    centre = next((pitch for programs, pitch in CENTRES.items() if program in programs), MIDDLE)
    slower = rng.uniform(0.45, 0.7) if situation == "fast" else rng.uniform(0.95, 1.3)
    line = excerpt(rng, solos, slower=slower, centre=centre)
    wheel = ((101, 0), (100, 0), (6, int(BEND_RANGE)))  # the registered parameter for the wheel's range
    events = [(0.0, mido.Message("control_change", control=c, value=v)) for c, v in wheel]
    events += performance(rng, line, program, situation)
    samples = played(events, bank, in_a_room=situation == "room")
    backing = {"bleed": band, "click": ticks}.get(situation)
    if backing:
        samples = mixed(samples, played(list(backing(rng)), bank, in_a_room=True), -rng.uniform(8.0, 20.0))
    if situation == "noisy":
        samples = mixed(samples, pink(rng, len(samples)), -rng.uniform(24.0, 36.0))
        samples = mixed(samples, hum(rng, len(samples)), -rng.uniform(30.0, 42.0))
    return samples, line


def made_up(rng: np.random.Generator, solos: list[Line]) -> tuple[Samples, Line]:
    """Return a synthesised take and its notes; of speech and noise there are none."""
    kind = str(rng.choice(["sung", "sung", "sung", "blown", "plucked", "speech", "nothing"]))
    if kind in ("speech", "nothing"):
        make: Callable[..., Samples] = speech if kind == "speech" else nothing
        return make(rng, int(TAKE_S * RATE_HZ)), np.empty((0, 3))
    manner = MANNERS[kind]
    line = excerpt(rng, solos, slower=rng.uniform(*manner.slower), centre=rng.choice(manner.centres))
    samples, line = synthesised(rng, line, manner, int(TAKE_S * RATE_HZ))
    samples = reverberant(rng, samples) if rng.random() < 0.35 else samples  # noqa: PLR2004  share
    return mixed(samples, pink(rng, len(samples)), -rng.uniform(25.0, 60.0)), line


def write(name: Path, samples: Samples, line: Line, peak: float) -> None:
    """Write one take and its truth."""
    sf.write(name.with_suffix(".flac"), samples / np.abs(samples).max() * peak, RATE_HZ)
    truth = json.dumps({"notes": np.round(line, 4).tolist()})
    name.with_suffix(".truth.json").write_text(truth, encoding="utf-8")


def main(corpus: str, out: str, takes: str = "600") -> None:
    """Write ``takes`` takes to ``out``, the same ones every time."""
    solos = solos_in(Path(corpus))
    Path(out).mkdir(parents=True, exist_ok=True)
    for at in range(int(takes)):
        rng = np.random.default_rng(at)
        samples, line = made_up(rng, solos) if at % 3 == 0 else rendered(rng, solos)
        write(Path(out, f"take{at:04d}"), samples, line, rng.uniform(0.1, 0.9))


if __name__ == "__main__":
    main(*sys.argv[1:])
