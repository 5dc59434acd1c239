"""Follow tempo and beat through events: a hidden Markov model of where in the beat they fall.

A state is a beat period and a place in the beat, as in the bar pointer model [1]_ in the shape of
[2]_; but it moves from event to event instead of from frame to frame, since between notes there
is nothing to hear. Places advance by time over period with a little unrest, and periods change a
little, on a logarithmic scale; seldom, the beat starts anew.

References
----------
.. [1] Whiteley, N., Cemgil, A. T. and Godsill, S. (2006). "Bayesian modelling of temporal
   structure in musical audio". ISMIR.
.. [2] Krebs, F., Böck, S. and Widmer, G. (2015). "An efficient state-space model for joint tempo
   and meter tracking". ISMIR.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batch.hearing.compiling import compiled, one_at_a_time

Floats = NDArray[np.float64]
Odds = NDArray[np.float32]

TEMPO_UNREST = 0.4
"""Chance a second that the period moves one step; from 0.15 to 0.8, beat F on solos left out of
the fit moves by 0.01."""

PLACE_UNREST = 0.8
"""Chance a second that the place slips by one; from 0.3 to 2, beat F moves by 0.01."""

RESTART = 1e-4
"""Chance a second that the beat starts anew, at any tempo (our choice)."""

MOST_CHANCE = 0.5
"""No chance of moving exceeds this, however long nothing is heard (our choice)."""


NEXT = 1.5
"""Periods up to so many steps apart are neighbours."""

LEAST = 1e-20
"""No state is quite ruled out: its logarithm is still a number."""


@dataclass(frozen=True, slots=True)
class Heard:
    """What each event says of each period and place: relative likelihoods (n, periods, places).

    ``when_s`` (n,) rises; ``period_s`` (periods,) rises by ``step_log`` (natural logarithm), or by
    more where what is unlikely has been left out.
    """

    when_s: Floats
    period_s: Floats
    emission: Odds
    step_log: float

    def neighbours(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return each period's lower and upper neighbour, itself where there is none."""
        index = np.arange(len(self.period_s))
        linked = np.diff(np.log(self.period_s)) < NEXT * self.step_log
        lower, upper = index.copy(), index.copy()
        lower[1:][linked] -= 1
        upper[:-1][linked] += 1
        return lower, upper


def smoothed(heard: Heard, first: Odds, anew: Odds) -> tuple[Odds, float]:
    """Return the odds (n, periods, places) of each state given all events, and the log evidence.

    Forward and backward pass (Rabiner 1989, Proc. IEEE 77(2)). ``first`` (periods, places) are
    the odds before the first event, ``anew`` those where the beat starts anew.
    """
    odds = np.empty_like(heard.emission)
    lower, upper = heard.neighbours()
    evidence = _forward(heard.emission, heard.when_s, heard.period_s, lower, upper, first, anew, odds)
    _backward(heard.emission, heard.when_s, heard.period_s, lower, upper, anew, odds)
    return odds, float(evidence)


def best_path(heard: Heard, first: Odds, anew: Odds) -> NDArray[np.int64]:
    """Return the most likely period index and place of each event, shape (n, 2) (Viterbi)."""
    path = np.empty((len(heard.when_s), 2), np.int64)
    tops = np.zeros_like(path)
    came = np.empty(heard.emission.shape, np.int8)
    lower, upper = heard.neighbours()
    said, begun, fresh = (np.log(np.maximum(x, np.float32(LEAST))) for x in (heard.emission, first, anew))
    last = _search(said, heard.when_s, heard.period_s, lower, upper, begun, fresh, came, tops)
    _trace(*last, heard.emission.shape[2], heard.when_s, heard.period_s, lower, upper, tops, came, path)
    return path


def compile_pointer() -> None:
    """Compile, or load what another process has compiled."""
    with one_at_a_time(_forward):
        even = np.ones((1, 2), np.float32)
        heard = Heard(np.array([0.0, 0.5]), np.array([0.5]), np.ones((2, 1, 2), np.float32), 0.1)
        smoothed(heard, even, even)
        best_path(heard, even, even)


