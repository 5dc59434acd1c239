"""Fit again what beats are found by: ``python -m batch.beats.alone.fit --data CORPUS_DIR``.

The corpus is three tables: ``notes.csv.gz`` (solo, onset_s, duration_s, pitch), ``beats.csv.gz``
(solo, onset_s, beat) and ``solos.csv`` (solo, tempo_bpm, meter, feel). The network is fitted once
for each fold of solos, to see how it does on those left out: what it does there is what the
confidence is fitted to. Then it is fitted to all. The same corpus gives the same numbers on the same
machine. Needs scikit-learn; takes about six minutes.
"""

import argparse
import csv
import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression

from batch.beats.alone.downbeat import doings
from batch.beats.alone.fit_material import Solo, as_heard, examples, excerpt, read_solos, stretched
from batch.beats.alone.judge import MODEL_FILE, PLACES, Judge
from batch.beats.alone.lines import Line, practice_line
from batch.beats.alone.sureness import Sureness, agreement
from batch.beats.alone.track import find_alone, find_told
from batch.beats.alone.view import COLUMNS, Events, Floats, Matrix
from batch.fit_phrases import CORPUS
from batch.hearing.training.fitting import Adam

FOLDS = 4
SEED = 0
HIDDEN = (96, 64)
EPOCHS = 22
BATCH = 512
RATE = 2e-3
DECAY = 1e-2
WARM_STEPS = 200
START_SPREAD = 0.6
"""The views are sparse and of no even spread: the first layer starts smaller than He and others (2015)
have it."""

LINES_AN_EPOCH = 160
"""Practice lines shown beside the solos, in each epoch (our choice: a quarter of the notes)."""

EXCERPTS_A_SOLO = 3
SHORTEST_S, LONGEST_S = 20.0, 90.0
"""Lengths of the excerpts that confidence is fitted to, beside the whole solo (our choice)."""

LINES_TRIED = 240
"""Practice lines that confidence is fitted to (our choice: one in five trials). They are contrary: lines
that mislead are what confidence is for."""

RIGHT_F = 0.9
"""Beats are right from this F on: what the confidence speaks of."""

TRIMMED_S = 5.0
"""Beats before it do not count (mir_eval's trim_beats)."""

SURE = 0.8
WANTED = 0.9
"""Of takes left out with confidence SURE or more, at least this share is to be right: of solos, and of
practice lines. The regression's intercept is shifted until both hold; so confidence is a lower bound."""

INVERSE_PENALTY = 0.1
"""scikit-learn's C, on standardised columns (our choice)."""

DIGITS = 4
"""Significant digits kept."""

DOWNBEAT_METER = "4/4"

TOLD_RIGHT, TOLD_HALF, TOLD_DOUBLE = 0.82, 0.07, 0.07
"""Shares of tags that tell the felt tempo, half, and double; the others tell any tempo (our choice)."""


@dataclass(frozen=True, slots=True)
class Trial:
    """How the beat was found in one excerpt, by a judge that has not seen the solo."""

    solo: int
    fold: int
    feel: str
    told: str
    length_s: float
    tempo_bpm: float
    row: dict[str, float]
    f: float
    downbeat: float = float("nan")


def fit_judge(solos: Sequence[Line], seed: int, say: Callable[[str], None]) -> Judge:
    """Return a network fitted to solos and practice lines, heard anew in each epoch (Adam)."""
    rng = np.random.default_rng(seed)
    layers = _start(rng, (COLUMNS, *HIDDEN, PLACES + 1))
    adams = [(Adam.of(weights), Adam.of(bias)) for weights, bias in layers]
    number, last = 0, 0
    for epoch in range(EPOCHS):
        seen, answers = _epoch(solos, rng)
        order = rng.permutation(len(seen))
        batches = len(seen) // BATCH
        last = last or EPOCHS * batches
        for at in range(batches):
            number += 1
            some = order[at * BATCH : (at + 1) * BATCH]
            rate = RATE * min(number / WARM_STEPS, 1) * (1 + np.cos(np.pi * min(number / last, 1))) / 2
            _learn(layers, adams, _slopes(layers, seen[some], answers[some]), np.float32(rate), number)
        say(f"epoch {epoch + 1} of {EPOCHS}")
    return Judge(tuple(layers))


