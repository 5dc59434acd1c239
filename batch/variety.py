"""How varied a take is: how much of each dimension's range it uses, and how its phrases contrast.

Every dimension is mapped to 0..1 by the percentiles of annotated jazz solos, so that the
middle of the scale is where most players spend their time. A part of the score is then
two thirds range use and one third contrast between neighbours. The take is read as a loop:
the last phrase has the first for its neighbour, so that a take played twice scores as once.
The score is a geometric mean of its parts, so that what never varies is not made up for by
what varies a little more.
"""

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from batch.leaning import groove_tension
from batch.model import UNMEASURED, Evidence, Labels, Variety
from batch.percentiles import Percentiles
from batch.settings import GrooveSettings, VarietySettings

DIMENSIONS = ("length", "density", "articulation", "groove", "register", "interval_size")

FULL_USE_SHARE = 0.15
"""Share of phrases that must lie on either side of a value for it to count in full (our choice)."""

FULL_CONTRAST = 0.5
"""Mean step between neighbours that is contrast in full: half the scale; a third is what chance gives."""

CONTRAST_WEIGHT = 1 / 3
"""Share of contrast in a part of the score (our choice)."""

MEAN_SHIFT = 0.1
"""Added to the parts for their geometric mean and taken off again, so that one part of nothing is not all
and a little noise in it not much (our choice)."""

ENDS = {
    "length": ("short", "long"),
    "density": ("sparse", "dense"),
    "articulation": ("staccato", "legato"),
    "groove": ("in-groove", "against-groove"),
    "register": ("low", "high"),
    "interval_size": ("steps", "leaps"),
}
"""The labels at the ends of each dimension's scale."""

_SEED = 20_140
"""The bootstrap draws the same resamples for the same take, so a score never wavers."""


def score_variety(
    phrases: Sequence[Evidence],
    percentiles: Mapping[str, Percentiles],
    *,
    settings: VarietySettings,
    groove: GrooveSettings,
) -> Variety:
    """Return the variety of a take, 0 to 100, with bounds and parts.

    ``low`` and ``high`` come from a bootstrap over phrases, each drawn with its step to the
    next, and moved so that the resamples centre on the score (Efron, B. & Tibshirani, R.
    (1993). "An Introduction to the Bootstrap", chapter 10 on bias).
    """
    if len(phrases) < settings.phrases_from:
        return Variety(None, None, None, dict.fromkeys(DIMENSIONS), _too_few(len(phrases), settings))
    scales = {name: _scale(name, phrases, percentiles, groove) for name in DIMENSIONS}
    values = np.array([scale for scale in scales.values() if scale is not None])
    steps = np.abs(np.roll(values, -1, axis=1) - values)
    parts = _parts(values, steps)
    score = float(overall(parts))
    low, high = _bounds(values, steps, score, settings)
    told = iter(parts)
    named = {name: None if scale is None else _percent(next(told)) for name, scale in scales.items()}
    return Variety(_percent(score), _percent(low), _percent(high), named)


def range_use(values: np.ndarray) -> float:
    """Return how much of 0..1 a take uses, 0 (all alike) to 1 (both extremes).

    The Gini mean difference is the integral of 2 F (1 - F) over the scale, F being the share
    of phrases below (Gini, C. (1912). "Variabilita e mutabilita"; Yitzhaki, S. (2003).
    "Gini's mean difference". Metron 61(2), 285-316). Here the integrand is
    min(F, 1 - F) / FULL_USE_SHARE, at most 1: a fifth of the phrases at an extreme is use
    enough, and a phrase at an unused extreme never lowers the value.

    Parameters
    ----------
    values : ndarray, shape (..., n)
        Phrases on the scale 0..1; leading axes are resamples.
    """
    n = values.shape[-1]
    below = np.arange(1, n) / n
    weight = np.minimum(1.0, np.minimum(below, 1 - below) / FULL_USE_SHARE)
    return np.diff(np.sort(values, axis=-1), axis=-1) @ weight


