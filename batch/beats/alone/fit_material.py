"""What the beat is learned from: annotated solos, as played and as they might be heard."""

import csv
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from batch.beats.alone.judge import NO_BEAT, PLACES
from batch.beats.alone.lines import Line
from batch.beats.alone.view import Events, Floats, Matrix, views

LEAST_BEAT_S = 0.02
"""Beats closer than this are one, marked twice (three pairs in the corpus)."""

PERIOD_BEATS = 4
"""A local period is the mean over so many beats either way (our choice)."""

STRETCHED_LOG = 0.25
"""Solos are also learned slower and faster by up to this, natural logarithm (our choice)."""

AS_THEY_ARE = 0.3
"""Share of the times that a solo keeps its tempo (our choice)."""

WRONG_RATIOS = (0.5, 2.0, 2 / 3, 1.5, 0.75, 4 / 3)
WRONG_SHARES = (0.25, 0.25, 0.125, 0.125, 0.125, 0.125)
ANY_WRONG = 0.3
"""Wrong periods are shown beside the right ones: those a listener might take for the beat, and a
share of any that are 10 % to a factor of 3 off (our choice)."""

WRONG_A_NOTE = 2

OFF_LOG = 0.03
"""Periods are shown up to this far off, as they come in following (half a step and a little)."""

SLOWEST_S, FASTEST_S = 60 / 34, 60 / 420
"""Periods outside are not shown."""


@dataclass(frozen=True, slots=True)
class Solo:
    """An annotated solo and what its table says of it."""

    number: int
    line: Line
    meter: str
    feel: str
    tempo_bpm: float


def read_solos(folder: Path) -> list[Solo]:
    """Return the solos of a corpus folder, by number."""
    notes = np.sort(_table(folder / "notes.csv.gz"), order=["solo", "onset_s"])
    beats = np.sort(_table(folder / "beats.csv.gz"), order=["solo", "onset_s"])
    with (folder / "solos.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return [
        Solo(
            number=int(row["solo"]),
            line=_line(notes[notes["solo"] == int(row["solo"])], beats[beats["solo"] == int(row["solo"])]),
            meter=row["meter"],
            feel=row["feel"],
            tempo_bpm=float(row["tempo_bpm"]),
        )
        for row in rows
    ]


def _table(path: Path) -> NDArray[np.void]:
    return np.genfromtxt(path, delimiter=",", names=True)


def _line(notes: NDArray[np.void], beats: NDArray[np.void]) -> Line:
    kept = np.append(True, np.diff(beats["onset_s"]) > LEAST_BEAT_S)
    return Line(
        notes["onset_s"],
        notes["duration_s"],
        notes["pitch"].astype(float),
        beats["onset_s"][kept],
        beats["beat"][kept].astype(int),
    )


def excerpt(line: Line, start_s: float, end_s: float) -> Line:
    """Return what of a line begins in a span, counted from the span's start."""
    notes = (line.onset_s >= start_s) & (line.onset_s < end_s)
    beats = (line.beats_s >= start_s) & (line.beats_s < end_s)
    return Line(
        line.onset_s[notes] - start_s,
        line.length_s[notes],
        line.pitch_midi[notes],
        line.beats_s[beats] - start_s,
        line.beat_in_bar[beats],
    )


