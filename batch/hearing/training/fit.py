"""Fit the five networks again: ``python -m batch.hearing.training.fit FOLDER...``.

A folder holds takes (``NAME.flac``) with what was played (``NAME.truth.json``: ``notes`` as
[onset_s, offset_s, pitch_midi]); ``material`` makes such folders. Needs 10 GB.

Each network that ships is a committee of eight. Four (the first EARLIER) were fitted before, on
1050 takes of 12 to 30 s by a simpler ``material`` and by what that grew out of, and cannot be made
again: they stay as they are, reading none of the evidence that came later. The other four are what
this module makes of takes 0 to 891 and 900 to 959 of ``material``; in ``belonging`` of takes 0 to
699, because with all of them it gave up whole lines of plain synthetic tones. Alone (``--alone``)
the new four hear a real voice worse than the earlier four; together they hear sounds that neither
was fitted on better than the earlier four alone, and a real voice's notes as well.
"""

import json
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile as sf

from batch.hearing.belonging import belonging_evidence
from batch.hearing.boundaries import boundary_evidence
from batch.hearing.chunks import resampled
from batch.hearing.features import Floats, frames_of
from batch.hearing.line import candidate_spans, found_notes, line_spans, struck
from batch.hearing.moments import attack_evidence, attack_options, owners, release_evidence
from batch.hearing.network import network
from batch.hearing.params import DEFAULTS
from batch.hearing.pitches import NONE, candidates, pitch_evidence, views_of
from batch.hearing.spans import Spans
from batch.hearing.stretch import Stretch
from batch.hearing.training.fitting import Layers, Matrix, fitted

EAR = Path(__file__).parent.parent  # where the networks lie
MOMENT_FRAMES = 1.5  # a frame this near the true moment is it
WINDOW_S = 0.05  # s, an onset this far off is still the same one
EVERY_ATTACK, EVERY_RELEASE = 2, 4  # takes of which one is used: every frame of a note is an example
EARLIER = 4  # members of each network that ships, fitted before this material was
ALONE = "--alone"  # leaves them out
DIGITS = 4  # of a weight that are kept
SAME_PITCH = 0.55  # semitones: as near as a note between two semitones is to both
Example = tuple[Floats, np.ndarray]


@dataclass(frozen=True, slots=True)
class Labelled:
    """A take's candidate spans, the stretch they lie in, and the notes (n, 3) that were played."""

    spans: Spans
    stretch: Stretch
    notes: np.ndarray


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
        spans, stretch = candidate_spans(frames_of(heard / np.abs(heard).max(), DEFAULTS), DEFAULTS)
        yield Labelled(spans, stretch, notes)


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


def boundary_examples(take: Labelled) -> Example | None:
    """Return evidence (n, columns) and whether each span begins a note (n,); None without spans."""
    if not len(take.spans):
        return None
    begins = np.zeros(len(take.spans), bool)
    begins[[j for _, j in nearest_pairs(take.notes[:, 0], onsets_s(take.spans))]] = True
    return boundary_evidence(take.spans, take.stretch), begins


def pitch_examples(take: Labelled) -> Example | None:
    """Return evidence (n, columns) and whether each candidate is the pitch (n,); None without notes."""
    stretch = take.stretch
    spans, _ = struck(take.spans, stretch, DEFAULTS)
    if not len(spans) or not len(take.notes):
        return None
    views = views_of(spans, stretch)
    options = candidates(views.body)
    truth = np.full(len(spans), -100.0)
    for i, j in nearest_pairs(take.notes[:, 0], onsets_s(spans)):
        truth[j] = take.notes[i, 2] - DEFAULTS.lowest_midi
    right = np.abs(options - truth[:, None]) <= SAME_PITCH
    told = right.any(axis=1)[:, None] & (options != NONE)
    return pitch_evidence(spans, options, views, stretch, DEFAULTS)[told], right[told]


