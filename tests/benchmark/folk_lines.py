"""Lines of folk songs as phrases: which of them say an earlier line again is known from their notes."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Protocol

from batch.labels import label_phrases
from batch.model import Note, Phrase, Relation, RelationKind
from batch.relations import relate
from batch.rhythm import Feel
from batch.settings import GrooveSettings, LabelSettings, RelationSettings

QUARTER_S = 0.5


class Sung(Protocol):
    """A note of ``phrases.folk_songs``: in quarters from the song's start, and the line it stands in."""

    @property
    def onset(self) -> float: ...
    @property
    def end(self) -> float: ...
    @property
    def pitch(self) -> int: ...
    @property
    def line(self) -> int: ...


Song = list[list[Sung]]

SOUNDING = 0.9
NOTES_FROM = 4
"""Shorter lines are left out of the count of repeats."""


def lines_of(sung_songs: Sequence[Sequence[Sung]]) -> list[Song]:
    """Return songs line by line."""
    songs = []
    for sung in sung_songs:
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
    labels = label_phrases(notes, phrases, None, None, labels=LabelSettings(), groove=GrooveSettings())
    return relate(
        notes,
        phrases,
        [evidence for _, evidence in labels],
        grid=None,
        feel=Feel(None, 0.0),
        settings=RelationSettings(),
    )


def melody(line: list[Sung]) -> tuple[float, ...]:
    """Return the intervals and times of a line: the same in any key."""
    return tuple(step for a, b in pairwise(line) for step in (b.pitch - a.pitch, b.onset - a.onset))


def found_repeats(songs: list[Song]) -> tuple[int, int]:
    """Return how many lines have the melody of an earlier one, and how many are said to vary such a one."""
    repeats = found = 0
    for song in songs:
        melodies = [melody(line) for line in song]
        for i, relation in enumerate(related_lines(song)):
            if len(song[i]) >= NOTES_FROM and melodies[i] in melodies[:i]:
                repeats += 1
                to = relation.to_phrase if relation.kind is RelationKind.VARIES else None
                found += to is not None and melodies[to] == melodies[i]
    return repeats, found
