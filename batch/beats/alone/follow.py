"""Follow the beat through a take's events, window by window, so that long takes need no more memory."""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from batch.beats.alone.judge import PLACES, Judge
from batch.beats.alone.pointer import Heard, Odds, best_path, smoothed
from batch.beats.alone.view import Events, Floats

COARSE_LOG = 0.05
"""Step between the periods that the network is asked about; it was fitted on periods up to 3 % off
(at 6 %, mean beat F is 0.02 lower)."""

FINE_PLACES = 2 * PLACES

SLOWEST_BPM, FASTEST_BPM = 38.0, 380.0
"""The corpus has beats of 37 to 361 a minute, practice 40 to 260."""

TRUST = 0.3
"""Power to which what an event says is raised: neighbours see much the same and do not count each
in full; from 0.3 to 0.8 mean beat F moves by 0.01."""

SOFT_TRUST = 0.1
"""The same for a first look, which is to keep alternatives in view (our choice)."""

LEAST_LIKELY = 0.01
"""Periods less likely than this at every event, at the first look, are left out (our choice)."""

WINDOW, OVERLAP = 400, 40
"""Events followed at a time, and how many more are seen on either side (our choice)."""

STILL_S = 0.5
"""Where nothing is heard, tempo and place may move at every such step (our choice)."""

MOST_STEPS = 16
"""Steps taken in one rest: after 8 s without a note the beat is anybody's guess (our choice)."""

HIT_S = 0.07
"""A beat this near is a hit (Dixon 2007, JNMR 36(1); mir_eval's beat F)."""

SAME_TEMPO_LOG = 0.1
"""Periods this near, natural logarithm, are one tempo (our choice)."""

UNASKED = -2.0
"""What counts as said of a tempo that is out of range (our choice: less than by chance)."""

ENDS = 20
"""Events whose median period carries the beat to the take's start and end (our choice)."""


@dataclass(frozen=True, slots=True)
class Followed:
    """The beat at each event and at steps between, arrays (n,).

    ``phase`` counts beats and rises; ``sure`` is how likely the beat lies within 70 ms of it at its
    tempo, ``soft`` the same where events count for less; ``tempo`` how likely the tempo is, ``says``
    the log of what the event says of it against chance, ``near`` what the event alone gives to the
    70 ms about it at its tempo, ``slower`` and ``faster`` the most it says at half and at double the
    tempo, ``silent`` whether no note was heard.
    """

    when_s: Floats
    phase: Floats
    period_s: Floats
    sure: Floats
    soft: Floats
    tempo: Floats
    says: Floats
    near: Floats
    slower: Floats
    faster: Floats
    silent: NDArray[np.bool_]

    def beats_s(self, duration_s: float) -> Floats:
        """Return the beats from 0 to ``duration_s``, going on evenly before and after the events."""
        first, last = np.median(self.period_s[:ENDS]), np.median(self.period_s[-ENDS:])
        when = np.concatenate([[min(0.0, self.when_s[0] - 1.0)], self.when_s])
        when = np.append(when, max(duration_s, self.when_s[-1] + 1.0))
        phase = np.concatenate([[self.phase[0] - (when[1] - when[0]) / first], self.phase])
        phase = np.append(phase, phase[-1] + (when[-1] - when[-2]) / last)
        beats = np.interp(np.arange(np.ceil(phase[0]), np.floor(phase[-1]) + 1), phase, when)
        return np.asarray(beats[(beats >= 0) & (beats <= duration_s)])


def periods_between(slowest_bpm: float, fastest_bpm: float) -> Floats:
    """Return beat periods in seconds, rising by COARSE_LOG, that reach over these tempi."""
    low, high = np.log(60 / fastest_bpm), np.log(60 / slowest_bpm)
    steps = max(int(np.ceil((high - low) / COARSE_LOG)), 1)
    return np.asarray(np.exp(low + COARSE_LOG * np.arange(steps + 1)))


