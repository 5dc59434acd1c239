"""Tuning up: one string again and again while its peg turns, string by string; a long A before playing.

Heard from the notes alone. Between the plucks of a string that is being tuned the pitch creeps, by
fractions of a semitone and mostly one way, until it is that of an open string; a line moves by
semitones. Strings that are in tune already belong to it when those beside them were tuned. In
doubt it is playing.
"""

from collections.abc import Sequence
from itertools import pairwise, takewhile
from statistics import median

from batch.model import Note

Group = list[Note]
Span = tuple[float, float]

NEAR = 1.0  # semitones from one pluck to the next of a string being tuned
PLUCKS = 3  # of one string, at least
CREEPS = 0.4  # semitones from the first pluck to the last: more than a voice is out of tune
ONE_WAY = 0.6  # share of all its moving that is not taken back
FRACTION = 0.1  # semitones from the nearest whole one: players are nearer (rendered solos)
SLOW_S = 0.45  # s between plucks, median: the ear has to settle
QUICKEST_S = 0.3  # s between most of them, the lower quartile
SLOWEST_GROOVE_S = 0.9  # s between the notes of one pitch, median: slower has no groove (our choice)
CERTAIN_PLUCKS = 4  # of a single string; fewer need a second string being tuned
IN_TUNE = 0.35  # semitones from an open string's pitch: where tuning ends
APART_S = 4.0  # s from one string to the next
ALIKE = 0.2  # semitones within which one pitch is struck again
LONG_S, SPACED_S = 1.0, 2.0  # s a reference tone lasts, and from one to the next
UNEVEN = 0.15  # relative spread of the distances of plucks that have no rhythm
TUNED_TO = (9, 10)  # A, and B flat for winds: pitch classes people tune to (common practice, no source)
LONGER = 3.0  # times the median note of the playing: what is no slow line
ALONE_S = 0.4  # s of rest before and after tuning: nobody tunes in mid-line
STRAYS = 2  # plucks misheard that may lie between tuning and that rest
OCTAVE = 12  # semitones; the hearing takes a dying string for its octave at times, so octaves do not count
STRINGS = 3  # struck unevenly, each more than once, that are in tune already: somebody checks
# Pitch classes of open strings in standard tuning: guitar and bass, violin, viola and cello,
# ukulele, banjo.
OPEN = (
    frozenset({2, 4, 7, 9, 11}),
    frozenset({2, 4, 7, 9}),
    frozenset({0, 2, 7, 9}),
    frozenset({0, 4, 7, 9}),
    frozenset({2, 7, 11}),
)


def tunings_in(notes: Sequence[Note]) -> list[Span]:
    """Return where ``notes`` (by onset) are tuning: (start_s, end_s), by start."""
    return _of_strings(notes) or _of_one_pitch(notes)


def _of_strings(notes: Sequence[Note]) -> list[Span]:
    """Return the spans in which strings are tuned one after the other."""
    strings = _strings(notes)
    tuned = [_is_tuned(string) for string in strings]
    sections = [[strings[at] for at in section] for section in _sections(strings, tuned)]
    spans = [_with_strays(section, notes) for section in sections if _is_certain(section, len(notes))]
    return [span for span in spans if span]


def _is_certain(section: Sequence[Group], notes: int) -> bool:
    """Return whether enough plucks of ``section`` creep, and all end on strings of one instrument."""
    turning = [string for string in section if _is_tuned(string)]
    whole = sum(map(len, section)) == notes
    enough = whole or len(turning) > 1 or any(len(string) >= CERTAIN_PLUCKS for string in turning)
    ends = {round(string[-1].pitch_midi) % OCTAVE for string in section}
    known = any(ends <= strings for strings in OPEN)
    return known and (bool(turning and enough) or (len(ends) >= STRINGS and _is_aimless(section)))


def _is_aimless(section: Sequence[Group]) -> bool:
    """Return whether each string is struck PLUCKS times or more, slowly and following no beat."""
    notes = [note for string in section for note in string]
    apart = [b.onset_s - a.onset_s for a, b in pairwise(notes)]
    often = min(map(len, section)) >= PLUCKS
    return often and min(apart) >= SLOW_S and _spread(apart) > UNEVEN


