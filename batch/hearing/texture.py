"""How much of a take is one line: from what starts together at its attacks, to a verdict.

A strum starts several pitches at once. A band does so now and then, spreads from the bass to
the line, goes on where the line rests, and other pitches sound on while one is struck. Two
small fitted verdicts (``fit_together``): a line or more than one, and if more, chords or a band.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from batch.hearing.attacks import Attacks, attacks_of
from batch.hearing.features import Floats
from batch.hearing.network import network
from batch.hearing.params import HearingParams
from batch.hearing.stretch import Stretch
from batch.hearing.together import LIKELY, LOOKS_S, LOWEST, foreign, looks_at, struck_together
from batch.model import Texture, TextureKind
from batch.strums import STRUM_GAP_S

Ints = NDArray[np.int64]

EVENTS_FROM = 4  # attacks with a pitch, fewer of which tell nothing (our choice)
SHARE_FROM = 0.15  # chordal share under which a take is a line; 99 of 100 rendered lines have under 0.13
ENOUGH = 64  # attacks judged of a stretch to tell its texture: more would cost time and tell little
MORE_FROM = 0.8  # probability of more than a line: a false alarm is worse than a warning missed (our choice)
BASS_BELOW = 50  # MIDI pitch: D3, the top of a walking bass (common practice, no source)
SOUNDING_DB = -20.0  # against the playing level
RISING = 8  # frames, 46 ms, by which an attack has reached its level
NEITHER = 0.5  # as likely as not
PRIOR_EVENTS = 4.0  # attacks' worth of not knowing: few attacks make no sure verdict (our choice)
SEMITONES = 12
OF_AN_ATTACK = ("first_s", "last_s", "next_s", "until_s", "loudness_db", "probability", "foreign")
OUTER = (10, 90)  # percentiles that stand for the lowest and highest pitch struck


@dataclass(frozen=True, slots=True)
class Struck:
    """What was struck at each attack that could be judged and was the loudest then, by onset.

    ``first_s``, ``last_s`` and ``next_s`` (n,) are its first and last string and the next attack,
    ``until_s`` (n,) when it has died away or the next comes, ``loudness_db`` (n,) how loud it is;
    ``probability`` (n, pitches from LOWEST) that each pitch was struck; ``foreign`` (n,) counts
    the semitones that sounded on; ``sounding`` is the share of frames in which something plays.
    """

    first_s: NDArray[np.float64]
    last_s: NDArray[np.float64]
    next_s: NDArray[np.float64]
    until_s: NDArray[np.float64]
    loudness_db: NDArray[np.float64]
    probability: Floats
    foreign: Ints
    sounding: float

    def __len__(self) -> int:
        return len(self.first_s)

    def since(self, start_s: float) -> "Struck":
        """Return the attacks from ``start_s`` on."""
        return self.only(self.first_s >= start_s)

    def only(self, which: NDArray[np.bool_]) -> "Struck":
        """Return the attacks where ``which`` holds."""
        picked = {name: getattr(self, name)[which] for name in OF_AN_ATTACK}
        return replace(self, **picked)

    @property
    def pitches(self) -> NDArray[np.bool_]:
        """Which pitches from LOWEST were struck, (n, pitches)."""
        return self.probability > LIKELY

    @property
    def classes(self) -> Ints:
        """How many pitches that are no octaves of one another were struck, (n,)."""
        octaves = np.array_split(self.pitches, range(SEMITONES, self.pitches.shape[1], SEMITONES), axis=1)
        first = octaves[0].copy()
        for octave in octaves[1:]:
            first[:, : octave.shape[1]] |= octave
        return np.asarray(first.sum(axis=1))


def struck_in(
    samples: Floats,
    stretch: Stretch,
    params: HearingParams,
    *,
    gain_db: float = 0.0,
    starts_at_s: float = 0.0,
    gap_s: float = STRUM_GAP_S,
    struck_only: bool = False,
    most: int | None = None,
) -> Struck:
    """Return what was struck in a stretch of ``samples`` that starts at ``starts_at_s`` of the take.

    ``gain_db`` is what they were divided by; strings up to ``gap_s`` apart are one attack, and
    ``struck_only`` leaves out far weaker ones. Of more than ``most`` attacks so many, evenly
    spread, are judged.
    """
    attacks = attacks_of(stretch, params, gap_s, struck_only=struck_only)
    attacks = attacks.only((attacks.next - attacks.last) * params.hop / params.rate_hz >= LOOKS_S)
    if most is not None and len(attacks) > most:
        attacks = attacks.only(np.diff(np.arange(len(attacks) + 1) * most // len(attacks)) > 0)
    looks = looks_at(samples, attacks.first * params.hop, attacks.last * params.hop, params.rate_hz)
    attacks, looks = attacks.only(looks.leading), looks.only(looks.leading)
    frames = (attacks.first, attacks.last, attacks.next, _died_away(attacks, stretch))
    shift_s = starts_at_s + params.onset_bias_s
    first_s, last_s, next_s, until_s = (shift_s + f * params.hop / params.rate_hz for f in frames)
    loudness_db = stretch.loudest_ahead[attacks.first].astype(np.float64) + stretch.playing_db + gain_db
    sounding = float(np.mean(stretch.level_db > SOUNDING_DB))
    probability = struck_together(looks)
    return Struck(first_s, last_s, next_s, until_s, loudness_db, probability, foreign(looks), sounding)


def _died_away(attacks: Attacks, stretch: Stretch) -> Ints:
    """Return (n,) the first quiet frame after each attack, at most the next attack."""
    frames = len(stretch)
    quiet = np.where(stretch.level_db < SOUNDING_DB, np.arange(frames), frames)
    next_quiet = np.minimum.accumulate(quiet[::-1])[::-1]
    return np.minimum(next_quiet[np.minimum(attacks.last + RISING, frames - 1)], attacks.next)


def chordal_share(struck: Struck) -> float:
    """Return the share of attacks with a pitch in which pitches start that are no octaves of one another."""
    classes = struck.classes
    return float(np.mean(classes[classes > 0] > 1)) if (classes > 0).any() else 0.0


def texture_evidence(parts: Sequence[Struck]) -> NDArray[np.float64] | None:
    """Return (1, columns) what tells lines, chords and bands apart; None where too little is struck."""
    pitched = [part.only(part.classes > 0) for part in parts]
    if sum(len(part) for part in pitched) < EVENTS_FROM:
        return None
    classes = np.concatenate([part.classes for part in pitched])
    struck = np.concatenate([part.pitches for part in pitched])
    lowest = LOWEST + struck.argmax(axis=1)
    highest = LOWEST + struck.shape[1] - 1 - struck[:, ::-1].argmax(axis=1)
    spread = np.percentile(highest, OUTER[1]) - np.percentile(lowest, OUTER[0])
    return np.array(
        [
            [
                np.mean(classes > 1),
                np.mean(np.minimum(classes, 4)),
                np.mean(lowest < BASS_BELOW),
                spread / SEMITONES,
                np.mean(np.concatenate([part.foreign for part in pitched])) / SEMITONES,
                np.mean([part.sounding for part in parts]),
            ]
        ]
    )


def texture_of(parts: Sequence[Struck]) -> Texture | None:
    """Return the verdict on a take heard in ``parts``; None where too little is struck to say."""
    evidence = texture_evidence(parts)
    if evidence is None:
        return None
    share, events = float(evidence[0, 0]), sum(int(np.count_nonzero(part.classes)) for part in parts)
    more, band = (_probability(name, evidence) for name in ("more", "band"))
    if share < SHARE_FROM or more < MORE_FROM:
        kind, sure = TextureKind.LINE, max(1.0 - more, NEITHER)
    elif band > NEITHER:
        kind, sure = TextureKind.BAND, more * band
    else:
        kind, sure = TextureKind.CHORDS, more * (1.0 - band)
    known = events / (events + PRIOR_EVENTS)
    return Texture(kind, share, events, known * sure + (1.0 - known) / len(TextureKind))


def _probability(name: str, evidence: NDArray[np.float64]) -> float:
    return float(1.0 / (1.0 + np.exp(-network(name).log_odds(evidence)[0])))
