"""Fit the five networks again: ``python -m batch.hearing.fit FOLDER...``.

A folder holds takes (``NAME.flac``) with what was played (``NAME.truth.json``: ``notes`` as
[onset_s, offset_s, pitch_midi]); ``material`` makes such folders. Needs scikit-learn, ten
minutes and 6 GB.

The weights that ship come from 1050 takes of 12 to 30 s: 420 by ``material`` as it was, 610 by
what it grew out of, 20 of a text-to-speech program. Annotated jazz solos played by the sampled
instruments of two General MIDI banks, dry, noisy, in a room, with a band or a click bleeding
in, with vibrato, bends, ghost notes and at double speed; the same sung, blown and plucked by
synthesis with glides, breath and consonants; speech, hum, noise and rumble without a note.
"""

import json
import sys
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import numpy as np
import soundfile as sf
from scipy.linalg import block_diag
from sklearn.neural_network import MLPClassifier
from sklearn.preprocessing import StandardScaler

from batch.hearing.belonging import belonging_evidence
from batch.hearing.boundaries import boundary_evidence
from batch.hearing.chunks import resampled
from batch.hearing.features import Floats, Frames, frames_of
from batch.hearing.line import candidate_spans, found_notes, line_spans, struck
from batch.hearing.moments import attack_evidence, attack_options, owners, release_evidence
from batch.hearing.network import network
from batch.hearing.params import DEFAULTS
from batch.hearing.pitches import NONE, candidates, pitch_evidence, views_of
from batch.hearing.spans import Spans
from batch.hearing.stretch import Stretch

HERE = Path(__file__).parent
MOMENT_FRAMES = 1.5  # a frame this near the true moment is it
WINDOW_S = 0.05  # s, an onset this far off is still the same one
EVERY_ATTACK, EVERY_RELEASE = 3, 6  # takes of which one is used: every frame of a note is an example
MEMBERS = 4  # networks in a committee: their mean varies less with chance
Layers = list[tuple[np.ndarray, np.ndarray]]
Example = tuple[Floats, np.ndarray]
Labelled = tuple[Frames, np.ndarray]  # and notes (n, 3)


def takes_in(folders: Iterable[Path]) -> Iterator[Labelled]:
    """Yield every labelled take."""
    for truth in sorted(path for folder in folders for path in folder.glob("*.truth.json")):
        notes = np.array([note[:3] for note in json.loads(truth.read_text())["notes"]], dtype=float).reshape(
            -1, 3
        )
        samples, rate = sf.read(
            truth.with_name(truth.name.replace(".truth.json", ".flac")), dtype="float32", always_2d=True
        )
        heard = np.concatenate(list(resampled([samples.mean(axis=1)], rate, DEFAULTS.rate_hz)))
        yield frames_of(heard / np.abs(heard).max(), DEFAULTS), notes


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


def boundary_examples(frames: Frames, notes: np.ndarray) -> Example | None:
    """Return evidence (n, columns) and whether each span begins a note (n,); None without spans."""
    spans, stretch = candidate_spans(frames, DEFAULTS)
    if not len(spans):
        return None
    begins = np.zeros(len(spans), bool)
    begins[[j for _, j in nearest_pairs(notes[:, 0], onsets_s(spans))]] = True
    return boundary_evidence(spans, stretch), begins


def pitch_examples(frames: Frames, notes: np.ndarray) -> Example | None:
    """Return evidence (n, columns) and whether each candidate is the pitch (n,); None without notes."""
    spans, stretch = candidate_spans(frames, DEFAULTS)
    spans, _ = struck(spans, stretch, DEFAULTS)
    if not len(spans) or not len(notes):
        return None
    views = views_of(spans, stretch)
    options = candidates(views.body)
    truth = np.full(len(spans), -100)
    for i, j in nearest_pairs(notes[:, 0], onsets_s(spans)):
        truth[j] = round(notes[i, 2]) - DEFAULTS.lowest_midi
    right = options == truth[:, None]
    told = right.any(axis=1)[:, None] & (options != NONE)
    return pitch_evidence(spans, options, views, stretch, DEFAULTS)[told], right[told]


def belonging_examples(frames: Frames, notes: np.ndarray) -> Example | None:
    """Return evidence (n, columns) and whether each found note is the line's (n,); None without any."""
    spans, stretch = candidate_spans(frames, DEFAULTS)
    found = found_notes(spans, stretch, DEFAULTS)
    if not len(found.spans):
        return None
    belongs = np.zeros(len(found.spans), bool)
    belongs[[j for _, j in nearest_pairs(notes[:, 0], onsets_s(found.spans))]] = True
    return belonging_evidence(found.spans, found.begin_odds, found.right, stretch), belongs