def _epoch(solos: Sequence[Line], rng: np.random.Generator) -> tuple[Matrix, Matrix]:
    lines = [stretched(line, rng) for line in solos] + [practice_line(rng) for _ in range(LINES_AN_EPOCH)]
    seen, answers = zip(*(examples(as_heard(line, rng), rng) for line in lines), strict=True)
    return np.concatenate(seen), np.concatenate(answers)


def _start(rng: np.random.Generator, sizes: Sequence[int]) -> list[tuple[Matrix, Matrix]]:
    spreads = [START_SPREAD, *(2.0 for _ in sizes[2:])]
    return [
        ((rng.standard_normal((a, b)) * np.sqrt(spread / a)).astype(np.float32), np.zeros(b, np.float32))
        for (a, b), spread in zip(pairwise(sizes), spreads, strict=True)
    ]


def _slopes(
    layers: Sequence[tuple[Matrix, Matrix]], seen: Matrix, answers: Matrix
) -> list[tuple[Matrix, Matrix]]:
    """Return how mean cross-entropy changes with each layer's weights and biases."""
    values = [seen]
    for weights, bias in layers[:-1]:
        values.append(np.maximum(values[-1] @ weights + bias, np.float32(0)))
    odds = values[-1] @ layers[-1][0] + layers[-1][1]
    odds = np.exp(odds - odds.max(axis=1, keepdims=True))
    error = (odds / odds.sum(axis=1, keepdims=True) - answers) / np.float32(len(seen))
    slopes = []
    for at in range(len(layers) - 1, -1, -1):
        slopes.append((values[at].T @ error, error.sum(axis=0)))
        if at:
            error = (error @ layers[at][0].T) * (values[at] > 0)
    return slopes[::-1]


def _learn(
    layers: Sequence[tuple[Matrix, Matrix]],
    adams: Sequence[tuple[Adam, Adam]],
    slopes: Sequence[tuple[Matrix, Matrix]],
    rate: np.float32,
    number: int,
) -> None:
    """Take step ``number`` against the slopes, in place."""
    for (weights, bias), (for_weights, for_bias), (slope, tilt) in zip(layers, adams, slopes, strict=True):
        weights -= rate * for_weights.step(slope, number)  # noqa: PLW2901  in place
        weights -= rate * np.float32(DECAY) * weights  # noqa: PLW2901  in place
        bias -= rate * for_bias.step(tilt, number)  # noqa: PLW2901  in place


def folds_of(solos: Sequence[Solo]) -> NDArray[np.int64]:
    """Return which fold each solo is left out in."""
    return np.random.default_rng(SEED).permutation(len(solos)) % FOLDS


def trials(solos: Sequence[Solo], fold_of: NDArray[np.int64], judges: Sequence[Judge]) -> Iterable[Trial]:
    """Yield how the beat is found in excerpts, alone and told, by judges that have not seen the solo."""
    rng = np.random.default_rng(SEED + 1)
    tempi = [solo.tempo_bpm for solo in solos]
    for solo, fold in zip(solos, fold_of, strict=True):
        first, last = float(solo.line.beats_s[0]), float(solo.line.beats_s[-1])
        lengths = np.exp(rng.uniform(np.log(SHORTEST_S), np.log(LONGEST_S), EXCERPTS_A_SOLO))
        for length_s in [*np.minimum(lengths, last - first), last - first]:
            start_s = first + (last - first - length_s) * rng.random()
            line = as_heard(excerpt(solo.line, start_s, start_s + length_s), rng)
            about = solo.number, int(fold), solo.feel
            yield from _both(
                line, float(length_s), about, judge=judges[fold], other_bpm=float(rng.choice(tempi)), rng=rng
            )
    for number in range(LINES_TRIED):
        line = practice_line(rng, contrary=True)
        about = -1 - number, number % FOLDS, "PRACTICE"
        judge = judges[number % FOLDS]
        yield from _both(
            line, float(line.onset_s[-1] + 1), about, judge=judge, other_bpm=float(rng.choice(tempi)), rng=rng
        )


