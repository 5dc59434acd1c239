"""Annotated solos: the share of their phrases that rub against the groove, by feel and by tempo."""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from batch.fit_percentiles import annotated_grid, solo_evidence
from batch.groove.verdict import NOTES_FOR_OFF_GRID
from batch.model import Evidence
from batch.settings import GrooveSettings

from .tables import Cell, Table

TEMPO_BANDS = ((0, 100), (100, 140), (140, 180), (180, 220), (220, 260), (260, 1000))


def grooves_of_solos_table(data: Path) -> Table:
    """Return a row a feel, and a row a band of tempos."""
    columns = (
        "phrases",
        "count",
        "against",
        "by syncopation",
        "by a group or tuplet",
        "off the grid",
        "devices",
    )
    corpus = data / "corpus"
    if not (corpus / "notes.csv.gz").is_file():
        return Table("grooves of solos", columns, (), (f"{corpus} is not there",))
    found = list(phrases_of(corpus))
    rows = [row("all", [one for *_, one in found])]
    rows += [
        row(feel, [one for of, _, one in found if of == feel]) for feel in sorted({of for of, *_ in found})
    ]
    for low, high in TEMPO_BANDS:
        inside = [one for _, tempo, one in found if low <= tempo < high]
        rows.append(row(f"{low} to {high} bpm" if high < 1000 else f"from {low} bpm", inside))
    return Table("grooves of solos", columns, tuple(rows))


def phrases_of(corpus: Path) -> Iterator[tuple[str, float, Evidence]]:
    """Yield feel, tempo and evidence of every annotated phrase."""
    beats = dict(list(pd.read_csv(corpus / "beats.csv.gz").groupby("solo")))
    solos = pd.read_csv(corpus / "solos.csv").set_index("solo")
    for solo, notes in pd.read_csv(corpus / "notes.csv.gz").groupby("solo"):
        about = solos.loc[solo]
        for evidence in solo_evidence(notes.sort_values("onset_s"), annotated_grid(beats[solo], notes)):
            yield str(about.feel).lower(), float(about.tempo_bpm), evidence


def row(name: str, phrases: list[Evidence]) -> tuple[Cell, ...]:
    """Return the shares of some phrases."""
    limits = GrooveSettings()
    kinds = (is_syncopated, has_a_group, is_off_the_grid)
    by = np.array([[kind(one, limits) for kind in kinds] for one in phrases])
    names = Counter(one.grouping for one in phrases if has_a_group(one, limits))
    most = ", ".join(f"{name} {count}" for name, count in names.most_common(4))
    return (name, len(phrases), float(by.any(axis=1).mean()), *by.mean(axis=0).tolist(), most)


def is_syncopated(phrase: Evidence, limits: GrooveSettings) -> bool:
    """Return whether a phrase is against the groove by its syncopation alone."""
    share = phrase.syncopation or 0.0
    enough = round(share * phrase.note_count) >= limits.syncopated_notes_from
    return (share >= limits.syncopation_from and enough) or (
        phrase.syncopated_run or 0.0
    ) >= limits.syncopated_run_from


def has_a_group(phrase: Evidence, limits: GrooveSettings) -> bool:
    """Return whether it is by a group or a tuplet."""
    return (phrase.grouping_strength or 0.0) >= limits.grouping_from


def is_off_the_grid(phrase: Evidence, limits: GrooveSettings) -> bool:
    """Return whether it is by its distance from the grid."""
    return (phrase.off_grid or 0.0) >= limits.off_grid_from and phrase.note_count >= NOTES_FOR_OFF_GRID
