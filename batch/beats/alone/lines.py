"""Practice lines made up for fitting: steady tempi and simple figures, which solos on records lack."""

from dataclasses import dataclass

import numpy as np

from batch.beats.alone.view import Floats

SLOWEST_BPM, FASTEST_BPM = 42.0, 265.0
"""Tempi people practise at: metronomes go from 40 to about 208, some further (common practice, no source)."""

FIGURES: dict[str, tuple[tuple[float, ...], ...]] = {
    "quarters": ((0,), (0,), (0,), (0, 1 / 2)),
    "eighths": ((0, 1 / 2), (0, 1 / 2), (1 / 2,), (0,), (0, 1 / 3, 2 / 3)),
    "triplets": ((0, 1 / 3, 2 / 3), (0, 2 / 3), (0,)),
    "sixteenths": ((0, 1 / 4, 1 / 2, 3 / 4), (0, 1 / 2, 3 / 4), (0, 1 / 4, 1 / 2), (0, 3 / 4)),
    "mixed": ((0,), (0, 1 / 2), (1 / 2,), (0, 1 / 3, 2 / 3), (0, 1 / 4, 1 / 2, 3 / 4), (0, 3 / 4)),
    "compound": ((0, 1 / 3, 2 / 3), (0, 2 / 3), (0,), (0, 1 / 3), (1 / 3, 2 / 3)),
}
"""Onsets within a beat, the plain figure of each kind first (common practice, no source)."""

SHARES = {"quarters": 2.5, "eighths": 3, "triplets": 1, "sixteenths": 2.5, "mixed": 2, "compound": 1}
"""How often each kind comes (our choice): a plain line of quarters is one of eighths at half the tempo,
so that neither may be sure by how common it is."""

MOST_A_SECOND, FEWEST_A_SECOND = 13.0, 0.8
"""Notes a second that plain figures stay within (our choice)."""

SHIFTED, TURNING_ANYWHERE = 0.02, 0.3
"""Shares of contrary lines that stand on the off-beats, and whose turns say nothing of the beat (our
choice: nothing tells a whole take of off-beats from one of beats, and few play one; at 0.12, hardly any
take would be called sure)."""

MAJOR = (0, 2, 4, 5, 7, 9, 11)


@dataclass(frozen=True, slots=True)
class Line:
    """A played line with its beats: notes sorted by onset (n,), beats rising (b,), in seconds."""

    onset_s: Floats
    length_s: Floats
    pitch_midi: Floats
    beats_s: Floats
    beat_in_bar: np.ndarray


def practice_line(rng: np.random.Generator, *, contrary: bool = False) -> Line:
    """Return a line of 20 to 60 s: one kind of figure, more or less varied, phrases and rests, swung or not.

    Tempo wanders by up to a few per cent, onsets err by 2 to 14 ms and lie early or late by about 12.
    A ``contrary`` line may turn where it likes, or stand on the off-beats where it should on the beats.
    """
    kind, tempo_bpm = _kind_and_tempo(rng)
    beats_per_bar = int(rng.choice([2, 4] if kind == "compound" else [4, 4, 4, 4, 3, 5]))
    beats = int(rng.uniform(20, 60) * tempo_bpm / 60)
    at = _onsets(rng, kind, beats_per_bar, beats)
    if len(at) < 8:  # noqa: PLR2004  too short to tell anything
        return practice_line(rng, contrary=contrary)
    at = at + (0.5 if contrary and rng.random() < SHIFTED else 0.0)
    swing = rng.uniform(1.2, 2.4) if kind == "eighths" and rng.random() < 0.3 else 1.0  # noqa: PLR2004
    whole = np.floor(at + 1e-6)
    off = np.isclose(at - whole, 0.5)
    at = np.where(off, whole + swing / (1 + swing), at)
    wander = np.cumsum(rng.normal(0, 0.004 * rng.random(), beats + 8))
    times = rng.uniform(0, 3) + np.append(0, np.cumsum(60 / tempo_bpm * np.exp(wander - wander.mean())))
    onset = np.interp(at, np.arange(len(times)), times)
    onset = np.sort(onset + rng.normal(0, rng.uniform(0.002, 0.014), len(at)) + rng.normal(0, 0.012))
    spacing = np.diff(np.append(onset, onset[-1] + 60 / tempo_bpm))
    length = np.clip(spacing * rng.uniform(0.4, 1.0), 0.02, 120 / tempo_bpm)
    count = beats + 4
    return Line(
        onset,
        length,
        _pitches(rng, at, anywhere=contrary and rng.random() < TURNING_ANYWHERE),
        times[:count],
        np.arange(count) % beats_per_bar + 1,
    )


def _kind_and_tempo(rng: np.random.Generator) -> tuple[str, float]:
    shares = np.array(list(SHARES.values()))
    while True:
        kind = str(rng.choice(list(SHARES), p=shares / shares.sum()))
        tempo_bpm = float(np.exp(rng.uniform(np.log(SLOWEST_BPM), np.log(FASTEST_BPM))))
        if FEWEST_A_SECOND < tempo_bpm / 60 * len(FIGURES[kind][0]) < MOST_A_SECOND:
            return kind, tempo_bpm


def _onsets(rng: np.random.Generator, kind: str, beats_per_bar: int, beats: int) -> Floats:
    """Return onsets in beats: phrases of 1 to 8 bars, each figure the plain one or any."""
    plain = rng.random() < 0.5  # noqa: PLR2004  half the lines are steady
    variety = 0.0 if plain else rng.uniform(0, 0.6)
    figures = FIGURES[kind]
    onsets: list[float] = []
    beat = int(rng.integers(0, beats_per_bar)) if rng.random() < 0.3 else 0  # noqa: PLR2004  a pick-up
    while beat < beats:
        end = min(beat + int(rng.choice([1, 2, 4, 8])) * beats_per_bar, beats)
        rest = 0 if plain and rng.random() < 0.8 else int(rng.integers(0, beats_per_bar + 1))  # noqa: PLR2004
        for at in range(beat, end - rest):
            any_of_them = kind == "mixed" or rng.random() < variety
            figure = figures[int(rng.integers(len(figures)))] if any_of_them else figures[0]
            onsets += [at + place for place in figure]
        beat = end + (beats_per_bar if rng.random() < 0.1 else 0)  # noqa: PLR2004  a bar of rest
    return np.array(onsets)


def _pitches(rng: np.random.Generator, at: Floats, *, anywhere: bool) -> Floats:
    """Return pitches of a walk along a scale that turns, and sometimes leaps, mostly on beats or anywhere."""
    step, direction, pitches = int(rng.integers(0, 10)), 1, []
    for place in at:
        on_beat = rng.random() < 0.4 if anywhere else abs(place - round(place)) < 0.01  # noqa: PLR2004
        if step > 18 or step < -4:  # noqa: PLR2004  the range of an instrument
            direction = -1 if step > 0 else 1
        elif rng.random() < (0.4 if on_beat else 0.08):
            direction = -direction
        if on_beat and rng.random() < 0.2:  # noqa: PLR2004
            step += int(rng.integers(-4, 5))
        step += direction * (1 if rng.random() < 0.8 else 2)  # noqa: PLR2004
        pitches.append(48 + 12 * (step // 7) + MAJOR[step % 7])
    return np.array(pitches, dtype=float)