def belonging_examples(take: Labelled) -> Example | None:
    """Return evidence (n, columns) and whether each found note is the line's (n,); None without any."""
    found = found_notes(take.spans, take.stretch, DEFAULTS)
    if not len(found.spans):
        return None
    belongs = np.zeros(len(found.spans), bool)
    belongs[[j for _, j in nearest_pairs(take.notes[:, 0], onsets_s(found.spans))]] = True
    return belonging_evidence(found.spans, found.begin_odds, found.right, take.stretch), belongs


def attack_examples(take: Labelled) -> Example | None:
    """Return evidence (n, columns) and whether a note truly starts at that frame (n,); None without notes."""
    spans, truth = told_spans(take)
    stretch = take.stretch
    if not len(spans):
        return None
    options = attack_options(spans, stretch)
    right = np.abs(options - truth[:, :1]) <= MOMENT_FRAMES
    told = (options >= 0) & right.any(axis=1)[:, None]
    return attack_evidence(spans, options, stretch)[told], right[told]


def release_examples(take: Labelled) -> Example | None:
    """Return evidence (n, columns) and whether a note truly ends at that frame (n,); None without notes."""
    spans, truth = told_spans(take)
    stretch = take.stretch
    if not len(spans):
        return None
    owner = owners(spans, stretch)
    moments = np.flatnonzero(owner >= 0)
    moments = moments[truth[owner[moments], 1] > 0]
    right = np.abs(moments - truth[owner[moments], 1]) <= MOMENT_FRAMES
    return release_evidence(spans, owner, moments, stretch), right


def told_spans(take: Labelled) -> tuple[Spans, np.ndarray]:
    """Return the line's spans and their true first and last frames (n, 2; -99 unknown)."""
    spans = line_spans(take.spans, take.stretch, DEFAULTS)[0]
    truth = np.full((len(spans), 2), -99.0)
    for i, j in nearest_pairs(take.notes[:, 0], onsets_s(spans)):
        truth[j] = take.notes[i, :2] * DEFAULTS.rate_hz / DEFAULTS.hop
    return spans, truth


def learnt(examples: Iterable[Example | None], hidden: tuple[int, ...]) -> Layers:
    """Return the layers of a network fitted to the examples of all takes."""
    told = [example for example in examples if example is not None]
    return fitted(np.concatenate([e for e, _ in told]), np.concatenate([a for _, a in told]), hidden)


def write(name: str, layers: Layers) -> None:
    """Write a network where ``network`` finds it."""
    plain = [[_rounded(weights), _rounded(bias[:, 0])] for weights, bias in layers]
    (EAR / f"{name}.json").write_text(
        json.dumps({"layers": plain}, separators=(",", ":")) + "\n", encoding="utf-8"
    )
    network.cache_clear()


def _rounded(values: Matrix) -> list[Any]:
    """Return ``values`` as nested lists of DIGITS significant digits."""
    return np.vectorize(lambda value: float(f"{value:.{DIGITS}g}"), otypes=[float])(values).tolist()


def beside_earlier(name: str, layers: Layers) -> Layers:
    """Return a committee of ``layers`` and the earlier members of the network that ships."""
    return [
        (np.concatenate([w[:EARLIER], weights]), np.concatenate([b[:EARLIER], bias]))
        for (w, b), (weights, bias) in zip(network(name).layers, layers, strict=True)
    ]


def main(arguments: list[str]) -> None:
    """Fit the five verdicts in order: each looks at what the one before leaves."""
    takes = list(takes_in(Path(folder) for folder in arguments if folder != ALONE))

    def fit(name: str, examples: Iterable[Example | None], hidden: tuple[int, ...]) -> None:
        layers = learnt(examples, hidden)
        write(name, layers if ALONE in arguments else beside_earlier(name, layers))

    fit("boundaries", (boundary_examples(take) for take in takes), (64, 32))
    fit("pitches", (pitch_examples(take) for take in takes), (48, 24))
    fit("belonging", (belonging_examples(take) for take in takes), (64, 32))
    fit("attacks", (attack_examples(take) for take in takes[::EVERY_ATTACK]), (24,))
    fit("releases", (release_examples(take) for take in takes[::EVERY_RELEASE]), (24,))


if __name__ == "__main__":
    main(sys.argv[1:])
