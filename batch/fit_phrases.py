"""Fit the phrase model again: ``python -m batch.fit_phrases CORPUS_DIR``.

The corpus is two tables: ``notes.csv.gz`` (solo, onset_s, duration_s, pitch, phrase) and
``beats.csv.gz`` (solo, onset_s). Thresholds are those with the best F on solos left out of the
fit. Needs scikit-learn; nothing else in the project does.
"""

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression

from batch.phrase_features import FloatArray, boundary_features
from batch.phrases import MODEL_FILE, PhraseModel, Regression

CORPUS = (
    "half of the Weimar Jazz Database (Pfleiderer and others 2017, Inside the Jazzomat), "
    "from the data package jazzodata (MIT licence, Frieler and others 2022)"
)

FOLDS = 6
SEED = 0

INVERSE_PENALTY = 0.1
"""scikit-learn's C, on standardised features; from 0.01 to 1, F moves by 0.001."""

DIGITS = 5
"""Significant digits kept of a coefficient; F does not change with more."""


@dataclass(frozen=True, slots=True)
class Solo:
    """An annotated solo, sorted by onset; ``phrase`` numbers each note's phrase, rising."""

    onset_s: FloatArray
    offset_s: FloatArray
    pitch: FloatArray
    phrase: FloatArray
    beat_s: float

    def columns(self) -> dict[str, FloatArray]:
        """Return the features of each place between two notes."""
        return boundary_features(self.onset_s, self.offset_s, self.pitch, self.beat_s)

    def starts(self) -> NDArray[np.bool_]:
        """Return whether each note after the first starts a phrase."""
        return np.diff(self.phrase) > 0


@dataclass(frozen=True, slots=True)
class Score:
    """The best F over all thresholds, and the threshold."""

    f: float
    threshold: float


def read_corpus(folder: Path) -> list[Solo]:
    """Return the annotated solos of a corpus folder, by solo number."""
    notes = np.sort(_table(folder / "notes.csv.gz"), order=["solo", "onset_s"])
    beats = np.sort(_table(folder / "beats.csv.gz"), order=["solo", "onset_s"])
    return [
        _solo(notes[notes["solo"] == number], beats[beats["solo"] == number])
        for number in np.unique(notes["solo"])
    ]


def _table(path: Path) -> NDArray[np.void]:
    return np.genfromtxt(path, delimiter=",", names=True)


def _solo(notes: NDArray[np.void], beats: NDArray[np.void]) -> Solo:
    return Solo(
        onset_s=notes["onset_s"],
        offset_s=notes["onset_s"] + notes["duration_s"],
        pitch=notes["pitch"],
        phrase=notes["phrase"],
        beat_s=float(np.median(np.diff(beats["onset_s"]))),
    )


def abutting(solo: Solo) -> Solo:
    """Return ``solo`` with each note held until the next: no rest is left to go by."""
    return replace(solo, offset_s=np.append(solo.onset_s[1:], solo.offset_s[-1]))


def tells_by_spacing(name: str) -> bool:
    """Return whether a feature serves where notes abut.

    Only spacing against the take's own and leaps: what is left then holds for music at another
    tempo and of another density than the corpus.
    """
    return name.startswith(
        ("leap", "wide_leap", "longer_spacings", "since_spacing", "until_spacing")
    ) or name in (
        "spacing_to_take",
        "spacing_to_near",
    )


def fit_regression(solos: Sequence[Solo], names: Sequence[str], threshold: float = 0.5) -> Regression:
    """Return a regression on the features ``names``, fitted to ``solos``."""
    rows = np.concatenate([_rows(solo, names) for solo in solos])
    means, scales = rows.mean(axis=0), np.maximum(rows.std(axis=0), 1e-3)
    fitted = LogisticRegression(C=INVERSE_PENALTY, max_iter=3000)
    fitted.fit((rows - means) / scales, np.concatenate([solo.starts() for solo in solos]))
    weights = fitted.coef_[0] / scales  # on the features as they come, so that nothing else need be kept
    return Regression(
        intercept=_rounded(fitted.intercept_[0] - weights @ means),
        weights={name: _rounded(weight) for name, weight in zip(names, weights, strict=True)},
        threshold=threshold,
    )


def _rows(solo: Solo, names: Sequence[str]) -> FloatArray:
    columns = solo.columns()
    return np.column_stack([columns[name] for name in names])


def _rounded(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


def cross_validated(solos: Sequence[Solo], names: Sequence[str]) -> Score:
    """Return F and threshold, pooled over solos each left out of the fit that judges it."""
    fold_of = np.random.default_rng(SEED).permutation(len(solos)) % FOLDS
    likely: list[FloatArray] = []
    starts: list[NDArray[np.bool_]] = []
    for fold in range(FOLDS):
        fitted = fit_regression([solo for solo, k in zip(solos, fold_of, strict=True) if k != fold], names)
        left_out = [solo for solo, k in zip(solos, fold_of, strict=True) if k == fold]
        likely += [fitted.probabilities(solo.columns()) for solo in left_out]
        starts += [solo.starts() for solo in left_out]
    return best_threshold(np.concatenate(likely), np.concatenate(starts))


def best_threshold(likely: FloatArray, starts: NDArray[np.bool_]) -> Score:
    """Return the threshold with the best F = 2 hits / (found + true)."""
    order = np.argsort(-likely, kind="stable")
    hits = np.cumsum(starts[order])
    f = 2 * hits / (np.arange(1, len(hits) + 1) + starts.sum())
    best = int(np.argmax(f))
    last_in, first_out = likely[order[best]], likely[order[min(best + 1, len(order) - 1)]]
    return Score(float(f[best]), float((last_in + first_out) / 2))


def fit(solos: Sequence[Solo], today: date) -> PhraseModel:
    """Return a model of all ``solos``, with how it was made and how it does on solos left out."""
    names = list(solos[0].columns())
    spacing_names = [name for name in names if tells_by_spacing(name)]
    joined = [abutting(solo) for solo in solos]
    rests, spacing = cross_validated(solos, names), cross_validated(joined, spacing_names)
    return PhraseModel(
        provenance={
            "fitted_by": "python -m batch.fit_phrases",
            "fitted_on": today.isoformat(),
            "corpus": CORPUS,
            "solos": len(solos),
            "notes": sum(len(solo.onset_s) for solo in solos),
            "phrases": sum(1 + int(solo.starts().sum()) for solo in solos),
            "method": f"logistic regression, C {INVERSE_PENALTY}; thresholds by {FOLDS} folds of whole solos",
            "f_by_rests_on_solos_left_out": round(rests.f, 4),
            "f_by_spacing_on_solos_left_out": round(spacing.f, 4),
        },
        by_rests=fit_regression(solos, names, round(rests.threshold, 3)),
        by_spacing=fit_regression(joined, spacing_names, round(spacing.threshold, 3)),
    )


def main(arguments: Sequence[str] | None = None) -> None:
    """Read the corpus, fit, and write the model beside this module."""
    parser = argparse.ArgumentParser(
        prog="python -m batch.fit_phrases", description="Fit the phrase model again."
    )
    parser.add_argument("corpus", type=Path, help="folder with notes.csv.gz and beats.csv.gz")
    parser.add_argument("--out", type=Path, default=Path(__file__).with_name(MODEL_FILE))
    given = parser.parse_args(arguments)
    model = fit(read_corpus(given.corpus), date.today())
    given.out.write_text(model.model_dump_json(indent=1) + "\n", encoding="utf-8")
    print(f"F on solos left out {model.provenance['f_by_rests_on_solos_left_out']}; wrote {given.out}")


if __name__ == "__main__":
    main()
