"""Suggestions in a musician's words: what the takes have in common, and one thing to try."""

from collections.abc import Sequence
from itertools import groupby
from math import floor

from batch.inert import inert
from batch.trend.practice import Place, Practice, Suggestion, Why
from batch.words import clock, count

_NEVER = {
    "short": ("No short phrase {}.", "Say something in three or four notes, and leave it room."),
    "long": ("No long phrase {}.", "Let one idea run on over the next two bar lines before you breathe."),
    "sparse": (
        "Nothing sparse {}: every phrase is dense.",
        "Take half as many notes, and let one ring until the next comes by itself.",
    ),
    "dense": (
        "Nothing dense {}: every phrase is sparse.",
        "Once in a chorus, double the time, and go back to what you did before.",
    ),
    "in-groove": (
        "Nothing that sits in the groove {}: every phrase leans against it.",
        "State the time plainly for four bars, as if to dance to, then lean again.",
    ),
    "against-groove": (
        "Nothing against the groove {}: every phrase sits in it.",
        "Lay groups of three over your eighths, or start on the off-beats, and come back in on a one.",
    ),
    "legato": (
        "Nothing legato {}: every phrase is cut short.",
        "Hold each note of one phrase right up to the next.",
    ),
    "staccato": (
        "Nothing staccato {}: every phrase is legato.",
        "Let a phrase speak in short notes, each with air after it.",
    ),
    "low": (
        "Nothing low {}.",
        "Start a chorus in the bottom third of what you use in a take, and stay there for eight bars.",
    ),
    "high": ("Nothing high {}.", "Take one idea you like up an octave, and finish it there."),
    "steps": (
        "Nothing by step {}: every phrase leaps.",
        "Walk from one chord tone to the next by the notes that lie between.",
    ),
    "leaps": ("No leaps {}.", "Open a phrase with a sixth or wider, then fill in the way back."),
    "varies": (
        "No phrase {} comes back to an earlier one.",
        "Play one again with one thing changed: its start, its end or its rhythm.",
    ),
}
"""What is said, with where and of how many in the gap; and what to try."""
_SELDOM = {
    "short": "Hardly a short phrase {}.",
    "long": "Hardly a long phrase {}.",
    "sparse": "Nearly every phrase {} is dense.",
    "dense": "Nearly every phrase {} is sparse.",
    "in-groove": "Nearly every phrase {} leans against the groove.",
    "against-groove": "Nearly every phrase {} sits in the groove.",
    "legato": "Nearly every phrase {} is cut short.",
    "staccato": "Nearly every phrase {} is legato.",
    "low": "Hardly anything low {}.",
    "high": "Hardly anything high {}.",
    "steps": "Nearly every phrase {} leaps.",
    "leaps": "Nearly every phrase {} moves by steps.",
    "varies": "Hardly a phrase {} comes back to an earlier one.",
}
_WHY = {
    Why.TYPICAL: ("the plainest case", "the plainest cases"),
    Why.THERE: ("an exception", "exceptions"),
    Why.NEAREST: ("comes nearest", "come nearest"),
}
"""Of one place, and of several."""


def found_words(suggestion: Suggestion) -> str:
    """Return what the last takes have in common: ``Nothing low in the last 6 takes (71 phrases).``"""
    takes, of = count(suggestion.last, "take"), count(suggestion.measured, "phrase")
    where = f"in the last {takes}"
    if suggestion.takes < suggestion.last:
        where = f"in those of the last {takes} that tell"
    if suggestion.count:
        return _SELDOM[suggestion.label].format(f"{where} ({_but(suggestion)} of {of})")
    return _NEVER[suggestion.label][0].format(f"{where} ({of})")


def try_words(suggestion: Suggestion) -> str:
    """Return what to try."""
    return _NEVER[suggestion.label][1]


def listen_words(places: Sequence[Place]) -> str:
    """Return where to listen first, and for what: ``Slow Lantern at 0:41 (comes nearest)``.

    No time lies after its phrase's start.
    """
    told = []
    for why, group in groupby(places, key=lambda place: place.why):
        spots = [f"{inert(place.title)} at {clock(floor(place.start_s))}" for place in group]
        told.append(f"{', '.join(spots)} ({_WHY[why][len(spots) > 1]})")
    return "; ".join(told)


def practice_lines(practice: Practice) -> list[tuple[str, str | None]]:
    """Return each suggestion in a line, with a second one that says where to listen; or why there is none."""
    if practice.why_none:
        return [(f"{practice.why_none[0].upper()}{practice.why_none[1:]}.", None)]
    return [
        (f"{found_words(each)} {try_words(each)}", f"Listen first: {heard}." if heard else None)
        for each in practice.suggestions
        for heard in [listen_words(each.listen)]
    ]


def _but(suggestion: Suggestion) -> str:
    """Return how many phrases are the exception, or the rule where the words tell that."""
    if _SELDOM[suggestion.label].startswith("Nearly"):
        return str(suggestion.measured - suggestion.count)
    return str(suggestion.count)
