"""A committee of small networks, fitted to examples: rectified layers, cross-entropy, and Adam [1]_.

All members are fitted side by side in float32, each with its own start and its own order of the
examples; the rate falls to nothing along half a cosine. The same examples give the same weights.

References
----------
.. [1] Kingma, D. P. and Ba, J. (2015). "Adam: a method for stochastic optimization". ICLR.
"""

from dataclasses import dataclass
from itertools import chain, pairwise

import numpy as np
from numpy.typing import NDArray

Matrix = NDArray[np.float32]
Layers = list[tuple[Matrix, Matrix]]

MEMBERS = 4  # networks in a committee: their mean varies less with chance
BATCH = 512
EPOCHS = 24
RATE = 3e-3  # of learning, at its highest
DECAY = 1e-2  # share of a weight lost per step and unit of rate
WARM_STEPS = 100  # over which the rate rises
KEEP, KEEP_SQUARE = 0.9, 0.999  # what Adam's means keep from step to step
TINY = 1e-8
LEAST_SPREAD = 1e-6  # a column that never varies is left as it is


@dataclass(slots=True)
class Adam:
    """The running means of one array's slopes, and the step they ask for."""

    mean: Matrix
    square: Matrix

    @classmethod
    def of(cls, values: Matrix) -> "Adam":
        """Start with nothing."""
        return cls(np.zeros_like(values), np.zeros_like(values))

    def step(self, slope: Matrix, number: int) -> Matrix:
        """Return how far to go against ``slope`` at a rate of 1; ``number`` counts from 1."""
        self.mean += np.float32(1.0 - KEEP) * (slope - self.mean)
        self.square += np.float32(1.0 - KEEP_SQUARE) * (slope**2 - self.square)
        mean = self.mean / np.float32(1.0 - KEEP**number)
        square = self.square / np.float32(1.0 - KEEP_SQUARE**number)
        return np.asarray(mean / (np.sqrt(square) + np.float32(TINY)))


def fitted(
    evidence: Matrix, answer: NDArray[np.bool_], hidden: tuple[int, ...], *, epochs: int = EPOCHS
) -> Layers:
    """Return weights (members, in, out) and biases (members, 1, out) of every layer of a committee.

    It is fitted to ``evidence`` (n, columns) and ``answer`` (n,).
    """
    middle = evidence.mean(axis=0, dtype=np.float64).astype(np.float32)
    spread = np.maximum(evidence.std(axis=0, dtype=np.float64), LEAST_SPREAD).astype(np.float32)
    sizes = (evidence.shape[1], *hidden, 1)
    members = _committee((evidence - middle) / spread, answer.astype(np.float32), sizes, epochs)
    (weights, bias), *others = members
    first = weights / spread[:, None]
    return [(first, bias - (middle @ first)[:, None]), *others]


def _committee(evidence: Matrix, answer: Matrix, sizes: tuple[int, ...], epochs: int) -> Layers:
    """Return the layers fitted to ``evidence`` of even spread."""
    rng = np.random.default_rng(0)
    layers = [
        (
            (rng.standard_normal((MEMBERS, a, b)) * np.sqrt(2.0 / a)).astype(np.float32),
            np.zeros((MEMBERS, 1, b), np.float32),
        )
        for a, b in pairwise(sizes)
    ]
    arrays = list(chain.from_iterable(layers))
    adams = [Adam.of(array) for array in arrays]
    batches = max(len(evidence) // BATCH, 1)
    number = 0
    for _ in range(epochs):
        orders = np.stack([rng.permutation(len(evidence)) for _ in range(MEMBERS)])
        for at in range(batches):
            number += 1
            rate = np.float32(_rate(number, batches * epochs))
            some = orders[:, at * BATCH : (at + 1) * BATCH]
            slopes = chain.from_iterable(_slopes(layers, evidence[some], answer[some][:, :, None]))
            for array, adam, slope in zip(arrays, adams, slopes, strict=True):
                array -= rate * adam.step(slope, number)  # noqa: PLW2901  in place
                if array.shape[1] > 1:  # a weight, not a bias
                    array -= rate * np.float32(DECAY) * array  # noqa: PLW2901  in place
    return layers


def _rate(number: int, last: int) -> float:
    """Return the rate of learning at step ``number`` of ``last``."""
    return RATE * min(number / WARM_STEPS, 1.0) * 0.5 * float(1.0 + np.cos(np.pi * number / last))


def _slopes(layers: Layers, evidence: Matrix, answer: Matrix) -> Layers:
    """Return how mean cross-entropy changes with each weight and bias; all arrays lead with the member."""
    values = [evidence]
    for weights, bias in layers[:-1]:
        values.append(np.maximum(values[-1] @ weights + bias, np.float32(0.0)))
    weights, bias = layers[-1]
    odds = values[-1] @ weights + bias
    error = (1.0 / (1.0 + np.exp(-odds)) - answer) / np.float32(evidence.shape[1])
    slopes: Layers = []
    for at in range(len(layers) - 1, -1, -1):
        inputs = values[at]
        slopes.append((inputs.transpose(0, 2, 1) @ error, error.sum(axis=1, keepdims=True)))
        if at:
            error = (error @ layers[at][0].transpose(0, 2, 1)) * (inputs > 0.0)
    return slopes[::-1]