def as_heard(line: Line, rng: np.random.Generator) -> Line:
    """Return a line as a listener might hear it.

    Notes are missed (up to 12 %) and invented (up to 4 %), onsets err by up to 16 ms, lengths are
    taken otherwise: somewhat worse than what the hearing does (our choice).
    """
    onset = line.onset_s + rng.normal(0, 0.016 * rng.random(), len(line.onset_s))
    kept = rng.random(len(onset)) > 0.12 * rng.random()
    onset, length, pitch = onset[kept], line.length_s[kept], line.pitch_midi[kept]
    more = rng.integers(0, max(len(onset), 1), int(0.04 * rng.random() * len(onset)))
    onset = np.append(onset, onset[more] + rng.uniform(0, 0.3, len(more)))
    pitch = np.append(pitch, pitch[more] + rng.choice([-12, 12, 7, -5, 0], len(more)))
    length = np.append(length, length[more] / 2)
    length = length * np.exp(rng.normal(0, 0.15)) * np.exp(rng.normal(0, 0.1, len(length)))
    if rng.random() < 0.15:  # noqa: PLR2004  a staccato player, or a sound that dies away
        length = length * rng.uniform(0.3, 0.8)
    order = np.argsort(onset, kind="stable")
    return replace(
        line,
        onset_s=onset[order],
        length_s=np.maximum(length[order], 0.02),
        pitch_midi=pitch[order],
    )


def stretched(line: Line, rng: np.random.Generator) -> Line:
    """Return a line slower or faster, or as it is."""
    if rng.random() < AS_THEY_ARE:
        return line
    factor = np.exp(rng.uniform(-STRETCHED_LOG, STRETCHED_LOG))
    return replace(
        line, onset_s=line.onset_s * factor, length_s=line.length_s * factor, beats_s=line.beats_s * factor
    )


def examples(line: Line, rng: np.random.Generator) -> tuple[Matrix, Matrix]:
    """Return views (m, columns) of a line's notes at right and wrong periods, and the answers.

    Answers (m, PLACES + 1) share each right one between the two nearest places.
    """
    events = Events.of_arrays(line.onset_s, line.length_s, line.pitch_midi)
    number = np.arange(len(line.beats_s))
    position = np.interp(events.onset_s, line.beats_s, number, left=np.nan, right=np.nan)
    period = _local_period(line.beats_s, events.onset_s)
    index = np.flatnonzero(~np.isnan(position) & (period > FASTEST_S) & (period < SLOWEST_S))
    right = period[index] * np.exp(rng.uniform(-OFF_LOG, OFF_LOG, len(index)))
    seen, answers = [views(events, index, right)], [_answers(position[index] % 1)]
    for _ in range(WRONG_A_NOTE):
        wrong = period[index] * _wrong_ratios(rng, len(index))
        shown = (wrong > FASTEST_S) & (wrong < SLOWEST_S)
        seen.append(views(events, index[shown], wrong[shown]))
        answers.append(np.zeros((int(shown.sum()), PLACES + 1), np.float32))
        answers[-1][:, NO_BEAT] = 1
    return np.concatenate(seen), np.concatenate(answers)


def _local_period(beats_s: Floats, when_s: Floats) -> Floats:
    last = len(beats_s) - 1
    nearest = np.clip(np.searchsorted(beats_s, when_s), 0, last)
    before, after = np.clip(nearest - PERIOD_BEATS, 0, last), np.clip(nearest + PERIOD_BEATS, 0, last)
    return np.asarray((beats_s[after] - beats_s[before]) / np.maximum(after - before, 1))


def _wrong_ratios(rng: np.random.Generator, n: int) -> Floats:
    likely = rng.choice(WRONG_RATIOS, n, p=WRONG_SHARES)
    any_of_them = np.exp(rng.uniform(0.1, 1.1, n) * rng.choice([-1, 1], n))
    ratio = np.where(rng.random(n) < ANY_WRONG, any_of_them, likely)
    return np.asarray(ratio * np.exp(rng.uniform(-OFF_LOG, OFF_LOG, n)))


def _answers(place: Floats) -> Matrix:
    """Return answers (n, PLACES + 1) for places in the beat, 0 to 1."""
    at = place * PLACES
    lower = np.floor(at).astype(int)
    rows = np.arange(len(at))
    answers = np.zeros((len(at), PLACES + 1), np.float32)
    answers[rows, lower % PLACES] += 1 - (at - lower)
    answers[rows, (lower + 1) % PLACES] += at - lower
    return answers
