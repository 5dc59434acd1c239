"""Phrase starts from true notes: annotated solos and folk songs, against one fixed silence."""

from collections.abc import Callable, Iterator, Sequence
from importlib.util import find_spec
from pathlib import Path

from batch.fit_phrases import Solo, read_corpus
from batch.model import Note
from batch.phrases import load_model, split_phrases

from .scores import Match
from .tables import Cell, Table

FIXED_REST_S = 0.315  # the one silence that serves best on annotated jazz solos
SONGS = 400
SOUNDING = 0.9  # of its written length, as folk songs are sung

Starts = Callable[[Sequence[Note], float], set[int]]
Piece = tuple[Sequence[Note], float, set[int]]  # notes, a beat in s, the notes that start phrases


def by_model(notes: Sequence[Note], beat_s: float) -> set[int]:
    """Return where takemill starts phrases, the first left out."""
    return {phrase.first_note for phrase in split_phrases(notes, beat_s=beat_s)[1:]}


def by_rest(notes: Sequence[Note], beat_s: float) -> set[int]:
    """Return the notes after a fixed silence."""
    return {i for i in range(1, len(notes)) if notes[i].onset_s - notes[i - 1].offset_s > FIXED_REST_S}


def phrases_table(data: Path, only: str) -> Table:
    """Return a row a collection that is at hand and whose name holds ``only``."""
    collections: dict[str, Iterator[Piece]] = {}
    if (data / "corpus" / "notes.csv.gz").is_file():
        collections["annotated jazz solos"] = solos(data / "corpus")
    if find_spec("music21"):
        collections["folk songs (Essen)"] = songs()
    rows: list[tuple[Cell, ...]] = []
    for name, pieces in collections.items():
        if only in name:
            heard = list(pieces)
            model, rest = pooled(heard, by_model), pooled(heard, by_rest)
            rows.append((name, len(heard), model.f, model.recall, model.precision, rest.f))
    columns = ("collection", "pieces", "F", "recall", "precision", "fixed rest: F")
    left_out = load_model().provenance["f_by_rests_on_solos_left_out"]
    remark = f"The model was fitted on the jazz solos; on solos left out of the fit its F was {left_out}."
    return Table("phrase starts", columns, tuple(rows), (remark,))


def pooled(pieces: Sequence[Piece], starts: Starts) -> Match:
    """Return precision and recall over all pieces."""
    hits = found = true = 0
    for notes, beat_s, truth in pieces:
        guess = starts(notes, beat_s)
        hits, found, true = hits + len(guess & truth), found + len(guess), true + len(truth)
    return Match(hits / found if found else 0.0, hits / true if true else 0.0)


def solos(corpus: Path) -> Iterator[Piece]:
    """Yield annotated solos."""
    for solo in read_corpus(corpus):
        starts = {int(at) + 1 for at in solo.starts().nonzero()[0]}
        yield notes_of(solo), solo.beat_s, starts


def notes_of(solo: Solo) -> list[Note]:
    """Return a solo's notes."""
    columns = zip(solo.onset_s, solo.offset_s, solo.pitch, strict=True)
    return [Note(float(on), float(off), float(pitch), -20.0) for on, off, pitch in columns]


def songs() -> Iterator[Piece]:
    """Yield folk songs, whose phrases are the lines of their text."""
    from tests.phrases.folk_songs import QUARTER_S, phrase_starts, played, sample

    for song in sample(SONGS):
        yield played(song, SOUNDING), QUARTER_S, phrase_starts(song)
