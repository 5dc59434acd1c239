"""Backings that an invented band plays, with every beat known: material for ``fit``. Needs fluidsynth.

Each style says on which parts of the bar its drums, bass and chords may fall and how often; a
draw fixes one pattern from it, which the band then varies from bar to bar. Players leave out,
drift, lay back, fill, and start with pads or a count-off. Patterns are from memory, as band
method books teach them.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import mido
import numpy as np
from numpy.typing import NDArray

from batch.hearing.training.performers import played

Event = tuple[float, mido.Message]

RATE_HZ = 22_050
DRUMS = 9
KICK, STICK, SNARE, CLOSED, PEDAL, OPEN, CRASH, RIDE = 36, 37, 38, 42, 44, 46, 49, 51
SHAKER, CLAVE, TAMBOURINE, COWBELL, HIGH_CONGA, LOW_CONGA, HIGH_TOM, LOW_TOM = 70, 75, 54, 56, 62, 64, 48, 43
BASSES = [32, 32, 33, 33, 34, 35, 36, 38, 39]
CHORDS = [0, 0, 1, 4, 4, 5, 6, 11, 16, 17, 24, 25, 26, 26, 27, 27, 28, 61, 48]
PADS = [48, 49, 50, 89, 90, 91, 94, 52]
KINDS = [(0, 4, 7), (0, 3, 7), (0, 4, 7, 10), (0, 3, 7, 10), (0, 4, 7, 11), (0, 3, 6, 10), (0, 5, 7, 10)]

Voice = dict[int, str]
"""By drum: a letter for every part of the bar: X always, x mostly, o sometimes, . seldom or never."""


@dataclass(frozen=True, slots=True)
class Style:
    """What a band may play in a bar. ``parts`` to a beat; drums and the others as letters for each part."""

    name: str
    tempo_bpm: tuple[float, float]
    beats: int
    parts: int
    drums: tuple[Voice, ...]
    bass: tuple[str, ...]
    chords: tuple[str, ...]
    swings: bool = False
    chord_beats: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Backing:
    """Sound (n,) at RATE_HZ, and when its beats and bars are."""

    style: str
    samples: NDArray[np.float32]
    beats_s: NDArray[np.float64]
    beat_in_bar: NDArray[np.int64]
    beats_per_bar: int


RIDE_SWING = "X..X.xX..X.x"
STYLES = (
    Style(
        "swing", (90, 300), 4, 3,
        (
            {RIDE: RIDE_SWING, PEDAL: "...X.....X..", KICK: "o..o..o..o.o", SNARE: "..o....oo..o"},
            {RIDE: "X..X..X..X..", PEDAL: "...X.....X..", SNARE: "........o..o"},
            {CLOSED: RIDE_SWING, STICK: "...o.....X..", KICK: "X..o..x..o.."},
            {RIDE: RIDE_SWING, PEDAL: "...X.....X..", KICK: "............"},
        ),
        ("X..X..X..X..", "X..X.oX..X.o", "X.....X.....", "X.....X..x.."),
        ("x....x..o...", "..x..o..x..o", "x.....o..x..", "...x.....x..", "X..X..X..X..", "o.x..o...o.x"),
        swings=True, chord_beats=(4, 4, 8, 2),
    ),
    Style(
        "ballad", (48, 92), 4, 3,
        (
            {SNARE: "x..x..x..x..", PEDAL: "...X.....X..", KICK: "o.....o....."},
            {RIDE: "X..X.oX..X.o", PEDAL: "...X.....X..", STICK: ".........o.."},
            {CLOSED: "X.XX.XX.XX.X", SNARE: "...X.....X..", KICK: "X....oX....."},
        ),
        ("X.....X.....", "X..x..X..x..", "X....ox....."),
        ("X...........", "X.....X.....", "x....ox....o", "X.oX.oX.oX.o"),
        swings=True, chord_beats=(4, 2),
    ),
    Style(
        "straight ballad", (52, 96), 4, 4,
        (
            {CLOSED: "X.x.X.x.X.x.X.x.", STICK: "....X.......X...", KICK: "X.....o.x.o....."},
            {CLOSED: "xxxxxxxxxxxxxxxx", SNARE: "....X.......X...", KICK: "X......oX......."},
            {RIDE: "X...X...X...X...", SNARE: "....X.......X...", KICK: "X.......X.o....."},
        ),
        ("X.......x.......", "X.....x.X.......", "X...x...X...x..."),
        ("X...............", "X...X...X...X...", "X.x.X.x.X.x.X.x.", "X.......X..."+"...."),
        chord_beats=(4, 2),
    ),
    Style(
        "bossa", (96, 190), 4, 2,
        (
            {CLOSED: "XXXXXXXX", KICK: "X..XX..X", STICK: "X..X..X."},
            {SHAKER: "XxXxXxXx", KICK: "X..xX..x", STICK: "..X..X..", PEDAL: "..X...X."},
            {CLAVE: "X..X..X.", SHAKER: "XXXXXXXX", LOW_CONGA: "......xx"},
            {RIDE: "XxXxXxXx", PEDAL: "..X...X.", KICK: "X..XX..X", STICK: "o.oo..o."},
        ),
        ("X..XX..X", "X..xX...", "X...X..x"),
        ("x..x..x.", ".x.x..x.", "X.x..x.x", "o.xo.x.o", "x.xx.x.x"),
        chord_beats=(4, 8),
    ),
    Style(
        "latin", (140, 240), 4, 2,
        (
            {COWBELL: "X.XxX.XX", HIGH_CONGA: "..X...X.", LOW_CONGA: "......XX", KICK: "...X...x"},
            {CLAVE: "X..X..X...X.X...", COWBELL: "X.X.X.X.X.X.X.X.", LOW_CONGA: "......XX......XX"},
            {CLOSED: "X.XXX.XX", SNARE: "...o..X.", KICK: "...X...X", LOW_TOM: "......xx"},
        ),
        ("...X..X.", "X..X..X.", "X..x..xo"),
        ("X.XX.X.X", "XX.X.X.X", ".XX.XX.X", "x..x..x."),
        chord_beats=(4, 4, 8),
    ),
    Style(
        "rock", (78, 185), 4, 2,
        (
            {CLOSED: "XXXXXXXX", SNARE: "..X...X.", KICK: "X...X..."},
            {CLOSED: "XXXXXXXX", SNARE: "..X...X.", KICK: "X..xXo.."},
            {RIDE: "X.X.X.X.", SNARE: "..X...X.", KICK: "X..oX..o"},
            {CLOSED: "X.X.X.X.", SNARE: "..X...X.", KICK: "X..xo..o"},
            {OPEN: "X.X.X.X.", SNARE: "..X...X.", KICK: "X.X.X.X."},
            {SNARE: "..X...X.", KICK: "X..oX...", TAMBOURINE: "XxXxXxXx"},
        ),
        ("XXXXXXXX", "X..xX..x", "X...X...", "X.xxX.xx"),
        ("X...X...", "XXXXXXXX", "X..X..X.", "..X...X.", "X...........o..."[:8], "XxXxXxXx"),
        chord_beats=(4, 2, 4),
    ),
    Style(
        "half time", (62, 105), 4, 4,
        (
            {CLOSED: "X.X.X.X.X.X.X.X.", SNARE: "....X.......X...", KICK: "X.....X.x.o....."},
            {CLOSED: "X.X.X.XxX.X.X.Xx", SNARE: "....X.......X...", KICK: "X..X....oox....."},
        ),
        ("X.....x.X.......", "X..x..x.X...o..."),
        ("X.......X.......", "..X...X...X...X.", "X...X...X...X..."),
        chord_beats=(4, 2),
    ),
    Style(
        "funk", (80, 128), 4, 4,
        (
            {CLOSED: "XxXxXxXxXxXxXxXx", SNARE: "....X..o.o..X..o", KICK: "X..o..x...x....o"},
            {CLOSED: "X.X.X.X.X.X.X.X.", SNARE: "....X..x.x..X...", KICK: "X.x.....o.X..x.."},
            {CLOSED: "XxxXXxxXXxxXXxxX", SNARE: "....X.......X..x", KICK: "X..X..X...o..x.."},
            {CLOSED: "X.XxX.X.X.XxX.X.", SNARE: "....X.......X...", KICK: "X......X.oX....."},
        ),
        ("X..x..x...xo..x.", "X.x....xX..x....", "X...o.xx..x...xo"),
        ("..x...x.x..x...o", "xxoxxoxxoxxoxxox", "....X..x....X...", "X..X....o.x....."),
        chord_beats=(8, 4, 16),
    ),
    Style(
        "disco", (100, 138), 4, 4,
        (
            {KICK: "X...X...X...X...", OPEN: "..X...X...X...X.", SNARE: "....X.......X..."},
            {KICK: "X...X...X...X...", CLOSED: "XxXxXxXxXxXxXxXx", 39: "....X.......X..."},
            {KICK: "X...X...X...X...", CLOSED: "..X...X...X...X."},
        ),
        ("X.X.X.X.X.X.X.X.", "..X...X...X...X.", "X..X..X.X..X..X."),
        ("..X...X...X...X.", "X..X..X...X..X..", "X..............."),
        chord_beats=(4, 8),
    ),
    Style(
        "shuffle", (76, 190), 4, 3,
        (
            {CLOSED: "X.XX.XX.XX.X", SNARE: "...X.....X..", KICK: "X....oX....o"},
            {RIDE: "X.XX.XX.XX.X", SNARE: "..xX.x..xX.x", KICK: "X..X..X..X.."},
            {CLOSED: "X..X..X..X..", SNARE: "...X.....X..", KICK: "X.....X..o.x"},
        ),
        ("X..X..X..X..", "X.xX.xX.xX.x", "X....xX....x"),
        ("X.xX.xX.xX.x", "...X.....X..", "..X..X..X..X", "X....x......"),
        swings=True, chord_beats=(4, 4, 8),
    ),
    Style(
        "waltz", (82, 230), 3, 3,
        (
            {RIDE: "X..X.xX.o", PEDAL: "...X.....", KICK: "X........"},
            {RIDE: "X..X..X..", PEDAL: "...X..X..", KICK: "X....o..."},
            {CLOSED: "X..X..X..", SNARE: "...x..x..", KICK: "X........"},
        ),
        ("X........", "X..X..X..", "X.....x..", "X....x..."),
        ("...X..X..", "X........", "x....x...", "...x....."),
        swings=True, chord_beats=(3, 3, 6),
    ),
    Style(
        "straight waltz", (80, 190), 3, 2,
        (
            {CLOSED: "X.X.X.", SNARE: "..X.X.", KICK: "X....."},
            {RIDE: "XxXxXx", SNARE: "..x.x.", KICK: "X..o.."},
        ),
        ("X.....", "X...x.", "X.x.x."),
        ("..X.X.", "X.....", "XxXxXx"),
        chord_beats=(3, 6),
    ),
    Style(
        "6/8", (46, 96), 2, 3,
        (
            {CLOSED: "XXXXXX", SNARE: "...X..", KICK: "X....o"},
            {RIDE: "X.XX.X", SNARE: "...X..", KICK: "X.o..o"},
            {CLOSED: "XXXXXX", SNARE: "......X....."[:6], KICK: "X..x..", STICK: "...X.."},
        ),
        ("X..x..", "X....x", "X....."),
        ("XXXXXX", "X.....", "X..X..", ".XX.XX"),
        chord_beats=(2, 4),
    ),
    Style(
        "12/8", (48, 92), 4, 3,
        (
            {CLOSED: "XXXXXXXXXXXX", SNARE: "...X.....X..", KICK: "X....ox....o"},
            {RIDE: "XXXXXXXXXXXX", SNARE: "...X.....X..", KICK: "X....XX....."},
        ),
        ("X....xX....x", "X..X..X..X..", "X.....X....."),
        ("XXXXXXXXXXXX", "X..X..X..X..", "...X.....X..", "X....x......"),
        chord_beats=(4, 2),
    ),
    Style(
        "five", (90, 190), 5, 3,
        ({RIDE: "X..X.xX..X..X.x", PEDAL: "...X.....X.....", KICK: "X........o....."},),
        ("X........X.....", "X..X..X..X..X.."),
        ("x....x...X.....", "X........x....."),
        swings=True, chord_beats=(5,),
    ),
    Style(
        "seven", (150, 260), 7, 2,
        ({CLOSED: "X.X.X.X.X.X.X.", SNARE: "..X...X....X..", KICK: "X...X...X....."},),
        ("X...X...X.....", "X.X.X.X.X.X.X."),
        ("X...X...X.....", "..X...X...X.X."),
        chord_beats=(7,),
    ),
)  # fmt: skip
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
