"""Beats from a take's own notes, with or without a tempo that its tag tells.

A small network says where in the beat each note may stand, for every period that the beat might
have (`judge`); a hidden Markov model follows tempo and place through what it says (`follow`); a
logistic regression on how that went says how sure the beats are (`sureness`). All numbers are
fitted by ``python -m batch.beats.alone.fit``.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from batch.beats.alone.downbeat import Downbeat
from batch.beats.alone.follow import FASTEST_BPM, SLOWEST_BPM, Followed, follow, periods_between
from batch.beats.alone.judge import Judge, learned, load_judge
from batch.beats.alone.sureness import Sureness, agreement, telling
from batch.beats.alone.view import Events, Floats
from batch.beats.pulse import Pulse
from batch.model import Note
from batch.tempo import MeterChange

LEAST_EVENTS = 8
"""With fewer notes there is no beat to speak of (our choice: eight quarters are two bars)."""

LEAST_BEATS = 8
"""A pulse has at least so many beats (our choice: two bars of 4/4)."""

USUAL_BPM = 165.0
USUAL_SPREAD = 0.5
"""How likely a tempo is before a note is heard: log-normal, as the corpus' quartiles have it (134,
178 and 237 a minute), drawn a little towards practice; it counts once, against every note."""

TOLD_WITHIN = 1.1
"""A told tempo holds within this factor: tags are rounded and players drift (our choice)."""

TOLD_FACTORS = (1.0, 0.5, 2.0)
"""A tag may say half or double of what is felt (common practice, no source)."""

OUTWEIGHS = 0.75
"""How much more notes must say for half or double a told tempo, each in the mean, natural logarithm,
than for the tempo itself. On solos left out, with four tags in five right and the others half or double,
mean beat F is 0.01 lower at 0 and at 1; the more, the less a right tag is overruled."""

EVEN, ALIKE = 0.5, 0.12
"""With more of its notes evenly apart (within a logarithm of ALIKE) a line does not tell which are beats:
of annotated solos none has more than 0.3, lines that stay on the off-beat or in dotted notes have."""

SLOWEST_ALONE_BPM = 68.0
"""A slower beat, found without a tempo, is mostly half of the one that is felt (lines of our making)."""

NO_CLAIM = 0.5
"""The most confidence where the beat is an eighth, as in 7/8: nothing annotated to be sure by."""


LEAST_APART_S = 1e-3
"""Notes closer than this are as good as together."""

LEAST_PLAYED_S = 12.0
"""Playing shorter than this makes no claim either: confidence was fitted to takes of 17 s and more."""


@dataclass(frozen=True, slots=True)
class Found:
    """Beats followed, and what tells whether they are right."""

    followed: Followed
    beats_s: Floats
    row: dict[str, float]


def track_notes(
    notes: Sequence[Note],
    *,
    duration_s: float,
    meter: tuple[int, int],
    tempo_bpm: float | None = None,
) -> Pulse | None:
    """Find the beats that notes were played to.

    Parameters
    ----------
    notes : sequence of Note
        Notes heard in a take, in any order. Loudness does not count.
    duration_s : float
        The take's length; the beats reach from its start to its end.
    meter : (int, int)
        Meter to number the beats by, such as (4, 4). In 6/8, 9/8 and 12/8 the beat is dotted.
    tempo_bpm : float, optional
        A tempo told, in felt beats a minute. It may be rounded, and half or double of what is felt.

    Returns
    -------
    Pulse or None
        None where there are too few notes to speak of a beat. The numbers in the bar are best effort.

    Raises
    ------
    ValueError
        If duration, tempo or meter is not positive.
    """
    if not (math.isfinite(duration_s) and duration_s > 0):
        raise ValueError(f"duration_s must be positive seconds, got {duration_s}")
    if tempo_bpm is not None and not (math.isfinite(tempo_bpm) and tempo_bpm > 0):
        raise ValueError(f"tempo_bpm must be positive beats a minute, got {tempo_bpm}")
    if min(meter) < 1:
        raise ValueError(f"meter must be two positive numbers, such as (4, 4), got {meter}")
    events = Events.of(notes)
    found = find(events, duration_s, tempo_bpm, load_judge())
    if found is None:
        return None
    bar = MeterChange(0, *meter)
    sure = sureness("alone" if tempo_bpm is None else "told").confidence(found.row)
    return Pulse(
        beats_s=tuple(found.beats_s.tolist()),
        beat_in_bar=downbeat().numbers(events, found.beats_s, bar.beats_per_bar),
        beats_per_bar=bar.beats_per_bar,
        confidence=sure
        if _may_claim(events, found, bar, told=tempo_bpm is not None)
        else min(sure, NO_CLAIM),
    )


def _may_claim(events: Events, found: Found, bar: MeterChange, *, told: bool) -> bool:
    """Return whether there is enough to be sure by."""
    if _by_eighths(bar) or _even_share(events.onset_s) > EVEN or np.ptp(events.onset_s) < LEAST_PLAYED_S:
        return False
    return told or 60.0 / float(np.median(np.diff(found.beats_s))) >= SLOWEST_ALONE_BPM


def _even_share(onset_s: Floats) -> float:
    """Return the share of inter-onset intervals that are as long as the one before."""
    apart = np.maximum(np.diff(onset_s), LEAST_APART_S)
    if len(apart) < 2:  # noqa: PLR2004  one has none before it
        return 1.0
    return float(np.mean(np.abs(np.log(apart[1:] / apart[:-1])) < ALIKE))


def find(events: Events, duration_s: float, tempo_bpm: float | None, judge: Judge) -> Found | None:
    """Return the likeliest beats, or None where there are too few events or beats."""
    alone = find_alone(events, duration_s, judge)
    if tempo_bpm is None or alone is None:
        return alone
    return find_told(events, duration_s, tempo_bpm, judge, alone)


def find_alone(events: Events, duration_s: float, judge: Judge) -> Found | None:
    """Return the likeliest beats at any tempo."""
    if len(events.onset_s) < LEAST_EVENTS:
        return None
    period_s = periods_between(SLOWEST_BPM, FASTEST_BPM)
    usual = np.exp(-0.5 * (np.log(period_s * USUAL_BPM / 60) / USUAL_SPREAD) ** 2)
    return _found(follow(events, judge, period_s, usual), duration_s)


def find_told(
    events: Events, duration_s: float, tempo_bpm: float, judge: Judge, alone: Found
) -> Found | None:
    """Return the beats at a told tempo, or at half or double where notes say much more for that."""
    tries = [(x, _near_tempo(events, duration_s, tempo_bpm * x, judge)) for x in TOLD_FACTORS]
    found = [(factor, one) for factor, one in tries if one is not None]
    if not found:
        return None
    scores = [one.row["says"] - OUTWEIGHS * (factor != 1) for factor, one in found]
    best = int(np.argmax(scores))
    factor, chosen = found[best]
    others = [score for i, score in enumerate(scores) if i != best]
    row = chosen.row | {
        "agrees": agreement(chosen.beats_s, alone.beats_s),
        "as_told": float(factor == 1),
        "ahead": min(scores[best] - max(others, default=-5.0), 5.0),
        "alone_soft": alone.row["soft"],
        "alone_tempo": alone.row["tempo"],
    }
    return Found(chosen.followed, chosen.beats_s, row)


def _near_tempo(events: Events, duration_s: float, tempo_bpm: float, judge: Judge) -> Found | None:
    period_s = periods_between(tempo_bpm / TOLD_WITHIN, tempo_bpm * TOLD_WITHIN)
    return _found(follow(events, judge, period_s, np.ones(len(period_s))), duration_s)


def _found(followed: Followed, duration_s: float) -> Found | None:
    beats_s = followed.beats_s(duration_s)
    if len(beats_s) < LEAST_BEATS:
        return None
    return Found(followed, beats_s, telling(followed, beats_s))


def _by_eighths(bar: MeterChange) -> bool:
    return bar.denominator >= 8 and not bar.is_compound  # noqa: PLR2004  eighths and shorter


@cache
def sureness(kind: str) -> Sureness:
    """Return the regression for takes ``alone``, or with a tempo ``told``."""
    numbers = learned()["sureness"]
    assert isinstance(numbers, dict)
    return Sureness(**numbers[kind])


@cache
def downbeat() -> Downbeat:
    """Return the regression for the beats of a bar."""
    numbers = learned()["downbeat"]
    assert isinstance(numbers, dict)
    return Downbeat(np.array(numbers["weights"]), np.array(numbers["intercept"]))
