"""What a hard case is, and how what was heard of it is judged."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ..making.takes import Line, Made
from ..making.voices import Voice
from ..scores import ONSET_S, Match, matched, onset_match

Pairs = Sequence[tuple[Line, Line]]  # played and heard, a take each
EVERY_GHOST = 4  # one note of so many is a ghost, the first of them
OCTAVE, SAME = 12.0, 0.5  # semitones


@dataclass(frozen=True, slots=True)
class Verdict:
    """How the notes that matter were heard, and a figure of the case's own."""

    played: int
    heard: int
    match: Match
    also: str = ""
    figure: float | None = None


Judge = Callable[[Pairs], Verdict]


@dataclass(frozen=True, slots=True)
class Case:
    """A name, how it is made on each voice, and how it is judged."""

    name: str
    voices: tuple[Voice, ...]
    make: Callable[[np.random.Generator, Voice], Made]
    judge: Judge


def pooled(pairs: Pairs, hits: int) -> Match:
    """Return precision and recall over all takes."""
    played, heard = sum(len(truth) for truth, _ in pairs), sum(len(found) for _, found in pairs)
    return Match(hits / heard if heard else 0.0, hits / played if played else 0.0)


def verdict(pairs: Pairs, hits: int, also: str = "", figure: float | None = None) -> Verdict:
    """Return a verdict on ``hits`` notes found."""
    played, heard = sum(len(truth) for truth, _ in pairs), sum(len(found) for _, found in pairs)
    return Verdict(played, heard, pooled(pairs, hits), also, figure)


def by_notes(pairs: Pairs) -> Verdict:
    """Judge by onset and pitch; count the notes heard an octave off."""
    hits = sum(len(matched(truth, found)) for truth, found in pairs)
    octaves = sum(octave_errors(truth, found) for truth, found in pairs)
    return verdict(pairs, hits, "octave errors", float(octaves))


def octave_errors(truth: Line, found: Line) -> int:
    """Return how many notes of ``found`` start with a played one, octaves from its pitch."""
    wrong = 0
    for onset, _, pitch in found:
        near = np.abs(truth[:, 0] - onset) <= ONSET_S
        off = np.abs(truth[near, 2] - pitch)
        turned = np.abs(off - OCTAVE * np.round(off / OCTAVE)) <= SAME
        wrong += bool(len(off) and np.all(turned & (off > SAME)))
    return wrong


def by_ghosts(pairs: Pairs) -> Verdict:
    """Judge by onset and pitch; the figure is the recall of the ghosts alone."""
    pairs_found = [matched(truth, found) for truth, found in pairs]
    ghosts = sum(int(np.ceil(len(truth) / EVERY_GHOST)) for truth, _ in pairs)
    caught = sum(at % EVERY_GHOST == 0 for found in pairs_found for at, _ in found)
    return verdict(pairs, sum(map(len, pairs_found)), "recall of ghosts", caught / ghosts)


def by_pieces(pairs: Pairs) -> Verdict:
    """Judge by onset alone, since the pitch moves; the figure is into how many notes each was heard."""
    hits = sum(
        round(onset_match(truth[:, 0], found[:, 0], ONSET_S).recall * len(truth)) if len(found) else 0
        for truth, found in pairs
    )
    return verdict(pairs, hits, "pieces a note", pieces_a_note(pairs))


def by_held_notes(pairs: Pairs) -> Verdict:
    """Judge by onset and pitch; the figure is into how many notes each was heard."""
    hits = sum(len(matched(truth, found)) for truth, found in pairs)
    return verdict(pairs, hits, "pieces a note", pieces_a_note(pairs))


def pieces_a_note(pairs: Pairs) -> float:
    """Return the mean number of heard notes that start within a played one that was heard at all."""
    pieces = [
        int(np.sum((found[:, 0] >= onset - ONSET_S) & (found[:, 0] < offset)))
        for truth, found in pairs
        for onset, offset, _ in truth
    ]
    heard = [count for count in pieces if count]
    return float(np.mean(heard)) if heard else 0.0


def by_tuning(pairs: Pairs) -> Verdict:
    """Judge by onset and pitch; the figure is how many cents the pitch is off, median."""
    cents = [
        100.0 * abs(truth[a, 2] - found[b, 2]) for truth, found in pairs for a, b in matched(truth, found)
    ]
    return verdict(pairs, len(cents), "median cents off", float(np.median(cents)) if cents else None)