def follow(events: Events, judge: Judge, period_s: Floats, weight: Floats) -> Followed:
    """Follow the beat through ``events`` at one of ``period_s``.

    Parameters
    ----------
    events : Events
        One event or more.
    judge : Judge
        The network.
    period_s, weight : ndarray, shape (periods,)
        As `periods_between` gives them, and how likely each is before anything is heard.
    """
    when_s, source = _with_steps(events.onset_s)
    pieces: list[Followed] = []
    seam: tuple[float, float] | None = None
    for start, end in _windows(len(when_s)):
        wide = slice(max(start - OVERLAP, 0), min(end + OVERLAP, len(when_s)))
        look = _Look.at(when_s[wide], source[wide], events, judge=judge, period_s=period_s, weight=weight)
        piece = look.decided(start - wide.start, end - wide.start, seam)
        pieces.append(piece)
        seam = float(piece.period_s[-1]), float(piece.phase[-1])
    joined = {f.name: np.concatenate([getattr(p, f.name) for p in pieces]) for f in fields(Followed)}
    joined["phase"] = _unrolled(joined["when_s"], joined["phase"], joined["period_s"])
    return Followed(**joined)


def _windows(n: int) -> Iterator[tuple[int, int]]:
    count = max(int(np.ceil(n / WINDOW)), 1)
    edges = np.linspace(0, n, count + 1).astype(int)
    return zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)


def _with_steps(onset_s: Floats) -> tuple[Floats, NDArray[np.int64]]:
    """Return onsets with steps between those far apart, and the event of each, -1 for a step."""
    when, source = [float(onset_s[0])], [0]
    for i, (before, now) in enumerate(pairwise(onset_s.tolist()), start=1):
        steps = min(int(np.ceil((now - before) / STILL_S)), MOST_STEPS)
        when += [before + (now - before) * step / steps for step in range(1, steps)]
        when.append(now)
        source += [-1] * (steps - 1) + [i]
    return np.array(when), np.array(source)


def _unrolled(when_s: Floats, place: Floats, period_s: Floats) -> Floats:
    """Return places in the beat (0 to 1) as beats counted, rising with time."""
    phase = np.empty(len(place))
    phase[0] = place[0]
    for i in range(1, len(place)):
        ahead = phase[i - 1] + (when_s[i] - when_s[i - 1]) / period_s[i]
        phase[i] = max(ahead + (place[i] - ahead + 0.5) % 1 - 0.5, phase[i - 1] + 1e-6)
    return phase