def _both(
    line: Line,
    length_s: float,
    about: tuple[int, int, str],
    *,
    judge: Judge,
    other_bpm: float,
    rng: np.random.Generator,
) -> Iterable[Trial]:
    events = Events.of_arrays(line.onset_s, line.length_s, line.pitch_midi) if len(line.onset_s) else None
    if events is None or (line.beats_s >= TRIMMED_S).sum() < 2:  # noqa: PLR2004
        return
    felt_bpm = 60 / float(np.median(np.diff(line.beats_s)))
    alone = find_alone(events, length_s, judge)
    if alone is None:
        return
    name, tempo_bpm = _told(felt_bpm, other_bpm, rng)
    found = find_told(events, length_s, tempo_bpm, judge, alone)
    for told, one in (("", alone), (name, found)):
        if one is not None:
            f = beat_f(line.beats_s[line.beats_s <= length_s], one.beats_s)
            yield Trial(*about, told, length_s, felt_bpm, one.row, f)


def _told(felt_bpm: float, other_bpm: float, rng: np.random.Generator) -> tuple[str, float]:
    """Return a tag's tempo: rounded, a few per cent off, half, double, or another's."""
    near_bpm = float(np.round(felt_bpm * np.exp(rng.normal(0, 0.01))))
    chance = rng.random()
    if chance < TOLD_RIGHT:
        return "right", near_bpm
    if chance < TOLD_RIGHT + TOLD_HALF:
        return "half", near_bpm / 2
    if chance < TOLD_RIGHT + TOLD_HALF + TOLD_DOUBLE:
        return "double", near_bpm * 2
    return "other", round(other_bpm)


def beat_f(true_s: Floats, found_s: Floats) -> float:
    """Return beat F with the first seconds left out, as mir_eval has it."""
    return agreement(true_s[true_s >= TRIMMED_S], found_s[found_s >= TRIMMED_S])


def fit_sureness(tried: Sequence[Trial]) -> Sureness:
    """Return a regression whose confidence SURE holds at least WANTED right, on folds left out.

    That goes for solos and for practice lines, each as counted and as the regression itself expects: a
    count alone may be luck.
    """
    plain = _regression(tried)
    ordered = [t for fold in range(FOLDS) for t in tried if t.fold == fold]
    held_out = np.concatenate([_left_out(tried, fold) for fold in range(FOLDS)])
    right = np.array([t.f >= RIGHT_F for t in ordered])
    played = np.array([t.solo > 0 for t in ordered])
    groups = [group for group in (played, ~played) if group.any()]
    least = max(_least_sure(held_out[group], right[group]) for group in groups)
    shift = np.log(SURE / (1 - SURE)) - np.log(least / (1 - least))
    return Sureness(_rounded(plain.intercept + shift), plain.weights)


def _least_sure(held_out: Floats, right: NDArray[np.bool_]) -> float:
    """Return the least of the chances ``held_out`` (n,) down to which WANTED of them are ``right`` (n,)."""
    order = np.argsort(-held_out, kind="stable")
    count = np.arange(1, len(order) + 1)
    counted, expected = np.cumsum(right[order]) / count, np.cumsum(held_out[order]) / count
    enough = np.flatnonzero((counted >= WANTED) & (expected >= WANTED))
    return float(held_out[order[enough[-1]]] if len(enough) else held_out.max())


def _left_out(tried: Sequence[Trial], fold: int) -> Floats:
    fitted = _regression([t for t in tried if t.fold != fold])
    return np.array([fitted.confidence(t.row) for t in tried if t.fold == fold])


def _regression(tried: Sequence[Trial]) -> Sureness:
    names = list(tried[0].row)
    rows = np.array([[t.row[name] for name in names] for t in tried])
    means, scales = rows.mean(axis=0), np.maximum(rows.std(axis=0), 1e-3)
    fitted = LogisticRegression(C=INVERSE_PENALTY, max_iter=5000)
    fitted.fit((rows - means) / scales, [t.f >= RIGHT_F for t in tried])
    weights = fitted.coef_[0] / scales  # on the columns as they come, so that nothing else need be kept
    return Sureness(
        float(fitted.intercept_[0] - weights @ means),
        {name: _rounded(weight) for name, weight in zip(names, weights, strict=True)},
    )