# What is compiled below is given its arrays and only steps through them: it compiles quicker so.


@compiled
def _forward(emission, when_s, period_s, lower, upper, first, anew, out):  # type: ignore[no-untyped-def]  # noqa: PLR0917
    """Fill ``out`` (n, periods, places) with the odds given events so far; return the log evidence."""
    n, periods, places = emission.shape
    held = np.empty((periods, places), np.float32)
    evidence = 0.0
    for t in range(n):
        total = 0.0
        if t == 0:
            for p in range(periods):
                for k in range(places):
                    out[t, p, k] = first[p, k] * emission[t, p, k]
                    total += out[t, p, k]
        else:
            dt = when_s[t] - when_s[t - 1]
            change = np.float32(min(TEMPO_UNREST * dt, MOST_CHANCE))
            slip = min(PLACE_UNREST * dt, MOST_CHANCE)
            fresh = np.float32(min(RESTART * dt, MOST_CHANCE))
            for p in range(periods):
                for k in range(places):
                    moved = out[t - 1, lower[p], k] + out[t - 1, upper[p], k]
                    held[p, k] = (1 - change) * out[t - 1, p, k] + change / 2 * moved
            for p in range(periods):
                ahead = dt / period_s[p] * places
                whole = int(np.floor(ahead))
                part = ahead - whole
                # Shares of those that advance by one less than whole, by whole, by one and two more.
                a = np.float32(slip / 2 * (1 - part))
                b = np.float32((1 - slip) * (1 - part) + slip / 2 * part)
                c = np.float32((1 - slip) * part + slip / 2 * (1 - part))
                d = np.float32(slip / 2 * part)
                for k in range(places):
                    j = (k - whole) % places
                    j1 = j - 1 if j > 0 else places - 1
                    j2 = j1 - 1 if j1 > 0 else places - 1
                    ja = j + 1 if j < places - 1 else 0
                    value = a * held[p, ja] + b * held[p, j] + c * held[p, j1] + d * held[p, j2]
                    out[t, p, k] = ((1 - fresh) * value + fresh * anew[p, k]) * emission[t, p, k]
                    total += out[t, p, k]
        evidence += np.log(total)
        scale = np.float32(1.0 / total)
        for p in range(periods):
            for k in range(places):
                out[t, p, k] *= scale
    return evidence


@compiled
def _backward(emission, when_s, period_s, lower, upper, anew, odds):  # type: ignore[no-untyped-def]  # noqa: PLR0917
    """Turn ``odds`` (n, periods, places) given events so far into those given all, in place."""
    n, periods, places = emission.shape
    later = np.ones((periods, places), np.float32)
    held = np.empty((periods, places), np.float32)
    for t in range(n - 2, -1, -1):
        dt = when_s[t + 1] - when_s[t]
        change = np.float32(min(TEMPO_UNREST * dt, MOST_CHANCE))
        slip = min(PLACE_UNREST * dt, MOST_CHANCE)
        fresh = np.float32(min(RESTART * dt, MOST_CHANCE))
        jump = np.float32(0.0)
        for p in range(periods):
            for k in range(places):
                later[p, k] *= emission[t + 1, p, k]
                jump += later[p, k] * anew[p, k]
        for p in range(periods):
            ahead = dt / period_s[p] * places
            whole = int(np.floor(ahead))
            part = ahead - whole
            a = np.float32(slip / 2 * (1 - part))
            b = np.float32((1 - slip) * (1 - part) + slip / 2 * part)
            c = np.float32((1 - slip) * part + slip / 2 * (1 - part))
            d = np.float32(slip / 2 * part)
            for k in range(places):
                j = (k + whole) % places
                ja = j - 1 if j > 0 else places - 1
                j1 = j + 1 if j < places - 1 else 0
                j2 = j1 + 1 if j1 < places - 1 else 0
                held[p, k] = a * later[p, ja] + b * later[p, j] + c * later[p, j1] + d * later[p, j2]
        total = 0.0
        norm = 0.0
        for p in range(periods):
            for k in range(places):
                moved = held[lower[p], k] + held[upper[p], k]
                value = (1 - change) * held[p, k] + change / 2 * moved
                later[p, k] = (1 - fresh) * value + fresh * jump
                total += later[p, k]
                odds[t, p, k] *= later[p, k]
                norm += odds[t, p, k]
        scale = np.float32(periods * places / total)
        even = np.float32(1.0 / norm)
        for p in range(periods):
            for k in range(places):
                later[p, k] *= scale
                odds[t, p, k] *= even


