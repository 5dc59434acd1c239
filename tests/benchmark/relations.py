"""How often phrases are said to vary or answer others: in annotated solos, and where it must be chance.

By chance are the phrases of a solo each replaced by one of another solo, all different, with the solo's
own silences kept between them: what is still told is a false alarm, but for what tunes have in common.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pandas as pd

from batch.fit_percentiles import annotated_grid, solo_evidence
from batch.model import Evidence, Note, Phrase, Relation, RelationKind
from batch.relations import relate
from batch.relations.fit import Solo, fit, read_solos
from batch.relations.surprise import Chance
from batch.rhythm import Feel
from batch.settings import RelationSettings

from .folk_lines import found_repeats, lines_of, related_lines
from .tables import Cell, Table

SEED = 11
PAIRS = 5_000
SONGS = 300
PAIRS_FOR_A_FIT = 100_000  # of phrases: less than the shipped fit has, for half of the solos

Take = list["Told"]
Make = Callable[[int, Sequence[Take], np.random.Generator], Take]


@dataclass(frozen=True, slots=True)
class Told:
    """A phrase: its notes from its own start, its evidence, and the silence before the next one."""

    notes: tuple[Note, ...]
    evidence: Evidence
    rest_s: float


def relations_tables(data: Path) -> Iterator[Table]:
    """Yield rates in annotated solos and in folk songs."""
    columns = ("phrases", "takes", "count", "vary", "answer", "answer too", "connected")
    corpus = data / "corpus"
    if (corpus / "notes.csv.gz").is_file():
        solos = read_solos(corpus)
        takes = [told for told, _ in takes_of(corpus, solos)]
        rng = np.random.default_rng(SEED)
        rows = [row(name, [make(k, takes, rng) for k in range(len(takes))]) for name, make in ORDERS.items()]
        rows.append(pairs_row(takes, rng))
        half = fit(solos[::2], PAIRS_FOR_A_FIT)
        left_out = takes[1::2]
        for name, make in ORDERS.items():
            made = [make(k, left_out, rng) for k in range(len(left_out))]
            rows.append(row(f"{name}, left out of the fit", made, half))
        yield Table("relations", columns, tuple(rows))
    if find_spec("music21"):
        yield songs_table()


def as_played(k: int, takes: Sequence[Take], _: np.random.Generator) -> Take:
    """Return a solo."""
    return takes[k]


def shuffled(k: int, takes: Sequence[Take], rng: np.random.Generator) -> Take:
    """Return a solo's phrases in any order, with its silences where they were."""
    order = rng.permutation(len(takes[k]))
    return [replace(takes[k][at], rest_s=one.rest_s) for at, one in zip(order, takes[k], strict=True)]


def of_others(k: int, takes: Sequence[Take], rng: np.random.Generator) -> Take:
    """Return phrases of as many other solos, with a solo's silences."""
    others = [i for i in range(len(takes)) if i != k]
    chosen = [i for _ in range(1 + len(takes[k]) // len(others)) for i in rng.permutation(others)]
    return [
        replace(takes[i][rng.integers(len(takes[i]))], rest_s=one.rest_s)
        for i, one in zip(chosen, takes[k], strict=False)
    ]


ORDERS: dict[str, Make] = {
    "solos as played": as_played,
    "each solo shuffled": shuffled,
    "each of another solo": of_others,
}


def row(name: str, takes: Sequence[Take], chance: Chance | None = None) -> tuple[Cell, ...]:
    """Return the shares of phrases, the first of each take left out."""
    found = [one for take in takes for one in related(take, chance)[1:]]
    kinds = [one.kind for one in found]
    shares = [
        np.mean([kind is wanted for kind in kinds]) for wanted in (RelationKind.VARIES, RelationKind.ANSWERS)
    ]
    too = np.mean([one.answers_too for one in found])
    connected = np.mean([kind is not RelationKind.NEW for kind in kinds])
    return (name, len(takes), len(found), *map(float, (*shares, too, connected)))


def pairs_row(takes: Sequence[Take], rng: np.random.Generator) -> tuple[Cell, ...]:
    """Return the shares of pairs of different solos."""
    pairs = []
    for _ in range(PAIRS):
        first, second = (takes[i] for i in rng.choice(len(takes), 2, replace=False))
        pairs.append([first[rng.integers(len(first))], second[rng.integers(len(second))]])
    return row("pairs of different solos", pairs)


def related(take: Take, chance: Chance | None = None) -> tuple[Relation, ...]:
    """Return what the phrases do, laid one after another."""
    notes: list[Note] = []
    phrases: list[Phrase] = []
    at_s = 0.0
    for told in take:
        first = len(notes)
        notes += [
            replace(one, onset_s=at_s + one.onset_s, offset_s=at_s + one.offset_s) for one in told.notes
        ]
        end_s = max(one.offset_s for one in notes[first:])
        phrases.append(Phrase(at_s, end_s, first, len(notes) - 1))
        at_s = end_s + told.rest_s
    return relate(
        notes,
        phrases,
        [told.evidence for told in take],
        grid=None,
        feel=Feel(None, 0.0),
        settings=RelationSettings(),
        chance=chance,
    )


def takes_of(corpus: Path, solos: Sequence[Solo]) -> Iterator[tuple[Take, int]]:
    """Yield the annotated solos, and their numbers."""
    beats = dict(list(pd.read_csv(corpus / "beats.csv.gz").groupby("solo")))
    tables = pd.read_csv(corpus / "notes.csv.gz").groupby("solo")
    for solo, (number, table) in zip(solos, tables, strict=True):
        sorted_table = table.sort_values("onset_s", kind="stable")
        evidence = list(solo_evidence(sorted_table, annotated_grid(beats[number], table)))
        spans = list(zip(solo.first, solo.end, strict=True))
        ends_s = [float(solo.offset_s[a:b].max()) for a, b in spans]
        starts_s = [float(solo.onset_s[a]) for a, _ in spans]
        rests_s = [later - end for later, end in zip(starts_s[1:], ends_s, strict=False)]
        yield (
            [
                Told(tuple(notes_of(solo, a, b)), one, rest_s)
                for (a, b), one, rest_s in zip(spans, evidence, [*rests_s, 0.0], strict=True)
            ],
            int(number),
        )


def notes_of(solo: Solo, first: int, end: int) -> Iterator[Note]:
    """Yield the notes of a phrase, from its start."""
    for i in range(first, end):
        onset_s, offset_s = (float(at[i] - solo.onset_s[first]) for at in (solo.onset_s, solo.offset_s))
        yield Note(onset_s, offset_s, float(solo.semitone[i]), -20.0)


def songs_table() -> Table:
    """Return what is found of the lines that a folk song repeats, and of lines of different songs."""
    from tests.phrases.folk_songs import sample

    songs = lines_of(sample(SONGS))
    repeats, found = found_repeats(songs)
    rng = np.random.default_rng(SEED)
    varied = lines = 0
    for song in songs:
        others = rng.permutation(len(songs))[: len(song)]
        relations = related_lines([songs[i][rng.integers(len(songs[i]))] for i in others])[1:]
        lines += len(relations)
        varied += sum(one.kind is RelationKind.VARIES for one in relations)
    columns = ("collection", "songs", "repeated lines", "found", "lines of other songs", "vary")
    cells = ("folk songs (Essen)", len(songs), repeats, found / repeats, lines, varied / lines)
    return Table("relations of folk songs", columns, (cells,))
