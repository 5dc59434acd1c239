"""Folk songs whose phrases editors marked, read from the ABC text music21 carries.

Essen Folksong Collection (Schaffrath 1995), in S. Schlien's ABC conversion: one line of text is
one phrase. Read here line by line, because music21's own reader forgets where lines end.
"""

import random
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import music21

from batch.model import Note

QUARTER_S = 0.5
"""A moderate tempo: 120 quarters a minute."""

_SONG = re.compile(r"^X:.*?(?=^X:|\Z)", re.MULTILINE | re.DOTALL)
_FIELD = re.compile(r"^[A-Za-z]:")
_UNIT = re.compile(r"^L:\s*1/(\d+)", re.MULTILINE)
_TOKEN = re.compile(r"(?P<accidental>[\^_=]*)(?P<step>[A-Ga-gz])(?P<octave>[,']*)(?P<length>\d*)(?P<tie>-?)")
_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


@dataclass(frozen=True, slots=True)
class Sung:
    """One note in quarters from the song's start, and the line of text it stands in."""

    onset: float
    end: float
    pitch: int
    line: int


def read_song(abc: str) -> list[Sung]:
    """Return the notes of one song. The key's own accidentals are not added: a semitone at most."""
    unit = _UNIT.search(abc)
    quarters = 4 / int(unit[1]) if unit else 0.5
    lines = [line for line in abc.splitlines() if line.strip() and not _FIELD.match(line)]
    notes: list[Sung] = []
    now, tied = 0.0, False
    for number, line in enumerate(lines):
        for token in _TOKEN.finditer(line):
            end = now + quarters * int(token["length"] or 1)
            if token["step"] != "z":
                pitch = _pitch(token)
                if tied and notes[-1].pitch == pitch:
                    notes[-1] = Sung(notes[-1].onset, end, pitch, notes[-1].line)
                else:
                    notes.append(Sung(now, end, pitch, number))
            now, tied = end, bool(token["tie"])
    return notes


def _pitch(token: re.Match[str]) -> int:
    step, accidental, octave = token["step"], token["accidental"], token["octave"]
    octaves = step.islower() + octave.count("'") - octave.count(",")
    return 60 + _SEMITONES[step.upper()] + 12 * octaves + accidental.count("^") - accidental.count("_")


def all_songs() -> Iterator[list[Sung]]:
    """Yield every song with two phrases and ten notes or more, file by file."""
    folder = Path(music21.__file__).parent / "corpus" / "essenFolksong"
    for path in sorted(folder.glob("*.abc")):
        for match in _SONG.finditer(path.read_text("latin-1")):
            song = read_song(match[0])
            if len(song) >= 10 and song[0].line != song[-1].line:
                yield song


def sample(count: int, seed: int = 1995) -> list[list[Sung]]:
    return random.Random(seed).sample(list(all_songs()), count)


def played(song: list[Sung], sounding: float) -> list[Note]:
    """Return ``song`` at a moderate tempo, each note sounding for a share of its written length."""
    return [
        Note(n.onset * QUARTER_S, (n.onset + sounding * (n.end - n.onset)) * QUARTER_S, n.pitch, -20.0)
        for n in song
    ]


def phrase_starts(song: list[Sung]) -> set[int]:
    """Return the notes that start a line, the song's first note left out."""
    return {i for i in range(1, len(song)) if song[i].line != song[i - 1].line}
