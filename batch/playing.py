"""Which of the notes heard were played as music, and what the rest of the take was.

A recording of a rehearsal holds more than playing: talking, a count-in, a metronome, tuning up.
Whatever of it was taken for notes is left out here, before phrases are made, and told. In doubt
it is playing.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from batch.hearing.scene import Scene
from batch.model import Note
from batch.talking import talks_in
from batch.ticking import Ticks, ticks_in
from batch.tuning import tunings_in

Span = tuple[float, float]

SILENT_S = 5.0  # s between two parts of one sort that are told as one (our choice)
TELL_FROM_S = 1.5  # of talking that nobody took for notes: less is not worth a line (our choice)
LEAD_IN = 2.2  # ticks' distances: playing that starts this soon was counted in (common practice, no source)
MOST_COUNTED = 8  # ticks: two bars of four; more is a metronome (common practice, no source)
WHOLE = 0.05  # s: a note that lasts from the take's first moment to its last was not struck or let go


class Sort(StrEnum):
    """What was heard beside playing."""

    SPEECH = "speech"
    COUNT_IN = "a count-in"
    CLICK = "a click"
    TUNING = "tuning"
    TONE = "a steady tone"


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Part of a take that is no playing."""

    sort: Sort
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Played:
    """The notes that were played, by onset, and what was left out, by start."""

    notes: tuple[Note, ...]
    left_out: tuple[LeftOut, ...]


def only_played(notes: Sequence[Note], scene: Scene, duration_s: float) -> Played:
    """Return what was played of ``notes`` (by onset), heard in ``scene``, in a take of ``duration_s``."""
    runs = ticks_in(scene, notes)
    rest = [note for note in notes if not any(run.struck(note.onset_s) for run in runs)]
    talks = talks_in(scene, rest, [(run.start_s, run.end_s) for run in runs])
    rest = [note for note in rest if not _within(_middle_s(note), talks)]
    tunings = tunings_in(rest)
    rest = [note for note in rest if not _within(note.onset_s, tunings)]
    tone = _tone(rest, duration_s)
    rest = [] if tone else rest
    left_out = [
        *(LeftOut(Sort.SPEECH, *span) for span in _joined(talks, rest) if _worth_telling(span, notes)),
        *(_ticked(run, rest) for run in runs if _tells(run, notes, rest)),
        *(LeftOut(Sort.TUNING, *span) for span in tunings),
        *tone,
    ]
    return Played(tuple(rest), tuple(sorted(left_out, key=lambda part: part.start_s)))


def _joined(spans: Iterable[Span], rest: Sequence[Note]) -> list[Span]:
    """Return ``spans`` with those as one that nothing of ``rest`` parts, nor a long silence."""
    joined: list[Span] = []
    for start_s, end_s in sorted(spans):
        before_s = joined[-1][1] if joined else float("-inf")
        parted = any(before_s <= note.onset_s < start_s for note in rest)
        if start_s - before_s > SILENT_S or parted:
            joined.append((start_s, end_s))
        else:
            joined[-1] = (joined[-1][0], max(before_s, end_s))
    return joined


def _middle_s(note: Note) -> float:
    return (note.onset_s + note.offset_s) / 2


def _within(time_s: float, spans: Iterable[Span]) -> bool:
    return any(start <= time_s < end for start, end in spans)


def _worth_telling(span: Span, notes: Sequence[Note]) -> bool:
    return span[1] - span[0] >= TELL_FROM_S or any(_within(_middle_s(note), [span]) for note in notes)


def _tells(run: Ticks, notes: Sequence[Note], rest: Sequence[Note]) -> bool:
    """Return whether ticks were taken for notes, or come before all playing; a click under it is known."""
    first_s = rest[0].onset_s if rest else float("inf")
    return run.start_s < first_s or any(run.struck(note.onset_s) for note in notes)


def _ticked(run: Ticks, rest: Sequence[Note]) -> LeftOut:
    next_s = next((note.onset_s for note in rest if note.onset_s > run.end_s), float("inf"))
    counts = len(run.times_s) <= MOST_COUNTED and next_s - run.times_s[-1] <= LEAD_IN * run.apart_s
    return LeftOut(Sort.COUNT_IN if counts else Sort.CLICK, run.start_s, run.end_s)


def _tone(rest: Sequence[Note], duration_s: float) -> list[LeftOut]:
    """Return the take if one note is all of it, from before its start to after its end."""
    if len(rest) != 1 or rest[0].onset_s > WHOLE or rest[0].offset_s < duration_s - WHOLE:
        return []
    return [LeftOut(Sort.TONE, rest[0].onset_s, rest[0].offset_s)]