def attack_examples(frames: Frames, notes: np.ndarray) -> Example | None:
    """Return evidence (n, columns) and whether a note truly starts at that frame (n,); None without notes."""
    spans, truth, stretch = told_spans(frames, notes)
    if not len(spans):
        return None
    options = attack_options(spans, stretch)
    right = np.abs(options - truth[:, :1]) <= MOMENT_FRAMES
    told = (options >= 0) & right.any(axis=1)[:, None]
    return attack_evidence(spans, options, stretch)[told], right[told]


def release_examples(frames: Frames, notes: np.ndarray) -> Example | None:
    """Return evidence (n, columns) and whether a note truly ends at that frame (n,); None without notes."""
    spans, truth, stretch = told_spans(frames, notes)
    if not len(spans):
        return None
    owner = owners(spans, stretch)
    moments = np.flatnonzero(owner >= 0)
    moments = moments[truth[owner[moments], 1] > 0]
    right = np.abs(moments - truth[owner[moments], 1]) <= MOMENT_FRAMES
    return release_evidence(spans, owner, moments, stretch), right


def told_spans(frames: Frames, notes: np.ndarray) -> tuple[Spans, np.ndarray, Stretch]:
    """Return the line's spans, their true first and last frames (n, 2; -99 unknown), and the stretch."""
    spans, stretch = candidate_spans(frames, DEFAULTS)
    spans = line_spans(spans, stretch, DEFAULTS)[0]
    truth = np.full((len(spans), 2), -99.0)
    for i, j in nearest_pairs(notes[:, 0], onsets_s(spans)):
        truth[j] = notes[i, :2] * DEFAULTS.rate_hz / DEFAULTS.hop
    return spans, truth, stretch


def fitted(examples: list[Example | None], hidden: tuple[int, ...]) -> Layers:
    """Return the layers of a committee of networks fitted to the examples, as one network."""
    told = [example for example in examples if example is not None]
    evidence = np.concatenate([e for e, _ in told])
    answer = np.concatenate([a for _, a in told])
    scaler = StandardScaler().fit(evidence)
    members = [_member(scaler.transform(evidence), answer, hidden, seed) for seed in range(MEMBERS)]
    joined = [_side_by_side(layer, first=at == 0) for at, layer in enumerate(zip(*members, strict=True))]
    weights, bias = joined[-1]
    joined[-1] = (weights.sum(axis=1, keepdims=True) / MEMBERS, bias.mean(keepdims=True))
    first = joined[0][0] / scaler.scale_[:, None]
    return [(first, joined[0][1] - scaler.mean_ @ first), *joined[1:]]


def _member(evidence: np.ndarray, answer: np.ndarray, hidden: tuple[int, ...], seed: int) -> Layers:
    model = MLPClassifier(
        hidden, alpha=0.01, early_stopping=True, n_iter_no_change=15, max_iter=200, random_state=seed
    )
    model.fit(evidence, answer)
    return list(zip(model.coefs_, model.intercepts_, strict=True))


def _side_by_side(
    layers: Sequence[tuple[np.ndarray, np.ndarray]], *, first: bool
) -> tuple[np.ndarray, np.ndarray]:
    """Return one layer that does what all do: on the same input the first, each on its own part after."""
    weights = [w for w, _ in layers]
    joined = np.concatenate(weights, axis=1) if first else block_diag(*weights)
    return joined, np.concatenate([b for _, b in layers])


def write(name: str, layers: Layers) -> None:
    """Write a network where ``network`` finds it."""
    plain = [[np.round(w, 4).tolist(), np.round(b, 4).tolist()] for w, b in layers]
    (HERE / f"{name}.json").write_text(
        json.dumps({"layers": plain}, separators=(",", ":")) + "\n", encoding="utf-8"
    )
    network.cache_clear()


def main(folders: list[str]) -> None:
    """Fit the five verdicts in order: each looks at what the one before leaves."""
    takes = list(takes_in(Path(folder) for folder in folders))
    write("boundaries", fitted([boundary_examples(*take) for take in takes], (64, 32)))
    write("pitches", fitted([pitch_examples(*take) for take in takes], (48, 24)))
    write("belonging", fitted([belonging_examples(*take) for take in takes], (64, 32)))
    write("attacks", fitted([attack_examples(*take) for take in takes[::EVERY_ATTACK]], (24,)))
    write("releases", fitted([release_examples(*take) for take in takes[::EVERY_RELEASE]], (24,)))


if __name__ == "__main__":
    main(sys.argv[1:])
