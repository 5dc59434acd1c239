"""Measure the percentiles that the variety score stands on: ``python -m batch.fit_percentiles CORPUS``.

CORPUS holds ``notes.csv.gz`` (solo, onset_s, duration_s, pitch, phrase, beats_per_bar) and
``beats.csv.gz`` (solo, onset_s, beat). Each annotated phrase is measured as a take's
phrases are, and the table is written to ``batch/percentiles.json``.
"""

import statistics
import sys
from collections.abc import Iterator
from itertools import groupby, pairwise
from pathlib import Path

import numpy as np
import pandas as pd
from pydantic import TypeAdapter

from batch.groove import rubs
from batch.labels import PitchRange, evidence_of
from batch.leaning import groove_tension
from batch.model import Evidence, Grid, Note, Phrase, notes_of
from batch.percentiles import Percentiles
from batch.rhythm import estimate_feel
from batch.settings import GrooveSettings

RANKS = tuple(float(rank) for rank in range(5, 100, 5))
"""The fifth percentile is the bottom of the scale, the ninety-fifth its top (our choice)."""

STRAIGHT = {"articulation": (1.0, 99.0), "register": (RANKS[0], RANKS[-1])}
"""These have only their ends, straight between them. Of articulation nine tenths of the corpus lie so close
together that neither a listener nor a microphone tells their ranks apart; register is in semitones, which
a listener hears as even steps: by ranks, two semitones in the middle would count as much as five outside."""

MEASURES = (
    "duration_beats", "duration_s", "notes_per_beat", "notes_per_s", "articulation", "register", "leap_share",
)  # fmt: skip


def corpus_evidence(folder: Path) -> Iterator[Evidence]:
    """Yield the evidence of every annotated phrase in the corpus."""
    beats = dict(list(pd.read_csv(folder / "beats.csv.gz").groupby("solo")))
    for solo, table in pd.read_csv(folder / "notes.csv.gz").groupby("solo"):
        yield from solo_evidence(table.sort_values("onset_s"), annotated_grid(beats[solo], table))


def solo_evidence(table: pd.DataFrame, grid: Grid) -> Iterator[Evidence]:
    """Yield the evidence of every annotated phrase of one solo, its notes sorted by onset."""
    notes, phrases = annotated_phrases(table)
    feel = estimate_feel(np.array([note.onset_s for note in notes]), grid)
    pitches = PitchRange.of(notes)
    for phrase, rub in zip(phrases, rubs(notes, phrases, grid, feel), strict=True):
        yield evidence_of(notes_of(phrase, notes), phrase, grid, rub, pitches)


def annotated_phrases(table: pd.DataFrame) -> tuple[list[Note], list[Phrase]]:
    """Return the notes of one solo, sorted by onset in the table, and its phrases."""
    notes = [
        Note(onset, onset + max(duration, 1e-3), float(pitch), 0.0)
        for onset, duration, pitch in zip(table.onset_s, table.duration_s, table.pitch, strict=True)
    ]
    phrases = []
    for _, group in groupby(enumerate(table.phrase), key=lambda entry: entry[1]):
        span = [index for index, _ in group]
        end_s = max(notes[index].offset_s for index in span)
        phrases.append(Phrase(notes[span[0]].onset_s, end_s, span[0], span[-1]))
    return notes, phrases


def annotated_grid(beats: pd.DataFrame, notes: pd.DataFrame) -> Grid:
    """Return the beats that people annotated under a solo."""
    beats = beats.sort_values("onset_s").drop_duplicates("onset_s")
    times = tuple(float(time) for time in beats.onset_s)
    return Grid(
        source="annotation",
        tempo_bpm=60 / statistics.median(b - a for a, b in pairwise(times)),
        beats_s=times,
        beat_in_bar=tuple(int(beat) for beat in beats.beat),
        beats_per_bar=int(notes.beats_per_bar.iloc[0]),
        swing_ratio=None,
        confidence=1.0,
    )


def fit(folder: Path) -> dict[str, Percentiles]:
    """Return the percentile table of each dimension."""
    found = list(corpus_evidence(folder))
    columns = {name: [getattr(phrase, name) for phrase in found] for name in MEASURES}
    columns["groove_tension"] = [groove_tension(phrase, GrooveSettings()) for phrase in found]
    return {name: _table(values, STRAIGHT.get(name, RANKS)) for name, values in columns.items()}


def _table(values: list[float | None], ranks: tuple[float, ...]) -> Percentiles:
    known = np.array([value for value in values if value is not None])
    return Percentiles(ranks, tuple(round(float(v), 4) for v in np.percentile(known, ranks)))


if __name__ == "__main__":
    tables = fit(Path(sys.argv[1]))
    target = Path(__file__).with_name("percentiles.json")
    target.write_bytes(TypeAdapter(dict[str, Percentiles]).dump_json(tables, indent=1) + b"\n")
    for name, table in tables.items():
        print(name, dict(zip(table.ranks, table.values, strict=True)))
