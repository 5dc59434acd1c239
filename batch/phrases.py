"""Group notes into phrases: what a player says in one breath.

A small fitted network hears the context of each place between two notes and says how likely a
new phrase starts there; ``phrase_model.json`` holds its weights and how they were fitted
(see :mod:`batch.fit_phrases`).
"""

from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from itertools import pairwise

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, model_validator

from batch.model import Note, Phrase
from batch.phrase_features import FEATURES, FloatArray, boundary_features

MODEL_FILE = "phrase_model.json"


class Layer(BaseModel):
    """One dense layer: ``weights`` has a row an input and a column an output."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    weights: tuple[tuple[float, ...], ...] = Field(min_length=1)
    biases: tuple[float, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _columns_agree(self) -> "Layer":
        if any(len(row) != len(self.biases) for row in self.weights):
            raise ValueError(f"every row of weights needs {len(self.biases)} columns, one a bias")
        return self


class PhraseModel(BaseModel):
    """Standardised features, dense layers with rectifiers between them, a logistic output."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    provenance: dict[str, str | int | float]
    features: tuple[str, ...]
    means: tuple[float, ...]
    scales: tuple[float, ...]
    layers: tuple[Layer, ...] = Field(min_length=1)
    threshold: float = Field(gt=0, lt=1)

    @model_validator(mode="after")
    def _shapes_agree(self) -> "PhraseModel":
        if self.features != FEATURES:
            raise ValueError(
                "the model was fitted on other features; fit it again: python -m batch.fit_phrases"
            )
        if not len(self.means) == len(self.scales) == len(FEATURES) or min(self.scales) <= 0:
            raise ValueError(f"means and scales need {len(FEATURES)} entries, scales above 0")
        widths = [len(FEATURES), *(len(layer.biases) for layer in self.layers)]
        if [len(layer.weights) for layer in self.layers] != widths[:-1] or widths[-1] != 1:
            raise ValueError("each layer takes what the one before it gives; the last gives one number")
        return self

    def probabilities(self, features: FloatArray) -> FloatArray:
        """Return the likelihood of a phrase start for each row of ``features``, shape (n,), 0 to 1."""
        signal = (features - np.array(self.means)) / np.array(self.scales)
        for layer in self.layers[:-1]:
            signal = np.maximum(0.0, signal @ np.array(layer.weights) + np.array(layer.biases))
        last = self.layers[-1]
        return _logistic(signal @ np.array(last.weights)[:, 0] + last.biases[0])


def _logistic(x: FloatArray) -> FloatArray:
    return np.asarray(0.5 * (1.0 + np.tanh(0.5 * x)))  # the tanh form cannot overflow


@cache
def load_model() -> PhraseModel:
    """Return the model that is shipped with this package; read once."""
    return PhraseModel.model_validate_json(files("batch").joinpath(MODEL_FILE).read_text("utf-8"))


def split_phrases(
    notes: Sequence[Note], *, beat_s: float | None, model: PhraseModel | None = None
) -> tuple[Phrase, ...]:
    """Return ``notes`` (sorted by onset) as phrases, each note in exactly one.

    Parameters
    ----------
    notes : sequence of Note
        Any number; loudness and confidence are not looked at.
    beat_s : float or None
        Median beat in seconds where a grid is known.
    model : PhraseModel, optional
        Another model than the one shipped.

    Raises
    ------
    ValueError
        If the notes are not sorted or ``beat_s`` is not positive.
    """
    if not notes:
        return ()
    likely = start_probabilities(notes, beat_s=beat_s, model=model)
    cuts = np.flatnonzero(likely > (model or load_model()).threshold) + 1
    return tuple(_phrase(notes, a, b) for a, b in pairwise([0, *cuts.tolist(), len(notes)]))


def start_probabilities(
    notes: Sequence[Note], *, beat_s: float | None, model: PhraseModel | None = None
) -> FloatArray:
    """Return for each note after the first how likely it starts a phrase, shape (len(notes) - 1,)."""
    if beat_s is not None and not 0 < beat_s < np.inf:
        raise ValueError(f"beat_s must be positive seconds, got {beat_s}")
    if len(notes) < 2:  # noqa: PLR2004  one note has no place between
        return np.zeros(0)
    onsets_s = np.array([note.onset_s for note in notes])
    if np.any(np.diff(onsets_s) < 0):
        raise ValueError("notes must be sorted by onset")
    offsets_s = np.array([note.offset_s for note in notes])
    pitches = np.array([note.pitch_midi for note in notes])
    return (model or load_model()).probabilities(boundary_features(onsets_s, offsets_s, pitches, beat_s))


def _phrase(notes: Sequence[Note], first: int, end: int) -> Phrase:
    offset_s = max(note.offset_s for note in notes[first:end])
    return Phrase(start_s=notes[first].onset_s, end_s=offset_s, first_note=first, last_note=end - 1)
