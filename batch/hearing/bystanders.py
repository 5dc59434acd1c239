"""Leave out what sounds only while the line rests: a bleeding band, a click, a voice in the room.

While the line plays it covers the band behind it; in its rests a bass far away is a note like
any other. Heard over the whole take it gives itself away: quiet, unsure, and alone. A quiet
phrase of the line is as sure as a loud one, and stays.
"""

from collections.abc import Sequence
from itertools import groupby
from statistics import median

from batch.model import Note

QUIET_DB = 9.0  # dB under the take's median note; bleed is commonly 10 to 20 dB down (no source)
REST_S = 0.15  # s since the line's last note ended: a shorter gap is articulation
SURE = 0.95  # median confidence of quiet phrases that were played, on rendered takes: 0.99 and more


def without_bystanders(notes: Sequence[Note]) -> tuple[Note, ...]:
    """Return ``notes`` (by onset) less the quiet, unsure ones that break the line's rests."""
    if not notes:
        return ()
    quiet_below_db = median(note.loudness_db for note in notes) - QUIET_DB
    kept: list[Note] = []
    line_ended_s = -REST_S
    for is_quiet, run in groupby(notes, key=lambda note: note.loudness_db < quiet_below_db):
        group = list(run)
        if is_quiet and _breaks_a_rest(group, line_ended_s) and _is_unsure(group):
            continue
        kept += group
        line_ended_s = group[-1].offset_s
    return tuple(kept)


def _breaks_a_rest(group: Sequence[Note], line_ended_s: float) -> bool:
    return group[0].onset_s - line_ended_s >= REST_S


def _is_unsure(group: Sequence[Note]) -> bool:
    return median(note.confidence for note in group) < SURE
