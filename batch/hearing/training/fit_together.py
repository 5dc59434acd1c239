"""Fit what tells chords from lines again: ``python -m batch.hearing.training.fit_together FOLDER...``.

The folders hold what ``band_material`` and ``material`` make. The weights that ship come from 256
takes of the one and 81 of the other, of 25 s each.
"""

import json
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import soundfile as sf

from batch.hearing.attacks import Attacks, attacks_of
from batch.hearing.features import Floats, frames_of
from batch.hearing.line import candidate_spans
from batch.hearing.params import DEFAULTS
from batch.hearing.texture import struck_in, texture_evidence
from batch.hearing.together import LATER_S, LOOKS_S, looks_at, struck_evidence, weighed
from batch.hearing.training.fit import write
from batch.hearing.training.fitting import fitted
from batch.hearing.training.logistic import logistic

BEFORE_S, AFTER_S = 0.05, 0.05  # s around an attack in which a note that starts is part of it
Truth = dict[str, Any]
EXAMPLES = 400_000  # at most: more tell nothing new and take hours


def takes_in(folders: Iterable[Path]) -> Iterator[tuple[Floats, Truth]]:
    """Yield every take's samples, peak 1, and its truth."""
    for truth in sorted(path for folder in folders for path in folder.glob("*.truth.json")):
        samples = sf.read(truth.with_name(truth.name.replace(".truth.json", ".flac")), dtype="float32")[0]
        yield samples / np.abs(samples).max(), json.loads(truth.read_text())


def free_attacks(samples: Floats) -> Attacks:
    """Return the attacks after which there is time for both looks."""
    attacks = attacks_of(candidate_spans(frames_of(samples, DEFAULTS), DEFAULTS)[1], DEFAULTS)
    return attacks.only((attacks.next - attacks.last) * DEFAULTS.hop / DEFAULTS.rate_hz >= LOOKS_S)


def started(notes: np.ndarray, attacks: Attacks, attack: np.ndarray, pitch: np.ndarray) -> np.ndarray:
    """Return (k,) whether a note (n, 3) at ``pitch`` starts at each ``attack`` and stays for a while."""
    frame_s = DEFAULTS.hop / DEFAULTS.rate_hz
    from_s = attacks.first[attack] * frame_s - BEFORE_S
    to_s = attacks.last[attack] * frame_s + AFTER_S
    right = np.zeros(len(attack), bool)
    for onset, offset, midi in notes:
        right |= (pitch == round(midi)) & (onset >= from_s) & (onset <= to_s) & (offset > to_s + LATER_S / 2)
    return right


def examples(samples: Floats, truth: Truth) -> tuple[Floats, np.ndarray]:
    """Return evidence (k, columns) and whether each weighed pitch was struck (k,)."""
    attacks = free_attacks(samples)
    looks = looks_at(samples, attacks.first * DEFAULTS.hop, attacks.last * DEFAULTS.hop, DEFAULTS.rate_hz)
    attack, pitch = weighed(looks)
    notes = np.array(truth["notes"], dtype=float).reshape(-1, 3)
    return struck_evidence(looks, attack, pitch), started(notes, attacks, attack, pitch)


def fit_texture(takes: Iterable[tuple[Floats, Truth]]) -> None:
    """Fit the two verdicts on what ``together`` finds: more than a line, and if so, a band."""
    rows, kinds = [], []
    for samples, truth in takes:
        stretch = candidate_spans(frames_of(samples, DEFAULTS), DEFAULTS)[1]
        evidence = texture_evidence([struck_in(samples, stretch, DEFAULTS)])
        if evidence is not None and truth["notes"]:
            rows.append(evidence[0])
            kinds.append(truth.get("kind", "line"))
    evidence, kind = np.array(rows), np.array(kinds)
    write("more", logistic(evidence, kind != "line", balanced=True))
    write("band", logistic(evidence[kind != "line"], kind[kind != "line"] == "band", balanced=True))


def main(folders: list[str]) -> None:
    """Fit the network that weighs which pitches start together."""
    told = [examples(*take) for take in takes_in(Path(folder) for folder in folders)]
    evidence, right = (np.concatenate(parts) for parts in zip(*told, strict=True))
    chosen = np.random.default_rng(0).permutation(len(right))[:EXAMPLES]
    write("together", fitted(evidence[chosen], right[chosen], (32, 16)))
    fit_texture(takes_in(Path(folder) for folder in folders))


if __name__ == "__main__":
    main(sys.argv[1:])
