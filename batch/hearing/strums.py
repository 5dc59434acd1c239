"""One note a strum: what a decoder of single lines makes of a chord, gathered to its top voice.

Offered a chord, the decoder takes now this voice, now that. Where a take is chordal, all that
begins with a strum is one note: from the first string on, at the highest pitch struck, where
listeners hear the melody (common practice, no source), else the one heard longest.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from batch.hearing.texture import SEMITONES, Struck, texture_of
from batch.hearing.together import LOWEST
from batch.model import Note, TextureKind
from batch.strums import CHORDAL_FROM

EARLY_S = 0.05  # s before a strum's first attack that a note may begin and still be its own
LATE_S = 0.12  # s after its last; later only a voice of the chord that surfaces belongs to it
CLEAR_S = 0.03  # s before the next attack from which a note is the next one's
SHORTEST_S = 0.03  # s, of a chord that is cut off at once


def is_chordal(struck: Struck) -> bool:
    """Return whether chords are played in a stretch; a band's are not the line's."""
    texture = texture_of([struck])
    return (
        texture is not None and texture.kind is TextureKind.CHORDS and texture.chordal_share >= CHORDAL_FROM
    )


def gathered(notes: Sequence[Note], struck: Struck) -> list[Note]:
    """Return ``notes`` (by onset), those of each chord in ``struck`` made one."""
    chords = struck.only(struck.classes > 1)
    onsets = [note.onset_s for note in notes]
    made: list[Note] = []
    done = 0
    for at in range(len(chords)):
        begin = max(done, bisect_left(onsets, chords.first_s[at] - EARLY_S))
        end = max(begin, bisect_left(onsets, max(chords.last_s[at], chords.next_s[at] - CLEAR_S)))
        made += notes[done:begin]
        made += _with_chord(notes[begin:end], chords, at)
        done = end
    return _in_order([*made, *notes[done:]])


def _with_chord(found: Sequence[Note], chords: Struck, at: int) -> list[Note]:
    """Return a chord as one note, and which of the notes ``found`` up to the next attack are others."""
    voices = np.flatnonzero(chords.pitches[at]) + LOWEST
    own = [note for note in found if _belongs(note, chords.last_s[at], voices)]
    top = int(voices[-1])
    in_tune = [note.pitch_midi for note in own if round(note.pitch_midi) == top]
    onset_s = own[0].onset_s if own else float(chords.first_s[at])
    ends_s = [note.offset_s for note in own] or [float(chords.until_s[at])]
    one = Note(
        onset_s,
        max(*ends_s, onset_s + SHORTEST_S),
        in_tune[0] if in_tune else float(top),
        max((note.loudness_db for note in own), default=float(chords.loudness_db[at])),
        float(chords.probability[at, top - LOWEST]),
    )
    return [one, *(note for note in found if note not in own)]


def _belongs(note: Note, last_s: float, voices: np.ndarray) -> bool:
    """Return whether a note that begins before the next attack is part of the chord."""
    return note.onset_s <= last_s + LATE_S or bool(
        np.isin(round(note.pitch_midi) % SEMITONES, voices % SEMITONES)
    )


def _in_order(notes: Sequence[Note]) -> list[Note]:
    """Return the notes by onset, each ending by the next one's."""
    ordered = sorted(notes, key=lambda note: note.onset_s)
    ends = [*(note.onset_s for note in ordered[1:]), np.inf]
    return [
        replace(note, offset_s=min(note.offset_s, float(end)))
        for note, end in zip(ordered, ends, strict=True)
        if end > note.onset_s
    ]
