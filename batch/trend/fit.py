"""Measure how often soloists do what phrases are labelled with: ``python -m batch.trend.fit CORPUS``.

CORPUS is the same as for :mod:`batch.fit_percentiles`. Each annotated phrase is labelled by the default
settings and related as a take's phrases are, and the table is written to ``label_shares.json`` beside this
module. To be measured again whenever labels or relations change.
"""

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from pydantic import TypeAdapter
from scipy.optimize import minimize
from scipy.special import betaln

from batch.fit_percentiles import annotated_grid, annotated_phrases
from batch.groove import rubs
from batch.labels import label_phrases
from batch.model import Grid, Labels, RelationKind
from batch.relations import relate
from batch.rhythm import estimate_feel
from batch.settings import GrooveSettings, LabelSettings, RelationSettings
from batch.trend.tally import LABELS, Tally
from batch.trend.usual import Usual


@dataclass(frozen=True, slots=True)
class Phrased:
    """What is counted of an annotated phrase."""

    labels: Labels
    relation: RelationKind
    range_place: float | None


def corpus_tallies(folder: Path) -> Iterator[Tally]:
    """Yield the labels of every solo, counted."""
    beats = dict(list(pd.read_csv(folder / "beats.csv.gz").groupby("solo")))
    for solo, table in pd.read_csv(folder / "notes.csv.gz").groupby("solo"):
        yield Tally.of(solo_phrases(table.sort_values("onset_s"), annotated_grid(beats[solo], table)))


def solo_phrases(table: pd.DataFrame, grid: Grid) -> list[Phrased]:
    """Return the labels of every annotated phrase of one solo, its notes sorted by onset."""
    notes, phrases = annotated_phrases(table)
    feel = estimate_feel(np.array([note.onset_s for note in notes]), grid)
    rubbing = rubs(notes, phrases, grid, feel)
    labelled = label_phrases(notes, phrases, grid, rubbing, labels=LabelSettings(), groove=GrooveSettings())
    evidence = [one for _, one in labelled]
    relations = relate(notes, phrases, evidence, grid=grid, feel=feel, settings=RelationSettings())
    return [
        Phrased(labels, relation.kind, evidence.range_place)
        for (labels, evidence), relation in zip(labelled, relations, strict=True)
    ]


def fit(tallies: Sequence[Tally]) -> dict[str, Usual]:
    """Return each label's share and clustering."""
    found = {}
    for dimension, labels in LABELS.items():
        measured = np.array([tally.measured[dimension] for tally in tallies], float)
        for label in labels:
            counts = np.array([tally.labels[label] for tally in tallies], float)
            found[label] = beta_binomial(counts[measured > 0], measured[measured > 0])
    return found


def beta_binomial(counts: np.ndarray, totals: np.ndarray) -> Usual:
    """Return the beta-binomial under which ``counts`` among ``totals`` are likeliest.

    Parameters
    ----------
    counts, totals : ndarray, shape (n,)
        For each solo, how many phrases have the label, and how many were measured, at least 1.
    """

    def cost(logs: np.ndarray) -> float:
        a, b = np.exp(logs)
        return float((betaln(a, b) - betaln(counts + a, totals - counts + b)).sum())

    share = counts.sum() / totals.sum()
    a, b = np.exp(minimize(cost, np.log([5 * share, 5 * (1 - share)]), method="Nelder-Mead").x)
    return Usual(round(float(a / (a + b)), 4), round(float(1 / (a + b + 1)), 4))


if __name__ == "__main__":
    shares = fit(list(corpus_tallies(Path(sys.argv[1]))))
    target = Path(__file__).with_name("label_shares.json")
    target.write_bytes(TypeAdapter(dict[str, Usual]).dump_json(shares, indent=1) + b"\n")
