"""Fit what hears beats in a backing: ``python -m batch.beats.companion.training.fit BANK... OUT``.

BANK are sound fonts that the invented band of ``band`` plays on, OUT is where the weights go. Needs
fluidsynth and PyTorch, which nothing else here does. Takes about a quarter of an hour on one core.

The weights that ship were fitted in two goes of 18 epochs, on the first 300 of these backings and then, from
there, on the first 360; the other 60 were left to measure with. A fit made now is another, alike.
"""

import json
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray

from batch.beats.companion.ear import DILATIONS, KERNEL
from batch.beats.companion.pieces import Floats, pieces
from batch.beats.companion.spectra import BANDS, FRAMES_A_S, INPUTS, inputs_of, spectra_in
from batch.beats.companion.training.band import RATE_HZ, Backing, backing

BACKINGS = 420
WIDTH = 20
EPOCHS = 36
BATCH, CROP = 8, 20 * FRAMES_A_S
RATE = 4e-3
STRETCHES = (0.85, 1.18)
NEAR = 0.5
"""Weight of a frame beside a beat: Böck & Davies (2020)."""
PLACES = 4

Example = tuple[Floats, NDArray[np.float64], NDArray[np.float64]]
"""Spectra (frames, columns), frames of the beats, frames of the bars' first."""


class Net(torch.nn.Module):
    """The network of ``ear``, as PyTorch has it."""

    def __init__(self) -> None:
        super().__init__()
        reach = KERNEL // 2
        self.first = torch.nn.Conv1d(INPUTS, WIDTH, KERNEL, padding=reach)
        self.deeper = torch.nn.ModuleList(
            torch.nn.Conv1d(WIDTH, WIDTH, KERNEL, padding=reach * d, dilation=d) for d in DILATIONS
        )
        self.last = torch.nn.Conv1d(WIDTH, 2, 1)
        self.dropout = torch.nn.Dropout1d(0.1)

    def forward(self, inputs: torch.Tensor) -> torch.Tensor:
        """Return log-odds (batch, 2, frames) for ``inputs`` (batch, INPUTS, frames)."""
        values = torch.relu(self.first(inputs))
        for layer in self.deeper:
            values = values + self.dropout(torch.relu(layer(values)))
        return self.last(values)


def example_of(one: Backing) -> Example:
    """Return the spectra of a backing, and where its beats are."""
    spectra = np.concatenate([spectra_in(piece) for piece in pieces([one.samples], RATE_HZ)])
    beats = one.beats_s * FRAMES_A_S
    return spectra, beats, beats[one.beat_in_bar == 1]


def crop(rng: np.random.Generator, example: Example) -> tuple[Floats, Floats]:
    """Return inputs and targets (CROP, 2) of a stretch of an example, at another speed, bands left out."""
    spectra, beats, firsts = example
    stretch = float(np.exp(rng.uniform(*np.log(STRETCHES))))
    start = rng.uniform(0, max(1.0, len(spectra) - CROP * stretch))
    at = start + np.arange(CROP) * stretch
    low = np.clip(at.astype(int), 0, len(spectra) - 2)
    share = np.clip(at - low, 0, 1)[:, None].astype(np.float32)
    inputs = inputs_of(spectra[low] * (1 - share) + spectra[low + 1] * share)
    if rng.random() < 0.3:
        edge = int(rng.integers(2, 10))
        unheard = slice(0, edge) if rng.random() < 0.5 else slice(BANDS - edge, BANDS)
        inputs[:, unheard] = 0
        inputs[:, BANDS:][:, unheard] = 0
    return inputs, np.stack([_target((places - start) / stretch) for places in (beats, firsts)], axis=1)


def _target(places: NDArray[np.float64]) -> Floats:
    frames = np.round(places[(places > 1) & (places < CROP - 2)]).astype(int)
    target = np.zeros(CROP, np.float32)
    for off, weight in ((-2, NEAR / 2), (2, NEAR / 2), (-1, NEAR), (1, NEAR), (0, 1.0)):
        target[np.clip(frames + off, 0, CROP - 1)] = weight
    return target


def fitted(examples: Sequence[Example], epochs: int = EPOCHS, seed: int = 1) -> Net:
    """Return the network fitted on ``examples``."""
    torch.manual_seed(seed)
    torch.set_num_threads(1)
    rng = np.random.default_rng(seed)
    net = Net()
    optimizer = torch.optim.Adam(net.parameters(), lr=RATE)
    steps = epochs * (len(examples) // BATCH)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimizer, RATE, total_steps=steps)
    weigh = torch.tensor([1.0, 1.0])[None, :, None]
    for epoch in range(epochs):
        losses = []
        for batch in _batches(rng, examples):
            inputs, targets = (
                torch.from_numpy(np.stack(part)).transpose(1, 2) for part in zip(*batch, strict=True)
            )
            loss = torch.nn.functional.binary_cross_entropy_with_logits(net(inputs), targets, weight=weigh)
            optimizer.zero_grad()
            loss.backward()
            torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
            optimizer.step()
            schedule.step()
            losses.append(float(loss))
        print(f"{epoch + 1}/{epochs}: loss {np.mean(losses):.4f}", flush=True)
    return net.eval()


def _batches(rng: np.random.Generator, examples: Sequence[Example]) -> Iterator[list[tuple[Floats, Floats]]]:
    order = rng.permutation(len(examples))
    for first in range(0, len(order) - BATCH + 1, BATCH):
        yield [crop(rng, examples[at]) for at in order[first : first + BATCH]]


def write(net: Net, path: Path) -> None:
    """Write the weights as ``ear`` reads them."""
    layers = [net.first, *net.deeper, net.last]
    listed = []
    for layer in layers:
        weights = layer.weight.detach().numpy().transpose(2, 1, 0)
        weights = weights[0] if layer is net.last else weights
        listed.append(
            [np.round(weights, PLACES).tolist(), np.round(layer.bias.detach().numpy(), PLACES).tolist()]
        )
    path.write_text(json.dumps({"layers": listed}, separators=(",", ":")) + "\n", encoding="utf-8")


def main() -> None:
    """Make the material, fit, and write."""
    *banks, out = map(Path, sys.argv[1:])
    made = (backing(np.random.default_rng(at), banks[at % len(banks)]) for at in range(BACKINGS))
    write(fitted([example_of(one) for one in made]), out)


if __name__ == "__main__":
    main()
