"""Fit what chooses among a pulse, its half and its double.

``python -m batch.beats.companion.training.fit_levels BANK...`` prints ``CHOICE`` and ``CONFIDENCE`` of
``batch.beats.companion.backing``, for the network that ships. Needs fluidsynth and scikit-learn, and mir_eval
to say which level is right.
"""

import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import mir_eval
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from sklearn.linear_model import LogisticRegression

from batch.beats.companion.backing import SOFT, Heard, levels_of
from batch.beats.companion.ear import activations
from batch.beats.companion.pieces import pieces
from batch.beats.companion.spectra import FRAMES_A_S, spectra_in
from batch.beats.companion.training.band import RATE_HZ, Backing, backing

SEEDS = (*range(0, 300, 2), *range(360, 420))
"""Every other backing that the network was fitted on, and those that it was not."""
CHOSEN_FROM, RIGHT_FROM = 0.85, 0.9
"""F of beats from which a level is the one to choose, and from which its beats are right."""
SHRINK = 0.02

Level = tuple[float, tuple[float, ...]]
"""F of its beats, and its signs."""


def levels_heard(one: Backing) -> list[Level]:
    """Return every level of a backing: how right it is, and what is heard of it."""
    activation = np.concatenate(list(activations(map(spectra_in, pieces([one.samples], RATE_HZ)))))
    return [
        (_f(one.beats_s, heard), heard.signs) for heard in levels_of(activation, (one.beats_per_bar,), None)
    ]


def _f(beats_s: NDArray[np.float64], heard: Heard) -> float:
    trimmed = (mir_eval.beat.trim_beats(times) for times in (beats_s, heard.frames / FRAMES_A_S))
    return float(mir_eval.beat.f_measure(*trimmed))


def choice_of(backings: Sequence[list[Level]]) -> NDArray[np.float64]:
    """Return weights of the signs under which right levels are the likeliest (a conditional logit)."""
    spread = np.concatenate([[signs for _, signs in levels] for levels in backings]).std(axis=0)
    cases = [
        (np.array([signs for _, signs in levels]) / spread, np.array([f >= CHOSEN_FROM for f, _ in levels]))
        for levels in backings
        if any(f >= CHOSEN_FROM for f, _ in levels)
    ]

    def loss(weights: NDArray[np.float64]) -> float:
        odds = [(signs @ weights, right) for signs, right in cases]
        logs = [np.logaddexp.reduce(o[right]) - np.logaddexp.reduce(o) for o, right in odds]
        return float(-np.mean(logs) + SHRINK * (weights**2).sum())

    return np.asarray(minimize(loss, np.zeros(len(spread))).x / spread)


def confidence_of(backings: Sequence[list[Level]], weights: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the constant and weights of the log-odds that the chosen level is right."""
    evidence, right = [], []
    for levels in backings:
        worth = np.array([signs for _, signs in levels]) @ weights
        best = int(worth.argmax())
        share = 1.0 / np.exp(worth - worth[best]).sum()
        signs = levels[best][1]
        evidence.append((np.log((share + SOFT) / (1 - share + SOFT)), signs[0], signs[-1]))
        right.append(levels[best][0] >= RIGHT_FROM)
    fitted = LogisticRegression().fit(np.array(evidence), right)
    return np.concatenate([fitted.intercept_, fitted.coef_[0]])


def backings_on(banks: Sequence[Path]) -> Iterator[list[Level]]:
    """Yield the levels of all backings that have any."""
    for seed in SEEDS:
        if levels := levels_heard(backing(np.random.default_rng(seed), banks[seed % len(banks)])):
            yield levels


def main() -> None:
    """Make the material, fit, and print."""
    backings = list(backings_on([Path(name) for name in sys.argv[1:]]))
    weights = choice_of(backings)
    print("CHOICE", np.round(weights, 2).tolist())
    print("CONFIDENCE", np.round(confidence_of(backings, weights), 2).tolist())


if __name__ == "__main__":
    main()
