"""Fit the two networks again: ``python -m batch.hearing.fit FOLDER...``.

A folder holds takes (``NAME.flac``) with what was played (``NAME.truth.json``: ``notes`` as
[onset_s, offset_s, pitch_midi]). Needs scikit-learn. The weights that ship come from some 350
takes of 25 to 30 s: annotated jazz solos played by the sampled instruments of two General
MIDI banks, dry, noisy, in a room, with a band or a click bleeding in, with vibrato, bends and
ghost notes; takes that figures are quoted for had no part in it.
"""

import json
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
import soundfile as sf
from sklearn.neural_network import MLPClassifier
from sklearn.preprocessing import StandardScaler

from batch.hearing.boundaries import boundary_evidence
from batch.hearing.chunks import resampled
from batch.hearing.features import Floats
from batch.hearing.line import candidate_spans, struck
from batch.hearing.network import network
from batch.hearing.params import DEFAULTS
from batch.hearing.pitches import NONE, candidates, pitch_evidence, views_of
from batch.hearing.spans import Spans
from batch.hearing.stretch import Stretch

HERE = Path(__file__).parent
WINDOW_S = 0.05  # s, an onset this far off is still the same one
Example = tuple[Floats, np.ndarray]
Labelled = tuple[Floats, np.ndarray]  # samples at the analysis rate; notes (n, 3)


def takes_in(folders: Iterable[Path]) -> Iterator[Labelled]:
    """Yield every labelled take."""
    for truth in sorted(path for folder in folders for path in folder.glob("*.truth.json")):
        notes = np.array([note[:3] for note in json.loads(truth.read_text())["notes"]], dtype=float)
        samples, rate = sf.read(truth.with_name(truth.name.replace(".truth.json", ".flac")), dtype="float32", always_2d=True)
        heard = np.concatenate(list(resampled([samples.mean(axis=1)], rate, DEFAULTS.rate_hz)))
        yield heard / np.abs(heard).max(), notes


def nearest_pairs(truth_s: np.ndarray, found_s: np.ndarray) -> list[tuple[int, int]]:
    """Return pairs (truth, found) within WINDOW_S, nearest first, each used once."""
    near = [
        (abs(found_s[j] - onset), i, j)
        for i, onset in enumerate(truth_s)
        for j in range(*np.searchsorted(found_s, [onset - WINDOW_S, onset + WINDOW_S]))
    ]
    pairs: dict[int, int] = {}
    for _, i, j in sorted(near):
        if i not in pairs and j not in pairs.values():
            pairs[i] = j
    return list(pairs.items())


def onsets_s(spans: Spans) -> np.ndarray:
    """Return where spans start, in seconds."""
    return spans.start * DEFAULTS.hop / DEFAULTS.rate_hz + DEFAULTS.onset_bias_s


def boundary_examples(samples: Floats, notes: np.ndarray) -> Example:
    """Return evidence (n, columns) and whether each span begins a note (n,)."""
    spans, stretch = candidate_spans(samples, DEFAULTS)
    begins = np.zeros(len(spans), bool)
    begins[[j for _, j in nearest_pairs(notes[:, 0], onsets_s(spans))]] = True
    return boundary_evidence(spans, stretch), begins


def pitch_examples(samples: Floats, notes: np.ndarray) -> Example:
    """Return evidence (n, columns) and whether each candidate is the note's pitch (n,)."""
    spans, stretch = candidate_spans(samples, DEFAULTS)
    spans, _ = struck(spans, stretch, DEFAULTS)
    views = views_of(spans, stretch)
    options = candidates(views.body)
    truth = np.full(len(spans), -100)
    for i, j in nearest_pairs(notes[:, 0], onsets_s(spans)):
        truth[j] = round(notes[i, 2]) - DEFAULTS.lowest_midi
    right = options == truth[:, None]
    told = right.any(axis=1)[:, None] & (options != NONE)
    return pitch_evidence(spans, options, views, stretch, DEFAULTS)[told], right[told]


def fitted(examples: list[Example], hidden: tuple[int, ...]) -> list[tuple[Floats, Floats]]:
    """Return the layers of a network fitted to the examples, the scaling folded into the first."""
    evidence = np.concatenate([e for e, _ in examples])
    answer = np.concatenate([a for _, a in examples])
    scaler = StandardScaler().fit(evidence)
    model = MLPClassifier(hidden, alpha=0.01, early_stopping=True, n_iter_no_change=15, max_iter=200, random_state=0)
    model.fit(scaler.transform(evidence), answer)
    layers = [(w, b) for w, b in zip(model.coefs_, model.intercepts_, strict=True)]
    first = layers[0][0] / scaler.scale_[:, None]
    return [(first, layers[0][1] - scaler.mean_ @ first), *layers[1:]]


def write(name: str, layers: list[tuple[Floats, Floats]]) -> None:
    """Write a network where ``network`` finds it."""
    plain = [[np.round(w, 5).tolist(), np.round(b, 5).tolist()] for w, b in layers]
    (HERE / f"{name}.json").write_text(json.dumps({"layers": plain}, separators=(",", ":")) + "\n", encoding="utf-8")
    network.cache_clear()


def main(folders: list[str]) -> None:
    """Fit the verdict on beginnings, then the one on pitches, which looks at what the first leaves."""
    takes = list(takes_in(Path(folder) for folder in folders))
    write("boundaries", fitted([boundary_examples(*take) for take in takes], (40, 20)))
    write("pitches", fitted([pitch_examples(*take) for take in takes], (40, 20)))


if __name__ == "__main__":
    main(sys.argv[1:])
