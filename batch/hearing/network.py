"""A committee of small fitted networks that turns evidence into a probability."""

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
    """Layers (weights (members, in, out), biases (members, 1, out)), rectified between them.

    The last has one output; what the members say is averaged.
    """

    layers: tuple[tuple[Floats, Floats], ...]

    def log_odds(self, evidence: NDArray[np.floating]) -> Floats:
        """Return (n,) log-odds for ``evidence`` (n, in)."""
        weights, bias = self.layers[-1]
        odds = self._hidden(evidence.astype(np.float32)) @ weights.reshape(-1)
        odds = odds / np.float32(len(weights)) + bias.mean()
        return np.asarray(np.clip(odds, -MOST_LOGIT, MOST_LOGIT), dtype=np.float32)

    def _hidden(self, evidence: Floats) -> Floats:
        """Return what the last layer reads, members side by side; the evidence where it is the only one."""
        values = evidence
        for at, (weights, bias) in enumerate(self.layers[:-1]):
            members, columns, width = weights.shape
            if at == 0:  # all read the same: one product is quicker
                values = values @ weights.transpose(1, 0, 2).reshape(columns, members * width)
                values += bias.reshape(-1)
                np.maximum(values, np.float32(0.0), out=values)
            else:
                own = values.reshape(len(values), members, -1).transpose(1, 0, 2)
                values = np.maximum(own @ weights + bias, np.float32(0.0)).transpose(1, 0, 2)
                values = values.reshape(len(evidence), members * width)
        return values


@cache
def network(name: str) -> Network:
    """Return the network ``NAME.json`` that ships with this package."""
    text = resources.files(__package__).joinpath(f"{name}.json").read_text(encoding="utf-8")
    layers = json.loads(text)["layers"]
    return Network(
        tuple(_layer(np.array(w, dtype=np.float32), np.array(b, dtype=np.float32)) for w, b in layers)
    )


def _layer(weights: Floats, bias: Floats) -> tuple[Floats, Floats]:
    """Return a layer with its members in front; weights (in, out) are those of a committee of one."""
    members = weights if weights.ndim == 3 else weights[None]  # noqa: PLR2004  axes
    return members, bias.reshape(len(members), 1, -1)