def fit_downbeat(solos: Sequence[Solo]) -> dict[str, object]:
    """Return the regression on what is played around each beat of a bar of four."""
    lines = [solo.line for solo in solos if solo.meter == DOWNBEAT_METER]
    rows = [
        doings(Events.of_arrays(line.onset_s, line.length_s, line.pitch_midi), line.beats_s) for line in lines
    ]
    numbers = np.concatenate([line.beat_in_bar for line in lines])
    in_bar = (numbers >= 1) & (numbers <= 4)  # noqa: PLR2004
    fitted = LogisticRegression(C=INVERSE_PENALTY, max_iter=3000)
    fitted.fit(np.concatenate(rows)[in_bar], numbers[in_bar])
    return {
        "weights": [[_rounded(w) for w in row] for row in fitted.coef_.T],
        "intercept": [_rounded(w) for w in fitted.intercept_],
    }


def _rounded(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


def _short(array: NDArray[np.floating]) -> object:
    """Return an array as lists of few digits."""
    if array.ndim > 1:
        return [_short(row) for row in array]
    return [_rounded(float(value)) for value in array]


def main(arguments: Sequence[str] | None = None) -> None:
    """Read the corpus, fit, and write the numbers beside this module."""
    parser = argparse.ArgumentParser(
        prog="python -m batch.beats.alone.fit", description=__doc__.splitlines()[0]
    )
    parser.add_argument("--data", type=Path, required=True, help="folder with the corpus' three tables")
    parser.add_argument("--out", type=Path, default=Path(__file__).with_name(MODEL_FILE))
    parser.add_argument("--trials", type=Path, help="where to write the trials on solos left out, as CSV")
    parser.add_argument("--folds", type=Path, help="folder for the networks of each fold")
    given = parser.parse_args(arguments)
    solos = read_solos(given.data)
    fold_of = folds_of(solos)
    judges = []
    for fold in range(FOLDS):
        rest = [solo.line for solo, k in zip(solos, fold_of, strict=True) if k != fold]
        judges.append(_fold_judge(rest, fold, given.folds))
    tried = list(trials(solos, fold_of, judges))
    alone, told = [t for t in tried if not t.told], [t for t in tried if t.told]
    if given.trials:
        _write_trials(given.trials, [alone, told])
    numbers = {
        "provenance": {
            "fitted_by": "python -m batch.beats.alone.fit",
            "corpus": CORPUS,
            "solos": len(solos),
            "method": f"{FOLDS} folds of whole solos; confidence from excerpts of solos left out",
            "trials_alone": len(alone),
            "trials_told": len(told),
        },
        "sureness": {"alone": asdict(fit_sureness(alone)), "told": asdict(fit_sureness(told))},
        "downbeat": fit_downbeat(solos),
        "judge": _layers(_fold_judge([solo.line for solo in solos], FOLDS, given.folds)),
    }
    given.out.write_text(json.dumps(numbers, separators=(",", ":")) + "\n", encoding="utf-8")
    print(f"wrote {given.out}")


def _fold_judge(lines: Sequence[Line], fold: int, kept: Path | None) -> Judge:
    """Return a judge fitted to ``lines``, of few digits; one kept in a folder is taken from there."""
    path = kept / f"{fold}.json" if kept else None
    if path and path.exists():
        layers = json.loads(path.read_text(encoding="utf-8"))
    else:
        say = f"fit {fold + 1} of {FOLDS + 1}: "
        layers = _layers(fit_judge(lines, SEED + fold, lambda told: print(say + told)))
        if path:
            path.write_text(json.dumps(layers), encoding="utf-8")
    return Judge(tuple((np.array(w, np.float32), np.array(b, np.float32)) for w, b in layers))


def _layers(judge: Judge) -> list[tuple[object, object]]:
    return [(_short(weights), _short(bias)) for weights, bias in judge.layers]


def _write_trials(path: Path, kinds: Sequence[Sequence[Trial]]) -> None:
    """Write each trial with the confidence of a regression that has not seen its fold."""
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        table.writerow(["solo", "fold", "feel", "told", "length_s", "tempo_bpm", "f", "confidence", "row"])
        for tried in kinds:
            for fold in range(FOLDS):
                fitted = fit_sureness([t for t in tried if t.fold != fold])
                for t in (t for t in tried if t.fold == fold):
                    confidence = fitted.confidence(t.row)
                    table.writerow(
                        [
                            t.solo,
                            t.fold,
                            t.feel,
                            t.told,
                            t.length_s,
                            t.tempo_bpm,
                            t.f,
                            confidence,
                            json.dumps(t.row),
                        ]
                    )


if __name__ == "__main__":
    main()
