"""Lines of folk songs as phrases: which of them say an earlier line again is known from their notes."""

from relating import Built

from batch.model import Note, Phrase, Relation, RelationKind
from phrases.folk_songs import QUARTER_S, Sung, sample

Song = list[list[Sung]]

SOUNDING = 0.9
NOTES_FROM = 4
"""Shorter lines are left out of the count of repeats."""


def lines_of_songs(count: int) -> list[Song]:
    """Return songs of the Essen collection, line by line."""
    songs = []
    for sung in sample(count):
        lines: dict[int, list[Sung]] = {}
        for note in sung:
            lines.setdefault(note.line, []).append(note)
        songs.append(list(lines.values()))
    return songs


def related_lines(lines: Song) -> tuple[Relation, ...]:
    """Return what the lines do, sung one after another, of one song or of several."""
    notes: list[Note] = []
    phrases: list[Phrase] = []
    at = 0.0
    for line in lines:
        first, shift = len(notes), at - line[0].onset
        for sung in line:
            onset = shift + sung.onset
            end = onset + SOUNDING * (sung.end - sung.onset)
            notes.append(Note(onset * QUARTER_S, end * QUARTER_S, float(sung.pitch), -20.0))
        phrases.append(Phrase(notes[first].onset_s, notes[-1].offset_s, first, len(notes) - 1))
        at += line[-1].end - line[0].onset
    return Built(notes, phrases).related()


def melody(line: list[Sung]) -> tuple[float, ...]:
    """Return the intervals and times of a line: the same in any key."""
    return tuple(
        step for a, b in zip(line, line[1:], strict=False) for step in (b.pitch - a.pitch, b.onset - a.onset)
    )


def found_repeats(songs: list[Song]) -> tuple[int, int]:
    """Return how many lines have the melody of an earlier one, and how many are said to vary such a one."""
    repeats = found = 0
    for song in songs:
        melodies = [melody(line) for line in song]
        for i, relation in enumerate(related_lines(song)):
            if len(song[i]) >= NOTES_FROM and melodies[i] in melodies[:i]:
                repeats += 1
                varies = relation.kind is RelationKind.VARIES and relation.to_phrase is not None
                found += varies and melodies[relation.to_phrase] == melodies[i]
    return repeats, found
