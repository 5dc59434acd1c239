"""What a note is over a chord: its degree, and whether it is a tone of it, an extension, or outside.

Which extensions a chord takes is chord-scale theory as handbooks have it (Nettles & Graf 1997, "The Chord
Scale Theory and Jazz Harmony"; Levine 1995, "The Jazz Theory Book"; both from memory). Where they differ by
context, which a symbol does not tell, the wider answer stands: over a plain dominant seventh altered and
natural tensions are both extensions, and only its fourth and its major seventh are outside. What the symbol
states is taken at its word: a chord with a natural ninth has no altered one, and the other way round.
"""

from functools import lru_cache

from batch.harmony.symbols import Chord, number_of
from batch.model import ChordRole

_B9, _9, _B3, _3, _11, _S11, _5, _B13, _13, _B7, _7 = range(1, 12)
"""Semitones above the root."""

_NAMES = ("1", "b9", "9", "b3", "3", "11", "#11", "5", "b13", "13", "b7", "7")
"""Degrees of what is no tone of the chord, the major seventh being "7" (in words maj7);
over a major third the minor one is a #9."""

_ALTERED_NINTHS = frozenset({_B9, _B3})


def degree_and_role(pitch: float, chord: Chord) -> tuple[str, ChordRole]:
    """Return what a pitch, to the nearest semitone, is over a chord."""
    return _table(chord)[(round(pitch) - chord.root) % 12]


@lru_cache(maxsize=1024)
def _table(chord: Chord) -> tuple[tuple[str, ChordRole], ...]:
    tones, tensions, extensions = dict(chord.tones), dict(chord.tensions), extensions_of(chord)
    names = dict(enumerate(_NAMES))
    if _3 in tones:
        names[_B3] = "#9"
    names |= tensions | tones
    return tuple(
        (
            names[at],
            ChordRole.CHORD_TONE
            if at in tones
            else ChordRole.EXTENSION
            if at in extensions
            else ChordRole.OUTSIDE,
        )
        for at in range(12)
    )


def extensions_of(chord: Chord) -> frozenset[int]:
    """Return the semitones above the root that are extensions of a chord, those in its symbol included."""
    stated = {at: number_of(degree) for at, degree in chord.tensions}
    available = set(_available(frozenset(at for at, _ in chord.tones)))
    ninths = {at for at, number in stated.items() if number == 9}  # noqa: PLR2004
    if ninths:
        available -= {_9} if ninths & _ALTERED_NINTHS else _ALTERED_NINTHS
    if _11 in stated:
        available -= {_S11}
    if _13 in stated or _B13 in stated:
        available -= {_B13, _13}
    return frozenset(available | stated.keys())


def _available(tones: frozenset[int]) -> frozenset[int]:
    """Return the extensions of a chord by its quality, whatever else its symbol says."""
    for needed, lacking, extensions in _QUALITIES:
        if needed <= tones and not lacking & tones:
            return extensions - tones
    return frozenset({_9, _11, _13}) - tones


def _quality(
    needed: set[int], extensions: set[int], lacking: set[int] | None = None
) -> tuple[frozenset[int], frozenset[int], frozenset[int]]:
    return frozenset(needed), frozenset(lacking or ()), frozenset(extensions)


_QUALITIES = (
    _quality({_B3, _S11, _B7}, {_9, _11, _B13}),  # half diminished
    _quality({_B3, _S11}, {_9, _11, _B13, _13, _7}, {_5}),  # diminished: a whole step above each tone
    _quality({_B3, _B7}, {_9, _11, _13}),  # minor seventh
    _quality({_B3, _7}, {_9, _11, _13}),  # minor, major seventh
    _quality({_B3}, {_9, _11, _13, _B7, _7}),  # minor, minor sixth
    _quality({_3, _B7, _B13}, {_B9, _9, _B3, _S11}),  # augmented seventh
    _quality({_3, _B7}, {_B9, _9, _B3, _S11, _B13, _13}),  # dominant seventh
    _quality({_3, _B13}, {_9, _S11, _13, _B7, _7}, {_5}),  # augmented
    _quality({_3, _7}, {_9, _S11, _13}),  # major seventh
    _quality({_3}, {_9, _S11, _13, _7}),  # major, sixth
    _quality({_11, _B7}, {_9, _3, _13}),  # suspended seventh, with the third on top (Levine)
    _quality({_11}, {_9, _3, _13, _B7}),  # suspended fourth
    _quality({_9}, {_3, _11, _13}),  # suspended second
)
"""First match: tones that a chord has, tones that it lacks, its extensions."""