def overall(parts: np.ndarray) -> np.ndarray:
    """Return the score of parts 0..1, shape (dimensions, ...): their shifted geometric mean.

    A mean of this kind lets one dimension stand in for another less the lower it is (United Nations
    Development Programme (2010). "Human Development Report", technical note 1, on the same ground).
    """
    return np.exp(np.log(parts + MEAN_SHIFT).mean(axis=0)) - MEAN_SHIFT


def missing(phrases: Sequence[tuple[Labels, Evidence]]) -> dict[str, tuple[str, ...]]:
    """Return, for each dimension that was measured, which of its two words no phrase has."""
    words = {name: {getattr(labels, name).value for labels, _ in phrases} for name in DIMENSIONS}
    if all(evidence.range_place is None for _, evidence in phrases):  # too narrow to be low or high in
        words["register"] = {UNMEASURED}
    return {
        name: tuple(end for end in ENDS[name] if end not in words[name])
        for name in DIMENSIONS
        if words[name] != {UNMEASURED}
    }


def _parts(values: np.ndarray, steps: np.ndarray) -> np.ndarray:
    contrast = np.minimum(1.0, steps.mean(axis=-1) / FULL_CONTRAST)
    return (1 - CONTRAST_WEIGHT) * range_use(values) + CONTRAST_WEIGHT * contrast


def _bounds(
    values: np.ndarray, steps: np.ndarray, score: float, settings: VarietySettings
) -> tuple[float, float]:
    n = values.shape[-1]
    draws = np.random.default_rng(_SEED).integers(n, size=(settings.resamples, n))
    scores = overall(_parts(values[:, draws], steps[:, draws]))
    tail = (1 - settings.interval) / 2
    low, high = np.quantile(scores, [tail, 1 - tail]) - scores.mean() + score
    return float(np.clip(min(low, score), 0, 1)), float(np.clip(max(high, score), 0, 1))


def _scale(
    name: str, phrases: Sequence[Evidence], percentiles: Mapping[str, Percentiles], groove: GrooveSettings
) -> np.ndarray | None:
    """Map one dimension of every phrase to 0..1; None where it was not measured.

    A lone note has no articulation and no interval: it takes the median of its take's
    phrases there, and so adds nothing to the part.
    """
    scale, values = _measured(name, phrases, groove)
    known = [value for value in values if value is not None]
    if not known:
        return None
    middle = float(np.median(known))
    return percentiles[scale].position(np.array([middle if v is None else v for v in values]))


def _measured(
    name: str, phrases: Sequence[Evidence], groove: GrooveSettings
) -> tuple[str, list[float | None]]:
    """Return the percentile table that fits, and the dimension's value for each phrase."""
    in_beats = all(p.duration_beats is not None for p in phrases)
    tables: dict[str, tuple[str, Callable[[Evidence], float | None]]] = {
        "length": ("duration_beats", lambda p: p.duration_beats)
        if in_beats
        else ("duration_s", lambda p: p.duration_s),
        "density": ("notes_per_beat", lambda p: p.notes_per_beat)
        if in_beats
        else ("notes_per_s", lambda p: p.notes_per_s),
        "articulation": ("articulation", lambda p: p.articulation),
        "groove": ("groove_tension", lambda p: groove_tension(p, groove)),
        "register": ("register", lambda p: p.register),
        "interval_size": ("leap_share", lambda p: p.leap_share),
    }
    table, read = tables[name]
    return table, [read(phrase) for phrase in phrases]


def _percent(share: float) -> float:
    return round(100 * float(share), 1)


def _too_few(count: int, settings: VarietySettings) -> str:
    heard = {0: "no phrase", 1: "one phrase"}.get(count, f"{count} phrases")
    return f"{heard}; a score needs {settings.phrases_from} or more"