@dataclass(frozen=True, slots=True)
class _Look:
    """A window: what its events say (coarse), and the odds at the first and the second look."""

    when_s: Floats
    silent: NDArray[np.bool_]
    period_s: Floats
    said: Odds
    coarse: Odds
    heard: Heard
    odds: Odds
    anew: Odds

    @classmethod
    def at(
        cls,
        when_s: Floats,
        source: NDArray[np.int64],
        events: Events,
        *,
        judge: Judge,
        period_s: Floats,
        weight: Floats,
    ) -> "_Look":
        sounding = source >= 0
        said = np.zeros((len(when_s), len(period_s), PLACES), np.float32)
        at = source[sounding]
        if len(at):
            said[sounding] = judge.log_places(events, slice(at[0], at[-1] + 1), period_s)
        share = weight / weight.sum()
        first = np.repeat((share / PLACES)[:, None], PLACES, axis=1).astype(np.float32)
        coarse, _ = smoothed(
            Heard(when_s, period_s, np.exp(np.float32(SOFT_TRUST) * said), COARSE_LOG), first, first
        )
        likely = coarse.sum(axis=2).max(axis=0) > LEAST_LIKELY
        fine_s, fine = _finer(period_s, said, likely)
        heard = Heard(when_s, fine_s, np.exp(np.float32(TRUST) * fine), COARSE_LOG / 2)
        share = np.interp(np.log(fine_s), np.log(period_s), weight)
        anew = np.repeat((share / share.sum() / FINE_PLACES)[:, None], FINE_PLACES, axis=1)
        anew = anew.astype(np.float32)
        odds, _ = smoothed(heard, anew, anew)
        return cls(when_s, ~sounding, period_s, said, coarse, heard, odds, anew)

    def decided(self, start: int, end: int, seam: tuple[float, float] | None) -> Followed:
        """Return the beat at events ``start`` to ``end``, going on from ``seam`` (period, place)."""
        part = Heard(
            self.when_s[start:], self.heard.period_s, self.heard.emission[start:], self.heard.step_log
        )
        path = best_path(part, self.anew if seam is None else self._only(seam), self.anew)[: end - start]
        period = self.heard.period_s[path[:, 0]]
        odds = self.odds[start:end]
        place = _gentler(odds.sum(axis=1), path[:, 1]) / FINE_PLACES
        coarse = self.coarse[start:end]
        silent = self.silent[start:end]
        said = self.said[start:end]
        tempo = np.abs(np.log(self.period_s)[None] - np.log(period)[:, None]) < SAME_TEMPO_LOG
        own = np.argmin(np.abs(np.log(self.period_s)[None] - np.log(period)[:, None]), axis=1)
        says = said[np.arange(len(path)), own]
        nearest = np.floor(place * PLACES + 0.5).astype(int) % PLACES
        alike = np.abs(np.log(self.heard.period_s)[None] - np.log(period)[:, None]) < SAME_TEMPO_LOG
        return Followed(
            when_s=self.when_s[start:end],
            phase=place,
            period_s=period,
            sure=_near((odds * alike[:, :, None]).sum(axis=1), place, period),
            soft=_near((coarse * tempo[:, :, None]).sum(axis=1), place, period),
            tempo=(coarse * tempo[:, :, None]).sum(axis=(1, 2)),
            says=says[np.arange(len(path)), nearest],
            near=_near(np.exp(says) / PLACES, place, period),
            slower=self._most(start, end, 2 * period),
            faster=self._most(start, end, period / 2),
            silent=silent,
        )

    def _most(self, start: int, end: int, period_s: Floats) -> Floats:
        """Return the most that events ``start`` to ``end`` say of any place at these periods (n,)."""
        away = np.abs(np.log(self.period_s)[None] - np.log(period_s)[:, None])
        most = self.said[np.arange(start, end), away.argmin(axis=1)].max(axis=1)
        return np.where(away.min(axis=1) <= SAME_TEMPO_LOG, most, UNASKED)

    def _only(self, seam: tuple[float, float]) -> Odds:
        """Return odds that are all on the state nearest to ``seam``."""
        period, place = seam
        odds = np.zeros_like(self.anew)
        nearest = int(np.argmin(np.abs(np.log(self.heard.period_s / period))))
        odds[nearest, int(place % 1 * FINE_PLACES + 0.5) % FINE_PLACES] = 1
        return odds


def _finer(period_s: Floats, said: Odds, likely: NDArray[np.bool_]) -> tuple[Floats, Odds]:
    """Return periods at half the step and what is said of them at twice the places, by lines between.

    Only periods that are ``likely`` (periods,), or next to one, are kept.
    """
    logs = np.log(period_s)
    fine = np.empty(2 * len(logs) - 1)
    fine[::2] = logs
    fine[1::2] = (logs[:-1] + logs[1:]) / 2
    kept = np.zeros(len(fine), np.bool_)
    kept[::2] = likely
    kept[1::2] = likely[:-1] | likely[1:]
    index = np.flatnonzero(kept)
    by_period = (said[:, index // 2] + said[:, (index + 1) // 2]) / 2
    places = np.empty((len(said), len(index), FINE_PLACES), np.float32)
    places[:, :, ::2] = by_period
    places[:, :, 1::2] = (by_period + np.roll(by_period, -1, axis=2)) / 2
    return np.exp(fine[index]), places


def _gentler(by_place: Odds, place: NDArray[np.int64]) -> Floats:
    """Return each place moved to the mean of the odds (n, places) an eighth of a beat either way."""
    reach = np.arange(-(FINE_PLACES // 8), FINE_PLACES // 8 + 1)
    cells = (place[:, None] + reach) % FINE_PLACES
    share = np.take_along_axis(by_place, cells, axis=1).astype(float) + 1e-9
    return np.asarray((place + share @ reach / share.sum(axis=1)) % FINE_PLACES)


def _near(by_place: Odds, place: Floats, period_s: Floats) -> Floats:
    """Return the sum of the odds (n, places) within HIT_S of each ``place`` (0 to 1)."""
    places = by_place.shape[1]
    away = np.abs((np.arange(places)[None] / places - place[:, None] + 0.5) % 1 - 0.5)
    return np.asarray((by_place * (away * period_s[:, None] <= HIT_S)).sum(axis=1), dtype=float)
