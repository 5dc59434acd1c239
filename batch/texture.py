"""What a player should know of a take that is not one line: what was heard, and what the labels are worth."""

from collections.abc import Sequence
from statistics import fmean

from batch.model import Note, Texture, TextureKind
from batch.strums import CHORDAL_FROM, MOSTLY

UNSURE_BELOW = 0.75
"""Confidence in the kind of take under which the warning says so (our choice)."""
MIXED_UP_BELOW = 0.8
"""Mean confidence of the notes: clean rendered lines have 0.99, a line in a band as loud 0.79."""

STANDS_OUT_FROM = 0.95
"""The same from which the line stands out of a band, as 12 dB over it (0.98, nearly all notes right)."""


def texture_warnings(texture: Texture | None, notes: Sequence[Note]) -> tuple[str, ...]:
    """Return one sentence on chords or a band, or none."""
    if texture is None:
        return ()
    if texture.kind is TextureKind.BAND:
        sure = fmean(note.confidence for note in notes) if notes else 0.0
        return (_band(texture, sure),) if sure < STANDS_OUT_FROM else ()
    told = texture.kind is TextureKind.CHORDS or texture.confidence >= UNSURE_BELOW
    return (_chords(texture),) if told and texture.chordal_share >= CHORDAL_FROM else ()


def _chords(texture: Texture) -> str:
    much = "mostly chords" if texture.chordal_share >= MOSTLY else "chords or double stops among the notes"
    return (
        f"{much} ({100 * texture.chordal_share:.0f} % of what is struck{_doubt(texture)}): each strum counts"
        " as one note, so register and interval size follow the top voice only"
    )


def _band(texture: Texture, sure: float) -> str:
    worth = "take the labels as a rough guess" if sure < MIXED_UP_BELOW else "take the labels with care"
    return (
        f"a whole band seems to be playing, not a line alone{_doubt(texture, ' ({})')}: some notes are the"
        f" band's and some of the line's are missing (mean confidence {sure:.2f}), so {worth}, or record the"
        " line on a channel of its own"
    )


def _doubt(texture: Texture, shape: str = ", {}") -> str:
    """Return how sure the kind of take is, in ``shape``, where it is not."""
    if texture.confidence >= UNSURE_BELOW:
        return ""
    return shape.format(f"confidence {texture.confidence:.2f}")
