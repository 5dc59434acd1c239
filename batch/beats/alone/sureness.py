"""How sure the beats found are: a calibrated chance that they are right throughout."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from batch.beats.alone.follow import Followed
from batch.beats.alone.view import Floats

HIT_S = 0.07
"""A beat this near is a hit (Dixon 2007, JNMR 36(1); mir_eval's beat F)."""

STRETCH_BEATS = 8
"""The least sure stretch of a take is this long (our choice: two bars of 4/4)."""

LEAST_UNREST, USUAL_UNREST = 0.003, 0.02
"""Steadier than the first no tempo is found to be; the second stands for takes too short to
tell (our choice)."""

ALIKE_LOG = 0.2
"""Spacings this near, natural logarithm, are alike: human timing parts them less, swing more (our choice)."""

MOST_BEATS = 1500
"""A take with more beats counts as one with so many: the longest solo that confidence was fitted to."""

WORST_SHARE = 0.1
"""Share of stretches that count as the least sure (our choice)."""


@dataclass(frozen=True, slots=True)
class Sureness:
    """A logistic regression on how the beat was followed."""

    intercept: float
    weights: Mapping[str, float]

    def confidence(self, row: Mapping[str, float]) -> float:
        """Return the chance, 0 to 1, for what `telling` says of a take."""
        odds = self.intercept + sum(weight * row[name] for name, weight in self.weights.items())
        return float(1 / (1 + np.exp(-np.clip(odds, -30.0, 30.0))))


def telling(followed: Followed, beats_s: Floats) -> dict[str, float]:
    """Return what tells whether ``beats_s`` (two or more) are right, by name."""
    sounding = ~followed.silent
    sure, soft, near = (
        _by_beat(followed, values, beats_s) for values in (followed.sure, followed.soft, followed.near)
    )
    period = float(np.median(np.diff(beats_s)))
    events = int(sounding.sum())
    in_a_beat = np.searchsorted(beats_s, followed.when_s[sounding])
    row = {
        "sure": _odds(sure.mean()),
        "sure_least": _odds(_least(sure)),
        "soft": _odds(soft.mean()),
        "soft_least": _odds(_least(soft)),
        "near": _odds(near.mean()),
        "near_least": _odds(_least(near)),
        "tempo": _odds(followed.tempo[sounding].mean()),
        "says": float(followed.says[sounding].mean()),
        "over_slower": float((followed.says - followed.slower)[sounding].mean()),
        "over_faster": float((followed.says - followed.faster)[sounding].mean()),
        "plain": _plain(followed.when_s[sounding]),
        "speed": float(np.log(0.4 / period)),
        "density": float(np.log((events + 1) / len(beats_s))),
        "length": float(np.log(min(len(beats_s), MOST_BEATS) / 100)),
        "rests": 1 - len(np.unique(in_a_beat)) / len(beats_s),
        "unrest": _unrest(beats_s),
    }
    return row | {f"{name}_squared": value**2 for name, value in row.items()}


def agreement(one_s: Floats, other_s: Floats) -> float:
    """Return F of two lists of beats, each rising: hits within HIT_S, each beat used once."""
    hits = i = j = 0
    while i < len(one_s) and j < len(other_s):
        away = other_s[j] - one_s[i]
        hits += abs(away) <= HIT_S
        i += away >= -HIT_S
        j += away <= HIT_S
    return 2 * hits / max(len(one_s) + len(other_s), 1)


def _by_beat(followed: Followed, values: Floats, beats_s: Floats) -> Floats:
    """Return ``values`` of the events where notes sound, drawn out to the beats."""
    sounding = ~followed.silent
    return np.interp(beats_s, followed.when_s[sounding], values[sounding])


def _least(values: Floats) -> float:
    """Return the mean of the least stretches of ``values`` (n,)."""
    width = min(STRETCH_BEATS, len(values))
    stretches = np.sort(np.convolve(values, np.full(width, 1 / width), mode="valid"))
    return float(stretches[: max(int(WORST_SHARE * len(stretches)), 1)].mean())


def _plain(onset_s: Floats) -> float:
    """Return the share of spacings like the usual one: a plain line does not tell its tempo from double."""
    spacing = np.log(np.diff(onset_s))
    return float(np.mean(np.abs(spacing - np.median(spacing)) < ALIKE_LOG))


def _unrest(beats_s: Floats) -> float:
    """Return the log of how much the tempo changes, from one stretch to the next."""
    if len(beats_s) <= 2 * STRETCH_BEATS:
        return float(np.log(USUAL_UNREST))
    stretch = np.log(beats_s[STRETCH_BEATS:] - beats_s[:-STRETCH_BEATS])
    half = STRETCH_BEATS // 2
    return float(np.log(np.abs(stretch[half:] - stretch[:-half]).mean() + LEAST_UNREST))


def _odds(share: float) -> float:
    """Return log-odds of a share, kept from the extremes."""
    share = min(max(float(share), 0.002), 0.998)
    return float(np.log(share / (1 - share)))
