"""A small fitted network that turns evidence into a probability."""

import json
from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from batch.hearing.features import Floats

MOST_LOGIT = 30.0  # beyond it a probability is 0 or 1 in float32 anyway


@dataclass(frozen=True, slots=True)
class Network:
    """Layers (weights (in, out), bias (out,)), rectified between them; the last has one output."""

    layers: tuple[tuple[Floats, Floats], ...]

    def log_odds(self, evidence: NDArray[np.floating]) -> Floats:
        """Return (n,) log-odds for ``evidence`` (n, in)."""
        values = evidence.astype(np.float32)
        for weights, bias in self.layers[:-1]:
            values = np.maximum(values @ weights + bias, np.float32(0.0))
        weights, bias = self.layers[-1]
        return np.asarray(np.clip((values @ weights + bias)[:, 0], -MOST_LOGIT, MOST_LOGIT), dtype=np.float32)


@cache
def network(name: str) -> Network:
    """Return the network ``NAME.json`` that ships with this package."""
    text = resources.files(__package__).joinpath(f"{name}.json").read_text(encoding="utf-8")
    layers = json.loads(text)["layers"]
    return Network(tuple((np.array(w, dtype=np.float32), np.array(b, dtype=np.float32)) for w, b in layers))
