"""Where in the beat a note stands, judged by a small network from what the note sees around it."""

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

from batch.beats.alone.view import Events, Matrix, views

MODEL_FILE = "alone.json"

PLACES = 24
"""Places in the beat that the network tells apart: halves, thirds, quarters and eighths of it fall
on one (our choice)."""

NO_BEAT = PLACES
"""The network's last answer: a beat of this period is not what the note belongs to."""

BLOCK = 32
"""Events judged at a time: what they see stays in the processor's cache (our choice)."""

LEAST = 1e-4
"""A place is never quite ruled out (our choice)."""


@dataclass(frozen=True, slots=True)
class Judge:
    """Layers of weights (in, out) and biases (out,), rectified between them; a softmax at the end."""

    layers: tuple[tuple[Matrix, Matrix], ...]

    def answers(self, seen: Matrix) -> Matrix:
        """Return (m, PLACES + 1) probabilities of each place, and of no beat, for views ``seen``."""
        values = seen
        for weights, bias in self.layers[:-1]:
            values = values @ weights
            values += bias
            np.maximum(values, np.float32(0.0), out=values)
        weights, bias = self.layers[-1]
        odds = values @ weights + bias
        odds -= odds.max(axis=1, keepdims=True)
        np.exp(odds, out=odds)
        odds /= odds.sum(axis=1, keepdims=True)
        return odds

    def log_places(self, events: Events, at: slice, period_s: np.ndarray) -> Matrix:
        """Return what events ``at`` say of periods and places, (n, periods, PLACES), 0 by chance.

        It is the log of the probability of a place over that of any place by chance: low where
        the period is no beat.
        """
        index = np.arange(len(events.onset_s))[at]
        said = np.empty((len(index), len(period_s), PLACES), np.float32)
        for start in range(0, len(index), BLOCK):
            some = index[start : start + BLOCK]
            pairs = np.repeat(some, len(period_s)), np.tile(period_s, len(some))
            answers = self.answers(views(events, *pairs))[:, :PLACES]
            said[start : start + BLOCK] = answers.reshape(len(some), len(period_s), PLACES)
        said *= PLACES
        said += np.float32(LEAST)
        return np.log(said, out=said)


@cache
def learned() -> dict[str, object]:
    """Return the numbers that ``python -m batch.beats.alone.fit`` wrote."""
    return dict(json.loads(files(__package__).joinpath(MODEL_FILE).read_text(encoding="utf-8")))


@cache
def load_judge() -> Judge:
    """Return the network that ships with this package."""
    layers = learned()["judge"]
    assert isinstance(layers, list)
    return Judge(tuple((np.array(w, dtype=np.float32), np.array(b, dtype=np.float32)) for w, b in layers))