def _with_strays(section: Sequence[Group], notes: Sequence[Note]) -> Span | None:
    """Return the span of ``section`` and a few plucks misheard beside it; None in the midst of playing."""
    start_s, end_s = section[0][0].onset_s, section[-1][-1].offset_s
    for _ in range(STRAYS):
        start_s = min(
            (n.onset_s for n in notes if n.onset_s < start_s <= n.offset_s + ALONE_S), default=start_s
        )
        end_s = max((n.offset_s for n in notes if n.onset_s - ALONE_S <= end_s < n.offset_s), default=end_s)
    alone = all(
        note.offset_s + ALONE_S <= start_s or note.onset_s >= end_s + ALONE_S
        for note in notes
        if not start_s <= note.onset_s < end_s
    )
    return (start_s, end_s) if alone else None


def _strings(notes: Sequence[Note]) -> list[Group]:
    """Return the notes in groups that one string may have sounded."""
    groups: list[Group] = []
    for note in notes:
        near = bool(groups) and abs(_step(groups[-1][-1], note)) < NEAR
        if near and note.onset_s - groups[-1][-1].onset_s <= APART_S:
            groups[-1].append(note)
        else:
            groups.append([note])
    return groups


def _step(note: Note, following: Note) -> float:
    """Return how many semitones the pitch moves, octaves left aside: -6 to 6."""
    return (following.pitch_midi - note.pitch_midi + OCTAVE / 2) % OCTAVE - OCTAVE / 2


def _is_slow(string: Group) -> bool:
    apart = sorted(b.onset_s - a.onset_s for a, b in pairwise(string))
    return bool(apart) and median(apart) >= SLOW_S and apart[len(apart) // 4] >= QUICKEST_S


def _is_tuned(string: Group) -> bool:
    """Return whether the pitch creeps to an open string's."""
    if len(string) < PLUCKS or not _is_slow(string) or not _ends_open(string):
        return False
    steps = [_step(a, b) for a, b in pairwise(string)]
    creeping = [step for step in steps if abs(step - round(step)) > FRACTION]
    one_way = abs(sum(creeping)) >= max(CREEPS, ONE_WAY * sum(map(abs, creeping)))
    return one_way and 2 * len(creeping) >= len(steps)


def _ends_open(string: Group) -> bool:
    pitch = string[-1].pitch_midi
    return abs(pitch - round(pitch)) <= IN_TUNE and any(round(pitch) % OCTAVE in strings for strings in OPEN)


def _sections(strings: Sequence[Group], tuned: Sequence[bool]) -> list[list[int]]:
    """Return runs of strings, each tuned or struck slowly beside one that is, without a long rest between."""
    sections: list[list[int]] = []
    for at, string in enumerate(strings):
        belongs = tuned[at] or (_is_slow(string) and _ends_open(string))
        if not belongs:
            continue
        last = strings[sections[-1][-1]] if sections else None
        stray = at - sections[-1][-1] - 1 if sections else 0  # a pluck or two misheard
        if last and string[0].onset_s - last[-1].offset_s <= APART_S and stray <= 1:
            sections[-1].append(at)
        else:
            sections.append([at])
    return sections


def _of_one_pitch(notes: Sequence[Note]) -> list[Span]:
    """Return the span of one pitch over and over: a whole take, or a reference before playing."""
    same = list(takewhile(lambda note: abs(note.pitch_midi - notes[0].pitch_midi) <= ALIKE, notes))
    rest = notes[len(same) :]
    if len(same) < 2:  # noqa: PLR2004  once is not over and over
        return []
    apart = [b.onset_s - a.onset_s for a, b in pairwise(same)]
    held = min(apart) >= SPACED_S and min(note.offset_s - note.onset_s for note in same) >= LONG_S
    aimless = len(same) >= PLUCKS and median(apart) >= SLOWEST_GROOVE_S and _spread(apart) > UNEVEN
    tunes = (held and _is_reference(same, rest)) if rest else (held or aimless)
    return [(same[0].onset_s, same[-1].offset_s)] if tunes else []


def _spread(values: Sequence[float]) -> float:
    mean = sum(values) / len(values)
    return float((sum((value - mean) ** 2 for value in values) / len(values)) ** 0.5 / mean)


def _is_reference(same: Sequence[Note], rest: Sequence[Note]) -> bool:
    """Return whether ``same`` is a tone people tune to, and ``rest`` no slow line that it begins."""
    longest_rest_s = median(note.offset_s - note.onset_s for note in rest)
    return (
        round(same[0].pitch_midi) % OCTAVE in TUNED_TO
        and rest[0].onset_s - same[-1].offset_s >= SLOW_S
        and min(note.offset_s - note.onset_s for note in same) >= LONGER * longest_rest_s
    )
