"""Frames to activations: how likely a beat, and the first of a bar, is at each frame, by a fitted network.

A temporal convolutional network as that of Davies & Böck (2019, "Temporal convolutional networks
for musical audio beat tracking", EUSIPCO), smaller: one layer a dilation, and both answers at once,
as Böck & Davies (2020, ISMIR) have them.
"""

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np

from batch.beats.companion.pieces import Floats
from batch.beats.companion.spectra import COLUMNS, FRAMES_A_S, REFERENCE, inputs_of

KERNEL = 5
"""Frames a layer reads, ``dilation`` apart."""
DILATIONS = (1, 2, 4, 8, 16, 32, 64, 128)
SEES = REFERENCE + (KERNEL // 2) * (1 + sum(DILATIONS)) + 2
"""Frames to either side that an answer depends on."""
STEP = 30 * FRAMES_A_S
"""Frames answered at once: what is held does not grow with the length."""


@dataclass(frozen=True, slots=True)
class Ear:
    """Weights: first layer (KERNEL, inputs, width), each dilation's, and the two answers' (width, 2)."""

    first: tuple[Floats, Floats]
    deeper: tuple[tuple[Floats, Floats], ...]
    last: tuple[Floats, Floats]

    def hears(self, inputs: Floats) -> Floats:
        """Return (frames, 2) probabilities of a beat and of a bar's first."""
        values = np.maximum(_convolved(inputs, *self.first, 1), np.float32(0.0))
        for (weights, bias), dilation in zip(self.deeper, DILATIONS, strict=True):
            values = values + np.maximum(_convolved(values, weights, bias, dilation), np.float32(0.0))
        odds = values @ self.last[0] + self.last[1]
        return np.asarray(1.0 / (1.0 + np.exp(-np.clip(odds, -30.0, 30.0))), dtype=np.float32)


def _convolved(values: Floats, weights: Floats, bias: Floats, dilation: int) -> Floats:
    """Return (frames, out): nothing sounds beyond the edges."""
    reach = KERNEL // 2 * dilation
    padded = np.pad(values, ((reach, reach), (0, 0)))
    total = np.broadcast_to(bias, (len(values), len(bias))).copy()
    for tap in range(KERNEL):
        total += padded[tap * dilation : tap * dilation + len(values)] @ weights[tap]
    return total


@cache
def ear() -> Ear:
    """Return the network that ships with this package."""
    text = resources.files(__package__).joinpath("ear.json").read_text(encoding="utf-8")
    layers = [
        (np.array(weights, np.float32), np.array(bias, np.float32))
        for weights, bias in json.loads(text)["layers"]
    ]
    return Ear(layers[0], tuple(layers[1:-1]), layers[-1])


def activations(parts: Iterable[Floats], listener: Ear | None = None) -> Iterator[Floats]:
    """Yield what ``listener`` hears in ``parts`` of spectra (n, COLUMNS), in arrays of STEP frames at most.

    The answers do not depend on how the spectra are parted.
    """
    listener = listener or ear()
    held, before = np.zeros((0, COLUMNS), np.float32), 0
    for part in parts:
        held = np.concatenate([held, part])
        while len(held) >= before + STEP + SEES:
            yield listener.hears(inputs_of(held[: before + STEP + SEES]))[before : before + STEP]
            drop = max(0, before + STEP - SEES)
            held, before = held[drop:], before + STEP - drop
    if len(held) > before:
        yield listener.hears(inputs_of(held))[before:]