@compiled
def _search(said, when_s, period_s, lower, upper, begun, fresh, came, tops):  # type: ignore[no-untyped-def]  # noqa: PLR0912, PLR0917
    """Step through the events; return the best last period and place.

    ``said``, ``begun`` and ``fresh`` are logarithms. ``came`` (n, periods, places) keeps
    3 * (slip + 1) + tempo step + 1, or -1 for a new start; ``tops`` (n, 2) the best state before each.
    """
    n, periods, places = said.shape
    score = np.empty((periods, places), np.float32)
    held = np.empty((periods, places), np.float32)
    step = np.empty((periods, places), np.int8)
    for p in range(periods):
        for k in range(places):
            score[p, k] = begun[p, k] + said[0, p, k]
    for t in range(1, n):
        dt = when_s[t] - when_s[t - 1]
        change = np.float32(np.log(min(TEMPO_UNREST * dt, MOST_CHANCE) / 2))
        hold = np.float32(np.log(1 - min(TEMPO_UNREST * dt, MOST_CHANCE)))
        slip = np.float32(np.log(min(PLACE_UNREST * dt, MOST_CHANCE) / 2))
        keep = np.float32(np.log(1 - min(PLACE_UNREST * dt, MOST_CHANCE)))
        top = np.float32(-1e30)
        for p in range(periods):
            for k in range(places):
                best = score[p, k] + hold
                how = 1
                if lower[p] != p and score[lower[p], k] + change > best:
                    best = score[lower[p], k] + change
                    how = 0
                if upper[p] != p and score[upper[p], k] + change > best:
                    best = score[upper[p], k] + change
                    how = 2
                held[p, k] = best
                step[p, k] = how
                if score[p, k] > top:
                    top = score[p, k]
                    tops[t, 0] = p
                    tops[t, 1] = k
        restart = top + np.float32(np.log(min(RESTART * dt, MOST_CHANCE)))
        for p in range(periods):
            whole = int(np.floor(dt / period_s[p] * places + 0.5))
            for k in range(places):
                j = (k - whole) % places
                j1 = j - 1 if j > 0 else places - 1
                ja = j + 1 if j < places - 1 else 0
                best = held[p, j] + keep
                how = 3 + step[p, j]
                if held[p, j1] + slip > best:
                    best = held[p, j1] + slip
                    how = 6 + step[p, j1]
                if held[p, ja] + slip > best:
                    best = held[p, ja] + slip
                    how = step[p, ja]
                if restart + fresh[p, k] > best:
                    best = restart + fresh[p, k]
                    how = -1
                came[t, p, k] = how
                score[p, k] = best + said[t, p, k]
    p = 0
    k = 0
    for q in range(periods):
        for j in range(places):
            if score[q, j] > score[p, k]:
                p = q
                k = j
    return p, k


@compiled
def _trace(p, k, places, when_s, period_s, lower, upper, tops, came, path):  # type: ignore[no-untyped-def]  # noqa: PLR0917
    """Follow the back pointers from the best last state; fill ``path`` (n, 2)."""
    for t in range(len(path) - 1, -1, -1):
        path[t, 0] = p
        path[t, 1] = k
        how = came[t, p, k]
        if t == 0:
            break
        if how < 0:
            p = tops[t, 0]
            k = tops[t, 1]
            continue
        whole = int(np.floor((when_s[t] - when_s[t - 1]) / period_s[p] * places + 0.5))
        k = (k - whole - (how // 3 - 1)) % places
        if how % 3 == 0:
            p = lower[p]
        elif how % 3 > 1:
            p = upper[p]
