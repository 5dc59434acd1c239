"""Which phrase answers the one before it: a contrast, said soon enough, by one of a pair.

Contrast alone is no answer: phrases of different solos contrast more than neighbours do, since players go
on from where they are. So the two must make a pair. By Gestalt proximity they lie nearer to each other than
to what is before and after (Lerdahl, F. & Jackendoff, R. (1983). "A Generative Theory of Tonal Music",
grouping preference rule 2), after a silence that is short for the take. Then a contrast in three things is
an answer; one in two is if the answer takes over near the pitch where the call ended, or if calls and
answers take turns.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from batch.model import Evidence, Phrase
from batch.percentiles import Percentiles
from batch.relations.lines import Floats, Lines

CONTRASTS = ("length", "density", "register", "articulation")

APART = 0.55
"""A clear contrast: more than half of the range of annotated jazz solos lies between the two (our choice:
with it fewer than 2 % of phrases answer one of another solo)."""

TURN_APART, TURN_ALIKE = 0.5, 0.25
"""Where calls and answers take turns, what is between them, and what is at most between two of a kind (our
choice: of phrases of different solos, 0.4 % take turns)."""

ENOUGH, MORE_THAN_ENOUGH = 2, 3
"""Contrasts of a pair that takes turns or takes over, and of any pair (our choice)."""

TAKES_OVER = 2
"""Semitones from the call's last note to the answer's first: in solos 37 % of phrases start so near the last
one's end, against 22 % if a solo's phrases are shuffled, and 17 % among different solos."""

USUAL_S = 0.52
"""A silence at the take's ends is not known. With this in its place fewer than 2 % of lone pairs of phrases
of different solos are a call and an answer (measured); the median silence in solos is 0.68 s."""

TURNS = 4
"""Two calls and two answers: fewer take no turns."""


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer to the phrase before: in what the two contrast."""

    contrasts: tuple[str, ...]


def answers(
    lines: Lines,
    phrases: Sequence[Phrase],
    evidence: Sequence[Evidence],
    scales: Mapping[str, Percentiles],
    *,
    gap_s: float,
) -> list[Answer | None]:
    """Return for each phrase whether it answers the one before; a silence over ``gap_s`` ends the talk."""
    if len(phrases) < 2:  # noqa: PLR2004  an answer needs a call
        return [None] * len(phrases)
    places = _places(evidence, scales)
    apart = np.abs(np.diff(places, axis=0))
    gaps_s = np.array([b.start_s - a.end_s for a, b in pairwise(phrases)])
    soon = gaps_s <= gap_s
    makes_a_pair = soon & _nearest(gaps_s) & (gaps_s <= np.median(gaps_s))
    clear = apart >= APART
    last, first = lines.semitone[lines.end[:-1] - 1], lines.semitone[lines.first[1:]]
    enough = np.where(abs(first - last) <= TAKES_OVER, ENOUGH, MORE_THAN_ENOUGH)
    answering = makes_a_pair & (clear.sum(axis=1) >= enough)
    in_turn, in_talk = _in_turn(places, soon)
    answering = np.where(in_talk, in_turn.any(axis=1), answering)  # whose turn it is to call does not answer
    return [
        None,
        *(
            Answer(_names(now | turn)) if answers else None
            for now, turn, answers in zip(clear, in_turn, answering, strict=True)
        ),
    ]


def _places(evidence: Sequence[Evidence], scales: Mapping[str, Percentiles]) -> Floats:
    """Return where phrases lie among those of solos, 0..1, shape (phrases, CONTRASTS); NaN unknown."""
    in_beats = all(one.duration_beats is not None and one.notes_per_beat is not None for one in evidence)
    names = ("duration_beats", "notes_per_beat") if in_beats else ("duration_s", "notes_per_s")
    columns = []
    for name in (*names, "register", "articulation"):
        values = np.array([getattr(one, name) for one in evidence], dtype=float)
        known = np.isfinite(values)
        values[known] = np.clip(scales[name].position(values[known]), 0, 1)
        columns.append(values)
    return np.array(columns).T


def _nearest(gaps_s: Floats) -> np.ndarray:
    """Return which gaps are shorter than those before and after, or than USUAL_S at the take's ends."""
    around = np.concatenate([[USUAL_S], gaps_s, [USUAL_S]])
    return np.asarray((gaps_s < around[:-2]) & (gaps_s < around[2:]))


def _in_turn(places: Floats, soon: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return in what each phrase after the first answers in turn, and which take turns at all.

    The first is of shape (phrases - 1, CONTRASTS), the second (phrases - 1,).

    Calls and answers take turns where in two things at least neighbours contrast and every other phrase is
    alike, over TURNS phrases; the first that does so is a call.
    """
    found = np.zeros((len(places) - 1, len(CONTRASTS)), dtype=bool)
    talk = np.zeros(len(places) - 1, dtype=bool)
    differ = (np.abs(np.diff(places, axis=0)) >= TURN_APART) & soon[:, None]
    alike = np.abs(places[2:] - places[:-2]) <= TURN_ALIKE
    call = 0
    for start in range(len(places) - TURNS + 1):
        turn = differ[start] & differ[start + 1] & differ[start + 2] & alike[start] & alike[start + 1]
        if turn.sum() < ENOUGH:
            continue
        if not found[max(0, start - 1) : start + 2].any():
            call = start
        talk[start : start + TURNS - 1] = True
        for answer in (start, start + 2) if (start - call) % 2 == 0 else (start + 1,):
            found[answer] |= turn
    return found, talk


def _names(contrasts: np.ndarray) -> tuple[str, ...]:
    return tuple(name for name, clear in zip(CONTRASTS, contrasts, strict=True) if clear)
