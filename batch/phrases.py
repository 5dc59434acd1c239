"""Group notes into phrases: what a player says in one breath.

A logistic regression hears the context of each place between two notes and says how likely a
phrase starts there. Where a take has rests, they lead; where its notes abut, as in a score or
on an organ, a second regression goes by spacing alone. ``phrase_model.json`` holds both and how
they were fitted; :mod:`batch.fit_phrases` fits them again.
"""

from collections.abc import Mapping, Sequence
from functools import cache
from importlib.resources import files
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field

from batch.model import Note, Phrase
from batch.phrase_features import FloatArray, boundary_features, rests_tell

MODEL_FILE = "phrase_model.json"


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Regression(_Frozen):
    """A logistic regression on named features, and the probability above which a phrase starts."""

    intercept: float
    weights: dict[str, float] = Field(min_length=1)
    threshold: float = Field(gt=0, lt=1)

    def probabilities(self, columns: Mapping[str, FloatArray]) -> FloatArray:
        """Return how likely a phrase starts at each of n places, shape (n,), 0 to 1."""
        logit = self.intercept + sum(weight * columns[name] for name, weight in self.weights.items())
        return np.asarray(0.5 + 0.5 * np.tanh(0.5 * logit))  # the logistic, without overflow

    def starts(self, columns: Mapping[str, FloatArray]) -> NDArray[np.bool_]:
        """Return whether a phrase starts at each of n places, shape (n,)."""
        return self.probabilities(columns) > self.threshold


class PhraseModel(_Frozen):
    """One regression for takes whose rests tell, one for takes whose notes abut."""

    provenance: dict[str, str | int | float]
    by_rests: Regression
    by_spacing: Regression


@cache
def load_model() -> PhraseModel:
    """Return the model shipped with this package; read once."""
    return PhraseModel.model_validate_json(files("batch").joinpath(MODEL_FILE).read_text("utf-8"))


def split_phrases(
    notes: Sequence[Note], *, beat_s: float | None, model: PhraseModel | None = None
) -> tuple[Phrase, ...]:
    """Return ``notes`` (sorted by onset) as phrases, each note in exactly one.

    Loudness and confidence are not looked at, nor is the place in the take.

    Parameters
    ----------
    notes : sequence of Note
        Any number, none included.
    beat_s : float or None
        Median beat in seconds where a grid is known.
    model : PhraseModel, optional
        Another model than the one shipped.

    Raises
    ------
    ValueError
        If the notes are not sorted or ``beat_s`` is not positive.
    """
    if beat_s is not None and not 0 < beat_s < np.inf:
        raise ValueError(f"beat_s must be positive seconds, got {beat_s}")
    if not notes:
        return ()
    cuts = np.flatnonzero(_starts(notes, beat_s, model or load_model())) + 1
    return tuple(_phrase(notes, first, end) for first, end in pairwise([0, *cuts.tolist(), len(notes)]))


def _starts(notes: Sequence[Note], beat_s: float | None, model: PhraseModel) -> NDArray[np.bool_]:
    """Return whether each note after the first starts a phrase, shape (len(notes) - 1,)."""
    onsets_s = np.array([note.onset_s for note in notes])
    if np.any(np.diff(onsets_s) < 0):
        raise ValueError("notes must be sorted by onset")
    if len(notes) < 2:  # noqa: PLR2004  one note has no place between
        return np.zeros(0, dtype=np.bool_)
    offsets_s = np.array([note.offset_s for note in notes])
    pitches = np.array([note.pitch_midi for note in notes])
    regression = model.by_rests if rests_tell(onsets_s, offsets_s) else model.by_spacing
    return regression.starts(boundary_features(onsets_s, offsets_s, pitches, beat_s))


def _phrase(notes: Sequence[Note], first: int, end: int) -> Phrase:
    offset_s = max(note.offset_s for note in notes[first:end])
    return Phrase(start_s=notes[first].onset_s, end_s=offset_s, first_note=first, last_note=end - 1)
