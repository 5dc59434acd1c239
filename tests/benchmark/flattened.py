"""Annotated solos flattened and stretched in one dimension at a time, and how their scores are spread."""

from collections.abc import Callable, Iterator, Sequence
from itertools import islice
from pathlib import Path

import numpy as np

from batch.model import Variety
from batch.variety import DIMENSIONS
from tests.flattening import FLATTENED, STRETCHED, Solo, annotated_solos, heard_variety_of, variety_of

from .tables import Cell, Table

HEARD_EVERY = 8
"""Of the solos one in so many is listened to as a whole take, which takes ten times as long."""
QUANTILES = (0, 5, 25, 50, 75, 95, 100)

Score = Callable[[Solo, float], Variety]


def flattened_tables(data: Path) -> Iterator[Table]:
    """Yield how often part and score move as they should, by phrase marks and as heard; then the spread."""
    corpus = data / "corpus"
    if not (corpus / "notes.csv.gz").is_file():
        print(f"variety is left out: {corpus} is not there\n")
        return
    solos = list(annotated_solos(corpus))
    yield moves_table("variety, phrases as annotated", solos, variety_of)
    yield moves_table(
        "variety, phrases as heard", list(islice(solos, 0, None, HEARD_EVERY)), heard_variety_of
    )
    yield spread_table(solos)


def moves_table(title: str, solos: Sequence[tuple[Solo, float]], score: Score) -> Table:
    """Return a row a dimension and change."""
    rows: list[tuple[Cell, ...]] = []
    before = [score(*solo) for solo in solos]
    for change, changes in (("flattened", FLATTENED), ("stretched", STRETCHED)):
        sign = -1 if change == "flattened" else 1
        for name in DIMENSIONS:
            after = [score(changes[name](solo), tempo_bpm) for solo, tempo_bpm in solos]
            told = [
                [a.parts[name], b.parts[name], a.score, b.score]
                for a, b in zip(before, after, strict=True)
                if a.score is not None and b.score is not None
            ]
            numbers = np.array(told, dtype=float)
            part, whole = (float(np.mean(sign * np.diff(numbers[:, [i, i + 1]]) > 0)) for i in (0, 2))
            rows.append((f"{name} {change}", len(told), part, whole, *numbers.mean(axis=0).tolist()))
    columns = ("change", "solos", "right: part", "right: score", "mean part: before", "mean part: after",
               "mean score: before", "mean score: after")  # fmt: skip
    return Table(title, columns, tuple(rows))


def spread_table(solos: Sequence[tuple[Solo, float]]) -> Table:
    """Return how score and parts are spread over the solos."""
    found = [variety_of(*solo) for solo in solos]
    rows = [("score", *np.percentile([float(one.score or 0) for one in found], QUANTILES).tolist())]
    for name in DIMENSIONS:
        parts = [float(one.parts[name] or 0) for one in found]
        rows.append((name, *np.percentile(parts, QUANTILES).tolist()))
    columns = ("of all solos", "least", *(f"{q} %" for q in QUANTILES[1:-1]), "most")
    return Table("variety of annotated solos", columns, tuple(rows))
